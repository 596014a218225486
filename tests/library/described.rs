//! Commands of device types that files describe: a device made of files alone, descriptions of every shape, and the
//! description of looprig's own positioner.
#![cfg(feature = "bench-file")]

mod another;
mod any;
mod device;
mod golden;
mod positioner;
