//! Section `status/cold-start`: cold start for each master, and what a restart leaves alone.

use super::prepare::{COLD_START, change, restart, status, unclear};
use crate::conform::{Case, Outcome, Probe, expect};
use crate::frame::Master::{Primary, Secondary};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "status/cold-start/over-after-an-answer",
        "ST-08",
        "cold start is over for a master that has had an answer",
        over_after_an_answer,
    ),
    Case::should(
        "status/cold-start/told-after-a-restart",
        "ST-08",
        "cold start is set in the first answer after command 42",
        told_after_a_restart,
    )
    .moves(),
    Case::should(
        "status/cold-start/each-master-by-itself",
        "ST-08",
        "cold start is set in the first answer to the primary master, though the secondary one has had answers",
        each_master_by_itself,
    )
    .moves(),
    Case::should(
        "status/cold-start/restart-keeps-what-is-stored",
        "CM-042",
        "message, tag, descriptor and final assembly number are the same after command 42",
        restart_keeps_what_is_stored,
    )
    .moves(),
];

fn over_after_an_answer(p: &mut Probe<'_>) -> Outcome {
    for master in [Secondary, Primary] {
        status(p, master)?;
        let told = status(p, master)?;
        expect(
            told & COLD_START == 0,
            format!("mask 20 clear in the second answer to the {master} master"),
            format!("device status {told:02X}"),
        )?;
    }
    Ok(())
}

fn told_after_a_restart(p: &mut Probe<'_>) -> Outcome {
    restart(p)?;
    let damaged = p.wires.rubbish();
    let told = status(p, Secondary)?;
    // An answer that was spoilt on its way was the first one all the same.
    if told & COLD_START == 0 && p.wires.rubbish() > damaged {
        return unclear("the first answer after command 42 came damaged");
    }
    expect(
        told & COLD_START != 0,
        "mask 20 in the first answer after command 42",
        format!("device status {told:02X}"),
    )
}

fn each_master_by_itself(p: &mut Probe<'_>) -> Outcome {
    status(p, Primary)?;
    restart(p)?;
    if status(p, Secondary)? & COLD_START == 0 {
        return unclear("no cold start is told after command 42");
    }
    status(p, Secondary)?;
    let told = status(p, Primary)?;
    expect(
        told & COLD_START != 0,
        "mask 20 in the first answer to the primary master, after two to the secondary one",
        format!("device status {told:02X}"),
    )
}

fn restart_keeps_what_is_stored(p: &mut Probe<'_>) -> Outcome {
    // So that there is a message.
    change(p)?;
    let mut before = Vec::new();
    for command in [12, 13, 16] {
        before.push(p.ask(command, &[])?);
    }
    restart(p)?;
    for before in before {
        let after = p.ask(before.command, &[])?;
        expect(
            after.data == before.data,
            format!("in command {} what it said before command 42: {before}", before.command),
            after.to_string(),
        )?;
    }
    Ok(())
}
