//! A positioner's electronics inside the device: what they sense, what of it is stored, who may start a calibration [DV-80].

use super::Device;
use super::kind::Positioning;
use super::positioner::{
    Act, Alarm, Electronics, Ended, Ending, FaultEntry, Key, Kind as Learns, MOST_FAULTS, Outcome, Refusal,
    Senses, SetUpError, Shown, StoredPositioner, display, display_state,
};
use super::state::State;
use crate::time::Instant;
use core::fmt;
use core::time::Duration;

/// How often the counters are stored by themselves [DV-88].
const COUNTERS_EVERY: Duration = Duration::from_secs(600);
/// Most news that are kept for whoever asks.
const MOST_NEWS: usize = 1000;

/// Something that happened to a positioner with electronics, for whoever watches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PositionerNews {
    /// A calibration has begun.
    CalibrationBegun(Learns),
    /// A calibration has ended.
    CalibrationEnded(Outcome),
    /// Something is wrong from now on.
    Alarm(Alarm),
}

impl fmt::Display for PositionerNews {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PositionerNews::CalibrationBegun(kind) => {
                write!(f, "a calibration of kind {} has begun", kind.code())
            }
            PositionerNews::CalibrationEnded(Outcome { ending, lasted_s, stage, .. }) => match ending {
                Ending::Done => write!(f, "the calibration is done, after {lasted_s:.0} s"),
                Ending::Aborted => {
                    write!(
                        f,
                        "the calibration was aborted after {lasted_s:.0} s; what was learned before holds"
                    )
                }
                Ending::Failed(cause) => {
                    let (why, hint) = (cause.words(), cause.hint());
                    write!(f, "the calibration failed while {}: {why}. {hint}", stage.words())
                }
            },
            PositionerNews::Alarm(alarm) => f.write_str(alarm.words()),
        }
    }
}

/// Why a calibration is not begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotBegun {
    /// The device is no positioner with electronics.
    NoElectronics,
    /// The configuration is protected, or locked against all.
    Locked,
    /// The process does not allow it [DV-91].
    NotAllowed,
    /// The electronics refuse.
    Refused(Refusal),
}

impl fmt::Display for NotBegun {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            NotBegun::NoElectronics => "this device has no valve that is computed",
            NotBegun::Locked => "the device is write-protected or locked",
            NotBegun::NotAllowed => "the process does not allow a calibration now",
            NotBegun::Refused(Refusal::Running) => "a calibration is running",
            NotBegun::Refused(Refusal::NoSupply) => "there is no supply pressure",
            NotBegun::Refused(Refusal::NoCurrent) => "there is no loop current",
        })
    }
}

impl State {
    /// The electronics of a positioner that has some.
    pub fn positioning(&self) -> Option<&dyn Positioning> {
        self.kind.positioning()
    }

    /// What its sensors say at `now`; gives the drive of the output stage. `None` for a device without electronics.
    pub fn sense(&mut self, now: Instant, senses: &Senses) -> Option<f64> {
        self.now = self.now.max(now);
        if let Some(act) = self.kind.positioning_mut()?.keys_mut().step(now) {
            self.act(now, act);
        }
        let (kind, around) = self.parts();
        let period = kind.positioning_mut()?.sense(around, now, senses);
        if let Some(ending) = period.ended {
            self.calibration_ended(now, ending);
        }
        for alarm in period.come.each() {
            self.tell(now, PositionerNews::Alarm(alarm));
            self.keep_fault(now, alarm);
        }
        if now.since(self.counters_kept) >= COUNTERS_EVERY {
            self.keep_counters(now);
            self.unsaved = true;
        }
        // What command 48 says changes with these; what else has come about shows when somebody asks.
        let condition = self.kind.condition();
        if condition != self.condition {
            self.condition = condition;
            self.note_status();
        }
        Some(period.drive)
    }

    /// Begins a calibration, for a master, a key or the bench; who may is not asked here.
    pub fn begin_calibration(&mut self, now: Instant, learns: Learns) -> Result<(), NotBegun> {
        let Some(own) = self.kind.positioning_mut() else { return Err(NotBegun::NoElectronics) };
        if own.electronics().progress().is_some() {
            return Err(NotBegun::Refused(Refusal::Running));
        }
        if !own.set_up().calibration_allowed {
            return Err(NotBegun::NotAllowed);
        }
        own.electronics_mut().start_calibration(learns).map_err(NotBegun::Refused)?;
        self.tell(now, PositionerNews::CalibrationBegun(learns));
        Ok(())
    }

