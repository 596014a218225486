//! The travel test: what was seen of a valve, what follows from it, and what is judged [TV-01].
//!
//! A [`Record`] keeps what was seen, raw and with times. [`figures::figures`] computes every figure anew from a record, and
//! [`limits::judge`] holds figures against limits. Nothing here moves a valve or asks anybody.

pub mod figures;
pub mod limits;
pub mod record;

pub use figures::{Definition, Figure, View};
pub use limits::{Judged, Limits, Verdict};
pub use record::Record;
