//! What a device is and knows between two requests: inputs, settings, what it stores.

use super::burst::Progresses;
use super::clock::Clock;
use super::config::DeviceConfig;
use super::delayed::Delayed;
use super::faults;
use super::kind::{self, Around, Condition, Input, Kind, LoopCurrent, MOST_VARIABLES, Output, PRIMARY};
use super::memory::ImageError;
use super::positioner::{Alarm, Cause};
use super::positioning::PositionerNews;
use super::status::Said;
use super::stored::{Stored, TwoPointTrim};
use super::variables::Simulated;
use crate::app::command::Revision;
use crate::app::types::units;
use crate::frame::Master;
use crate::time::Instant;
use core::time::Duration;

/// How long "once" lasts [DV-25].
const SQUAWK_ONCE: Duration = Duration::from_secs(3);

/// Whether the device shows itself in the field [TB-16].
#[derive(Clone, Copy, Debug)]
pub(super) enum Squawk {
    Off,
    On,
    Once { until: Instant },
}

/// Frames since power-up or reset; they wrap [DV-26].
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counters {
    pub requests: u16,
    pub replies: u16,
    pub bursts: u16,
}

/// The device without its line.
#[derive(Clone, Debug)]
pub(super) struct State {
    pub config: DeviceConfig,
    pub stored: Stored,
    /// Something stored has changed since it was last taken.
    pub unsaved: bool,
    /// Found at power-up; only the next power-up can clear it [DV-04].
    pub memory_defect: bool,
    /// The electronics are broken, until somebody mends them [DV-50].
    pub broken: bool,
    pub clock: Clock,
    /// The time up to which things have happened.
    pub now: Instant,
    /// What this kind of device has that others have not.
    pub kind: Box<dyn Kind>,
    /// What masters say that the device variables are [DV-23].
    pub simulated: [Option<Simulated>; MOST_VARIABLES],
    pub temporary_lock: Option<Master>,
    pub squawk: Squawk,
    /// Command 73 is answered [DV-25].
    pub armed: bool,
    pub counters: Counters,
    /// Work under way, and results that wait [DV-40].
    pub delayed: Delayed,
    /// Revisions 5 and 6: until when the device is busy with what it took on [DV-41].
    pub occupied_until: Option<Instant>,
    /// How far the burst messages are [DV-31].
    pub burst: Progresses,
    /// The device starts again as soon as its answer is out [DV-20].
    pub starts_again: bool,
    /// By [`Master::index`] [ST-08].
    pub cold_start: [bool; 2],
    /// By [`Master::index`]; counts in revision 7 alone [ST-07].
    pub more_status: [bool; 2],
    /// What command 48 said when it last changed.
    pub reported: Said,
    /// What the electronics of a positioner said was the matter when they were last looked at.
    pub condition: Condition,
    /// When the counters of a positioner were last put with what is stored.
    pub counters_kept: Instant,
    /// What happened to a positioner, for whoever watches.
    pub news: Vec<(Instant, PositionerNews)>,
}

impl State {
    pub fn new(config: DeviceConfig, stored: Stored, defect: Option<&ImageError>, now: Instant) -> Self {
        let mut state = State {
            stored,
            unsaved: false,
            memory_defect: defect.is_some(),
            broken: false,
            clock: Clock::new(now),
            now,
            kind: kind::of(&config, now),
            simulated: [None; MOST_VARIABLES],
            temporary_lock: None,
            squawk: Squawk::Off,
            armed: false,
            counters: Counters::default(),
            delayed: Delayed::default(),
            occupied_until: None,
            burst: Progresses::new(now),
            starts_again: false,
            cold_start: [true; 2],
            more_status: [false; 2],
            reported: Said::default(),
            condition: Condition::default(),
            counters_kept: now,
            news: Vec::new(),
            config,
        };
        state.power_up(now);
        if state.memory_defect {
            state.keep_fault(now, Alarm::MemoryDefect);
        }
        state
    }

    /// Starts, or starts again: what is not stored is forgotten, what is measured is not [DV-20].
    pub fn start(&mut self, now: Instant) {
        self.now = self.now.max(now);
        self.clock = Clock::new(now);
        self.simulated = [None; MOST_VARIABLES];
        self.temporary_lock = None;
        self.squawk = Squawk::Off;
        self.armed = false;
        self.counters = Counters::default();
        self.delayed.kill();
        self.occupied_until = None;
        self.burst = Progresses::new(now);
        self.cold_start = [true; 2];
        let (kind, around) = self.parts();
        kind.start(around, now);
        self.positioner_started(now);
        self.status_is_known();
        faults::started(self);
        self.starts_again = false;
    }

    /// Power comes: starts, with what is damped where it is measured.
    fn power_up(&mut self, now: Instant) {
        self.start(now);
        let (kind, around) = self.parts();
        kind.settle(around, now);
        // What is settled may say something else, and that is not new.
        self.status_is_known();
    }

    /// Time has come to `now`: what has come about with it alone is seen [ST-07].
    pub fn reach(&mut self, now: Instant) {
        if now > self.now {
            self.now = now;
            self.note_status();
        }
    }

