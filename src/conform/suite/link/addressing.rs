//! Section `link/addressing`: who is called and who is not.

use crate::app::command::Revision;
use crate::conform::{Case, Found, Outcome, Probe, Stop, expect, fail};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "link/addressing/identity-makes-the-address",
        "FR-06",
        "the device answers at the unique address that its identity makes, and says the same there",
        identity_makes_the_address,
    ),
    Case::must(
        "link/addressing/long-answer-has-the-address",
        "FR-06",
        "an answer to a long frame has the unique address of the request",
        long_answer_has_the_address,
    ),
    Case::must(
        "link/addressing/answers-at-the-polling-address",
        "FR-14",
        "command 0 in a short frame to its polling address is answered",
        answers_at_the_polling_address,
    ),
    Case::must(
        "link/addressing/short-answer-has-the-address",
        "FR-05",
        "an answer to a short frame has the polling address of the request",
        short_answer_has_the_address,
    ),
    Case::must(
        "link/addressing/other-device-id",
        "DV-12",
        "a request to another device id of the same type is met with silence",
        other_device_id,
    ),
    Case::must(
        "link/addressing/other-device-type",
        "FR-06",
        "a request to the same device id of another type is met with silence",
        other_device_type,
    ),
    Case::must(
        "link/addressing/other-polling-address",
        "DV-12",
        "a request to another polling address is met with silence",
        other_polling_address,
    ),
    Case::must(
        "link/addressing/upper-bits-of-a-polling-address",
        "FR-05",
        "a request to a polling address that differs in mask 30 alone is met with silence",
        upper_bits_of_a_polling_address,
    ),
    Case::should(
        "link/addressing/broadcast-of-its-tag",
        "DV-07",
        "command 11 to all with the device's tag is answered with its identity",
        broadcast_of_its_tag,
    ),
    Case::should(
        "link/addressing/broadcast-answer-has-its-own-address",
        "DV-07",
        "an answer to a request to all has the device's own unique address",
        broadcast_answer_has_its_own_address,
    ),
    Case::should(
        "link/addressing/broadcast-of-another-tag",
        "DV-12",
        "command 11 to all with a tag that is not the device's is met with silence",
        broadcast_of_another_tag,
    ),
    Case::should(
        "link/addressing/broadcast-of-its-long-tag",
        "DV-07",
        "command 21 to all with the device's long tag is answered with its identity",
        broadcast_of_its_long_tag,
    )
    .revisions(Revision::R6, Revision::R7),
    Case::should(
        "link/addressing/broadcast-of-another-long-tag",
        "DV-12",
        "command 21 to all with a long tag that is not the device's is met with silence",
        broadcast_of_another_long_tag,
    )
    .revisions(Revision::R6, Revision::R7),
    Case::should(
        "link/addressing/broadcast-of-other-commands",
        "DV-07",
        "commands to all that identify nobody are met with silence",
        broadcast_of_other_commands,
    ),
];

fn identity_makes_the_address(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(0, &[])?;
    let says = Found::of(&reply.data, None).map(|f| f.unique);
    expect(
        says == Ok(p.device().unique),
        format!("the identity of {} at that address", p.device()),
        reply.to_string(),
    )
}

fn long_answer_has_the_address(p: &mut Probe<'_>) -> Outcome {
    let unique = p.device().unique;
    for command in [0, 1, 3, 13] {
        let reply = p.ask(command, &[])?;
        expect(
            reply.unique() == Some(unique),
            format!("the address {unique:02X?} in the answer to command {command}, its two upper bits aside"),
            format!("{:02X?}", reply.address),
        )?;
    }
    Ok(())
}

/// Asks command 0 in the short form.
fn ask_short(p: &mut Probe<'_>) -> Result<(u8, crate::conform::Reply), Stop> {
    let polling = p.polling_address()?;
    let request = p.short_request(polling, 0, &[]);
    Ok((polling, p.ask_request(&request)?))
}

fn answers_at_the_polling_address(p: &mut Probe<'_>) -> Outcome {
    let (polling, reply) = ask_short(p)?;
    let says = Found::of(&reply.data, None).map(|f| f.unique);
    expect(
        says == Ok(p.device().unique),
        format!("the identity of {} at polling address {polling}", p.device()),
        reply.to_string(),
    )
}

fn short_answer_has_the_address(p: &mut Probe<'_>) -> Outcome {
    let (polling, reply) = ask_short(p)?;
    let low = reply.address.first().map(|a| a & 0x3F);
    expect(
        reply.address.len() == 1 && low == Some(polling),
        format!("polling address {polling} in the answer, its two upper bits aside"),
        format!("{:02X?}", reply.address),
    )
}

fn other_device_id(p: &mut Probe<'_>) -> Outcome {
    for at in 2..5 {
        for bits in [0x01, 0x80] {
            let request = p.request(0, &[]).flip_address(at, bits);
            p.expect_silence(&request, &format!("a request to an address that differs in octet {at}"))?;
        }
    }
    p.expect_alive("requests to other device ids")
}

