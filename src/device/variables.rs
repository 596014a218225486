//! The variables of the mock: what each of them is, and how it stands now [DV-02] [DV-19].

use super::state::State;
use super::values::single;
use crate::app::command::Value;
use crate::app::types::units;
use crate::time::Instant;

/// Status of a device variable [TY-08].
pub(super) mod variable_status {
    pub const GOOD: u8 = 0xC0;
    pub const MANUAL_CONSTANT: u8 = 0xB0;
    pub const LIMITED_LOW: u8 = 0x10;
    pub const LIMITED_HIGH: u8 = 0x20;
    pub const UNSUPPORTED: u8 = 0x30;
    /// The bits whose meaning the device family gives; the mock has none.
    pub const FAMILY: u8 = 0x07;
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

/// Families that the mock uses [TB-07].
mod family {
    pub const PRESSURE: u8 = 5;
    pub const VALVE: u8 = 6;
    pub const NOT_USED: u8 = 250;
}

/// The device variables by their codes [DV-02].
pub(super) const SET_POINT: usize = 0;
pub(super) const TRAVEL: usize = 1;
pub(super) const LEVER_ANGLE: usize = 2;
pub(super) const SUPPLY_PRESSURE: usize = 3;
/// How many there are.
pub(super) const COUNT: usize = 4;

/// Codes that every device has [TY-09].
const PERCENT_OF_RANGE: u8 = 244;
const LOOP_CURRENT: u8 = 245;
/// PV; SV, TV and QV follow it.
const PV: u8 = 246;
const QV: u8 = 249;
/// The device measures and computes ten times a second, in 1/32 ms [DV-19].
pub(super) const UPDATE_PERIOD: u32 = 3200;
/// What the sensor of the supply pressure can measure, bar [DV-22].
pub(super) const PRESSURE_SENSOR_BAR: (f64, f64) = (0.0, 10.0);

/// Units of the device variables as delivered; inside, every value has these.
pub(super) const DELIVERED_UNITS: [u8; COUNT] = [unit::PERCENT, unit::PERCENT, unit::DEGREE, unit::BAR];
const CLASSES: [u8; COUNT] = [class::NONE, class::NONE, class::ANGLE, class::PRESSURE];

/// Classification and unit of the variable of a code in a device as delivered.
pub(super) fn as_delivered(code: u8) -> Option<(u8, u8)> {
    match code {
        PERCENT_OF_RANGE => Some((class::NONE, unit::PERCENT)),
        LOOP_CURRENT => Some((class::CURRENT, unit::MILLIAMPERE)),
        _ => {
            // As delivered PV to QV are variables 0 to 3.
            let index = usize::from(if code >= PV { code - PV } else { code });
            Some((*CLASSES.get(index)?, *DELIVERED_UNITS.get(index)?))
        }
    }
}

/// Whether a device variable can be told in `unit`: one that its own can be converted to [DV-19].
pub(super) fn offers_unit(variable: usize, unit: u8) -> bool {
    DELIVERED_UNITS.get(variable).is_some_and(|&own| units::convert(1.0, own, unit).is_some())
}

/// Whether a value in `unit` is a finite single in every unit in which a device variable may be told [DV-23].
pub(super) fn can_be_told(variable: usize, unit: u8, value: f32) -> bool {
    let told = (0..=u8::MAX).filter(|&to| offers_unit(variable, to));
    value.is_finite()
        && told.filter_map(|to| units::convert(value.into(), unit, to)).all(|x| (x as f32).is_finite())
}

/// What a master says that a variable is [DV-23].
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Simulated {
    pub unit: u8,
    pub value: f32,
    pub status: u8,
}

/// A variable as it stands now.
pub(super) struct Variable {
    pub unit: u8,
    pub class: u8,
    pub value: Value,
    pub status: u8,
}

/// What a variable is, whatever its value.
pub(super) struct About {
    pub serial_number: u32,
    pub unit: u8,
    /// Lower and upper, in that unit.
    pub limits: (f64, f64),
    pub damping_s: f64,
    /// In that unit.
    pub minimum_span: Option<f64>,
    pub class: u8,
    pub family: u8,
    pub update_period: u32,
    pub is_input: bool,
    pub is_simulated: bool,
}

impl State {
    /// The device variable that a code means: its own, or that of the dynamic variable.
    pub fn index(&self, code: u8) -> Option<usize> {
        match code {
            PV..=QV => Some(usize::from(self.stored.assignments[usize::from(code - PV)])),
            _ => Some(usize::from(code)).filter(|&i| i < COUNT),
        }
    }

