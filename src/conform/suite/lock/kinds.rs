//! Section `lock/kinds`: which locks there are, and what ends them.

use super::tools::{
    AGAINST_ALL, IS_AGAINST_ALL, IS_PERMANENT, LOCKED, OPEN, PERMANENT, TEMPORARY, ask_lock, is_locked_out,
    lock, open, status, write,
};
use crate::app::command::Revision;
use crate::conform::suite::common::tools::{refused_with, skip_if};
use crate::conform::suite::common::undo::skip_if_held;
use crate::conform::suite::status::prepare::START;
use crate::conform::{Case, Outcome, Probe, Stop, expect};
use crate::frame::Master::{Primary, Secondary};
use core::time::Duration;

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;
/// Status: cold start [ST-02] [ST-08].
const COLD_START: u8 = 0x20;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "lock/kinds/permanent-is-told",
        "TB-14",
        "command 76 calls a permanent lock permanent, and a temporary one not",
        permanent_is_told,
    )
    .commands(&[71, 76])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/kinds/against-all-is-told",
        "TB-14",
        "command 76 says that a device is locked against all",
        against_all_is_told,
    )
    .commands(&[71, 76])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/kinds/against-all-keeps-its-owner-out",
        "TB-13",
        "a lock against all refuses the writes of the master that has locked too",
        against_all_keeps_its_owner_out,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/kinds/against-all-opened-by-any",
        "TB-13",
        "a lock against all is opened by the other master",
        against_all_opened_by_any,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/kinds/unknown-code",
        "CM-071",
        "command 71 refuses a lock code that the table does not have, in revision 7 with 10",
        unknown_code,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/kinds/temporary-ends-with-a-reset",
        "TB-13",
        "a reset ends a temporary lock",
        temporary_ends_with_a_reset,
    )
    .commands(&[71, 76])
    .moves()
    .revisions(R6, R7),
    Case::must(
        "lock/kinds/permanent-outlives-a-reset",
        "TB-13",
        "a permanent lock is there after a reset",
        permanent_outlives_a_reset,
    )
    .commands(&[71, 76])
    .moves()
    .revisions(R6, R7),
];

fn permanent_is_told(p: &mut Probe<'_>) -> Outcome {
    for (code, wanted) in [(PERMANENT, LOCKED | IS_PERMANENT), (TEMPORARY, LOCKED)] {
        lock(p, Secondary, code)?;
        let now = status(p)?;
        p.put_all_back()?;
        expect(
            now & (LOCKED | IS_PERMANENT) == wanted,
            format!("{wanted:02X} in masks 01 and 02 after lock code {code}"),
            format!("{now:02X}"),
        )?;
    }
    Ok(())
}

fn against_all_is_told(p: &mut Probe<'_>) -> Outcome {
    lock(p, Secondary, AGAINST_ALL)?;
    let now = status(p)?;
    expect(now & IS_AGAINST_ALL != 0, "mask 08 set in the lock status", format!("{now:02X}"))
}

fn against_all_keeps_its_owner_out(p: &mut Probe<'_>) -> Outcome {
    lock(p, Secondary, AGAINST_ALL)?;
    for master in [Secondary, Primary] {
        let written = write(p, master)?;
        expect(
            written.is_refused(),
            format!("a write of the {master} master refused, and the message as before"),
            written.to_string(),
        )?;
    }
    Ok(())
}

fn against_all_opened_by_any(p: &mut Probe<'_>) -> Outcome {
    lock(p, Secondary, AGAINST_ALL)?;
    let reply = ask_lock(p, Primary, OPEN)?;
    expect(reply.is_success(), "lock code 0 of the primary master taken", reply.to_string())?;
    let written = write(p, Primary)?;
    expect(
        !is_locked_out(p, &written.reply),
        "a write of the primary master not refused",
        written.to_string(),
    )
}

fn unknown_code(p: &mut Probe<'_>) -> Outcome {
    if p.has_command(76)? == Some(true) && status(p)? != 0 {
        return Err(Stop::Skip("the device is locked already".to_owned()));
    }
    let reply = ask_lock(p, Secondary, 200)?;
    if reply.is_success() {
        // What kind of a lock it is nobody knows.
        p.put_back_by("whatever lock code 200 has locked, opened with command 71", |p| open(p, Secondary));
    }
    skip_if(&reply, &[6, 11, 64], "nobody locks this device")?;
    refused_with(p, &reply, "lock code 200", &[10])
}

/// Command 42, and the time until the device answers again. It need not answer the command itself.
fn reset(p: &mut Probe<'_>) -> Outcome {
    let request = p.request(42, &[]);
    if let Some(reply) = p.send(&request)?.reply()
        && !reply.is_success()
    {
        return Err(Stop::Skip(format!("the device is not reset by command 42: {reply}")));
    }
    p.pause(Duration::from_secs(1))?;
    p.starts_again(START);
    let reply = p.ask(0, &[])?;
    match reply.device_status & COLD_START {
        0 => Err(Stop::Inconclusive(format!("nothing says that the device was reset: {reply}"))),
        _ => Ok(()),
    }
}

fn temporary_ends_with_a_reset(p: &mut Probe<'_>) -> Outcome {
    skip_if_held(p)?;
    lock(p, Secondary, TEMPORARY)?;
    reset(p)?;
    let written = write(p, Primary)?;
    expect(
        !is_locked_out(p, &written.reply),
        "a write of the primary master not refused after a reset",
        written.to_string(),
    )
}

fn permanent_outlives_a_reset(p: &mut Probe<'_>) -> Outcome {
    skip_if_held(p)?;
    lock(p, Secondary, PERMANENT)?;
    reset(p)?;
    let written = write(p, Primary)?;
    expect(
        written.is_refused(),
        "a write of the primary master refused after a reset, and the message as before",
        written.to_string(),
    )
}
