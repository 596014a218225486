//! The conformance suite on virtual time: healthy mocks pass it, and each case fails on a device that is bad.

mod cases_a;
mod cases_b;
mod chaos;
mod example;
mod framework;
mod healthy;
mod link;
#[cfg(feature = "io")]
mod matrix;
mod noise;
mod notes;
mod replayed;
mod reports;
mod rig;
mod undo;
