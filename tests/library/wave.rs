//! How many frames are read from a wave that is off, noisy, humming, twisted or weak: a table that is kept [WV-02] [WV-03] [WV-08].
//!
//! `tests/library/wave_table.txt` is what came out; a change of the receiver shows there. After one that is wanted, run with
//! `LOOPRIG_KEEP_TABLE=1` and look at what has changed. What must hold is asserted besides: every row marked `must` is read whole, and
//! rows of noise are held against the formula [WV-07].

use looprig::frame::{RawFrame, RawOctet, Receiver, ReceiverConfig, Reception};
use looprig::time::{Instant, Pace};
use looprig::wave::{Demodulator, DemodulatorConfig, Heard, Modulator, Talker, Transmission};
use looprig::wiring::noise::{bit_error_rate, damaged_share};
use std::f64::consts::PI;
use std::fmt::Write;
use std::path::Path;
use std::time::Duration;

/// Frames of each row.
const FRAMES: usize = 40;
/// Samples a second, where a row does not say otherwise.
const RATE: f64 = 16_000.0;
/// Time between the beginnings of two frames, s.
const STEP_S: f64 = 0.27;

/// What is done to a wave.
#[derive(Clone, Copy)]
struct Wave {
    rate: f64,
    amplitude: f64,
    tones: f64,
    bits: f64,
    gaps: f64,
    twist_db: f64,
    eb_n0_db: Option<f64>,
    hum: Option<(f64, f64)>,
    ripple: f64,
    step: f64,
    clip: f64,
    quantum: u32,
}

const PLAIN: Wave = Wave {
    rate: RATE,
    amplitude: 0.25,
    tones: 1.0,
    bits: 1.0,
    gaps: 0.0,
    twist_db: 0.0,
    eb_n0_db: None,
    hum: None,
    ripple: 0.0,
    step: 0.0,
    clip: 1.0,
    quantum: 16,
};

fn normal(dice: &mut oorandom::Rand64) -> f64 {
    let (u, v) = (dice.rand_float().max(f64::MIN_POSITIVE), dice.rand_float());
    (-2.0 * u.ln()).sqrt() * (2.0 * PI * v).cos()
}

/// Replies of 19 characters behind five preambles, with data and a phase by chance.
fn said(w: Wave, dice: &mut oorandom::Rand64) -> Vec<Transmission> {
    (0..FRAMES)
        .map(|n| {
            let mut values = vec![0x86, 0xA6, 0x0D, 0x00, 0x15, 0x11, 0x01, 0x0A, 0x00, 0x00];
            values.extend((0..8).map(|_| dice.rand_u64() as u8));
            values.push(values.iter().fold(0, |a, b| a ^ b));
            let mut octets = vec![RawOctet::from(0xFF); 5];
            octets.extend(values.into_iter().map(RawOctet::from));
            for o in &mut octets[1..] {
                o.gap_before = Duration::from_secs_f64(w.gaps * dice.rand_float() / 1200.0);
            }
            let half = 10f64.powf(w.twist_db / 40.0);
            let talker = Talker {
                mark: w.amplitude * half,
                space: w.amplitude / half,
                tones: w.tones,
                rate: w.bits,
                phase: dice.rand_float(),
                ..Talker::of(0.0)
            };
            let at = 0.03 + STEP_S * n as f64;
            Transmission::starting(Instant::from_nanos((at * 1e9) as u64), RawFrame { octets }, talker)
        })
        .collect()
}

