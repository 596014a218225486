//! The positioner's electronics: from what its sensors say to the drive of its output stage [DV-80].
//!
//! Pure logic on time that is handed in, no protocol: [`Electronics::step`] is called every 10 ms of the device's own
//! time with [`Senses`] and gives a drive. It never learns the truth about the valve.

mod alarms;
mod calibrated;
mod calibration;
mod characteristic;
mod commands;
mod config;
mod control;
mod counters;
mod demand;
mod deviation;
mod kept;
mod keys;
mod rows;
mod senses;

pub use alarms::{Alarm, AlarmSet, Alarms, Seen};
pub use calibrated::{Calibrated, Learned};
pub use calibration::{Calibration, Cause, Ending, Kind, Limits, Outcome, Progress, Stage};
pub use characteristic::{BadPoints, Characteristic, POINTS, RANGEABILITY};
pub use config::{Config, Lever, Mounting, Outputs, SetUpError};
pub use control::{Controller, Look, PERIOD, Track};
pub use counters::{Counters, Counting};
pub use demand::{Demand, DemandConfig, Direction, EndPosition, Source, Wanted};
pub use deviation::{DeviationConfig, DeviationWatch};
pub use kept::{Ended, FaultEntry, MOST_FAULTS, StoredPositioner};
pub use keys::{
    Act, HOLD, JOG_DRIVE, JOG_PERCENT_PER_S, Key, Keys, LINE, Shown, display, state as display_state,
};
pub use rows::{OWN_COMMANDS, OwnCommand};
pub use senses::Senses;

pub(super) use commands::OWN;
pub(super) use rows::form as own_form;

use crate::time::Instant;
use calibration::Turn;
use serde::{Deserialize, Serialize};

/// Loop current below which the electronics have no power, A [DV-80]; the usual alarm current, common practice.
pub const LEAST_CURRENT_A: f64 = 3.6e-3;
/// Supply below which a calibration is not begun, Pa gauge [DV-91].
pub const NO_SUPPLY_GAUGE_PA: f64 = 0.2e5;

/// Why a calibration is not begun [DV-91].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// One is running.
    Running,
    /// There is no supply pressure.
    NoSupply,
    /// There is no loop current, or nothing was sensed yet.
    NoCurrent,
}

/// What is kept over a loss of power [DV-88].
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    /// The set-up.
    pub config: Config,
    /// What was learned; none: never calibrated.
    pub calibrated: Option<Calibrated>,
    /// How the last calibration ended.
    pub outcome: Option<Outcome>,
    /// Counters.
    pub counters: Counters,
}

/// The electronics at work. A clone is a snapshot.
#[derive(Clone, Debug, PartialEq)]
pub struct Electronics {
    config: Config,
    calibrated: Option<Calibrated>,
    outcome: Option<Outcome>,
    calibration: Option<Calibration>,
    source: Source,
    demand: Demand,
    controller: Controller,
    counting: Counting,
    deviation: DeviationWatch,
    senses: Option<Senses>,
    at: Option<Instant>,
    wanted: Option<Wanted>,
    drive: f64,
}

impl Electronics {
    /// At power-up, with what was kept.
    ///
    /// # Errors
    /// As [`Config::check`].
    pub fn new(kept: Kept) -> Result<Electronics, SetUpError> {
        kept.config.check()?;
        Ok(Electronics {
            calibrated: kept.calibrated.filter(|c| c.fits(&kept.config)),
            outcome: kept.outcome,
            counting: Counting::from(kept.counters),
            config: kept.config,
            calibration: None,
            source: Source::Loop,
            demand: Demand::default(),
            controller: Controller::default(),
            deviation: DeviationWatch::default(),
            senses: None,
            at: None,
            wanted: None,
            drive: -1.0,
        })
    }

    /// What is to be kept, as it stands now.
    pub fn kept(&self) -> Kept {
        Kept {
            config: self.config.clone(),
            calibrated: self.calibrated,
            outcome: self.outcome,
            counters: self.counting.counters(),
        }
    }

    /// The set-up.
    pub fn config(&self) -> &Config {
        &self.config
    }

    /// Changes the set-up. Another kind of lever makes the calibration void.
    ///
    /// # Errors
    /// As [`Config::check`]; nothing changes then.
    pub fn set_config(&mut self, config: Config) -> Result<(), SetUpError> {
        config.check()?;
        self.calibrated = self.calibrated.filter(|c| c.fits(&config));
        self.config = config;
        Ok(())
    }

    /// What was learned and is in force.
    pub fn calibrated(&self) -> Option<&Calibrated> {
        self.calibrated.as_ref()
    }

    /// Where the set point comes from.
    pub fn source(&self) -> Source {
        self.source
    }

