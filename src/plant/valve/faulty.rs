//! What the named faults change in the parts [PL-33]. The rest of the computation knows of none.

use super::config::ValveConfig;
use crate::plant::ConfigError;
use crate::plant::actuator::Action;
use crate::plant::air::{MOST_CONDUCTANCE_M3_PER_S_PA, Restriction, absolute_pa};
use crate::plant::air_path::AirConfig;
use crate::plant::fault::{FaultName, Faults};
use crate::plant::friction::FrictionConfig;
use crate::plant::linkage::{Law, LinkageFault, Sense};
use crate::plant::sensor::{SensorFault, Wear, WearKind};

/// Time in which a drifting pilot's zero reaches its end, s.
const DRIFTS_FOR_S: f64 = 20.0;
/// A pilot that came loose sticks again this close to where it should be.
const STICKS_WITHIN: f64 = 0.01;

/// The parts of a valve as its faults have made them.
pub(super) struct Parts {
    pub air: AirConfig,
    /// Share of the stage's openings that dirt has taken.
    pub dirt_share: f64,
    /// Leak between the chambers of a piston.
    pub across: Restriction,
    pub swapped: bool,
    pub friction: FrictionConfig,
    /// Share of the spring that is gone.
    pub spring_gone: f64,
    pub linkage: LinkageFault,
    pub sensor: SensorFault,
    /// Where the stops are to be, m.
    pub stops_m: (f64, f64),
}

/// Whether a valve can have a fault at all.
///
/// # Errors
/// It has not the part, and says which.
pub(super) fn possible(config: &ValveConfig, name: FaultName) -> Result<(), ConfigError> {
    let no = |why: &str| Err(ConfigError { field: name.word(), why: why.to_string() });
    match name {
        FaultName::SpringBroken if config.actuator.spring.is_none() => {
            no("this actuator has no spring: choose another fault")
        }
        FaultName::PinMisplaced if config.linkage.law.is_part_turn() => {
            no("a part-turn valve has no follower pin: choose coupling_turned or clamp_slipped")
        }
        _ => Ok(()),
    }
}

/// The parts of a valve with these faults, under a header of this pressure, Pa gauge.
pub(super) fn parts(config: &ValveConfig, faults: &Faults, header_gauge_pa: f64) -> Parts {
    let x = |name| faults.severity(name);
    let (stroke_m, half) = (config.moving.stroke_m, config.open_m_or_rad());
    let fill = config.stage.fill;
    let mut air = config.air();
    air.supply.header_gauge_pa = header_gauge_pa;
    supply(&mut air, config, faults);

    let leak = |severity: f64| {
        let share = 0.003 * (10f64.powf(3.0 * severity) - 1.0);
        let conductance = (fill.conductance_m3_per_s_pa * share).min(MOST_CONDUCTANCE_M3_PER_S_PA);
        if severity > 0.0 { Restriction::usual(conductance) } else { Restriction::SHUT }
    };
    air.first.tubing_leak = leak(x(FaultName::TubingLeak));
    let torn = leak(x(FaultName::DiaphragmLeak));
    let double = config.actuator.action == Action::Double;
    if !double {
        air.first.leak = torn;
    }
    let mut friction = config.moving.friction;
    friction = friction.tightened(1.0 + 5.0 * x(FaultName::PackingTight));
    let thrust_n = config.supply.at_rest_gauge_pa() * config.actuator.chambers[0].area_m2;
    friction.static_n += 1.5 * x(FaultName::StemSeized) * thrust_n;
    friction.coulomb_n = friction.coulomb_n.min(1e7);
    friction.static_n = friction.static_n.min(1e7);

    let turned = 20f64.to_radians();
    let lower = match config.linkage.law {
        Law::PartTurn { .. } => turned,
        Law::Tangent { .. } | Law::Sine { .. } => 0.4 * stroke_m,
    };
    let linkage = LinkageFault {
        length_ratio: 1.0 + x(FaultName::PinMisplaced),
        shifted_m_or_rad: -lower * x(FaultName::CouplingTurned),
        slipped_rad: sign(config) * turned * x(FaultName::ClampSlipped),
        more_play_m_or_rad: (0.15 * half * x(FaultName::LinkageSlack)).min(1.0),
        pin_out: false,
    };
    Parts {
        air,
        dirt_share: 1.0 - 10f64.powf(-0.9 * x(FaultName::StageContaminated)),
        across: if double { torn } else { Restriction::SHUT },
        swapped: x(FaultName::OutputsSwapped) > 0.0,
        friction,
        spring_gone: x(FaultName::SpringBroken),
        linkage,
        sensor: sensor(config, faults),
        stops_m: (
            0.6 * x(FaultName::HandwheelEngaged) * stroke_m,
            (1.0 - 0.6 * x(FaultName::StopMoved)) * stroke_m,
        ),
    }
}

