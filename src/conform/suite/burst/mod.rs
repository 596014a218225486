//! Cases of the sections `burst/...`.

mod frames;
mod settings;
mod timing;
mod tools;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    // Timing first: with a device that cannot be turned off, or leaves nobody a turn, nothing can be done behind it.
    vec![timing::CASES, settings::CASES, frames::CASES]
}
