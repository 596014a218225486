//! Captured sessions of another implementation, replayed as a device: what the suite finds is what the notes list [CO-09].
//!
//! The captures are no part of the project; they lie in ../shared/captures beside it, or in the folder that LOOPRIG_CAPTURES
//! names. Without them nothing is judged here, and the test says so.

use super::rig::{CHARACTER, join};
use looprig::conform::{CannotRun, Suite, Verdict, all};
use looprig::frame::{Octet, RawFrame, Receiver, ReceiverConfig, Reception};
use looprig::host::To;
use looprig::line::{Bus, InProcess, Station};
use looprig::time::{Instant, Pace};
use std::cell::Cell;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::Duration;

/// A frame from the delimiter on, without its check byte and with the master bit clear, and whether that was set.
type Plain = (Vec<u8>, bool);

fn plain(frame: &[u8]) -> Plain {
    let mut frame = frame.to_vec();
    let is_primary = frame[1] & 0x80 != 0;
    frame[1] &= 0x7F;
    (frame, is_primary)
}

/// Answers what was asked in a capture with what was answered there, and is silent to the rest.
struct Replayed {
    answers: BTreeMap<Vec<u8>, (Vec<u8>, bool)>,
    /// Requests that nobody asked in the capture.
    open: Rc<Cell<u32>>,
    receiver: Receiver,
    ready: Option<(Instant, RawFrame)>,
}

impl Station for Replayed {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.receiver.push(octets);
        while let Some(reception) = self.receiver.next() {
            // Damaged requests nobody sent in the capture either.
            let Reception::Good(good) = reception else {
                self.open.set(self.open.get() + 1);
                continue;
            };
            let values: Vec<u8> = good.octets.iter().skip(good.preambles).map(|o| o.value).collect();
            let (asked, is_primary) = plain(&values[..values.len() - 1]);
            let Some((answer, copies)) = self.answers.get(&asked) else {
                self.open.set(self.open.get() + 1);
                continue;
            };
            let mut answer = answer.clone();
            // As it was there: the asker's master bit, or the other one.
            if is_primary == *copies {
                answer[1] |= 0x80;
            }
            // The captures have no preambles: five are ours.
            self.ready = Some((now + CHARACTER, join(5, &answer)));
        }
    }
    fn sent(&mut self, _: Instant) {}
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        let (_, said) = self.ready.take_if(|(at, _)| *at <= now)?;
        Some(said.octets.iter().map(|o| o.value).collect())
    }
    fn wake_at(&self) -> Option<Instant> {
        self.ready.as_ref().map(|(at, _)| *at)
    }
}

/// Requests and answers of a session, from the delimiter to the last octet before the check byte.
type Pairs = Vec<(Vec<u8>, Vec<u8>)>;

/// What the suite finds of cases that only read, one at a time; a fail in which something was asked that the capture does not
/// have is none.
fn findings(pairs: &Pairs) -> Result<Vec<String>, CannotRun> {
    findings_of(pairs, "0")
}

fn findings_of(pairs: &Pairs, name: &str) -> Result<Vec<String>, CannotRun> {
    let open = Rc::new(Cell::new(0));
    let mut found = Vec::new();
    let mut judged = 0;
    for case in all().into_iter().filter(|c| !c.needs.writes && !c.needs.moves) {
        // How many preambles and when is not in a capture of this kind, and what is asked again is not counted in it.
        let untold = ["link/preambles", "link/timing", "common/counters"].contains(&case.section());
        if untold && case.id != "link/preambles/wants-5-to-20" {
            continue;
        }
        let answers = pairs.iter().map(|(request, answer)| {
            let ((request, by_primary), (answer, to_primary)) = (plain(request), plain(answer));
            (request, (answer, by_primary == to_primary))
        });
        let station = Replayed {
            answers: answers.collect(),
            open: open.clone(),
            receiver: Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO)),
            ready: None,
        };
        let mut bus = Bus::new(Pace::Wire);
        bus.add_station(station);
        let mut line = InProcess::new(bus, "capture");
        let to = To::parse(name).expect("an address");
        // Who it is was asked in the capture, by a short frame.
        let mut before = 0;
        let results = Suite::of(vec![case]).run_with(&mut line, &to, &mut |news| {
            if let looprig::conform::Progress::Begins(..) = news {
                before = open.get();
            }
        })?;
        let result = &results.cases[0];
        let untold = open.get() > before;
        judged += usize::from(result.verdict.is_judged() && !untold);
        if let Verdict::Fail { expected, observed } = &result.verdict
            && !untold
        {
            println!("{} [{}]: {expected}; {observed}", case.id, case.requirement);
            found.push(case.id.to_owned());
        }
    }
    println!("{judged} judged");
    assert!(judged >= 10, "only {judged} cases were judged");
    Ok(found)
}

