//! `looprig line` on pseudo-terminals, and what a mock says of settings that would not do [LI-11].

use super::{table, too_long};
use crate::process::{Process, run, scratch};
use serde_json::Value as Json;
use std::fs;
use std::path::PathBuf;

const BENCH: &str = "[[device]]\ntag = \"FV-3104\"\n[[line]]\nat = \"pty:\"\n";

fn mock(name: &str) -> (PathBuf, Process, String) {
    let dir = scratch(name);
    fs::write(dir.join("bench.toml"), BENCH).unwrap();
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--pace", "20", "--format", "json"]);
    let ready: Json = serde_json::from_str(&mock.line()).unwrap();
    let path = ready["lines"][0]["path"].as_str().unwrap().to_owned();
    (dir, mock, path)
}

/// A pseudo-terminal has neither modem lines nor parity, and both are said; what cannot be judged ends
/// with 2.
#[test]
fn a_pseudo_terminal_says_what_it_lacks() {
    let (dir, mock, path) = mock("line-check");
    let line = format!("serial:{path}?pace=20");
    let checked = run(&dir, &["line", &line, "--for", "0.1"]);
    assert_eq!(checked.code, 2, "{}{}", checked.out, checked.err);
    for part in ["pseudo-terminal", "drops parity", "not tried", "5 ms", "next: --send"] {
        assert!(checked.out.contains(part), "{part}: {}", checked.out);
    }
    assert!(checked.err.contains("Listening on serial:") && !checked.err.contains("Sending"));
    assert!(too_long(&checked.out).is_empty(), "{}", checked.out);

    // It says beforehand what it sends; nobody is at 63, and nothing comes back.
    let sent = run(&dir, &["line", &line, "--for", "0.1", "--send", "--format", "json"]);
    assert_eq!(sent.code, 2, "{}", sent.err);
    assert!(sent.err.contains("command 0") && sent.err.contains("polling address 63"), "{}", sent.err);
    let rows = sent.json();
    let row = |name: &str| rows.iter().find(|r| r["check"] == name).unwrap().clone();
    assert_eq!(row("echo")["result"], "none");
    assert_eq!(row("modem lines")["verdict"], "cannot tell");
    assert_eq!(row("low latency")["result"], "does not apply");

    let rows = table(&run(&dir, &["line", &line, "--for", "0", "--format", "csv", "--quiet"]).out);
    assert!(rows.iter().any(|r| r[0] == "settings" && r[1] == "cannot tell"), "{rows:?}");

    let none = run(&dir, &["line", "serial:/dev/tty-there-is-none"]);
    none.refused(&["there is no such port"]);
    mock.signal(libc::SIGTERM);
    assert_eq!(mock.end().code, 0);
}

/// Nothing is said of a serial port or a modem that is not at this end.
#[test]
fn octets_over_tcp_are_no_serial_port() {
    let dir = scratch("line-tcp");
    let checked = run(&dir, &["line", "tcp-listen:0", "--for", "0", "--format", "json"]);
    assert_eq!(checked.code, 2, "{}", checked.err);
    let rows = checked.json();
    let result = |name: &str| rows.iter().find(|r| r["check"] == name).map(|r| r["result"].clone());
    assert_eq!(result("kind"), Some("a network: TCP or HART-IP".into()));
    assert_eq!(result("settings"), Some("no parity".into()));
    assert_eq!((result("carrier detect"), result("error counters")), (None, None));
    assert_eq!(result("stamp error"), Some("20 ms".into()));
}

/// A program that leaves the terminal as it finds it.
#[test]
fn a_mock_warns_of_a_wrong_speed() {
    let (_dir, mut mock, path) = mock("line-speed");
    let terminal = fs::File::options().read(true).write(true).open(&path).unwrap();
    let notice = loop {
        let notice: Json = serde_json::from_str(&mock.line()).unwrap();
        if notice["notice"] == "peer_settings" {
            break notice;
        }
    };
    // What a new terminal has, which a program that sets nothing keeps.
    assert_eq!((&notice["speed_bit_s"], &notice["right"]), (&Json::from(38_400), &Json::from(false)));
    assert!(notice["wrong"][0].as_str().unwrap().contains("38400 bit/s instead of 1200"), "{notice}");
    drop(terminal);
    mock.signal(libc::SIGTERM);
    assert_eq!(mock.end().code, 0);
}