    pub fn loop_current_ma(&self) -> f64 {
        self.loop_current_ma
    }

    /// Of the current: 0 % at 4 mA, 100 % at 20 mA [CM-002].
    pub fn percent_of_range(&self) -> f64 {
        (self.loop_current_ma - 4.0) / 16.0 * 100.0
    }

    /// What is aimed at, before damping: simulated [DV-23], or demanded.
    pub fn set_point_percent(&self) -> f64 {
        self.simulated[SET_POINT].map_or_else(|| self.demanded_percent(), |given| given.value.into())
    }

    /// What the current demands, or demanded when it was fixed [DV-15].
    pub fn demanded_percent(&self) -> f64 {
        let lower = f64::from(self.stored.lower_range_value_percent);
        let upper = f64::from(self.stored.upper_range_value_percent);
        self.held_percent.unwrap_or(lower + (upper - lower) * self.percent_of_range() / 100.0)
    }

    /// Whether the value of a device variable is out of its limits, measured or simulated: those between which the
    /// supply pressure is enough, and those of command 54 for the others [DV-23].
    pub fn is_out_of_limits(&self, index: usize) -> bool {
        let (low, high) = match index {
            SUPPLY_PRESSURE => self.config.supply_pressure_limits_bar,
            _ => self.limits(index),
        };
        let Some(given) = self.simulated[index] else {
            // Between end stops the travel, and the lever with it, cannot leave its limits.
            return match index {
                SET_POINT => side(self.demanded_percent(), (low, high)) != 0,
                SUPPLY_PRESSURE => side(self.supply_pressure_bar(), (low, high)) != 0,
                _ => false,
            };
        };
        let value = units::convert(given.value.into(), given.unit, DELIVERED_UNITS[index])
            .unwrap_or(given.value.into()) as f32;
        single_side(value, (low, high)) != 0
    }

    /// The limits of a device variable [CM-054], in the unit as delivered.
    fn limits(&self, index: usize) -> (f64, f64) {
        let (closed, open) = (self.config.lever_angle_closed_deg, self.config.lever_angle_open_deg);
        match index {
            SET_POINT => self.config.set_point_limits_percent,
            TRAVEL => (0.0, 100.0),
            LEVER_ANGLE => (closed.min(open), closed.max(open)),
            _ => PRESSURE_SENSOR_BAR,
        }
    }

    /// The supply pressure behind its trim, bar.
    pub fn supply_pressure_bar(&self) -> f64 {
        self.stored.pressure_trim_bar.told_bar(self.sensor_pressure_bar)
    }

    /// Where on its way between closed and open the lever stands, degrees.
    fn lever_angle_deg(&self, travel_percent: f64) -> f64 {
        let (closed, open) = (self.config.lever_angle_closed_deg, self.config.lever_angle_open_deg);
        closed + (open - closed) * travel_percent / 100.0
    }

    /// −1 below its limits, 1 above, 0 between.
    pub fn saturation(&self) -> i8 {
        side(self.loop_current_ma, self.config.loop_current_limits_ma)
    }

