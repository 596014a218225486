//! A reading with its uncertainty.

/// A number, and by how much it may be wrong, either way [TV-06].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertain {
    /// The number.
    pub value: f64,
    /// Limits either way, 0 or more, in the unit of the value.
    pub by: f64,
}
