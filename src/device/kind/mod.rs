//! What one kind of device has that another has not [DV-60].
//!
//! Everything that several kinds share lies outside of this directory and knows of a device what [`Kind`] and
//! [`Traits`] say. Values go in and out in the units as delivered.

mod electronic;
mod output;
mod positioner;
mod temperature;

pub use electronic::ElectronicsConfig;
pub(super) use electronic::Positioning;
pub use output::OutputTrim;
pub(super) use output::{MOST_CORRECTION_MA, Output};
pub use positioner::PositionerConfig;
pub use temperature::TemperatureConfig;

use super::codes::unit;
use super::commands::Handler;
use super::config::{ConfigError, DeviceConfig};
use super::stored::{Stored, TwoPointTrim};
use super::variables::Simulated;
use crate::app::command::{Form, Revision};
use crate::app::types::units;
use crate::time::Instant;
use core::fmt;
use output::OutputRules;
use serde::{Deserialize, Serialize};

/// The device variable that every kind has as PV.
pub(super) const PRIMARY: usize = 0;
/// Most device variables of any kind; what is kept by variable has so many places.
pub(super) const MOST_VARIABLES: usize = 4;

/// What a device variable is.
pub(super) struct Quantity {
    /// In messages, such as "set point".
    pub name: &'static str,
    /// Unit as delivered [UN-01]; inside, every value has it.
    pub unit: u8,
    /// Classification [TB-08].
    pub class: u8,
    /// Family [TB-07].
    pub family: u8,
}

impl Quantity {
    /// Whether the variable can be told in `unit`: one that its own can be converted to [DV-19].
    pub fn offers_unit(&self, unit: u8) -> bool {
        units::convert(1.0, self.unit, unit).is_some()
    }
}

/// Kinds of device by name [DV-60].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum KindName {
    /// A positioner [DV-01].
    #[default]
    Positioner,
    /// A temperature transmitter [DV-61].
    Temperature,
}

impl KindName {
    /// Every one.
    pub const ALL: [KindName; 2] = [KindName::Positioner, KindName::Temperature];

    /// For programs and bench files, such as "temperature".
    pub fn word(self) -> &'static str {
        match self {
            KindName::Positioner => "positioner",
            KindName::Temperature => "temperature",
        }
    }

    /// In words, such as "temperature transmitter".
    pub fn words(self) -> &'static str {
        self.traits().name
    }

    /// Names of its device variables by their codes, such as "set point".
    pub fn variables(self) -> Vec<&'static str> {
        self.traits().variables.iter().map(|v| v.name).collect()
    }

    /// How many dynamic variables it has, from PV on: 1 to 4.
    pub fn dynamic_variables(self) -> usize {
        self.traits().dynamic_variables
    }

    pub(super) fn traits(self) -> &'static Traits {
        match self {
            KindName::Positioner => &positioner::TRAITS,
            KindName::Temperature => &temperature::TRAITS,
        }
    }
}

/// The kind of a device and what is set up of it alone [DV-60].
#[derive(Clone, Debug, PartialEq)]
pub enum KindConfig {
    /// A positioner [DV-01].
    Positioner(PositionerConfig),
    /// A temperature transmitter [DV-61].
    Temperature(TemperatureConfig),
}

impl KindConfig {
    /// Which kind it is.
    pub fn name(&self) -> KindName {
        match self {
            KindConfig::Positioner(_) => KindName::Positioner,
            KindConfig::Temperature(_) => KindName::Temperature,
        }
    }

    pub(super) fn check(&self) -> Result<(), ConfigError> {
        match self {
            KindConfig::Positioner(config) => config.check(),
            KindConfig::Temperature(config) => config.check(),
        }
    }
}

/// What a kind is, whatever happens to it.
pub(super) struct Traits {
    /// In messages, such as "temperature transmitter".
    pub name: &'static str,
    /// The device variables by their codes, from 0 on.
    pub variables: &'static [Quantity],
    /// How many dynamic variables there are, from PV on.
    pub dynamic_variables: usize,
    /// Lower and upper range value as delivered, in the unit of PV as delivered.
    pub range: (f32, f32),
    /// What the loop current can be as an output; `None` where it is an input [TB-10].
    pub output: Option<OutputRules>,
    /// The variable that has a trim.
    pub trim: TrimRules,
}

impl Traits {
    /// Whether these device variables can be PV, SV, TV and QV [DV-19]: PV stays, for the loop current carries it.
    pub fn can_be_assigned(&self, assignments: &[u8; 4]) -> bool {
        let (there, not_there) = assignments.split_at(self.dynamic_variables);
        usize::from(assignments[0]) == PRIMARY
            && there.iter().all(|&v| usize::from(v) < self.variables.len())
            && not_there.iter().all(|&v| v == unit::NOT_USED)
    }

