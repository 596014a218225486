//! Section `common/settings`: units, preambles, applied process.

use super::tools::{float, known, part, skip_if, takes, tells};
use super::undo::{free_address, put_back_address, put_back_preambles};
use crate::app::command::Revision;
use crate::conform::Place::{Float, Octets};
use crate::conform::{Case, Outcome, Place, Probe, Reply, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/settings/unit-of-pv-kept",
        "CM-044",
        "a unit of PV that command 44 writes is the one that command 1 tells",
        unit_of_pv_kept,
    )
    .commands(&[44])
    .writes(),
    Case::must(
        "common/settings/unit-of-a-variable-kept",
        "CM-053",
        "a unit of a device variable that command 53 writes is the one that command 33 tells",
        unit_of_a_variable_kept,
    )
    .commands(&[33, 53])
    .writes(),
    Case::must(
        "common/settings/reply-preambles-taken",
        "CM-059",
        "as many preambles as command 59 writes stand before the next answers",
        reply_preambles_taken,
    )
    .commands(&[59])
    .writes(),
    Case::should(
        "common/settings/applied-process-as-lower-range-value",
        "CM-037",
        "command 37 makes PV the lower range value",
        applied_process_as_lower_range_value,
    )
    .commands(&[35])
    .moves(),
    Case::advice(
        "common/settings/applied-process-leaves-the-upper-value",
        "CM-037",
        "command 37 leaves the upper range value, unless a warning says that it was pushed",
        applied_process_leaves_the_upper_value,
    )
    .commands(&[35])
    .moves(),
    Case::should(
        "common/settings/no-applied-process-in-multidrop",
        "CM-036",
        "command 36 answers 11 while the loop current is fixed by multidrop",
        no_applied_process_in_multidrop,
    )
    .moves(),
];

/// Units that are converted into each other, by what they measure [UN-01]: temperatures, pressures, angles, lengths.
const FAMILIES: [&[u8]; 4] = [&[32, 33, 35], &[7, 6, 12, 11, 237], &[143, 144], &[45, 44, 49, 48, 47]];

/// Others of the same family.
fn others(unit: u8) -> impl Iterator<Item = u8> {
    let family = FAMILIES.iter().find(|f| f.contains(&unit));
    family.into_iter().flat_map(|f| f.iter().copied()).filter(move |&u| u != unit)
}

/// What a unit changes of PV: its own, limits and least span in command 14, range and damping in command 15.
const UNIT_OF_PV: [Place; 1] = [Octets(0, 1)];
const LIMITS: [Place; 4] = [Octets(0, 4), Float(4), Float(8), Float(12)];
const RANGE: [Place; 4] = [Octets(0, 3), Float(3), Float(7), Float(11)];
/// The unit in a slot of command 33.
const UNIT_OF_SLOT: [Place; 1] = [Octets(0, 2)];

fn unit_of_pv_kept(p: &mut Probe<'_>) -> Outcome {
    let own = part(&p.read(1, &[])?, 0, 1)?[0];
    p.put_back_and_compare(44, &[own], &[(1, &[], &UNIT_OF_PV), (14, &[], &LIMITS), (15, &[], &RANGE)])?;
    for unit in others(own) {
        if !p.ask_until_done(44, &[unit])?.is_success() {
            continue;
        }
        return tells(p, 1, &[], 0, &[unit]);
    }
    p.put_back.pop();
    Err(Stop::Skip(format!("PV has no unit besides {own}")))
}

fn unit_of_a_variable_kept(p: &mut Probe<'_>) -> Outcome {
    for code in 0..8 {
        let reply = p.ask(33, &[code])?;
        let Some(own) = reply.octet(1).filter(|_| reply.is_success()) else { continue };
        for unit in others(own) {
            p.put_back_and_compare(
                53,
                &[code, own],
                &[(33, &[code], &UNIT_OF_SLOT), (14, &[], &LIMITS), (15, &[], &RANGE)],
            )?;
            if p.ask_until_done(53, &[code, unit])?.is_success() {
                return tells(p, 33, &[code], 0, &[code, unit]);
            }
            p.put_back.pop();
        }
    }
    Err(Stop::Skip("no device variable has a second unit".to_owned()))
}

