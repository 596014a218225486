//! Section `universal/labels`: commands 12 to 16 and 20, which read what was written on the device.

use super::{float, length, part};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, expect, fail};

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "universal/labels/message-length",
        "CM-012",
        "command 12 answers 24 octets of message",
        message_length,
    ),
    Case::must(
        "universal/labels/tag-descriptor-date-length",
        "CM-013",
        "command 13 answers 21 octets: tag, descriptor and date",
        description_length,
    ),
    Case::must(
        "universal/labels/transducer-length",
        "CM-014",
        "command 14 answers 16 octets",
        transducer_length,
    ),
    Case::must(
        "universal/labels/transducer-limits-in-order",
        "CM-014",
        "the upper limit in command 14 stands before the lower one",
        limits_in_order,
    ),
    Case::must(
        "universal/labels/device-information-length",
        "CM-015",
        "command 15 answers 17 octets in revision 5, 18 from revision 6 on",
        information_length,
    ),
    Case::must(
        "universal/labels/alarm-selection",
        "TB-01",
        "the alarm selection in command 15 is one of the table",
        alarm_selection,
    ),
    Case::must(
        "universal/labels/write-protect-code",
        "TB-03",
        "write protect in command 15 is one of the codes of the table",
        write_protect_code,
    ),
    Case::should(
        "universal/labels/reserved-octet",
        "CM-015",
        "octet 16 of command 15 is 250 from revision 6 on",
        reserved_octet,
    )
    .revisions(R6, R7),
    Case::should(
        "universal/labels/channel-flags",
        "TB-10",
        "the channel of a valve is an input, whose alarm selection is not used; that of a transmitter is an output",
        channel_flags,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/labels/assembly-number-length",
        "CM-016",
        "command 16 answers three octets of final assembly number",
        assembly_length,
    ),
    Case::must(
        "universal/labels/long-tag-length",
        "CM-020",
        "command 20 answers 32 octets of long tag",
        long_tag_length,
    )
    .revisions(R6, R7),
];

fn message_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(12, &[])?;
    length(&reply, 24)
}

fn description_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(13, &[])?;
    length(&reply, 21)
}

fn transducer_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(14, &[])?;
    length(&reply, 16)
}

fn limits_in_order(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(14, &[])?;
    let (upper, lower) = (float(&reply, 4)?, float(&reply, 8)?);
    match upper < lower {
        true => fail(
            "in octets 4 to 7 the upper limit, not below the lower one in octets 8 to 11",
            format!("{upper} and {lower} in {reply}"),
        ),
        false => Ok(()),
    }
}

fn information_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(15, &[])?;
    length(&reply, if p.revision() == Revision::R5 { 17 } else { 18 })
}

fn alarm_selection(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(15, &[])?;
    expect(
        matches!(part(&reply, 0, 1)?[0], 0 | 1 | 239..=253),
        "0, 1 or 239 to 253 in octet 0",
        reply.to_string(),
    )
}

fn write_protect_code(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(15, &[])?;
    expect(
        matches!(part(&reply, 15, 1)?[0], 0 | 1 | 250..=253),
        "0, 1 or 250 to 253 in octet 15",
        reply.to_string(),
    )
}

fn reserved_octet(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(15, &[])?;
    expect(part(&reply, 16, 1)?[0] == 0xFA, "FA in octet 16", reply.to_string())
}

/// What a device does shows in the family of its primary variable [TB-07]; [DV-01] says what goes with an input.
fn channel_flags(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(15, &[])?;
    let is_input = part(&reply, 17, 1)?[0] & 0x01 != 0;
    let alarm = part(&reply, 0, 1)?[0];
    let assigned = p.ask(50, &[])?;
    let primary = match assigned.is_success() {
        true => part(&assigned, 0, 1)?[0],
        false => 0,
    };
    let about = p.ask(54, &[primary])?;
    p.skip_unless_known(&about)?;
    let family = part(&about, 22, 1)?[0];
    if family == 6 || family == 15 {
        return expect(is_input, "mask 01 in octet 17, for family 6 or 15 is a valve", reply.to_string());
    }
    let is_transmitter = matches!(family, 4 | 5 | 8..=14) || alarm < 2;
    expect(
        !(is_input && is_transmitter),
        format!("mask 01 of octet 17 clear in a transmitter of family {family} with alarm selection {alarm}"),
        reply.to_string(),
    )
}

fn assembly_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(16, &[])?;
    length(&reply, 3)
}

fn long_tag_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(20, &[])?;
    length(&reply, 32)
}
