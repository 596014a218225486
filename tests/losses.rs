//! What is captured or stored outlives whatever ends the program: a kill, a full disk, a port that is
//! gone [LG-04] [DV-03].
#![cfg(all(target_os = "linux", feature = "io"))]

#[path = "losses/image.rs"]
mod image;
#[path = "losses/listen.rs"]
mod listen;
#[path = "cli/process.rs"]
#[allow(dead_code, reason = "shared with the tests of the command line")]
mod process;
#[path = "losses/rig.rs"]
mod rig;