    /// As delivered, one after the other.
    pub fn assignments(&self) -> [u8; 4] {
        core::array::from_fn(|i| if i < self.dynamic_variables { i as u8 } else { unit::NOT_USED })
    }

    /// Units as delivered.
    pub fn units(&self) -> [u8; MOST_VARIABLES] {
        core::array::from_fn(|i| self.variables.get(i).map_or(unit::NOT_USED, |v| v.unit))
    }

    /// Whether a device variable can be told in `unit`.
    pub fn offers_unit(&self, variable: usize, unit: u8) -> bool {
        self.variables.get(variable).is_some_and(|v| v.offers_unit(unit))
    }
}

/// Where the points of a trim may lie, in the unit as delivered [DV-22].
pub(super) struct TrimRules {
    /// Of which device variable.
    pub variable: usize,
    /// Where the lower point may be told.
    pub lower: (f32, f32),
    /// Where the upper point may be told.
    pub upper: (f32, f32),
    /// How far a point may be from what the sensor says.
    pub most_correction: f32,
    /// Least difference of the two points.
    pub least_difference: f32,
    /// Without a trim.
    pub none: TwoPointTrim,
}

impl TrimRules {
    /// Whether the points are as far apart as they must be.
    pub fn are_apart(&self, trim: &TwoPointTrim) -> bool {
        let finite = trim.lower.iter().chain(&trim.upper).all(|x| x.is_finite());
        // At the sensor a little less, since each point may be corrected.
        finite
            && trim.upper[1] - trim.lower[1] >= self.least_difference
            && trim.upper[0] - trim.lower[0] >= self.least_difference / 2.0
    }

    /// Whether commands 52, 82 and 83 can have made it.
    pub fn can_be_written(&self, trim: &TwoPointTrim) -> bool {
        let point = |[sensor, told]: [f32; 2], (least, most): (f32, f32)| {
            (least..=most).contains(&told) && (told - sensor).abs() <= self.most_correction
        };
        self.are_apart(trim) && point(trim.lower, self.lower) && point(trim.upper, self.upper)
    }
}

/// What of the device a kind goes by besides itself.
#[derive(Clone, Copy)]
pub(super) struct Around<'a> {
    pub config: &'a DeviceConfig,
    pub stored: &'a Stored,
    pub simulated: &'a [Option<Simulated>; MOST_VARIABLES],
}

impl Around<'_> {
    /// Whether neither the loop current nor what follows it moves. Revision 5: the polling address alone decides;
    /// later: the mode alone [DV-15].
    pub fn in_multidrop(&self) -> bool {
        match self.config.identity.revision {
            Revision::R5 => self.stored.polling_address != 0,
            Revision::R6 | Revision::R7 => !self.stored.loop_current_mode_enabled,
        }
    }
}

/// Something that a device senses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Input {
    /// The current that somebody else makes in the loop, mA.
    LoopCurrentMa(f64),
    /// The supply pressure, bar.
    SupplyPressureBar(f64),
    /// The temperature of the process, degC.
    ProcessTemperatureDegc(f64),
    /// Whether the sensor is broken.
    SensorBroken(bool),
}

impl Input {
    /// Whether it is something that can be.
    pub fn is_finite(&self) -> bool {
        match self {
            Input::LoopCurrentMa(x) | Input::SupplyPressureBar(x) | Input::ProcessTemperatureDegc(x) => {
                x.is_finite()
            }
            Input::SensorBroken(_) => true,
        }
    }
}

/// What is set outside of a device and it senses; `None` where a kind has no such input.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Inputs {
    /// The supply pressure, bar.
    pub supply_pressure_bar: Option<f64>,
    /// The temperature of the process, degC.
    pub process_temperature_degc: Option<f64>,
    /// Whether the sensor of that is broken.
    pub sensor_broken: Option<bool>,
}

/// The loop current as the device knows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LoopCurrent {
    pub ma: f64,
    /// Its status as that of a variable [TY-08].
    pub status: u8,
    pub percent_of_range: f64,
    pub percent_status: u8,
    /// Whether it is beyond where it follows [ST-02].
    pub is_saturated: bool,
    /// Whether it follows nothing [ST-02].
    pub is_fixed: bool,
}

