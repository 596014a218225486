//! How a positioner is set up: what a technician enters before a calibration [DV-80].

use super::calibration::Limits;
use super::demand::DemandConfig;
use super::deviation::DeviationConfig;
use crate::plant::linearise::LeverLaw;
use core::fmt;
use serde::{Deserialize, Serialize};

/// What is wrong with a set-up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetUpError {
    /// The field, such as "least_angle_deg".
    pub field: &'static str,
    /// What is wrong with it and what is asked for, for people.
    pub why: String,
}

impl fmt::Display for SetUpError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.field, self.why)
    }
}

impl core::error::Error for SetUpError {}

/// `value` of `field` if it is a number within `range`.
pub(super) fn within(
    field: &'static str,
    value: f64,
    range: core::ops::RangeInclusive<f64>,
) -> Result<(), SetUpError> {
    if range.contains(&value) {
        return Ok(());
    }
    Err(SetUpError { field, why: format!("{value} is not within {} to {}", range.start(), range.end()) })
}

/// How the lever follows the valve [PL-20] [PL-25].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Lever {
    /// Pin on the stem, slot in the lever.
    #[default]
    PinOnStem,
    /// Pin on the lever, slot on the stem.
    PinOnLever,
    /// No lever: on the shaft of a part-turn valve.
    OnShaft,
}

impl Lever {
    pub(super) fn law(self) -> LeverLaw {
        match self {
            Lever::PinOnStem => LeverLaw::Tangent,
            Lever::PinOnLever => LeverLaw::Sine,
            Lever::OnShaft => LeverLaw::Direct,
        }
    }
}

/// What air does [DV-80].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Outputs {
    /// One output; its air opens, a spring closes.
    #[default]
    AirOpens,
    /// One output; its air closes, a spring opens.
    AirCloses,
    /// Two outputs; air of the first opens, air of the second closes.
    Double,
}

/// Which way opening turns the lever, as the positioner is mounted [DV-91].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Mounting {
    /// Opening raises the angle.
    #[default]
    OpeningRaises,
    /// Opening lowers it.
    OpeningLowers,
    /// Not known: the calibration takes what it finds.
    Either,
}

/// The whole set-up [DV-80]. Default: one output that opens, pin on the stem, opening raises the angle.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Config {
    /// The lever's kind.
    pub lever: Lever,
    /// What air does.
    pub outputs: Outputs,
    /// Which way opening turns the lever.
    pub mounting: Mounting,
    /// From the loop current to the travel wanted.
    pub demand: DemandConfig,
    /// When a deviation is told.
    pub deviation: DeviationConfig,
    /// What a calibration accepts.
    pub limits: Limits,
}

impl Config {
    /// Whether a positioner can work with it.
    ///
    /// # Errors
    /// Names the first field that is wrong, and says why.
    pub fn check(&self) -> Result<(), SetUpError> {
        self.demand.check()?;
        self.deviation.check()?;
        self.limits.check()
    }

    /// +1 where a positive drive opens, -1 where it closes.
    pub(super) fn opens(&self) -> f64 {
        if self.outputs == Outputs::AirCloses { -1.0 } else { 1.0 }
    }

    /// Pressure that pushes towards open, Pa gauge, as the outputs' sensors tell it: below 0 it pushes towards closed.
    pub(super) fn opening_pa(&self, outputs_gauge_pa: [f64; 2]) -> f64 {
        match self.outputs {
            Outputs::AirOpens => outputs_gauge_pa[0],
            Outputs::AirCloses => -outputs_gauge_pa[0],
            Outputs::Double => outputs_gauge_pa[0] - outputs_gauge_pa[1],
        }
    }

    /// Least and largest [`Config::opening_pa`] that a supply can give, Pa.
    pub(super) fn opening_pa_range(&self, supply_gauge_pa: f64) -> (f64, f64) {
        match self.outputs {
            Outputs::AirOpens => (0.0, supply_gauge_pa),
            Outputs::AirCloses => (-supply_gauge_pa, 0.0),
            Outputs::Double => (-supply_gauge_pa, supply_gauge_pa),
        }
    }
}
