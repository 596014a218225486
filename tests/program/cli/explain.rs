//! `explain`: text that fits the page, JSON and CSV that programs can read, and the right meaning.

use super::{csv, table, too_long};
use crate::process::{run, scratch};
use std::path::Path;

/// The published reply to command 1 of [1770], its table 4.S: 72.612 degC.
const PUBLISHED: &str = "86 A6 0D 00 15 11 01 07 00 00 20 42 91 39 56 B3";

fn explain(words: &[&str]) -> String {
    // It writes nothing, and tests beside this one run at the same time: the directory is nobody's own.
    let dir = std::env::temp_dir();
    let ended = run(&dir, &[&["explain"], words].concat());
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{words:?}");
    ended.out
}

#[test]
fn everything_in_every_format() {
    let dir = scratch("explain-formats");
    let mut all: Vec<Vec<String>> = (0..=120)
        .chain([127, 200, 255, 300, 512, 513])
        .map(|n: u16| vec!["command".into(), n.to_string()])
        .collect();
    for octet in [0, 0x08, 0x48, 0x80, 0x88, 0xFE, 0xFF] {
        all.push(vec!["status".into(), octet.to_string()]);
    }
    for words in ["code 6 2", "code 200 99", "unit bar", "unit 57", "unit 170", "timer", "STO", PUBLISHED] {
        all.push(words.split(' ').map(String::from).collect());
    }
    all.push(vec!["300".to_owned()]);
    // The formats of the tables do not depend on the command: few stand for all.
    let many = |words: &[&str]| words[0] == "command" && words[1].parse::<u16>().unwrap() % 5 > 0;
    for words in &all {
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let text = run(&dir, &[&["explain"], words.as_slice()].concat());
        assert_eq!((text.code, text.err.as_str()), (0, ""), "{words:?}");
        assert_eq!(too_long(&text.out), [""; 0], "{words:?}");
        if many(&words) {
            continue;
        }
        let json = run(&dir, &[&["explain", "--format", "json"], words.as_slice()].concat());
        let objects = json.json();
        assert!(!objects.is_empty() && objects.iter().all(|o| o["about"].is_string()), "{words:?}");
        let rows = table(&run(&dir, &[&["explain", "--format", "csv"], words.as_slice()].concat()).out);
        assert_eq!(rows.len(), objects.len(), "{words:?}");
        for (row, object) in rows.iter().zip(&objects) {
            let cells: Vec<&str> =
                object.as_object().unwrap().values().map(|v| v.as_str().unwrap()).collect();
            assert_eq!(row, &cells, "{words:?}");
        }
    }
}

/// [FR-03] [FR-06] [FR-16]; 42913956 is 1.134562 x 64 = 72.612 (IEEE 754).
#[test]
fn a_published_frame() {
    let text = explain(&[PUBLISHED]);
    for part in ["ACK", "260D001511", "primary master", "read primary variable", "ok", "degC", "72.612"] {
        assert!(text.contains(part), "{part:?} is missing in {text}");
    }
    // As one word, as several, and with its preamble.
    let words: Vec<&str> = PUBLISHED.split(' ').collect();
    assert_eq!(explain(&words), text);
    assert!(explain(&[&format!("FF FF FF FF FF {PUBLISHED}")]).contains("5 octets [FR-02]"));
    assert!(explain(&[&format!("FF {PUBLISHED}")]).contains("1 octet [FR-02]"));
    // Options may stand behind the words.
    assert!(csv(&explain(&[PUBLISHED, "--format", "csv"])).len() > 8);
    assert!(explain(&[PUBLISHED, "--revision", "5"]).contains("72.612"));
}

/// [CM-078] put together by hand: command 2 inside, answered with 12 mA (41 40 00 00) and 50 % (42 48 00 00) at octets 16
/// and 20; the check byte is the exclusive-or of the rest.
#[test]
fn a_command_inside_another() {
    let mut frame = vec![0x86, 0x3D, 0x71, 0x00, 0x31, 0x04, 78, 16, 0, 0, 0, 1, 0, 2, 9, 0];
    frame.extend([0x41, 0x40, 0, 0, 0x42, 0x48, 0, 0]);
    frame.push(frame.iter().fold(0, |x: u8, o| x ^ o));
    let hex: Vec<String> = frame.iter().map(|o| format!("{o:02X}")).collect();
    let rows = csv(&explain(&[&hex.join(" "), "--format", "csv"]));
    let row = |place: &str| rows.iter().find(|r| r.contains(&place.to_owned())).cloned().unwrap_or_default();
    assert!(
        row("15").contains(&"command 2, read loop current and percent of range: ok".to_owned()),
        "{rows:?}"
    );
    assert!(row("16").contains(&"inside: loop current".to_owned()), "{rows:?}");
    assert!(row("16").contains(&"12 mA".to_owned()) && row("20").contains(&"50 %".to_owned()), "{rows:?}");
}

