//! [HO-05]: what changes a device or moves a valve needs its word, on every line but those of this process,
//! and nothing that a peer says is that word.

use crate::process::{Process, run, scratch};
use looprig::app::command::{CommandSpec, Effect, all, spec};
use std::fs;
use std::time::Duration;

/// Arguments that ask a command with octets for data: what is refused is refused whatever they are.
fn ask<'a>(line: &'a str, number: &'a str, flags: &[&'a str]) -> Vec<&'a str> {
    [&["ask", line, "0", number, "data=00"], flags].concat()
}

fn rows(effect: Effect) -> Vec<&'static CommandSpec> {
    let rows: Vec<_> = all().into_iter().filter(|r| r.number < 256 && r.effect == effect).collect();
    assert!(rows.len() > 15, "{effect:?}");
    rows
}

/// Somebody listens at the other end of the port: no octet of a refused command reaches it.
#[test]
fn refused_commands_send_nothing() {
    let dir = scratch("guards");
    let mut listener = Process::start(&dir, &["listen", "pty:loop", "--format", "json", "--for", "600"]);
    listener.message();
    assert!(dir.join("loop").exists());
    let line = "serial:loop";
    let refused = |number: &str, flags: &[&str], word: &str| {
        run(&dir, &ask(line, number, flags)).refused(&[word, number]);
    };
    for row in rows(Effect::Writes) {
        refused(&row.number.to_string(), &[], "--write");
    }
    for row in rows(Effect::Moves) {
        // Leave to write is no leave to move.
        refused(&row.number.to_string(), &["--write"], "--move");
    }
    // One of each without any leave; commands that no row has; and one in the middle of each range.
    refused("40", &[], "--move");
    for number in ["4", "100", "122", "126", "127", "128", "200", "253", "254", "255"] {
        assert!(spec(number.parse().unwrap()).is_none(), "{number} has a row: take another");
        refused(number, &[], "--move");
        refused(number, &["--write"], "--move");
    }
    // Every line that is not of this process.
    fs::write(dir.join("FV.toml"), "looprig_settings = 1\nrevision = 7\n").unwrap();
    for other in ["pty:", "pty:other", "tcp:127.0.0.1:1", "tcp-listen:0", "serial:/dev/none?rts=off"] {
        run(&dir, &ask(other, "17", &[])).refused(&["--write"]);
        run(&dir, &ask(other, "40", &["--write"])).refused(&["--move"]);
        run(&dir, &["settings", "restore", other, "FV.toml"]).refused(&["--write"]);
    }
    assert!(!dir.join("other").exists(), "a refused command opened its line");
    // The listener was there all the time: what reads is heard.
    let asked = run(&dir, &["ask", line, "0", "3", "--retries", "0"]);
    assert_eq!(asked.code, 1, "{}", asked.err);
    let heard = listener.line();
    let heard: serde_json::Value = serde_json::from_str(&heard).unwrap();
    assert_eq!(heard["command"], 0, "{heard}");
    assert!(listener.lines_within(Duration::from_millis(50)).is_empty());
    listener.signal(libc::SIGINT);
    listener.end();
}

/// Commands inside commands: what carries may move, whatever it carries.
#[test]
fn what_carries_a_command_may_move() {
    for number in [31, 77, 78] {
        assert_eq!(spec(number).unwrap().effect, Effect::Moves, "{number}");
    }
    let dir = scratch("guards-inside");
    let line = "serial:/dev/none";
    // 31 with extended command 512; 77 and 78 with command 40 inside; 78 with one that only reads.
    for words in [
        &["31", "data=0200"][..],
        &["31", "extended_command=512", "extended_data=00"],
        &["77", "data=0000058200000000000028040000000000"],
        &["78", "count=1", "slot0_command=40", "slot0_byte_count=4", "slot0_data=00000000"],
        &["78", "data=0100000000"],
    ] {
        run(&dir, &[&["ask", line, "0", "--write"], words].concat()).refused(&["--move"]);
    }
}

