//! Data types of message contents, each with a text form that reads back to the same octets.
//!
//! A type that cannot say every octet string in plain words has a raw form for the rest, so that
//! decoding and encoding again never changes a message.

pub mod date;
pub mod device_variable;
pub mod enumeration;
pub mod float;
pub mod latin1;
pub mod packed;
pub mod place;
pub mod tables;
pub mod text_error;
pub mod time;
pub mod units;

pub use date::{Date, DateError};
pub use device_variable::VariableStatus;
pub use enumeration::{BitTable, Table};
pub use float::{NOT_A_NUMBER, format_float, parse_float, write_float};
pub use place::Place;
pub use text_error::TextError;
pub use time::{TimeError, TimeOfDay};
pub use units::Unit;
