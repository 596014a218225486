//! `listen` and its log.

use super::rig::{Numbers, Wire, read_log, request};
use crate::process::{Process, looprig, run, scratch};
use serde_json::Value as Json;
use std::fs;
use std::io::{BufRead, Read, Write};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::Stdio;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

const UNIQUE: [u8; 5] = [0x3D, 0x71, 0x00, 0x31, 0x04];

/// A request that carries a number, so that one that is lost is missed.
fn numbered(n: u32) -> Vec<u8> {
    request(UNIQUE, 22, &[&n.to_be_bytes()[..], &[0x20; 28]].concat())
}

/// How many requests with the numbers from 0 on begin in these octets, which are those requests and nothing else; the
/// last one may break off.
fn begun(octets: &[u8]) -> u32 {
    let mut count = 0;
    let mut rest = octets;
    while !rest.is_empty() {
        let request = numbered(count);
        let (one, more) = rest.split_at(request.len().min(rest.len()));
        assert_eq!(one, &request[..one.len()], "something is missing, or too much, behind {count} requests");
        (count, rest) = (count + 1, more);
    }
    count
}

/// The number of a request; its data begin behind delimiter, address, command and byte count.
fn number(record: &[u8]) -> u32 {
    let start = record.iter().position(|&o| o == 0x82).unwrap() + 8;
    u32::from_be_bytes(record[start..start + 4].try_into().unwrap())
}

fn start(dir: &Path, wire: &Wire, options: &[&str]) -> Process {
    let line = format!("serial:{}?pace=fast", wire.path);
    let mut listener = Process::start(dir, &[&["listen", &line], options].concat());
    let message = listener.message();
    assert!(message.starts_with("Listening on "), "{message}");
    listener
}

/// SIGKILL at 50 moments under traffic as fast as a pseudo-terminal takes it: every record that was
/// flushed is there, none is missing between, and no session touches what an earlier one wrote. That a
/// request was flushed is known because its line of output, written after its record, has been read.
#[test]
fn a_killed_listener_loses_no_record() {
    let dir = scratch("losses-kill");
    let log = dir.join("x.log");
    let mut numbers = Numbers(1);
    let mut before = Vec::new();
    let mut at_least = Vec::new();
    for _ in 0..50 {
        let wire = Wire::new();
        let mut listener = start(&dir, &wire, &["--log", "x.log", "--format", "json"]);
        let enough = Arc::new(AtomicBool::new(false));
        let (mut near, stop) = (wire.near(), Arc::clone(&enough));
        let talker = std::thread::spawn(move || {
            for n in 0.. {
                // The far end's close ends a write that nobody reads.
                if stop.load(Ordering::SeqCst) || near.write_all(&numbered(n)).is_err() {
                    return;
                }
            }
        });
        let lines = 1 + numbers.below(60);
        let mut seen = 0;
        for _ in 0..lines {
            let json: Json = serde_json::from_str(&listener.line()).unwrap();
            // Of a request that a busy machine cut in two nothing else is shown than that it is damaged.
            seen += json["tries"].as_u64().unwrap_or(0);
        }
        let flushed = fs::metadata(&log).unwrap().len();
        listener.signal(libc::SIGKILL);
        listener.gone();
        enough.store(true, Ordering::SeqCst);
        // Nobody reads any more: makes room for a write that waits for it.
        wire.empty();
        talker.join().unwrap();
        let after = fs::read(&log).unwrap();
        assert!(after.len() as u64 >= flushed && after.starts_with(&before), "an earlier session changed");
        before = after;
        at_least.push(seen);
    }
    let log = read_log(&log);
    assert_eq!((log.headers, log.sessions.len()), (50, 50));
    // A line may be torn only where a kill hit it.
    assert!(log.problems.len() <= 50, "{:?}", log.problems);
    for (session, at_least) in at_least.into_iter().enumerate() {
        let got = begun(&log.octets(session));
        assert!(u64::from(got) >= at_least, "{got} of {at_least} that were flushed");
    }
}

/// Waits until the listener has shown a request with this number of frames before it.
fn talk_and_wait(wire: &Wire, listener: &mut Process, from: u32, count: u32) {
    for n in from..from + count {
        wire.talk(&numbered(n));
    }
    // A request is shown when the next one comes, or when nothing answers for long enough.
    for _ in 0..count - 1 {
        listener.line();
    }
}

