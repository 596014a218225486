//! What a device is and knows between two requests: inputs, settings, what it stores.

use super::burst::Progresses;
use super::clock::Clock;
use super::config::DeviceConfig;
use super::delayed::Delayed;
use super::memory::ImageError;
use super::positioner::{Lag, Positioner};
use super::stored::Stored;
use super::variables::{COUNT, Simulated};
use crate::app::command::Revision;
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
#[derive(Debug)]
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
    pub positioner: Positioner,
    /// The set point behind its damping, also beyond the end stops.
    pub damped_percent: Lag,
    pub loop_current_ma: f64,
    pub sensor_pressure_bar: f64,
    /// The set point while the loop current is fixed: it stays where it was [DV-15].
    pub held_percent: Option<f64>,
    /// What masters say that the device variables are [DV-23].
    pub simulated: [Option<Simulated>; COUNT],
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
    pub reported: Vec<u8>,
}

impl State {
    pub fn new(config: DeviceConfig, stored: Stored, defect: Option<&ImageError>, now: Instant) -> Self {
        let mut state = State {
            stored,
            unsaved: false,
            memory_defect: defect.is_some(),
            broken: false,
            clock: Clock::new(now),
            positioner: Positioner::new(config.time_constant_s, config.travel_percent, now),
            damped_percent: Lag::new(0.0, 0.0, now),
            loop_current_ma: config.loop_current_ma,
            sensor_pressure_bar: config.supply_pressure_bar,
            held_percent: None,
            simulated: [None; COUNT],
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
            reported: Vec::new(),
            config,
        };
        state.start(now);
        state
    }

    /// Starts, or starts again: what is not stored is forgotten, what is measured is not [DV-20].
    pub fn start(&mut self, now: Instant) {
        self.clock = Clock::new(now);
        self.simulated = [None; COUNT];
        self.temporary_lock = None;
        self.squawk = Squawk::Off;
        self.armed = false;
        self.counters = Counters::default();
        self.delayed.kill();
        self.occupied_until = None;
        self.burst = Progresses::new(now);
        self.starts_again = false;
        self.cold_start = [true; 2];
        // The set point of before is not kept: that of 4 mA stands in [DV-15].
        self.held_percent =
            self.loop_current_fixed().then_some(f64::from(self.stored.lower_range_value_percent));
        let target = self.set_point_percent();
        self.damped_percent = Lag::new(self.stored.damping_s.into(), target, now);
        self.positioner.set_damping_s(now, self.stored.damping_s.into());
        self.positioner.settle(now, target.clamp(0.0, 100.0));
        self.reported = self.additional_status();
        self.more_status = [self.reports_something(); 2];
    }

    /// The power was gone, and what is stored is read again: it is good, for nothing else is written [DV-50].
    pub fn power_cycle(&mut self, now: Instant) {
        self.memory_defect = false;
        self.start(now);
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

    // Inputs.

    /// A value that is no finite number is not taken.
    pub fn set_loop_current_ma(&mut self, now: Instant, ma: f64) {
        if ma.is_finite() {
            self.loop_current_ma = ma;
            self.retarget(now);
            self.note_status();
        }
    }

    /// A value that is no finite number is not taken.
    pub fn set_supply_pressure_bar(&mut self, bar: f64) {
        if bar.is_finite() {
            self.sensor_pressure_bar = bar;
            self.note_status();
        }
    }

    // Settings.

    /// Changes address and mode; what the current demanded is held from here on when it is fixed now, also while
    /// the set point is simulated: that ends without a trace [DV-15] [DV-23].
    pub fn set_loop_configuration(&mut self, now: Instant, polling_address: u8, enabled: bool) {
        let before = self.demanded_percent();
        self.stored.polling_address = polling_address;
        self.stored.loop_current_mode_enabled = enabled;
        self.held_percent = self.loop_current_fixed().then_some(before);
        self.retarget(now);
    }

    /// The electronics break, or are mended [DV-50].
    pub fn set_broken(&mut self, broken: bool) {
        self.broken = broken;
        self.note_status();
    }

    pub fn set_range(&mut self, now: Instant, lower_percent: f32, upper_percent: f32) {
        self.stored.lower_range_value_percent = lower_percent;
        self.stored.upper_range_value_percent = upper_percent;
        self.retarget(now);
    }

    pub fn set_damping_s(&mut self, now: Instant, s: f32) {
        self.stored.damping_s = s;
        self.damped_percent.set_time_constant_s(now, s.into());
        self.positioner.set_damping_s(now, s.into());
    }

    /// `None` ends it. A set point that is given by hand moves the valve [DV-23].
    pub fn simulate(&mut self, now: Instant, variable: usize, given: Option<Simulated>) {
        if let Some(place) = self.simulated.get_mut(variable) {
            *place = given;
            self.retarget(now);
        }
    }

    /// A write of configuration was accepted [ST-09] [DV-08].
    pub fn count_write(&mut self) {
        self.stored.configuration_change_counter = self.stored.configuration_change_counter.wrapping_add(1);
        self.stored.configuration_changed = [true; 2];
        self.unsaved = true;
    }

    fn retarget(&mut self, now: Instant) {
        let target = self.set_point_percent();
        self.damped_percent.set_target(now, target);
        // Between its end stops the valve follows; beyond them it cannot.
        self.positioner.set_target(now, target.clamp(0.0, 100.0));
    }
}
