//! The built program as people and scripts meet it: exit codes, messages, formats, and whole
//! conversations over pseudo-terminals.
//!
//! Exit 0: fine. 1: a check failed or nobody answered. 2: could not run, or nothing could be judged.
//! A message says what was being done, what is wrong, and what to do next.

mod bench;
mod bursts;
mod conform;
mod conform_lines;
mod cut_short;
mod decode;
mod described;
mod explain;
mod fleet;
mod guards;
mod host_check;
mod kept;
mod line;
mod mock_line;
mod protocol_faults;
mod refused;
mod settings;
mod travel;
mod travel_asked;
mod travel_check;
mod travel_kept;
mod travel_refused;
mod travel_status;
mod triage;
mod triage_kept;
mod triage_wave;
mod valve;
mod valve_found;
mod waiting;
mod wave;
mod wave_kept;
mod wiring;
mod worksheet;

use crate::process::{Process, looprig, run, scratch};
use std::fs;
use std::io::{BufRead, BufReader};
use std::process::Stdio;

/// Columns of a line of text.
const WIDTH: usize = 100;

const COMMANDS: [&str; 17] = [
    "demo",
    "listen",
    "ask",
    "scan",
    "conform",
    "settings",
    "decode",
    "host-check",
    "mock",
    "line",
    "wiring",
    "valve",
    "travel",
    "triage",
    "worksheet",
    "wave",
    "explain",
];

/// Lines that are longer than a line may be.
fn too_long(text: &str) -> Vec<&str> {
    text.lines().filter(|l| l.chars().count() > WIDTH).collect()
}

/// The cells of CSV text, row by row; quoted cells may hold commas, quotes and line ends.
fn csv(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut cell, mut quoted) = (Vec::new(), Vec::new(), String::new(), false);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => cell.extend(chars.next()),
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(std::mem::take(&mut cell)),
            '\n' if !quoted => {
                row.push(std::mem::take(&mut cell));
                rows.push(std::mem::take(&mut row));
            }
            c => cell.push(c),
        }
    }
    assert!(cell.is_empty() && row.is_empty() && !quoted, "the last line has no end");
    rows
}

/// The rows behind the header, which all have as many cells as it.
fn table(text: &str) -> Vec<Vec<String>> {
    let mut rows = csv(text);
    let head = rows.remove(0);
    assert!(head.len() > 1, "{text}");
    for row in &rows {
        assert_eq!(row.len(), head.len(), "{row:?} under {head:?}");
    }
    rows
}

#[test]
fn help_and_version_are_no_failure() {
    let dir = scratch("help");
    let mut wanted: Vec<Vec<&str>> = vec![vec!["--help"], vec!["-h"], vec!["help"], vec!["--version"]];
    for command in COMMANDS {
        wanted.extend([vec![command, "--help"], vec![command, "-h"], vec!["help", command]]);
    }
    for arguments in wanted {
        let ended = run(&dir, &arguments);
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{arguments:?}");
        assert!(ended.out.contains("looprig"), "{arguments:?}: {}", ended.out);
        assert_eq!(too_long(&ended.out), [""; 0], "{arguments:?}");
    }
    let all = run(&dir, &["--help"]).out;
    for command in COMMANDS {
        assert!(all.contains(&format!("  {command} ")), "{command} is missing in {all}");
    }
    // What opening a port may do to the loop is admitted where nothing is to be sent [LI-06].
    for command in ["listen", "line"] {
        let help = run(&dir, &[command, "--help"]).out;
        let help = help.split_whitespace().collect::<Vec<_>>().join(" ");
        let admits = "Opening a serial port may pulse request-to-send, and with it a modem's carrier";
        assert!(help.contains(admits), "{command}: {help}");
    }
    assert_eq!(run(&dir, &["--version"]).out, format!("looprig {}\n", env!("CARGO_PKG_VERSION")));
}