    /// The same for somebody at the device, for whom write protect and locks count too.
    pub fn begin_calibration_here(&mut self, now: Instant, learns: Learns) -> Result<(), NotBegun> {
        if self.config.write_protected || self.locked_against_all() {
            return Err(NotBegun::Locked);
        }
        self.begin_calibration(now, learns)
    }

    /// A key at the device goes down or comes up.
    pub fn press(&mut self, now: Instant, key: Key, pressed: bool) {
        let Some(own) = self.kind.positioning_mut() else { return };
        if let Some(act) = own.keys_mut().set(now, key, pressed) {
            self.act(now, act);
        }
        self.note_status();
    }

    /// Does what a key wants. Nobody is asked whether it was done: the display tells [DV-98].
    fn act(&mut self, now: Instant, act: Act) {
        let closed = self.config.write_protected || self.locked_against_all();
        match act {
            Act::Jog { towards, dt_s } if !closed => {
                let (kind, around) = self.parts();
                if let Some(own) = kind.positioning_mut().filter(|own| own.electronics().progress().is_none())
                {
                    own.jog(around, now, towards, dt_s);
                }
            }
            Act::Jog { .. } => {}
            Act::Calibrate(learns) => {
                let _ = self.begin_calibration_here(now, learns);
            }
            Act::Acknowledge => {
                if !self.abort_calibration(now) {
                    self.set_by_hand(now, None);
                }
                if let Some(own) = self.kind.positioning_mut() {
                    own.acknowledge();
                }
            }
            Act::Find => self.armed = !self.armed,
        }
    }

    /// What the display goes by at `now`; `None` for a device without one [DV-99].
    fn shown(&self, now: Instant) -> Option<Shown> {
        let own = self.kind.positioning()?;
        // The worst first: what is broken, then what keeps the valve from working, then the air and the current.
        const BY_WEIGHT: [Alarm; 8] = [
            Alarm::MemoryDefect,
            Alarm::LeverOutside,
            Alarm::DoesNotMove,
            Alarm::CalibrationFailed,
            Alarm::SupplyLow,
            Alarm::SupplyHigh,
            Alarm::CurrentOutside,
            Alarm::TravelDeviation,
        ];
        let alarms = own.alarms_now();
        let has = |a: Alarm| alarms.has(a) || a == Alarm::MemoryDefect && self.memory_defect;
        Some(Shown {
            set_point_percent: self.valve_percent(now).map_or(f64::NAN, |v| v.0),
            by_hand: own.by_hand().is_some(),
            local: own.is_local(),
            locked: self.config.write_protected || self.locked_against_all(),
            armed: self.armed,
            alarm: BY_WEIGHT.into_iter().find(|a| has(*a)).map(Alarm::words),
        })
    }

    /// Ends a calibration that runs; whether one did.
    pub fn abort_calibration(&mut self, now: Instant) -> bool {
        let was_running = self.kind.positioning_mut().is_some_and(|own| own.electronics_mut().abort());
        if was_running {
            self.calibration_ended(now, Ending::Aborted);
        }
        was_running
    }

    /// The power has come, or a reset: how a calibration ended that ran until then is stored.
    pub fn positioner_started(&mut self, now: Instant) {
        let result = self.kind.positioning().and_then(|own| own.electronics().result().copied());
        let stored = self.stored.positioner.as_ref().and_then(|s| s.ended).map(|e| e.outcome);
        if let Some(outcome) = result.filter(|r| Some(*r) != stored) {
            self.calibration_ended(now, outcome.ending);
        }
        self.counters_kept = now;
        self.condition = self.kind.condition();
    }

    fn calibration_ended(&mut self, now: Instant, ending: Ending) {
        let Some(electronics) = self.kind.positioning().map(Positioning::electronics) else { return };
        let (outcome, calibrated) = (electronics.result().copied(), electronics.calibrated().copied());
        let date = self.clock.read(now).0.to_bytes();
        if let (Some(stored), Some(outcome)) = (&mut self.stored.positioner, outcome) {
            stored.ended = Some(Ended { outcome, date });
            stored.calibrated = calibrated;
            self.unsaved = true;
            if ending == Ending::Done {
                self.count_write();
            }
            self.tell(now, PositionerNews::CalibrationEnded(outcome));
        }
        self.keep_counters(now);
    }

    /// Adds a fault to the history.
    pub fn keep_fault(&mut self, now: Instant, alarm: Alarm) {
        let travel = self.kind.positioning().and_then(|own| own.electronics().travel_percent());
        let (date, time) = self.clock.read(now);
        let Some(stored) = &mut self.stored.positioner else { return };
        let entry = FaultEntry {
            fault: alarm.code(),
            date: date.to_bytes(),
            time: time.0,
            travel_percent: travel.map(|x| x as f32).filter(|x| x.is_finite()),
        };
        stored.faults.insert(0, entry);
        stored.faults.truncate(MOST_FAULTS);
        self.unsaved = true;
    }

