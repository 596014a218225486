//! The travel test: what was seen of a valve, what follows from it, and what is judged [TV-01].
//!
//! A [`Record`] keeps what was seen, raw and with times. [`figures::figures`] computes every figure anew from a record, and
//! [`limits::judge`] holds figures against limits. Only [`run()`] moves a valve and asks anybody, and it does so through
//! whoever it is handed.

pub mod figures;
pub mod limits;
mod plan;
pub mod readings;
pub mod record;
pub mod run;
pub(super) mod sensing;

pub use figures::{Definition, Figure, View};
pub use limits::{Judged, Limits, Verdict};
pub use readings::{Reading, Readings, Source};
pub use record::Record;
pub use run::{Gauge, Setup, run};
