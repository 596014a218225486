//! Known deviations: cases that fail on a device, with the reason why that is accepted.

/// A case that is known to fail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Known {
    /// The case's id.
    pub id: String,
    /// Why it is accepted; not empty.
    pub reason: String,
}
