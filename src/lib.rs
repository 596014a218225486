//! looprig: a bench for the people who bring loop-powered valve positioners into service.
//!
//! The library is one chain; each room adds one kind of knowledge:
//!
//! ```text
//!  line             frame              transaction          app             exchange
//!  stamped octets ─▶ Receiver ─▶ Reception ─▶ Pairer ─▶ Transaction ─▶ CommandSpec ─▶ Exchange
//! ```
//!
//! Without the default feature `io` only the core is built: it does no I/O and reads no clock.
//! Identifiers in square brackets, such as `[FR-03]`, are headings in `protocol-notes/`.

pub mod app;
pub mod bench;
pub mod capture;
#[cfg(feature = "io")]
pub mod cli;
pub mod commission;
pub mod conform;
pub mod device;
pub mod exchange;
pub mod frame;
pub mod host;
pub mod ip;
pub mod line;
pub mod link;
pub mod plant;
pub mod report;
pub mod sim;
pub mod time;
pub mod transaction;
pub mod wave;
pub mod wiring;
