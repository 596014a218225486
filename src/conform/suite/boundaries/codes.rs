//! Section `boundaries/codes`: codes that a table does not have, of commands that have no section of their own.

use crate::app::command::Revision;
use crate::conform::Place::Octets;
use crate::conform::suite::common::tools::{NO_UNIT, NO_VARIABLE, refused_with, refuses_with, skip_if};
use crate::conform::suite::common::undo::put_back_preambles;
use crate::conform::{Case, Outcome, Place, Probe, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "boundaries/codes/unit-that-is-none",
        "CM-053",
        "command 53 refuses a unit that is none, in revision 7 with 12",
        unit_that_is_none,
    )
    .commands(&[53])
    .writes(),
    Case::must(
        "boundaries/codes/unit-of-an-unknown-variable",
        "CM-053",
        "command 53 refuses a device variable that the device does not have, in revision 7 with 11",
        unit_of_an_unknown_variable,
    )
    .commands(&[53])
    .writes(),
    Case::must(
        "boundaries/codes/assignment-of-an-unknown-variable",
        "CM-051",
        "command 51 refuses a device variable that the device does not have, in revision 7 with 2",
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
        "0 and 255 reply preambles are refused, in revision 7 with 4 and 3, or taken as the nearest number with 8",
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

/// Code and unit in a slot of command 33.
const UNIT: [Place; 1] = [Octets(0, 2)];

fn unit_that_is_none(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(33, &[0])?;
    let Some(own) = reply.octet(1).filter(|_| reply.is_success()) else {
        return Err(Stop::Skip(format!("command 33 does not tell the unit of variable 0: {reply}")));
    };
    p.put_back_and_compare(53, &[0, own], &[(33, &[0], &UNIT)])?;
    refuses_with(p, 53, &[0, NO_UNIT], &[12])?;
    Ok(())
}

fn unit_of_an_unknown_variable(p: &mut Probe<'_>) -> Outcome {
    // 57 is percent.
    let reply = p.ask_until_done(53, &[NO_VARIABLE, 57])?;
    if reply.is_success() {
        p.cannot_put_back(format!(
            "the unit of variable {NO_VARIABLE}, which command 53 has set to 57, percent"
        ));
    }
    refused_with(p, &reply, "variable 242", &[11])
}

fn assignment_of_an_unknown_variable(p: &mut Probe<'_>) -> Outcome {
    let now = p.save(50, &[], 51, |r| r.part(0, 4).map(<[u8]>::to_vec))?;
    refuses_with(p, 51, &[now.data[0], NO_VARIABLE, now.data[2], now.data[3]], &[2])?;
    Ok(())
}

fn transfer_function_that_is_none(p: &mut Probe<'_>) -> Outcome {
    p.save(15, &[], 47, |r| r.part(1, 1).map(<[u8]>::to_vec))?;
    let reply = p.ask_until_done(47, &[200])?;
    expect(!reply.is_success(), "transfer function 200 refused", reply.to_string())
}

fn reply_preambles_out_of_range(p: &mut Probe<'_>) -> Outcome {
    put_back_preambles(p)?;
    for (number, code) in [(255, 3), (0, 4)] {
        let reply = p.ask_until_done(59, &[number])?;
        // Warning 8: the nearest that there is, which is another one [CM-059].
        let nearest = reply.code == 8 && reply.octet(0) != Some(number);
        if p.revision() == Revision::R7 {
            skip_if(&reply, &[6, 16], "refused for a reason of the device's own")?;
            let words = format!("response code {code} to {number} reply preambles, or 8 and another number");
            expect(reply.code == code || nearest, words, reply.to_string())?;
        } else {
            expect(
                !reply.is_success() || nearest,
                format!("{number} reply preambles refused, or warning 8 and another number"),
                reply.to_string(),
            )?;
        }
    }
    Ok(())
}

fn slot_above_250(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(9, &[251])?;
    p.skip_unless_known(&reply)?;
    expect(!reply.is_success(), "command 9 for code 251 refused", reply.to_string())
}
