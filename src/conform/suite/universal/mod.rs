//! Cases of the sections `universal/...`: commands 0 to 3, 6 to 9, 11 to 22; 38 and 48 are in `status/...`.

mod by_tag;
mod device_variables;
mod identity;
mod label_writes;
mod labels;
mod loop_configuration;
mod variables;

use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};

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

/// Reads a label and remembers to write it again, if it is another one afterwards. Where it reads as what cannot be, nothing
/// is said: that is the matter of other cases.
pub(super) fn remember(p: &mut Probe<'_>, read: u8, write: u8, len: usize) -> Result<Vec<u8>, Stop> {
    let reply = p.ask(read, &[])?;
    let was = part(&reply, 0, len)?;
    put_back(p, read, write, &was);
    Ok(was)
}

/// The same with what it was, or what is to stand there.
fn put_back(p: &mut Probe<'_>, read: u8, write: u8, was: &[u8]) {
    let was = was.to_vec();
    p.put_back_by(format!("command {write} with data {was:02X?}"), move |p| {
        if p.ask(read, &[])?.part(0, was.len()) == Some(&was) {
            return Ok(());
        }
        let reply = p.ask_until_done(write, &was)?;
        expect(reply.is_success(), format!("command {write} accepted"), reply.to_string())
    });
}

/// Writes as preparation only: that it is accepted is the matter of other cases.
pub(super) fn prepared(p: &mut Probe<'_>, command: u8, data: &[u8]) -> Result<Reply, Stop> {
    let unclear = |why: String| Err(Stop::Inconclusive(format!("command {command} is not accepted: {why}")));
    match p.ask_until_done(command, data) {
        Ok(reply) if reply.is_success() => Ok(reply),
        Ok(reply) => unclear(reply.to_string()),
        Err(Stop::Fail { observed, .. }) => unclear(observed),
        Err(stop) => Err(stop),
    }
}

fn short(reply: &Reply) -> Stop {
    Stop::Inconclusive(format!("the answer to command {} is too short: {reply}", reply.command))
}
