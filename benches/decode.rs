//! `looprig decode` of a long log beside the bare limit: reading the same lines and writing them out
//! again, in the same run. Prints frames per second, the ratio, and peak memory for a log of a tenth
//! and of the whole length.
//!
//! `cargo bench --bench decode`, or `-- 100000` for another number of frames.

#![allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// Exchanges of published frames [ICS] [NIT], see `fixtures/frames/`: request and reply in turn.
const FRAMES: [&str; 8] = [
    "8226 4E0000D202003A",
    "86264E0000D2020A00D07FA000000000 00003B",
    "8226 4E0000D203003B",
    "86264E0000D2031A00D07FA00000FB00000000FB0000000020420200002042000000 28",
    "829A1AAD188C0D0036",
    "869A1AAD188C0D17000050 11E0820820 58F494158806 30F5CD154152 0F016FE2",
    "829A1AAD188C0E0035",
    "869A1AAD188C0E1200000000001343960000000000 0038D1B717AC",
];

fn write_log(path: &Path, frames: usize) {
    let mut out = BufWriter::new(File::create(path).expect("a temporary file"));
    writeln!(
        out,
        r#"{{"looprig_log":1,"line":"bench","start_utc":"2026-11-25T00:00:00Z","version":"0","pace":"wire","stamp_error_ns":0,"stamps":"octets","parity_seen":false,"carrier_seen":false}}"#
    )
    .expect("a temporary file");
    let mut at = 0u64;
    for i in 0..frames {
        let hex = FRAMES[i % FRAMES.len()].replace(' ', "");
        let octets = 5 + hex.len() as u64 / 2;
        let start = at + 30_000_000;
        at = start + (octets - 1) * 9_166_666;
        writeln!(out, r#"{{"t":{start},"e":{at},"o":"FFFFFFFFFF{hex}","g":20833334}}"#)
            .expect("a temporary file");
    }
}

/// Seconds and peak memory in KiB of a run of the program with its output thrown away.
fn run(log: &Path, format: &str) -> (f64, i64) {
    let begun = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_looprig"))
        .args(["decode", "--format", format])
        .arg(log)
        .stdout(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut status = 0;
    // SAFETY: zero is a valid rusage, and the child is ours and not yet waited for.
    let usage = unsafe {
        let mut usage: libc::rusage = std::mem::zeroed();
        libc::wait4(child.id() as i32, &mut status, 0, &mut usage);
        usage
    };
    let _ = child.try_wait();
    assert_eq!(status, 0, "the program ends well");
    (begun.elapsed().as_secs_f64(), usage.ru_maxrss)
}

/// Seconds to read every line and write it out again.
fn bare(log: &Path) -> f64 {
    let begun = Instant::now();
    let mut input = BufReader::with_capacity(1 << 16, File::open(log).expect("the log"));
    let mut out = BufWriter::with_capacity(1 << 16, File::create("/dev/null").expect("/dev/null"));
    let mut line = Vec::new();
    while input.read_until(b'\n', &mut line).expect("the log") > 0 {
        out.write_all(&line).expect("/dev/null");
        line.clear();
    }
    begun.elapsed().as_secs_f64()
}

fn main() {
    let frames = std::env::args().skip(1).find_map(|a| a.parse().ok()).unwrap_or(1_000_000usize);
    let dir = std::env::temp_dir().join(format!("looprig-bench-{}", std::process::id()));
    std::fs::create_dir_all(&dir).expect("a temporary directory");
    let (long, short) = (dir.join("long.log"), dir.join("short.log"));
    write_log(&long, frames);
    write_log(&short, frames / 10);
    let limit = bare(&long).min(bare(&long));
    println!("decode: {frames} frames; bare reading and writing of the log takes {limit:.3} s");
    for format in ["text", "json", "csv"] {
        let (seconds, peak) = run(&long, format);
        let (_, peak_short) = run(&short, format);
        println!(
            "decode: {format}: {:.0} frames/s, {:.1} times the bare limit, peak memory {peak} KiB (a tenth of the log: {peak_short} KiB)",
            frames as f64 / seconds,
            seconds / limit
        );
    }
    let _ = std::fs::remove_dir_all(&dir);
}
