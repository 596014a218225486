//! Bringing a positioner into service: what is done to one device, step by step, through a host.
//!
//! Nothing here knows the mock: it talks to a device as to any other.

#[cfg(feature = "bench-file")]
pub mod answers;
pub mod device_check;
pub mod person;
pub mod response;
pub mod settings;
pub mod travel;
pub mod triage;
pub mod worksheet;
