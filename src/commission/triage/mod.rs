//! Fault finding: from what can be seen to the likely cause and the next check [TG-01].
//!
//! What is known stands in a [`Knowledge`], which is data. A [`Session`] takes what is seen, ranks causes and says what to look
//! at next; [`ask()`] leads a person through it and gives a [`Triage`], the record of it all. Nothing here moves a valve.

mod asking;
mod belief;
#[cfg(feature = "bench-file")]
mod file;
#[cfg(feature = "bench-file")]
mod kept;
mod knowledge;
mod record;
mod session;
#[cfg(all(test, feature = "bench-file"))]
mod tests;
pub mod watch;
mod which_valve;

pub use asking::{Between, ask};
#[cfg(feature = "bench-file")]
pub use file::{knowledge_schema, own_text};
#[cfg(feature = "bench-file")]
pub use kept::{Kept, is_of_a_session, kept_address, told, wrong_answer};
pub use knowledge::{Cause, Check, Group, Knowledge, LEAST, LEVELS, Seen, Shown, Symptom};
pub use record::{Asked, FORMAT, Told, Triage, Verdict, Weighed};
pub use session::{Finding, Next, Origin, Rank, Session};
pub use which_valve::{WHICH_VALVE, Which, WhichValve};
