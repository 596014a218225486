//! The variables of a device: what is told of each, and how it stands now [DV-19].

use super::kind::{PRIMARY, Quantity};
use super::state::State;
use super::values::single;
use crate::app::command::Value;
use crate::app::types::units;
use crate::time::Instant;

pub(super) use super::codes::{class, family, unit, variable_status};

/// Codes that every device has [TY-09].
const PERCENT_OF_RANGE: u8 = 244;
const LOOP_CURRENT: u8 = 245;
/// PV; SV, TV and QV follow it.
const PV: u8 = 246;
const QV: u8 = 249;
/// The device measures and computes ten times a second, in 1/32 ms [DV-19].
pub(super) const UPDATE_PERIOD: u32 = 3200;
/// Classification and unit of percent of range and loop current.
pub(super) const OF_ALL: [(u8, u8); 2] = [(class::NONE, unit::PERCENT), (class::CURRENT, unit::MILLIAMPERE)];

/// Whether a device with these variables has one of this code [TY-09].
pub(super) fn has(quantities: &[Quantity], code: u8) -> bool {
    matches!(code, PERCENT_OF_RANGE..=QV) || usize::from(code) < quantities.len()
}

/// Classification and unit of the variable of a code in a device as delivered.
pub(super) fn as_delivered(quantities: &[Quantity], code: u8) -> Option<(u8, u8)> {
    match code {
        PERCENT_OF_RANGE => Some(OF_ALL[0]),
        LOOP_CURRENT => Some(OF_ALL[1]),
        _ => {
            // As delivered PV to QV are variables 0 to 3.
            let index = usize::from(if code >= PV { code - PV } else { code });
            let quantity = quantities.get(index)?;
            Some((quantity.class, quantity.unit))
        }
    }
}

/// Whether a value in `unit` is a finite single in every unit in which a device variable may be told [DV-23].
pub(super) fn can_be_told(variable: &Quantity, unit: u8, value: f32) -> bool {
    let told = (0..=u8::MAX).filter(|&to| variable.offers_unit(to));
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
    /// The device variables by their codes.
    pub fn quantities(&self) -> &'static [Quantity] {
        self.kind.traits().variables
    }

    /// The device variable that a code means: its own, or that of the dynamic variable.
    pub fn index(&self, code: u8) -> Option<usize> {
        let own = match code {
            PV..=QV => self.stored.assignments[usize::from(code - PV)],
            _ => code,
        };
        Some(usize::from(own)).filter(|&i| i < self.quantities().len())
    }

    /// A value of a device variable in the unit in which it is told.
    pub fn told(&self, index: usize, delivered: f64) -> f64 {
        units::convert(delivered, self.quantities()[index].unit, self.stored.units[index])
            .unwrap_or(delivered)
    }

    /// The same of a difference of two values.
    pub fn difference_told(&self, index: usize, delivered: f64) -> f64 {
        self.told(index, delivered) - self.told(index, 0.0)
    }

    /// The limits of a device variable [CM-054], in the unit in which it is told.
    pub fn limits_told(&self, index: usize) -> (f64, f64) {
        let (low, high) = self.kind.limits(index);
        (self.told(index, low), self.told(index, high))
    }

    /// Least span of the range in a unit of PV.
    pub fn minimum_span_in(&self, unit: u8) -> f64 {
        let (own, span) = (self.quantities()[PRIMARY].unit, self.kind.minimum_span());
        let converted = |x| units::convert(x, own, unit).unwrap_or(x);
        converted(span) - converted(0.0)
    }

    /// The same in the unit in which PV is told.
    pub fn minimum_span_told(&self) -> f64 {
        self.minimum_span_in(self.stored.units[PRIMARY])
    }

    /// Whether the value of a device variable is out of its limits, measured or simulated [DV-23].
    pub fn is_out_of_limits(&self, index: usize) -> bool {
        let limits = self.kind.tolerated(index);
        let Some(given) = self.simulated[index] else {
            let judged = self.kind.judged(self.around(), index);
            return judged.is_some_and(|value| side(value, limits) != 0);
        };
        let value = units::convert(given.value.into(), given.unit, self.quantities()[index].unit)
            .unwrap_or(given.value.into()) as f32;
        single_side(value, limits) != 0
    }

    /// The variable of a code; `None` for one that the device does not have.
    pub fn variable(&self, code: u8, now: Instant) -> Option<Variable> {
        let made =
            |unit, class, value: f64, status| Some(Variable { unit, class, value: single(value), status });
        let current = || self.loop_current(now);
        match code {
            PERCENT_OF_RANGE => {
                made(unit::PERCENT, class::NONE, current().percent_of_range, current().percent_status)
            }
            LOOP_CURRENT => made(unit::MILLIAMPERE, class::CURRENT, current().ma, current().status),
            _ => {
                let index = self.index(code)?;
                let told = self.stored.units[index];
                let quantity = &self.quantities()[index];
                let (from, value, status) = match self.simulated[index] {
                    Some(given) => (given.unit, f64::from(given.value), given.status),
                    None => {
                        let (value, status) = self.kind.value(self.around(), index, now);
                        (quantity.unit, value, status)
                    }
                };
                // Both are units of the variable, or they would not have been taken.
                made(told, quantity.class, units::convert(value, from, told).unwrap_or(value), status)
            }
        }
    }

    /// Least and most that the loop current can be, mA: what can be sent [DV-62], or what is followed.
    pub fn channel_limits_ma(&self) -> (f64, f64) {
        match &self.kind.traits().output {
            Some(rules) => (rules.least_ma, rules.most_ma),
            None => self.config.loop_current_limits_ma,
        }
    }

    /// What is told of the variable of a code [CM-054] [DV-19].
    pub fn about(&self, code: u8) -> Option<About> {
        let loop_is_input = self.kind.traits().output.is_none();
        let plain = |unit, class, limits| About {
            serial_number: self.stored.transducer_serial_numbers[PRIMARY],
            unit,
            limits,
            damping_s: 0.0,
            minimum_span: None,
            class,
            family: family::NOT_USED,
            update_period: UPDATE_PERIOD,
            is_input: loop_is_input,
            is_simulated: false,
        };
        let (low_ma, high_ma) = self.channel_limits_ma();
        let percent = |ma: f64| (ma - 4.0) / 16.0 * 100.0;
        match code {
            PERCENT_OF_RANGE => {
                return Some(plain(unit::PERCENT, class::NONE, (percent(low_ma), percent(high_ma))));
            }
            LOOP_CURRENT => return Some(plain(unit::MILLIAMPERE, class::CURRENT, (low_ma, high_ma))),
            _ => {}
        }
        let index = self.index(code)?;
        let is_primary = index == PRIMARY;
        Some(About {
            serial_number: self.stored.transducer_serial_numbers[index],
            unit: self.stored.units[index],
            limits: self.limits_told(index),
            damping_s: if is_primary { self.stored.damping_s.into() } else { 0.0 },
            minimum_span: is_primary.then(|| self.minimum_span_told()),
            class: self.quantities()[index].class,
            family: self.quantities()[index].family,
            update_period: UPDATE_PERIOD,
            is_input: is_primary && loop_is_input,
            is_simulated: self.simulated[index].is_some(),
        })
    }
}

/// Good, and limited on a side.
pub(super) fn limited(side: i8) -> u8 {
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