    /// Gives the set point by hand, or back to the loop. It is not kept over a loss of power [DV-81].
    pub fn set_source(&mut self, source: Source) {
        self.source = source;
    }

    /// Begins counting anew.
    pub fn clear_counters(&mut self) {
        self.counting = Counting::default();
    }

    /// Counters.
    pub fn counters(&self) -> Counters {
        self.counting.counters()
    }

    /// Starts a calibration: the valve will stroke [DV-91].
    ///
    /// # Errors
    /// One is running, there is no supply, or no current.
    pub fn start_calibration(&mut self, kind: Kind) -> Result<(), Refusal> {
        if let Some(refusal) = self.why_not_calibrate() {
            return Err(refusal);
        }
        self.calibration = Some(Calibration::new(kind, self.calibrated.as_ref()));
        Ok(())
    }

    /// Why a calibration would not be begun now; `None` if it would.
    pub fn why_not_calibrate(&self) -> Option<Refusal> {
        match &self.senses {
            _ if self.calibration.is_some() => Some(Refusal::Running),
            _ if !self.has_current() => Some(Refusal::NoCurrent),
            Some(s) if s.supply_gauge_pa < NO_SUPPLY_GAUGE_PA => Some(Refusal::NoSupply),
            _ => None,
        }
    }

    /// Whether there is enough loop current to work with, as far as was sensed.
    pub fn has_current(&self) -> bool {
        self.senses.as_ref().is_some_and(|s| s.loop_current_a >= LEAST_CURRENT_A)
    }

    /// Ends a calibration; what was in force before still is. Whether one was running.
    pub fn abort(&mut self) -> bool {
        self.end(Ending::Aborted)
    }

    /// Something outside ends a calibration; what was in force before still is. Whether one was running.
    pub fn fail(&mut self, cause: Cause) -> bool {
        self.end(Ending::Failed(cause))
    }

    /// Power came back, or the device was reset: a calibration that ran has failed, the set point follows the loop again.
    /// Whether one was running.
    pub fn restart(&mut self) -> bool {
        let ended = self.fail(Cause::PowerLost);
        *self = Electronics::new(self.kept()).unwrap_or_else(|_| self.clone());
        ended
    }

    fn end(&mut self, ending: Ending) -> bool {
        let Some(calibration) = self.calibration.take() else { return false };
        self.outcome = Some(calibration.outcome(ending));
        self.controller = Controller::default();
        true
    }

    /// How far a calibration is; `None` while none runs.
    pub fn progress(&self) -> Option<Progress> {
        self.calibration.as_ref().map(Calibration::progress)
    }

    /// How the last calibration ended; `None`: never run.
    pub fn result(&self) -> Option<&Outcome> {
        self.outcome.as_ref()
    }

    /// Sensed travel, percent; `None` before the first readings, and while never calibrated.
    pub fn travel_percent(&self) -> Option<f64> {
        self.calibrated.as_ref()?.travel_percent(self.senses.as_ref()?.lever_rad)
    }

    /// The set point that asks for the travel that these readings tell, percent, 0 to 100: what holds the valve where it
    /// stands. `None` while never calibrated, and where they tell none.
    pub fn holding_set_point_percent(&self, senses: &Senses) -> Option<f64> {
        let travel = self.calibrated.as_ref()?.travel_percent(senses.lever_rad)?;
        Some(100.0 * self.config.demand.characteristic.set_point(travel / 100.0))
    }

    /// Sensed angle, rad; `None` before the first readings.
    pub fn lever_rad(&self) -> Option<f64> {
        self.senses.as_ref().map(|s| s.lever_rad)
    }

    /// The last readings.
    pub fn senses(&self) -> Option<&Senses> {
        self.senses.as_ref()
    }

    /// Set point, percent, before characteristic and limits; `None` before the first readings.
    pub fn set_point_percent(&self) -> Option<f64> {
        match self.source {
            Source::ByHand(percent) => Some(percent.clamp(0.0, 100.0)),
            Source::Loop => Some(self.config.demand.set_point_percent(self.senses.as_ref()?.loop_current_a)),
        }
    }

    /// What the controller was last asked for; `None` during a calibration and while it has none.
    pub fn wanted(&self) -> Option<Wanted> {
        self.wanted
    }

    /// Travel wanted less sensed travel, percent; pressed against a stop it is counted from the stop.
    pub fn deviation_percent(&self) -> Option<f64> {
        let wanted = match self.wanted? {
            Wanted::Travel(percent) => percent,
            Wanted::Shut => 0.0,
            Wanted::WideOpen => 100.0,
        };
        Some(wanted - self.travel_percent()?)
    }

    /// Whether the deviation is too large for too long [DV-85].
    pub fn deviates(&self) -> bool {
        self.deviation.told()
    }

