//! `host-check` as people and scripts meet it, and the check on a running mock.

use super::too_long;
use crate::process::{Process, run, scratch};
use looprig::frame::{PollingAddress, RawFrame};
use looprig::host::Host;
use looprig::line::io::PortLine;
use looprig::link::MasterConfig;
use looprig::time::Pace;
use serde_json::Value as Json;
use std::fs;
use std::path::Path;
use std::time::Duration;

/// 11 bits at 1200 bit/s, ns [LL-01].
const CHARACTER: u64 = 9_166_667;

/// A log [LG-01] of these frames, each after five preambles and a pause of 40 characters, which breaks no rule of turns.
fn log(line: &str, frames: &[&str]) -> String {
    let mut text = format!(
        "{{\"looprig_log\":1,\"line\":\"{line}\",\"start_utc\":\"2026-11-30T00:00:00Z\",\"version\":\"0\",\"pace\":\"wire\",\
         \"stamp_error_ns\":0,\"stamps\":\"octets\",\"parity_seen\":true,\"carrier_seen\":true}}\n"
    );
    let mut at = 0;
    for frame in frames {
        let hex = format!("FFFFFFFFFF{}", frame.replace(' ', ""));
        let n = hex.len() as u64 / 2;
        // Answers come soon.
        at += CHARACTER * if frame.starts_with("06") { 2 } else { 40 };
        let end = at + CHARACTER * (n - 1);
        text.push_str(&format!("{{\"t\":{at},\"e\":{end},\"o\":\"{hex}\"}}\n"));
        at = end;
    }
    text
}

/// Published [ICS]: command 0 and its answer, here without its burst bit, which changes the check byte from D3 to 93. The
/// device is of revision 7.
const ASK_0: &str = "02 80 00 00 82";
const ANSWER_0: &str =
    "06 80 00 18 00 10 FE F9 FD 00 07 02 32 4E 00 95 26 6F 00 03 00 01 01 00 F9 00 F9 41 93";
/// Command 3 in a short frame: 02 ^ 80 ^ 03 = 81 [FR-09].
const SHORT_3: &str = "02 80 03 00 81";

fn written(dir: &Path, name: &str, text: &str) {
    fs::write(dir.join(name), text).unwrap();
}

#[test]
fn a_good_host_and_a_faulty_one() {
    let dir = scratch("host-check");
    let bus = "bus, virtual time";
    written(&dir, "good.log", &log(bus, &[ASK_0, ANSWER_0]));
    written(&dir, "bad.log", &log(bus, &[ASK_0, ANSWER_0, SHORT_3]));
    let ended = run(&dir, &["host-check", "good.log"]);
    assert_eq!((ended.code, &*ended.err), (0, ""));
    assert_eq!(ended.out, "Nothing found against the host in 1 request of the primary master.\n");
    let ended = run(&dir, &["host-check", "good.log", "bad.log"]);
    assert_eq!(ended.code, 1, "{}{}", ended.out, ended.err);
    let first = "1 requirement is broken, in 3 requests of the primary master.\n";
    assert!(ended.out.starts_with(first) && too_long(&ended.out).is_empty(), "{}", ended.out);
    for words in [
        "must    short-frame [FR-14]: the primary master, device 0",
        "bad.log line 4",
        "FF FF 02 80 03 00 81",
    ] {
        assert!(ended.out.contains(words), "{}", ended.out);
    }
    let told = run(&dir, &["host-check", "bad.log", "--format", "json"]).json();
    assert_eq!(
        (&told[0]["verdict"], &told[0]["must"], told[0]["primary"]["requests"].as_u64()),
        (&"broken".into(), &1.into(), Some(2))
    );
    let found = &told[1];
    assert_eq!(
        (&found["finding"], &found["requirement"], &found["command"]),
        (&"short-frame".into(), &"FR-14".into(), &3.into())
    );
    let evidence = &found["evidence"][0];
    assert_eq!((&evidence["file"], &evidence["line"]), (&"bad.log".into(), &4.into()));
    assert_eq!(evidence["octets"], "FFFFFFFFFF0280030081");
    let table = run(&dir, &["host-check", "bad.log", "--format", "csv"]).out;
    assert!(table.contains("\nmust,short-frame,FR-14,primary,0,3,1,"), "{table}");
}

