//! The wiring sheet: text to a [`Circuit`], or to a message that says where it is wrong.

mod parts;
pub(super) mod shape;

use super::file::{misread, text_of};
use crate::app::written::{Fault, FileError, FileKind, Number, for_toml, number};
use crate::wiring::{Circuit, Tolerance};
pub(super) use parts::{circuit, usual_master};
use shape::Sheet;
use std::path::Path;
use toml::Spanned;

/// What to do where there is no such file.
const SHEET_MISSING: &str = "name a wiring sheet that exists, or write one; every key: looprig wiring --schema; examples: \
                             fixtures/sheets/; the smallest is\n    [supply]\n    voltage_v = 24\n    resistor_ohm = 250\n    \
                             [[device]]\n    min_voltage_v = 12";

/// A wiring sheet that makes sense.
#[derive(Clone, Debug, PartialEq)]
pub struct WiringSheet {
    /// The loop.
    pub circuit: Circuit,
    /// By how much its numbers may be wrong.
    pub tolerance: Tolerance,
}

/// The JSON Schema of a wiring sheet, for editors.
pub fn sheet_schema() -> String {
    let mut schema = schemars::schema_for!(Sheet).to_value();
    for_toml(&mut schema);
    // A schema is made of strings and numbers alone, so it can always be written.
    serde_json::to_string_pretty(&schema).unwrap_or_default()
}

/// Reads a wiring sheet.
///
/// # Errors
/// It cannot be read, or [`check_sheet`] finds something.
pub fn read_sheet(path: &Path) -> Result<WiringSheet, FileError> {
    let text = text_of(path, FileKind::Sheet, SHEET_MISSING)?;
    check_sheet(&text, path)
}

/// Makes a circuit of the text of a wiring sheet; `path` is what messages call it.
///
/// # Errors
/// The first thing that is wrong, with its place.
pub fn check_sheet(text: &str, path: &Path) -> Result<WiringSheet, FileError> {
    let fault = |f: Fault| f.in_file(FileKind::Sheet, path, text);
    match toml::from_str::<Sheet>(text) {
        Ok(sheet) => {
            let whole = text.len()..text.len();
            let circuit = circuit(&sheet, &whole, "").map_err(fault)?;
            let tolerance = tolerance(&sheet).map_err(fault)?;
            Ok(WiringSheet { circuit, tolerance })
        }
        Err(e) => Err(fault(misread(&e, text, FileKind::Sheet))),
    }
}

/// By how much the numbers of a sheet may be wrong.
pub(super) fn tolerance(sheet: &Sheet) -> Result<Tolerance, Fault> {
    let mut out = Tolerance::default();
    let Some(table) = &sheet.tolerance else { return Ok(out) };
    let t = table.get_ref();
    for (to, given, key) in [
        (&mut out.voltage, &t.voltage_percent, "voltage_percent"),
        (&mut out.resistor, &t.resistor_percent, "resistor_percent"),
        (&mut out.core, &t.core_percent, "core_percent"),
        (&mut out.capacitance, &t.capacitance_percent, "capacitance_percent"),
        (&mut out.length, &t.length_percent, "length_percent"),
        (&mut out.impedance, &t.impedance_percent, "impedance_percent"),
        (&mut out.transmit, &t.transmit_percent, "transmit_percent"),
    ] {
        if let Some(n) = given {
            *to = number(n, key, "%", 0.0..=90.0)? / 100.0;
        }
    }
    Ok(out)
}

/// A number that may be left out, in the unit of its key.
fn optional(
    n: &Option<Spanned<Number>>,
    key: &str,
    unit: &str,
    range: core::ops::RangeInclusive<f64>,
) -> Result<Option<f64>, Fault> {
    n.as_ref().map(|n| number(n, key, unit, range)).transpose()
}
