//! What a device is set to: read, kept as a file, compared, written back.
#![cfg(feature = "bench-file")]

mod file;
mod on_the_mock;
mod reading;
mod restoring;
mod script;