/// From a pipe, and a log that goes on in the next file; the other master alone; both bits.
#[test]
fn whom_and_where_from() {
    let dir = scratch("host-check-whom");
    let text = log("bus, virtual time", &[ASK_0, ANSWER_0, SHORT_3]);
    written(&dir, "bad.log", &text);
    let mut fed = Process::fed(&dir, &["host-check", "-"]);
    fed.feed(text.as_bytes());
    let ended = fed.end();
    assert!(ended.code == 1 && ended.out.contains("standard input line 4"), "{}", ended.out);
    let ended = run(&dir, &["host-check", "bad.log", "--master", "secondary"]);
    assert_eq!(ended.code, 2);
    assert!(ended.err.contains("no request of the secondary master was heard"), "{}", ended.err);
    let ended = run(&dir, &["host-check", "bad.log", "--master", "secondary", "--alone", "--format", "json"]);
    let found: Vec<Json> = ended.json();
    assert!(found.iter().any(|f| f["finding"] == "both-master-bits"), "{found:?}");
    // Half a log each: the second file goes on with the clock of the first [LG-03].
    let lines: Vec<&str> = text.lines().collect();
    let header = lines[0].replace("true}", "true,\"part\":2}");
    written(&dir, "a.log", &format!("{}\n{}\n{}\n", lines[0], lines[1], lines[2]));
    written(&dir, "b.log", &format!("{header}\n{}\n", lines[3]));
    let ended = run(&dir, &["host-check", "a.log", "b.log"]);
    assert!(ended.code == 1 && ended.out.contains("b.log line 2"), "{}", ended.out);
}

/// In another capture another device may be at the address [HC-06].
#[test]
fn what_devices_said_counts_in_their_own_capture() {
    let dir = scratch("host-check-captures");
    let bus = "bus, virtual time";
    // The answer to command 3 does not matter here. 06 ^ 80 ^ 03 ^ 02 = 87 [FR-09].
    written(&dir, "a.log", &log(bus, &[ASK_0, ANSWER_0]));
    written(&dir, "b.log", &log(bus, &[SHORT_3, "06 80 03 02 00 00 87"]));
    let ended = run(&dir, &["host-check", "a.log", "b.log"]);
    assert_eq!(ended.code, 0, "{}", ended.out);
    assert!(ended.out.starts_with("Nothing found against the host"), "{}", ended.out);
    written(&dir, "both.log", &log(bus, &[ASK_0, ANSWER_0, SHORT_3, "06 80 03 02 00 00 87"]));
    assert_eq!(run(&dir, &["host-check", "both.log"]).code, 1);
}

/// What a file does not tell is told; what is no log of a host ends with 2.
#[test]
fn what_cannot_be_judged() {
    let dir = scratch("host-check-not");
    written(&dir, "hex.txt", "02 80 00 00 82\n");
    let ended = run(&dir, &["host-check", "hex.txt"]);
    assert_eq!(ended.code, 0, "{}", ended.err);
    let told = "preambles-too-few [FR-02]: preambles are not recorded here (once)";
    assert!(ended.out.contains(told), "{}", ended.out);
    written(&dir, "empty.log", &log("bus, virtual time", &[]));
    let ended = run(&dir, &["host-check", "empty.log"]);
    assert!(ended.code == 2 && ended.err.contains("next: log again while the host asks"), "{}", ended.err);
    run(&dir, &["host-check", "nosuch.log"]).refused(&["opening nosuch.log", "check the name"]);
    written(&dir, "new.log", "{\"looprig_log\":99}\n");
    run(&dir, &["host-check", "new.log"]).refused(&["format 99", "newer one"]);
    written(&dir, "sound.wav", "RIFF0000WAVE");
    run(&dir, &["host-check", "sound.wav"]).refused(&["it is a sound file"]);
}

