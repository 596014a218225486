//! What is captured or stored outlives whatever ends the program: a kill, a full disk, a port that is
//! gone [LG-04] [DV-03].
#![cfg(target_os = "linux")]

mod image;
mod listen;
mod rig;
