//! Cases of the sections `common/...`: common-practice commands.

mod carried;
mod channels;
mod clock;
mod counters;
mod current;
mod service;
mod settings;
mod simulation;
pub(in crate::conform::suite) mod tools;
mod trim;
pub(in crate::conform::suite) mod undo;
mod variables;

use crate::conform::Case;

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![
        variables::CASES,
        settings::CASES,
        channels::CASES,
        current::CASES,
        simulation::CASES,
        trim::CASES,
        clock::CASES,
        counters::CASES,
        carried::CASES,
        service::CASES,
    ]
}