/// A mock tells what the host on its line does as it does it, and all of it at the end.
#[cfg(unix)]
#[test]
fn a_running_mock_checks_its_host() {
    let dir = scratch("host-check-mock");
    written(&dir, "b.toml", "[[device]]\ntag = \"FV-3104\"\n[[line]]\nat = \"pty:\"\n");
    let arguments = ["mock", "b.toml", "--host-check", "--format", "json", "--pace", "10"];
    let mut mock = Process::start(&dir, &arguments);
    let ready: Json = serde_json::from_str(&mock.line()).unwrap();
    let path = ready["lines"][0]["path"].as_str().unwrap().to_owned();
    let line = PortLine::open_serial(&path, Pace::Scaled(10.0)).unwrap();
    let mut host = Host::new(line, MasterConfig::default());
    let (_, device) = host.poll(PollingAddress::default(), None).unwrap();
    let device = device.expect("it answers");
    host.ask(&device, 3, &[]).unwrap();
    // A short frame, with three preambles, and once more with the other master's bit: 02 ^ 03 = 01, ^ 80 = 81 [FR-09].
    for rest in [[0x02, 0x00, 0x03, 0x00, 0x01], [0x02, 0x80, 0x03, 0x00, 0x81]] {
        let octets = [0xFF; 3].into_iter().chain(rest).map(Into::into).collect();
        host.send_raw(&RawFrame { octets }, Duration::from_millis(200)).unwrap();
    }
    drop(host);
    // What the last request is worth is seen when something follows, or at the end.
    let mut early = Vec::new();
    while early.len() < 2 {
        let told: Json = serde_json::from_str(&mock.line()).unwrap();
        if told["notice"] == "host" {
            early.push(told["finding"].as_str().unwrap().to_owned());
        }
    }
    early.sort();
    assert_eq!(early, ["preambles-too-few", "short-frame"]);
    mock.signal(libc::SIGINT);
    let ended = mock.end();
    assert_eq!(ended.code, 1, "{}{}", ended.out, ended.err);
    let told = ended.json();
    let verdict = told.iter().find(|t| t["verdict"].is_string()).expect("a verdict");
    assert_eq!((&verdict["verdict"], &verdict["alone"]), (&"broken".into(), &true.into()));
    let mut found: Vec<&str> = told.iter().filter_map(|t| t["finding"].as_str()).collect();
    found.dedup();
    assert_eq!(found, ["preambles-too-few", "short-frame", "both-master-bits"]);
    // A host's times do not come through a pseudo-terminal [HC-06]; here all is well with them but for that.
    assert!(told.iter().any(|t| t["unjudged"].is_string()), "{told:?}");
}

/// A socket that several programs reach: two masters there are two, and none of them wrong.
#[cfg(unix)]
#[test]
fn two_programs_at_one_mock() {
    let dir = scratch("host-check-two");
    let device = "[[device]]\ntag = \"FV-3104\"\n[[line]]\nat = ";
    for (name, at) in [("tcp.toml", "tcp-listen:127.0.0.1:0"), ("ip.toml", "hart-ip:127.0.0.1:0")] {
        written(&dir, name, &format!("{device}\"{at}\"\n"));
        let mut mock = Process::start(&dir, &["mock", name, "--host-check", "--format", "json"]);
        let ready: Json = serde_json::from_str(&mock.line()).unwrap();
        let line = ready["lines"][0]["path"].as_str().unwrap_or_else(|| panic!("{ready}")).to_owned();
        for master in ["primary", "secondary"] {
            let ended = run(&dir, &["ask", &line, "0", "3", "--master", master]);
            assert_eq!(ended.code, 0, "{}{}", ended.out, ended.err);
        }
        mock.signal(libc::SIGINT);
        let ended = mock.end();
        let told = ended.json();
        let verdict = told.iter().find(|t| t["verdict"].is_string()).expect("a verdict");
        assert_eq!(verdict["alone"], false, "{verdict}");
        assert!(told.iter().all(|t| t["finding"] != "both-master-bits"), "{name}: {}", ended.out);
    }
}
