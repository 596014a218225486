//! Section `universal/loop-configuration`: commands 6 and 7. What is written is put back. The
//! highest address, and what is to be refused, are in `boundaries/labels`.

use super::{length, part, prepared};
use crate::app::command::Revision;
use crate::conform::suite::common::undo::{answers_at, free_address, put_back_address};
use crate::conform::{Case, Outcome, Probe, Stop, expect};

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "universal/loop-configuration/length",
        "CM-007",
        "command 7 answers two octets: polling address and loop current mode",
        configuration_length,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/loop-configuration/address-as-told",
        "CM-007",
        "the device answers at the polling address that command 7 tells",
        address_as_told,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/loop-configuration/new-address",
        "CM-006",
        "the device answers at the polling address that command 6 has written, and no more at the old one",
        new_address,
    )
    .moves(),
    Case::must(
        "universal/loop-configuration/echo",
        "CM-006",
        "command 6 answers the octets that it was given",
        echo,
    )
    .moves(),
    Case::must(
        "universal/loop-configuration/mode-is-kept",
        "DV-15",
        "command 7 tells the loop current mode that command 6 has written",
        mode_is_kept,
    )
    .revisions(R6, R7)
    .moves(),
];

fn configuration_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(7, &[])?;
    length(&reply, 2)
}

fn address_as_told(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(7, &[])?;
    let told = part(&reply, 0, 1)?[0];
    expect(
        told < 64 && answers_at(p, told)?,
        format!("the device at polling address {told}, as command 7 tells"),
        format!("it does not answer command 0 there; {reply}"),
    )
}

/// The present octets of command 6, and puts them back afterwards. In revision 5 nothing reads them but the address at which
/// the device answers; from revision 6 on the mode is that of command 7.
fn present(p: &mut Probe<'_>) -> Result<Vec<u8>, Stop> {
    let polling = p.polling_address()?;
    let data = match p.revision() {
        Revision::R5 => vec![polling],
        _ => {
            let reply = p.read(7, &[])?;
            vec![polling, part(&reply, 1, 1)?[0]]
        }
    };
    put_back_address(p, &data)?;
    Ok(data)
}

/// The data of command 6 with another address.
fn with_address(was: &[u8], address: u8) -> Vec<u8> {
    let mut data = was.to_vec();
    data[0] = address;
    data
}

fn new_address(p: &mut Probe<'_>) -> Outcome {
    let was = present(p)?;
    let new = free_address(p, was[0])?;
    let reply = p.ask_until_done(6, &with_address(&was, new))?;
    expect(reply.is_success(), format!("polling address {new} accepted"), reply.to_string())?;
    let (at_new, at_old) = (answers_at(p, new)?, answers_at(p, was[0])?);
    expect(
        at_new && !at_old,
        format!("an answer at polling address {new} and none at {}", was[0]),
        format!("at the new one: {at_new}, at the old one: {at_old}"),
    )
}

fn echo(p: &mut Probe<'_>) -> Outcome {
    let was = present(p)?;
    let new = free_address(p, was[0])?;
    let data = with_address(&was, new);
    let reply = prepared(p, 6, &data)?;
    expect(reply.data == data, format!("{data:02X?} in the answer to command 6"), reply.to_string())
}

fn mode_is_kept(p: &mut Probe<'_>) -> Outcome {
    let was = present(p)?;
    for mode in [0x00, 0x01] {
        prepared(p, 6, &[was[0], mode])?;
        let reply = p.read(7, &[])?;
        expect(
            part(&reply, 1, 1)?[0] == mode,
            format!("loop current mode {mode:02X} in command 7, as written"),
            reply.to_string(),
        )?;
    }
    Ok(())
}
