//! Cases of the sections `delayed/...`.

mod response;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![response::CASES]
}
