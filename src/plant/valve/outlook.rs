//! Whether a valve that stands still goes on standing still [PL-42].

use super::Valve;
use crate::plant::air::GAS_CONSTANT_J_PER_KG_K;
use crate::plant::fail::Hold;
use crate::plant::stage::StageKind;

/// Nearer than that a pilot is where it is to be, share of full opening.
const PILOT_IS_THERE: f64 = 0.01;

/// A force that rises more slowly counts as one that stands: a few newtons in an hour, N/s.
const LEAST_N_PER_S: f64 = 1e-3;

/// What is still under way in a valve, at the end of the last whole step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// The pilot is not where drive and inlet want it and nothing holds it, or its zero drifts.
    pub pilot_moves: bool,
    /// After how long the stem would move if the chambers went on filling and venting as they do now, s; `None` where
    /// that leads to no motion.
    pub moves_after_s: Option<f64>,
    /// What fills and vents the chambers are leaks alone: the stage is shut, or the lock-up valve has them.
    pub by_leaks: bool,
}

impl Valve {
    /// What is still under way.
    pub fn outlook(&self) -> Outlook {
        let stage = &self.air.stage;
        let (pilot, drift) = (stage.pilot(), stage.config.faults.zero_drift);
        let target = stage.target(self.effective_drive(), self.air.inlet_gauge_pa());
        let held = stage.config.faults.stuck_at.is_some();
        let opens = |pilot: f64| stage.opening_at((pilot + drift).clamp(-1.0, 1.0));
        // Within the dead band it makes no difference where the pilot is.
        let away = (target - pilot).abs().min((opens(target) - opens(pilot)).abs());
        let shut = matches!(stage.config.kind, StageKind::BlockedAtRest { .. })
            && stage.opening_at(if held { pilot } else { pilot + drift }) == 0.0;
        Outlook {
            pilot_moves: self.pilot.drifts(&self.faults) || !held && away > PILOT_IS_THERE,
            moves_after_s: self.moves_after_s(),
            by_leaks: self.hold == Hold::Locked || self.hold == Hold::Stage && shut,
        }
    }

    fn moves_after_s(&self) -> Option<f64> {
        let stem_m = self.moving.stem_m();
        let volumes = self.actuator.volumes(stem_m);
        let gas = self.config.exponent * GAS_CONSTANT_J_PER_KG_K * self.config.temperature_k;
        // The volume's change with the way is the area with the sign in which its air pushes.
        let fed = volumes.iter().enumerate().take(self.actuator.fed_chambers());
        let n_per_s: f64 =
            fed.map(|(i, v)| v.m3_per_m * gas / v.m3 * self.air.chamber_flow_kg_per_s(i)).sum();
        let (closed_m, open_m) = self.moving.stops_m();
        let blocked = if n_per_s > 0.0 { stem_m >= open_m } else { stem_m <= closed_m };
        if n_per_s.abs() < LEAST_N_PER_S || blocked {
            return None;
        }
        let static_n = self.moving.config().friction_at(stem_m).static_n;
        let forces_n = self.forces.pressure.n + self.forces.spring.n + self.forces.process.n;
        // The way that it would go friction is against it; what presses on a stop, too.
        Some(((static_n - forces_n * n_per_s.signum()) / n_per_s.abs()).max(0.0))
    }
}
