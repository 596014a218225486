//! The mock positioner on its computed valve, asked over the wires of a bench on virtual time [DV-80].
#![cfg(feature = "bench-file")]

mod calibration;
mod file;
mod keys;
mod memory;
mod power;
mod rig;
mod settings;
mod step;
