//! A two-wire temperature transmitter: it senses a temperature, and the loop current is its output [DV-61].

use super::output::{Output, OutputRules};
use super::{Around, Condition, Input, Inputs, Kind, LoopCurrent, PRIMARY, Quantity, Traits, TrimRules};
use crate::app::types::units;
use crate::device::codes::{class, family, unit, variable_status};
use crate::device::config::ConfigError;
use crate::device::lag::Lag;
use crate::device::stored::TwoPointTrim;
use crate::device::variables::{limited, side};
use crate::time::Instant;

/// The device variables by their codes [DV-61].
const PROCESS: usize = PRIMARY;

/// What a bench may set up: temperatures from absolute zero on, degC, and the error of the output, mA.
const ANY_DEGC: (f64, f64) = (-273.15, 2000.0);
const ANY_ERROR_MA: (f64, f64) = (-1.0, 1.0);
/// What the sensor, and what the electronics can measure, degC.
const SENSOR_DEGC: (f64, f64) = (-200.0, 850.0);
const ELECTRONICS_DEGC: (f64, f64) = (-40.0, 85.0);
const MINIMUM_SPAN_K: f64 = 10.0;
/// What the current tells of a sensor that is broken (common practice, no source).
const ALARM_HIGH_MA: f64 = 21.75;
const ALARM_LOW_MA: f64 = 3.6;
/// Alarm selection [TB-01].
const HIGH: u8 = 0;
const LOW: u8 = 1;

const fn temperature(name: &'static str) -> Quantity {
    Quantity { name, unit: unit::DEGREE_CELSIUS, class: class::TEMPERATURE, family: family::TEMPERATURE }
}

/// In the first octet that is the device's own [DV-61].
const SENSOR_FAULT: u8 = 0x01;

pub(super) static TRAITS: Traits = Traits {
    name: "temperature transmitter",
    variables: &[temperature("process temperature"), temperature("electronics temperature")],
    dynamic_variables: 2,
    range: (0.0, 100.0),
    output: Some(OutputRules { least_ma: ALARM_LOW_MA, most_ma: ALARM_HIGH_MA }),
    trim: TrimRules {
        variable: PROCESS,
        lower: (-200.0, 100.0),
        upper: (100.0, 850.0),
        most_correction: 10.0,
        least_difference: 50.0,
        none: TwoPointTrim { lower: [-200.0, -200.0], upper: [850.0, 850.0] },
    },
};

/// What is set up of a temperature transmitter [DV-61].
#[derive(Clone, Debug, PartialEq)]
pub struct TemperatureConfig {
    /// Temperature of the process at power-up, −273.15 to 2000 degC. Default 20.
    pub process_temperature_degc: f64,
    /// Temperature around the electronics, −273.15 to 2000 degC. Default 20.
    pub ambient_temperature_degc: f64,
    /// Whether the sensor is broken at power-up. Default false.
    pub sensor_broken: bool,
    /// Whether the current goes low where the sensor is broken, else high [TB-01]. Default false.
    pub alarm_is_low: bool,
    /// By how much more current flows than the device means to send, before its trim, −1 to 1 mA [DV-62]. Default 0.
    pub output_error_ma: f64,
}

impl Default for TemperatureConfig {
    fn default() -> Self {
        TemperatureConfig {
            process_temperature_degc: 20.0,
            ambient_temperature_degc: 20.0,
            sensor_broken: false,
            alarm_is_low: false,
            output_error_ma: 0.0,
        }
    }
}

impl TemperatureConfig {
    pub(in crate::device) fn check(&self) -> Result<(), ConfigError> {
        for (field, value, (least, most)) in [
            ("process_temperature_degc", self.process_temperature_degc, ANY_DEGC),
            ("ambient_temperature_degc", self.ambient_temperature_degc, ANY_DEGC),
            ("output_error_ma", self.output_error_ma, ANY_ERROR_MA),
        ] {
            if !(least..=most).contains(&value) {
                return Err(ConfigError { field, why: format!("{value} is outside {least} to {most}") });
            }
        }
        Ok(())
    }
}

#[derive(Clone, Debug)]
pub(super) struct TemperatureTransmitter {
    config: TemperatureConfig,
    sensor_degc: f64,
    sensor_broken: bool,
    /// The process temperature behind trim and damping.
    damped_degc: Lag,
    output: Output,
}

impl TemperatureTransmitter {
    pub fn new(config: &TemperatureConfig, now: Instant) -> Self {
        TemperatureTransmitter {
            sensor_degc: config.process_temperature_degc,
            sensor_broken: config.sensor_broken,
            damped_degc: Lag::new(0.0, config.process_temperature_degc, now),
            output: Output::default(),
            config: config.clone(),
        }
    }

    /// Before damping.
    fn trimmed_degc(&self, around: Around<'_>) -> f64 {
        around.stored.trim.told(self.sensor_degc)
    }

    /// The process temperature that the current follows, in the unit of the range: one that a master says, or what is
    /// measured; `None` where the sensor is broken.
    fn in_unit_of_range(&self, around: Around<'_>, now: Instant) -> Option<f64> {
        let (from, value) = match around.simulated[PROCESS] {
            Some(given) => (given.unit, f64::from(given.value)),
            None if self.sensor_broken => return None,
            None => (unit::DEGREE_CELSIUS, self.damped_degc.value(now)),
        };
        Some(units::convert(value, from, around.stored.units[PROCESS]).unwrap_or(value))
    }

