//! Section `delayed/response`: a device that puts a write off answers 33, and the result when it is asked again.
//!
//! Command 22 with the long tag that is there already is what the cases ask: a device that answers it at once shows nothing of
//! this, and they are skipped.

use crate::app::command::Revision;
use crate::conform::suite::common::tools::{known, tells};
use crate::conform::suite::status::prepare::restart;
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};
use crate::frame::Master;
use core::time::Duration;

const R7: Revision = Revision::R7;
/// Response codes [ST-03].
const BUSY: u8 = 32;
const INITIATED: u8 = 33;
const RUNNING: u8 = 34;
const CONFLICT: u8 = 36;

pub(super) const CASES: &[Case] = &[
    Case::should(
        "delayed/response/running-is-told",
        "DV-40",
        "the same request again is answered with 34, running, or with its result",
        running_is_told,
    )
    .writes()
    .revisions(R7, R7),
    Case::should(
        "delayed/response/result-comes",
        "DV-40",
        "the same request asked again and again is answered with its result in the end",
        result_comes,
    )
    .writes()
    .revisions(R7, R7),
    Case::should(
        "delayed/response/result-has-its-data",
        "DV-40",
        "the result has the data that the command answers at once elsewhere",
        result_has_its_data,
    )
    .writes()
    .revisions(R7, R7),
    Case::should(
        "delayed/response/initiated-has-no-data",
        "ST-03",
        "answers 33 and 34 have no data",
        initiated_has_no_data,
    )
    .writes()
    .revisions(R7, R7),
    Case::should(
        "delayed/response/conflict-is-told",
        "DV-40",
        "the same command with other data meanwhile is answered with 36, or with 32 if it cannot be begun",
        conflict_is_told,
    )
    .writes()
    .revisions(R7, R7),
    Case::should(
        "delayed/response/other-requests-meanwhile",
        "DV-40",
        "other requests are answered meanwhile",
        other_requests_meanwhile,
    )
    .writes()
    .revisions(R7, R7),
    Case::should(
        "delayed/response/each-master-has-its-own",
        "DV-40",
        "the same request of the other master is begun for itself, answered at once, or with 32 if it cannot be begun",
        each_master_has_its_own,
    )
    .writes()
    .revisions(R7, R7),
    Case::advice(
        "delayed/response/second-buffer",
        "DV-40",
        "a second command is put off while a first one goes on",
        second_buffer,
    )
    .commands(&[71, 76])
    .writes()
    .revisions(R7, R7),
    Case::advice(
        "delayed/response/not-running-after-a-reset",
        "DV-40",
        "after command 42 the same request is not answered with 34, running, for the reset has ended it",
        not_running_after_a_reset,
    )
    .moves()
    .revisions(R7, R7),
    Case::should(
        "delayed/response/flush-is-known",
        "CM-106",
        "a device that puts requests off has command 106",
        flush_is_known,
    )
    .writes()
    .revisions(R7, R7),
    Case::should(
        "delayed/response/flush-frees",
        "CM-106",
        "after command 106 a request whose result waited is begun anew",
        flush_frees,
    )
    .writes()
    .revisions(R7, R7),
];

/// Begins command 22 with the long tag that is there: the answer, and the tag. A skip where it is answered at once.
fn begin(p: &mut Probe<'_>) -> Result<(Reply, Vec<u8>), Stop> {
    let tag = known(&p.read(20, &[])?, 0, 32)?;
    let reply = p.ask(22, &tag)?;
    if reply.code != INITIATED {
        return Err(Stop::Skip(format!("the device does not put command 22 off: {reply}")));
    }
    end_of(p, 22, &tag);
    Ok((reply, tag))
}

/// Remembers to wait for the end of a request that goes on by itself, so that nothing of it is left for the next case.
fn end_of(p: &mut Probe<'_>, command: u8, data: &[u8]) {
    let data = data.to_vec();
    p.put_back_by(format!("the end of command {command}, which goes on by itself"), move |p| {
        let mut told = p.ask_until_done(command, &data);
        if told.is_err() {
            // A device that never ends it may do so when it is flushed.
            told = p.ask(106, &[]);
        }
        told.map(|_| ())
    });
}

fn running_is_told(p: &mut Probe<'_>) -> Outcome {
    let (_, tag) = begin(p)?;
    let reply = p.ask(22, &tag)?;
    expect(reply.code == RUNNING || reply.is_success(), "response code 34, or the result", reply.to_string())
}

/// The result, or a fail after a minute; the repeats are as far from each other as a host's.
fn result(p: &mut Probe<'_>, tag: &[u8]) -> Result<Reply, Stop> {
    p.pause(Duration::from_millis(500))?;
    p.ask_until_done(22, tag)
}

