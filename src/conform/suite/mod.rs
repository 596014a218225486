//! The cases, a file a section. A section is a line in [`sections`] and nothing more.

mod boundaries;
mod burst;
mod codes;
mod common;
mod delayed;
mod link;
mod lock;
mod status;
mod universal;
mod write_protect;

use super::case::Case;

/// Every section with its cases, in the order in which they are run.
pub fn sections() -> Vec<&'static [Case]> {
    let groups: [Vec<&'static [Case]>; 10] = [
        link::sections(),
        universal::sections(),
        status::sections(),
        codes::sections(),
        common::sections(),
        boundaries::sections(),
        write_protect::sections(),
        lock::sections(),
        delayed::sections(),
        burst::sections(),
    ];
    groups.into_iter().flatten().filter(|cases| !cases.is_empty()).collect()
}

/// Every case, in the order in which they are run.
pub fn all() -> Vec<Case> {
    sections().into_iter().flatten().copied().collect()
}
