//! What several test programs need: octets from hex, the receiver run over them, the files of `fixtures/`.

// Each test program uses its own part of it.
#![allow(dead_code)]

pub mod counting;
#[cfg(feature = "bench-file")]
pub mod coverage;
#[cfg(feature = "bench-file")]
pub mod exchanges;
pub mod vectors;

use looprig::exchange::{Exchange, Interpreter, read_alone};
use looprig::frame::{Good, Octet, Receiver, ReceiverConfig, Reception};
use looprig::time::{BitTimes, Instant, Pace};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::time::Duration;

/// Octets from pairs of hex digits with blanks between them.
pub fn octets(text: &str) -> Vec<u8> {
    let one = |s| u8::from_str_radix(s, 16).unwrap_or_else(|e| panic!("{s:?} in {text:?}: {e}"));
    text.split(' ').map(one).collect()
}

/// Pairs of hex digits with blanks between them.
pub fn hex(octets: &[u8]) -> String {
    octets.iter().map(|o| format!("{o:02X}")).collect::<Vec<_>>().join(" ")
}

/// Five octets of FF in front, as a master that does not know better sends them [FR-02].
pub fn after_preambles(frame: &[u8]) -> Vec<u8> {
    [&[0xFF; 5][..], frame].concat()
}

/// Clean octets, one right after the other, the first of them begun at `from`.
pub fn stamped(values: &[u8], from: Instant) -> Vec<Octet> {
    let step = BitTimes::characters(1).duration();
    let mut at = from;
    let one = |&v| {
        at += step;
        Octet::clean(at, v)
    };
    values.iter().map(one).collect()
}

/// What the receiver makes of `octets` at the wire's own pace; nothing is lost on the way.
pub fn receive(octets: &[Octet]) -> Vec<Reception> {
    let mut receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO));
    receiver.push(octets);
    receiver.finish();
    let out: Vec<Reception> = std::iter::from_fn(|| receiver.next()).collect();
    let account: Vec<Octet> = out.iter().flat_map(|r| r.octets().to_vec()).collect();
    assert_eq!(account, octets, "the receiver's account does not close");
    out
}

/// The one good frame in `frame` after five preambles.
pub fn good(name: &str, frame: &[u8]) -> Good {
    let mut got = receive(&stamped(&after_preambles(frame), Instant::ZERO));
    match (got.pop(), got.is_empty()) {
        (Some(Reception::Good(good)), true) => good,
        other => panic!("{name}: {other:?}"),
    }
}

/// A frame's meaning when nothing else passed.
pub fn meaning(name: &str, frame: &[u8], interpreter: &mut Interpreter) -> Exchange {
    read_alone(interpreter, good(name, frame))
}

/// One file of `fixtures/frames`.
pub struct Fixture {
    /// File name without its ending.
    pub name: String,
    /// Its keys; every line is `key = "value"`.
    keys: BTreeMap<String, String>,
    /// Its octets.
    pub octets: Vec<u8>,
}

impl Fixture {
    /// A key's value.
    pub fn key(&self, key: &str) -> &str {
        &self.keys[key]
    }

    /// Whether it is a frame from delimiter to check byte.
    pub fn is_frame(&self) -> bool {
        matches!(self.key("kind"), "request" | "reply" | "burst")
    }

    /// Capture file and packet number, for frames that come from a capture.
    pub fn packet(&self) -> Option<(&str, u32)> {
        let (file, packet) = self.key("place").split_once(" packet ")?;
        Some((file, packet.parse().ok()?))
    }
}

/// All files of `fixtures/frames`, by name.
pub fn fixtures() -> Vec<Fixture> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/frames");
    let read = |path: &Path| {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let text = fs::read_to_string(path).unwrap();
        let pair = |line: &str| {
            let (key, value) = line.split_once(" = ").unwrap_or_else(|| panic!("{name}: {line}"));
            (key.to_owned(), value.trim_matches('"').to_owned())
        };
        let keys: BTreeMap<String, String> = text.lines().map(pair).collect();
        let octets = octets(&keys["octets"]);
        Fixture { name, keys, octets }
    };
    let mut out: Vec<Fixture> =
        fs::read_dir(top).unwrap().map(|entry| read(&entry.unwrap().path())).collect();
    out.sort_by(|a, b| a.name.cmp(&b.name));
    assert!(out.iter().filter(|f| f.is_frame()).count() >= 90, "only {} fixtures", out.len());
    out
}

/// The octets of one file of `fixtures/frames`.
pub fn fixture(name: &str) -> Vec<u8> {
    let all = fixtures();
    let one = all.into_iter().find(|f| f.name == name);
    one.unwrap_or_else(|| panic!("fixtures/frames has no {name}.toml")).octets
}