    fn alarm_ma(&self) -> f64 {
        if self.config.alarm_is_low { ALARM_LOW_MA } else { ALARM_HIGH_MA }
    }
}

impl Kind for TemperatureTransmitter {
    fn clone_box(&self) -> Box<dyn Kind> {
        Box::new(self.clone())
    }

    fn traits(&self) -> &'static Traits {
        &TRAITS
    }

    fn limits(&self, variable: usize) -> (f64, f64) {
        if variable == PROCESS { SENSOR_DEGC } else { ELECTRONICS_DEGC }
    }

    fn minimum_span(&self) -> f64 {
        MINIMUM_SPAN_K
    }

    fn alarm_selection(&self) -> Option<u8> {
        Some(if self.config.alarm_is_low { LOW } else { HIGH })
    }

    fn start(&mut self, around: Around<'_>, now: Instant) {
        self.output = Output::default();
        self.follow(around, now);
    }

    fn settle(&mut self, around: Around<'_>, now: Instant) {
        self.damped_degc = Lag::new(around.stored.damping_s.into(), self.trimmed_degc(around), now);
    }

    fn follow(&mut self, around: Around<'_>, now: Instant) {
        self.damped_degc.set_time_constant_s(now, around.stored.damping_s.into());
        self.damped_degc.set_target(now, self.trimmed_degc(around));
    }

    fn loop_mode_written(&mut self, around: Around<'_>, _: Instant) {
        if around.in_multidrop() {
            self.output = Output::default();
        }
    }

    fn take(&mut self, around: Around<'_>, now: Instant, input: Input) {
        match input {
            Input::ProcessTemperatureDegc(degc) => self.sensor_degc = degc,
            Input::SensorBroken(broken) => self.sensor_broken = broken,
            // It makes the current of its loop itself.
            Input::LoopCurrentMa(_) | Input::SupplyPressureBar(_) => {}
        }
        self.follow(around, now);
    }

    fn inputs(&self) -> Inputs {
        Inputs {
            process_temperature_degc: Some(self.sensor_degc),
            sensor_broken: Some(self.sensor_broken),
            ..Inputs::default()
        }
    }

    fn loop_current(&self, around: Around<'_>, now: Instant) -> LoopCurrent {
        let process = self.in_unit_of_range(around, now);
        let (lower, upper) = around.stored.range_values();
        let percent = process.map(|p| (p - lower) / (upper - lower) * 100.0);
        let (low_ma, high_ma) = around.config.loop_current_limits_ma;
        let wanted_ma = percent.map(|p| 4.0 + 16.0 * p / 100.0);
        let limit = wanted_ma.map_or(0, |ma| side(ma, (low_ma, high_ma)));
        // Both are as good as what they follow.
        let quality = match around.simulated[PROCESS] {
            Some(given) => given.status & variable_status::QUALITY,
            None if self.sensor_broken => variable_status::BAD,
            None => variable_status::GOOD,
        };
        let status = quality | (limited(limit) & !variable_status::QUALITY);
        // A percentage that no single holds is told as not-a-number.
        let is_told = percent.is_some_and(|p| (p as f32).is_finite());
        let followed_ma = wanted_ma.map_or(self.alarm_ma(), |ma| ma.clamp(low_ma, high_ma));
        let fixed_ma = if around.in_multidrop() { Some(4.0) } else { self.output.fixed_ma };
        LoopCurrent {
            ma: fixed_ma.unwrap_or(followed_ma),
            status: if fixed_ma.is_some() { variable_status::MANUAL_CONSTANT } else { status },
            percent_of_range: percent.unwrap_or(f64::NAN),
            percent_status: if is_told { status } else { variable_status::BAD },
            is_saturated: fixed_ma.is_none() && limit != 0,
            is_fixed: fixed_ma.is_some(),
        }
    }

    fn value(&self, around: Around<'_>, variable: usize, now: Instant) -> (f64, u8) {
        match variable {
            PROCESS if self.sensor_broken => (f64::NAN, variable_status::BAD),
            PROCESS => (self.damped_degc.value(now), limited(side(self.trimmed_degc(around), SENSOR_DEGC))),
            _ => {
                let degc = self.config.ambient_temperature_degc;
                (degc, limited(side(degc, ELECTRONICS_DEGC)))
            }
        }
    }

    fn judged(&self, around: Around<'_>, variable: usize) -> Option<f64> {
        match variable {
            PROCESS => (!self.sensor_broken).then(|| self.trimmed_degc(around)),
            _ => Some(self.config.ambient_temperature_degc),
        }
    }

    /// The temperature as it is told, also one that a master says.
    fn applied_process(&self, around: Around<'_>, now: Instant) -> Option<f64> {
        self.in_unit_of_range(around, now)
    }

    fn untrimmed(&self) -> Option<f64> {
        (!self.sensor_broken).then_some(self.sensor_degc)
    }

    fn has_sensor_fault(&self) -> bool {
        self.sensor_broken
    }

    fn condition(&self) -> Condition {
        let own = if self.has_sensor_fault() { [SENSOR_FAULT, 0] } else { [0, 0] };
        Condition { own, ..Condition::default() }
    }

    fn output(&mut self) -> Option<&mut Output> {
        Some(&mut self.output)
    }

    fn sent_ma(&self, around: Around<'_>, now: Instant) -> Option<f64> {
        let meant = self.loop_current(around, now).ma;
        Some(meant + self.config.output_error_ma + around.stored.output_trim_ma.at(meant))
    }
}
