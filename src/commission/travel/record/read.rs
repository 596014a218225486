//! A record as JSON, and back.

use super::{FORMAT, Record};
use core::fmt;

/// Why a text is no record of a travel test or of a device check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordError {
    /// What is wrong and where: a line and column, or the name of the part.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl fmt::Display for RecordError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "reading a record: {}\n  next: {}", self.wrong, self.right)
    }
}

impl std::error::Error for RecordError {}

impl RecordError {
    /// Looks whether a text is JSON of a format that is read; `key` is the one that has the number of it.
    pub(in crate::commission) fn format_of(
        text: &str,
        key: &str,
        newest: u32,
        what: &str,
        whole: &str,
    ) -> Result<(), RecordError> {
        let wrong = |wrong: String, right: &str| Err(RecordError { wrong, right: right.to_owned() });
        // The version first, whatever else is there: a newer record may have other parts.
        let any: serde_json::Value = match serde_json::from_str(text) {
            Ok(any) => any,
            Err(e) => return wrong(format!("this is no JSON: {e}"), whole),
        };
        let Some(version) = any.get(key) else {
            return wrong(format!("{key} is missing, so this is no record of {what}"), whole);
        };
        match version.as_u64() {
            Some(n) if n == u64::from(newest) => Ok(()),
            Some(n) if n > u64::from(newest) => wrong(
                format!("it has format {n}, and this looprig reads formats up to {newest}"),
                "read it with the looprig that wrote it, or a newer one",
            ),
            _ => wrong(format!("{key} is {version}, which is no format"), whole),
        }
    }
}

impl Record {
    /// The record as JSON, indented, with a line end. Every digit is kept.
    pub fn to_json(&self) -> String {
        // Only maps with keys that are no text and failing writers can fail, and there are none.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// Reads a record.
    ///
    /// # Errors
    /// It is no JSON, no record, of a newer format, or has numbers that cannot be.
    pub fn from_json(text: &str) -> Result<Record, RecordError> {
        let wrong = |wrong: String, right: &str| RecordError { wrong, right: right.to_owned() };
        let whole = "name a record of a travel test, as it was written";
        RecordError::format_of(text, "looprig_travel", FORMAT, "a travel test", whole)?;
        let record: Record = serde_json::from_str(text).map_err(|e| wrong(e.to_string(), whole))?;
        match record.first_wrong() {
            Some((part, what)) => Err(wrong(
                format!("{part} {what}"),
                "put the number right, or take that part of the record out",
            )),
            None => Ok(record),
        }
    }
}
