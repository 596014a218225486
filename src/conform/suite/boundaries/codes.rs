//! Section `boundaries/codes`: codes that a table does not have, of commands that have no section of their own.

use crate::app::command::Revision;
use crate::conform::suite::common::tools::{NO_UNIT, NO_VARIABLE, answers, part};
use crate::conform::{Case, Outcome, Probe, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "boundaries/codes/unit-that-is-none",
        "CM-053",
        "command 53 answers 12 to a unit that is none",
        unit_that_is_none,
    )
    .commands(&[53])
    .writes(),
    Case::must(
        "boundaries/codes/unit-of-an-unknown-variable",
        "CM-053",
        "command 53 answers 11 to a device variable that the device does not have",
        unit_of_an_unknown_variable,
    )
    .commands(&[53])
    .writes(),
    Case::must(
        "boundaries/codes/assignment-of-an-unknown-variable",
        "CM-051",
        "command 51 answers 2 to a device variable that the device does not have",
        assignment_of_an_unknown_variable,
    )
    .commands(&[50, 51])
    .moves(),
    Case::should(
        "boundaries/codes/transfer-function-that-is-none",
        "CM-047",
        "command 47 refuses a transfer function that the table does not have",
        transfer_function_that_is_none,
    )
    .commands(&[47])
    .moves(),
    Case::must(
        "boundaries/codes/reply-preambles-out-of-range",
        "CM-059",
        "0 and 255 reply preambles are answered with 4 and 3, or with 8 and a number that is used",
        reply_preambles_out_of_range,
    )
    .commands(&[59])
    .writes(),
    Case::should(
        "boundaries/codes/slot-above-250",
        "CM-009",
        "command 9 refuses a variable code above 250",
        slot_above_250,
    )
    .revisions(Revision::R6, Revision::R7),
];

fn unit_that_is_none(p: &mut Probe<'_>) -> Outcome {
    let pv = part(&p.read(14, &[])?, 3, 1)?[0];
    p.put_back(53, &[0, pv]);
    answers(p, 53, &[0, NO_UNIT], &[12])?;
    Ok(())
}

fn unit_of_an_unknown_variable(p: &mut Probe<'_>) -> Outcome {
    // 57 is percent.
    answers(p, 53, &[NO_VARIABLE, 57], &[11])?;
    Ok(())
}

fn assignment_of_an_unknown_variable(p: &mut Probe<'_>) -> Outcome {
    let now = p.save(50, &[], 51, |r| r.part(0, 4).map(<[u8]>::to_vec))?;
    answers(p, 51, &[now.data[0], NO_VARIABLE, now.data[2], now.data[3]], &[2])?;
    Ok(())
}

fn transfer_function_that_is_none(p: &mut Probe<'_>) -> Outcome {
    p.save(15, &[], 47, |r| r.part(1, 1).map(<[u8]>::to_vec))?;
    let reply = p.ask_until_done(47, &[200])?;
    expect(!reply.is_success(), "transfer function 200 refused", reply.to_string())
}

fn reply_preambles_out_of_range(p: &mut Probe<'_>) -> Outcome {
    let told = p.device().identity.get(12).copied().filter(|_| p.revision() == Revision::R7);
    let heard = p.read(0, &[])?.preambles;
    let Some(own) = told.or(u8::try_from(heard).ok()) else {
        return Err(Stop::Inconclusive(format!("{heard} preambles were heard")));
    };
    // Nobody can write others than 5 to 20 [FR-02].
    p.put_back(59, &[own.clamp(5, 20)]);
    answers(p, 59, &[255], &[3, 8])?;
    answers(p, 59, &[0], &[4, 8])?;
    Ok(())
}

fn slot_above_250(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(9, &[251])?;
    p.skip_unless_known(&reply)?;
    expect(!reply.is_success(), "command 9 for code 251 refused", reply.to_string())
}