/// The port goes away in mid-listen: told, exit code 2, and everything heard is in the log.
#[test]
fn a_vanished_port_is_told() {
    let dir = scratch("losses-gone");
    for session in 1..=2 {
        let wire = Wire::new();
        let mut listener = start(&dir, &wire, &["--log", "x.log", "--format", "json"]);
        talk_and_wait(&wire, &mut listener, 0, 3);
        let path = wire.path.clone();
        drop(wire);
        let ended = listener.end();
        assert_eq!(ended.code, 2, "{}", ended.err);
        for part in ["what was heard until then is in x.log", "the port is gone", &path, "next: "] {
            assert!(ended.err.contains(part), "{part:?} is missing in: {}", ended.err);
        }
        let log = read_log(&dir.join("x.log"));
        assert_eq!((log.headers, log.problems.len()), (session, 0));
        let got: Vec<u32> = log.sessions[session - 1].iter().map(|r| number(r)).collect();
        assert_eq!(got, [0, 1, 2]);
    }
}

/// What the disk does not take is told at once, with exit code 2; what it took can be read, and the
/// log is continued once there is room.
fn becomes_full(mut listener: std::process::Child, wire: &Wire, dir: &Path, log: &str, said: &str) {
    let mut messages = std::io::BufReader::new(listener.stderr.take().unwrap());
    let mut told = String::new();
    // What came before the port was set up would be read with other settings.
    messages.read_line(&mut told).unwrap();
    for n in 0..800 {
        wire.talk_or_leave(&numbered(n));
    }
    messages.read_to_string(&mut told).unwrap();
    assert_eq!(listener.wait().unwrap().code(), Some(2), "{told}");
    for part in [
        &format!("writing the log {log}: {said}"),
        "the log ends here",
        "next: what was logged so far is kept",
    ] {
        assert!(told.contains(part), "{part:?} is missing in: {told}");
    }
    let kept = read_log(&dir.join(log));
    let got = begun(&kept.octets(0));
    assert!(got > 50, "{got}");
    assert!(kept.problems.len() <= 1, "{:?}", kept.problems);
}

/// 64 KiB and no more: the system refuses what goes beyond, in the middle of a record.
#[test]
fn a_log_that_may_not_grow_ends_the_listener() {
    let dir = scratch("losses-limit");
    let wire = Wire::new();
    let line = format!("serial:{}?pace=fast", wire.path);
    let mut command = looprig(&dir, &["listen", &line, "--log", "x.log", "--format", "json"]);
    command.stdout(Stdio::null()).stderr(Stdio::piped());
    // SAFETY: setrlimit is safe between fork and exec, and the limit is on the stack.
    unsafe {
        command.pre_exec(|| {
            let limit = libc::rlimit { rlim_cur: 65_536, rlim_max: 65_536 };
            assert_eq!(libc::setrlimit(libc::RLIMIT_FSIZE, &limit), 0);
            Ok(())
        });
    }
    becomes_full(command.spawn().unwrap(), &wire, &dir, "x.log", "File too large");
    assert_eq!(fs::metadata(dir.join("x.log")).unwrap().len(), 65_536, "written to the last octet");
    // Without the limit it goes on, on a line of its own.
    let next = Wire::new();
    let mut listener = start(&dir, &next, &["--log", "x.log", "--format", "json"]);
    talk_and_wait(&next, &mut listener, 5_000, 3);
    listener.signal(libc::SIGTERM);
    assert_eq!(listener.end().code, 0);
    let log = read_log(&dir.join("x.log"));
    let got: Vec<u32> = log.sessions[1].iter().map(|r| number(r)).collect();
    assert_eq!((log.headers, got), (2, vec![5_000, 5_001, 5_002]));
    let decoded = run(&dir, &["decode", "--summary", "x.log"]);
    assert_eq!(decoded.code, 0);
    assert!(decoded.err.contains("is torn and was skipped") || decoded.err.is_empty(), "{}", decoded.err);
}

/// A mounted file system, unmounted at the end of the test however that ends.
struct Mounted(std::ffi::CString);

