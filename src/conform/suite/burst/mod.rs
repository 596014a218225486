//! Cases of the sections `burst/...`.

mod frames;
mod settings;
mod timing;
mod tools;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![settings::CASES, frames::CASES, timing::CASES]
}