    /// Speed of the sensed travel, percent/s.
    pub fn speed_percent_per_s(&self) -> f64 {
        self.controller.track().speed()
    }

    /// Takes the readings of this moment and gives the drive until the next: -1 (vents output 1) to 1. To be called every
    /// [`PERIOD`]; a longer pause counts as 0.1 s at most.
    pub fn step(&mut self, now: Instant, senses: &Senses) -> f64 {
        let dt_s = self.at.map_or(PERIOD, |at| now.since(at)).as_secs_f64().min(0.1);
        self.at = Some(now);
        self.senses = Some(*senses);
        self.drive = self.config.opens() * self.opening_drive(dt_s, senses);
        if self.wanted.is_none() && self.calibration.is_none() {
            // Without current, calibration or sense it rests where it would without power.
            self.drive = -1.0;
        }
        self.counting.step(dt_s, self.travel_percent().filter(|_| senses.lever_in_range));
        self.deviation.step(&self.config.deviation, dt_s, self.deviation_percent().unwrap_or(0.0));
        self.drive
    }

    fn opening_drive(&mut self, dt_s: f64, senses: &Senses) -> f64 {
        self.wanted = None;
        if senses.loop_current_a.is_nan() || senses.loop_current_a < LEAST_CURRENT_A {
            self.end(Ending::Failed(Cause::CurrentLost));
            return 0.0;
        }
        if !senses.are_numbers() {
            self.end(Ending::Failed(Cause::SensorImplausible));
            return 0.0;
        }
        if let Some(calibration) = &mut self.calibration {
            match calibration.step(&self.config, dt_s, senses) {
                Turn::Goes(drive) => return drive,
                Turn::Done(calibrated) => {
                    self.end(Ending::Done);
                    self.calibrated = Some(calibrated);
                }
                Turn::Failed(cause) => {
                    self.end(Ending::Failed(cause));
                }
            }
        }
        let Some(calibrated) = self.calibrated else { return 0.0 };
        let (Some(travel_percent), Some(set_point)) =
            (calibrated.travel_percent(senses.lever_rad), self.set_point_percent())
        else {
            return 0.0;
        };
        let wanted = self.demand.wanted(&self.config.demand, set_point);
        self.wanted = Some(wanted);
        let look = Look { travel_percent, opening_pa: self.config.opening_pa(senses.output_gauge_pa) };
        match wanted {
            Wanted::Travel(percent) => self.controller.step(&calibrated.learned, dt_s, percent, &look),
            Wanted::Shut => {
                self.controller.watch(&look);
                -1.0
            }
            Wanted::WideOpen => {
                self.controller.watch(&look);
                1.0
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn number() -> impl Strategy<Value = f64> {
        prop_oneof![8 => -1.0..1.0f64, 1 => Just(f64::NAN), 1 => Just(f64::INFINITY), 1 => -1e300..1e300f64]
    }

    proptest! {
        /// Whatever the sensors say and whenever: the drive is one, and nothing panics.
        #[test]
        fn any_senses_give_a_drive(
            readings in prop::collection::vec((number(), any::<bool>(), number(), number(), 0..40u64), 1..300),
            outputs in prop::sample::select(vec![Outputs::AirOpens, Outputs::AirCloses, Outputs::Double]),
            lever in prop::sample::select(vec![Lever::PinOnStem, Lever::PinOnLever, Lever::OnShaft]),
            calibrated in any::<bool>(),
        ) {
            let learned = Learned::default();
            let (closed_rad, open_rad) = (-0.5, 0.5);
            let known = Calibrated {
                lever, closed_rad, open_rad, opening_s: None, closing_s: None, friction_pa: None, learned,
            };
            let config = Config { lever, outputs, mounting: Mounting::Either, ..Config::default() };
            let kept = Kept { config, calibrated: calibrated.then_some(known), ..Kept::default() };
            let Ok(mut electronics) = Electronics::new(kept) else { panic!("the set-up is right") };
            let mut now = Instant::ZERO;
            for (n, (rad, lever_in_range, bar, other_bar, ms)) in readings.into_iter().enumerate() {
                now += core::time::Duration::from_millis(ms);
                let senses = Senses {
                    lever_rad: rad,
                    lever_in_range,
                    supply_gauge_pa: 6e5 * bar.abs(),
                    output_gauge_pa: [6e5 * other_bar, 6e5 * bar],
                    loop_current_a: 4e-3 + 16e-3 * (n as f64 / 300.0),
                };
                let drive = electronics.step(now, &senses);
                prop_assert!((-1.0..=1.0).contains(&drive), "{drive}");
                let _ = electronics.start_calibration(Kind::Friction);
                let _ = (electronics.progress(), electronics.deviation_percent(), electronics.speed_percent_per_s());
            }
        }
    }
}
