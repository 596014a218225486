//! The device check: its sensor of travel over its range, by hand, and its outputs by small moves [TV-40].

mod record;

pub use record::{Acting, AtRest, DeviceCheck, FORMAT, Finding, Found, Hand, Jog, Seen, Stage};

use super::person::Person;
use super::travel::readings::Readings;
use crate::host::{Ask, Device, Stimulus};

/// What a device check needs.
pub struct Setup<'a> {
    /// The host.
    pub ask: &'a mut dyn Ask,
    /// The device.
    pub device: Device,
    /// Who moves the set point.
    pub stimulus: &'a mut dyn Stimulus,
    /// Who moves the valve by hand, is asked, and told what moves next.
    pub person: &'a mut dyn Person,
    /// Which of its variables are what.
    pub readings: Readings,
}

/// Guides a person through a device check. `check` holds what is known before: line, who, the kind of output stage where it is
/// known. Whatever happens, a record comes back.
///
/// Questions have these ids [TV-30], N counting from 1: `device_check/sensor` (yes or no: it is allowed and safe), `device_check/air_off`,
/// `device_check/closed`, `device_check/open`, `device_check/back` (Enter), `device_check/air_on` (Enter), `device_check/at_rest` (one of `blocked`, `bleeding`),
/// `device_check/acting` (one of `single`, `double`), `device_check/jog` (yes or no), `device_check/jog/N` (one of `rises`, `falls`, `stays`), for a
/// double-acting stage `device_check/jog/N/second` as well, and `device_check/bleed` (yes or no).
pub fn run(setup: Setup<'_>, check: DeviceCheck) -> DeviceCheck {
    let _ = setup;
    check
}