/// A device of any revision and type: what it says comes after what was refused, and lifts nothing. What
/// may be written to it may still not be what moves.
#[test]
fn what_a_device_says_gives_no_leave() {
    for (i, said) in ["revision = 5", "revision = 6", "revision = 7\ndevice_type = 0x1234"].iter().enumerate()
    {
        let dir = scratch(&format!("guards-peer-{i}"));
        let bench =
            format!("pace = 20\n[[device]]\ntag = \"FV-3104\"\n{said}\n[[line]]\nat = \"pty:loop\"\n");
        fs::write(dir.join("bench.toml"), bench).unwrap();
        let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
        mock.line();
        let line = "serial:loop?pace=20";
        for (number, flags) in
            [("17", &[][..]), ("6", &["--write"]), ("35", &["--write"]), ("130", &["--write"])]
        {
            let word = if flags.is_empty() { "--write" } else { "--move" };
            run(&dir, &ask(line, number, flags)).refused(&[word]);
        }
        let asked = run(&dir, &["ask", line, "0", "17", "message=NEW", "--write"]);
        assert!(asked.code == 0 && asked.err.contains("command 17, write message, goes to"), "{}", asked.err);
        mock.signal(libc::SIGTERM);
        mock.end();
    }
}

/// [HO-05] [DV-98]: nobody needs leave to stop something that is described as that; that the valve may move is said. No line
/// is there, so nothing is sent.
#[test]
fn who_stops_something_needs_no_leave() {
    let dir = scratch("guards-stops");
    let described = concat!(env!("CARGO_MANIFEST_DIR"), "/protocol-notes/positioner.toml");
    let asks = |number| run(&dir, &["ask", "serial:none", "0", number, "--description", described]);
    let stopped = asks("133");
    assert!(
        stopped.err.contains("caution: the valve may move") && !stopped.err.contains("--move"),
        "{}",
        stopped.err
    );
    assert!(stopped.err.contains("serial:none") || stopped.err.contains("none"), "{}", stopped.err);
    run(&dir, &["ask", "serial:none", "0", "133"]).refused(&["--move"]);
    run(&dir, &["ask", "serial:none", "0", "131", "calibration=3", "--description", described])
        .refused(&["--move"]);
}

/// A command that only reads, but not in the revision of the device, is none that is known there: nothing is sent but the
/// question who is there. The mock answers 64 [DV-11] once it may be asked.
#[test]
fn what_the_revision_does_not_have() {
    let dir = scratch("guards-revision");
    let bench = "pace = 20\n[[device]]\nrevision = 5\n[[line]]\nat = \"pty:loop\"\n";
    fs::write(dir.join("bench.toml"), bench).unwrap();
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    let line = "serial:loop?pace=20";
    for number in ["7", "8", "20", "76", "90", "105"] {
        assert_eq!(spec(number.parse().unwrap()).unwrap().effect, Effect::Reads, "{number}");
        for flags in [&[][..], &["--write"]] {
            let words = ["--move", number, "revision 5"];
            run(&dir, &[&["ask", line, "0", number, "data=00"], flags].concat()).refused(&words);
        }
    }
    let asked = run(&dir, &["ask", line, "0", "7", "--move"]);
    assert_eq!(asked.code, 1, "{}", asked.err);
    assert!(asked.out.contains("64"), "{}", asked.out);
    // What the revision has needs no leave.
    let asked = run(&dir, &["ask", line, "0", "13"]);
    assert_eq!(asked.code, 0, "{}", asked.err);
    mock.signal(libc::SIGTERM);
    mock.end();
}

/// The words of the rows that the leave hangs on, from the notes and not from the rows: these move or write.
#[test]
fn effects_that_must_not_be_less() {
    // Range, damping, fixed current, trims, transfer function, self test, reset, simulation, loop current mode.
    for number in
        [6, 34, 35, 36, 37, 39, 40, 41, 42, 43, 45, 46, 47, 51, 52, 55, 64, 65, 66, 67, 68, 69, 79, 82, 83]
    {
        assert_eq!(spec(number).unwrap().effect, Effect::Moves, "{number}");
    }
    for number in
        [17, 18, 19, 22, 38, 44, 49, 53, 56, 58, 59, 71, 87, 88, 89, 92, 103, 104, 107, 108, 109, 116]
    {
        assert_ne!(spec(number).unwrap().effect, Effect::Reads, "{number}");
    }
    // Whose name says that it writes does not read.
    for row in all() {
        let says = ["write", "set ", "trim ", "reset", "control", "enter", "configure", "lock the"];
        if says.iter().any(|w| row.name.starts_with(w)) {
            assert_ne!(row.effect, Effect::Reads, "{}: {}", row.number, row.name);
        }
    }
}