impl Mounted {
    fn new(dir: &Path) -> Option<Mounted> {
        let at = std::ffi::CString::new(dir.to_str().unwrap()).unwrap();
        // SAFETY: every argument is a text that ends in zero.
        let done = unsafe {
            libc::mount(c"tmpfs".as_ptr(), at.as_ptr(), c"tmpfs".as_ptr(), 0, c"size=64k".as_ptr().cast())
        };
        (done == 0).then_some(Mounted(at))
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        // SAFETY: the argument is a text that ends in zero.
        unsafe { libc::umount2(self.0.as_ptr(), libc::MNT_DETACH) };
    }
}

#[test]
fn a_full_disk_ends_the_listener() {
    let dir = scratch("losses-full");
    let Some(_mounted) = Mounted::new(&dir) else {
        let why = std::io::Error::last_os_error();
        println!(
            "skipped: no small file system can be mounted here ({why}); the limit above stands in for it"
        );
        return;
    };
    let wire = Wire::new();
    let line = format!("serial:{}?pace=fast", wire.path);
    let mut command = looprig(&dir, &["listen", &line, "--log", "x.log", "--format", "json"]);
    let listener = command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
    becomes_full(listener, &wire, &dir, "x.log", "the disk is full");
}

#[test]
fn a_device_is_no_log() {
    let dir = scratch("losses-device");
    for command in ["listen", "scan"] {
        let ended = run(&dir, &[command, "pty:", "--log", "/dev/full"]);
        ended.refused(&["opening the log /dev/full", "no file", "name another file"]);
    }
}

/// A file ends before it would exceed the size, nothing is lost at the boundary, and the files in order
/// decode like one [LG-03].
#[test]
fn rotated_logs_decode_as_one() {
    let dir = scratch("losses-rotate");
    let wire = Wire::new();
    let options = ["--log", "x.log", "--rotate", "2k", "--format", "json"];
    let mut listener = start(&dir, &wire, &options);
    talk_and_wait(&wire, &mut listener, 0, 60);
    listener.signal(libc::SIGINT);
    assert_eq!(listener.end().code, 0);
    let mut files: Vec<String> =
        fs::read_dir(&dir).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    files.sort();
    assert!(files.len() > 3 && files[0] == "x.000001.log", "{files:?}");
    let mut got = Vec::new();
    for file in &files {
        let log = read_log(&dir.join(file));
        assert_eq!((log.headers, log.problems.len()), (1, 0), "{file}");
        got.extend(log.sessions[0].iter().map(|r| number(r)));
        assert!(fs::metadata(dir.join(file)).unwrap().len() <= 2_000);
    }
    assert_eq!(got, (0..60).collect::<Vec<_>>());
    // The same requests in one file, with the same clock.
    let mut whole = String::new();
    for file in &files {
        let text = fs::read_to_string(dir.join(file)).unwrap();
        let skip = usize::from(!whole.is_empty());
        whole.extend(text.lines().skip(skip).flat_map(|l| [l, "\n"]));
    }
    fs::write(dir.join("whole"), whole).unwrap();
    let one = run(&dir, &["decode", "whole", "--format", "json"]);
    let names: Vec<&str> = files.iter().map(String::as_str).collect();
    let many = run(&dir, &[&["decode", "--format", "json"], &names[..]].concat());
    assert_eq!((one.code, many.code, many.err.as_str()), (0, 0, ""));
    assert!(one.out.lines().count() > 1);
    assert_eq!(one.out, many.out);
}

