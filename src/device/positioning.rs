//! A positioner's electronics inside the device: what they sense, what of it is stored, who may start a calibration [DV-80].

use super::Device;
use super::kind::{PRIMARY, Positioning};
use super::positioner::{
    Act, Alarm, AlarmSet, Cause, Electronics, Ended, Ending, FaultEntry, Key, Kind as Learns, MOST_FAULTS,
    Outcome, Refusal, Senses, SetUpError, Shown, StoredPositioner, display, display_state,
};
use super::response::{Ignored, NotBegun, Response};
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
    /// A key that was pressed, or a calibration that was asked for at the device, came to nothing.
    NotDone(Response),
}

impl fmt::Display for PositionerNews {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PositionerNews::CalibrationBegun(kind) => {
                write!(f, "a calibration has begun: {}", kind.words())
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
            PositionerNews::NotDone(response) => match response.next() {
                Some(next) => write!(f, "{response}; next: {next}"),
                None => write!(f, "{response}"),
            },
        }
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
    fn begin_calibration_here(&mut self, now: Instant, learns: Learns) -> Response {
        let made = match self.closed() {
            Some(why) => Err(why),
            None => self.begin_calibration(now, learns),
        };
        self.answered(now, made.map_or_else(Response::NotBegun, |()| Response::Begun))
    }

    /// Why nobody at the device may change anything; `None` if he may.
    fn closed(&self) -> Option<NotBegun> {
        match () {
            () if self.config.write_protected => Some(NotBegun::WriteProtected),
            () if self.locked_against_all() => Some(NotBegun::Locked),
            () => None,
        }
    }

    /// Why a calibration would not be begun now by somebody at the device; `None` if it would.
    fn why_not_begin(&self) -> Option<NotBegun> {
        let Some(own) = self.kind.positioning() else { return Some(NotBegun::NoElectronics) };
        let electronics = || own.electronics().why_not_calibrate().map(NotBegun::Refused);
        let process = || (!own.set_up().calibration_allowed).then_some(NotBegun::NotAllowed);
        let running = own.electronics().progress().map(|_| NotBegun::Refused(Refusal::Running));
        self.closed().or(running).or_else(process).or_else(electronics)
    }

    /// Puts what came to nothing among the news.
    fn answered(&mut self, now: Instant, response: Response) -> Response {
        // What is still to be held may yet do something.
        if !response.is_done() && !matches!(response, Response::ToBeHeld(_)) {
            self.tell(now, PositionerNews::NotDone(response));
        }
        response
    }

    /// A key at the device goes down or comes up; gives what the device makes of it.
    fn press(&mut self, now: Instant, key: Key, pressed: bool) -> Response {
        let ignored = |why| Response::Ignored(key, why);
        let Some(own) = self.kind.positioning_mut() else { return ignored(Ignored::NoElectronics) };
        // What keys that are held have wanted until now.
        if let Some(act) = own.keys_mut().step(now) {
            self.act(now, act);
        }
        let Some(own) = self.kind.positioning_mut() else { return ignored(Ignored::NoElectronics) };
        let (was, made) = (own.keys().since(key), own.keys().calibrate_made());
        let act = own.keys_mut().set(now, key, pressed);
        let response = match (was, pressed) {
            (Some(_), true) | (None, false) => ignored(Ignored::NoChange),
            (Some(since), false) if key == Key::Calibrate => {
                made.unwrap_or(Response::TooShort(now.since(since)))
            }
            (Some(_), false) => Response::LetGo(key),
            (None, true) => match (act, self.why_not_jog(key)) {
                (Some(act), _) => self.act(now, act),
                (None, _) if key == Key::Calibrate => Response::ToBeHeld(self.why_not_begin()),
                (None, Some(why)) => ignored(why),
                (None, None) => Response::Moves(key),
            },
        };
        self.note_status();
        match response {
            // It was told when it was done or refused.
            Response::NotBegun(_) | Response::Begun => response,
            _ => self.answered(now, response),
        }
    }

    /// Why a key that moves the valve does not; `None` if it does.
    fn why_not_jog(&self, key: Key) -> Option<Ignored> {
        let own = self.kind.positioning()?;
        let other = if key == Key::Open { Key::Close } else { Key::Open };
        match () {
            () if self.config.write_protected => Some(Ignored::WriteProtected),
            () if self.locked_against_all() => Some(Ignored::Locked),
            () if own.electronics().progress().is_some() => Some(Ignored::Calibrating),
            () if self.simulated[PRIMARY].is_some() => Some(Ignored::Simulated),
            () if !own.electronics().has_current() => Some(Ignored::NoCurrent),
            () if own.keys().since(other).is_some() => Some(Ignored::Both),
            () => None,
        }
    }

