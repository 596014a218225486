//! Section `universal/label-writes`: commands 17 to 19 and 22. What is written is put back.

use super::{prepared, put_back, remember};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

/// A message of all 64 characters of packed text in two halves: `@` to `_`, then space to `?` [TY-04]. Sixteen characters
/// are twelve octets: 000000 000001 000010 000011 are 00 10 83, and so on.
const FIRST_HALF: [u8; 24] = [
    0x00, 0x10, 0x83, 0x10, 0x51, 0x87, 0x20, 0x92, 0x8B, 0x30, 0xD3, 0x8F, 0x41, 0x14, 0x93, 0x51, 0x55,
    0x97, 0x61, 0x96, 0x9B, 0x71, 0xD7, 0x9F,
];
const SECOND_HALF: [u8; 24] = [
    0x82, 0x18, 0xA3, 0x92, 0x59, 0xA7, 0xA2, 0x9A, 0xAB, 0xB2, 0xDB, 0xAF, 0xC3, 0x1C, 0xB3, 0xD3, 0x5D,
    0xB7, 0xE3, 0x9E, 0xBB, 0xF3, 0xDF, 0xBF,
];
/// Tag "FT-101  " as another program decodes it [TSHARK], descriptor "FT-101  FT-101  ".
const TAG: [u8; 6] = [0x19, 0x4B, 0x71, 0xC3, 0x18, 0x20];
/// 15 January 2011 [TY-06].
const DATE: [u8; 3] = [0x0F, 0x01, 0x6F];

pub(super) const CASES: &[Case] = &[
    Case::must(
        "universal/label-writes/message-is-kept",
        "CM-017",
        "command 12 reads the message that command 17 has written, every packed character of it",
        message_is_kept,
    )
    .writes(),
    Case::must(
        "universal/label-writes/message-echo",
        "CM-017",
        "command 17 answers the message that it was given",
        message_echo,
    )
    .writes(),
    Case::must(
        "universal/label-writes/tag-and-descriptor-are-kept",
        "CM-018",
        "command 13 reads the tag and the descriptor that command 18 has written",
        tag_and_descriptor_are_kept,
    )
    .writes(),
    Case::must(
        "universal/label-writes/date-is-kept",
        "TY-06",
        "command 13 reads the date that command 18 has written: day, month, year less 1900",
        date_is_kept,
    )
    .writes(),
    Case::must(
        "universal/label-writes/tag-descriptor-date-echo",
        "CM-018",
        "command 18 answers the 21 octets that it was given",
        description_echo,
    )
    .writes(),
    Case::must(
        "universal/label-writes/assembly-number-is-kept",
        "CM-019",
        "command 16 reads the three octets that command 19 has written",
        assembly_is_kept,
    )
    .writes(),
    Case::must(
        "universal/label-writes/assembly-number-echo",
        "CM-019",
        "command 19 answers the final assembly number that it was given",
        assembly_echo,
    )
    .writes(),
    Case::must(
        "universal/label-writes/long-tag-is-kept",
        "CM-022",
        "command 20 reads the 32 characters that command 22 has written",
        long_tag_is_kept,
    )
    .revisions(R6, R7)
    .writes(),
    Case::must(
        "universal/label-writes/long-tag-is-latin-1",
        "TY-05",
        "the long tag keeps small letters and those of Latin-1 above 7F",
        long_tag_is_latin_1,
    )
    .revisions(R6, R7)
    .writes(),
    Case::must(
        "universal/label-writes/long-tag-echo",
        "CM-022",
        "command 22 answers the long tag that it was given",
        long_tag_echo,
    )
    .revisions(R6, R7)
    .writes(),
    Case::should(
        "universal/label-writes/tag-answers-to-its-new-name",
        "CM-011",
        "command 11 goes by the tag that command 18 has written, at once",
        tag_answers_to_its_new_name,
    )
    .writes(),
    Case::must(
        "universal/label-writes/leaves-the-others-alone",
        "CM-017",
        "a new message leaves tag, descriptor, date and final assembly number as they were",
        leaves_the_others_alone,
    )
    .writes(),
];

/// Writes, which has to be accepted.
fn write(p: &mut Probe<'_>, command: u8, data: &[u8]) -> Result<Reply, Stop> {
    let reply = p.ask_until_done(command, data)?;
    expect(reply.is_success(), format!("command {command} accepted"), reply.to_string())?;
    Ok(reply)
}

fn reads(p: &mut Probe<'_>, command: u8, at: usize, want: &[u8]) -> Outcome {
    let reply = p.read(command, &[])?;
    expect(
        reply.part(at, want.len()) == Some(want),
        format!("in command {command} from octet {at} on {want:02X?}, as written"),
        reply.to_string(),
    )
}

fn echoes(p: &mut Probe<'_>, command: u8, data: &[u8]) -> Outcome {
    let reply = prepared(p, command, data)?;
    expect(
        reply.data == data,
        format!("the data of command {command}, {data:02X?}, in its answer"),
        reply.to_string(),
    )
}

