//! Cases of the data link, the sections `link/...`.

mod addressing;
mod framing;
mod timing;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![framing::CASES, addressing::CASES, timing::CASES]
}
