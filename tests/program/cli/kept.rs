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
