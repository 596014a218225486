//! The files of `fixtures/exchanges`: data put together by hand from the notes.

use looprig::app::command::{Direction, Revision};
use serde::Deserialize;
use serde_json::Value as Json;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Data of one direction of a command, and all values in them by name.
pub struct ByHand {
    /// File name without its ending.
    pub file: String,
    /// Command number.
    pub command: u16,
    /// Revisions whose notes have this layout, oldest first.
    pub revisions: Vec<Revision>,
    /// Which way the data travel.
    pub direction: Direction,
    /// The requirement that they follow.
    pub cites: String,
    /// The data, without status octets.
    pub data: Vec<u8>,
    /// All values in them.
    pub values: BTreeMap<String, Json>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    exchange: Vec<Exchange>,
    #[serde(default)]
    no_data: Vec<NoData>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Exchange {
    command: u16,
    revisions: String,
    direction: String,
    cites: String,
    octets: String,
    #[serde(default)]
    values: BTreeMap<String, Json>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NoData {
    direction: String,
    revisions: String,
    commands: Vec<u16>,
}

/// `7` or `5-7`.
fn revisions(text: &str) -> Vec<Revision> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let number = |s: &str| s.parse::<u8>().unwrap_or_else(|e| panic!("revisions {text:?}: {e}"));
    let known = |n| Revision::new(n).unwrap_or_else(|| panic!("revisions {text:?}"));
    let all: Vec<Revision> = (number(first)..=number(last)).map(known).collect();
    assert!(!all.is_empty(), "revisions {text:?}");
    all
}

fn direction(text: &str) -> Direction {
    match text {
        "request" => Direction::Request,
        "reply" => Direction::Reply,
        other => panic!("direction {other:?}"),
    }
}

/// All of them, by file and place in it.
pub fn by_hand() -> Vec<ByHand> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/exchanges");
    let mut paths: Vec<_> = fs::read_dir(top).unwrap().map(|e| e.unwrap().path()).collect();
    paths.sort();
    let mut out = Vec::new();
    for path in paths {
        let file = path.file_stem().unwrap().to_string_lossy().into_owned();
        let text = fs::read_to_string(&path).unwrap();
        let parsed: File = toml::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        out.extend(parsed.exchange.into_iter().map(|e| ByHand {
            file: file.clone(),
            command: e.command,
            revisions: revisions(&e.revisions),
            direction: direction(&e.direction),
            cites: e.cites,
            data: if e.octets.is_empty() { Vec::new() } else { crate::support::octets(&e.octets) },
            values: e.values,
        }));
        for n in parsed.no_data {
            out.extend(n.commands.iter().map(|&command| ByHand {
                file: file.clone(),
                command,
                revisions: revisions(&n.revisions),
                direction: direction(&n.direction),
                cites: format!("CM-{command:03}"),
                data: Vec::new(),
                values: BTreeMap::new(),
            }));
        }
    }
    out
}
