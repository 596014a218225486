//! The fixtures themselves are sound: octets that parse, lengths and check bytes that agree, keys that are
//! known. Nothing of looprig is used here, so that what other tests expect does not come from its own code.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

fn octets(text: &str) -> Vec<u8> {
    let one = |s| u8::from_str_radix(s, 16).unwrap_or_else(|e| panic!("{s:?}: {e}"));
    text.split(' ').map(one).collect()
}

fn frame_files() -> Vec<PathBuf> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/frames");
    let mut out: Vec<PathBuf> = fs::read_dir(top).unwrap().map(|e| e.unwrap().path()).collect();
    out.sort();
    out
}

/// The keys of one file; every line is `key = "value"`.
fn keys(path: &Path) -> BTreeMap<String, String> {
    let text = fs::read_to_string(path).unwrap();
    let pair = |line: &str| {
        let (key, value) = line.split_once(" = ").unwrap_or_else(|| panic!("{}: {line}", path.display()));
        let value = value.strip_prefix('"').and_then(|v| v.strip_suffix('"'));
        (key.to_string(), value.unwrap_or_else(|| panic!("{}: {line}", path.display())).to_string())
    };
    text.lines().map(pair).collect()
}

/// Place of the command octet in a frame without expansion octets [FR-01] [FR-03].
fn command_at(frame: &[u8]) -> usize {
    assert_eq!(frame[0] & 0x60, 0, "no published frame has expansion octets");
    if frame[0] & 0x80 == 0 { 2 } else { 6 }
}

/// Byte count [FR-08] and check byte [FR-09] by their definitions.
fn assert_whole(name: &str, frame: &[u8]) {
    let command = command_at(frame);
    assert_eq!(frame.len(), command + 3 + usize::from(frame[command + 1]), "{name}: byte count");
    assert_eq!(frame.iter().fold(0, |x, o| x ^ o), 0, "{name}: check byte");
}

#[test]
fn published_frames_are_whole() {
    let files = frame_files();
    assert!(files.len() > 100, "only {} files", files.len());
    for path in files {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let entry = keys(&path);
        let known: Vec<&str> = entry.keys().map(String::as_str).collect();
        assert_eq!(known, ["check", "kind", "meaning", "octets", "place", "source"], "{name}");
        let data = octets(&entry["octets"]);
        let command = match entry["kind"].as_str() {
            kind @ ("request" | "reply" | "burst") => {
                assert_whole(&name, &data);
                let expected = [("burst", 1), ("request", 2), ("reply", 6)].into_iter().find(|k| k.0 == kind);
                assert_eq!(data[0] & 0x07, expected.unwrap().1, "{name}: delimiter");
                assert!(["published", "computed"].contains(&entry["check"].as_str()), "{name}");
                Some(usize::from(data[command_at(&data)]))
            }
            "direct-pdu" => {
                assert_eq!(data.len(), 5 + usize::from(data[4]), "{name}: byte count");
                assert_eq!(entry["check"], "none", "{name}");
                Some(usize::from(data[2]) << 8 | usize::from(data[3]))
            }
            "reply-payload" => {
                assert_eq!(entry["check"], "none", "{name}");
                None
            }
            other => panic!("{name}: kind {other:?}"),
        };
        let start = format!(
            "{}-cmd{}",
            entry["source"].to_lowercase(),
            command.map_or(String::new(), |n| format!("{n}-"))
        );
        assert!(name.starts_with(&start), "{name}: should begin with {start}");
    }
}

/// [TSHARK] decodes whatever it is given; number 161 has a wrong check byte and number 158 an expansion
/// octet on purpose.
#[test]
fn hand_made_vectors_are_whole() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/vectors/tshark.csv");
    let text = fs::read_to_string(path).unwrap();
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("no,label,octets,fields"));
    let mut seen = 0;
    for line in lines {
        let cells: Vec<&str> = line.splitn(4, ',').collect();
        let frame = octets(cells[2]);
        match cells[0] {
            "158" => assert_eq!(frame[0], 0xA2),
            "161" => assert_ne!(frame.iter().fold(0, |x, o| x ^ o), 0),
            no => assert_whole(no, &frame),
        }
        let shown = cells[3].rsplit_once("pt.checksum=0x").map(|(_, x)| u8::from_str_radix(x, 16));
        assert_eq!(shown, Some(Ok(*frame.last().unwrap())), "{line}");
        seen += 1;
    }
    assert!(seen > 100, "only {seen} vectors");
}