/// [ST-01] [ST-02]: 40 configuration changed, 08 loop current fixed; as a communication error 88 is
/// the longitudinal parity.
#[test]
fn status_octets() {
    for form in [&["status", "0x48"][..], &["status", "72"], &["0x48"]] {
        let text = explain(form);
        assert!(text.contains("configuration changed") && text.contains("loop current fixed"), "{text}");
        assert!(!text.contains("malfunction"), "{text}");
    }
    assert!(explain(&["status", "0x88"]).contains("longitudinal parity error"));
    assert!(explain(&["status", "0"]).contains("nothing to report"));
}

/// [CM-006]: code 2 is "invalid polling address". [CM-022]: what a command does is told.
#[test]
fn codes_and_commands() {
    assert!(explain(&["code", "6", "2"]).contains("invalid polling address"));
    let text = explain(&["6"]);
    assert!(text.contains("write polling address") && text.contains("may change what the valve does"));
    assert!(explain(&["command", "22"]).contains("changes what the device stores"));
    assert!(explain(&["0"]).contains("reads only"));
}

/// [CM-034] [CM-063] [CM-091] [CM-105] [CM-078]: rows of common practice read well: effect, places, forms.
#[test]
fn common_practice() {
    let text = explain(&["34"]);
    for part in ["may change what the valve does", "CM-034", "grade H", "0-3", "damping in s"] {
        assert!(text.contains(part), "{part:?} is missing in {text}");
    }
    let text = explain(&["63"]);
    assert!(text.contains("revision 7, reply") && text.contains("revisions 5 to 6, reply"), "{text}");
    assert!(text.contains("bits [TB-10]"), "{text}");
    assert!(explain(&["91"]).contains("layout not known"));
    // The places of the older form are two less behind the command.
    let rows = table(&explain(&["105", "--format", "csv"]));
    let places = |name: &str| {
        let of = rows.iter().filter(|r| r[2] == name);
        of.map(|r| r[1].clone()).collect::<Vec<_>>()
    };
    assert_eq!(places("trigger_level"), ["25-28", "23-26"]);
    assert_eq!(places("slot7_code"), ["9", "9"]);
    assert_eq!(places("burst_command"), ["12-13"]);
    assert!(explain(&["78"]).contains("as many slots as said"));
    // [KRO] revision 5 answers 28 to a wrong unit, [FCI] revision 7 answers 18.
    let rows = table(&explain(&["35", "--format", "csv"]));
    let revisions = |code: &str| rows.iter().find(|r| r[5] == code).map(|r| r[8].clone());
    assert_eq!(revisions("28").as_deref(), Some("5, 6"));
    assert_eq!(revisions("18").as_deref(), Some("7"));
}

/// `protocol-notes/commands.md` is what looprig makes of its rows, and has every row.
#[test]
fn the_catalogue_is_up_to_date() {
    let text = explain(&["--all"]);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocol-notes/commands.md");
    let kept = std::fs::read_to_string(&path).expect("protocol-notes/commands.md");
    let first = text.lines().zip(kept.lines()).position(|(a, b)| a != b);
    assert!(
        text == kept,
        "protocol-notes/commands.md differs from line {} on: make it again with `looprig explain --all`",
        first.map_or(0, |n| n + 1)
    );
    let headings = text.lines().filter(|l| l.starts_with("## "));
    assert_eq!(headings.count(), looprig::app::command::all().len());
    for row in looprig::app::command::all() {
        assert!(text.contains(&format!("\n## {} {}\n", row.number, row.name)), "{}", row.number);
        assert!(text.contains(&format!("[{}], grade {}.", row.cites, row.grade.letter())), "{}", row.number);
    }
}

/// [LL-02] 28 characters of 11 bits at 1200 bit/s are 256.7 ms, [LL-04] 8 are 73.3 ms,
/// [LL-05] 33 are 302.5 ms and 41 are 375.8 ms.
#[test]
fn timers() {
    let text = explain(&["timer"]);
    for part in ["STO", "28", "256.7", "RT2", "73.3", "RT1 primary", "302.5", "RT1 secondary", "375.8"] {
        assert!(text.contains(part), "{part:?} is missing in {text}");
    }
    let one = explain(&["timer", "STO"]);
    assert!(one.contains("256.7") && !one.contains("302.5"), "{one}");
}

/// [UN-01]: 7 is bar, 57 percent.
#[test]
fn units() {
    let cells = |words: &[&str]| table(&explain(&[words, &["--format", "csv"]].concat()));
    assert_eq!(cells(&["unit", "bar"])[0][1..3], ["7", "bar"]);
    assert_eq!(cells(&["unit", "57"])[0][1..3], ["57", "%"]);
    // [UN-04]: 0.45359237 x 9.80665 / 0.0254 / 0.0254 = 6894.75729 Pa, a single has 6894.7573; (1 + 273.15) K. Percent is not converted.
    assert_eq!(cells(&["unit", "psi"])[0][5], "1 psi = 6894.7573 Pa");
    assert_eq!(cells(&["unit", "degC"])[0][5], "1 degC = 274.15 K");
    assert_eq!(cells(&["unit", "%"])[0][5], "");
    // Codes from 170 on mean something else in every class.
    assert!(cells(&["unit", "170"]).len() > 1);
}
