//! Ten million samples (two without optimisation) as a sound file, as a table, and as a file that is followed while it grows: what is held does not grow with them [WV-12].
//!
//! A test program of its own, because it counts what is allocated.
#![cfg(feature = "io")]

mod support;

use looprig::frame::{RawFrame, RawOctet};
use looprig::line::io::{SampledLine, SampledSource};
use looprig::line::{Event, Line};
use looprig::time::Instant;
use looprig::wave::wav::{SampleFormat, WavSpec};
use looprig::wave::{Heard, Modulator, Recording, RecordingOptions, Talker, Transmission};
use std::fs::File;
use std::io::Write;
use std::sync::atomic::Ordering;
use support::counting::{Counting, LIVE};

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// Samples a second, and in all.
const RATE: u32 = 8_000;
const SAMPLES: usize = if cfg!(debug_assertions) { 2_000_000 } else { 10_000_000 };
/// Samples of the piece that is said again and again.
const PIECE: usize = 4_000;
/// Octets that may be held at any time beyond what was at the beginning: less than a tenth of the samples as 16 bits, of which ten million are 20 MB.
const MOST: usize = 2_000_000;

/// Half a second with a frame of 24 characters in it, and at its end another that talks into it, so that there are collisions too.
fn piece() -> Vec<f32> {
    let frame =
        RawFrame { octets: (0..24u8).map(|n| RawOctet::from(if n < 5 { 0xFF } else { n })).collect() };
    let at = |ms: u64| Instant::from_nanos(ms * 1_000_000);
    let mut m = Modulator::new(RATE.into()).unwrap();
    let mut samples = vec![0.0; PIECE];
    let other = Talker { phase: 0.3, tones: 1.002, ..Talker::of(0.2) };
    let said = [
        Transmission::starting(at(20), frame.clone(), Talker::of(0.2)),
        Transmission::starting(at(150), frame, other),
    ];
    m.run(&said, &mut samples);
    samples
}

/// Reads pieces until there were enough samples, and says how much was held at most; how many characters and collisions.
fn held(mut piece: impl FnMut(usize, &mut Vec<u8>), options: RecordingOptions) -> (usize, usize, usize) {
    let mut recording = Recording::new(options);
    let (mut bytes, mut heard) = (Vec::new(), Vec::new());
    let (mut characters, mut collisions, mut most) = (0, 0, 0);
    let before = LIVE.load(Ordering::Relaxed);
    for n in 0..SAMPLES / PIECE {
        bytes.clear();
        piece(n, &mut bytes);
        recording.run(&bytes, &mut heard, &mut |_, _| {}).unwrap();
        characters += heard.iter().filter(|h| matches!(h, Heard::Character(_))).count();
        collisions += heard.iter().filter(|h| matches!(h, Heard::Collision(..))).count();
        heard.clear();
        most = most.max(LIVE.load(Ordering::Relaxed).saturating_sub(before));
    }
    recording.finish(&mut heard, &mut |_, _| {}).unwrap();
    assert!((recording.seconds() * f64::from(RATE) - SAMPLES as f64).abs() < 1.0, "{}", recording.seconds());
    (most, characters, collisions)
}

/// One after the other, for they share the count.
#[test]
fn what_is_held_does_not_grow() {
    let wave = piece();
    let spec = WavSpec { rate_hz: RATE, channels: 1, format: SampleFormat::I16 };
    let pieces = SAMPLES / PIECE;
    let sound = |n: usize, out: &mut Vec<u8>| {
        if n == 0 {
            out.extend_from_slice(&spec.header(None));
        }
        spec.write(&wave, out);
    };
    let (most, characters, collisions) = held(sound, RecordingOptions::default());
    assert!(most < MOST, "a sound file: {most} octets");
    assert!(characters > pieces * 15 && collisions > pieces / 2, "{characters} {collisions}");

    let table = |n: usize, out: &mut Vec<u8>| {
        for (k, v) in wave.iter().enumerate() {
            writeln!(out, "{:.6},{v:.4}", (n * PIECE + k) as f64 / f64::from(RATE)).unwrap();
        }
    };
    let (most, characters, _) = held(table, RecordingOptions::default());
    assert!(most < MOST, "a table: {most} octets");
    assert!(characters > pieces * 15, "{characters}");

    // A file that grows while it is followed. Its lines of octets are taken as they come, remarks too.
    let path = std::env::temp_dir().join(format!("looprig-grows-{}.wav", std::process::id()));
    let mut file = File::create(&path).unwrap();
    file.write_all(&spec.header(None)).unwrap();
    let mut source = SampledSource::parse(path.to_str().unwrap(), "follow").unwrap();
    source.options.full_scale_v = Some(0.1);
    let mut line = SampledLine::open(&source).unwrap();
    let mut bytes = Vec::new();
    spec.write(&wave, &mut bytes);
    let before = LIVE.load(Ordering::Relaxed);
    let (mut octets, mut remarks, mut most) = (0, 0, 0);
    for n in 1..=pieces {
        file.write_all(&bytes).unwrap();
        if !n.is_multiple_of(50) && n < pieces {
            continue;
        }
        // Up to a tenth of a second before what is there.
        let until = Instant::from_nanos(n as u64 * 500_000_000 - 100_000_000);
        loop {
            match line.wait(Some(until)).unwrap() {
                Event::Octets(some) => octets += some.len(),
                Event::TimeOut => break,
                other => panic!("{other:?}"),
            }
            remarks += line.take_remarks().len();
            most = most.max(LIVE.load(Ordering::Relaxed).saturating_sub(before));
        }
    }
    std::fs::remove_file(&path).unwrap();
    assert!(most < MOST, "a file that grows: {most} octets");
    assert!(octets > pieces * 15 && remarks > pieces / 2, "{octets} {remarks}");
}
