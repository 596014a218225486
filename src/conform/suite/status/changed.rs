//! Section `status/changed`: configuration changed for each master, and command 38.

use super::prepare::{CHANGED, change, cleared, counter, reset_changed, status, unclear};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, expect};
use crate::frame::Master::{Primary, Secondary};

const R5: Revision = Revision::R5;
const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::should(
        "status/changed/told-to-the-writer",
        "ST-09",
        "a write sets configuration changed for the master that has written",
        told_to_the_writer,
    )
    .writes(),
    Case::should(
        "status/changed/told-to-the-other",
        "ST-09",
        "a write sets configuration changed for the master that has not written",
        told_to_the_other,
    )
    .writes(),
    Case::should(
        "status/changed/stays-while-reading",
        "ST-09",
        "reading leaves configuration changed set",
        stays_while_reading,
    )
    .writes(),
    Case::must(
        "status/changed/reset-for-the-asker",
        "CM-038",
        "command 38 takes configuration changed away from the master that sends it",
        reset_for_the_asker,
    )
    .writes(),
    Case::should(
        "status/changed/stays-for-the-other",
        "ST-09",
        "command 38 leaves configuration changed set for the other master",
        stays_for_the_other,
    )
    .writes(),
    Case::must(
        "status/changed/command-38-without-data",
        "CM-038",
        "command 38 needs no data before revision 7",
        without_data,
    )
    .revisions(R5, R6)
    .writes(),
    Case::must("status/changed/command-38-is-there", "CM-038", "revision 7 has command 38", is_there)
        .revisions(R7, R7)
        .writes(),
    Case::must(
        "status/changed/echo-of-the-counter",
        "CM-038",
        "command 38 answers the two octets of the counter that it was given",
        echo_of_the_counter,
    )
    .revisions(R7, R7)
    .writes(),
    Case::must(
        "status/changed/other-counter-refused",
        "CM-038",
        "command 38 with another counter than the present one is refused with 9",
        other_counter_refused,
    )
    .revisions(R7, R7)
    .writes(),
    Case::must(
        "status/changed/other-counter-resets-nothing",
        "CM-038",
        "command 38 with another counter than the present one leaves configuration changed set",
        other_counter_resets_nothing,
    )
    .revisions(R7, R7)
    .writes(),
];

fn told_to_the_writer(p: &mut Probe<'_>) -> Outcome {
    cleared(p, Secondary)?;
    change(p)?;
    let told = status(p, Secondary)?;
    expect(
        told & CHANGED != 0,
        "mask 40 for the secondary master, which has written",
        format!("device status {told:02X}"),
    )
}

fn told_to_the_other(p: &mut Probe<'_>) -> Outcome {
    cleared(p, Primary)?;
    change(p)?;
    let told = status(p, Primary)?;
    expect(
        told & CHANGED != 0,
        "mask 40 for the primary master, while the secondary one has written",
        format!("device status {told:02X}"),
    )
}

fn stays_while_reading(p: &mut Probe<'_>) -> Outcome {
    change(p)?;
    if status(p, Secondary)? & CHANGED == 0 {
        return unclear("a write does not set configuration changed");
    }
    for command in [0, 2, 3, 12, 13, 14, 15, 16, 48] {
        let reply = p.ask(command, &[])?;
        let told = status(p, Secondary)?;
        expect(
            told & CHANGED != 0,
            format!("mask 40 still after command {command}"),
            format!("device status {told:02X}; {reply}"),
        )?;
    }
    Ok(())
}

fn reset_for_the_asker(p: &mut Probe<'_>) -> Outcome {
    change(p)?;
    let reply = reset_changed(p, Secondary)?;
    expect(reply.is_success(), "command 38 accepted", reply.to_string())?;
    let told = status(p, Secondary)?;
    expect(told & CHANGED == 0, "mask 40 clear after command 38", format!("device status {told:02X}"))
}

fn stays_for_the_other(p: &mut Probe<'_>) -> Outcome {
    change(p)?;
    if status(p, Primary)? & CHANGED == 0 {
        return unclear("configuration changed is not set for the primary master");
    }
    cleared(p, Secondary)?;
    let told = status(p, Primary)?;
    expect(
        told & CHANGED != 0,
        "mask 40 for the primary master still, after command 38 of the secondary one",
        format!("device status {told:02X}"),
    )
}

fn without_data(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(38, &[])?;
    p.skip_unless_known(&reply)?;
    expect(reply.code == 0 && reply.data.is_empty(), "response code 0 and no data", reply.to_string())
}

fn is_there(p: &mut Probe<'_>) -> Outcome {
    let counter = counter(p)?;
    let reply = p.ask(38, &counter.to_be_bytes())?;
    expect(reply.code != 64, "an answer other than 64, not implemented", reply.to_string())
}

fn echo_of_the_counter(p: &mut Probe<'_>) -> Outcome {
    let reply = cleared(p, Secondary)?;
    let counter = counter(p)?.to_be_bytes();
    expect(
        reply.data == counter,
        format!("the counter {counter:02X?} in the answer to command 38"),
        reply.to_string(),
    )
}

fn other_counter_refused(p: &mut Probe<'_>) -> Outcome {
    cleared(p, Secondary)?;
    let other = counter(p)?.wrapping_add(0x0101).to_be_bytes();
    let reply = p.ask(38, &other)?;
    expect(reply.code == 9, format!("response code 9 for the counter {other:02X?}"), reply.to_string())
}

fn other_counter_resets_nothing(p: &mut Probe<'_>) -> Outcome {
    change(p)?;
    if status(p, Secondary)? & CHANGED == 0 {
        return unclear("a write does not set configuration changed");
    }
    let other = counter(p)?.wrapping_add(0x0101).to_be_bytes();
    let reply = p.ask(38, &other)?;
    let told = status(p, Secondary)?;
    expect(
        told & CHANGED != 0,
        format!("mask 40 still after command 38 with the counter {other:02X?}"),
        format!("device status {told:02X}; {reply}"),
    )
}
