//! Worksheets on paper: Markdown, and HTML that prints on A4 [TV-50].

mod html;
mod markdown;
#[cfg(test)]
mod tests;

pub use html::html;
pub use markdown::markdown;

use crate::commission::travel::record::Movement;
use crate::commission::worksheet::{Entry, Known, Values, Worksheet};

/// Said on every sheet: what it does not stand for.
const DEFERS: &str = "In general trade terms. It does not stand for the maker's instructions, local codes, the permit or a licence; where they \
                      say otherwise, they are right.";

/// Who signs.
pub(super) const SIGNED: [&str; 3] = ["work done by", "checked by", "taken over by operations"];

/// What the entry's value is, and where it comes from, if it is known.
fn value<'a>(sheet: &Worksheet, entry: &Entry, values: &'a Values) -> Option<(&'a str, &'a str)> {
    entry.known.and_then(|k| values.get_for(sheet, k))
}

/// What the head says below the valve: where values come from, and what does not fit together.
fn remarks(sheet: &Worksheet, values: &Values) -> (Option<String>, Vec<String>) {
    let from = values.sources();
    let from = (!from.is_empty()).then(|| format!("Filled in from: {}.", from.join("; ")));
    let mut odd = values.odd();
    odd.extend(values.without_occasion(sheet).iter().map(|from| {
        format!(
            "nobody said whether {from} was made as found or as left, so it fills neither: give --as-found or --as-left with the test, or write in by hand what belongs there"
        )
    }));
    odd.extend(values.other_motion(sheet).map(|motion| {
        let (is, wanted) = match motion {
            Movement::Linear => ("linear", "part-turn"),
            Movement::PartTurn => ("part-turn", "linear"),
        };
        format!("the test is of a {is} valve, and this sheet is for a {wanted} one: its travel and angles are not filled in")
    }));
    (from, odd)
}

/// The sheet's title with the valve's tag, where it is known.
fn title(sheet: &Worksheet, values: &Values) -> String {
    let tag = values.get(Known::Tag).or_else(|| values.get(Known::LongTag));
    tag.map_or_else(|| sheet.title.to_owned(), |(tag, _)| format!("{tag}: {}", sheet.title))
}

/// "travel, %".
fn label(entry: &Entry) -> String {
    if entry.unit.is_empty() { entry.label.to_owned() } else { format!("{}, {}", entry.label, entry.unit) }
}
