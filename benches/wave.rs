//! How fast samples become octets, beside the least that any program must do with them (each made a number and looked at once), and
//! beside minimodem on the same file where it is installed; and how well bits are told at known timing, beside theory [WV-07]: every point is
//! judged by the limits of a binomial, and the run fails beyond 0.5 dB. Why looprig's are better than theory is shown by what is run beside them.
//!
//! Run with `cargo bench --bench wave`; with `--quick` a tenth of the bits. minimodem is run as it is, with none of the tolerances that are asked
//! of looprig: no parity, no stamps, no start edges, no carrier's level.

use looprig::frame::{RawFrame, RawOctet};
use looprig::time::Instant;
use looprig::wave::wav::{SampleFormat, WavSpec};
use looprig::wave::{Demodulator, DemodulatorConfig, Detector, Heard, Modulator, Talker, Transmission};
use looprig::wiring::noise::bit_error_rate;
use std::f64::consts::PI;
use std::hint::black_box;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Samples a second.
const RATE: u32 = 48_000;
/// Seconds of traffic.
const SECONDS: f64 = 120.0;
/// Times real time that are aimed at.
const AIM: f64 = 2_000.0;
/// Times that it is measured; the quickest counts.
const ROUNDS: usize = 9;
/// The largest loss against the formula, dB [WV-07].
const LOSS_DB: f64 = 0.5;
/// The largest gain that the note explains, dB [WV-07].
const GAIN_DB: f64 = 1.5;
/// Windows of one bit without any filter have to be what the formula says, to this, dB [WV-07].
const PLAIN_DB: f64 = 0.15;
/// How far from its mean a count may lie, in standard deviations: of all the points of a run one in a thousand would lie farther by chance.
const SIGMAS: f64 = 4.0;

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn time(run: impl FnOnce()) -> Duration {
    let from = std::time::Instant::now();
    run();
    from.elapsed()
}

/// Messages of 30 characters, three a second, as 16-bit samples; and how many characters.
fn traffic() -> (Vec<i16>, usize) {
    let mut dice = oorandom::Rand64::new(3);
    let mut said = Vec::new();
    let mut at = 0.05;
    while at < SECONDS - 1.0 {
        let values = (0..30).map(|n| if n < 5 { 0xFF } else { dice.rand_u64() as u8 });
        let frame = RawFrame { octets: values.map(RawOctet::from).collect() };
        said.push(Transmission::starting(Instant::from_nanos((at * 1e9) as u64), frame, Talker::of(0.3)));
        at += 0.333;
    }
    let mut m = Modulator::new(RATE.into()).expect("a usual rate");
    let mut samples = vec![0f32; (SECONDS * f64::from(RATE)) as usize];
    let mut done = 0;
    for part in samples.chunks_mut(4800) {
        done += m.run(&said[done..], part).consumed;
    }
    (samples.iter().map(|s| (s * 32_767.0) as i16).collect(), said.len() * 30)
}

fn floats(samples: &[i16], out: &mut Vec<f32>) {
    out.clear();
    out.extend(samples.iter().map(|s| f32::from(*s) / 32_768.0));
}

fn read(samples: &[i16]) -> usize {
    let mut d = Demodulator::new(DemodulatorConfig::full_scale(RATE.into())).expect("a usual rate");
    let (mut heard, mut part) = ([Heard::default(); 64], Vec::new());
    let mut characters = 0;
    let mut count =
        |heard: &[Heard]| characters += heard.iter().filter(|h| matches!(h, Heard::Character(_))).count();
    for piece in samples.chunks(65_536) {
        floats(piece, &mut part);
        let mut rest = &part[..];
        while !rest.is_empty() {
            let p = d.run(rest, &mut heard);
            rest = &rest[p.consumed..];
            count(&heard[..p.produced]);
        }
    }
    loop {
        let n = d.finish(&mut heard);
        count(&heard[..n]);
        if n == 0 {
            return characters;
        }
    }
}

fn bare(samples: &[i16]) -> f32 {
    let (mut sum, mut part) = ([0f32; 16], Vec::new());
    for piece in samples.chunks(65_536) {
        floats(piece, &mut part);
        for x in black_box(&part).chunks_exact(16) {
            for k in 0..16 {
                sum[k] += x[k] * x[k];
            }
        }
    }
    sum.iter().sum()
}

