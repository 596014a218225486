//! The report as a page of its own.

use super::Beside;
use crate::commission::travel::limits::Limits;
use crate::commission::travel::record::Record;
use crate::report::plot::plain;

/// The report as one page that fetches nothing and prints on A4.
pub fn html(records: &[&Record], limits: &Limits, beside: &Beside) -> String {
    // Until the page is laid out, the text stands in it.
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Report</title></head><body><pre>{}</pre></body></html>\n",
        plain(&super::text(records, limits, beside, false))
    )
}
