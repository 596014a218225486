//! Many loops of one bench file in one process [IP-17].

#[cfg(feature = "io")]
mod front;
mod plan;
#[cfg(feature = "io")]
mod running;
#[cfg(all(test, feature = "io"))]
mod tests;

pub use plan::{FleetPlan, MOST_LOOPS, MOST_WITH_PORTS};
#[cfg(feature = "bench-file")]
pub(super) use plan::{numbered, numbered_path};
#[cfg(feature = "io")]
pub use running::{Fleet, FleetError};
