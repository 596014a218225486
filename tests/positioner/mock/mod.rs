//! The mock positioner on its computed valve, asked over the wires of a bench on virtual time [DV-80].
#![cfg(feature = "bench-file")]

mod bursts;
mod calibration;
mod file;
mod keys;
mod locks;
mod memory;
mod power;
mod revisions;
mod rig;
mod settings;
mod simulated;
mod step;
