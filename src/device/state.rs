//! What a device is and knows between two requests: inputs, variables, status, and what it stores.

use super::config::DeviceConfig;
use super::memory::{ImageError, Stored};
use super::positioner::Positioner;
use super::values::Values;
use crate::app::command::{Revision, Value, spec};
use crate::app::types::TimeOfDay;
use crate::frame::Master;
use crate::time::Instant;

/// Field device status, second octet [ST-02].
mod field_status {
    pub const MALFUNCTION: u8 = 0x80;
    pub const CONFIGURATION_CHANGED: u8 = 0x40;
    pub const COLD_START: u8 = 0x20;
    pub const MORE_STATUS: u8 = 0x10;
    pub const LOOP_CURRENT_FIXED: u8 = 0x08;
    pub const LOOP_CURRENT_SATURATED: u8 = 0x04;
    pub const OTHER_OUT_OF_LIMITS: u8 = 0x02;
    pub const PRIMARY_OUT_OF_LIMITS: u8 = 0x01;
}

/// Extended field device status [ST-05].
const FAILURE: u8 = 0x08;
const OUT_OF_SPECIFICATION: u8 = 0x10;
/// Standardized status 0 [ST-06].
const NON_VOLATILE_MEMORY_DEFECT: u8 = 0x02;
/// The one analog channel, in the octets for saturated and fixed channels [TB-11].
const CHANNEL_1: u8 = 0x01;

/// Status of a device variable [TY-08].
pub(super) mod variable_status {
    pub const GOOD: u8 = 0xC0;
    pub const MANUAL_CONSTANT: u8 = 0xB0;
    pub const LIMITED_LOW: u8 = 0x10;
    pub const LIMITED_HIGH: u8 = 0x20;
    pub const UNSUPPORTED: u8 = 0x30;
}

/// Units that the mock uses [UN-01].
pub(super) mod unit {
    pub const BAR: u8 = 7;
    pub const MILLIAMPERE: u8 = 39;
    pub const PERCENT: u8 = 57;
    pub const DEGREE: u8 = 143;
    pub const NOT_USED: u8 = 250;
}

/// Classifications that the mock uses [TB-08].
mod class {
    pub const NONE: u8 = 0;
    pub const PRESSURE: u8 = 65;
    pub const CURRENT: u8 = 84;
    pub const ANGLE: u8 = 86;
}

/// A variable as it stands now.
pub(super) struct Variable {
    pub unit: u8,
    pub class: u8,
    pub value: Value,
    pub status: u8,
}

/// The device without its line.
#[derive(Debug)]
pub(super) struct State {
    pub config: DeviceConfig,
    pub stored: Stored,
    /// Something stored has changed since it was last taken.
    pub unsaved: bool,
    /// Found at power-up; only the next power-up can clear it [DV-04].
    memory_defect: bool,
    powered_up: Instant,
    pub positioner: Positioner,
    loop_current_ma: f64,
    supply_pressure_bar: f64,
    /// The set point while the loop current is fixed: it stays where it was [DV-15].
    held_percent: Option<f64>,
    /// By [`Master::index`] [ST-08].
    pub cold_start: [bool; 2],
    /// By [`Master::index`]; counts in revision 7 alone [ST-07].
    pub more_status: [bool; 2],
    /// What command 48 said when it last changed.
    reported: Vec<u8>,
}

impl State {
    pub fn new(config: DeviceConfig, stored: Stored, defect: Option<&ImageError>, now: Instant) -> Self {
        let mut state = State {
            stored,
            unsaved: false,
            memory_defect: defect.is_some(),
            powered_up: now,
            positioner: Positioner::new(config.time_constant_s, config.travel_percent, now),
            loop_current_ma: config.loop_current_ma,
            supply_pressure_bar: config.supply_pressure_bar,
            held_percent: None,
            cold_start: [true; 2],
            more_status: [false; 2],
            reported: Vec::new(),
            config,
        };
        if state.loop_current_fixed() {
            // The set point of before the power-up is not kept: that of 4 mA stands in [DV-15].
            state.held_percent = Some(state.config.lower_range_value_percent);
        }
        state.retarget(now);
        state.reported = state.additional_status();
        state.more_status = [state.reports_something(); 2];
        state
    }

