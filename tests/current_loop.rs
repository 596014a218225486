//! A bench whose loop is computed: who has power, who has none, and what comes of it [WI-14] [DV-51]. On virtual time;
//! the arithmetic stands beside each case.
#![cfg(feature = "bench-file")]

#[path = "current_loop/any.rs"]
mod any;
#[path = "current_loop/events.rs"]
mod events;
#[path = "current_loop/file.rs"]
mod file;
#[path = "current_loop/power.rs"]
mod power;
#[path = "current_loop/reach.rs"]
mod reach;
#[path = "current_loop/rig.rs"]
mod rig;
