//! A positioner: the loop current is an input, and a valve follows it [DV-01] [DV-02].

use super::electronic::ElectronicsConfig;
use super::{Around, Input, Inputs, Kind, LoopCurrent, PRIMARY, Quantity, Traits, TrimRules};
use crate::device::codes::{class, family, unit, variable_status};
use crate::device::config::{ConfigError, no_range};
use crate::device::lag::{Lag, Positioner};
use crate::device::stored::TwoPointTrim;
use crate::device::variables::{limited, side};
use crate::time::Instant;

/// The device variables by their codes [DV-02].
pub(super) const SET_POINT: usize = PRIMARY;
pub(super) const TRAVEL: usize = 1;
pub(super) const LEVER_ANGLE: usize = 2;
pub(super) const SUPPLY_PRESSURE: usize = 3;

/// What the sensor of the supply pressure can measure, bar [DV-22].
pub(super) const PRESSURE_SENSOR_BAR: (f64, f64) = (0.0, 10.0);

pub(super) static TRAITS: Traits = Traits {
    name: "positioner",
    variables: &[
        Quantity { name: "set point", unit: unit::PERCENT, class: class::NONE, family: family::VALVE },
        Quantity { name: "travel", unit: unit::PERCENT, class: class::NONE, family: family::VALVE },
        Quantity { name: "lever angle", unit: unit::DEGREE, class: class::ANGLE, family: family::VALVE },
        Quantity {
            name: "supply pressure",
            unit: unit::BAR,
            class: class::PRESSURE,
            family: family::PRESSURE,
        },
    ],
    dynamic_variables: 4,
    range: (0.0, 100.0),
    output: None,
    trim: TrimRules {
        variable: SUPPLY_PRESSURE,
        lower: (0.0, 2.0),
        upper: (2.0, 10.0),
        most_correction: 0.5,
        least_difference: 1.0,
        none: TwoPointTrim { lower: [0.0, 0.0], upper: [10.0, 10.0] },
    },
};

/// What is set up of a positioner. Without electronics its valve is a first-order lag [DV-13]; with them it is computed by
/// whoever holds the device [DV-80].
#[derive(Clone, Debug, PartialEq)]
pub struct PositionerConfig {
    /// Loop current at power-up, mA. Default 4.0.
    pub loop_current_ma: f64,
    /// Set points outside of which the primary variable is out of limits [ST-02], the transducer
    /// limits of command 14, %. Default −5 to 105.
    pub set_point_limits_percent: (f64, f64),
    /// Least span of the range, %: command 14 tells it, command 35 warns below it [DV-18]. Default 10.
    pub minimum_span_percent: f64,
    /// Time constant of the travel, s, 0 or more [DV-13]. Default 1.5.
    pub time_constant_s: f64,
    /// Travel at power-up, %. Default 0.
    pub travel_percent: f64,
    /// Angle of the feedback lever at 0 % travel, degrees. Default −30.
    pub lever_angle_closed_deg: f64,
    /// Angle of the feedback lever at 100 % travel, degrees; between the two it is linear. Default
    /// 30.
    pub lever_angle_open_deg: f64,
    /// Supply pressure at power-up, bar. Default 4.0.
    pub supply_pressure_bar: f64,
    /// Supply pressures outside of which a variable other than the primary is out of limits [ST-02],
    /// bar. Default 1.4 to 7.0 (common practice).
    pub supply_pressure_limits_bar: (f64, f64),
    /// Its electronics, where its valve is computed; then time constant, travel and lever angles here mean nothing.
    /// Default none.
    pub electronics: Option<Box<ElectronicsConfig>>,
}

impl Default for PositionerConfig {
    fn default() -> Self {
        PositionerConfig {
            loop_current_ma: 4.0,
            set_point_limits_percent: (-5.0, 105.0),
            minimum_span_percent: 10.0,
            time_constant_s: 1.5,
            travel_percent: 0.0,
            lever_angle_closed_deg: -30.0,
            lever_angle_open_deg: 30.0,
            supply_pressure_bar: 4.0,
            supply_pressure_limits_bar: (1.4, 7.0),
            electronics: None,
        }
    }
}

