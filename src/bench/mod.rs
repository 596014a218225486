//! The bench: mock devices on one pair of wires, on virtual time or on the wall clock.
//!
//! A bench file is read into a [`BenchPlan`], which is known to make sense. From that either
//! [`in_process`] makes a line on virtual time, or [`Bench`] opens ports of this machine and runs
//! until it is interrupted.

#[cfg(feature = "io")]
mod disk;
#[cfg(feature = "bench-file")]
mod file;
#[cfg(feature = "io")]
mod memory;
mod plan;
#[cfg(feature = "io")]
mod running;
mod station;

#[cfg(feature = "bench-file")]
pub use file::{BenchFileError, Place, check, read, schema};
#[cfg(feature = "io")]
pub use memory::MemoryError;
pub use plan::{BenchPlan, Change, DevicePlan, EventPlan, LineKind, LinePlan};
#[cfg(feature = "io")]
pub use running::{Bench, Error, Notice, PortPlace};
pub use station::BenchStation;

use crate::line::{Bus, InProcess};
use crate::time::Instant;
use core::time::Duration;

/// The bench as a line on virtual time: a master at one more access point of its wires. It does no
/// I/O: the lines of the plan are not opened, and every device starts new, without its memory file.
pub fn in_process(plan: &BenchPlan) -> InProcess<BenchStation> {
    let mut bus = Bus::new(plan.pace);
    for device in &plan.devices {
        let (station, _) = BenchStation::new(device, plan, None, Duration::ZERO, Instant::ZERO);
        bus.add_station(station);
    }
    InProcess::new(bus, format!("mock:{}", plan.path.display()))
}
