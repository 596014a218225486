//! Air and what it flows through: the law of ISO 6358 for a restriction, and the ideal nozzle [PL-01].

use super::ConfigError;

/// Gas constant of dry air, J/(kg K) [PL-01].
pub const GAS_CONSTANT_J_PER_KG_K: f64 = 287.05;
/// Ratio of the heats of air at constant pressure and at constant volume [PL-01].
pub const KAPPA: f64 = 1.4;
/// Density of air at the reference atmosphere of ISO 6358 (ANR), kg/m3 [PL-01].
pub const ANR_KG_PER_M3: f64 = 1.185;
/// Temperature of the reference atmosphere, K [PL-01].
pub const ANR_K: f64 = 293.15;
/// The pressure of the air around the valve, Pa absolute [PL-01].
pub const ATMOSPHERE_PA: f64 = 101_325.0;
/// Temperature of the air unless configured, K [PL-01].
pub const TEMPERATURE_K: f64 = 293.15;
/// From this pressure ratio on the flow is laminar, proportional to the difference [PL-02].
pub const LAMINAR_RATIO: f64 = 0.999;
/// Largest conductance that is accepted, m3/(s Pa): that of a hole of 2.5 cm.
pub const MOST_CONDUCTANCE_M3_PER_S_PA: f64 = 1e-6;
/// Darcy friction factor of a line [PL-03].
const LINE_FRICTION: f64 = 0.025;

/// The gauge pressure of an absolute one, Pa: against [`ATMOSPHERE_PA`].
pub fn gauge_pa(absolute_pa: f64) -> f64 {
    absolute_pa - ATMOSPHERE_PA
}

/// The absolute pressure of a gauge one, Pa: against [`ATMOSPHERE_PA`].
pub fn absolute_pa(gauge_pa: f64) -> f64 {
    gauge_pa + ATMOSPHERE_PA
}

/// Litres of reference air a minute of a mass flow [PL-01].
pub fn anr_l_per_min(flow_kg_per_s: f64) -> f64 {
    flow_kg_per_s / ANR_KG_PER_M3 * 60e3
}

/// Something that air squeezes through: an orifice, a valve's opening, a line, a leak [PL-02].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Restriction {
    /// Sonic conductance C, m3/(s Pa), 0 to 1e-6. 1 dm3/(s bar) is 1e-8; 0 is shut.
    pub conductance_m3_per_s_pa: f64,
    /// Critical pressure ratio b, 0 to 0.95: below it the flow no longer depends on the pressure behind.
    pub critical_ratio: f64,
}

/// A flow and how it changes with the pressures at both ends.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Flow {
    /// The flow, kg/s; negative: backwards.
    pub kg_per_s: f64,
    /// Its change for a change of the pressure where it comes from, kg/(s Pa), 0 or more.
    pub by_from_kg_per_s_pa: f64,
    /// Its change for a change of the pressure where it goes to, kg/(s Pa), 0 or less.
    pub by_to_kg_per_s_pa: f64,
}

impl Restriction {
    /// Nothing passes.
    pub const SHUT: Restriction = Restriction { conductance_m3_per_s_pa: 0.0, critical_ratio: 0.3 };

    /// A restriction of a conductance, m3/(s Pa), with the critical ratio 0.3, which is usual for valves and
    /// fittings (common practice, no source).
    pub const fn usual(conductance_m3_per_s_pa: f64) -> Restriction {
        Restriction { conductance_m3_per_s_pa, critical_ratio: 0.3 }
    }

    /// A sharp-edged or rounded hole: the ideal nozzle's conductance times a discharge coefficient [PL-02].
    ///
    /// `area_m2` is the smallest cross-section; `discharge` 0 to 1.
    pub fn hole(area_m2: f64, discharge: f64) -> Restriction {
        let choked = nozzle_kg_per_s(area_m2, discharge, 1.0, 0.0, ANR_K);
        Restriction {
            conductance_m3_per_s_pa: choked / ANR_KG_PER_M3,
            critical_ratio: nozzle_critical_ratio(),
        }
    }

