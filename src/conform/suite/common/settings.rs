//! Section `common/settings`: units, preambles, applied process.

use super::tools::{part, skip_if, takes, tells};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/settings/unit-of-pv-kept",
        "CM-044",
        "a unit of PV that command 44 writes is the one that command 14 tells",
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
    Case::must(
        "common/settings/applied-process-as-lower-range-value",
        "CM-037",
        "command 37 makes PV the lower range value and leaves the upper one",
        applied_process_as_lower_range_value,
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

fn unit_of_pv_kept(p: &mut Probe<'_>) -> Outcome {
    let own = part(&p.read(14, &[])?, 3, 1)?[0];
    p.put_back(44, &[own]);
    for unit in others(own) {
        if !p.ask_until_done(44, &[unit])?.is_success() {
            continue;
        }
        return tells(p, 14, &[], 3, &[unit]);
    }
    p.put_back.pop();
    Err(Stop::Skip(format!("PV has no unit besides {own}")))
}

fn unit_of_a_variable_kept(p: &mut Probe<'_>) -> Outcome {
    for code in 0..8 {
        let reply = p.ask(33, &[code])?;
        let Some(own) = reply.octet(1).filter(|_| reply.is_success()) else { continue };
        for unit in others(own) {
            p.put_back(53, &[code, own]);
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
    // What it sends now: told from revision 7 on [CM-000], else counted.
    let told = p.device().identity.get(12).copied().filter(|_| p.revision() == Revision::R7);
    let heard = p.read(0, &[])?.preambles;
    let own = told.unwrap_or(u8::try_from(heard).unwrap_or(5));
    // Nobody can write others than 5 to 20 [FR-02].
    p.put_back(59, &[own.clamp(5, 20)]);
    for wanted in [10, 14] {
        // What is used stands in the answer [CM-059].
        let used = part(&takes(p, 59, &[wanted])?, 0, 1)?[0];
        let reply = p.read(0, &[])?;
        // The first may be lost while the carrier comes up [FR-10].
        let is_so =
            (used.saturating_sub(2)..=used).contains(&u8::try_from(reply.preambles).unwrap_or(u8::MAX));
        expect(
            is_so,
            format!("{used} preambles before an answer"),
            format!("{} preambles", reply.preambles),
        )?;
    }
    Ok(())
}

fn applied_process_as_lower_range_value(p: &mut Probe<'_>) -> Outcome {
    let before = p.save(15, &[], 35, |r| r.part(2, 9).map(<[u8]>::to_vec))?;
    let upper = part(&before, 3, 4)?;
    let reply = p.ask_until_done(37, &[])?;
    p.skip_unless_known(&reply)?;
    skip_if(&reply, &[6, 7, 9, 10, 11, 16], "the process or the device does not allow it")?;
    expect(reply.is_success(), "command 37 taken", reply.to_string())?;
    let after = p.read(15, &[])?;
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
            p.put_back(6, &[0]);
            takes(p, 6, &[1])?;
        }
    } else {
        let now = p.save(7, &[], 6, |r| r.part(0, 2).map(<[u8]>::to_vec))?;
        takes(p, 6, &[now.data[0], 0])?;
    }
    let reply = p.ask(0, &[])?;
    // Loop current fixed [ST-02].
    if reply.device_status & 0x08 == 0 {
        return Err(Stop::Inconclusive(format!("nothing says that the loop current is fixed: {reply}")));
    }
    // The applied process would change the range.
    p.save(15, &[], 35, |r| r.part(2, 9).map(<[u8]>::to_vec))?;
    let reply = p.ask_until_done(36, &[])?;
    p.skip_unless_known(&reply)?;
    expect(reply.code == 11, "response code 11 to command 36", reply.to_string())
}