impl PositionerConfig {
    pub(in crate::device) fn check(&self) -> Result<(), ConfigError> {
        let bad = |field, why: String| Err(ConfigError { field, why });
        for (field, value) in [
            ("loop_current_ma", self.loop_current_ma),
            ("lever_angle_closed_deg", self.lever_angle_closed_deg),
            ("lever_angle_open_deg", self.lever_angle_open_deg),
            ("supply_pressure_bar", self.supply_pressure_bar),
        ] {
            if !value.is_finite() {
                return bad(field, format!("{value} is no finite number"));
            }
        }
        for (field, value) in
            [("minimum_span_percent", self.minimum_span_percent), ("time_constant_s", self.time_constant_s)]
        {
            if !value.is_finite() || value < 0.0 {
                return bad(field, format!("{value} is no number of 0 or more"));
            }
        }
        if !(0.0..=100.0).contains(&self.travel_percent) {
            return bad("travel_percent", format!("{} is outside 0 to 100", self.travel_percent));
        }
        for (field, limits) in [
            ("set_point_limits_percent", self.set_point_limits_percent),
            ("supply_pressure_limits_bar", self.supply_pressure_limits_bar),
        ] {
            if let Some(why) = no_range(limits) {
                return bad(field, why);
            }
        }
        self.electronics.as_ref().map_or(Ok(()), |e| e.check())
    }
}

#[derive(Clone, Debug)]
pub(super) struct ValvePositioner {
    config: PositionerConfig,
    valve: Positioner,
    /// The set point behind its damping, also beyond the end stops.
    damped_percent: Lag,
    loop_current_ma: f64,
    sensor_pressure_bar: f64,
    /// The set point while the loop current is fixed: it stays where it was [DV-15].
    held_percent: Option<f64>,
}

impl ValvePositioner {
    pub fn new(config: &PositionerConfig, now: Instant) -> Self {
        ValvePositioner {
            valve: Positioner::new(config.time_constant_s, config.travel_percent, now),
            damped_percent: Lag::new(0.0, 0.0, now),
            loop_current_ma: config.loop_current_ma,
            sensor_pressure_bar: config.supply_pressure_bar,
            held_percent: None,
            config: config.clone(),
        }
    }

    /// Of the current: 0 % at 4 mA, 100 % at 20 mA [CM-002].
    fn percent_of_range(&self) -> f64 {
        (self.loop_current_ma - 4.0) / 16.0 * 100.0
    }

    /// What the current demands, or demanded when it was fixed [DV-15].
    fn demanded_percent(&self, around: Around<'_>) -> f64 {
        let (lower, upper) = around.stored.range_values();
        self.held_percent.unwrap_or(lower + (upper - lower) * self.percent_of_range() / 100.0)
    }

    /// What is aimed at, before damping: simulated [DV-23], or demanded.
    fn set_point_percent(&self, around: Around<'_>) -> f64 {
        around.simulated[SET_POINT].map_or_else(|| self.demanded_percent(around), |given| given.value.into())
    }

    /// The supply pressure behind its trim, bar.
    fn supply_pressure_bar(&self, around: Around<'_>) -> f64 {
        around.stored.trim.told(self.sensor_pressure_bar)
    }

    /// Where on its way between closed and open the lever stands, degrees.
    fn lever_angle_deg(&self, travel_percent: f64) -> f64 {
        let (closed, open) = (self.config.lever_angle_closed_deg, self.config.lever_angle_open_deg);
        closed + (open - closed) * travel_percent / 100.0
    }

    /// −1 below its limits, 1 above, 0 between.
    fn saturation(&self, around: Around<'_>) -> i8 {
        side(self.loop_current_ma, around.config.loop_current_limits_ma)
    }
}

impl Kind for ValvePositioner {
    fn clone_box(&self) -> Box<dyn Kind> {
        Box::new(self.clone())
    }

