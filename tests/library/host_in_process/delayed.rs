//! A host that waits for a delayed response [HO-10] of the mock [DV-40]. That the identical request fetches it is from
//! memory; pauses, bounds and words are our choice.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::app::status::Delay;
use looprig::bench;
use looprig::device::Slow;
use looprig::exchange::Exchange;
use looprig::exchange::view::Tone;
use looprig::frame::Master as Role;
use looprig::host::{Awaited, Device, Host, HostError, Patience, ask_patiently};
use looprig::line::{Error, Event, Line};
use looprig::link::MasterConfig;
use looprig::time::Instant;
use looprig::transaction::Passed;
use std::time::Duration;

const R7: Revision = Revision::R7;

/// A bench whose device takes 20 s for a self test and 3 s to write its long tag.
fn slow_bench(revision: Revision) -> Bench {
    let mut config = config(revision);
    let slow = |command, s| Slow { command, takes: Duration::from_secs(s) };
    config.slow = vec![slow(41, 20)];
    if revision == R7 {
        config.slow.push(slow(22, 3));
    }
    Shared::new(bench::in_process(&plan([config])))
}

fn wait<L: Line>(
    host: &mut Host<L>,
    device: &Device,
    command: u8,
    data: &[u8],
    patience: Patience,
) -> (Awaited, Vec<u8>) {
    let mut heard = Vec::new();
    let awaited =
        ask_patiently(host, device, command, data, patience, &mut |e, _| heard.push(status(e)[0])).unwrap();
    (awaited, heard)
}

fn words(e: &Exchange) -> String {
    let mut out = String::new();
    e.write_response(&mut out);
    out
}

/// 33, some 34, then the result; no repeat counts as a retry of the link, and none as unanswered.
#[test]
fn a_host_waits_for_the_result() {
    let bench = slow_bench(R7);
    let mut host = Host::new(bench.clone(), MasterConfig::default());
    let device = find(&mut host);
    let before = *host.quality();
    let begun = bench.time();
    let (awaited, heard) = wait(&mut host, &device, 41, &[], Patience::USUAL);
    assert_eq!((status(&awaited.exchange)[0], awaited.exchange.tone()), (0, Tone::Plain));
    assert_eq!(heard[0], 33);
    assert!(heard.len() > 1 && heard[1..].iter().all(|&c| c == 34), "{heard:?}");
    assert_eq!(awaited.repeats as usize, heard.len());
    // It takes 20 s, and a pause is a quarter of that at most, with a second for the requests themselves.
    let took = bench.time().since(begun);
    assert!(took >= Duration::from_secs(20) && took < Duration::from_secs(26), "{took:?}");
    assert!(awaited.waited >= Duration::from_secs(20) && awaited.waited <= took);
    // Pauses grow from half a second on: far fewer requests than 20 s / 0.5 s.
    assert!(awaited.repeats < 20, "{}", awaited.repeats);
    let after = host.quality();
    assert_eq!(after.requests - before.requests, awaited.repeats + 1);
    assert_eq!(after.answered - before.answered, awaited.repeats + 1);
    assert_eq!((after.retries, after.damaged), (0, 0));
}

/// What waits in the device is written once, whatever is asked in between.
#[test]
fn a_slow_write_is_written_once() {
    let bench = slow_bench(R7);
    let mut host = Host::new(bench.clone(), MasterConfig::default());
    let device = find(&mut host);
    let (awaited, _) = wait(&mut host, &device, 22, &[b'A'; 32], Patience::USUAL);
    assert_eq!(data(&awaited.exchange), [b'A'; 32]);
    assert_eq!(text(&ask(&mut host, &device, 20, &[]), "long_tag"), format!("{:?}", "A".repeat(32)));
    bench.with_station(|s| {
        let device = s.device_mut().expect("a device").device_mut();
        assert_eq!(device.stored().configuration_change_counter, 1);
    });
}

/// The words of the four states, and that two of them are no refusals.
#[test]
fn states_and_not_errors() {
    let bench = slow_bench(R7);
    let mut host = Host::new(bench.clone(), MasterConfig::default());
    let device = find(&mut host);
    let mut seen = Vec::new();
    for (command, octets) in [(22, vec![b'A'; 32]), (22, vec![b'A'; 32]), (22, vec![b'B'; 32]), (42, vec![])]
    {
        seen.push(host.ask_octets(&device, command, octets).unwrap());
    }
    seen.push(host.ask_octets(&device, 22, vec![b'A'; 32]).unwrap());
    let told: Vec<_> = seen.iter().map(|e| (e.delay(), e.tone(), words(e))).collect();
    let state = |delay, tone, words: &str| (Some(delay), tone, words.to_owned());
    assert_eq!(
        told,
        [
            state(Delay::Initiated, Tone::Warning, "not yet 33: delayed response initiated"),
            state(Delay::Running, Tone::Warning, "not yet 34: delayed response running"),
            state(Delay::Conflict, Tone::Bad, "refused 36: delayed response conflict"),
            (None, Tone::Plain, "ok".to_owned()),
            state(Delay::Dead, Tone::Bad, "lost 35: delayed response dead"),
        ]
    );
    // Neither is waited for.
    host.ask_octets(&device, 22, vec![b'A'; 32]).unwrap();
    let (awaited, heard) = wait(&mut host, &device, 22, &[b'C'; 32], Patience::USUAL);
    assert_eq!((status(&awaited.exchange)[0], heard.len(), awaited.repeats), (36, 0, 0));
}

