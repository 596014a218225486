//! `explain`: text that fits the page, JSON and CSV that programs can read, and the right meaning.

use crate::process::{run, scratch};
use crate::{csv, table, too_long};

/// The published reply to command 1 of [1770], its table 4.S: 72.612 degC.
const PUBLISHED: &str = "86 A6 0D 00 15 11 01 07 00 00 20 42 91 39 56 B3";

fn explain(words: &[&str]) -> String {
    let dir = scratch("explain");
    let ended = run(&dir, &[&["explain"], words].concat());
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{words:?}");
    ended.out
}

#[test]
fn everything_in_every_format() {
    let dir = scratch("explain-formats");
    let mut all: Vec<Vec<String>> =
        (0..=64).chain([122, 200, 255]).map(|n: u8| vec!["command".into(), n.to_string()]).collect();
    for octet in [0, 0x08, 0x48, 0x80, 0x88, 0xFE, 0xFF] {
        all.push(vec!["status".into(), octet.to_string()]);
    }
    for words in ["code 6 2", "code 200 99", "unit bar", "unit 57", "unit 170", "timer", "STO", PUBLISHED] {
        all.push(words.split(' ').map(String::from).collect());
    }
    all.push(vec!["300".to_owned()]);
    for words in &all {
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let text = run(&dir, &[&["explain"], words.as_slice()].concat());
        assert_eq!((text.code, text.err.as_str()), (0, ""), "{words:?}");
        assert_eq!(too_long(&text.out), [""; 0], "{words:?}");
        // Above 48 there are no rows: one of them stands for all.
        if words[0] == "command" && words[1].parse::<u8>().unwrap() > 49 {
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
    // Codes from 170 on mean something else in every class.
    assert!(cells(&["unit", "170"]).len() > 1);
}
