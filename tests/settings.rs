//! What a device is set to: read, kept as a file, compared, written back.
#![cfg(feature = "bench-file")]

#[path = "settings/file.rs"]
mod file;
#[path = "settings/on_the_mock.rs"]
mod on_the_mock;
#[path = "settings/reading.rs"]
mod reading;
#[path = "settings/restoring.rs"]
mod restoring;
#[path = "settings/script.rs"]
mod script;
mod support;
