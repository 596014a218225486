//! Section `common/clock`: the device's clock.

use super::tools::{has_length, part, skip_if, tells};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, expect};

/// Write date and time [TB-21].
const WRITE: u8 = 1;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/clock/has-15-octets",
        "CM-090",
        "command 90 answers date and time, when it was set, and flags, 15 octets",
        has_15_octets,
    )
    .commands(&[90])
    .revisions(Revision::R7, Revision::R7),
    Case::must(
        "common/clock/set",
        "CM-089",
        "a date that command 89 writes is the one that command 90 tells",
        set,
    )
    .commands(&[89, 90])
    .writes()
    .revisions(Revision::R7, Revision::R7),
    Case::should(
        "common/clock/impossible-time",
        "CM-089",
        "command 89 refuses 24 hours and more, and a day that no month has",
        impossible_time,
    )
    .commands(&[89, 90])
    .writes()
    .revisions(Revision::R7, Revision::R7),
];

fn has_15_octets(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(90, &[])?;
    has_length(&reply, &[15])
}

/// Remembers to set the clock again, as late as it has become by then.
fn save(p: &mut Probe<'_>) -> Outcome {
    let now = part(&p.read(90, &[])?, 0, 7)?;
    let begun = p.now();
    let time = u32::from_be_bytes([now[3], now[4], now[5], now[6]]);
    p.put_back_by("the clock with command 89", move |p| {
        let later = u32::try_from(p.now().since(begun).as_millis() * 32).unwrap_or(0);
        // 86 400 000 ms a day; over midnight it stops short rather than that the date would be wrong.
        let time = time.saturating_add(later).min(86_400_000 * 32 - 1);
        let data = [&[WRITE][..], &now[..3], &time.to_be_bytes(), &[0, 0]].concat();
        // A clock that was never set may have no date to be set to.
        p.ask_until_done(89, &data).map(|_| ())
    });
    Ok(())
}

fn set(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // 15 January 2011, 01:01:01.001 [TY-06] [TY-07].
    let reply = p.ask_until_done(89, &[WRITE, 0x0F, 0x01, 0x6F, 0x06, 0xFB, 0x99, 0x20, 0, 0])?;
    skip_if(&reply, &[6, 7, 16], "nobody sets this clock")?;
    expect(reply.is_success(), "a right date and time taken", reply.to_string())?;
    tells(p, 90, &[], 0, &[0x0F, 0x01, 0x6F])
}

fn impossible_time(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // 24 hours are 2 764 800 000 in 1/32 ms, A4 CB 80 00; then the 31st of February.
    for data in
        [[WRITE, 0x0F, 0x01, 0x6F, 0xA4, 0xCB, 0x80, 0x00, 0, 0], [WRITE, 31, 2, 0x6F, 0, 0, 0, 0, 0, 0]]
    {
        let reply = p.ask_until_done(89, &data)?;
        expect(!reply.is_success(), format!("command 89 with data {data:02X?} refused"), reply.to_string())?;
    }
    Ok(())
}
