//! The roles on a link as state machines without I/O: what goes in carries its time.

mod burst;
mod master;
mod observer;
mod slave;
mod timers;
mod violation;

pub use burst::BurstTurns;
pub use master::{Master, MasterConfig, Output, Refused};
pub use observer::{Finding, Observer, Severity};
pub use slave::{Call, Slave};
pub use timers::Timers;
pub use violation::{Evidence, Violation};
