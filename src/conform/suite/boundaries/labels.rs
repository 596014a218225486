//! Section `boundaries/labels`: what names the device.

use crate::app::command::Revision;
use crate::conform::suite::common::tools::{known, skip_if, takes, tells};
use crate::conform::suite::common::undo::{answers_at, free_address, nobody_at, put_back_address};
use crate::conform::{Case, Outcome, Probe, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "boundaries/labels/dates",
        "TY-06",
        "the first and the last date, and a 29 February, are kept",
        dates,
    )
    .writes(),
    Case::advice(
        "boundaries/labels/date-of-no-calendar",
        "CM-018",
        "command 18 answers 9 to the 31st of February",
        date_of_no_calendar,
    )
    .writes(),
    Case::must(
        "boundaries/labels/tag-of-every-character",
        "CM-018",
        "each of the 64 packed characters is kept in the tag",
        tag_of_every_character,
    )
    .writes(),
    Case::must(
        "boundaries/labels/greatest-assembly-number",
        "CM-019",
        "the final assembly numbers 0 and 16777215 are kept",
        greatest_assembly_number,
    )
    .writes(),
    Case::must(
        "boundaries/labels/last-character-of-the-long-tag",
        "CM-022",
        "the last of the 32 characters of the long tag is kept",
        last_character_of_the_long_tag,
    )
    .writes()
    .revisions(Revision::R6, Revision::R7),
    Case::should(
        "boundaries/labels/polling-address-too-high",
        "CM-006",
        "command 6 refuses an address above the highest of the revision",
        polling_address_too_high,
    )
    .moves(),
    Case::must(
        "boundaries/labels/highest-polling-address",
        "FR-05",
        "the device answers at the highest polling address of its revision",
        highest_polling_address,
    )
    .moves(),
    Case::should(
        "boundaries/labels/unknown-loop-current-mode",
        "TB-09",
        "command 6 refuses a loop current mode that the table does not have",
        unknown_loop_current_mode,
    )
    .moves()
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "boundaries/labels/refused-mode-takes-no-address",
        "DV-15",
        "command 6 with an invalid loop current mode leaves the polling address as it is",
        refused_mode_takes_no_address,
    )
    .moves()
    .revisions(Revision::R6, Revision::R7),
];

/// Remembers tag, descriptor and date.
fn save(p: &mut Probe<'_>) -> Result<Vec<u8>, crate::conform::Stop> {
    let now = p.save(13, &[], 18, |r| r.part(0, 21).map(<[u8]>::to_vec))?;
    Ok(now.data[..21].to_vec())
}

fn dates(p: &mut Probe<'_>) -> Outcome {
    let mut data = save(p)?;
    // 1 January 1900, 31 December 2155, 29 February 2000: day, month, year less 1900.
    for date in [[0x01, 0x01, 0x00], [0x1F, 0x0C, 0xFF], [0x1D, 0x02, 0x64]] {
        data[18..21].copy_from_slice(&date);
        takes(p, 18, &data)?;
        tells(p, 13, &[], 18, &date)?;
    }
    Ok(())
}

fn date_of_no_calendar(p: &mut Probe<'_>) -> Outcome {
    let mut data = save(p)?;
    data[18..21].copy_from_slice(&[0x1F, 0x02, 0x6F]);
    let reply = p.ask_until_done(18, &data)?;
    expect(reply.code == 9, "response code 9 to the 31st of February", reply.to_string())
}

fn tag_of_every_character(p: &mut Probe<'_>) -> Outcome {
    let mut data = save(p)?;
    // Codes 0 to 63 eight at a time, six bits each [TY-04].
    for tag in [
        [0x00, 0x10, 0x83, 0x10, 0x51, 0x87],
        [0x20, 0x92, 0x8B, 0x30, 0xD3, 0x8F],
        [0x41, 0x14, 0x93, 0x51, 0x55, 0x97],
        [0x61, 0x96, 0x9B, 0x71, 0xD7, 0x9F],
        [0x82, 0x18, 0xA3, 0x92, 0x59, 0xA7],
        [0xA2, 0x9A, 0xAB, 0xB2, 0xDB, 0xAF],
        [0xC3, 0x1C, 0xB3, 0xD3, 0x5D, 0xB7],
        [0xE3, 0x9E, 0xBB, 0xF3, 0xDF, 0xBF],
    ] {
        data[..6].copy_from_slice(&tag);
        takes(p, 18, &data)?;
        tells(p, 13, &[], 0, &tag)?;
    }
    Ok(())
}

fn greatest_assembly_number(p: &mut Probe<'_>) -> Outcome {
    p.save(16, &[], 19, |r| r.part(0, 3).map(<[u8]>::to_vec))?;
    for number in [[0x00, 0x00, 0x00], [0xFF, 0xFF, 0xFF]] {
        takes(p, 19, &number)?;
        tells(p, 16, &[], 0, &number)?;
    }
    Ok(())
}

fn last_character_of_the_long_tag(p: &mut Probe<'_>) -> Outcome {
    let now = p.save(20, &[], 22, |r| r.part(0, 32).map(<[u8]>::to_vec))?;
    let mut data = known(&now, 0, 32)?;
    for last in [b'x', b'y'] {
        data[31] = last;
        takes(p, 22, &data)?;
        tells(p, 20, &[], 31, &[last])?;
    }
    Ok(())
}

/// Data of command 6 that put back what is now; the loop current mode behind the address from revision 6 on.
fn now(p: &mut Probe<'_>) -> Result<Vec<u8>, crate::conform::Stop> {
    let data = match p.revision() {
        Revision::R5 => vec![p.polling_address()?],
        _ => known(&p.read(7, &[])?, 0, 2)?,
    };
    put_back_address(p, &data)?;
    Ok(data)
}

fn polling_address_too_high(p: &mut Probe<'_>) -> Outcome {
    let mut data = now(p)?;
    data[0] = if p.revision() == Revision::R5 { 16 } else { 64 };
    let reply = p.ask_until_done(6, &data)?;
    expect(!reply.is_success(), format!("polling address {} refused", data[0]), reply.to_string())
}

fn highest_polling_address(p: &mut Probe<'_>) -> Outcome {
    let mut data = now(p)?;
    let highest = if p.revision() == Revision::R5 { 15 } else { 63 };
    if data[0] != highest {
        nobody_at(p, highest)?;
        data[0] = highest;
        takes(p, 6, &data)?;
    }
    let there = answers_at(p, highest)?;
    expect(there, format!("an answer at polling address {highest}"), "none of this device")
}

fn unknown_loop_current_mode(p: &mut Probe<'_>) -> Outcome {
    let mut data = now(p)?;
    data[1] = 200;
    let reply = p.ask_until_done(6, &data)?;
    expect(!reply.is_success(), "loop current mode 200 refused", reply.to_string())
}

fn refused_mode_takes_no_address(p: &mut Probe<'_>) -> Outcome {
    let data = now(p)?;
    let other = free_address(p, data[0])?;
    let reply = p.ask_until_done(6, &[other, 200])?;
    skip_if(&reply, &[0, 8], "the device takes loop current mode 200")?;
    tells(p, 7, &[], 0, &data[..1])
}
