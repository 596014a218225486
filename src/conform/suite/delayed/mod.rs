//! Cases of the sections `delayed/...`.

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    Vec::new()
}
