//! The built program, and the real lines of this machine: here time passes and processes come and go.
#![cfg(all(unix, feature = "io"))]

mod api;
mod bench_running;
mod cli;
mod hart_ip;
mod line_kinds;
mod line_pty;
mod losses;
mod mock_process;
mod process;
#[path = "../support/mod.rs"]
mod support;
