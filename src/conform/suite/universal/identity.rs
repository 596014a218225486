//! Section `universal/identity`: what command 0 says [CM-000].

use super::part;
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect, fail};
use crate::frame::Master;

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::must("universal/identity/expansion-code", "CM-000", "octet 0 of command 0 is 254", expansion_code),
    Case::must(
        "universal/identity/length",
        "CM-000",
        "command 0 answers the octets of the revision that it claims: 12, 17 or 22",
        identity_length,
    ),
    Case::should(
        "universal/identity/revision-that-exists",
        "CM-000",
        "the revision that command 0 claims is 5, 6 or 7",
        revision_that_exists,
    ),
    Case::must(
        "universal/identity/signalling",
        "TB-04",
        "the physical signalling in octet 7 is one of the table",
        signalling,
    ),
    Case::must(
        "universal/identity/both-masters",
        "CM-000",
        "octets 0 to 11 of command 0 are the same for both masters: type, preambles, revisions, flags and device id",
        both_masters,
    ),
    Case::must(
        "universal/identity/short-frame",
        "CM-000",
        "octets 0 to 11 of command 0 are the same in a short frame and in a long one",
        short_frame,
    ),
    Case::should(
        "universal/identity/last-device-variable",
        "CM-000",
        "the device variables below the one in octet 13 are there",
        last_device_variable,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/identity/device-profile",
        "TB-06",
        "the device profile in octet 21 is one of the table",
        device_profile,
    )
    .revisions(R7, R7),
    Case::advice(
        "universal/identity/manufacturer-code",
        "TY-01",
        "octet 17, the upper one of the manufacturer code, is 00, or 60 to 6F for newer makers",
        manufacturer_code,
    )
    .revisions(R7, R7),
];

fn expansion_code(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(0, &[])?;
    expect(reply.octet(0) == Some(0xFE), "FE in octet 0", reply.to_string())
}

fn identity_length(p: &mut Probe<'_>) -> Outcome {
    let claims = p.device().claims;
    let reply = p.read(0, &[])?;
    let octets = match claims {
        5 => 12,
        6 => 17,
        7 => 22,
        _ => return Err(Stop::Skip(format!("no source tells the identity of revision {claims}"))),
    };
    super::length(&reply, octets)
}

fn revision_that_exists(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(0, &[])?;
    expect(matches!(reply.octet(4), Some(5..=7)), "05, 06 or 07 in octet 4", reply.to_string())
}

fn signalling(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(0, &[])?;
    let code = part(&reply, 7, 1)?[0] & 0x07;
    expect(matches!(code, 0..=4 | 6), "0 to 4 or 6 in mask 07 of octet 7", format!("{code} in {reply}"))
}

/// Type, preambles, revisions, flags and device id: what no master and no setting changes.
fn lasting(data: &[u8]) -> Option<Vec<u8>> {
    data.get(..12).map(<[u8]>::to_vec)
}

fn both_masters(p: &mut Probe<'_>) -> Outcome {
    let secondary = p.ask_as(Master::Secondary, 0, &[])?;
    let primary = p.ask_as(Master::Primary, 0, &[])?;
    expect(
        lasting(&primary.data) == lasting(&secondary.data),
        format!("for the primary master octets 0 to 11 as for the secondary one: {secondary}"),
        primary.to_string(),
    )
}

fn short_frame(p: &mut Probe<'_>) -> Outcome {
    let polling = p.polling_address()?;
    let request = p.short_request(polling, 0, &[]);
    let short = p.ask_request(&request)?;
    let long = p.ask(0, &[])?;
    expect(
        lasting(&short.data) == lasting(&long.data),
        format!("in a short frame octets 0 to 11 as in a long one: {long}"),
        short.to_string(),
    )
}

/// Sources differ on whether octet 13 is the last code or how many there are: the one below it is there in both readings.
fn last_device_variable(p: &mut Probe<'_>) -> Outcome {
    let identity = p.ask(0, &[])?;
    let told = part(&identity, 13, 1)?[0];
    for code in 0..told.min(243) {
        let reply = p.read(9, &[code])?;
        // Status 30 is that of a variable that the device does not have [TY-08].
        if part(&reply, 1, 8)?[7] == 0x30 {
            return fail(
                format!("device variable {code}, for octet 13 of command 0 is {told}"),
                format!("none in command 9: {reply}"),
            );
        }
    }
    Ok(())
}

fn device_profile(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(0, &[])?;
    let code = part(&reply, 21, 1)?[0];
    expect(
        // One source prints 14 for a discrete adapter.
        matches!(code, 1..=4 | 14 | 65..=68 | 129..=132 | 140..=142 | 144),
        "a device profile of the table in octet 21",
        format!("{code} in {reply}"),
    )
}

/// The codes of revisions 5 and 6 fit in one octet; those above came later. From memory, newer ones begin with 60.
fn manufacturer_code(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(0, &[])?;
    let code = part(&reply, 17, 2)?;
    expect(
        matches!(code[0], 0x00 | 0x60..=0x6F),
        "00, or from memory 60 to 6F for newer makers, in octet 17",
        reply.to_string(),
    )
}