    /// A straight line of a bore and a length, m: isothermal flow with friction, which has the form of
    /// ISO 6358 with a critical ratio of 0; never more than an ideal nozzle of the bore [PL-03].
    pub fn line(bore_m: f64, length_m: f64) -> Restriction {
        let area_m2 = core::f64::consts::PI / 4.0 * bore_m * bore_m;
        let nozzle = Restriction::hole(area_m2, 1.0).conductance_m3_per_s_pa;
        let speed = ANR_KG_PER_M3 * (GAS_CONSTANT_J_PER_KG_K * ANR_K).sqrt();
        let ends = (area_m2 / (speed * nozzle)).powi(2);
        let loss = LINE_FRICTION * length_m.max(0.0) / bore_m + ends;
        let conductance_m3_per_s_pa = if bore_m > 0.0 { area_m2 / (speed * loss.sqrt()) } else { 0.0 };
        Restriction { conductance_m3_per_s_pa, critical_ratio: 0.0 }
    }

    /// What is wrong with it.
    ///
    /// # Errors
    /// A value is outside its range; `field` names the restriction.
    pub fn check(&self, field: &'static str) -> Result<(), ConfigError> {
        ConfigError::unless_in(field, self.conductance_m3_per_s_pa, 0.0..=MOST_CONDUCTANCE_M3_PER_S_PA)?;
        ConfigError::unless_in(field, self.critical_ratio, 0.0..=0.95)?;
        Ok(())
    }

    /// The same, opened by a share 0 to 1 of its conductance; what is outside counts as the nearer end.
    #[must_use]
    pub fn scaled(&self, opening: f64) -> Restriction {
        let opening = if opening > 0.0 { opening.min(1.0) } else { 0.0 };
        Restriction { conductance_m3_per_s_pa: self.conductance_m3_per_s_pa * opening, ..*self }
    }

    /// Both side by side: the conductances add; of the critical ratios the mean by conductance (own choice).
    #[must_use]
    pub fn beside(&self, other: &Restriction) -> Restriction {
        let (a, b) = (self.conductance_m3_per_s_pa, other.conductance_m3_per_s_pa);
        if b <= 0.0 {
            return *self;
        }
        let ratio = (a * self.critical_ratio + b * other.critical_ratio) / (a + b);
        Restriction { conductance_m3_per_s_pa: a + b, critical_ratio: ratio }
    }

    /// This one and then `next`, with no volume between them [PL-02].
    ///
    /// The choked flow and the ratio at which it begins to fall are exact; between there and no flow the
    /// ellipse of ISO 6358 stands for a curve that is not quite one.
    #[must_use]
    pub fn series(&self, next: &Restriction) -> Restriction {
        let (c1, b1) = (self.conductance_m3_per_s_pa, self.critical_ratio);
        let (c2, b2) = (next.conductance_m3_per_s_pa, next.critical_ratio);
        if c1 <= 0.0 || c2 <= 0.0 {
            return Restriction::SHUT;
        }
        if c1 <= c2 * b1 {
            // The first alone is choked, until the pressure between rises to b1.
            let share = c1 / (c2 * b1);
            let behind = b2 + (1.0 - b2) * (1.0 - share * share).max(0.0).sqrt();
            return Restriction { conductance_m3_per_s_pa: c1, critical_ratio: b1 * behind };
        }
        // The second is choked: c1 sqrt(1 - ((r - b1)/(1 - b1))^2) = c2 r for the ratio r between them.
        let (w, k) = ((1.0 - b1).powi(2), (c2 / c1).powi(2));
        let (a, half_b, c) = (1.0 + w * k, -b1, b1 * b1 - w);
        let r = (-half_b + (half_b * half_b - a * c).max(0.0).sqrt()) / a;
        Restriction { conductance_m3_per_s_pa: c2 * r, critical_ratio: b2 * r }
    }