    /// The power was gone, and what is stored is read again: it is good, for nothing else is written [DV-50].
    pub fn power_cycle(&mut self, now: Instant) {
        self.memory_defect = false;
        self.delayed.forget();
        self.power_up(now);
    }

    /// The power is gone: nothing is under way any more [DV-51].
    pub fn power_lost(&mut self, now: Instant) {
        self.fail_calibration(now, Cause::PowerLost);
        self.delayed.forget();
        self.occupied_until = None;
        self.starts_again = false;
        self.squawk = Squawk::Off;
    }

    pub fn revision(&self) -> Revision {
        self.config.identity.revision
    }

    /// Preambles before answers [DV-21].
    pub fn preambles_reply(&self) -> u8 {
        self.stored.preambles_reply.unwrap_or(self.config.identity.preambles_reply)
    }

    /// Whether the device shows itself at `now` [DV-25].
    pub fn squawks(&self, now: Instant) -> bool {
        match self.squawk {
            Squawk::Off => false,
            Squawk::On => true,
            Squawk::Once { until } => now < until,
        }
    }

    /// Whether commands that may be answered with "busy" are [DV-09] [DV-41].
    pub fn is_busy(&self, now: Instant) -> bool {
        self.config.busy || self.occupied_until.is_some_and(|until| now < until)
    }

    pub fn squawk_once(&mut self, now: Instant) {
        self.squawk = Squawk::Once { until: now + SQUAWK_ONCE };
    }

    // The kind of device, and what it goes by.

    pub fn around(&self) -> Around<'_> {
        Around { config: &self.config, stored: &self.stored, simulated: &self.simulated }
    }

    pub(super) fn parts(&mut self) -> (&mut dyn Kind, Around<'_>) {
        let around = Around { config: &self.config, stored: &self.stored, simulated: &self.simulated };
        (&mut *self.kind, around)
    }

    pub fn loop_current(&self, now: Instant) -> LoopCurrent {
        self.kind.loop_current(self.around(), now)
    }

    /// Set point before damping and travel, %; `None` where there is no valve.
    pub fn valve_percent(&self, now: Instant) -> Option<(f64, f64)> {
        self.kind.valve_percent(self.around(), now)
    }

    /// An input that is no finite number is not taken.
    pub fn take(&mut self, now: Instant, input: Input) {
        if input.is_finite() {
            let (kind, around) = self.parts();
            kind.take(around, now, input);
            self.note_status();
        }
    }

    // Settings.

    /// Changes address and mode.
    pub fn set_loop_configuration(&mut self, now: Instant, polling_address: u8, enabled: bool) {
        self.stored.polling_address = polling_address;
        self.stored.loop_current_mode_enabled = enabled;
        let (kind, around) = self.parts();
        kind.loop_mode_written(around, now);
    }

    /// The electronics break, or are mended [DV-50].
    pub fn set_broken(&mut self, broken: bool) {
        self.broken = broken;
        self.note_status();
    }

    pub fn set_range(&mut self, now: Instant, lower: f32, upper: f32) {
        self.stored.lower_range_value = lower;
        self.stored.upper_range_value = upper;
        self.follow(now);
    }

    /// The unit of a device variable; PV's range goes with it. `false` where its ends would fall together.
    pub fn set_unit(&mut self, now: Instant, variable: usize, unit: u8) -> bool {
        let from = core::mem::replace(&mut self.stored.units[variable], unit);
        if variable != PRIMARY || unit == from {
            return true;
        }
        let told = |x: f32| units::convert(x.into(), from, unit).unwrap_or(x.into()) as f32;
        let (lower, upper) = (told(self.stored.lower_range_value), told(self.stored.upper_range_value));
        if lower == upper {
            self.stored.units[variable] = from;
            return false;
        }
        self.set_range(now, lower, upper);
        true
    }

    /// What a master makes of a loop current that is an output.
    pub fn output(&mut self) -> Option<&mut Output> {
        self.kind.output()
    }

    /// The current that flows because of the device, mA; `None` where the loop current is an input.
    pub fn sent_ma(&self, now: Instant) -> Option<f64> {
        self.kind.sent_ma(self.around(), now)
    }

    pub fn set_damping_s(&mut self, now: Instant, s: f32) {
        self.stored.damping_s = s;
        self.follow(now);
    }

    pub fn set_trim(&mut self, now: Instant, trim: TwoPointTrim) {
        self.stored.trim = trim;
        self.follow(now);
    }

    /// `None` ends it. What follows the variable follows the one that is given by hand [DV-23].
    pub fn simulate(&mut self, now: Instant, variable: usize, given: Option<Simulated>) {
        if let Some(place) = self.simulated.get_mut(variable) {
            *place = given;
            self.follow(now);
        }
    }

    fn follow(&mut self, now: Instant) {
        let (kind, around) = self.parts();
        kind.follow(around, now);
    }

    /// A write of configuration was accepted [ST-09] [DV-08].
    pub fn count_write(&mut self) {
        self.stored.configuration_change_counter = self.stored.configuration_change_counter.wrapping_add(1);
        self.stored.configuration_changed = [true; 2];
        self.unsaved = true;
    }
}
