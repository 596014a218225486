//! Section `common/current`: a loop current that the device makes, fixed by a master.

use super::tools::{answers, float, refuses_with, skip_if, takes};
use super::undo::{FIXED, let_current_go, skip_if_fixed};
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};

/// 0 leaves the mode [CM-040].
const FOLLOW: [u8; 4] = [0x00, 0x00, 0x00, 0x00];
/// 12.0, and 8.0.
const MA_12: [u8; 4] = [0x41, 0x40, 0x00, 0x00];
const MA_8: [u8; 4] = [0x41, 0x00, 0x00, 0x00];

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/current/zero-leaves-fixed",
        "CM-040",
        "command 40 with 0 lets the loop current go, and the status says so",
        zero_leaves_fixed,
    )
    .commands(&[40])
    .moves(),
    Case::must(
        "common/current/fixed",
        "CM-040",
        "a loop current that command 40 fixes is the one that command 60 tells",
        fixed,
    )
    .commands(&[40, 60])
    .moves(),
    Case::must(
        "common/current/fixed-is-in-the-status",
        "ST-02",
        "after command 40 the status says that the loop current is fixed",
        fixed_is_in_the_status,
    )
    .commands(&[40])
    .moves(),
    Case::should(
        "common/current/beyond-what-can-be-sent",
        "CM-040",
        "command 40 refuses 100 mA with 3 and 1 mA with 4",
        beyond_what_can_be_sent,
    )
    .commands(&[40])
    .moves(),
    Case::should(
        "common/current/trim-needs-fixed-current",
        "CM-045",
        "command 45 answers 9 while the loop current is not fixed",
        trim_needs_fixed_current,
    )
    .commands(&[40, 45])
    .moves(),
    Case::must(
        "common/current/unknown-channel",
        "CM-066",
        "command 66 refuses an analog channel that the device does not have, in revision 7 with 15",
        unknown_channel,
    )
    .commands(&[66])
    .moves(),
    Case::must(
        "common/current/unit-that-is-none",
        "CM-066",
        "command 66 refuses a unit that is none, in revision 7 with 12",
        unit_that_is_none,
    )
    .commands(&[66])
    .moves(),
];

/// Fixes the current; a skip where the device cannot: an input, multidrop.
fn fix(p: &mut Probe<'_>, ma: &[u8; 4]) -> Result<Reply, Stop> {
    if p.put_back.is_empty() {
        skip_if_fixed(p)?;
        let_current_go(p);
    }
    let reply = p.ask_until_done(40, ma)?;
    skip_if(&reply, &[6, 7, 11, 16], "nobody fixes the loop current of this device")?;
    expect(reply.is_success(), "a loop current within 4 to 20 mA taken", reply.to_string())?;
    Ok(reply)
}

fn fixed(p: &mut Probe<'_>) -> Outcome {
    for (data, wanted) in [(MA_12, 12.0), (MA_8, 8.0)] {
        fix(p, &data)?;
        let reply = p.read(60, &[0])?;
        let ma = float(&reply, 2)?;
        expect((ma - wanted).abs() <= 0.1, format!("{wanted} mA in command 60"), format!("{ma} mA"))?;
    }
    Ok(())
}

fn fixed_is_in_the_status(p: &mut Probe<'_>) -> Outcome {
    fix(p, &MA_12)?;
    let reply = p.read(0, &[])?;
    expect(reply.device_status & FIXED != 0, "mask 08 set in the device status", reply.to_string())
}

fn zero_leaves_fixed(p: &mut Probe<'_>) -> Outcome {
    fix(p, &MA_12)?;
    takes(p, 40, &FOLLOW)?;
    let reply = p.read(0, &[])?;
    expect(reply.device_status & FIXED == 0, "mask 08 clear in the device status", reply.to_string())
}

fn beyond_what_can_be_sent(p: &mut Probe<'_>) -> Outcome {
    fix(p, &MA_12)?;
    // 100.0 and 1.0.
    answers(p, 40, &[0x42, 0xC8, 0x00, 0x00], &[3])?;
    answers(p, 40, &[0x3F, 0x80, 0x00, 0x00], &[4])?;
    Ok(())
}

fn trim_needs_fixed_current(p: &mut Probe<'_>) -> Outcome {
    // Whether anybody can fix it at all.
    fix(p, &MA_12)?;
    takes(p, 40, &FOLLOW)?;
    // 4.0.
    let reply = p.ask_until_done(45, &[0x40, 0x80, 0x00, 0x00])?;
    if reply.is_success() {
        p.cannot_put_back("the zero of the loop current, which command 45 has trimmed: trim it anew");
    }
    expect(reply.code == 9, "response code 9", reply.to_string())
}

fn unknown_channel(p: &mut Probe<'_>) -> Outcome {
    skip_if_fixed(p)?;
    let_current_go(p);
    refuses_with(p, 66, &[250, 39, 0, 0, 0, 0], &[15])?;
    Ok(())
}

fn unit_that_is_none(p: &mut Probe<'_>) -> Outcome {
    skip_if_fixed(p)?;
    let_current_go(p);
    let reply = refuses_with(p, 66, &[0, 250, 0, 0, 0, 0], &[11, 12])?;
    skip_if(&reply, &[11], "nobody fixes the loop current in multidrop")
}
