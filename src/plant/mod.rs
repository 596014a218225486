//! The valve behind the mock: air, actuator, friction and linkage, computed.
//!
//! Physics alone: SI inside, no protocol, no clock. The valve's own coordinate is the way of its stem, 0 at the
//! closed stop and the stroke at the open one, whatever makes it move; pressures are absolute unless a name says
//! `gauge`. Rules and their sources: [PL-01] and on.

pub mod actuator;
pub mod air;
pub mod air_path;
pub mod chamber;
pub mod fail;
pub mod fault;
pub mod follower;
pub mod friction;
pub mod generated;
pub mod linearise;
pub mod linkage;
pub mod motion;
pub mod network;
pub mod sensor;
pub mod stage;
pub mod supply;
pub mod transmission;
pub mod valve;

use core::fmt;

/// What is wrong with how a valve is set up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConfigError {
    /// The field, such as "stroke_m".
    pub field: &'static str,
    /// What is wrong with it, for people.
    pub why: String,
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.field, self.why)
    }
}

impl core::error::Error for ConfigError {}

impl ConfigError {
    /// `value` of `field` if it is a number within `range`.
    ///
    /// # Errors
    /// It is not.
    pub fn unless_in(
        field: &'static str,
        value: f64,
        range: core::ops::RangeInclusive<f64>,
    ) -> Result<f64, ConfigError> {
        if range.contains(&value) {
            return Ok(value);
        }
        Err(ConfigError { field, why: format!("{value} is not within {} to {}", range.start(), range.end()) })
    }
}
