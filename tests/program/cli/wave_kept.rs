//! `wave`: the times that are kept, and what is told of carriers and of recorders.

use super::wave::{TALK, made, octets};
use crate::process::{Ended, run, scratch};
use std::fs;
use std::path::Path;

/// When each record of a log begins and ends, s: the ends of its first and of its last octet.
fn ends_of_records(log: &Path) -> Vec<(f64, f64)> {
    let text = fs::read_to_string(log).unwrap();
    let number = |v: &serde_json::Value, key: &str| v[key].as_f64().unwrap() / 1e9;
    text.lines()
        .skip(1)
        .map(|l| serde_json::from_str(l).unwrap())
        .map(|v: serde_json::Value| (number(&v, "t"), number(&v, "e")))
        .collect()
}

/// Every record of `b` begins and ends where that of `a` does, against the first, within `error_s`.
fn same_times(a: &Path, b: &Path, error_s: f64) {
    let (a, b) = (ends_of_records(a), ends_of_records(b));
    assert_eq!(a.len(), b.len());
    for (n, (x, y)) in a.iter().zip(&b).enumerate() {
        for (logged, made) in [(x.0 - a[0].0, y.0 - b[0].0), (x.1 - a[0].0, y.1 - b[0].0)] {
            assert!(
                (logged - made).abs() <= error_s,
                "record {n}: {logged} s in the log, {made} in the wave"
            );
        }
    }
}

/// [WV-15]: two masters with noise, as a log of virtual time with exact stamps: the wave has the octets and the times of the log, within the 0.1 ms of
/// [WV-05], and whoever was not accused by the log is not by the wave.
#[test]
fn the_times_of_a_log_are_kept() {
    let dir = scratch("wave-times");
    let bench =
        format!("mock:{}/fixtures/benches/two-masters-noise.toml?seed=7&for=20", env!("CARGO_MANIFEST_DIR"));
    assert_eq!(run(&dir, &["listen", "-q", &bench, "--log", "noise.log"]).code, 0);
    let make = |from: &str, to: &str, more: &[&str]| {
        let mut arguments = vec!["wave", "make", from, "--out", to, "--rate", "16000", "--force"];
        arguments.extend(more);
        let told = run(&dir, &arguments);
        assert_eq!(told.code, 0, "{}", told.err);
        told.err
    };
    let listen = |wave: &str, log: &str| {
        assert_eq!(run(&dir, &["listen", "-q", &format!("wav:{wave}"), "--log", log]).code, 0);
    };
    assert_eq!(make("noise.log", "noise.wav", &["-q"]), "");
    listen("noise.wav", "back.log");
    assert_eq!(octets(&dir.join("noise.log")), octets(&dir.join("back.log")));
    same_times(&dir.join("noise.log"), &dir.join("back.log"), 1e-4);
    let decoded = run(&dir, &["decode", "noise.wav"]);
    assert!(!decoded.out.contains("Against the rules"), "{}", decoded.out);
    let (of_log, of_wave) = (run(&dir, &["host-check", "noise.log"]), run(&dir, &["host-check", "back.log"]));
    assert_eq!((of_log.code, &of_log.out), (of_wave.code, &of_wave.out));
    // Carriers so long that they would overlap are pushed apart, and it is told.
    let told = make("noise.log", "pushed.wav", &["--lead", "40", "--tail", "40"]);
    assert!(
        told.contains("later than it says") && told.contains("the carrier before was still on"),
        "{told}"
    );
    // Talkers whose clock is off: what is heard of them is a log with their times, and a wave of that has those again; the error of two readings.
    for bits in ["-1", "1"] {
        make("noise.log", "off.wav", &["--bit-rate", bits, "-q"]);
        listen("off.wav", &format!("off{bits}.log"));
        make(&format!("off{bits}.log"), "again.wav", &["-q"]);
        listen("again.wav", &format!("again{bits}.log"));
        same_times(&dir.join(format!("off{bits}.log")), &dir.join(format!("again{bits}.log")), 2e-4);
    }
}

/// A log of pace `fast` has no times that mean anything: each of its records is a transmission.
#[test]
fn a_fast_log_keeps_its_frames_apart() {
    let dir = scratch("wave-fast");
    let bench = format!("mock:{}/fixtures/benches/bursting.toml?seed=3&for=15", env!("CARGO_MANIFEST_DIR"));
    let heard = run(&dir, &["listen", "-q", &bench, "--log", "fast.log"]);
    assert_eq!(heard.code, 0, "{}", heard.err);
    let frames = octets(&dir.join("fast.log"));
    let told = run(&dir, &["wave", "make", "fast.log", "--out", "fast.wav", "--rate", "16000"]);
    assert!(told.out.contains(&format!("{} transmissions", frames.len())), "{}", told.out);
    // [WV-23]: told once, though the log is read twice.
    assert_eq!(told.err.matches("not those of a line").count(), 1, "{}", told.err);
    assert!(told.err.contains("75 ms are left between"), "{}", told.err);
    let back = run(&dir, &["listen", "-q", "wav:fast.wav", "--log", "back.log"]);
    assert_eq!((back.code, octets(&dir.join("back.log"))), (0, frames));
}

