//! Section `universal/device-variables`: commands 8 and 9, from revision 6 on.

use super::{length, part};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};
use core::time::Duration;

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

/// Not-a-number on the wire [TY-03].
const NOT_A_NUMBER: [u8; 4] = [0x7F, 0xA0, 0x00, 0x00];
/// The highest code that a device may give to a variable of its own [TY-09].
const HIGHEST: u8 = 242;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "universal/device-variables/classes-length",
        "CM-008",
        "command 8 answers four octets",
        classes_length,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/device-variables/classes-as-in-command-9",
        "CM-008",
        "the classification of the primary variable in command 8 is that in command 9",
        classes_as_in_command_9,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/device-variables/one-slot-each",
        "CM-009",
        "command 9 answers as many slots as it was asked for",
        one_slot_each,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/device-variables/order-of-slots",
        "CM-009",
        "command 9 answers the variables in the order in which it was asked for them",
        order_of_slots,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/device-variables/eight-slots",
        "CM-009",
        "command 9 answers eight variables, or some of them with warning 30",
        eight_slots,
    )
    .revisions(R7, R7),
    Case::must(
        "universal/device-variables/mandatory-ones",
        "TY-09",
        "percent of range, loop current and primary variable, codes 244 to 246, are there in command 9",
        mandatory_ones,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/device-variables/missing-one-has-no-number",
        "TY-03",
        "a variable that the device does not have is answered with 7F A0 00 00",
        missing_one_has_no_number,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/device-variables/missing-one-is-bad",
        "TY-08",
        "a variable that the device does not have is answered with status 30",
        missing_one_is_bad,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/device-variables/missing-one-has-no-unit",
        "CM-009",
        "a variable that the device does not have is answered with class 0 and unit 250",
        missing_one_has_no_unit,
    )
    .revisions(R6, R7),
    Case::must(
        "universal/device-variables/time-runs",
        "TY-07",
        "the time at the end of command 9 goes on by 32 steps a millisecond",
        time_runs,
    )
    .revisions(R7, R7)
    .stamps(),
];

fn classes_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(8, &[])?;
    length(&reply, 4)
}

fn classes_as_in_command_9(p: &mut Probe<'_>) -> Outcome {
    let classes = p.read(8, &[])?;
    let slot = p.read(9, &[246])?;
    expect(
        part(&classes, 0, 1)?[0] == part(&slot, 2, 1)?[0],
        format!("for the primary variable the classification of command 9: {slot}"),
        format!("in command 8: {classes}"),
    )
}

/// The octets for so many slots: status, eight a slot, in revision 7 the time.
fn octets(p: &Probe<'_>, slots: usize) -> usize {
    match p.revision() {
        R7 => 5 + 8 * slots,
        _ => 1 + 8 * slots,
    }
}

fn one_slot_each(p: &mut Probe<'_>) -> Outcome {
    for codes in [&[246][..], &[246, 247], &[244, 245, 246]] {
        let reply = p.read(9, codes)?;
        length(&reply, octets(p, codes.len()))?;
    }
    Ok(())
}

fn order_of_slots(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(9, &[248, 246, 249, 245])?;
    let codes: Vec<u8> = (0..4).filter_map(|slot| reply.octet(1 + 8 * slot)).collect();
    expect(codes == [0xF8, 0xF6, 0xF9, 0xF5], "the slots F8, F6, F9, F5", format!("{codes:02X?} in {reply}"))
}

fn eight_slots(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(9, &[246, 247, 248, 249, 244, 245, 246, 247])?;
    // More than eight slots do not fit in what is asked; time or not is the matter of another case.
    expect(reply.code == 30 || reply.data.len() > 8 * 8, "eight slots, or warning 30", reply.to_string())
}

fn mandatory_ones(p: &mut Probe<'_>) -> Outcome {
    for code in [244, 245, 246] {
        let reply = p.read(9, &[code])?;
        expect(
            part(&reply, 1, 8)?[7] != 0x30,
            format!("variable {code}"),
            format!("it is told as one that is not there: {reply}"),
        )?;
    }
    Ok(())
}

/// One slot of command 9 for a variable that the device does not have.
fn missing(p: &mut Probe<'_>) -> Result<(Reply, Vec<u8>), Stop> {
    let last = p.ask(0, &[])?.octet(13);
    if last.is_none_or(|last| last >= HIGHEST) {
        return Err(Stop::Inconclusive("command 0 does not tell of a variable that is missing".to_owned()));
    }
    let reply = p.read(9, &[HIGHEST])?;
    let slot = part(&reply, 1, 8)?;
    Ok((reply, slot))
}

fn missing_one_has_no_number(p: &mut Probe<'_>) -> Outcome {
    let (reply, slot) = missing(p)?;
    expect(slot[3..7] == NOT_A_NUMBER, "7F A0 00 00 for variable 242", reply.to_string())
}

fn missing_one_is_bad(p: &mut Probe<'_>) -> Outcome {
    let (reply, slot) = missing(p)?;
    expect(slot[7] == 0x30, "status 30 for variable 242", reply.to_string())
}

fn missing_one_has_no_unit(p: &mut Probe<'_>) -> Outcome {
    let (reply, slot) = missing(p)?;
    expect(slot[1..3] == [0x00, 0xFA], "class 00 and unit FA for variable 242", reply.to_string())
}

/// The last four octets of command 9, and when its request began to be answered.
fn time(p: &mut Probe<'_>) -> Result<(Reply, u32, crate::time::Instant), Stop> {
    let reply = p.read(9, &[246])?;
    let Some(octets) = reply.data.last_chunk::<4>() else {
        return Err(super::short(&reply));
    };
    Ok((reply.clone(), u32::from_be_bytes(*octets), reply.times.0))
}

fn time_runs(p: &mut Probe<'_>) -> Outcome {
    let (_, before, begun) = time(p)?;
    p.pause(Duration::from_secs(2))?;
    let (reply, after, ended) = time(p)?;
    if after < before {
        return Err(Stop::Inconclusive(
            "the device's clock began anew in between, as at midnight".to_owned(),
        ));
    }
    let due = ended.since(begun).as_secs_f64() * 32_000.0;
    let told = f64::from(after - before);
    expect(
        (told - due).abs() <= due / 10.0,
        format!("{due:.0} steps of 1/32 ms between two readings, within a tenth"),
        format!("{told:.0}, the last one in {reply}"),
    )
}
