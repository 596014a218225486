//! What the electronics know of the world: their own sensors and nothing else [DV-80].

/// Readings of the positioner's own sensors at one moment [DV-80]. None of them is the truth about the valve.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Senses {
    /// Angle of the lever's shaft, rad, 0 where the lever is square to the stem.
    pub lever_rad: f64,
    /// Whether that angle is within the sensor's range; if not it may be anything beyond the nearer end.
    pub lever_in_range: bool,
    /// Pressure at the inlet, Pa gauge.
    pub supply_gauge_pa: f64,
    /// Pressures at outputs 1 and 2, Pa gauge; the second is not looked at with one output.
    pub output_gauge_pa: [f64; 2],
    /// Current in the loop, A.
    pub loop_current_a: f64,
}

impl Senses {
    /// Whether every number is one.
    pub(super) fn are_numbers(&self) -> bool {
        let all = [
            self.lever_rad,
            self.supply_gauge_pa,
            self.output_gauge_pa[0],
            self.output_gauge_pa[1],
            self.loop_current_a,
        ];
        all.iter().all(|x| x.is_finite())
    }
}
