//! `wave`, and recordings with `decode` and `listen`: made, read, followed, piped, refused.

use super::{WIDTH, table, too_long};
use crate::process::{looprig, run, scratch};
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Stdio;

/// A published request and its reply [1770], preambles in front.
const TALK: &str = "FF FF FF FF FF 02 80 00 00 82
FF FF FF FF FF 06 80 00 0E 00 00 FE 26 0D 06 05 02 01 50 00 00 15 11 09
";

fn made(dir: &Path, more: &[&str]) -> String {
    fs::write(dir.join("talk.txt"), TALK).unwrap();
    let mut arguments = vec!["wave", "make", "talk.txt", "--out", "talk.wav", "--force"];
    arguments.extend(more);
    let told = run(dir, &arguments);
    assert_eq!((told.code, told.err.as_str()), (0, ""), "{more:?}");
    told.out
}

/// The octets of every record in a log.
fn octets(log: &Path) -> Vec<String> {
    let text = fs::read_to_string(log).unwrap();
    let of = |line: &str| {
        serde_json::from_str::<serde_json::Value>(line).unwrap()["o"].as_str().unwrap().to_owned()
    };
    text.lines().skip(1).map(of).collect()
}

fn sent() -> Vec<String> {
    TALK.lines().map(|l| l.replace(' ', "")).collect()
}

#[test]
fn what_is_made_is_read_in_every_form() {
    let dir = scratch("wave-forms");
    for (n, more) in [
        &[][..],
        &["--rate", "8000", "--bits", "8"],
        &["--rate", "44100", "--bits", "24", "--level", "0.05"],
        &["--rate", "192000", "--bits", "32"],
        &["--bits", "float", "--tones", "-3", "--bit-rate", "2"],
        &["--noise", "0.05", "--seed", "3"],
    ]
    .into_iter()
    .enumerate()
    {
        made(&dir, more);
        let log = format!("{n}.log");
        let heard = run(&dir, &["listen", "-q", "wav:talk.wav", "--log", &log]);
        assert_eq!((heard.code, heard.err.as_str()), (0, ""), "{more:?}");
        assert_eq!(octets(&dir.join(&log)), sent(), "{more:?}");
        // decode says the same as listen, and the same as of the log.
        let decoded = run(&dir, &["decode", "-q", "talk.wav"]);
        assert_eq!((decoded.code, &decoded.out), (0, &heard.out), "{more:?}");
        assert_eq!(run(&dir, &["decode", "-q", &log]).out, heard.out);
    }
}

