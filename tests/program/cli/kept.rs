//! What is stored stays: outputs that are inputs, pipes that stop a log, files that cannot be read.

use crate::process::{run, scratch};
use std::fs;

/// Command 0 and an answer [1770].
const HEX: &str = "FFFFFFFFFF 02 80 00 00 82\n";

/// `--force` is for another file, never for the one that is read, by whatever name.
#[test]
fn no_output_replaces_its_input() {
    let dir = scratch("kept-input");
    fs::write(dir.join("a.hex"), HEX).expect("a scratch file");
    let made = run(&dir, &["decode", "a.hex", "--format", "pcapng", "--out", "a.pcapng"]);
    assert_eq!(made.code, 0, "{}", made.err);
    #[cfg(unix)]
    std::os::unix::fs::symlink("a.hex", dir.join("b.hex")).expect("a link");
    let before = fs::read(dir.join("a.pcapng")).expect("it was made");
    for arguments in [
        &["decode", "a.pcapng", "--format", "pcapng", "--out", "a.pcapng", "--force"][..],
        &["decode", "a.pcapng", "a.hex", "--format", "pcapng", "--out", "./a.hex", "--force"],
        &["wave", "make", "a.hex", "--out", "a.hex", "--force"],
        #[cfg(unix)]
        &["wave", "make", "a.hex", "--out", "b.hex", "--force"],
    ] {
        let ended = run(&dir, arguments);
        assert_eq!(ended.code, 2, "{arguments:?}: {}", ended.out);
        assert!(ended.err.contains("the same file is read"), "{arguments:?}: {}", ended.err);
        assert_eq!(fs::read_to_string(dir.join("a.hex")).expect("it is there"), HEX, "{arguments:?}");
        assert_eq!(fs::read(dir.join("a.pcapng")).expect("it is there"), before, "{arguments:?}");
    }
}

/// What goes into a pcapng comes out of it: a user's own way back, octet for octet.
#[test]
fn a_log_comes_back_from_a_pcapng() {
    let dir = scratch("kept-log");
    let bench =
        format!("mock:{}/fixtures/benches/two-masters-noise.toml?for=5&seed=1", env!("CARGO_MANIFEST_DIR"));
    let listened = run(&dir, &["listen", &bench, "--log", "a.log", "--pcap", "b.pcapng"]);
    assert_eq!(listened.code, 0, "{}", listened.err);
    let made = run(&dir, &["decode", "a.log", "--format", "pcapng", "--out", "a.pcapng"]);
    assert_eq!(made.code, 0, "{}", made.err);
    let log = fs::read_to_string(dir.join("a.log")).expect("a log");
    assert!(log.lines().count() > 1, "{log}");
    for (from, to) in [("a.pcapng", "c.log"), ("b.pcapng", "d.log"), ("a.log", "e.log")] {
        let back = run(&dir, &["decode", from, "--format", "log", "--out", to]);
        assert_eq!(back.code, 0, "{from}: {}", back.err);
        assert_eq!(fs::read_to_string(dir.join(to)).expect("a log"), log, "{from}");
    }
    // Octets without times make none, and nothing stays behind.
    fs::write(dir.join("a.hex"), HEX).expect("a scratch file");
    let refused = run(&dir, &["decode", "a.hex", "--format", "log", "--out", "f.log"]);
    assert_eq!((refused.code, dir.join("f.log").exists()), (2, false), "{}", refused.err);
    assert!(refused.err.contains("its octets have no times"), "{}", refused.err);
    let refused = run(&dir, &["decode", "a.log", "--format", "log"]);
    assert!(refused.code == 2 && refused.err.contains("--format log needs a file"), "{}", refused.err);
    let refused = run(&dir, &["listen", &bench, "--format", "log"]);
    assert!(refused.code == 2 && refused.err.contains("--log FILE.log"), "{}", refused.err);
}

/// A pipe, whose reader could stop the log, is refused before anything is opened, and an empty capture stays behind nowhere.
#[cfg(unix)]
#[test]
fn packets_go_to_a_file() {
    let dir = scratch("kept-pipe");
    let fifo = dir.join("ff");
    let made = std::process::Command::new("mkfifo").arg(&fifo).status().expect("mkfifo");
    assert!(made.success());
    let bench = format!("mock:{}/fixtures/benches/brackenmoor.toml?for=1", env!("CARGO_MANIFEST_DIR"));
    let ended = run(&dir, &["listen", &bench, "--pcap", "ff"]);
    assert_eq!(ended.code, 2, "{}", ended.out);
    assert!(ended.err.contains("pipe") && ended.err.contains("tail"), "{}", ended.err);
    // A log that only a newer version reads is refused, and so that nothing is made.
    fs::write(dir.join("new.log"), "{\"looprig_log\":99}\n").expect("a scratch file");
    let ended = run(&dir, &["listen", &bench, "--log", "new.log", "--pcap", "new.pcapng"]);
    assert_eq!((ended.code, dir.join("new.pcapng").exists()), (2, false), "{}", ended.err);
}

/// A compressed capture is no traffic of a wire.
#[test]
fn what_is_compressed_is_named() {
    let dir = scratch("kept-compressed");
    // The head of a gzip file (RFC 1952).
    fs::write(dir.join("a.pcapng.gz"), [0x1F, 0x8B, 0x08, 0, 0, 0, 0, 0, 0, 3, 1, 2, 3])
        .expect("a scratch file");
    for arguments in [
        &["decode", "a.pcapng.gz"][..],
        &["host-check", "a.pcapng.gz"],
        &["decode", "a.pcapng.gz", "--format", "pcapng", "--out", "b.pcapng"],
    ] {
        let ended = run(&dir, arguments);
        assert_eq!(ended.code, 2, "{arguments:?}: {}", ended.out);
        assert!(ended.err.contains("compressed") && ended.err.contains("unpack"), "{}", ended.err);
    }
}