    /// Does what a key wants; the display tells as well [DV-98].
    fn act(&mut self, now: Instant, act: Act) -> Response {
        match act {
            Act::Jog { towards, dt_s } => {
                let key = if towards > 0.0 { Key::Open } else { Key::Close };
                if self.closed().is_none() && self.simulated[PRIMARY].is_none() {
                    let (kind, around) = self.parts();
                    if let Some(own) =
                        kind.positioning_mut().filter(|own| own.electronics().progress().is_none())
                    {
                        own.jog(around, now, towards, dt_s);
                    }
                }
                Response::Moves(key)
            }
            Act::Calibrate(learns) => {
                let response = self.begin_calibration_here(now, learns);
                if let Some(own) = self.kind.positioning_mut() {
                    own.keys_mut().has_made(now, response);
                }
                response
            }
            Act::Acknowledge => self.acknowledge(now),
            Act::Find => {
                self.armed = !self.armed;
                Response::Armed(self.armed)
            }
        }
    }

    /// Ends a calibration that runs, or else gives the set point back; and takes note of a failure.
    fn acknowledge(&mut self, now: Instant) -> Response {
        let by_hand = self.kind.positioning().is_some_and(|own| own.by_hand().is_some());
        let failed =
            self.kind.positioning().is_some_and(|own| own.alarms_now().has(Alarm::CalibrationFailed));
        let ended = self.abort_calibration(now);
        if !ended {
            self.set_by_hand(now, None);
        }
        if let Some(own) = self.kind.positioning_mut() {
            own.acknowledge();
        }
        // Else a failure that is known would be an alarm again when the device starts again.
        if let Some(ended) = self.stored.positioner.as_mut().and_then(|s| s.ended.as_mut())
            && !ended.is_noted
            && matches!(ended.outcome.ending, Ending::Failed(_))
        {
            ended.is_noted = true;
            self.unsaved = true;
        }
        match (ended, by_hand, failed) {
            (true, _, _) => Response::Ended,
            (_, true, _) => Response::GivenBack,
            (_, _, true) => Response::Noted,
            _ => Response::Ignored(Key::Acknowledge, Ignored::NothingToDo),
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
            given: match () {
                () if self.simulated[PRIMARY].is_some() => Some("set point simulated"),
                () if own.by_hand().is_some() => Some("by hand"),
                () if self.around().in_multidrop() => Some("set point held"),
                () => None,
            },
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

    /// Something outside ends a calibration that runs.
    pub fn fail_calibration(&mut self, now: Instant, cause: Cause) {
        if self.kind.positioning_mut().is_some_and(|own| own.electronics_mut().fail(cause)) {
            self.calibration_ended(now, Ending::Failed(cause));
        }
    }

    /// The power has come, or a reset: that it has ended a calibration is stored.
    pub fn positioner_started(&mut self, now: Instant) {
        if self.kind.positioning_mut().is_some_and(|own| own.take_ended_by_start()) {
            self.calibration_ended(now, Ending::Failed(Cause::PowerLost));
        }
        self.counters_kept = now;
        self.condition = self.kind.condition();
    }

    fn calibration_ended(&mut self, now: Instant, ending: Ending) {
        let Some(electronics) = self.kind.positioning().map(Positioning::electronics) else { return };
        let (outcome, calibrated) = (electronics.result().copied(), electronics.calibrated().copied());
        let date = self.clock.read(now).0.to_bytes();
        if let (Some(stored), Some(outcome)) = (&mut self.stored.positioner, outcome) {
            stored.ended = Some(Ended { outcome, date, is_noted: false });
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

    /// Its alarms as they are; none for a device without electronics [DV-89].
    pub fn alarms(&self) -> AlarmSet {
        self.state.positioning().map_or(AlarmSet::default(), |own| own.alarms_now())
    }

    /// The set point by hand, percent of the range; `None` where it follows the loop, and for a device without electronics.
    pub fn by_hand_percent(&self) -> Option<f64> {
        self.state.positioning().and_then(|own| own.by_hand())
    }

    /// Whether the process allows a calibration [DV-91]; false for a device without electronics.
    pub fn allows_calibration(&self) -> bool {
        self.state.positioning().is_some_and(|own| own.set_up().calibration_allowed)
    }

    /// Begins a calibration as somebody at the device does; gives what the device makes of that.
    pub fn begin_calibration(&mut self, now: Instant, learns: Learns) -> Response {
        self.come_to(now);
        self.state.begin_calibration_here(now, learns)
    }

    /// A calibration is asked for at a device that has no power.
    pub fn begin_calibration_dark(&mut self, now: Instant) -> Response {
        self.state.answered(now, Response::NotBegun(NotBegun::NoPower))
    }

    /// The process allows a calibration from `now` on, or no longer; then one that runs ends [DV-91].
    pub fn allow_calibration(&mut self, now: Instant, allowed: bool) {
        if !allowed {
            self.state.fail_calibration(now, Cause::NoLongerAllowed);
        }
        if let Some(own) = self.state.kind.positioning_mut() {
            own.allow_calibration(allowed);
        }
        self.state.note_status();
    }

    /// A key at the device goes down at `now`, or comes up; gives what the device makes of that [DV-98].
    pub fn press(&mut self, now: Instant, key: Key, pressed: bool) -> Response {
        self.come_to(now);
        self.state.press(now, key, pressed)
    }

    /// The same for a device that has no power: nothing comes of it.
    pub fn press_dark(&mut self, now: Instant, key: Key) -> Response {
        self.state.answered(now, Response::Ignored(key, Ignored::NoPower))
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