fn result_comes(p: &mut Probe<'_>) -> Outcome {
    let (_, tag) = begin(p)?;
    let reply = result(p, &tag)?;
    expect(reply.is_success(), "command 22 done", reply.to_string())
}

fn result_has_its_data(p: &mut Probe<'_>) -> Outcome {
    let (_, tag) = begin(p)?;
    let reply = result(p, &tag)?;
    expect(!reply.is_success() || reply.data == tag, format!("the long tag {tag:02X?}"), reply.to_string())
}

fn initiated_has_no_data(p: &mut Probe<'_>) -> Outcome {
    let (reply, tag) = begin(p)?;
    expect(reply.data.is_empty(), "no data with response code 33", reply.to_string())?;
    let reply = p.ask(22, &tag)?;
    expect(reply.code != RUNNING || reply.data.is_empty(), "no data with response code 34", reply.to_string())
}

fn conflict_is_told(p: &mut Probe<'_>) -> Outcome {
    let (_, tag) = begin(p)?;
    let mut other = tag.clone();
    other[31] = if tag[31] == b'x' { b'y' } else { b'x' };
    // Should the device begin it all the same, the tag has to be put back: the end of that first.
    let (back, asked) = (tag.clone(), other.clone());
    p.put_back_by("the long tag with command 22", move |p| {
        p.ask_until_done(22, &asked)?;
        p.write_back(22, &back)?;
        tells(p, 20, &[], 0, &back)
    });
    let reply = p.ask(22, &other)?;
    if matches!(reply.code, CONFLICT | BUSY) {
        p.put_back.pop();
    }
    expect(matches!(reply.code, CONFLICT | BUSY), "response code 36, or 32", reply.to_string())
}

fn other_requests_meanwhile(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    for command in [0, 1, 3, 20] {
        let reply = p.ask(command, &[])?;
        expect(reply.is_success(), format!("command {command} answered with its data"), reply.to_string())?;
    }
    Ok(())
}

fn each_master_has_its_own(p: &mut Probe<'_>) -> Outcome {
    let (_, tag) = begin(p)?;
    let request = tag.clone();
    p.put_back_by("the end of the primary master's command 22", move |p| {
        for _ in 0..120 {
            if !matches!(p.ask_as(Master::Primary, 22, &request)?.code, INITIATED | RUNNING) {
                break;
            }
            p.pause(Duration::from_millis(500))?;
        }
        Ok(())
    });
    let reply = p.ask_as(Master::Primary, 22, &tag)?;
    expect(
        matches!(reply.code, INITIATED | BUSY) || reply.is_success(),
        "response code 33 to the primary master, or the result",
        reply.to_string(),
    )
}

/// Command 71 with 0, which opens what is open, is the second one: its list has 33 too [ST-04].
fn second_buffer(p: &mut Probe<'_>) -> Outcome {
    if known(&p.read(76, &[])?, 0, 1)? != [0] {
        return Err(Stop::Skip("the device is locked, and stays so".to_owned()));
    }
    begin(p)?;
    let reply = p.ask(71, &[0])?;
    if reply.code == INITIATED {
        end_of(p, 71, &[0]);
    }
    match reply.code {
        INITIATED | BUSY => expect(
            reply.code == INITIATED,
            "response code 33 to command 71 while 22 goes on",
            reply.to_string(),
        ),
        _ => Err(Stop::Skip(format!("the device does not put command 71 off: {reply}"))),
    }
}

fn not_running_after_a_reset(p: &mut Probe<'_>) -> Outcome {
    let (_, tag) = begin(p)?;
    restart(p)?;
    let reply = p.ask(22, &tag)?;
    expect(reply.code != RUNNING, "35, dead, or any other code but 34", reply.to_string())
}

fn flush_is_known(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let reply = p.ask(106, &[])?;
    expect(reply.code != 64, "command 106 known", reply.to_string())
}

fn flush_frees(p: &mut Probe<'_>) -> Outcome {
    let (_, tag) = begin(p)?;
    // Until it is done and its result waits: that of the other master, begun later, tells when.
    for _ in 0..120 {
        let reply = p.ask_as(Master::Primary, 22, &tag)?;
        if !matches!(reply.code, BUSY | INITIATED | RUNNING) {
            break;
        }
        p.pause(Duration::from_millis(500))?;
    }
    let reply = p.ask(106, &[])?;
    p.skip_unless_known(&reply)?;
    expect(reply.is_success(), "command 106 taken", reply.to_string())?;
    let reply = p.ask(22, &tag)?;
    expect(matches!(reply.code, INITIATED | BUSY), "response code 33, for it begins anew", reply.to_string())
}
