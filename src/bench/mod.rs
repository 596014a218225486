//! The bench: mock devices on one pair of wires, on virtual time or on the wall clock.
//!
//! A bench file is read into a [`BenchPlan`], which is known to make sense. From that either
//! [`in_process`] makes a line on virtual time, or [`Bench`] opens ports of this machine and runs
//! until it is interrupted.

#[cfg(feature = "io")]
pub mod api;
mod changes;
#[cfg(feature = "io")]
mod clients;
pub mod desk;
#[cfg(feature = "io")]
mod disk;
pub mod driven;
#[cfg(feature = "bench-file")]
mod file;
mod fleet;
mod in_process;
#[cfg(feature = "io")]
mod memory;
#[cfg(feature = "io")]
mod notice;
#[cfg(feature = "io")]
mod places;
mod plan;
#[cfg(feature = "io")]
mod running;
#[cfg(feature = "bench-file")]
mod sheet;
mod station;
#[cfg(feature = "io")]
mod telling;

#[cfg(feature = "bench-file")]
pub use crate::app::written::FileError;
pub use crate::sim::Change;
pub use changes::{CHANGES, ChangeSpec, SEVERITY, Takes, fault_change, fault_words, why_not};
#[cfg(feature = "bench-file")]
pub use file::{
    LoadDescription, LoadSheet, add_protocol_fault, check, check_all, check_with, fit_valve, read,
    read_description, schema,
};
#[cfg(feature = "io")]
pub use fleet::{Fleet, FleetError};
pub use fleet::{FleetPlan, MOST_LOOPS, MOST_WITH_PORTS};
pub use in_process::{Gauges, Waiting, in_process};
#[cfg(feature = "io")]
pub use memory::MemoryError;
#[cfg(feature = "io")]
pub use notice::Notice;
#[cfg(feature = "io")]
pub use places::PortPlace;
pub use plan::{
    BenchPlan, DevicePlan, EventPlan, LineKind, LinePlan, LoopPlan, MasterPlan, ValveFaultPlan, ValvePlan,
    api_place,
};
#[cfg(feature = "io")]
pub use running::{Bench, Error, MOST_ORDERS, NotOrdered, Orders};
#[cfg(feature = "bench-file")]
pub use sheet::{WiringSheet, check_sheet, read_sheet, sheet_schema};
pub use station::{device_station, world};

#[cfg(feature = "io")]
pub(crate) use file::text_of;
