//! `travel` by lines that people type and on the wall clock: nonsense is asked again, Ctrl-C keeps the record, and a running mock is
//! moved by its API.

use super::travel::{MOCK, bench, record};
use crate::process::{Process, run};
use std::fs;

const CHECK: [&str; 8] =
    ["travel", MOCK, "--description", "positioner.toml", "--check", "--by", "person", "--record"];

/// Reads messages up to one that says this.
fn until(process: &mut Process, says: &str) {
    let mut heard = String::new();
    while !heard.contains(says) {
        heard += &process.message();
    }
}

/// What is typed and is nonsense is told and asked again; the end of input is nobody any more.
#[test]
fn somebody_who_mistypes() {
    let dir = bench("travel-typed", "", "");
    let mut process = Process::fed(&dir, &[&CHECK[..], &["r.json"]].concat());
    process.feed(b"set\nwhat?\n\n\n");
    let ended = process.end();
    assert_eq!(ended.code, 1, "{}", ended.err);
    assert_eq!(ended.err.matches("press Enter alone when it is done").count(), 2, "{}", ended.err);
    let r = record(&dir, "r.json");
    assert_eq!((&r["ended"]["how"], &r["ended"]["why"]), (&"stopped".into(), &"gone".into()));
    assert_eq!(r["points"].as_array().map(Vec::len), Some(2));
}

/// Ctrl-C while it waits for somebody: at once, with what was measured, and where the set point is.
#[test]
fn ctrl_c_keeps_the_record() {
    let dir = bench("travel-ctrl-c", "", "");
    let mut process = Process::fed(&dir, &[&CHECK[..], &["r.json"]].concat());
    process.feed(b"\n");
    until(&mut process, "Set 8.00 mA");
    let ended = process.interrupt();
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    assert!(
        ended.err.contains("The calibrator was last said to be set to 4.00 mA; 8.00 mA was asked for after that, and nobody said that it was set."),
        "{}",
        ended.err
    );
    let r = record(&dir, "r.json");
    assert_eq!((&r["ended"]["how"], r["points"].as_array().map(Vec::len)), (&"interrupted".into(), Some(1)));
    // Nobody knows whether it was set.
    assert!(r["left"]["percent"].is_null(), "{}", r["left"]);
}

/// Ctrl-C while the air is away: where it stands and that nobody said it was given back is told, the exit code is 1, and what was seen is kept.
#[test]
fn ctrl_c_in_the_middle_of_a_loss() {
    let dir = bench("travel-ctrl-c-loss", "", "");
    let loss = [
        "travel",
        MOCK,
        "--description",
        "positioner.toml",
        "--by",
        "person",
        "--cycles",
        "0",
        "--loss",
        "air",
    ];
    let mut process =
        Process::fed(&dir, &[&loss[..], &["--fails-to", "closed", "--record", "r.json"]].concat());
    // 9.6 mA, for it has not been seen to move yet, 12 mA, and the air.
    process.feed(b"\n\n\n");
    until(&mut process, "Open the air supply again, slowly");
    let ended = process.interrupt();
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    assert!(ended.err.contains("Nobody said that this was given back: the air supply."), "{}", ended.err);
    let r = record(&dir, "r.json");
    assert_eq!(
        (&r["ended"]["how"], &r["ended"]["during"]),
        (&"interrupted".into(), &"giving back after the loss of air".into())
    );
    let fail = &r["fails"][0];
    assert!(
        fail["restored"] == false && fail["watch"]["samples"].as_array().is_some_and(|s| s.len() > 5),
        "{fail}"
    );
    assert!(
        ended.out.contains("NOT WHOLE") && ended.out.contains("what was taken away was not given back"),
        "{}",
        ended.out
    );
    // Whoever is told to shut it may have done so before the key was pressed.
    let mut process = Process::fed(&dir, &[&loss[..], &["--record", "s.json"]].concat());
    process.feed(b"\n\n");
    until(&mut process, "Shut the air supply and vent the line");
    let ended = process.interrupt();
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    assert!(ended.err.contains("Nobody said that this was given back: the air supply."), "{}", ended.err);
    assert_eq!(record(&dir, "s.json")["fails"][0]["restored"], false);
}

/// The device is gone when its set point is to go from 50 to 75 % by command: both are told, that it stays in force, and by which command it
/// is given back.
#[test]
fn the_line_dies_with_a_set_point_by_command() {
    let dir = bench("travel-line-dies", "", "");
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    let test = [
        "travel",
        "serial:FV-3104.port",
        "--by",
        "device",
        "--cycles",
        "1",
        "--description",
        "positioner.toml",
        "--move",
    ];
    let more = ["--external", "--record", "r.json", "--rest-for", "1"];
    let mut process = Process::fed(&dir, &[&test[..], &more].concat());
    process.feed(b"yes\n1\n0\n25\n");
    until(&mut process, "50 % up: what does the stem scale show");
    drop(mock);
    process.feed(b"50\n");
    let ended = process.end();
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    let r = record(&dir, "r.json");
    let words = r["left"]["words"].as_str().expect("words");
    for says in [
        "75 % by command, told last and not answered, or still 50 %",
        "stays in force whatever the loop says",
        "looprig ask serial:FV-3104.port 0 --description positioner.toml 129 'source=loop current' --move",
    ] {
        assert!(words.contains(says) && ended.err.contains(says), "{says:?} is missing in {words}");
    }
    assert!(r["left"]["percent"].is_null(), "either of two: {words}");
}

