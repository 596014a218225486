//! Section `common/clock`: the device's clock.

use super::tools::{has_length, part, tells};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect};

/// Write date and time [TB-21].
const WRITE: u8 = 1;
/// A day, 86 400 000 ms in 1/32 ms [TY-07].
const DAY: u32 = 86_400_000 * 32;
/// Ten seconds: what passes until the clock is read again.
const AWHILE: u32 = 10_000 * 32;

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
    p.put_back_by(format!("the clock, command 89 with date {:02X?}", &now[..3]), move |p| {
        let later = u32::try_from(p.now().since(begun).as_millis() * 32).unwrap_or(0);
        // Over midnight it stops short rather than that the date would be wrong.
        let time = time.saturating_add(later).min(DAY - 1);
        let data = [&[WRITE][..], &now[..3], &time.to_be_bytes(), &[0, 0]].concat();
        p.write_back(89, &data)?;
        let set = p.read(90, &[])?;
        let told = set.part(3, 4).and_then(|o| o.try_into().ok()).map_or(u32::MAX, u32::from_be_bytes);
        // It may be the next day by now.
        let same = set.part(0, 3) == Some(&now[..3]) && told >= time && told - time <= AWHILE
            || time > DAY - AWHILE && told <= AWHILE;
        expect(same, format!("date {:02X?} and {time} or a little later", &now[..3]), set.to_string())
    });
    Ok(())
}

fn set(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // 15 January 2011, 01:01:01.001 [TY-06] [TY-07].
    let reply = p.ask_until_done(89, &[WRITE, 0x0F, 0x01, 0x6F, 0x06, 0xFB, 0x99, 0x20, 0, 0])?;
    if !reply.is_success() {
        // With which codes no source says.
        return Err(Stop::Skip(format!("nobody sets this clock: {reply}")));
    }
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