    /// The variable of a code; `None` for one that the device does not have.
    pub fn variable(&self, code: u8, now: Instant) -> Option<Variable> {
        let made =
            |unit, class, value: f64, status| Some(Variable { unit, class, value: single(value), status });
        match code {
            PERCENT_OF_RANGE => {
                made(unit::PERCENT, class::NONE, self.percent_of_range(), limited(self.saturation()))
            }
            LOOP_CURRENT => {
                made(unit::MILLIAMPERE, class::CURRENT, self.loop_current_ma, limited(self.saturation()))
            }
            _ => {
                let index = self.index(code)?;
                let told = self.stored.units[index];
                let (from, value, status) = match self.simulated[index] {
                    Some(given) => (given.unit, f64::from(given.value), given.status),
                    None => {
                        let (value, status) = self.measured(index, now);
                        (DELIVERED_UNITS[index], value, status)
                    }
                };
                // Both are units of the variable, or they would not have been taken.
                made(told, CLASSES[index], units::convert(value, from, told).unwrap_or(value), status)
            }
        }
    }

    /// Value and status of a device variable that is not simulated, in the unit as delivered.
    fn measured(&self, index: usize, now: Instant) -> (f64, u8) {
        let travel = self.positioner.travel_percent(now);
        match index {
            SET_POINT if self.held_percent.is_some() => {
                (self.damped_percent.value(now), variable_status::MANUAL_CONSTANT)
            }
            SET_POINT => (self.damped_percent.value(now), limited(self.saturation())),
            TRAVEL => (travel, variable_status::GOOD),
            LEVER_ANGLE => (self.lever_angle_deg(travel), variable_status::GOOD),
            _ => {
                let bar = self.supply_pressure_bar();
                (bar, limited(side(bar, self.config.supply_pressure_limits_bar)))
            }
        }
    }

    /// What is told of the variable of a code [CM-054] [DV-19].
    pub fn about(&self, code: u8) -> Option<About> {
        let plain = |unit, class, limits| About {
            serial_number: self.stored.transducer_serial_numbers[SET_POINT],
            unit,
            limits,
            damping_s: 0.0,
            minimum_span: None,
            class,
            family: family::NOT_USED,
            update_period: UPDATE_PERIOD,
            is_input: true,
            is_simulated: false,
        };
        let (low_ma, high_ma) = self.config.loop_current_limits_ma;
        let percent = |ma: f64| (ma - 4.0) / 16.0 * 100.0;
        match code {
            PERCENT_OF_RANGE => {
                return Some(plain(unit::PERCENT, class::NONE, (percent(low_ma), percent(high_ma))));
            }
            LOOP_CURRENT => return Some(plain(unit::MILLIAMPERE, class::CURRENT, (low_ma, high_ma))),
            _ => {}
        }
        let index = self.index(code)?;
        let told = self.stored.units[index];
        let in_told = |x: f64| units::convert(x, DELIVERED_UNITS[index], told).unwrap_or(x);
        let (low, high) = self.limits(index);
        let is_set_point = index == SET_POINT;
        Some(About {
            serial_number: self.stored.transducer_serial_numbers[index],
            unit: told,
            limits: (in_told(low), in_told(high)),
            damping_s: if is_set_point { self.stored.damping_s.into() } else { 0.0 },
            minimum_span: is_set_point.then_some(self.config.minimum_span_percent),
            class: CLASSES[index],
            family: if index == SUPPLY_PRESSURE { family::PRESSURE } else { family::VALVE },
            update_period: UPDATE_PERIOD,
            is_input: is_set_point,
            is_simulated: self.simulated[index].is_some(),
        })
    }
}

/// Good, and limited on a side.
fn limited(side: i8) -> u8 {
    variable_status::GOOD
        | match side {
            -1 => variable_status::LIMITED_LOW,
            1 => variable_status::LIMITED_HIGH,
            _ => 0,
        }
}

/// −1 below the limits, 1 above, 0 between or at them.
pub(super) fn side(value: f64, (low, high): (f64, f64)) -> i8 {
    if value < low {
        -1
    } else if value > high {
        1
    } else {
        0
    }
}

/// The same for a single, by the limits as masters are told them: else 1.4 would be below 1.4.
pub(super) fn single_side(value: f32, (low, high): (f64, f64)) -> i8 {
    side(value.into(), (f64::from(low as f32), f64::from(high as f32)))
}