fn message_is_kept(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(12, &[])?;
    put_back(p, 12, 17, reply.part(0, 24).unwrap_or(&FIRST_HALF));
    for message in [FIRST_HALF, SECOND_HALF] {
        write(p, 17, &message)?;
        let reply = p.read(12, &[])?;
        expect(
            reply.data == message,
            format!("in command 12 the message {message:02X?}, as written"),
            reply.to_string(),
        )?;
    }
    Ok(())
}

fn message_echo(p: &mut Probe<'_>) -> Outcome {
    remember(p, 12, 17, 24)?;
    echoes(p, 17, &SECOND_HALF)
}

/// Tag, descriptor, date for command 18.
fn description(date: [u8; 3]) -> Vec<u8> {
    [&TAG[..], &TAG[..], &TAG[..], &date].concat()
}

fn tag_and_descriptor_are_kept(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(13, &[])?;
    let was = match reply.part(0, 21) {
        Some(was) => was.to_vec(),
        None => description(DATE),
    };
    put_back(p, 13, 18, &was);
    // A tag and a descriptor that differ: "FT-101  " and twice "????????" [TY-04].
    let data = [&TAG[..], &[0xFF; 12], &DATE].concat();
    write(p, 18, &data)?;
    reads(p, 13, 0, &data[..18])
}

fn date_is_kept(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(13, &[])?;
    let was = match reply.part(0, 21) {
        Some(was) => was.to_vec(),
        None => [reply.part(0, 18).unwrap_or(&[0; 18]), &DATE].concat(),
    };
    put_back(p, 13, 18, &was);
    // The last day of the year before, so that a date that stays is seen.
    for date in [[0x1F, 0x0C, 0x6E], DATE] {
        let data = [&was[..18], &date].concat();
        prepared(p, 18, &data)?;
        reads(p, 13, 18, &date)?;
    }
    Ok(())
}

fn description_echo(p: &mut Probe<'_>) -> Outcome {
    let was = remember(p, 13, 18, 21)?;
    let data = [&was[..18], &DATE].concat();
    echoes(p, 18, &data)
}

fn assembly_is_kept(p: &mut Probe<'_>) -> Outcome {
    remember(p, 16, 19, 3)?;
    for number in [[0xA5, 0x01, 0x02], [0x00, 0xFF, 0x5A]] {
        write(p, 19, &number)?;
        reads(p, 16, 0, &number)?;
    }
    Ok(())
}

fn assembly_echo(p: &mut Probe<'_>) -> Outcome {
    remember(p, 16, 19, 3)?;
    echoes(p, 19, &[0x12, 0x34, 0x56])
}

/// 32 characters: "BRACKENMOOR 1234 INLET VALVE 567".
const LONG_TAG: [u8; 32] = [
    0x42, 0x52, 0x41, 0x43, 0x4B, 0x45, 0x4E, 0x4D, 0x4F, 0x4F, 0x52, 0x20, 0x31, 0x32, 0x33, 0x34, 0x20,
    0x49, 0x4E, 0x4C, 0x45, 0x54, 0x20, 0x56, 0x41, 0x4C, 0x56, 0x45, 0x20, 0x35, 0x36, 0x37,
];

fn long_tag_is_kept(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(20, &[])?;
    let mut was = reply.data.clone();
    was.resize(32, 0x00);
    put_back(p, 20, 22, &was);
    write(p, 22, &LONG_TAG)?;
    reads(p, 20, 0, &LONG_TAG)
}

/// "aue: " and the letters E4, F6, FC, DF of ISO 8859-1, then filling.
fn long_tag_is_latin_1(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(20, &[])?;
    let mut was = reply.data.clone();
    was.resize(32, 0x00);
    put_back(p, 20, 22, &was);
    let mut tag = [0x00; 32];
    tag[..9].copy_from_slice(&[0x61, 0x75, 0x65, 0x3A, 0x20, 0xE4, 0xF6, 0xFC, 0xDF]);
    prepared(p, 22, &tag)?;
    reads(p, 20, 0, &tag[..9])
}

fn long_tag_echo(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(20, &[])?;
    let mut was = reply.data.clone();
    was.resize(32, 0x00);
    put_back(p, 20, 22, &was);
    echoes(p, 22, &LONG_TAG)
}

fn tag_answers_to_its_new_name(p: &mut Probe<'_>) -> Outcome {
    let was = remember(p, 13, 18, 21)?;
    // "FT-101  ", or "????????" where that is its name already.
    let tag = if was[..6] == TAG { [0xFF; 6] } else { TAG };
    let data = [&tag[..], &was[6..]].concat();
    prepared(p, 18, &data)?;
    let old = p.request(11, &was[..6]);
    p.expect_silence(&old, "command 11 with the tag that it had before")?;
    p.read(11, &tag).map(|_| ())
}

fn leaves_the_others_alone(p: &mut Probe<'_>) -> Outcome {
    remember(p, 12, 17, 24)?;
    let before = (p.read(13, &[])?, p.read(16, &[])?);
    prepared(p, 17, &FIRST_HALF)?;
    for (command, before) in [(13, before.0), (16, before.1)] {
        let after = p.read(command, &[])?;
        expect(
            after.data == before.data,
            format!("in command {command} what it said before the message was written: {before}"),
            after.to_string(),
        )?;
    }
    Ok(())
}
