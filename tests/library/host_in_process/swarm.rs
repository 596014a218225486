//! Two hundred seeds of bad wires between a good device and a good host.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::app::status::Status;
use looprig::bench::device_station;
use looprig::frame::Octet;
use looprig::host::{Device, Host};
use looprig::line::{Bus, InProcess, Station};
use looprig::link::MasterConfig;
use looprig::time::{Instant, Pace};
use looprig::transaction::Outcome;
use std::time::Duration;

/// Linear congruential generator; its upper bits are used.
struct Lcg(u64);

impl Lcg {
    fn next(&mut self) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as u32
    }
    fn below(&mut self, n: usize) -> usize {
        self.next() as usize % n
    }
    fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }
}

/// What became of an answer of the device on its way.
struct Passage {
    original: Vec<u8>,
    arrived: Vec<u8>,
    /// Octets that have one bit wrong; they are no more than this, and none is missing.
    flipped: Option<Vec<usize>>,
}

/// The device behind wires that spoil octets in both directions and hold answers back.
struct BadWires {
    device: looprig::sim::DeviceStation,
    random: Lcg,
    bad: bool,
    waiting: Option<(Instant, Vec<u8>)>,
    passages: Vec<Passage>,
}

impl BadWires {
    fn spoil(&mut self, now: Instant, original: Vec<u8>) {
        let mut arrived = original.clone();
        let mut flipped = Some(Vec::new());
        let r = &mut self.random;
        let mut delay = Duration::ZERO;
        match r.below(8) {
            0 | 1 => {}
            2 | 3 => {
                for _ in 0..1 + r.below(3) {
                    let (i, bit) = (r.below(arrived.len()), r.below(8));
                    arrived[i] ^= 1 << bit;
                    flipped.get_or_insert_default().push(i);
                }
            }
            4 => {
                for _ in 0..1 + r.below(2) {
                    let i = r.below(arrived.len());
                    arrived.remove(i);
                }
                flipped = None;
            }
            5 => arrived.truncate(r.below(arrived.len())),
            6 => delay = Duration::from_millis(r.below(600) as u64),
            _ => {
                let noise: Vec<u8> = (0..1 + r.below(12)).map(|_| r.next() as u8).collect();
                arrived.splice(0..0, noise);
                flipped = None;
            }
        }
        if arrived.len() < original.len() {
            flipped = None;
        }
        self.waiting = Some((now + delay, arrived.clone()));
        self.passages.push(Passage { original, arrived, flipped });
    }
}

impl Station for BadWires {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        let mut heard = octets.to_vec();
        if self.bad && self.random.one_in(40) {
            if self.random.one_in(2) {
                return;
            }
            heard[0].value ^= 1 << self.random.below(8);
        }
        self.device.handle(now, &heard);
    }
    fn sent(&mut self, now: Instant) {
        self.device.sent(now);
    }
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        if let Some(octets) = self.device.poll_transmit(now) {
            if self.bad {
                self.spoil(now, octets);
            } else {
                self.waiting = Some((now, octets));
            }
        }
        self.waiting.take_if(|w| w.0 <= now).map(|w| w.1).filter(|octets| !octets.is_empty())
    }
    fn wake_at(&self) -> Option<Instant> {
        let held = self.waiting.as_ref().map(|w| w.0);
        held.into_iter().chain(self.device.wake_at()).min()
    }
}

/// Where the delimiter and the byte count stand after five preambles and with a long address: what is wrong there moves
/// the ends of the frame [FR-03] [FR-08].
const ENDS: [usize; 2] = [5, 12];

/// Asks and judges; whether it was answered with success.
fn ask_and_judge(
    host: &mut Host<Shared<BadWires>>,
    line: &Shared<BadWires>,
    device: &Device,
    seed: u64,
) -> bool {
    let from = line.time();
    let exchange = ask(host, device, 13, &[]);
    // 4 tries: 41 characters of silence, a request of 14, an answer of 38 held back by up to 65 (600 ms), which may
    // hide another 41 of silence; below 200 characters, 1.9 s. For each there may be twice as much noise.
    assert!(line.time() - from < Duration::from_secs(16), "seed {seed}: {:?}", line.time() - from);
    let t = &exchange.transaction;
    assert!((1..=4).contains(&t.tries.len()), "seed {seed}");
    let Some(reply) = &t.reply else {
        assert_ne!(t.outcome, Outcome::Answered, "seed {seed}");
        return false;
    };
    let octets: Vec<u8> = reply.octets.iter().skip(reply.preambles).map(|o| o.value).collect();
    assert_eq!(
        octets.iter().fold(0, |x, o| x ^ o),
        0,
        "seed {seed}: wrong check byte accepted: {octets:02X?}"
    );
    line.with_station(|s| {
        // It did arrive like this; the answer to a request before may have been held back until now.
        let passage = s.passages.iter().rfind(|p| p.arrived.windows(octets.len()).any(|w| w == octets));
        let Some(passage) = passage else {
            assert!(!s.bad, "seed {seed}: {octets:02X?} never arrived");
            return;
        };
        // One wrong bit in all, which does not move the ends of the frame, cannot pass the check byte [FR-09].
        if let Some([i]) = passage.flipped.as_deref()
            && !ENDS.contains(i)
            && *i > 5
        {
            panic!("seed {seed}: accepted with a bit of octet {i} wrong: {octets:02X?}");
        }
        if passage.flipped.as_ref().is_some_and(Vec::is_empty) {
            assert!(passage.original.ends_with(&octets), "seed {seed}");
        }
    });
    matches!(exchange.status(), Some(Status::Response(0)))
}

/// Faults on: what is accepted has a right check byte, and every request ends in time. Faults off: traffic is good again
/// from the second request on; the first may still meet an answer that was held back.
#[test]
fn two_hundred_seeds() {
    let (mut answered, mut failed, mut retries) = (0, 0, 0);
    for seed in 0..200 {
        // The test's output is shown when it fails: its last line names the seed.
        println!("seed {seed}");
        let plan = plan([config(Revision::NEWEST_FIRST[seed as usize % 3])]);
        let (device, _) = device_station(0, &plan, None, Duration::ZERO, Instant::ZERO);
        let mut bus = Bus::new(Pace::Wire);
        bus.add_station(BadWires {
            device,
            random: Lcg(seed * 7919 + 1),
            bad: false,
            waiting: None,
            passages: Vec::new(),
        });
        let line = Shared::new(InProcess::new(bus, "mock:bad"));
        let mut host = Host::new(line.clone(), MasterConfig::default());
        let device = find(&mut host);
        line.with_station(|s| s.bad = true);
        for _ in 0..6 {
            match ask_and_judge(&mut host, &line, &device, seed) {
                true => answered += 1,
                false => failed += 1,
            }
        }
        retries += host.quality().retries;
        line.with_station(|s| s.bad = false);
        ask(&mut host, &device, 1, &[]);
        for _ in 0..2 {
            let exchange = ask(&mut host, &device, 13, &[]);
            let t = &exchange.transaction;
            assert_eq!(
                (t.outcome, t.tries.len(), t.interludes.len()),
                (Outcome::Answered, 1, 0),
                "seed {seed}"
            );
            assert!(text(&exchange, "tag").contains("FV-3104"), "seed {seed}");
        }
    }
    // The wires were bad, and retries helped.
    println!("{answered} answered, {failed} failed, {retries} repeats");
    assert!(answered > 800 && failed > 20 && retries > 400, "{answered}, {failed}, {retries}");
}
