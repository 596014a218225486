//! `mock:BENCH.toml`: every command on a bench of its own process, without a port and without waiting.

use super::{table, too_long};
use crate::process::{Process, run, scratch};
use std::fs;
use std::path::Path;

/// A line on a bench of `fixtures/benches`.
fn fixture(name: &str) -> String {
    format!("mock:{}/fixtures/benches/{name}", env!("CARGO_MANIFEST_DIR"))
}

const BENCH: &str = r#"
[[device]]
tag = "FV-3104"
memory = "fv.memory"
[[line]]
at = "pty:"
"#;

/// [HO-05]: on wires of this process there is nothing to be harmed, so no leave is needed.
#[test]
fn ask_writes_without_leave_and_the_device_forgets() {
    let dir = scratch("mock-ask");
    fs::write(dir.join("b.toml"), BENCH).unwrap();
    for command in [&["22", "long_tag=Filter 4"][..], &["6", "polling_address=3", "loop_current_mode=0"]] {
        let ended = run(&dir, &[&["ask", "mock:b.toml"], command].concat());
        assert_eq!(ended.code, 0, "{}", ended.err);
        assert!(ended.out.contains(": ok"), "{}", ended.out);
        // One message: nothing is left to chance, so there is no seed.
        assert_eq!(ended.err.lines().count(), 1, "{}", ended.err);
        assert!(ended.err.contains("begin new and forget"), "{}", ended.err);
    }
    assert!(!dir.join("fv.memory").exists());
    let ended = run(&dir, &["ask", "mock:b.toml", "0", "20", "--format", "json"]);
    assert_eq!(ended.json()[0]["reply"]["values"]["long_tag"], "");
    // What commands inside another say: 2 at 4 mA, and 19 with too few data.
    let ended = run(&dir, &["ask", "mock:b.toml", "0", "78", "data=02000200001300"]);
    for part in
        ["slot 0 loop current", "4 mA", "slot 1 answer", "command 19, write final assembly number: refused 5"]
    {
        assert!(ended.out.contains(part), "{part:?} is missing in {}", ended.out);
    }
    // Nobody at 5; a line of a port still asks for leave.
    assert_eq!(run(&dir, &["ask", "mock:b.toml", "5", "3"]).code, 1);
    run(&dir, &["ask", "pty:", "22", "long_tag=x"]).refused(&["--write"]);
}

/// [FR-05]: as many devices as revision 5 and revision 7 have polling addresses besides 0.
#[test]
fn scan_finds_a_whole_multidrop() {
    let dir = scratch("mock-scan");
    for (name, devices, tags_from) in [("multidrop-5.toml", 15, 3200), ("multidrop-7.toml", 63, 3300)] {
        let ended =
            run(&dir, &["scan", &fixture(name), "--range", "0-63", "--retries", "0", "--format", "csv"]);
        assert_eq!((ended.code, ended.err.as_str()), (0, ""));
        let rows = table(&ended.out);
        assert_eq!(rows.len(), devices);
        for (i, row) in rows.iter().enumerate() {
            assert_eq!(row[0], (i + 1).to_string());
            assert_eq!(row[2], format!("FV-{}", tags_from + i + 1));
        }
    }
}

/// The log without the moment at which it began.
fn replayable(path: &Path) -> String {
    let log = fs::read_to_string(path).unwrap();
    let (head, rest) = log.split_once('\n').unwrap();
    let begin = head.find("\"start_utc\"").unwrap();
    let end = begin + head[begin..].find(',').unwrap();
    format!("{}{}\n{rest}", &head[..begin], &head[end..])
}

/// Same seed, same log, octet for octet; another seed, another log. Both masters are in it.
#[test]
fn listening_twice_with_one_seed_gives_one_log() {
    let dir = scratch("mock-listen");
    let line = fixture("two-masters-noise.toml");
    let listen = |options: &str, log: &str| {
        let ended = run(&dir, &["listen", &format!("{line}{options}"), "--log", log]);
        assert_eq!((ended.code, too_long(&ended.out)), (0, vec![]), "{}", ended.err);
        ended
    };
    let first = listen("?seed=7", "a.log");
    let seed = first.err.lines().next().unwrap();
    assert!(seed.starts_with("seed 7 (repeat this run: ") && seed.contains("?seed=7"), "{seed}");
    // Nobody said how long: 60 s by its own clock.
    assert!(first.err.contains("Statistics after 60.0 s"), "{}", first.err);
    assert!(first.out.contains("two masters are at work"), "{}", first.out);
    listen("?seed=7", "b.log");
    listen("?seed=8", "c.log");
    assert_eq!(replayable(&dir.join("a.log")), replayable(&dir.join("b.log")));
    assert_ne!(replayable(&dir.join("a.log")), replayable(&dir.join("c.log")));
    // The file's own seed, for as long as it was told.
    let ended = run(&dir, &["listen", &format!("{line}?for=30"), "--for", "25", "--log", "d.log"]);
    assert!(ended.err.starts_with("seed 3104 ") && ended.err.contains("after 25.0 s"), "{}", ended.err);
    let decoded = run(&dir, &["decode", "a.log", "--format", "json"]);
    assert_eq!((decoded.code, decoded.err.as_str()), (0, ""));
    for (master, command) in [("primary", 3), ("secondary", 48), ("secondary", 0)] {
        let is_it = |e: &serde_json::Value| {
            e["request"]["master"] == master && e["command"] == command && e["outcome"] == "answered"
        };
        assert!(decoded.json().iter().any(is_it), "command {command} of the {master} master");
    }
}

