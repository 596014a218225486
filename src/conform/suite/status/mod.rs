//! Cases of the sections `status/...`: the second status octet for each master, commands 38, 42 and 48.

mod changed;
mod cold_start;
mod counter;
mod device;
mod more_status;
pub(in crate::conform::suite) mod prepare;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![device::CASES, changed::CASES, counter::CASES, more_status::CASES, cold_start::CASES]
}
