//! Cases of the data link, the sections `link/...`.

mod addressing;
mod bare;
mod check;
mod framing;
mod masters;
mod preambles;
mod requests;
mod timing;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![
        framing::CASES,
        requests::CASES,
        addressing::CASES,
        preambles::CASES,
        check::CASES,
        timing::CASES,
        masters::CASES,
    ]
}
