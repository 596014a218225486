//! Fault finding on benches in this process, on virtual time.
#![cfg(feature = "bench-file")]

mod rig;
mod watched;
