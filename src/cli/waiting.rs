//! Waiting for a device that answers later, and what to say when the answer is no last word [HO-10].

use super::ask::host_failure;
use super::output::{Failure, tell};
use crate::app::command::{CommandSpec, Effect, Revision};
use crate::app::status::{Delay, Status};
use crate::exchange::Exchange;
use crate::host::{Ask, Awaited, Device, HostError, Patience, ask_patiently};
use core::time::Duration;
use indicatif::{ProgressBar, ProgressDrawTarget};

/// Asks until the answer is there or the time is over; on a terminal one sees that it waits.
pub fn ask(
    host: &mut dyn Ask,
    device: &Device,
    command: u8,
    data: &[u8],
    most: Duration,
    quiet: bool,
    doing: &str,
) -> Result<Awaited, Failure> {
    // Hidden by itself where nobody watches.
    let progress = ProgressBar::new_spinner();
    if quiet {
        progress.set_draw_target(ProgressDrawTarget::hidden());
    }
    let mut under_way = false;
    let patience = Patience { most, ..Patience::USUAL };
    let awaited = ask_patiently(host, device, command, data, patience, &mut |_, waited| {
        under_way = true;
        if !most.is_zero() {
            progress.set_message(format!(
                "waiting for the answer: {:.0} s of at most {:.0} s; Ctrl-C ends it",
                waited.as_secs_f64(),
                most.as_secs_f64()
            ));
            progress.tick();
        }
    });
    progress.finish_and_clear();
    awaited.map_err(|e| match e {
        HostError::Interrupted if under_way => Failure::new(
            doing,
            "the waiting was interrupted; the device goes on with what it has begun",
            "ask the identical command again to fetch its answer; a log, if one was written, is kept",
        ),
        e => host_failure(doing.to_owned(), e),
    })
}

/// What was waited for an answer, such as ` (after 3.2 s, asked 6 times)`; nothing where it came at once.
pub fn waited_text(awaited: &Awaited) -> String {
    match awaited.repeats {
        0 => String::new(),
        n => format!(" (after {:.1} s, asked {} times)", awaited.waited.as_secs_f64(), n + 1),
    }
}

/// Says what to do about an answer that was put off, lost, or could not be put off, by a device of this revision; `row` is what
/// is known of the command.
pub fn advise(doing: &str, awaited: &Awaited, revision: Revision, row: Option<&CommandSpec>) {
    let exchange = &awaited.exchange;
    let reads = row.is_some_and(|row| row.effect == Effect::Reads);
    let own_busy =
        row.and_then(|row| row.codes.iter().find(|c| c.code == 32 && (c.from..=c.to).contains(&revision)));
    let (wrong, next) = match (exchange.delay(), exchange.status()) {
        (Some(Delay::Initiated | Delay::Running), _) if awaited.repeats == 0 => (
            "the device has begun, and its answer comes later".to_owned(),
            "ask the identical command again to fetch the answer, or let looprig do that: --wait SECONDS",
        ),
        (Some(Delay::Initiated | Delay::Running), _) => (
            format!("the device is still at it after {:.0} s", awaited.waited.as_secs_f64()),
            "ask the identical command again to fetch the answer, with a longer --wait SECONDS",
        ),
        (Some(Delay::Dead), _) => (
            "the device has lost what it had begun, as after a restart: nobody knows how far it came"
                .to_owned(),
            "read what is set now, then ask the identical command again: it begins anew",
        ),
        (Some(Delay::Conflict), _) => (
            "another delayed response of this master is in its way, so nothing was begun".to_owned(),
            "ask again when that one is done; command 106 frees those whose answers nobody fetches",
        ),
        (None, None) if awaited.repeats > 0 => (
            format!(
                "the device had taken it on, and may still be at it; nothing whole has come since, {:.0} s after the first request",
                awaited.waited.as_secs_f64()
            ),
            "ask the identical command again: the answer waits in the device unless it has restarted",
        ),
        // Who describes what busy means here knows better than any general advice.
        (None, Some(Status::Response(32))) if let Some(own) = own_busy => (
            format!("the device answers: {}", own.text),
            "look at what it does just now; ask again when that is over",
        ),
        (None, Some(Status::Response(32))) if reads => (
            "the device is busy, so it told nothing".to_owned(),
            "ask again in a moment",
        ),
        (None, Some(Status::Response(32))) if revision < Revision::R7 => (
            "the device is busy, or locked by another master; if this was a repeat, since an answer was lost, the first one \
             may have been done"
                .to_owned(),
            "read back what is set now, then ask again in a moment; in revision 6 command 76 tells of a lock",
        ),
        (None, Some(Status::Response(32))) => (
            "the device is busy, or has no room for another delayed response; nothing was done".to_owned(),
            "ask again in a moment; if it stays so, command 106 frees delayed responses that nobody fetches",
        ),
        _ => return,
    };
    tell(&Failure::new(doing, wrong, next));
}

/// Whether an answer is no last word.
pub fn is_later(exchange: &Exchange) -> bool {
    exchange.delay().is_some_and(Delay::is_under_way)
}
