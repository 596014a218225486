//! Conformance of a device on any line: cases, what they do on the line, their verdicts, and the run of all of them.
//!
//! The suite sees a device through a [`Line`](crate::line::Line) alone, never the mock from within, so it judges a real one and
//! the mock by the same evidence. A device developer's own test calls it in a few lines: see [`Suite`].

mod again;
mod case;
mod heard;
pub mod host_check;
mod identify;
mod known;
mod probe;
mod put_back;
mod request;
mod results;
mod run;
mod select;
mod suite;
mod verdict;
mod wire;
mod wires;

pub use case::{Case, Needs, Run, Strength};
pub use heard::{Heard, Reply, Way, Words};
pub use identify::Found;
pub use known::Known;
pub use probe::{Probe, RESERVED};
pub use put_back::Place;
pub use request::{Part, Request};
pub use results::{CaseResult, Counts, End, Results, Times};
pub use run::{CannotRun, Progress, Suite};
pub use select::Selection;
pub use suite::{all, sections};
pub use verdict::{Outcome, Stop, Verdict, expect, fail};