    pub fn revision(&self) -> Revision {
        self.config.identity.revision
    }

    /// Time of the device's clock: it runs from power-up and wraps [TY-07].
    pub fn clock(&self, now: Instant) -> TimeOfDay {
        // 1/32 ms is 31 250 ns.
        TimeOfDay((now.since(self.powered_up).as_nanos() / 31_250) as u32)
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
            self.supply_pressure_bar = bar;
            self.note_status();
        }
    }

    /// Changes address and mode; the set point is held from here on when the current is fixed now.
    pub fn set_loop_configuration(&mut self, now: Instant, polling_address: u8, enabled: bool) {
        let before = self.set_point_percent();
        self.stored.polling_address = polling_address;
        self.stored.loop_current_mode_enabled = enabled;
        self.held_percent = self.loop_current_fixed().then_some(before);
        self.retarget(now);
    }

    /// A write of configuration was accepted [ST-09] [DV-08].
    pub fn count_write(&mut self) {
        self.stored.configuration_change_counter = self.stored.configuration_change_counter.wrapping_add(1);
        self.stored.configuration_changed = [true; 2];
        self.unsaved = true;
    }

    fn retarget(&mut self, now: Instant) {
        // Between its end stops the valve follows; beyond them it cannot.
        self.positioner.set_target(now, self.set_point_percent().clamp(0.0, 100.0));
    }

    // Variables.

    /// Revision 5: the polling address alone decides; later: the mode alone [DV-15].
    pub fn loop_current_fixed(&self) -> bool {
        match self.revision() {
            Revision::R5 => self.stored.polling_address != 0,
            Revision::R6 | Revision::R7 => !self.stored.loop_current_mode_enabled,
        }
    }

    pub fn loop_current_ma(&self) -> f64 {
        self.loop_current_ma
    }

    /// Of the current: 0 % at 4 mA, 100 % at 20 mA [CM-002].
    pub fn percent_of_range(&self) -> f64 {
        (self.loop_current_ma - 4.0) / 16.0 * 100.0
    }

    pub fn set_point_percent(&self) -> f64 {
        let (lower, upper) = (self.config.lower_range_value_percent, self.config.upper_range_value_percent);
        self.held_percent.unwrap_or(lower + (upper - lower) * self.percent_of_range() / 100.0)
    }

    /// −1 below its limits, 1 above, 0 between.
    fn saturation(&self) -> i8 {
        side(self.loop_current_ma, self.config.loop_current_limits_ma)
    }

    pub fn variable(&self, code: u8, now: Instant) -> Option<Variable> {
        let limited = |side| {
            variable_status::GOOD
                | match side {
                    -1 => variable_status::LIMITED_LOW,
                    1 => variable_status::LIMITED_HIGH,
                    _ => 0,
                }
        };
        let made = |unit, class, value: f64, status| {
            Some(Variable { unit, class, value: Value::float(value as f32), status })
        };
        let travel = self.positioner.travel_percent(now);
        match code {
            0 | 246 => {
                let status = match self.held_percent {
                    Some(_) => variable_status::MANUAL_CONSTANT,
                    None => limited(self.saturation()),
                };
                made(unit::PERCENT, class::NONE, self.set_point_percent(), status)
            }
            1 | 247 => made(unit::PERCENT, class::NONE, travel, variable_status::GOOD),
            2 | 248 => {
                let (closed, open) = (self.config.lever_angle_closed_deg, self.config.lever_angle_open_deg);
                let angle = closed + (open - closed) * travel / 100.0;
                made(unit::DEGREE, class::ANGLE, angle, variable_status::GOOD)
            }
            3 | 249 => {
                let status = limited(side(self.supply_pressure_bar, self.config.supply_pressure_limits_bar));
                made(unit::BAR, class::PRESSURE, self.supply_pressure_bar, status)
            }
            244 => made(unit::PERCENT, class::NONE, self.percent_of_range(), limited(self.saturation())),
            245 => made(unit::MILLIAMPERE, class::CURRENT, self.loop_current_ma, limited(self.saturation())),
            _ => None,
        }
    }

    // Status.

    fn primary_out_of_limits(&self) -> bool {
        side(self.set_point_percent(), self.config.set_point_limits_percent) != 0
    }

    fn other_out_of_limits(&self) -> bool {
        side(self.supply_pressure_bar, self.config.supply_pressure_limits_bar) != 0
    }

    /// The second status octet of an answer to `master` [ST-02].
    pub fn field_device_status(&self, master: Master) -> u8 {
        let i = master.index();
        let more = match self.revision() {
            Revision::R7 => self.more_status[i],
            Revision::R5 | Revision::R6 => self.reports_something(),
        };
        [
            (self.memory_defect, field_status::MALFUNCTION),
            (self.stored.configuration_changed[i], field_status::CONFIGURATION_CHANGED),
            (self.cold_start[i], field_status::COLD_START),
            (more, field_status::MORE_STATUS),
            (self.loop_current_fixed(), field_status::LOOP_CURRENT_FIXED),
            (self.saturation() != 0, field_status::LOOP_CURRENT_SATURATED),
            (self.other_out_of_limits(), field_status::OTHER_OUT_OF_LIMITS),
            (self.primary_out_of_limits(), field_status::PRIMARY_OUT_OF_LIMITS),
        ]
        .into_iter()
        .fold(0, |octet, (set, bit)| if set { octet | bit } else { octet })
    }

    /// [ST-05]; which of our conditions set which bit is our choice.
    pub fn extended_status(&self) -> u8 {
        let limits = self.primary_out_of_limits() || self.other_out_of_limits();
        (if self.memory_defect { FAILURE } else { 0 }) | (if limits { OUT_OF_SPECIFICATION } else { 0 })
    }

    /// The values of command 48's reply.
    pub fn status_values(&self) -> Values {
        let bit = |set, bit: u8| if set { bit } else { 0 };
        let defect = bit(self.memory_defect, NON_VOLATILE_MEMORY_DEFECT);
        let saturated = bit(self.saturation() != 0, CHANNEL_1);
        let fixed = bit(self.loop_current_fixed(), CHANNEL_1);
        if self.revision() == Revision::R5 {
            // Length and contents are the device's own affair in this revision [CM-048].
            let own = vec![defect, saturated, fixed, self.extended_status(), 0, 0];
            return Values::new().and("device_status", Value::Octets(own));
        }
        Values::new()
            .and("device_status", Value::Octets(vec![0; 6]))
            .number("extended_status", self.extended_status())
            .number("operating_mode", 0u8)
            .number("standardized_status_0", defect)
            .number("standardized_status_1", 0u8)
            .number("analog_saturated", saturated)
            .number("standardized_status_2", 0u8)
            .number("standardized_status_3", 0u8)
            .number("analog_fixed", fixed)
    }

    /// The octets of command 48's reply.
    pub fn additional_status(&self) -> Vec<u8> {
        let layout = spec(48).and_then(|s| s.form(self.revision())).map_or(&[][..], |f| f.reply);
        self.status_values().encode(layout)
    }

    fn reports_something(&self) -> bool {
        self.reported.iter().any(|&o| o != 0)
    }

    /// To be called whenever what command 48 says may have changed [ST-07].
    pub fn note_status(&mut self) {
        let now = self.additional_status();
        if now != self.reported {
            self.reported = now;
            self.more_status = [true; 2];
        }
    }
}

/// −1 below the limits, 1 above, 0 between or at them.
fn side(value: f64, (low, high): (f64, f64)) -> i8 {
    if value < low {
        -1
    } else if value > high {
        1
    } else {
        0
    }
}