#[test]
fn pipes_and_files_that_grow() {
    let dir = scratch("wave-pipes");
    made(&dir, &[]);
    let wave = fs::read(dir.join("talk.wav")).unwrap();
    let piped = |arguments: &[&str], input: &[u8]| {
        let mut child =
            looprig(&dir, arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        // A reader that has heard enough may be gone.
        let _ = child.stdin.take().unwrap().write_all(input);
        String::from_utf8(child.wait_with_output().unwrap().stdout).unwrap()
    };
    let whole = run(&dir, &["decode", "-q", "talk.wav"]).out;
    assert_eq!(whole.lines().count(), 2, "{whole}");
    assert_eq!(piped(&["listen", "-q", "wav:-"], &wave), whole);
    assert_eq!(piped(&["decode", "-q", "-"], &wave), whole);
    let out = looprig(&dir, &["wave", "make", "talk.txt", "--out", "-"]).output().unwrap();
    assert_eq!((out.status.code(), out.stdout == wave), (Some(0), true), "a wave on standard output");
    // Half of it is there, the rest comes while it is followed.
    let (head, tail) = wave.split_at(wave.len() / 2);
    fs::write(dir.join("grows.wav"), head).unwrap();
    let child =
        looprig(&dir, &["listen", "-q", "wav:grows.wav?follow", "--for", "0.48", "--log", "grows.log"])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
    fs::OpenOptions::new().append(true).open(dir.join("grows.wav")).unwrap().write_all(tail).unwrap();
    let ended = child.wait_with_output().unwrap();
    assert!(ended.status.success());
    assert_eq!(String::from_utf8(ended.stdout).unwrap(), whole);
}

#[test]
fn tables_of_an_oscilloscope() {
    let dir = scratch("wave-tables");
    made(&dir, &["--rate", "9600", "--level", "0.5"]);
    let wave = fs::read(dir.join("talk.wav")).unwrap();
    let samples: Vec<f64> =
        wave[44..].chunks_exact(2).map(|b| f64::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0).collect();
    let whole = run(&dir, &["decode", "-q", "talk.wav"]).out;
    let write = |name: &str, head: &str, row: &dyn Fn(f64, f64) -> String| {
        let rows: Vec<String> = samples.iter().enumerate().map(|(n, s)| row(n as f64 / 9600.0, *s)).collect();
        fs::write(dir.join(name), format!("{head}{}\n", rows.join("\n"))).unwrap();
    };
    write("a.csv", "Model,bench\nTime (s),CH1 (V)\n", &|t, v| format!("{t:.7},{v:.4}"));
    write("b.csv", "Zeit (ms);Kanal A (mV)\r\n", &|t, v| {
        format!("{:.4};{:.1}", t * 1e3, v * 1e3).replace('.', ",") + "\r"
    });
    write("c.txt", "Sample Interval\t1.04166667e-4\n", &|_, v| format!("{v:.4}"));
    for name in ["a.csv", "b.csv"] {
        let told = run(&dir, &["decode", "-q", name]);
        assert_eq!((told.code, told.err.as_str(), &told.out), (0, "", &whole), "{name}");
        // Volts are known, so levels have a limit.
        let report = run(&dir, &["wave", "read", name]);
        assert_eq!(report.code, 0, "{}", report.out);
        assert!(report.out.contains("mV pp") && report.out.contains("120 mV to 1.5 V"), "{}", report.out);
    }
    assert_eq!(run(&dir, &["listen", "-q", "wav:c.txt"]).out, whole);
    // A hole of five rows in silence is filled in and told.
    let text = fs::read_to_string(dir.join("a.csv")).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    fs::write(dir.join("holed.csv"), [&lines[..100], &lines[105..]].concat().join("\n")).unwrap();
    let told = run(&dir, &["decode", "-q", "holed.csv"]);
    assert_eq!(told.out.lines().count(), 2);
    assert!(
        told.err.contains("5 missing samples were filled in") && told.err.contains("line 101"),
        "{}",
        told.err
    );
}

#[test]
fn a_report_in_every_format() {
    let dir = scratch("wave-report");
    made(&dir, &["--level", "0.5"]);
    let told = run(
        &dir,
        &["wave", "read", "talk.wav", "--full-scale", "1", "--eye", "eye.svg", "--spectrum", "s.svg"],
    );
    assert_eq!((told.code, told.err.as_str()), (0, ""), "{}", told.out);
    assert_eq!(too_long(&told.out), Vec::<&str>::new(), "wider than {WIDTH}");
    for word in
        ["primary master", "device 0", "level of ones", "jitter", "[TIER4]", "2 whole frames, 0 damaged"]
    {
        assert!(told.out.contains(word), "{word}: {}", told.out);
    }
    for (name, word) in [("eye.svg", "374 bits"), ("s.svg", "Hz")] {
        let svg = fs::read_to_string(dir.join(name)).unwrap();
        assert!(svg.contains(word) && svg.trim_end().ends_with("</svg>"), "{name}");
    }
    let again = run(&dir, &["wave", "read", "talk.wav", "--eye", "eye.svg"]);
    again.refused(&["eye.svg", "exists"]);
    let csv = run(&dir, &["--format", "csv", "wave", "read", "talk.wav", "--full-scale", "1"]);
    assert_eq!(table(&csv.out).len(), 2 * 14);
    let json = run(&dir, &["--format", "json", "wave", "read", "talk.wav"]).json();
    assert_eq!(json.len(), 2 * 14);
    // A weak signal is told, with what to do, and is exit code 1.
    made(&dir, &["--level", "0.1"]);
    let weak = run(&dir, &["wave", "read", "talk.wav", "--full-scale", "1"]);
    assert_eq!(weak.code, 1);
    assert!(weak.out.contains("LOOK") && weak.out.contains("larger resistor"), "{}", weak.out);
}

#[test]
fn through_the_loop_of_a_sheet() {
    let dir = scratch("wave-sheet");
    let sheet = |name: &str| format!("{}/fixtures/sheets/{name}", env!("CARGO_MANIFEST_DIR"));
    // `looprig wiring` says 538 and 473 mV peak to peak at the master; both are computed by the same circuit, so what is
    // checked here is that the wave has them, and the receiver sees them.
    let told = made(&dir, &["--through", &sheet("fv-3104.toml")]);
    assert!(told.contains("device: 1 transmission, 538.1 and 473.0 mV"), "{told}");
    let csv = run(&dir, &["--format", "csv", "wave", "read", "talk.wav", "--full-scale", "1"]);
    let rows = table(&csv.out);
    let level = |who: &str, what: &str| {
        let row = rows.iter().find(|r| r[0].starts_with(who) && r[1] == what).unwrap();
        row[2].split(' ').next().unwrap().parse::<f64>().unwrap()
    };
    assert!((level("device", "level of ones") / 538.1 - 1.0).abs() < 0.03, "{}", csv.out);
    assert!((level("device", "level of zeros") / 473.0 - 1.0).abs() < 0.03, "{}", csv.out);
    // Noise of a sheet, and what it is expected to cost.
    let told = made(&dir, &["--through", &sheet("noisy.toml")]);
    assert!(told.contains("Eb/N0 10.3 dB") && told.contains("expected to be damaged"), "{told}");
}

#[test]
fn what_cannot_be_made_or_read() {
    let dir = scratch("wave-refused");
    made(&dir, &[]);
    fs::write(dir.join("words.txt"), "hello\n").unwrap();
    fs::write(dir.join("slow.csv"), "Time (s),V\n0,0.1\n0.1,0.2\n0.2,0.1\n0.3,-0.1\n").unwrap();
    let silence = run(&dir, &["wave", "make", "talk.txt", "--out", "s.wav", "--full-scale", "1000000"]);
    assert_eq!(silence.code, 0);
    for (arguments, words) in [
        (&["wave", "make", "talk.txt", "--out", "talk.wav"][..], &["exists", "--force"][..]),
        (&["wave", "make", "none.txt", "--out", "x.wav"], &["none.txt", "no such file"]),
        (&["wave", "make", "words.txt", "--out", "x.wav"], &["no octets"]),
        (&["wave", "make", "talk.txt", "--out", "x.wav", "--rate", "4000"], &["4000"]),
        (&["wave", "make", "talk.txt", "--out", "x.wav", "--tones", "9"], &["too far off"]),
        (&["wave", "read", "none.wav"], &["opening none.wav", "no such file"]),
        (&["wave", "read", "words.txt"], &["rows of numbers"]),
        (&["wave", "read", "slow.csv"], &["10 samples a second"]),
        (&["wave", "read", "s.wav"], &["no transmission was found"]),
        (&["decode", "s.wav"], &["no characters", "wave read"]),
        (&["wave", "read", "talk.wav", "--channel", "2"], &["channel 2"]),
        (&["listen", "wav:none.wav"], &["no such file", "wav:-"]),
        (&["listen", "wav:"], &["needs a file"]),
        (&["listen", "wav:x?pace=8"], &["no option of this line"]),
        (&["ask", "wav:talk.wav", "0"], &["only be listened to", "line of a modem"]),
        (&["scan", "wav:talk.wav"], &["only be listened to"]),
        (&["line", "wav:talk.wav", "--send"], &["only be listened to"]),
        (&["line", "wav:none.wav"], &["only be listened to"]),
        (&["conform", "wav:talk.wav"], &["only be listened to"]),
        (&["settings", "save", "wav:talk.wav", "x.toml"], &["only be listened to"]),
    ] {
        let told = run(&dir, arguments);
        assert_eq!(told.code, 2, "{arguments:?}: {}{}", told.out, told.err);
        for word in words {
            assert!(told.err.contains(word), "{arguments:?}: {word:?} is missing in {}", told.err);
        }
    }
}

/// A log of two transmissions, the second `later_s` after the first.
fn log_with_pause(dir: &Path, later_s: u64) {
    made(dir, &[]);
    let _ = fs::remove_file(dir.join("talk.log"));
    assert_eq!(run(dir, &["listen", "-q", "wav:talk.wav", "--log", "talk.log"]).code, 0);
    let text = fs::read_to_string(dir.join("talk.log")).unwrap();
    let mut lines: Vec<serde_json::Value> = text.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(lines.len(), 3, "{text}");
    // Times are in ns.
    lines[2]["t"] = (lines[2]["t"].as_u64().unwrap() + later_s * 1_000_000_000).into();
    let text: Vec<String> = lines.iter().map(|l| l.to_string()).collect();
    // The keys are sorted by now, and a header begins with its own.
    let text = text.join("\n") + "\n";
    fs::write(dir.join("paused.log"), text).unwrap();
}

#[test]
fn silence_has_a_bound_and_a_large_file_is_told_before() {
    let dir = scratch("wave-silence");
    // Ten days, and a damaged stamp: 250 years.
    for (later_s, words) in [(864_000, "10 days"), (7_890_000_000, "91319 days")] {
        log_with_pause(&dir, later_s);
        let told = run(&dir, &["wave", "make", "paused.log", "--out", "long.wav"]);
        told.refused(&["line 3", words, "--longest-pause"]);
        assert!(!dir.join("long.wav").exists());
        let told = run(
            &dir,
            &["wave", "make", "paused.log", "--out", "short.wav", "--force", "--longest-pause", "2"],
        );
        assert_eq!(told.code, 0, "{}", told.err);
        assert!(told.err.contains("shortened 1 pause to 2 s"), "{}", told.err);
        // 50 ms, a request of 10 characters, 2 s, an answer of 24, and some lead, tail and 6 % on top: 2.45 to 2.6 s.
        let seconds = (fs::metadata(dir.join("short.wav")).unwrap().len() - 44) as f64 / 2.0 / 48_000.0;
        assert!((2.45..2.6).contains(&seconds), "{seconds}");
        assert_eq!(run(&dir, &["decode", "-q", "short.wav"]).out.lines().count(), 2);
    }
    // Two minutes are 11.5 MB at 48 kHz: told first. A pause of a day is more than a WAV file holds.
    log_with_pause(&dir, 120);
    let told = run(&dir, &["wave", "make", "paused.log", "--out", "two.wav", "--longest-pause", "600"]);
    assert_eq!((told.code, told.err.trim_end()), (0, "Writing 12 MB, 121 s of sound."));
    log_with_pause(&dir, 80_000);
    run(&dir, &["wave", "make", "paused.log", "--out", "day.wav", "--longest-pause", "86400"])
        .refused(&["a WAV file holds 4", "--longest-pause"]);
    // A log out of a pipe, which cannot be read twice, is the same.
    log_with_pause(&dir, 1);
    let from_file = run(&dir, &["wave", "make", "paused.log", "--out", "f.wav"]);
    let mut child =
        looprig(&dir, &["wave", "make", "-", "--out", "p.wav"]).stdin(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(&fs::read(dir.join("paused.log")).unwrap()).unwrap();
    assert!(child.wait().unwrap().success() && from_file.code == 0);
    assert!(fs::read(dir.join("f.wav")).unwrap() == fs::read(dir.join("p.wav")).unwrap());
    run(&dir, &["wave", "make", "talk.wav", "--out", "x.wav"]).refused(&["a sound file already"]);
}