/// What is the matter with a device beyond what its variables tell [DV-89].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Condition {
    /// The first two octets that are the device's own in command 48.
    pub own: [u8; 2],
    /// What of them is set besides where the memory is defect.
    pub if_memory_defect: [u8; 2],
    /// It works outside of what it should [ST-05].
    pub out_of_specification: bool,
    /// It does something else than its work [ST-05].
    pub function_check: bool,
    /// Somebody should look after it [ST-05].
    pub maintenance: bool,
}

/// What one kind of device does.
pub(super) trait Kind: fmt::Debug + Send {
    /// The same with a state of its own, for a copy of the device.
    fn clone_box(&self) -> Box<dyn Kind>;

    fn traits(&self) -> &'static Traits;

    /// The limits of a device variable [CM-054].
    fn limits(&self, variable: usize) -> (f64, f64);

    /// The limits outside of which it is out of limits [ST-02].
    fn tolerated(&self, variable: usize) -> (f64, f64) {
        self.limits(variable)
    }

    /// Least span of the range [CM-014].
    fn minimum_span(&self) -> f64;

    /// Starts, or starts again: what is not stored is forgotten, what is measured is not [DV-20].
    fn start(&mut self, around: Around<'_>, now: Instant);

    /// The power has come, behind [`Kind::start`]: what is damped begins at what is measured.
    fn settle(&mut self, around: Around<'_>, now: Instant) {
        let _ = (around, now);
    }

    /// Something stored, or what a master says that a variable is, has changed.
    fn follow(&mut self, around: Around<'_>, now: Instant);

    /// The polling address or the loop current mode has been written [DV-15].
    fn loop_mode_written(&mut self, around: Around<'_>, now: Instant);

    /// What comes is finite. A kind that has no such input leaves it.
    fn take(&mut self, around: Around<'_>, now: Instant, input: Input);

    /// What it senses, as it was taken.
    fn inputs(&self) -> Inputs;

    fn loop_current(&self, around: Around<'_>, now: Instant) -> LoopCurrent;

    /// Value and status of a device variable that is not simulated.
    fn value(&self, around: Around<'_>, variable: usize, now: Instant) -> (f64, u8);

    /// What of a variable that is not simulated is judged by its limits; `None` for one that cannot leave them.
    fn judged(&self, around: Around<'_>, variable: usize) -> Option<f64>;

    /// The applied process, which becomes an end of the range [CM-036], in the unit of the range; `None` where it is
    /// not known.
    fn applied_process(&self, around: Around<'_>, now: Instant) -> Option<f64>;

    /// The variable that has a trim, as its sensor says it; `None` where it says nothing.
    fn untrimmed(&self) -> Option<f64>;

    /// What the loop current does where PV is not known [TB-01]; `None` where it is an input.
    fn alarm_selection(&self) -> Option<u8> {
        None
    }

    /// Whether a sensor is broken: device malfunction [ST-02].
    fn has_sensor_fault(&self) -> bool {
        false
    }

    /// What it has of a command of its device type.
    fn own_command(&self, number: u8) -> Option<(&'static Handler, &'static Form)> {
        let _ = number;
        None
    }

    /// What else is the matter with it.
    fn condition(&self) -> Condition {
        Condition::default()
    }

    /// What a positioner with electronics has; `None` of other devices.
    fn positioning(&self) -> Option<&dyn Positioning> {
        None
    }

    /// The same, to change something in it.
    fn positioning_mut(&mut self) -> Option<&mut dyn Positioning> {
        None
    }

    /// What masters make of the loop current; `None` where it is an input.
    fn output(&mut self) -> Option<&mut Output> {
        None
    }

    /// The current that flows because of it, mA; `None` where it is an input.
    fn sent_ma(&self, around: Around<'_>, now: Instant) -> Option<f64> {
        let _ = (around, now);
        None
    }

    /// Set point before damping and travel, % at `now`, of a device that moves a valve.
    fn valve_percent(&self, around: Around<'_>, now: Instant) -> Option<(f64, f64)> {
        let _ = (around, now);
        None
    }
}

impl Clone for Box<dyn Kind> {
    fn clone(&self) -> Self {
        (**self).clone_box()
    }
}

/// A device of a set-up, powered up at `now`; [`Kind::start`] comes next.
pub(super) fn of(config: &DeviceConfig, now: Instant) -> Box<dyn Kind> {
    match &config.kind {
        KindConfig::Positioner(own) => match &own.electronics {
            Some(electronics) => Box::new(electronic::ElectronicPositioner::new(own, electronics, now)),
            None => Box::new(positioner::ValvePositioner::new(own, now)),
        },
        KindConfig::Temperature(own) => Box::new(temperature::TemperatureTransmitter::new(own, now)),
    }
}