/// [TV-95]: a test that was killed at its second point (no battery, no leave to clean up): its record says what was told last, that it was not given back and how it is,
/// never that nothing was moved; and so does one of a device check.
#[test]
fn a_test_that_was_killed() {
    let dir = bench("travel-killed", "", "\"travel/start\" = \"yes\"\n\"device_check/jog\" = \"yes\"\n");
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    let port = "serial:FV-3104.port";
    let test = [
        "travel",
        port,
        "--by",
        "device",
        "--description",
        "positioner.toml",
        "--move",
        "--answers",
        "answers.toml",
    ];
    let mut process = Process::start(&dir, &[&test[..], &["--cycles", "1", "--record", "k.json"]].concat());
    until(&mut process, "0 %");
    until(&mut process, ": travel");
    // The next is told at once: 25 %.
    while !std::fs::read_to_string(dir.join("k.json")).is_ok_and(|t| t.contains("Told last: 25 %")) {
        std::thread::yield_now();
    }
    process.signal(libc::SIGKILL);
    process.gone();
    drop(process);
    let ended = run(&dir, &["travel", "--from", "k.json"]);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(ended.code, 1, "{words}");
    for says in [
        "Set point left: not known, for the test was cut off. Told last: 25 % by command, and never given back.",
        "looprig ask serial:FV-3104.port 0 --description positioner.toml 129 'source=loop current' --move",
    ] {
        assert!(words.contains(says), "{says:?} is missing in {words}");
    }
    assert!(!words.contains("never moved"), "{words}");
    // The set point stays by hand, as the record says; what it tells to do gives it back.
    let ask = |words: &[&str]| {
        run(&dir, &[&["ask", port, "0", "--move", "--description", "positioner.toml"], words].concat()).out
    };
    assert!(ask(&["128"]).contains("by hand"));
    assert!(ask(&["129", "source=loop current"]).contains(": ok"));
    let check = ["--device-check", "--record", "c.json"];
    let mut process = Process::fed(&dir, &[&test[..test.len() - 2], &check].concat());
    process.feed(b"no\nblocked\nsingle\nyes\n");
    until(&mut process, "what did the gauge of the first output do?");
    process.signal(libc::SIGKILL);
    process.gone();
    drop(process);
    let ended = run(&dir, &["travel", "--from", "c.json"]);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(ended.code, 1, "{words}");
    assert!(words.contains("not known, for the check was cut off. Told last: 55 % by command"), "{words}");
    mock.signal(libc::SIGINT);
}

/// A mock that runs, on a port and the wall clock: leave is needed and asked for, the API moves the loop's current, and at the end it is
/// what it was.
#[test]
fn a_running_mock_by_its_api() {
    let dir = bench("travel-api", "", "\"travel/start\" = \"yes\"\n");
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--api=127.0.0.1:0", "--format", "json"]);
    let started: serde_json::Value = serde_json::from_str(&mock.line()).expect("JSON");
    let api = format!("api:{}", started["api"].as_str().unwrap_or_else(|| panic!("no API in {started}")));
    let port = "serial:FV-3104.port";
    let arguments =
        ["travel", port, "tag:FV-3104", "--by", &api, "--cycles", "0", "--steps=50..60", "--watch", "3"];
    let more =
        ["--description", "positioner.toml", "--answers", "answers.toml", "--record", "r.json", "--move"];
    let ended = run(&dir, &[&arguments[..], &more].concat());
    assert_eq!(ended.code, 0, "{}{}", ended.err, ended.out);
    let r = record(&dir, "r.json");
    let samples = r["steps"][0]["watch"]["samples"].as_array().expect("samples");
    let last = samples.last().and_then(|s| s[1].as_f64()).expect("a reading");
    assert!((last - 60.0).abs() < 1.5, "{last}");
    assert!(r["left"]["words"].as_str().is_some_and(|w| w.contains("12.00 mA again")), "{}", r["left"]);
    // A no is a no, and nothing has been told to the mock then.
    fs::write(dir.join("answers.toml"), "\"travel/start\" = \"no\"\n").unwrap();
    let no = run(&dir, &[&arguments[..], &more, &["--force"]].concat());
    assert!(no.code == 1 && record(&dir, "r.json")["left"].is_null(), "{}", no.err);
    mock.signal(libc::SIGINT);
}

/// A set point that was by hand before stays by hand where it was: also when the test is interrupted on the wall clock.
#[test]
fn a_set_point_by_hand_is_put_back() {
    let dir = bench("travel-by-hand", "", "\"travel/start\" = \"yes\"\n");
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    let port = "serial:FV-3104.port";
    let ask = |words: &[&str]| {
        run(&dir, &[&["ask", port, "0", "--move", "--description", "positioner.toml"], words].concat()).out
    };
    assert!(ask(&["129", "source=by hand", "set_point=30"]).contains(": ok"));
    let test =
        ["travel", port, "--by", "device", "--cycles", "1", "--description", "positioner.toml", "--move"];
    let mut process =
        Process::start(&dir, &[&test[..], &["--answers", "answers.toml", "--record", "r.json"]].concat());
    until(&mut process, "% down: travel");
    let ended = process.interrupt();
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    let r = record(&dir, "r.json");
    assert_eq!(r["ended"]["how"], "interrupted");
    assert_eq!(r["left"]["percent"], 30.0, "{}", r["left"]);
    let now = ask(&["128"]);
    assert!(now.contains("by hand") && now.contains("30 %"), "{now}");
    mock.signal(libc::SIGINT);
}