/// An empty command line gets the help, and is no success.
#[test]
fn an_empty_command_line_gets_the_help() {
    let ended = run(&scratch("empty"), &[]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""));
    assert!(ended.err.contains("Usage: looprig"), "{}", ended.err);
}

/// `looprig decode big | head -1`: the reader goes away, which is no error.
#[test]
fn a_closed_pipe_is_no_error() {
    let dir = scratch("pipe");
    // Far more than a pipe holds.
    fs::write(dir.join("big.hex"), "02 80 00 00 82\n".repeat(50_000)).unwrap();
    for format in ["text", "json", "csv"] {
        let mut command = looprig(&dir, &["decode", "big.hex", "--format", format]);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let mut first = String::new();
        // The reader is dropped at the end of the statement, and the pipe with it.
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
        assert!(!first.is_empty());
        let ended = child.wait_with_output().unwrap();
        assert_eq!((ended.status.code(), ended.stderr.as_slice()), (Some(0), &b""[..]), "{format}");
    }
    // Closed before the first octet: every command that writes.
    let to_nobody: [&[&str]; 4] =
        [&["explain", "0"], &["decode", "big.hex"], &["mock", "--schema"], &["--help"]];
    for arguments in to_nobody {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let ended = looprig(&dir, arguments).stdout(writer).stderr(Stdio::piped()).output().unwrap();
        assert_eq!((ended.status.code(), ended.stderr.as_slice()), (Some(0), &b""[..]), "{arguments:?}");
    }
}

/// Where nobody can read a message there is still the exit code, and no panic (101).
#[test]
fn messages_to_nobody_do_not_change_the_exit_code() {
    let dir = scratch("silent");
    fs::write(dir.join("half.hex"), "02 80 00 00 82\nrubbish\n").unwrap();
    let told: [(&[&str], i32); 4] = [
        (&["decode", "none"], 2),
        (&["decode", "half.hex"], 0),
        (&["nosuch"], 2),
        (&["scan", "serial:/dev/none"], 2),
    ];
    for (arguments, code) in told {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let status = looprig(&dir, arguments).stdout(Stdio::null()).stderr(writer).status().unwrap();
        assert_eq!(status.code(), Some(code), "{arguments:?}");
    }
}

/// The demo of the readme: everything it expects happens, and a second run overwrites nothing.
#[test]
fn the_demo_is_as_it_expects_and_overwrites_nothing() {
    let dir = scratch("demo");
    let mut demo = Process::start(&dir, &["demo", "--out", "out"]);
    let text = demo.rest();
    assert_eq!(demo.end().code, 0, "{text}");
    assert!(!text.contains("NOT") && text.contains("\nDone: "), "{text}");
    let log = fs::read(dir.join("out/demo.log")).unwrap();
    let bench = fs::read(dir.join("out/bench.toml")).unwrap();
    let again = run(&dir, &["demo", "--out", "out", "--pace", "20"]);
    again.refused(&["starting out/demo.log", "exists already", "next: move it away", "--out"]);
    // The bench file alone is not overwritten either.
    fs::create_dir(dir.join("mine")).unwrap();
    fs::write(dir.join("mine/bench.toml"), "# mine\n").unwrap();
    let ended = run(&dir, &["demo", "--out", "mine"]);
    ended.refused(&["starting mine/bench.toml", "exists already", "next: move it away"]);
    run(&dir, &["demo", "--out", "out/demo.log"]).refused(&["making the directory out/demo.log", "--out"]);
    assert_eq!(fs::read_to_string(dir.join("mine/bench.toml")).unwrap(), "# mine\n");
    assert_eq!(fs::read(dir.join("out/demo.log")).unwrap(), log);
    assert_eq!(fs::read(dir.join("out/bench.toml")).unwrap(), bench);
    // What it leaves can be read.
    let ended = run(&dir, &["decode", "out/demo.log", "--format", "json"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    assert!(ended.json().iter().any(|e| e["command"] == 18));
}