/// [WV-18]: a recorder that is driven four times beyond its full scale: its levels are not known, and no talker is blamed for them.
#[test]
fn a_recording_that_is_cut_off_has_no_levels() {
    let dir = scratch("wave-cut-off");
    let made_at = |level: &str| {
        fs::write(dir.join("talk.txt"), TALK).unwrap();
        let told = run(&dir, &["wave", "make", "talk.txt", "--out", "talk.wav", "--force", "--level", level]);
        assert_eq!(told.code, 0, "{}", told.err);
        run(&dir, &["wave", "read", "talk.wav", "--full-scale", "1"])
    };
    // 8 V peak to peak into 1 V of full scale.
    let told = made_at("8");
    assert!(
        told.err.contains("stand at full scale") && told.err.contains("turn the input down"),
        "{}",
        told.err
    );
    let is_told = |told: &Ended| {
        let look = told.out.contains("LOOK the recording: it is cut off");
        assert!(told.code == 1 && look && !told.out.contains("loudly"), "{}{}", told.err, told.out);
    };
    is_told(&told);
    // [WV-22]: the same made a tenth smaller on its way, so that nothing is at full scale.
    let mut bytes = fs::read(dir.join("talk.wav")).unwrap();
    for sample in bytes[44..].chunks_exact_mut(2) {
        let value = f64::from(i16::from_le_bytes([sample[0], sample[1]])) * 0.9;
        sample.copy_from_slice(&(value.round() as i16).to_le_bytes());
    }
    fs::write(dir.join("smaller.wav"), bytes).unwrap();
    let smaller = run(&dir, &["wave", "read", "smaller.wav", "--full-scale", "1"]);
    assert!(smaller.err.contains("stand at one level"), "{}", smaller.err);
    is_told(&smaller);
    let level = told.out.lines().find(|l| l.contains("level of ones")).unwrap();
    assert!(level.contains("not judged"), "{level}");
    // 2 V peak to peak just reach it.
    let told = made_at("2");
    assert!(!told.err.contains("cut off") && told.out.contains("loudly"), "{}{}", told.err, told.out);
}

/// Lead of 1 bit: the first character is lost, and the report says too late; of 8 bits: too early.
#[test]
fn carrier_that_comes_late_is_not_called_early() {
    let dir = scratch("wave-late");
    for (lead, right, wrong) in [("1", "too late", "too early"), ("8", "too early", "too late")] {
        made(&dir, &["--lead", lead]);
        let told = run(&dir, &["wave", "read", "talk.wav"]);
        assert!(told.code == 0 && told.out.contains(right) && !told.out.contains(wrong), "{}", told.out);
        let row = told.out.lines().find(|l| l.contains("carrier before")).unwrap();
        assert!(row.contains("advice") && row.contains("4 to 5 bits"), "{row}");
    }
}

/// [WV-31]: messages so close that one carrier begins where the other ends are all read again, and it is told that they had to begin later; so is a stop bit
/// that the log does not have.
#[test]
fn carriers_that_touch_are_kept_apart() {
    let dir = scratch("wave-touch");
    let mut log = String::from(
        r#"{"looprig_log":1,"line":"test","start_utc":"2026-11-30T00:00:00Z","version":"0","pace":"20","stamp_error_ns":5000000,"stamps":"octets","parity_seen":false,"carrier_seen":false}"#,
    );
    // A character at twenty times the pace: 11 / 1200 / 20 s. Between two messages 100 us, which are 2 ms on a wire: less than 8 bits of carrier.
    let (character, octets_each) = (458_333, 12);
    for n in 0..40u64 {
        let t = 1_000_000 + n * (octets_each * character + 100_000);
        let e = t + (octets_each - 1) * character;
        let marks = if n == 7 { r#","m":[[9,"f"]]"# } else { "" };
        // [1770]: command 0 of the primary master to polling address 0, seven preambles before it.
        log += &format!("\n{{\"t\":{t},\"e\":{e},\"o\":\"FFFFFFFFFFFFFF0280000082\"{marks}}}");
    }
    fs::write(dir.join("touch.log"), log + "\n").unwrap();
    let told = run(&dir, &["wave", "make", "touch.log", "--out", "touch.wav", "--rate", "16000"]);
    assert_eq!(told.code, 0, "{}", told.err);
    assert!(told.err.contains("39 transmissions begin later"), "{}", told.err);
    assert!(told.err.contains("1 octet without a stop bit; the wave gives each one"), "{}", told.err);
    assert_eq!(run(&dir, &["listen", "-q", "wav:touch.wav", "--log", "back.log"]).code, 0);
    assert_eq!(octets(&dir.join("touch.log")), octets(&dir.join("back.log")));
    let read = run(&dir, &["wave", "read", "touch.wav"]);
    assert!(read.out.contains("40 whole frames, 0 damaged"), "{}", read.out);
}
