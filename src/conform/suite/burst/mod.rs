//! Cases of the sections `burst/...`.

mod frames;
mod settings;
mod timing;
mod tools;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    // First the one that shows a device that leaves nobody a turn, for with that one nothing can be done behind it.
    vec![timing::CASES, settings::CASES, frames::CASES]
}
