//! Commands of device types that files describe: a device made of files alone, descriptions of every shape, and the
//! description of looprig's own positioner.
#![cfg(feature = "bench-file")]

#[path = "described/another.rs"]
mod another;
#[path = "described/any.rs"]
mod any;
#[path = "described/device.rs"]
mod device;
#[path = "described/golden.rs"]
mod golden;
#[path = "described/positioner.rs"]
mod positioner;