/// Frames that are read, of [`FRAMES`].
fn read(w: Wave) -> usize {
    let mut dice = oorandom::Rand64::new(7);
    let said = said(w, &mut dice);
    let mut m = Modulator::new(w.rate).unwrap();
    let mut samples = vec![0f32; ((STEP_S * FRAMES as f64 + 0.1) * w.rate) as usize];
    let mut done = 0;
    for part in samples.chunks_mut(960) {
        done += m.run(&said[done..], part).consumed;
    }
    let sigma = w.eb_n0_db.map_or(0.0, |db| {
        let n0 = w.amplitude * w.amplitude / 2.0 / 1200.0 / 10f64.powf(db / 10.0);
        (n0 * w.rate / 2.0).sqrt()
    });
    let (full, mut behind) = (2f64.powi(w.quantum as i32 - 1), 0.0);
    for (n, s) in samples.iter_mut().enumerate() {
        let t = n as f64 / w.rate;
        let mut v = f64::from(*s);
        if let Some((hz, level)) = w.hum {
            let parts = [(1.0, 1.0), (2.0, 0.3), (3.0, 0.3), (5.0, 0.15)];
            v += parts.iter().map(|(k, a)| level * a * (2.0 * PI * hz * k * t + k).sin()).sum::<f64>();
        }
        v += w.ripple * (2.0 * PI * 25.0 * t).sin();
        // Up and down twice a second behind a low-pass of 25 Hz.
        let wanted = if ((t * 4.0) as u64).is_multiple_of(2) { 0.0 } else { w.step };
        behind += (wanted - behind) * (1.0 - (-2.0 * PI * 25.0 / w.rate).exp());
        v += behind;
        if sigma > 0.0 {
            v += sigma * normal(&mut dice);
        }
        *s = ((v.clamp(-w.clip, w.clip) * full).round() / full) as f32;
    }
    let mut d = Demodulator::new(DemodulatorConfig::full_scale(w.rate)).unwrap();
    let mut receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::from_micros(100)));
    let mut heard = [Heard::default(); 32];
    let mut rest = &samples[..];
    let mut take = |heard: &[Heard]| {
        for h in heard {
            if let Heard::Character(c) = h {
                receiver.push(&[c.octet]);
            }
        }
    };
    while !rest.is_empty() {
        let p = d.run(rest, &mut heard);
        take(&heard[..p.produced]);
        rest = &rest[p.consumed..];
    }
    loop {
        let n = d.finish(&mut heard);
        take(&heard[..n]);
        if n == 0 {
            break;
        }
    }
    receiver.finish();
    let frames = core::iter::from_fn(|| receiver.next());
    frames
        .filter(|r| match r {
            Reception::Good(g) => {
                let values: Vec<u8> = g.octets.iter().map(|o| o.value).collect();
                assert!(said.iter().any(|t| t.frame.values().ends_with(&values)), "a frame that nobody sent");
                true
            }
            _ => false,
        })
        .count()
}