/// minimodem on the same samples, as a file; `None` where it is not installed.
fn minimodem(samples: &[i16]) -> Option<Duration> {
    let path = std::env::temp_dir().join(format!("looprig-wave-{}.wav", std::process::id()));
    let spec = WavSpec { rate_hz: RATE, channels: 1, format: SampleFormat::I16 };
    let mut bytes = spec.header(Some(samples.len() as u64)).to_vec();
    bytes.extend(samples.iter().flat_map(|s| s.to_le_bytes()));
    std::fs::write(&path, bytes).ok()?;
    let mut best = None;
    for _ in 0..3 {
        let mut ran = false;
        let took = time(|| {
            let command = Command::new("minimodem")
                .args(["--rx", "-q", "--binary-raw", "11", "-f"])
                .arg(&path)
                .arg("1200")
                .stdout(Stdio::null())
                .status();
            ran = command.is_ok();
        });
        if ran {
            best = Some(best.map_or(took, |b: Duration| b.min(took)));
        }
    }
    let _ = std::fs::remove_file(path);
    best
}

/// How the phase goes on from one bit to the next.
#[derive(Clone, Copy, PartialEq)]
enum Phase {
    Continuous,
    /// A new one at random for each bit: what neighbours know of a bit is lost.
    Random,
}

/// What tells the bits.
#[derive(Clone, Copy, PartialEq)]
enum Reader {
    /// looprig's detector.
    Looprig,
    /// The receiver of the formula: envelopes of both tones over one bit, and no filter.
    Plain,
}

/// Wrong bits of so many random ones at known timing.
fn wrong_bits(db: f64, bits: u64, phase: Phase, reader: Reader) -> u64 {
    let rate = f64::from(RATE);
    let per_bit = (RATE / 1200) as usize;
    let mut dice = oorandom::Rand64::new(7);
    let sigma = (0.5 / 1200.0 / 10f64.powf(db / 10.0) * rate / 2.0).sqrt();
    let mut d = Detector::new(rate).expect("a usual rate");
    let tone = |hz: f64| -> Vec<(f64, f64)> {
        (0..per_bit).map(|k| (2.0 * PI * hz * k as f64 / rate).sin_cos()).collect()
    };
    let (ones, zeros) = (tone(1200.0), tone(2200.0));
    let (mut sent, mut turns, mut wrong, mut judged) = (std::collections::VecDeque::new(), 0.0f64, 0, 0u64);
    let mut block: Vec<f32> = Vec::with_capacity(per_bit * 256);
    let mut made = 0;
    while judged < bits {
        block.clear();
        for _ in 0..256 {
            let one = dice.rand_u64() & 1 == 1;
            sent.push_back(one);
            if phase == Phase::Random {
                turns = dice.rand_float();
            }
            let step = if one { 1200.0 } else { 2200.0 } / rate;
            for _ in 0..per_bit / 2 {
                // Two even numbers make two normal ones.
                let (u, v) = (dice.rand_float().max(f64::MIN_POSITIVE), dice.rand_float());
                let (length, (sin, cos)) = (sigma * (-2.0 * u.ln()).sqrt(), (2.0 * PI * v).sin_cos());
                for noise in [length * sin, length * cos] {
                    block.push(((2.0 * PI * turns).sin() + noise) as f32);
                    turns = (turns + step).fract();
                }
            }
            made += 1;
        }
        if reader == Reader::Plain {
            let energy = |bit: &[f32], tone: &[(f64, f64)]| {
                let sum = bit
                    .iter()
                    .zip(tone)
                    .fold((0.0, 0.0), |(a, b), (x, (s, c))| (a + f64::from(*x) * s, b + f64::from(*x) * c));
                sum.0 * sum.0 + sum.1 * sum.1
            };
            for bit in block.chunks_exact(per_bit).take((bits - judged) as usize) {
                wrong += u64::from(sent.pop_front() != Some(energy(bit, &ones) > energy(bit, &zeros)));
                judged += 1;
            }
            continue;
        }
        d.run(&block);
        while judged < bits && judged < made {
            let window = (judged as f64 + 0.5) / 1200.0 * Detector::RATE_HZ - Detector::MIDDLE;
            let Some((mark, space)) = d.between(window) else { break };
            wrong += u64::from(sent.pop_front() != Some(mark > space));
            judged += 1;
        }
        d.forget(d.end().saturating_sub(64));
    }
    wrong
}

