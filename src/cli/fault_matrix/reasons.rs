//! Reasons that are known beforehand for what a fault matrix shows.

use serde::Deserialize;

/// The reasons: `protocol-notes/fault-matrix.toml`.
const TEXT: &str = include_str!("../../../protocol-notes/fault-matrix.toml");

/// All of them.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Eq)]
#[serde(deny_unknown_fields, default)]
pub struct Reasons {
    /// Why cases may fail on the same faults.
    pub same: Vec<SameReason>,
    /// Why nothing finds a fault.
    pub unfound: Vec<Reason>,
    /// Why no fault fails a case.
    pub unproven: Vec<Reason>,
}

/// Why these cases fail on the same faults, and are two cases all the same.
#[derive(Clone, Debug, Deserialize, PartialEq, Eq)]
#[serde(deny_unknown_fields)]
pub struct SameReason {
    /// Their ids.
    pub cases: Vec<String>,
    /// Why.
    pub reason: String,
}

/// A fault or a case, and why.
#[derive(Clone, Debug, Deserialize, PartialEq, Eq)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    /// The fault's name or the case's id.
    pub name: String,
    /// Why.
    pub reason: String,
}

impl Reasons {
    /// Those of the notes.
    ///
    /// # Errors
    /// The file makes no sense, which a test excludes.
    pub fn of_the_notes() -> Result<Reasons, String> {
        toml::from_str(TEXT).map_err(|e| format!("protocol-notes/fault-matrix.toml: {e}"))
    }

    /// Why these cases fail on the same faults.
    pub fn same(&self, cases: &[&str]) -> Option<&str> {
        let names = |r: &&SameReason| cases.iter().all(|c| r.cases.iter().any(|n| n == c));
        self.same.iter().find(names).map(|r| r.reason.as_str())
    }

    /// Why nothing finds this fault.
    pub fn unfound(&self, fault: &str) -> Option<&str> {
        self.unfound.iter().find(|r| r.name == fault).map(|r| r.reason.as_str())
    }

    /// Why no fault fails this case.
    pub fn unproven(&self, case: &str) -> Option<&str> {
        self.unproven.iter().find(|r| r.name == case).map(|r| r.reason.as_str())
    }
}