fn sign(config: &ValveConfig) -> f64 {
    if config.linkage.sense == Sense::Falling { -1.0 } else { 1.0 }
}

/// How much of the air that a stroke wants still passes a narrow place.
fn passes(severity: f64) -> f64 {
    10f64.powf(0.24 - 1.6 * severity)
}

fn supply(air: &mut AirConfig, config: &ValveConfig, faults: &Faults) {
    let x = |name| faults.severity(name);
    let fill = config.stage.fill.conductance_m3_per_s_pa;
    let supply = &mut air.supply;
    let low = 1.0 - 0.6 * x(FaultName::SupplyLow);
    match &mut supply.regulator {
        Some(regulator) => regulator.set_gauge_pa *= low,
        None => supply.header_gauge_pa *= low,
    }
    let blocked = x(FaultName::FilterBlocked);
    if blocked > 0.0 {
        let set_pa = absolute_pa(config.supply.at_rest_gauge_pa());
        let left = fill * passes(blocked) * set_pa / absolute_pa(config.supply.header_gauge_pa);
        let clean = supply.filter.conductance_m3_per_s_pa.max(1e-15);
        supply.filter_blocked_share = (1.0 - left / clean).clamp(supply.filter_blocked_share, 1.0);
    }
    let narrow = x(FaultName::SupplyLineUndersized);
    if narrow > 0.0 {
        let line = &mut supply.line.conductance_m3_per_s_pa;
        *line = line.min(fill * passes(narrow));
    }
}

fn sensor(config: &ValveConfig, faults: &Faults) -> SensorFault {
    let x = |name| faults.severity(name);
    let open = config.open_m_or_rad();
    let mut fault = SensorFault::default();
    let worn = x(FaultName::SensorWorn);
    if worn > 0.0 {
        let (a, b) = (config.healthy_rad(0.42 * open), config.healthy_rad(0.58 * open));
        let of_stroke = (b - a).abs() / 0.16;
        let kind = WearKind::Jumps { up_to_rad: 0.12 * of_stroke };
        fault.wear = Some(Wear { from_rad: a.min(b), to_rad: a.max(b), severity: worn, kind });
    }
    let beyond = x(FaultName::SensorBeyondRange);
    if beyond > 0.0 {
        let end_rad = config.healthy_rad((1.0 - 0.6 * beyond) * open);
        let (min, max) = (config.sensor.min_rad, config.sensor.max_rad);
        fault.range_rad = Some(match config.linkage.sense {
            Sense::Rising => (min, end_rad),
            Sense::Falling => (end_rad, max),
        });
    }
    fault
}

/// A pilot that sticks or drifts: what time makes of it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Pilot {
    loose: bool,
    drifted_s: f64,
}

impl Pilot {
    /// Whether the pilot is held where it is, and how far its zero has drifted, for a step of `dt_s`.
    pub fn step(&mut self, faults: &Faults, dt_s: f64, drive: f64, pilot: f64) -> (bool, f64) {
        let sticks = faults.severity(FaultName::StageStuck);
        let away = (drive - pilot).abs();
        if sticks < 1.0 && away > sticks {
            self.loose = true;
        } else if away <= STICKS_WITHIN {
            self.loose = false;
        }
        let drifts = faults.severity(FaultName::StageDrifting);
        self.drifted_s = if drifts > 0.0 { (self.drifted_s + dt_s).min(DRIFTS_FOR_S) } else { 0.0 };
        (sticks > 0.0 && !self.loose, 0.4 * drifts * self.drifted_s / DRIFTS_FOR_S)
    }
}
