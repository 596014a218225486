//! Section `common/carried`: several commands in one, command 78.

use super::tools::skip_if;
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/carried/as-many-as-counted",
        "CM-078",
        "the answer to command 78 has as many answers inside as it counts",
        as_many_as_counted,
    )
    .commands(&[78])
    .moves()
    .revisions(Revision::R7, Revision::R7),
    Case::must(
        "common/carried/response-code-inside",
        "CM-078",
        "an answer inside command 78 has its response code before its data",
        response_code_inside,
    )
    .commands(&[78])
    .moves()
    .revisions(Revision::R7, Revision::R7),
];

/// Carries commands 1 and 2, which have no data.
fn carry(p: &mut Probe<'_>) -> Result<Reply, Stop> {
    let reply = p.ask_until_done(78, &[2, 0, 1, 0, 0, 2, 0])?;
    skip_if(&reply, &[2, 6, 9], "the device does not carry commands 1 and 2")?;
    expect(reply.is_success(), "commands 1 and 2 carried", reply.to_string())?;
    Ok(reply)
}

/// The answers inside: number and octets; `None` where they do not end with the data.
fn inside(reply: &Reply) -> Option<Vec<(u16, Vec<u8>)>> {
    let mut rest = reply.data.get(2..)?;
    let mut found = Vec::new();
    while let [high, low, count, behind @ ..] = rest {
        let octets = behind.get(..usize::from(*count))?;
        found.push((u16::from_be_bytes([*high, *low]), octets.to_vec()));
        rest = &behind[octets.len()..];
    }
    rest.is_empty().then_some(found)
}

fn as_many_as_counted(p: &mut Probe<'_>) -> Outcome {
    let reply = carry(p)?;
    let count = inside(&reply).map(|all| all.len());
    expect(
        count.is_some() && count == reply.octet(1).map(usize::from),
        "as many answers inside as octet 1 counts",
        reply.to_string(),
    )
}

fn response_code_inside(p: &mut Probe<'_>) -> Outcome {
    let reply = carry(p)?;
    // Command 1 answers five octets, the response code in front makes six.
    let first = inside(&reply).and_then(|all| all.into_iter().next());
    expect(
        first.as_ref().is_some_and(|(number, octets)| *number == 1 && octets.len() == 6 && octets[0] == 0),
        "command 1 with six octets, the response code 0 in front",
        reply.to_string(),
    )
}