/// Without a seed one is chosen, told, and repeats the run.
#[test]
fn a_seed_that_nobody_chose_is_told_and_repeats_the_run() {
    let dir = scratch("mock-seed");
    let text = fs::read_to_string(&fixture("two-masters-noise.toml")["mock:".len()..]).unwrap();
    fs::write(dir.join("b.toml"), text.replace("seed = 3104\n", "")).unwrap();
    let ended = run(&dir, &["listen", "mock:b.toml", "--log", "a.log", "--for", "45"]);
    let again = ended.err.lines().next().unwrap().split(['(', ')']).nth(1).unwrap();
    let line = again.strip_prefix("repeat this run: ").unwrap().trim_matches('\'').to_owned();
    assert!(line.starts_with("mock:b.toml?seed="), "{line}");
    run(&dir, &["listen", &line, "--log", "b.log", "--for", "45"]);
    assert_eq!(replayable(&dir.join("a.log")), replayable(&dir.join("b.log")));
}

/// What a day of its time takes in ours is for the user to end.
#[test]
fn an_interrupt_ends_it() {
    let dir = scratch("mock-interrupt");
    let line = fixture("two-masters-noise.toml");
    let mut listener = Process::start(&dir, &["listen", &line, "--for", "10000000", "--log", "x.log"]);
    assert!(listener.message().starts_with("seed 3104"));
    assert!(listener.message().starts_with("Listening on mock:"));
    listener.signal(libc::SIGINT);
    let ended = listener.end();
    assert_eq!(ended.code, 0, "{}", ended.err);
}

#[test]
fn line_says_that_it_is_simulated() {
    let dir = scratch("mock-line");
    let ended = run(&dir, &["line", &fixture("brackenmoor.toml"), "--send"]);
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(ended.out.contains("simulated") && ended.out.contains("virtual time"), "{}", ended.out);
}

#[test]
fn what_a_mock_line_cannot_be() {
    let dir = scratch("mock-refused");
    fs::write(dir.join("bad.toml"), "seed = -1\n").unwrap();
    for (line, told) in [
        ("mock:", &["needs a bench file", "mock:fixtures/benches/brackenmoor.toml"][..]),
        ("mock:none.toml", &["reading the bench file none.toml", "no such file"]),
        ("mock:bad.toml", &["bad.toml:1:8", "seed is -1"]),
        ("mock:bad.toml?pace=4", &["pace=4", "its bench file's", "pace = 20"]),
        ("mock:bad.toml?rts=on", &["rts=on", "seed=N, for=SECONDS and fault=NAME"]),
        ("mock:bad.toml?seed=x", &["\"x\" is no seed", "0 to 9223372036854775807"]),
        ("mock:bad.toml?for=-1", &["\"-1\" is no time"]),
    ] {
        run(&dir, &["listen", line]).refused(told);
        run(&dir, &["ask", line, "3"]).refused(told);
    }
    // Its own end is told, with what makes it last longer.
    let ended = run(&dir, &["ask", &format!("{}?for=0.1", fixture("brackenmoor.toml")), "3"]);
    ended.refused(&["closed"]);
    assert!(ended.err.contains("its 0.1 s are over; ?for=SECONDS"), "{}", ended.err);
}

/// [LI-22]: a mock on ports tells the seed first, what is on its wires, and at the end what passed.
#[test]
fn a_mock_tells_seed_masters_faults_and_what_passed() {
    let dir = scratch("mock-tells");
    fs::copy(&fixture("two-masters-noise.toml")["mock:".len()..], dir.join("b.toml")).unwrap();
    let mut mock = Process::start(&dir, &["mock", "b.toml", "--pace", "1000", "--seed", "99"]);
    assert_eq!(mock.line().trim_end(), "seed 99 (repeat this run: --seed 99)");
    let mut start = String::new();
    while !start.contains("Ctrl-C ends it.") {
        start += &mock.line();
    }
    for part in ["Masters on these wires", "every 10 s", "25 % of the answers lose 3 octets", "1 to 5 octets"]
    {
        assert!(start.contains(part), "{part:?} is missing in {start}");
    }
    assert_eq!(too_long(&start), [""; 0]);
    mock.signal(libc::SIGTERM);
    let rest = mock.rest();
    assert_eq!(mock.end().code, 0);
    for part in
        ["On the wires: ", " not heard.", "The primary master: ", "The secondary master: ", "\nEnded."]
    {
        assert!(rest.contains(part), "{part:?} is missing in {rest}");
    }
    let mut mock = Process::start(&dir, &["mock", "b.toml", "--pace", "1000", "--format", "json"]);
    let ready: serde_json::Value = serde_json::from_str(&mock.line()).unwrap();
    assert_eq!((&ready["ready"], &ready["seed"]), (&true.into(), &3104.into()));
    assert_eq!(ready["masters"][1]["asks"][0]["every_s"], 10.0);
    assert_eq!(ready["wire_faults"].as_array().unwrap().len(), 2);
    mock.signal(libc::SIGTERM);
    let rest = mock.rest();
    assert_eq!(mock.end().code, 0);
    let last: serde_json::Value = serde_json::from_str(rest.lines().last().unwrap()).unwrap();
    assert_eq!((&last["ended"], &last["masters"][0]["role"]), (&true.into(), &"primary".into()));
    let octets = |key: &str| last["octets"][key].as_u64().unwrap();
    assert_eq!(octets("sent") + octets("made"), octets("heard") + octets("silenced") + octets("covered"));
}
