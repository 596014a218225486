//! Electrical and settings faults of a bench, row by row [DV-111], on virtual time; the arithmetic stands there and beside
//! each case.
#![cfg(feature = "bench-file")]

mod calibrated;
mod feeding;
mod rig;
mod settings;
mod told;
mod wires;
