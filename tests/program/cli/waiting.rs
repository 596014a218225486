//! `ask` waits for a delayed response [HO-10].

use super::too_long;
use crate::process::{Process, run, scratch};
use std::fs;

const BENCH: &str = r#"
[[device]]
tag = "FV-3104"
[[device.slow]]
command = 41
takes_s = 20
[[line]]
at = "pty:"
[[line]]
at = "pty:"
"#;

/// The result is there when `ask` ends, with what it took; a pipe gets no progress, and the log has every request.
#[test]
fn ask_waits_for_the_result() {
    let dir = scratch("wait");
    fs::write(dir.join("b.toml"), BENCH).unwrap();
    let ended = run(&dir, &["ask", "mock:b.toml", "41", "--log", "a.log"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{}", ended.out);
    assert!(ended.out.contains("perform self test: ok (after 2"), "{}", ended.out);
    assert!(ended.out.contains(" s, asked "), "{}", ended.out);
    let decoded = run(&dir, &["decode", "a.log", "--format", "json"]).json();
    let asked: Vec<_> = decoded.iter().filter(|e| e["command"] == 41).collect();
    assert!(asked.len() > 3, "{}", asked.len());
    let code = |i: usize| asked[i]["reply"]["response_code"].as_u64();
    assert_eq!((code(0), code(1), code(asked.len() - 1)), (Some(33), Some(34), Some(0)));
    // Transactions of their own, no retries.
    assert!(asked.iter().all(|e| e["tries"] == 1));
    let summary = run(&dir, &["decode", "a.log", "--summary"]).out;
    assert!(summary.contains("not yet 34: delayed response running"), "{summary}");
    assert!(summary.contains("0 retries"), "{summary}");
    assert_eq!(too_long(&summary), [""; 0]);
}

/// Told to wait less, or not at all: the state, exit code 1, and what to do next.
#[test]
fn ask_tells_what_is_not_done_yet() {
    let dir = scratch("wait-less");
    fs::write(dir.join("b.toml"), BENCH).unwrap();
    for (wait, state, told, next) in [
        ("0", "not yet 33: delayed response initiated", "its answer comes later", "--wait SECONDS"),
        ("5", "not yet 34: delayed response running", "still at it after 5 s", "longer --wait"),
    ] {
        let ended = run(&dir, &["ask", "mock:b.toml", "41", "--wait", wait]);
        assert_eq!(ended.code, 1);
        assert!(ended.out.contains(state), "{}", ended.out);
        assert!(ended.err.contains(told) && ended.err.contains("\n  next: "), "{}", ended.err);
        assert!(ended.err.contains(next) && ended.err.contains("identical command"), "{}", ended.err);
    }
    let ended = run(&dir, &["ask", "mock:b.toml", "41", "--wait", "0", "--format", "json"]);
    assert_eq!((ended.code, &ended.json()[0]["reply"]["response_code"]), (1, &33.into()));
    run(&dir, &["ask", "mock:b.toml", "41", "--wait", "long"]).refused(&["\"long\" is no time"]);
}

/// Busy, which a revision 5 device is after the work, is told with what to do.
#[test]
fn ask_tells_what_to_do_about_busy() {
    let dir = scratch("wait-busy");
    fs::write(dir.join("b.toml"), "[[device]]\nbusy = true\n[[line]]\nat = \"pty:\"\n").unwrap();
    let ended = run(&dir, &["ask", "mock:b.toml", "41"]);
    assert_eq!(ended.code, 1);
    assert!(ended.out.contains("refused 32: busy"), "{}", ended.out);
    assert!(
        ended.err.contains("nothing was done") && ended.err.contains("ask again in a moment"),
        "{}",
        ended.err
    );
}

/// A read that was refused by 32 did nothing anyway; before revision 7 a lock is 32, too, and of a repeat nobody knows.
#[test]
fn busy_by_command_and_revision() {
    let dir = scratch("wait-busy-older");
    for (revision, asked, told) in [
        ("7", &["12"][..], "told nothing"),
        ("5", &["12"], "told nothing"),
        ("5", &["19", "final_assembly_number=7"], "read back"),
        ("6", &["19", "final_assembly_number=7"], "locked by another master"),
    ] {
        let bench = format!("[[device]]\nrevision = {revision}\nbusy = true\n[[line]]\nat = \"pty:\"\n");
        fs::write(dir.join("b.toml"), bench).unwrap();
        let ended = run(&dir, &[&["ask", "mock:b.toml"], asked].concat());
        assert!(ended.out.contains("refused 32: busy"), "{}", ended.out);
        let flat = ended.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(told) && flat.contains("ask again in a moment"), "{flat}");
        assert!(!flat.contains("nothing was done"), "{flat}");
    }
}

/// Taken on, and from then on nothing whole comes: it is not as if nobody had answered.
#[test]
fn silence_behind_33() {
    let dir = scratch("wait-silence");
    let fault =
        "[[wire_fault]]\nkind = \"lost_octets\"\noctets = 8\nof = \"answers\"\nshare = 1.0\nfrom_s = 2\n";
    fs::write(dir.join("b.toml"), format!("{BENCH}{fault}")).unwrap();
    let ended = run(&dir, &["ask", "mock:b.toml", "41"]);
    assert_eq!(ended.code, 1);
    let flat = ended.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("had taken it on") && flat.contains("ask the identical command again"), "{flat}");
}

