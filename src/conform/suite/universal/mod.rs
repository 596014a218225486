//! Cases of the sections `universal/...`: commands 0 to 3, 6 to 9, 11 to 22; 38 and 48 are in `status/...`.

mod by_tag;
mod device_variables;
mod identity;
mod label_writes;
mod labels;
mod loop_configuration;
mod variables;

use crate::conform::Case;
use crate::conform::{Outcome, Reply, Stop, expect};

/// The sections, in the order in which they are run.
pub(super) fn sections() -> Vec<&'static [Case]> {
    vec![
        identity::CASES,
        by_tag::CASES,
        variables::CASES,
        device_variables::CASES,
        labels::CASES,
        label_writes::CASES,
        loop_configuration::CASES,
    ]
}

/// The data of this answer have to be so many octets.
fn length(reply: &Reply, octets: usize) -> Outcome {
    expect(
        reply.data.len() == octets,
        format!("{octets} data octets in command {}", reply.command),
        format!("{}: {reply}", reply.data.len()),
    )
}

/// A part of the answer that the case needs and that is the matter of another case.
fn part(reply: &Reply, from: usize, len: usize) -> Result<Vec<u8>, Stop> {
    reply.part(from, len).map(<[u8]>::to_vec).ok_or_else(|| short(reply))
}

/// A float in the same way.
fn float(reply: &Reply, at: usize) -> Result<f32, Stop> {
    reply.float(at).ok_or_else(|| short(reply))
}

fn short(reply: &Reply) -> Stop {
    Stop::Inconclusive(format!("the answer to command {} is too short: {reply}", reply.command))
}
