//! Cases of the sections `lock/...`.

mod kinds;
mod temporary;
mod tools;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![temporary::CASES, kinds::CASES]
}