/// Statistics when SIGUSR1 asks for them, at every period, and at the end.
#[test]
fn statistics_are_told_when_asked_for() {
    let dir = scratch("losses-statistics");
    let wire = Wire::new();
    let mut listener = start(&dir, &wire, &["--format", "json"]);
    talk_and_wait(&wire, &mut listener, 0, 3);
    listener.signal(libc::SIGUSR1);
    let mut statistics = || loop {
        let json: Json = serde_json::from_str(&listener.line()).unwrap();
        if json["kind"] == "statistics" {
            return json;
        }
    };
    let first = statistics();
    // 3 requests of 5 + 1 + 5 + 1 + 1 + 32 + 1 octets; a line without times has no load.
    assert_eq!((&first["octets"], &first["damaged"]), (&Json::from(138), &Json::from(0)));
    assert!(first["bus_load_percent"].is_null() && first["devices"].is_array());
    listener.signal(libc::SIGTERM);
    let ended = listener.end();
    let last: Json = serde_json::from_str(ended.out.lines().last().unwrap()).unwrap();
    assert_eq!((ended.code, &last["kind"], &last["frames"]), (0, &Json::from("statistics"), &Json::from(3)));
    // In text they go beside the results.
    let wire = Wire::new();
    let mut listener = start(&dir, &wire, &["--stats", "0.1"]);
    for _ in 0..2 {
        let message = listener.message();
        assert!(message.starts_with("Statistics after 0."), "{message}");
    }
    listener.signal(libc::SIGTERM);
    assert_eq!(listener.end().code, 0);
    run(&dir, &["listen", "pty:", "--stats", "0"]).refused(&["reading --stats", "0.1"]);
    run(&dir, &["listen", "pty:", "--rotate", "1q", "--log", "x"]).refused(&["reading --rotate", "10M"]);
    assert_eq!(run(&dir, &["listen", "pty:", "--rotate", "1M"]).code, 2);
}

/// A log of a newer format, or one that another listener writes, is refused untouched.
#[test]
fn a_log_that_is_not_to_be_touched() {
    let dir = scratch("losses-refused");
    fs::write(dir.join("new.log"), "{\"looprig_log\":2,\"new\":0}\n").unwrap();
    for command in ["listen", "scan"] {
        run(&dir, &[command, "pty:", "--log", "new.log"]).refused(&[
            "opening the log new.log",
            "format 2",
            "left alone",
            "newer looprig",
        ]);
    }
    assert_eq!(fs::read_to_string(dir.join("new.log")).unwrap(), "{\"looprig_log\":2,\"new\":0}\n");
    let wire = Wire::new();
    let listener = start(&dir, &wire, &["--log", "x.log"]);
    let before = fs::read(dir.join("x.log")).unwrap();
    run(&dir, &["listen", "pty:", "--log", "x.log"]).refused(&[
        "opening the log x.log",
        "another program is writing",
        "end that program",
    ]);
    assert_eq!(fs::read(dir.join("x.log")).unwrap(), before);
    listener.signal(libc::SIGTERM);
    assert_eq!(listener.end().code, 0);
}

/// Nobody reads what a listener shows, as when a terminal is stopped: the log goes on, and the end is a
/// good one once somebody reads again.
#[test]
fn a_reader_who_pauses_does_not_stop_the_log() {
    let dir = scratch("losses-paused");
    let wire = Wire::new();
    let line = format!("serial:{}?pace=fast", wire.path);
    let mut command = looprig(&dir, &["listen", &line, "--log", "x.log", "-vv", "--stats", "0.1"]);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut first = String::new();
    let mut messages = std::io::BufReader::new(child.stderr.take().unwrap());
    messages.read_line(&mut first).unwrap();
    assert!(first.starts_with("Listening on "), "{first}");
    // Far more than pipes and queues hold; the wire takes it only as long as the listener reads.
    const COUNT: u32 = 12_000;
    for n in 0..COUNT {
        assert!(wire.talk_or_leave(&numbered(n)), "the listener stopped at {n}");
    }
    // What the system still holds is read, and logged, while nobody takes the output.
    let log = dir.join("x.log");
    let is_whole = |_| fs::read(&log).unwrap().iter().filter(|o| **o == b'\n').count() > COUNT as usize;
    assert!((0..20_000).any(is_whole), "the log stands still");
    // SAFETY: a plain call; the child is ours and has not been waited for.
    assert_eq!(unsafe { libc::kill(child.id().cast_signed(), libc::SIGTERM) }, 0);
    let told = std::thread::spawn(move || std::io::read_to_string(messages).unwrap());
    let ended = child.wait_with_output().unwrap();
    let told = told.join().unwrap();
    assert_eq!(ended.status.code(), Some(0), "{told}");
    assert!(told.contains("lines of output were left out"), "{told}");
    assert!(String::from_utf8(ended.stdout).unwrap().contains("\nSummary: "));
    let logged = read_log(&log);
    let octets = logged.octets(0);
    assert_eq!((begun(&octets), octets.len()), (COUNT, numbered(0).len() * COUNT as usize));
}
