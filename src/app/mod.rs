//! What the octets inside a message mean: data types, code tables and the two status octets.
//!
//! Nothing here knows of frames, lines or time; it turns octets into values and back without loss.

pub mod command;
pub mod status;
pub mod types;
#[cfg(feature = "bench-file")]
pub mod written;
