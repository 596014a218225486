//! A bench whose loop is computed: who has power, who has none, and what comes of it [WI-14] [DV-51]. On virtual time;
//! the arithmetic stands beside each case.
#![cfg(feature = "bench-file")]

mod any;
mod events;
mod file;
mod power;
mod reach;
mod rig;
