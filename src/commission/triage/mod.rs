//! Fault finding: from what can be seen to the likely cause and the next check [TG-01].

mod finding;
pub mod watch;

pub use finding::{Finding, Origin};
