//! Finished results as text, JSON and CSV.

mod bursts;
pub mod conform;
pub mod csv;
pub mod handover;
pub mod host_check;
mod plot;
pub mod statistics;
pub mod summary;
pub mod table;
pub mod text;
pub mod trace;
pub mod triage;
pub mod wave;
pub mod wiring;
pub mod worksheet;

use crate::capture::Item;
use crate::exchange::json;

/// How results are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// For people.
    Text,
    /// One object a line.
    Json,
    /// One value a line, for spreadsheets.
    Csv,
}

/// How much of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// How results are written.
    pub format: Format,
    /// 0: one line a frame; 1: its octets and status bits too; 2: every field with its offset.
    pub verbosity: u8,
    /// Whether the octets' times mean anything; without, none are shown in text.
    pub times: bool,
    /// Whether colour escapes may be used.
    pub colour: bool,
}

/// Appends an item in the format that is asked for.
pub fn write_item(item: &Item, options: Options, out: &mut String) {
    match options.format {
        Format::Text => text::write_item(item, options, out),
        Format::Csv => csv::write_item(item, out),
        Format::Json => {
            match item {
                Item::Exchange(e) => json::write_exchange_with(e, options.verbosity > 0, out),
                Item::Damaged(d) => json::write_damaged(d, out),
                Item::Noise(n) => json::write_noise(n, out),
            }
            out.push('\n');
        }
    }
}
