//! Checklists for service work at a valve with a positioner: what is done in which order, what is written down, which cautions stand
//! before it, and what it does not prove [TV-50].
//!
//! The order of work is common practice, no source; nothing here stands for the maker's instructions, local codes, a permit or a licence.

mod adjusting;
mod cautions;
mod fail_action;
mod mounting;
mod supplies;
#[cfg(test)]
mod tests;
mod values;

pub use cautions::Caution;
pub use values::{Known, Outcome, Reading, Values};

use crate::commission::travel::record::Movement;

/// A checklist for one task.
#[derive(Debug)]
pub struct Worksheet {
    /// By what it is asked for: `mounting-linear`.
    pub id: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// What it is for, one sentence.
    pub purpose: &'static str,
    /// The kind of valve that it is for; `None`: any.
    pub motion: Option<Movement>,
    /// What must be at hand.
    pub tools: &'static [&'static str],
    /// Read before the work begins.
    pub cautions: &'static [Caution],
    /// The work, in order.
    pub parts: &'static [Part],
    /// What a signed sheet does not prove.
    pub does_not_prove: &'static [&'static str],
}

/// Some steps under one heading.
#[derive(Debug)]
pub struct Part {
    /// The heading.
    pub title: &'static str,
    /// Its steps, in order.
    pub steps: &'static [Step],
}

/// One thing to do and tick off.
#[derive(Debug)]
pub struct Step {
    /// What to do.
    pub words: &'static str,
    /// What to write down.
    pub entries: &'static [Entry],
}

/// Something to write down.
#[derive(Debug)]
pub struct Entry {
    /// What it is.
    pub label: &'static str,
    /// Its unit; empty: none.
    pub unit: &'static str,
    /// What a device or a test can fill in; `None`: a person does.
    pub known: Option<Known>,
}

/// A step without anything to write down.
const fn step(words: &'static str) -> Step {
    Step { words, entries: &[] }
}

/// A step with something to write down.
const fn note(words: &'static str, entries: &'static [Entry]) -> Step {
    Step { words, entries }
}

/// Something that a person writes down.
const fn blank(label: &'static str, unit: &'static str) -> Entry {
    Entry { label, unit, known: None }
}

/// Something that can be filled in.
const fn fill(label: &'static str, unit: &'static str, known: Known) -> Entry {
    Entry { label, unit, known: Some(known) }
}

/// What stands at the head of every sheet: which valve, which device, where and when [TV-80].
pub const HEAD: &[Entry] = &[
    fill("tag", "", Known::Tag),
    fill("long tag", "", Known::LongTag),
    fill("valve", "", Known::Valve),
    fill("site", "", Known::Site),
    fill("device type", "", Known::DeviceType),
    fill("device id", "", Known::Serial),
    fill("unique address", "", Known::Unique),
    fill("date of the work", "", Known::Today),
];

/// Every worksheet, in the order of the work.
pub fn worksheets() -> impl Iterator<Item = &'static Worksheet> {
    [
        &mounting::LINEAR,
        &mounting::PART_TURN,
        &supplies::WIRING,
        &supplies::AIR,
        &adjusting::FIRST_START,
        &adjusting::CALIBRATION,
        &adjusting::OUTPUT_STAGE,
        &adjusting::RETURN,
    ]
    .into_iter()
}

/// The worksheet of that id; `None` if there is none.
pub fn worksheet(id: &str) -> Option<&'static Worksheet> {
    worksheets().find(|w| w.id == id)
}