/// The bound: the last answer is what it was, and the time is over to the second.
#[test]
fn patience_ends() {
    let bench = slow_bench(R7);
    let mut host = Host::new(bench.clone(), MasterConfig::default());
    let device = find(&mut host);
    let patience = Patience { most: Duration::from_secs(7), ..Patience::USUAL };
    let (awaited, heard) = wait(&mut host, &device, 41, &[], patience);
    assert_eq!(heard.last(), Some(&34));
    assert!(patience.is_later(&awaited.exchange));
    assert!(awaited.waited >= Duration::from_secs(7) && awaited.waited < Duration::from_secs(8));
    // Without patience there is one request, and the result can be fetched by the same one later.
    let (awaited, heard) = wait(&mut host, &device, 41, &[], Patience::NONE);
    assert_eq!((awaited.repeats, heard), (0, vec![34]));
    host.rest(Duration::from_secs(20)).unwrap();
    assert_eq!(wait(&mut host, &device, 41, &[], Patience::NONE).1, [0; 0]);
}

/// An older device says that it is busy: waited out where that is wanted, else told as it is.
#[test]
fn busy_is_waited_out_when_asked_to() {
    for revision in [Revision::R5, Revision::R6] {
        let mut host = Host::new(slow_bench(revision), MasterConfig::default());
        let device = find(&mut host);
        assert_eq!(status(&host.ask_octets(&device, 41, vec![]).unwrap())[0], 0);
        let (awaited, heard) = wait(&mut host, &device, 12, &[], Patience::USUAL);
        assert_eq!((status(&awaited.exchange)[0], heard.len()), (32, 0));
        let busy_too = Patience { busy_too: true, ..Patience::USUAL };
        let (awaited, heard) = wait(&mut host, &device, 12, &[], busy_too);
        assert_eq!(status(&awaited.exchange)[0], 0);
        assert!(heard.len() > 2 && heard.iter().all(|&c| c == 32), "{heard:?}");
    }
}

/// Two masters wait for the same command side by side, and each gets its own answer.
#[test]
fn two_masters_wait_side_by_side() {
    let bench = slow_bench(R7);
    let mut hosts = [Role::Primary, Role::Secondary]
        .map(|role| Host::new(bench.clone(), MasterConfig { role, ..MasterConfig::default() }));
    let device = find(&mut hosts[0]);
    let letters = [b'P', b'S'];
    for (host, letter) in hosts.iter_mut().zip(letters) {
        assert_eq!(status(&host.ask_octets(&device, 22, vec![letter; 32]).unwrap())[0], 33);
    }
    for (host, letter) in hosts.iter_mut().zip(letters) {
        let (awaited, _) = wait(host, &device, 22, &[letter; 32], Patience::USUAL);
        assert_eq!(data(&awaited.exchange), [letter; 32]);
    }
    // The first one overheard the other: transactions of their own, not one with tries.
    let overheard = hosts[0].take_overheard();
    let tries = |p: &Passed| match p {
        Passed::Transaction(t) => Some(t.tries.len()),
        _ => None,
    };
    assert!(overheard.iter().filter_map(tries).all(|n| n == 1));
}

/// A line on which somebody presses Ctrl-C at a moment.
struct Interrupted {
    line: Bench,
    at: Instant,
}

impl Line for Interrupted {
    looprig::says_as_line!(line);
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.line.send(octets)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        if self.line.now() >= self.at {
            return Ok(Event::Interrupted);
        }
        let event = self.line.wait(Some(until.map_or(self.at, |u| u.min(self.at))))?;
        Ok(if self.line.now() >= self.at { Event::Interrupted } else { event })
    }
}

/// Ctrl-C ends the waiting at once, in the middle of a pause too; the device goes on.
#[test]
fn an_interrupt_ends_the_waiting() {
    let bench = slow_bench(R7);
    let at = bench.time() + Duration::from_millis(9_500);
    let mut host = Host::new(Interrupted { line: bench.clone(), at }, MasterConfig::default());
    let device = find(&mut host);
    let mut heard = 0;
    let ended = ask_patiently(&mut host, &device, 41, &[], Patience::USUAL, &mut |_, _| heard += 1);
    assert!(matches!(ended, Err(HostError::Interrupted)));
    assert!(heard > 1);
    assert_eq!(bench.time(), at);
    let mut host = Host::new(bench, MasterConfig::default());
    let (awaited, heard) = wait(&mut host, &device, 41, &[], Patience::USUAL);
    assert_eq!((status(&awaited.exchange)[0], heard[0]), (0, 34));
}