/// Whether so many wrong bits can be those of a receiver that is between `gain_db` better and `loss_db` worse than the formula.
fn within(wrong: u64, bits: u64, db: f64, gain_db: f64, loss_db: f64) -> bool {
    let limit = |db: f64, sign: f64| {
        let p = bit_error_rate(10f64.powf(db / 10.0));
        let n = bits as f64;
        n * p + sign * SIGMAS * (n * p * (1.0 - p)).sqrt()
    };
    let wrong = wrong as f64;
    (limit(db + gain_db, -1.0)..=limit(db - loss_db, 1.0)).contains(&wrong)
}

/// How far the formula is off for so many wrong bits, and for two standard deviations less and more, dB.
fn losses(wrong: u64, bits: u64, db: f64) -> String {
    let loss = |n: f64| db - formula_db(n.max(0.5) / bits as f64);
    let (n, two) = (wrong as f64, 2.0 * (wrong as f64).sqrt());
    format!("{:6.2} ({:.2} to {:.2})", loss(n), loss(n - two), loss(n + two))
}

/// The Eb/N0 at which the formula makes this share wrong, dB.
fn formula_db(share: f64) -> f64 {
    let (mut low, mut high) = (-10.0, 20.0);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if bit_error_rate(10f64.powf(middle / 10.0)) > share { low = middle } else { high = middle }
    }
    low
}

fn main() {
    let quick = std::env::args().any(|a| a == "--quick");
    let (samples, characters) = traffic();
    assert_eq!(read(&samples), characters, "characters were missed");
    let (mut reading, mut looking) = (Duration::MAX, Duration::MAX);
    for _ in 0..ROUNDS {
        reading = reading.min(time(|| {
            black_box(read(&samples));
        }));
        looking = looking.min(time(|| {
            black_box(bare(&samples));
        }));
    }

    let bits = if quick { 100_000 } else { 1_000_000 };
    println!(
        "bits at known timing, {bits} a line, 48 kHz; the formula of [WV-07], and how far off it looprig is"
    );
    println!("Eb/N0 dB     wrong     share   formula  loss dB, within two standard deviations");
    let mut faults = Vec::new();
    for tenths in [40, 50, 60, 70, 80, 90, 100, 110, 120] {
        let db = f64::from(tenths) / 10.0;
        let wrong = wrong_bits(db, bits, Phase::Continuous, Reader::Looprig);
        let share = wrong as f64 / bits as f64;
        let formula = bit_error_rate(10f64.powf(db / 10.0));
        println!("{db:8.1}  {wrong:8}  {share:.2e}  {formula:.2e}  {}", losses(wrong, bits, db));
        if !within(wrong, bits, db, GAIN_DB, LOSS_DB) {
            faults.push(format!("looprig at {db} dB: {wrong} wrong of {bits}"));
        }
    }
    println!("why it is better: the same bits and noise otherwise");
    for db in [6.0, 8.0, 10.0] {
        for (reader, phase, what, gain, loss) in [
            (Reader::Plain, Phase::Continuous, "one bit alone, no filters", PLAIN_DB, PLAIN_DB),
            (Reader::Plain, Phase::Random, "the same, a phase that jumps at every bit", PLAIN_DB, PLAIN_DB),
            // What it knows of neighbours is wrong now: it has to lose what it had gained.
            (Reader::Looprig, Phase::Random, "looprig, a phase that jumps at every bit", 0.0, 3.0),
        ] {
            let wrong = wrong_bits(db, bits, phase, reader);
            println!("{db:8.1}  {wrong:8}  {what}: loss {}", losses(wrong, bits, db));
            if !within(wrong, bits, db, gain, loss) {
                faults.push(format!("{what} at {db} dB: {wrong} wrong of {bits}"));
            }
        }
    }
    println!(
        "limits: at most {LOSS_DB} dB worse and {GAIN_DB} better; windows without filters within {PLAIN_DB} of the formula. It is better because its filters look into \
         neighbouring bits, whose phase goes on: where it does not, the gain is a loss, and a window of one bit alone has neither"
    );

    let times = |d: Duration| SECONDS / d.as_secs_f64();
    match minimodem(&samples) {
        Some(d) => println!("minimodem on the same file: {:.0} times real time", times(d)),
        None => println!("minimodem is not installed"),
    }
    println!(
        "wave {:.0} times real time at 48 kHz (aim: over {AIM}), bare pass {:.0}: ratio {:.1}",
        times(reading),
        times(looking),
        reading.as_secs_f64() / looking.as_secs_f64()
    );
    for fault in &faults {
        eprintln!("out of its limits: {fault}");
    }
    if !faults.is_empty() {
        std::process::exit(1);
    }
}