/// The payload of each UDP or TCP packet of a pcapng file, Ethernet and IPv4.
fn payloads(file: &[u8]) -> Vec<&[u8]> {
    let u32_at =
        |at: usize| file.get(at..at + 4).map(|o| u32::from_le_bytes(o.try_into().expect("four")) as usize);
    let mut out = Vec::new();
    let mut at = 0;
    while let (Some(kind), Some(length)) = (u32_at(at), u32_at(at + 4).filter(|n| *n >= 12)) {
        if kind == 6 {
            let size = u32_at(at + 20).expect("a whole block");
            let packet = &file[at + 28..at + 28 + size];
            if packet[12..14] != [0x08, 0x00] {
                at += length;
                continue;
            }
            let ip = &packet[14..14 + usize::from(u16::from_be_bytes([packet[16], packet[17]]))];
            let inner = &ip[usize::from(ip[0] & 15) * 4..];
            let head = if ip[9] == 17 { 8 } else { usize::from(inner[12] >> 4) * 4 };
            out.push(&inner[head.min(inner.len())..]);
        }
        at += length;
    }
    out
}

/// Messages of HART-IP: type, id, body [ICS].
fn messages(file: &[u8]) -> Vec<(u8, u8, Vec<u8>)> {
    let mut out = Vec::new();
    for mut rest in payloads(file) {
        while rest.len() >= 8 && rest[0] == 1 {
            let length = usize::from(u16::from_be_bytes([rest[6], rest[7]]));
            if length < 8 || length > rest.len() {
                break;
            }
            out.push((rest[1] & 15, rest[2], rest[8..length].to_vec()));
            rest = &rest[length..];
        }
    }
    out
}

/// Frames that were passed on (id 3), each answer behind its request; check bytes left out.
fn passed_on(file: &[u8]) -> Pairs {
    let mut asked = None;
    let mut out = Vec::new();
    for (kind, id, body) in messages(file) {
        let frame: Vec<u8> = body.iter().copied().skip_while(|&o| o == 0xFF).collect();
        match (kind, id, frame.split_last()) {
            (0, 3, Some((_, f))) => asked = Some(f.to_vec()),
            (1, 3, Some((_, f))) => out.extend(asked.take().map(|a| (a, f.to_vec()))),
            _ => {}
        }
    }
    out
}

/// Commands of the server itself (id 4) as frames of the device that its command 0 names: device status and extended status, then
/// number, byte count and data of each; an answer's first data octet is the response code [ICS].
fn direct(file: &[u8], unique: [u8; 5]) -> Pairs {
    let frame = |delimiter: u8, command: u8, data: &[u8]| {
        [&[delimiter][..], &unique, &[command, data.len() as u8], data].concat()
    };
    let mut asked: Option<(u8, Vec<u8>)> = None;
    let mut out = Vec::new();
    for (kind, id, body) in messages(file) {
        let (4, Some(&[status, _, 0, command, count])) = (id, body.first_chunk::<5>()) else { continue };
        let data = &body[5..5 + usize::from(count)];
        if kind == 0 {
            asked = Some((command, data.to_vec()));
        } else if let Some((was, sent)) = asked.take().filter(|(was, _)| *was == command) {
            let told = [&[data[0], status], &data[1..]].concat();
            out.push((frame(0x82, was, &sent), frame(0x86, command, &told)));
            // It is found at polling address 0, for a server is asked without an address.
            if command == 0 {
                out.push((vec![0x02, 0x00, 0, 0], [&[0x06, 0x00, 0, told.len() as u8], &told[..]].concat()));
            }
        }
    }
    out
}

fn capture(name: &str) -> Option<Vec<u8>> {
    let here = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let folder = std::env::var_os("LOOPRIG_CAPTURES").map_or(here.join("../shared/captures"), PathBuf::from);
    let read = std::fs::read(folder.join(name)).ok();
    if read.is_none() {
        println!("{name} is not in {}: LOOPRIG_CAPTURES names another folder", folder.display());
    }
    read
}

#[test]
fn the_gateway() {
    let Some(file) = capture("hart-ip.pcap") else { return };
    let found = findings(&passed_on(&file)).expect("it is identified");
    assert_eq!(
        found,
        ["status/device/malfunction-goes-with-command-48", "status/device/extended-status-undefined-bits"]
    );
}

/// The device behind it answers every right request with communication error 84 to the other master: nobody can say who it is.
#[test]
fn the_device_that_always_errs() {
    let Some(file) = capture("hart-ip_all_types_and_commands_sent.pcapng") else { return };
    let pairs = passed_on(&file);
    // Its address is in its frames; asked by it, for no short frame is in the capture.
    assert!(pairs.iter().all(|(asked, _)| asked[1..6] == [0x26, 0x95, 0xEB, 0x27, 0xB8]) && pairs.len() > 30);
    let error = findings_of(&pairs, "26 95 EB 27 B8").expect_err("it is not identified");
    let CannotRun::NoDevice(words) = &error else { panic!("{error}") };
    assert!(words.contains("communication error 84"), "{words}");
}

#[test]
fn the_io_system_itself() {
    let Some(file) = capture("hart-ip_all_types_and_commands_sent.pcapng") else { return };
    let found = findings(&direct(&file, [0x39, 0xFD, 0x95, 0x26, 0x6F])).expect("it is identified");
    assert_eq!(found, ["link/preambles/wants-5-to-20"]);
}
