//! The mock's memory image under SIGKILL.

use super::rig::{Numbers, request};
use crate::process::{Process, scratch};
use serde_json::Value as Json;
use std::fs::{self, File};
use std::io::Write;
use std::os::fd::AsRawFd;
use std::time::Duration;

const BENCH: &str = r#"
pace = "fast"
[[device]]
tag = "FV-3104"
memory = "m.image"
[[line]]
at = "pty:"
"#;

/// Killed 200 times while it saves what a host writes: at each new start the image is the one that
/// was reported saved last or the one that was being written, whole [DV-03].
///
/// A kill comes at a random moment after a write was sent. How long that may be follows from what the
/// kills before hit, so that some come too early and some too late on a fast disk as on a slow one.
#[test]
fn a_killed_mock_keeps_its_image_whole() {
    let dir = scratch("losses-image");
    fs::write(dir.join("bench.toml"), BENCH).unwrap();
    let mut numbers = Numbers(2);
    let mut longest_us = 20_000;
    // The image before the write that the kill is to hit, and that after it.
    let mut possible = [String::new(), String::new()];
    let (mut old, mut new, mut left) = (0, 0, 0);
    for kill in 0..=200 {
        let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
        let ready: Json = serde_json::from_str(&mock.line()).unwrap();
        let mut kept = ready["devices"][0]["long_tag"].as_str().unwrap().trim_end().to_owned();
        assert!(possible.contains(&kept), "{kept:?} is none of {possible:?}");
        assert!(!dir.join("m.image.bad-1").exists(), "corrupt after kill {kill}");
        left += usize::from(dir.join("m.image.new").exists());
        match possible[1] == kept {
            _ if kill == 0 => {}
            false => (old, longest_us) = (old + 1, (longest_us * 3 / 2).min(1_000_000)),
            true => (new, longest_us) = (new + 1, (longest_us * 2 / 3).max(100)),
        }
        if kill == 200 {
            break;
        }
        let unique = ready["devices"][0]["unique_address"].as_str().unwrap();
        let unique = u64::from_str_radix(unique, 16).unwrap().to_be_bytes();
        let unique: [u8; 5] = unique[3..].try_into().unwrap();
        let mut port = open(ready["lines"][0]["path"].as_str().unwrap());
        let mut write = |n: u64| {
            let tag = format!("kill {kill} write {n}");
            port.write_all(&request(unique, 22, format!("{tag:<32}").as_bytes())).unwrap();
            tag
        };
        let before = numbers.below(2);
        for n in 0..before {
            kept = write(n);
            while !mock.line().contains("memory_saved") {}
        }
        let last = write(before);
        let told = mock.lines_within(Duration::from_micros(numbers.below(longest_us)));
        mock.signal(libc::SIGKILL);
        mock.gone();
        // What was reported saved is kept, also if that was while the kill was on its way.
        let saved = |text: &String| text.contains("memory_saved");
        if told.iter().any(saved) || saved(&mock.rest()) {
            kept = last.clone();
        }
        possible = [kept, last];
    }
    println!("of 200 kills {old} left the old image, {new} the new one, {left} a half-made one beside it");
    assert!(old > 20 && new > 20, "the kills missed the moment: {old} old, {new} new");
}

/// The port as a terminal that passes octets as they are.
fn open(path: &str) -> File {
    let port = File::options().read(true).write(true).open(path).unwrap();
    // SAFETY: the settings are written by the first call before the others read them.
    unsafe {
        let mut settings = std::mem::zeroed();
        assert_eq!(libc::tcgetattr(port.as_raw_fd(), &mut settings), 0);
        libc::cfmakeraw(&mut settings);
        assert_eq!(libc::tcsetattr(port.as_raw_fd(), libc::TCSANOW, &settings), 0);
    }
    port
}
