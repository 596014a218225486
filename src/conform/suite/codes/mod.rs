//! Cases of the sections `codes/...`: which response code a device gives, and what goes with it. Values that have to be
//! refused are in `boundaries/...`.

mod refusals;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![refusals::CASES]
}