    fn traits(&self) -> &'static Traits {
        &TRAITS
    }

    fn limits(&self, variable: usize) -> (f64, f64) {
        let (closed, open) = (self.config.lever_angle_closed_deg, self.config.lever_angle_open_deg);
        match variable {
            SET_POINT => self.config.set_point_limits_percent,
            TRAVEL => (0.0, 100.0),
            LEVER_ANGLE => (closed.min(open), closed.max(open)),
            _ => PRESSURE_SENSOR_BAR,
        }
    }

    /// The supply pressure is out of limits where it is not enough, or too much.
    fn tolerated(&self, variable: usize) -> (f64, f64) {
        match variable {
            SUPPLY_PRESSURE => self.config.supply_pressure_limits_bar,
            _ => self.limits(variable),
        }
    }

    fn minimum_span(&self) -> f64 {
        self.config.minimum_span_percent
    }

    fn start(&mut self, around: Around<'_>, now: Instant) {
        // The set point of before is not kept: that of 4 mA stands in [DV-15].
        let at_4_ma = f64::from(around.stored.lower_range_value);
        self.held_percent = around.in_multidrop().then_some(at_4_ma);
        let target = self.set_point_percent(around);
        self.damped_percent = Lag::new(around.stored.damping_s.into(), target, now);
        self.valve.set_damping_s(now, around.stored.damping_s.into());
        self.valve.settle(now, target.clamp(0.0, 100.0));
    }

    fn follow(&mut self, around: Around<'_>, now: Instant) {
        let damping_s = around.stored.damping_s.into();
        self.damped_percent.set_time_constant_s(now, damping_s);
        self.valve.set_damping_s(now, damping_s);
        let target = self.set_point_percent(around);
        self.damped_percent.set_target(now, target);
        // Between its end stops the valve follows; beyond them it cannot.
        self.valve.set_target(now, target.clamp(0.0, 100.0));
    }

    /// What the current demanded is held from here on when it is fixed now, also while the set point is simulated:
    /// that ends without a trace [DV-15] [DV-23].
    fn loop_mode_written(&mut self, around: Around<'_>, now: Instant) {
        let demanded = self.demanded_percent(around);
        self.held_percent = around.in_multidrop().then_some(demanded);
        self.follow(around, now);
    }

    fn take(&mut self, around: Around<'_>, now: Instant, input: Input) {
        match input {
            Input::LoopCurrentMa(ma) => {
                self.loop_current_ma = ma;
                self.follow(around, now);
            }
            Input::SupplyPressureBar(bar) => self.sensor_pressure_bar = bar,
            Input::ProcessTemperatureDegc(_) | Input::SensorBroken(_) => {}
        }
    }

    fn inputs(&self) -> Inputs {
        Inputs { supply_pressure_bar: Some(self.sensor_pressure_bar), ..Inputs::default() }
    }

    /// The measured one.
    fn loop_current(&self, around: Around<'_>, _: Instant) -> LoopCurrent {
        let status = limited(self.saturation(around));
        LoopCurrent {
            ma: self.loop_current_ma,
            status,
            percent_of_range: self.percent_of_range(),
            percent_status: status,
            is_saturated: self.saturation(around) != 0,
            is_fixed: around.in_multidrop(),
        }
    }

    fn value(&self, around: Around<'_>, variable: usize, now: Instant) -> (f64, u8) {
        let travel = self.valve.travel_percent(now);
        match variable {
            SET_POINT if self.held_percent.is_some() => {
                (self.damped_percent.value(now), variable_status::MANUAL_CONSTANT)
            }
            SET_POINT => (self.damped_percent.value(now), limited(self.saturation(around))),
            TRAVEL => (travel, variable_status::GOOD),
            LEVER_ANGLE => (self.lever_angle_deg(travel), variable_status::GOOD),
            _ => {
                let bar = self.supply_pressure_bar(around);
                (bar, limited(side(bar, self.config.supply_pressure_limits_bar)))
            }
        }
    }

    /// Between end stops the travel, and the lever with it, cannot leave its limits.
    fn judged(&self, around: Around<'_>, variable: usize) -> Option<f64> {
        match variable {
            SET_POINT => Some(self.demanded_percent(around)),
            SUPPLY_PRESSURE => Some(self.supply_pressure_bar(around)),
            _ => None,
        }
    }

    /// Where the valve stands [DV-18].
    fn applied_process(&self, _: Around<'_>, now: Instant) -> Option<f64> {
        Some(self.valve.travel_percent(now))
    }

    fn untrimmed(&self) -> Option<f64> {
        Some(self.sensor_pressure_bar)
    }

    fn valve_percent(&self, around: Around<'_>, now: Instant) -> Option<(f64, f64)> {
        Some((self.set_point_percent(around), self.valve.travel_percent(now)))
    }
}