/// What was waited is told for programs, too; how long it may be is bounded by how often a host repeats [HO-10].
#[test]
fn waiting_for_programs() {
    let dir = scratch("wait-json");
    fs::write(dir.join("b.toml"), BENCH).unwrap();
    let ended = run(&dir, &["ask", "mock:b.toml", "41", "--format", "json"]);
    let told = &ended.json()[0];
    assert!(told["repeats"].as_u64().unwrap() > 3 && told["waited_s"].as_f64().unwrap() >= 20.0, "{told}");
    let ended = run(&dir, &["ask", "mock:b.toml", "3", "--format", "csv"]);
    let rows: Vec<&str> = ended.out.lines().collect();
    assert!(rows[0].ends_with(",repeats,waited_s"), "{}", rows[0]);
    assert!(rows[1..].iter().all(|row| row.contains(",0,0.")), "{rows:?}");
    let columns = |row: &str| row.matches(',').count();
    assert!(rows.iter().all(|row| columns(row) == columns(rows[0])), "{rows:?}");
    run(&dir, &["ask", "mock:b.toml", "41", "--wait", "36001"]).refused(&["at most 36000"]);
}

/// Ctrl-C in the middle: exit code 2, and a message that the device goes on.
#[test]
fn an_interrupt_ends_the_waiting() {
    let dir = scratch("wait-interrupt");
    fs::write(dir.join("b.toml"), BENCH.replace("takes_s = 20", "takes_s = 3600")).unwrap();
    let mut mock = Process::start(&dir, &["mock", "b.toml", "--pace", "20", "--format", "json"]);
    let ready: serde_json::Value = serde_json::from_str(&mock.line()).unwrap();
    assert_eq!(ready["devices"][0]["slow"], serde_json::json!([{"command": 41, "takes_s": 3600.0}]));
    let line = |n: usize| ready["lines"][n]["open"].as_str().unwrap().to_owned();
    let mut listener = Process::start(&dir, &["listen", &line(1), "--format", "json"]);
    assert!(listener.message().starts_with("Listening on"));
    let ask = Process::start(&dir, &["ask", &line(0), "41", "--move", "--wait", "3600"]);
    while !listener.line().contains("\"response_code\":34,") {}
    ask.signal(libc::SIGINT);
    ask.end().refused(&["asking command 41", "was interrupted", "the device goes on", "fetch its answer"]);
    for process in [listener, mock] {
        process.signal(libc::SIGTERM);
        assert_eq!(process.end().code, 0);
    }
}

/// A mock on ports says which commands are slow before it is ready.
#[test]
fn a_mock_tells_what_is_slow() {
    let dir = scratch("wait-mock");
    fs::write(dir.join("b.toml"), BENCH).unwrap();
    let mut mock = Process::start(&dir, &["mock", "b.toml"]);
    let mut start = String::new();
    while !start.contains("Ctrl-C ends it.") {
        start += &mock.line();
    }
    assert!(start.contains("  FV-3104: command 41, perform self test, takes 20 s\n"), "{start}");
    mock.signal(libc::SIGTERM);
    assert_eq!(mock.end().code, 0);
}