fn reply_preambles_taken(p: &mut Probe<'_>) -> Outcome {
    if p.has_messages() {
        return Err(Stop::Skip("this line carries whole messages, without their preambles".to_owned()));
    }
    put_back_preambles(p)?;
    for wanted in [10, 14] {
        // What is used stands in the answer [CM-059].
        let used = part(&takes(p, 59, &[wanted])?, 0, 1)?[0];
        let reply = p.read(0, &[])?;
        let (used, heard) = (usize::from(used), reply.preambles);
        expect(
            heard == used || heard < used && p.loses_preambles(),
            format!("{used} preambles before an answer"),
            format!("{heard} preambles"),
        )?;
        if heard < used {
            return Err(Stop::Inconclusive(format!(
                "{heard} of {used} preambles were heard, and the line may lose some"
            )));
        }
    }
    Ok(())
}

/// PV taken as lower range value: PV before and after, and the answer to command 15 before and after.
fn take_applied_process(p: &mut Probe<'_>) -> Result<([f32; 2], [Reply; 2]), Stop> {
    let before = p.save_floats(15, &[], 35, |r| r.part(2, 9).map(<[u8]>::to_vec), &[1, 5])?;
    let pv = p.read(1, &[])?;
    let reply = p.ask_until_done(37, &[])?;
    p.skip_unless_known(&reply)?;
    skip_if(&reply, &[6, 7, 9, 10, 11, 16], "the process or the device does not allow it")?;
    expect(reply.is_success(), "command 37 taken", reply.to_string())?;
    let (after, pv_after) = (p.read(15, &[])?, p.read(1, &[])?);
    if after.octet(2) != pv.octet(0) || reply.code != 0 {
        return Err(Stop::Skip(format!(
            "PV has another unit than its range, or a warning came: {reply}; {after}"
        )));
    }
    let pv = [float(&pv, 1)?, float(&pv_after, 1)?];
    match pv.iter().all(|v| *v == 0.0 || (1e-9..1e9).contains(&v.abs())) {
        true => Ok((pv, [before, after])),
        // Whether floats make sense is the matter of another case.
        false => Err(Stop::Inconclusive(format!("PV makes no sense: {pv:?}"))),
    }
}

fn applied_process_as_lower_range_value(p: &mut Probe<'_>) -> Outcome {
    let ([a, b], [_, range]) = take_applied_process(p)?;
    // PV goes on moving: what it was before or is now, or what lies between.
    let (lower, upper) = (float(&range, 7)?, float(&range, 3)?);
    let near = 0.01 * (upper - lower).abs().max(1.0);
    expect(
        lower >= a.min(b) - near && lower <= a.max(b) + near,
        format!("the lower range value where PV is, {a} to {b}"),
        format!("{lower} in {range}"),
    )
}

/// No source says that it stays; hosts show it as if it did.
fn applied_process_leaves_the_upper_value(p: &mut Probe<'_>) -> Outcome {
    let (_, [before, after]) = take_applied_process(p)?;
    let upper = part(&before, 3, 4)?;
    expect(
        after.part(3, 4) == Some(&upper),
        format!("the upper range value as before, {upper:02X?}"),
        after.to_string(),
    )
}

fn no_applied_process_in_multidrop(p: &mut Probe<'_>) -> Outcome {
    if p.revision() == Revision::R5 {
        // An address other than 0 is multidrop [DV-15].
        if p.polling_address()? == 0 {
            put_back_address(p, &[0])?;
            let other = free_address(p, 0)?;
            takes(p, 6, &[other])?;
        }
    } else {
        let now = known(&p.read(7, &[])?, 0, 2)?;
        put_back_address(p, &now)?;
        takes(p, 6, &[now[0], 0])?;
    }
    let reply = p.ask(0, &[])?;
    // Loop current fixed [ST-02].
    if reply.device_status & 0x08 == 0 {
        return Err(Stop::Inconclusive(format!("nothing says that the loop current is fixed: {reply}")));
    }
    // The applied process would change the range.
    p.save_floats(15, &[], 35, |r| r.part(2, 9).map(<[u8]>::to_vec), &[1, 5])?;
    let reply = p.ask_until_done(36, &[])?;
    p.skip_unless_known(&reply)?;
    expect(reply.code == 11, "response code 11 to command 36", reply.to_string())
}
