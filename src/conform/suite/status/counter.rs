//! Section `status/counter`: the configuration change counter, from revision 6 on.

use super::prepare::{change, cleared, counter, restart};
use crate::app::command::Revision;
use crate::conform::suite::universal::remember;
use crate::conform::{Case, Outcome, Probe, Stop, expect};
use crate::frame::Master::Secondary;

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::should(
        "status/counter/one-step-a-write",
        "ST-09",
        "a write advances the counter in command 0 by one",
        one_step_a_write,
    )
    .revisions(R6, R7)
    .writes(),
    Case::must(
        "status/counter/as-command-38-wants-it",
        "CM-038",
        "the counter in command 0 is the one that command 38 wants",
        as_command_38_wants_it,
    )
    .revisions(R7, R7)
    .writes(),
    Case::should(
        "status/counter/stands-while-reading",
        "ST-09",
        "reading leaves the counter where it is",
        stands_while_reading,
    )
    .revisions(R6, R7),
    Case::should(
        "status/counter/stands-after-command-38",
        "ST-09",
        "command 38 leaves the counter where it is",
        stands_after_command_38,
    )
    .revisions(R6, R7)
    .writes(),
    Case::should(
        "status/counter/stands-after-refused-writes",
        "ST-09",
        "a write that is refused leaves the counter where it is",
        stands_after_refused_writes,
    )
    .revisions(R6, R7)
    .writes(),
    Case::should(
        "status/counter/outlives-a-restart",
        "ST-09",
        "the counter is the same after command 42",
        outlives_a_restart,
    )
    .revisions(R6, R7)
    .moves(),
];

fn one_step_a_write(p: &mut Probe<'_>) -> Outcome {
    let before = counter(p)?;
    let sent = p.requests_sent();
    change(p)?;
    let sent = p.requests_sent() - sent;
    let after = counter(p)?;
    // A write whose answer was lost came again, and has counted each time. Two are the one that reads and the one that writes.
    if sent > 2 {
        return Err(Stop::Inconclusive(format!(
            "the write had to be repeated: {sent} requests in place of 2"
        )));
    }
    expect(
        after == before.wrapping_add(1),
        format!("{} after {before} and one write", before.wrapping_add(1)),
        after.to_string(),
    )
}

fn as_command_38_wants_it(p: &mut Probe<'_>) -> Outcome {
    // So that it is not 0.
    change(p)?;
    let told = counter(p)?.to_be_bytes();
    let reply = p.ask(38, &told)?;
    expect(
        reply.is_success(),
        format!("command 38 accepted with the counter of command 0, {told:02X?}"),
        reply.to_string(),
    )
}

fn stands_while_reading(p: &mut Probe<'_>) -> Outcome {
    let before = counter(p)?;
    for command in [0, 1, 2, 3, 7, 8, 12, 13, 14, 15, 16, 20, 48] {
        p.ask(command, &[])?;
        let after = counter(p)?;
        expect(after == before, format!("{before} still after command {command}"), after.to_string())?;
    }
    Ok(())
}

fn stands_after_command_38(p: &mut Probe<'_>) -> Outcome {
    // So that it is not 0.
    change(p)?;
    let before = counter(p)?;
    cleared(p, Secondary)?;
    let after = counter(p)?;
    expect(after == before, format!("{before} still after command 38"), after.to_string())
}

fn stands_after_refused_writes(p: &mut Probe<'_>) -> Outcome {
    let was = remember(p, 12, 17, 24)?;
    let before = counter(p)?;
    // One octet short of a message.
    let request = p.request(17, &was[..23]);
    let heard = p.send(&request)?;
    let after = counter(p)?;
    expect(
        after == before,
        format!("{before} still after command 17 with 23 octets"),
        format!("{after}; command 17: {}", heard.words()),
    )
}

fn outlives_a_restart(p: &mut Probe<'_>) -> Outcome {
    // So that it is not 0.
    change(p)?;
    let before = counter(p)?;
    restart(p)?;
    let after = counter(p)?;
    expect(after == before, format!("{before} still after command 42"), after.to_string())
}
