//! Section `universal/by-tag`: commands 11 and 21 at the device's own address. To all devices: `link/addressing`.

use super::part;
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect};

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "universal/by-tag/own-tag",
        "CM-011",
        "command 11 with the tag of command 13 is answered",
        own_tag,
    ),
    Case::should(
        "universal/by-tag/other-tag",
        "CM-011",
        "command 11 with another tag is met with silence",
        other_tag,
    ),
    Case::must(
        "universal/by-tag/as-command-0",
        "CM-011",
        "command 11 answers what command 0 answers",
        tag_as_command_0,
    ),
    Case::must(
        "universal/by-tag/own-long-tag",
        "CM-021",
        "command 21 with the long tag of command 20 is answered as command 0 is",
        own_long_tag,
    )
    .revisions(R6, R7),
    Case::should(
        "universal/by-tag/other-long-tag",
        "CM-021",
        "command 21 with a long tag that differs in its first octet is met with silence",
        other_long_tag,
    )
    .revisions(R6, R7),
    Case::should(
        "universal/by-tag/other-end-of-long-tag",
        "CM-021",
        "command 21 with a long tag that differs in its last octets alone is met with silence",
        other_end_of_long_tag,
    )
    .revisions(R6, R7),
];

fn tag(p: &mut Probe<'_>) -> Result<Vec<u8>, Stop> {
    let reply = p.read(13, &[])?;
    part(&reply, 0, 6)
}

fn long_tag(p: &mut Probe<'_>) -> Result<Vec<u8>, Stop> {
    let reply = p.read(20, &[])?;
    part(&reply, 0, 32)
}

fn own_tag(p: &mut Probe<'_>) -> Outcome {
    let tag = tag(p)?;
    p.read(11, &tag).map(|_| ())
}

fn other_tag(p: &mut Probe<'_>) -> Outcome {
    let tag = tag(p)?;
    // A bit of the first and of the last character.
    for (at, bits) in [(0, 0x04), (5, 0x01)] {
        let mut other = tag.clone();
        other[at] ^= bits;
        let request = p.request(11, &other);
        p.expect_silence(&request, &format!("command 11 with a tag that differs in octet {at}"))?;
    }
    p.expect_alive("command 11 with another tag")
}

fn as_command_0(p: &mut Probe<'_>, command: u8, tag: &[u8]) -> Outcome {
    let request = p.request(command, tag);
    let heard = p.send(&request)?;
    let Some(by_tag) = heard.reply() else {
        return Err(Stop::Inconclusive(format!("command {command} is not answered: {}", heard.words())));
    };
    let identity = p.read(0, &[])?;
    expect(
        by_tag.data == identity.data,
        format!("in command {command} what command 0 says: {identity}"),
        by_tag.to_string(),
    )
}

fn tag_as_command_0(p: &mut Probe<'_>) -> Outcome {
    let tag = tag(p)?;
    as_command_0(p, 11, &tag)
}

fn own_long_tag(p: &mut Probe<'_>) -> Outcome {
    let tag = long_tag(p)?;
    let by_tag = p.read(21, &tag)?;
    let identity = p.read(0, &[])?;
    expect(
        by_tag.data == identity.data,
        format!("in command 21 what command 0 says: {identity}"),
        by_tag.to_string(),
    )
}

fn other_long_tag(p: &mut Probe<'_>) -> Outcome {
    let mut tag = long_tag(p)?;
    tag[0] ^= 0x01;
    let request = p.request(21, &tag);
    p.expect_silence(&request, "command 21 with a long tag that differs in octet 0")?;
    p.expect_alive("command 21 with another long tag")
}

fn other_end_of_long_tag(p: &mut Probe<'_>) -> Outcome {
    let tag = long_tag(p)?;
    for at in [16, 31] {
        let mut other = tag.clone();
        // Another letter or none at all: a letter in the place of what fills up.
        other[at] = if other[at] == b'X' { b'Y' } else { b'X' };
        let request = p.request(21, &other);
        p.expect_silence(&request, &format!("command 21 with a long tag that differs in octet {at}"))?;
    }
    p.expect_alive("command 21 with another long tag")
}
