//! What the bench can read of a valve: true things, and beside them what the sensor makes of the travel.

use crate::plant::fail::Hold;
use crate::plant::motion::{Energy, Stop};
use crate::time::Instant;

/// All of a valve at the end of a step [PL-30]. Pressures are gauge, forces positive towards open.
#[derive(Clone, Debug, PartialEq)]
pub struct Readings {
    /// End of the last whole step.
    pub at: Instant,
    /// What the stage is asked for, -1 to 1: -1 without current.
    pub drive: f64,
    /// Where its pilot stands, -1 to 1.
    pub pilot: f64,
    /// True way of the stem or rack, m: 0 the closed stop, the stroke the open one.
    pub stem_m: f64,
    /// True travel, percent: of the stroke, or of the shaft's turn.
    pub travel_percent: f64,
    /// Speed of the stem, m/s, positive opens.
    pub velocity_m_per_s: f64,
    /// True angle of a part-turn valve's shaft, rad.
    pub shaft_rad: Option<f64>,
    /// True angle of the lever, rad, 0 where it is square to the stem.
    pub lever_rad: f64,
    /// What the sensor tells, rad.
    pub sensed_rad: f64,
    /// The travel that this would be with the linkage as it was set up, percent; beyond 0 to 100 too.
    pub sensed_travel_percent: f64,
    /// Whether the sensor's last reading was within its range.
    pub sensor_in_range: bool,
    /// Pressure of the header, Pa.
    pub header_gauge_pa: f64,
    /// The regulator's own gauge, Pa.
    pub regulator_gauge_pa: f64,
    /// Pressure at the positioner's inlet, Pa.
    pub supply_gauge_pa: f64,
    /// Pressures in the tubing of chambers 1 and 2 at the stage's end, Pa; 0 where there is none.
    pub output_gauge_pa: [f64; 2],
    /// Pressures in chambers 1 and 2, Pa; 0 where there is none.
    pub chamber_gauge_pa: [f64; 2],
    /// Pressure in the tank of stored air, Pa.
    pub tank_gauge_pa: Option<f64>,
    /// Force of the pressures, N.
    pub actuator_n: f64,
    /// Force of the spring, N.
    pub spring_n: f64,
    /// Force of the process, N.
    pub process_n: f64,
    /// Force with which friction holds against opening, N; negative against closing.
    pub friction_n: f64,
    /// The stop at which the stem stands.
    pub stop: Option<Stop>,
    /// Force on that stop, N, 0 or more.
    pub stop_n: f64,
    /// Away from the stops and held by friction.
    pub stuck: bool,
    /// Who has the chambers.
    pub hold: Hold,
    /// Air from the header since the beginning, kg.
    pub air_used_kg: f64,
    /// Air from the header in the last step, kg/s.
    pub supply_flow_kg_per_s: f64,
    /// Air that left through the stage's exhaust in the last step, kg/s.
    pub exhaust_flow_kg_per_s: f64,
    /// What leaks at the actuator's casing, kg/s: hand or soap find it.
    pub casing_leak_kg_per_s: f64,
    /// What leaks at the tubing, kg/s.
    pub tube_leak_kg_per_s: f64,
}

/// Where air and energy went since the beginning [PL-30].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Account {
    /// Air from the header, kg.
    pub taken_kg: f64,
    /// Air to the atmosphere, kg.
    pub vented_kg: f64,
    /// Air inside, kg.
    pub stored_kg: f64,
    /// Air inside at the beginning, kg.
    pub stored_at_start_kg: f64,
    /// Energy of what moves, summed over all steps, J.
    pub energy: Energy,
}

impl Account {
    /// What of the air does not add up, kg: rounding alone, for isothermal chambers.
    pub fn air_residue_kg(&self) -> f64 {
        self.taken_kg - self.vented_kg - (self.stored_kg - self.stored_at_start_kg)
    }
}