fn other_device_type(p: &mut Probe<'_>) -> Outcome {
    for (at, bits) in [(0, 0x01), (0, 0x20), (1, 0x01), (1, 0x80)] {
        let request = p.request(0, &[]).flip_address(at, bits);
        p.expect_silence(&request, &format!("a request to an address that differs in octet {at}"))?;
    }
    p.expect_alive("requests to other device types")
}

fn other_polling_address(p: &mut Probe<'_>) -> Outcome {
    let polling = p.polling_address()?;
    for other in [polling ^ 0x01, polling ^ 0x08, polling ^ 0x0F] {
        let request = p.short_request(other, 0, &[]);
        p.expect_silence(&request, &format!("command 0 to polling address {other}"))?;
    }
    p.expect_alive("requests to other polling addresses")
}

fn upper_bits_of_a_polling_address(p: &mut Probe<'_>) -> Outcome {
    let polling = p.polling_address()?;
    for other in [polling ^ 0x10, polling ^ 0x20, polling ^ 0x30] {
        let request = p.short_request(other, 0, &[]);
        p.expect_silence(&request, &format!("command 0 to polling address {other}"))?;
    }
    p.expect_alive("requests to other polling addresses")
}

/// The device's tag, six octets of packed text [CM-013].
fn tag(p: &mut Probe<'_>) -> Result<Vec<u8>, Stop> {
    let reply = p.read(13, &[])?;
    reply
        .part(0, 6)
        .map(<[u8]>::to_vec)
        .map_or_else(|| fail("six octets of tag in command 13", reply.to_string()), Ok)
}

/// The device's long tag, 32 octets [CM-020].
fn long_tag(p: &mut Probe<'_>) -> Result<Vec<u8>, Stop> {
    let reply = p.read(20, &[])?;
    let tag = reply.part(0, 32).map(<[u8]>::to_vec);
    tag.map_or_else(|| fail("32 octets of long tag in command 20", reply.to_string()), Ok)
}

fn broadcast_of_its_tag(p: &mut Probe<'_>) -> Outcome {
    let tag = tag(p)?;
    identified(p, 11, &tag)
}

fn broadcast_of_its_long_tag(p: &mut Probe<'_>) -> Outcome {
    let tag = long_tag(p)?;
    identified(p, 21, &tag)
}

fn identified(p: &mut Probe<'_>, command: u8, tag: &[u8]) -> Outcome {
    let request = p.broadcast(command, tag);
    let rubbish = p.wires.rubbish();
    let asked = p.ask_request(&request);
    // Two with one tag, such as none, answer at once; the wires are not to blame for that.
    if matches!(asked, Err(Stop::Fail { .. })) && p.wires.rubbish() > rubbish {
        p.wires.forgive(rubbish);
        return Err(Stop::Inconclusive(format!(
            "octets came that make no frame in answer to command {command} to all: others may have this tag too"
        )));
    }
    let reply = asked?;
    let says = Found::of(&reply.data, None).map(|f| f.unique);
    expect(
        says == Ok(p.device().unique),
        format!("the identity of {} in the answer to command {command} to all", p.device()),
        reply.to_string(),
    )
}

fn broadcast_answer_has_its_own_address(p: &mut Probe<'_>) -> Outcome {
    let tag = tag(p)?;
    let request = p.broadcast(11, &tag);
    let heard = p.send(&request)?;
    let Some(reply) = heard.reply() else {
        return Err(Stop::Inconclusive("the device does not answer command 11 to all".to_owned()));
    };
    let unique = p.device().unique;
    expect(
        reply.unique() == Some(unique),
        format!("the device's own address {unique:02X?}, its two upper bits aside"),
        format!("{:02X?}", reply.address),
    )
}

fn broadcast_of_another_tag(p: &mut Probe<'_>) -> Outcome {
    let tag = tag(p)?;
    // One bit of the first, of a middle and of the last character.
    for (at, bits) in [(0, 0x04), (2, 0x01), (5, 0x01)] {
        let mut other = tag.clone();
        other[at] ^= bits;
        let request = p.broadcast(11, &other);
        p.expect_silence(&request, &format!("command 11 to all with a tag that differs in octet {at}"))?;
    }
    p.expect_alive("requests to all")
}

fn broadcast_of_another_long_tag(p: &mut Probe<'_>) -> Outcome {
    let tag = long_tag(p)?;
    for (at, bits) in [(0, 0x01), (16, 0x02), (31, 0x41)] {
        let mut other = tag.clone();
        other[at] ^= bits;
        let request = p.broadcast(21, &other);
        p.expect_silence(&request, &format!("command 21 to all with a long tag that differs in octet {at}"))?;
    }
    p.expect_alive("requests to all")
}

fn broadcast_of_other_commands(p: &mut Probe<'_>) -> Outcome {
    for command in [0, 1, 3, 13] {
        let request = p.broadcast(command, &[]);
        p.expect_silence(&request, &format!("command {command} to all"))?;
    }
    p.expect_alive("requests to all")
}
