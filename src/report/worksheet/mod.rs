//! Worksheets on paper: Markdown, and HTML that prints on A4 [TV-50].

mod html;
mod markdown;
#[cfg(test)]
mod tests;

pub use html::html;
pub use markdown::markdown;

use crate::commission::worksheet::{Entry, Values};

/// Said on every sheet: what it does not stand for.
const DEFERS: &str = "In general trade terms. It does not stand for the maker's instructions, local codes, the permit or a licence; where they \
                      say otherwise, they are right.";

/// Who signs.
pub(super) const SIGNED: [&str; 3] = ["work done by", "checked by", "taken over by operations"];

/// What the entry's value is, and where it comes from, if it is known.
fn value<'a>(entry: &Entry, values: &'a Values) -> Option<(&'a str, &'a str)> {
    entry.known.and_then(|k| values.get(k))
}

/// "travel, %".
fn label(entry: &Entry) -> String {
    if entry.unit.is_empty() { entry.label.to_owned() } else { format!("{}, {}", entry.label, entry.unit) }
}
