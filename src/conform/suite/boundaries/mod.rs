//! Cases of the sections `boundaries/...`: least, greatest and impossible values of parameters.

mod codes;
mod damping;
mod labels;
mod range;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![labels::CASES, damping::CASES, range::CASES, codes::CASES]
}