    fn keep_counters(&mut self, now: Instant) {
        self.counters_kept = now;
        let counters = self.kind.positioning().map(|own| own.electronics().counters());
        if let (Some(stored), Some(counters)) = (&mut self.stored.positioner, counters) {
            stored.counters = counters;
        }
    }

    /// Changes what a master may write; nothing changes where the device could not hold it.
    pub fn rewrite_positioner(
        &mut self,
        now: Instant,
        change: impl FnOnce(&mut StoredPositioner),
    ) -> Result<(), SetUpError> {
        let Some(mut stored) = self.stored.positioner.clone() else { return Ok(()) };
        let Some(own) = self.kind.positioning_mut() else { return Ok(()) };
        change(&mut stored);
        stored.check(&own.set_up().set_up)?;
        let config = stored.over(&own.set_up().set_up);
        own.electronics_mut().set_config(config)?;
        self.stored.positioner = Some(stored);
        self.keep_counters(now);
        self.count_write();
        Ok(())
    }

    /// Forgets the faults that are kept; what is wrong just now is kept again.
    pub fn clear_faults(&mut self, now: Instant) {
        if let Some(stored) = &mut self.stored.positioner {
            stored.faults.clear();
            self.unsaved = true;
        }
        if let Some(own) = self.kind.positioning_mut() {
            own.alarms().tell_again();
        }
        if self.memory_defect {
            self.keep_fault(now, Alarm::MemoryDefect);
        }
    }

    /// Begins to count anew.
    pub fn clear_positioner_counters(&mut self, now: Instant) {
        if let Some(own) = self.kind.positioning_mut() {
            own.electronics_mut().clear_counters();
        }
        self.keep_counters(now);
        self.unsaved = true;
    }

    /// Gives the set point by hand, percent, or back to the loop.
    pub fn set_by_hand(&mut self, now: Instant, percent: Option<f64>) {
        let (kind, around) = self.parts();
        if let Some(own) = kind.positioning_mut() {
            own.set_by_hand(around, now, percent);
        }
    }

    fn tell(&mut self, now: Instant, what: PositionerNews) {
        if self.news.len() < MOST_NEWS {
            self.news.push((now, what));
        }
    }
}

impl Device {
    /// A period of a positioner's electronics: the readings of its sensors at `now`, but for the loop current, which it knows.
    /// Gives the drive of its output stage, -1 to 1; `None` for a device without electronics [DV-80].
    pub fn sense(&mut self, now: Instant, senses: &Senses) -> Option<f64> {
        if self.state.delayed.next_at().is_some_and(|due| due <= now) {
            self.come_to(now);
        }
        self.state.sense(now, senses)
    }

    /// The electronics of a positioner whose valve is computed.
    pub fn electronics(&self) -> Option<&Electronics> {
        self.state.positioning().map(|own| own.electronics())
    }

    /// Begins a calibration as somebody at the device does.
    ///
    /// # Errors
    /// Why it is not begun.
    pub fn begin_calibration(&mut self, now: Instant, learns: Learns) -> Result<(), NotBegun> {
        self.come_to(now);
        self.state.begin_calibration_here(now, learns)
    }

    /// The process allows a calibration from now on, or no longer [DV-91].
    pub fn allow_calibration(&mut self, allowed: bool) {
        if let Some(own) = self.state.kind.positioning_mut() {
            own.allow_calibration(allowed);
        }
        self.state.note_status();
    }

    /// A key at the device goes down at `now`, or comes up; without electronics it has none but the one that arms it [DV-98].
    pub fn press(&mut self, now: Instant, key: Key, pressed: bool) {
        self.come_to(now);
        self.state.press(now, key, pressed);
    }

    /// The lines of its display at `now`; `None` for a device without one [DV-99].
    pub fn display(&self, now: Instant) -> Option<[String; 4]> {
        let (own, shown) = (self.state.positioning()?, self.state.shown(now)?);
        Some(display(own.electronics(), own.keys(), &shown, now))
    }

    /// What it does at `now`, in the words of its display without numbers; `None` for a device without one [DV-99].
    pub fn display_state(&self, now: Instant) -> Option<&'static str> {
        let (own, shown) = (self.state.positioning()?, self.state.shown(now)?);
        Some(display_state(own.electronics(), own.keys(), &shown, now))
    }

    /// What happened to a positioner with electronics since the last call, in order, the oldest 1000 of it.
    pub fn take_positioner_news(&mut self) -> Vec<(Instant, PositionerNews)> {
        core::mem::take(&mut self.state.news)
    }
}