#[test]
fn the_table_of_frames_read() {
    let mut rows: Vec<(String, bool, Wave)> = Vec::new();
    let mut row = |name: String, must: bool, wave: Wave| rows.push((name, must, wave));
    for rate in [8000.0, 11_025.0, 44_100.0, 192_000.0] {
        row(format!("{rate} samples/s"), true, Wave { rate, ..PLAIN });
    }
    for (tones, bits) in [(0.97, 1.0), (1.03, 1.0), (1.0, 0.98), (1.0, 1.02), (0.97, 1.02), (1.03, 0.98)] {
        let name =
            format!("tones {:+.0} %, bits {:+.0} %, pauses", tones * 100.0 - 100.0, bits * 100.0 - 100.0);
        row(name, true, Wave { tones, bits, gaps: 0.9, ..PLAIN });
    }
    for (tones, bits) in [(0.93, 1.0), (1.07, 1.0), (1.0, 0.95), (1.0, 1.05)] {
        let name = format!("tones {:+.0} %, bits {:+.0} %", tones * 100.0 - 100.0, bits * 100.0 - 100.0);
        row(name, false, Wave { tones, bits, ..PLAIN });
    }
    for tones in [0.9, 0.95, 1.05, 1.1] {
        let name = format!("tones {:+.0} %, Eb/N0 10 dB", tones * 100.0 - 100.0);
        row(name, false, Wave { tones, eb_n0_db: Some(10.0), ..PLAIN });
    }
    for db in [8.0, 10.0, 11.0, 12.0, 13.0, 14.0, 16.0] {
        row(format!("Eb/N0 {db} dB"), db >= 16.0, Wave { eb_n0_db: Some(db), ..PLAIN });
        let off = Wave { tones: 0.97, bits: 1.02, gaps: 0.9, rate: 8000.0, ..PLAIN };
        row(format!("Eb/N0 {db} dB, all off, 8 kHz"), db >= 16.0, Wave { eb_n0_db: Some(db), ..off });
    }
    for hz in [50.0, 60.0] {
        for level in [0.1, 0.5] {
            row(
                format!("hum {hz} Hz {level}, tone 0.05"),
                true,
                Wave { amplitude: 0.05, hum: Some((hz, level)), ..PLAIN },
            );
        }
        // Up to where frames are lost, so that a receiver that has become deafer shows.
        for (level, amplitude) in [(0.5, 0.003), (0.6, 0.0018), (0.6, 0.0012)] {
            row(
                format!("hum {hz} Hz {level}, tone {amplitude}"),
                false,
                Wave { amplitude, hum: Some((hz, level)), ..PLAIN },
            );
        }
        let noisy = Wave { amplitude: 0.05, hum: Some((hz, 0.5)), eb_n0_db: Some(12.0), ..PLAIN };
        row(format!("hum {hz} Hz 0.5, tone 0.05, Eb/N0 12 dB"), false, noisy);
    }
    row("ripple 25 Hz 0.9, tone 0.01".into(), true, Wave { amplitude: 0.01, ripple: 0.9, ..PLAIN });
    row("steps 0.9 behind 25 Hz, tone 0.03".into(), true, Wave { amplitude: 0.03, step: 0.9, ..PLAIN });
    for db in [-10.0f64, -6.0, -3.0, 3.0, 6.0, 10.0] {
        row(format!("twist {db:+} dB"), db.abs() <= 6.0, Wave { twist_db: db, ..PLAIN });
        row(
            format!("twist {db:+} dB, Eb/N0 16 dB"),
            false,
            Wave { twist_db: db, eb_n0_db: Some(16.0), ..PLAIN },
        );
    }
    for db in [-10.0f64, -6.0, -3.0, 3.0, 6.0, 10.0] {
        row(
            format!("twist {db:+} dB, Eb/N0 9.5 dB"),
            false,
            Wave { twist_db: db, eb_n0_db: Some(9.5), ..PLAIN },
        );
    }
    for amplitude in [0.002, 0.0017, 0.0014] {
        row(format!("tone {amplitude}, 16 bits"), false, Wave { amplitude, ..PLAIN });
    }
    row("ripple 25 Hz 0.9, tone 0.0018".into(), false, Wave { amplitude: 0.0018, ripple: 0.9, ..PLAIN });
    row("steps 0.9 behind 25 Hz, tone 0.01".into(), false, Wave { amplitude: 0.01, step: 0.9, ..PLAIN });
    for clip in [0.0625, 0.01] {
        let wave = Wave { clip, eb_n0_db: Some(11.0), ..PLAIN };
        row(format!("clipped to {clip} of 0.25, Eb/N0 11 dB before"), false, wave);
    }
    row("-50 dB, 16 bits".into(), true, Wave { amplitude: 0.003_16, ..PLAIN });
    row("-30 dB, 8 bits".into(), true, Wave { amplitude: 0.031_6, quantum: 8, ..PLAIN });
    row("clipped to a quarter".into(), true, Wave { clip: 0.0625, ..PLAIN });

    let mut table = format!("{FRAMES} frames of 24 characters a row\nread  must  wave\n");
    let mut faults = Vec::new();
    for (name, must, wave) in rows {
        let n = read(wave);
        let _ = writeln!(table, "{n:4}  {:4}  {name}", if must { "must" } else { "" });
        if must && n < FRAMES {
            faults.push(format!("{name}: {n} of {FRAMES}"));
        }
        // A frame that is found needs 19 characters to be right, and two preambles; timing and carrier may cost as much as 1 dB.
        let off =
            (wave.tones - 1.0).abs() > 0.03 || wave.twist_db != 0.0 || wave.hum.is_some() || wave.clip < 1.0;
        if let Some(db) = wave.eb_n0_db.filter(|_| !off) {
            let share = 1.0 - damaged_share(bit_error_rate(10f64.powf((db - 1.0) / 10.0)), 21);
            let least = FRAMES as f64 * share - 3.0 * (FRAMES as f64 * share * (1.0 - share)).sqrt();
            if (n as f64) < least {
                faults.push(format!("{name}: {n} of {FRAMES}, at least {least:.1} by the formula"));
            }
        }
    }
    assert_eq!(faults, Vec::<String>::new(), "{table}");
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/library/wave_table.txt");
    if std::env::var_os("LOOPRIG_KEEP_TABLE").is_some() {
        std::fs::write(&path, &table).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap();
    assert_eq!(table, kept, "the table has changed: is that wanted? LOOPRIG_KEEP_TABLE=1 keeps it");
}