    /// The flow, kg/s, from one absolute pressure, Pa, to another, of air of `upstream_k`, K; negative where
    /// the second is the higher [PL-02].
    pub fn mass_flow_kg_per_s(&self, from_pa: f64, to_pa: f64, upstream_k: f64) -> f64 {
        self.flow(from_pa, to_pa, density_factor(upstream_k)).kg_per_s
    }

    /// The flow with its slopes; `factor` is that of [`density_factor`], which a step computes once.
    #[inline]
    pub fn flow(&self, from_pa: f64, to_pa: f64, factor: f64) -> Flow {
        let k = self.conductance_m3_per_s_pa * factor;
        if from_pa >= to_pa {
            return one_way(k, self.critical_ratio, from_pa, to_pa);
        }
        let back = one_way(k, self.critical_ratio, to_pa, from_pa);
        Flow {
            kg_per_s: -back.kg_per_s,
            by_from_kg_per_s_pa: -back.by_to_kg_per_s_pa,
            by_to_kg_per_s_pa: -back.by_from_kg_per_s_pa,
        }
    }
}

/// What makes of a conductance, m3/(s Pa), the flow per pascal of air of a temperature, K: density of the
/// reference times the root of the temperatures' ratio, kg/m3 [PL-02].
pub fn density_factor(upstream_k: f64) -> f64 {
    ANR_KG_PER_M3 * (ANR_K / upstream_k).sqrt()
}

#[inline]
fn one_way(k: f64, b: f64, high_pa: f64, low_pa: f64) -> Flow {
    if high_pa <= 0.0 {
        return Flow::default();
    }
    let r = low_pa / high_pa;
    if r <= b {
        let q = k * high_pa;
        return Flow { kg_per_s: q, by_from_kg_per_s_pa: k, by_to_kg_per_s_pa: 0.0 };
    }
    let over = 1.0 / (1.0 - b);
    if r >= LAMINAR_RATIO {
        let u = (LAMINAR_RATIO - b) * over;
        let g = k * (1.0 - u * u).sqrt() * (1.0 / (1.0 - LAMINAR_RATIO));
        return Flow { kg_per_s: g * (high_pa - low_pa), by_from_kg_per_s_pa: g, by_to_kg_per_s_pa: -g };
    }
    let u = (r - b) * over;
    let w = (1.0 - u * u).sqrt();
    let fall = k * u * over / w;
    let q = k * high_pa * w;
    Flow { kg_per_s: q, by_from_kg_per_s_pa: k * w + fall * r, by_to_kg_per_s_pa: -fall }
}

/// The pressure ratio below which an ideal nozzle is choked: 0.52828 for air [PL-02].
pub fn nozzle_critical_ratio() -> f64 {
    (2.0 / (KAPPA + 1.0)).powf(KAPPA / (KAPPA - 1.0))
}

/// Flow of an ideal nozzle without friction and without heat, kg/s, times a discharge coefficient: the
/// reference beside which the ellipse of ISO 6358 is held [PL-02]. Signed as
/// [`Restriction::mass_flow_kg_per_s`]; not for the hot path.
pub fn nozzle_kg_per_s(area_m2: f64, discharge: f64, from_pa: f64, to_pa: f64, upstream_k: f64) -> f64 {
    if to_pa > from_pa {
        return -nozzle_kg_per_s(area_m2, discharge, to_pa, from_pa, upstream_k);
    }
    if from_pa <= 0.0 {
        return 0.0;
    }
    let r = (to_pa / from_pa).max(nozzle_critical_ratio());
    let head = 2.0 * KAPPA / ((KAPPA - 1.0) * GAS_CONSTANT_J_PER_KG_K * upstream_k);
    let shape = (r.powf(2.0 / KAPPA) - r.powf((KAPPA + 1.0) / KAPPA)).max(0.0);
    discharge * area_m2 * from_pa * (head * shape).sqrt()
}

#[cfg(test)]
mod tests;
