//! Cases of the sections `write-protect/...`.

mod state;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![state::CASES]
}
