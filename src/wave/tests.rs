//! The wave made and read again, under all that it has to bear.

use super::*;
use crate::frame::{Marks, RawFrame, RawOctet, Receiver, ReceiverConfig, Reception};
use crate::time::{Instant, Pace};
use core::f64::consts::PI;
use core::time::Duration;
use proptest::prelude::*;

/// Dice for noise: two uniform numbers make a normal one.
struct Dice(oorandom::Rand64);

impl Dice {
    fn new(seed: u128) -> Dice {
        Dice(oorandom::Rand64::new(seed))
    }

    fn normal(&mut self) -> f64 {
        let (u, v) = (self.0.rand_float().max(1e-300), self.0.rand_float());
        (-2.0 * u.ln()).sqrt() * (2.0 * PI * v).cos()
    }
}

/// A published reply to command 0 [1770], after five preambles.
fn reply() -> RawFrame {
    let mut octets = vec![0xFF; 5];
    octets.extend([
        0x06, 0x80, 0x00, 0x0E, 0x00, 0x00, 0xFE, 0x26, 0x0D, 0x06, 0x05, 0x02, 0x01, 0x50, 0x00, 0x00, 0x15,
        0x11, 0x09,
    ]);
    RawFrame { octets: octets.into_iter().map(RawOctet::from).collect() }
}

fn make(rate: f64, said: &[Transmission], seconds: f64) -> Vec<f32> {
    let mut m = Modulator::new(rate).unwrap();
    let mut out = vec![0f32; (rate * seconds) as usize];
    let mut done = 0;
    for part in out.chunks_mut(777) {
        done += m.run(&said[done..], part).consumed;
    }
    assert_eq!(done, said.len());
    out
}

fn hear(config: DemodulatorConfig, samples: &[f32], part: usize) -> Vec<Heard> {
    let mut d = Demodulator::new(config).unwrap();
    let (mut out, mut some) = (Vec::new(), [Heard::default(); 7]);
    for mut rest in samples.chunks(part) {
        while !rest.is_empty() {
            let p = d.run(rest, &mut some);
            rest = &rest[p.consumed..];
            out.extend_from_slice(&some[..p.produced]);
        }
    }
    loop {
        let n = d.finish(&mut some);
        if n == 0 {
            return out;
        }
        out.extend_from_slice(&some[..n]);
    }
}

fn characters(heard: &[Heard]) -> Vec<Character> {
    let one = |h: &Heard| if let Heard::Character(c) = h { Some(*c) } else { None };
    heard.iter().filter_map(one).collect()
}

fn octets(heard: &[Heard]) -> Vec<(u8, Marks)> {
    characters(heard).iter().map(|c| (c.octet.value, c.octet.marks)).collect()
}

fn bursts(heard: &[Heard]) -> Vec<Burst> {
    let one = |h: &Heard| if let Heard::End(b) = h { Some(*b) } else { None };
    heard.iter().filter_map(one).collect()
}

/// How many of the replies are received as frames.
fn frames(heard: &[Heard]) -> usize {
    let mut r = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::from_micros(100)));
    for c in characters(heard) {
        r.push(&[c.octet]);
    }
    r.finish();
    core::iter::from_fn(|| r.next()).filter(|x| matches!(x, Reception::Good(_))).count()
}

fn at(ms: u64) -> Instant {
    Instant::from_nanos(ms * 1_000_000)
}

const EACH_MS: u64 = 250;

/// So many replies, one each 250 ms.
fn replies(n: u64, talker: Talker) -> Vec<Transmission> {
    (0..n).map(|k| Transmission::starting(at(20 + EACH_MS * k), reply(), talker)).collect()
}

fn seconds(n: u64) -> f64 {
    (EACH_MS * n + 30) as f64 / 1e3
}

fn clean(frame: &RawFrame) -> Vec<(u8, Marks)> {
    frame.values().into_iter().map(|v| (v, Marks::NONE)).collect()
}

/// Adds something to each sample: its time goes in.
fn with(mut samples: Vec<f32>, rate: f64, mut more: impl FnMut(f64) -> f64) -> Vec<f32> {
    for (n, s) in samples.iter_mut().enumerate() {
        *s = (f64::from(*s) + more(n as f64 / rate)) as f32;
    }
    samples
}

#[test]
fn what_is_made_is_read_at_every_rate_and_stamped() {
    let said = [Transmission::starting(at(20), reply(), Talker::of(0.5))];
    for rate in [8000.0, 9600.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0, 44_056.5] {
        let heard = hear(DemodulatorConfig::full_scale(rate), &make(rate, &said, 0.3), 4800);
        assert_eq!(octets(&heard), clean(&reply()), "{rate}");
        for (n, c) in characters(&heard).iter().enumerate() {
            // Character n begins 11 n bits after 20 ms and lasts 11 bits; 0.1 bit is what [WV-05] allows.
            let ends = 0.020 + 11.0 * (n + 1) as f64 / 1200.0;
            let off = (c.octet.at.as_secs_f64() - ends) * 1200.0;
            assert!(off.abs() < 0.1, "{rate}: character {n} is off by {off} bit");
        }
        let [b] = bursts(&heard)[..] else { panic!("{rate}: {heard:?}") };
        assert!((b.lead_s().unwrap() * 1200.0 - 5.0).abs() < 0.25, "{rate}: {b:?}");
        assert!((b.tail_s().unwrap() * 1200.0 - 3.0).abs() < 0.25, "{rate}: {b:?}");
    }
}

/// [WV-02]: tones 3 %, rate 2 %, either way, with pauses that are no whole bits.
#[test]
fn tolerances_of_a_talker() {
    let mut frame = reply();
    for (n, o) in frame.octets.iter_mut().enumerate().skip(1) {
        o.gap_before = Duration::from_micros(73 * n as u64 % 833);
    }
    for rate in [8000.0, 48_000.0] {
        for tones in [0.97, 1.0, 1.03] {
            for bits in [0.98, 1.0, 1.02] {
                let talker = Talker { tones, rate: bits, ..Talker::of(0.25) };
                let said = [Transmission::starting(at(20), frame.clone(), talker)];
                let heard = hear(DemodulatorConfig::full_scale(rate), &make(rate, &said, 0.32), 4096);
                assert_eq!(octets(&heard), clean(&frame), "{rate} {tones} {bits}");
                let [b] = bursts(&heard)[..] else { panic!("{heard:?}") };
                assert!((b.mark_hz.unwrap() / (1200.0 * tones) - 1.0).abs() < 0.005, "{b:?}");
                assert!((b.space_hz.unwrap() / (2200.0 * tones) - 1.0).abs() < 0.005, "{b:?}");
                assert!((b.bit_rate.unwrap() / (1200.0 * bits) - 1.0).abs() < 0.007, "{bits} {b:?}");
                assert!((b.longest_gap_bits - 0.86).abs() < 0.2, "{b:?}");
            }
        }
    }
}

/// [WV-03]: -50 dB of full scale in 16 bits, -30 dB in 8.
#[test]
fn levels_down_to_where_they_are_to_be_read() {
    for (db, bits) in [(-50.0, 16), (-30.0, 8), (-1.0, 8)] {
        for rate in [8000.0, 48_000.0] {
            let amplitude = 10f64.powf(db / 20.0);
            let steps = 2f64.powi(bits - 1);
            let samples = make(rate, &replies(4, Talker::of(amplitude)), seconds(4));
            let samples: Vec<f32> =
                samples.iter().map(|s| ((f64::from(*s) * steps).round() / steps) as f32).collect();
            let heard = hear(DemodulatorConfig::full_scale(rate), &samples, 4096);
            assert_eq!(frames(&heard), 4, "{db} dB, {bits} bits, {rate}");
            let b = bursts(&heard)[0];
            assert!((b.mark / amplitude - 1.0).abs() < 0.05 && (b.space / amplitude - 1.0).abs() < 0.05);
        }
    }
}

/// [WV-03]: what a receiver must understand, 120 mV peak to peak, is no remark; what is weaker is read and marked, below 80 mV as what must be ignored.
#[test]
fn weak_signals_are_read_and_marked() {
    for (pp, words) in [
        (0.125, None),
        (0.115, Some("may need 120")),
        (0.085, Some("may need 120")),
        (0.075, Some("ignores 80")),
    ] {
        let samples = make(48_000.0, &replies(4, Talker::of(pp / 2.0)), seconds(4));
        let heard = hear(DemodulatorConfig::volts(48_000.0), &samples, 4096);
        assert_eq!(frames(&heard), 4, "{pp} V");
        for b in bursts(&heard) {
            let said = b.weak().map(|r| r.to_string());
            assert_eq!(said.is_some(), words.is_some(), "{pp}: {said:?}");
            assert!(said.is_none_or(|s| s.contains(words.unwrap())), "{pp}");
        }
    }
    // Below 10 mV nothing is heard at all.
    let samples = make(48_000.0, &replies(4, Talker::of(0.004)), seconds(4));
    assert!(hear(DemodulatorConfig::volts(48_000.0), &samples, 4096).is_empty());
}

/// A request with data, each with another, so that 100 of them are 100 commands.
fn request(n: u8) -> RawFrame {
    let mut octets = vec![0xFF; 5];
    let body = [0x02, 0x80, 6, 1, n];
    octets.extend(body);
    octets.push(body.iter().fold(0, |a, b| a ^ b));
    RawFrame { octets: octets.into_iter().map(RawOctet::from).collect() }
}

/// [WV-08]: 100 commands beside each tone, all read; the signal has the 120 mV that must be understood.
#[test]
fn a_hundred_commands_beside_each_tone() {
    let (rate, each_ms, lasts_s) = (16_000.0, 120, 12.1);
    let said: Vec<Transmission> = (0..100)
        .map(|n| Transmission::starting(at(20 + each_ms * u64::from(n)), request(n), Talker::of(0.060)))
        .collect();
    let samples = make(rate, &said, lasts_s);
    let want: Vec<u8> = said.iter().flat_map(|t| t.frame.values()).collect();
    for (hz, pp) in [(1700.0, 0.055), (250.0, 0.220), (125.0, 0.880), (63.0, 3.52), (29.0, 16.0)] {
        let disturbed = with(samples.clone(), rate, |t| pp / 2.0 * (2.0 * PI * hz * t).sin());
        let heard = hear(DemodulatorConfig::volts(rate), &disturbed, 4096);
        assert_eq!(frames(&heard), 100, "{hz} Hz");
        let got: Vec<u8> = octets(&heard).iter().map(|o| o.0).collect();
        // The tone within the band can look like a character or two where nobody talks; that is no frame.
        assert!(hz == 1700.0 || got == want, "{hz} Hz: {} of {} characters", got.len(), want.len());
    }
}

/// What else lies beside the tones, the signal at 120 mV.
#[test]
fn what_lies_beside_the_tones() {
    let rate = 48_000.0;
    let samples = make(rate, &replies(4, Talker::of(0.060)), seconds(4));
    let read = |name: &str, more: &dyn Fn(f64) -> f64| {
        let heard = hear(DemodulatorConfig::volts(rate), &with(samples.clone(), rate, more), 4096);
        assert_eq!(frames(&heard), 4, "{name}");
    };
    let tone = |hz: f64, pp: f64| move |t: f64| pp / 2.0 * (2.0 * PI * hz * t).sin();
    // Hum with harmonics, each a part of the first (invented).
    for mains in [50.0, 60.0] {
        read("hum", &|t| {
            let parts = [(1.0, 0.5), (2.0, 0.15), (3.0, 0.15), (4.0, 0.05), (5.0, 0.08)];
            parts.iter().map(|(h, a)| a * (2.0 * PI * mains * h * t + h).sin()).sum::<f64>()
        });
    }
    read("ripple of 25 Hz, 1 V", &tone(25.0, 2.0));
    read("a constant", &|_| -3.7);
    // 16 mA through 250 ohm, 4 V, behind a low-pass of 25 Hz, in the middle of each reply.
    read("steps", &|t| {
        let since = t % 0.25 - 0.1;
        if since < 0.0 {
            0.0
        } else {
            4.0 * (1.0 - (-2.0 * PI * 25.0 * since).exp()) * (0.15 - since).max(0.0) / 0.15
        }
    });
}

#[test]
fn twist_and_clipping() {
    let rate = 48_000.0;
    for db in [-6.0, -3.0, 3.0, 6.0] {
        let half = 10f64.powf(db / 40.0);
        let talker = Talker { mark: 0.2 * half, space: 0.2 / half, ..Talker::of(0.2) };
        let heard =
            hear(DemodulatorConfig::full_scale(rate), &make(rate, &replies(4, talker), seconds(4)), 999);
        assert_eq!(frames(&heard), 4, "{db} dB");
        for b in bursts(&heard) {
            assert!((b.twist_db().unwrap() - db).abs() < 0.3, "{db}: {b:?}");
        }
    }
    let clipped: Vec<f32> =
        make(rate, &replies(4, Talker::of(0.9)), seconds(4)).iter().map(|s| s.clamp(-0.2, 0.2)).collect();
    assert_eq!(frames(&hear(DemodulatorConfig::full_scale(rate), &clipped, 4096)), 4);
}

#[test]
fn parity_stop_bits_and_a_carrier_that_drops() {
    let rate = 9600.0;
    let mut frame = reply();
    frame.octets[8].bad_parity = true;
    let said = [Transmission::starting(at(20), frame.clone(), Talker::of(0.5))];
    let samples = make(rate, &said, 0.3);
    let mut want = clean(&frame);
    want[8].1 = Marks::PARITY;
    assert_eq!(octets(&hear(DemodulatorConfig::full_scale(rate), &samples, 960)), want);

    // Nothing at the beginning of character 9, FF, whose rest is long enough for the carrier to be noticed again: a frame had begun, so the octet that
    // is read next is marked.
    frame.octets[8].bad_parity = false;
    frame.octets[9].value = 0xFF;
    let said = [Transmission::starting(at(20), frame.clone(), Talker::of(0.5))];
    let mut samples = make(rate, &said, 0.3);
    let place = |characters: f64| ((0.020 + characters * 11.0 / 1200.0) * rate) as usize;
    let mut holed = samples.clone();
    holed[place(9.0)..place(9.3)].fill(0.0);
    let heard = hear(DemodulatorConfig::full_scale(rate), &holed, 960);
    assert_eq!(bursts(&heard).len(), 2, "{heard:?}");
    let mut want = clean(&frame);
    want.remove(9);
    want[9].1 = Marks::CARRIER_LOST;
    assert_eq!(octets(&heard), want);

    // The tone of a 0 where the stop bit of character 6 should be.
    let (from, to) = (place(6.0 + 10.0 / 11.0), place(7.0));
    for (n, s) in samples[from..to].iter_mut().enumerate() {
        *s = (0.5 * (2.0 * PI * 2200.0 * n as f64 / rate).sin()) as f32;
    }
    let got = octets(&hear(DemodulatorConfig::full_scale(rate), &samples, 960));
    assert!(got[6].1.contains(Marks::FRAMING), "{got:?}");
}

#[test]
fn two_talkers_are_reported() {
    let rate = 48_000.0;
    for (db, from) in [(0.0, 60), (3.0, 90), (6.0, 70), (8.0, 60), (10.0, 70)] {
        let other = Talker { phase: 0.3, tones: 1.002, ..Talker::of(0.25 * 10f64.powf(-db / 20.0)) };
        let said = [
            Transmission::starting(at(20), reply(), Talker::of(0.25)),
            Transmission::starting(at(from), reply(), other),
        ];
        let heard = hear(DemodulatorConfig::full_scale(rate), &make(rate, &said, 0.4), 4096);
        let seen: Vec<(f64, f64)> = heard
            .iter()
            .filter_map(|h| match h {
                Heard::Collision(a, b) => Some((a.as_secs_f64(), b.as_secs_f64())),
                _ => None,
            })
            .collect();
        assert!(!seen.is_empty(), "{db} dB: {heard:?}");
        // Both talk from there on until the first ends after 24 characters, 240 ms.
        let begins = from as f64 / 1e3;
        for (a, b) in seen {
            assert!(a > begins - 0.015 && b < 0.255, "{db} dB: {a} to {b}");
        }
    }
    // One alone never is, whatever its clock and its twist, nor with noise beside it.
    let plain = Talker::of(0.2);
    let mut dice = Dice::new(11);
    for talker in [
        plain,
        Talker { tones: 1.03, rate: 1.02, ..plain },
        Talker { tones: 0.97, rate: 0.98, ..plain },
        Talker { space: 0.1, ..plain },
        Talker { mark: 0.1, ..plain },
    ] {
        let samples = make(rate, &replies(8, talker), seconds(8));
        let none = |samples: &[f32], beside: &str| {
            let heard = hear(DemodulatorConfig::full_scale(rate), samples, 4096);
            assert!(!heard.iter().any(|h| matches!(h, Heard::Collision(..))), "{talker:?} {beside}");
        };
        none(&samples, "alone");
        for db in [10.0, 14.0, 20.0] {
            // N0 = Ps/(1200 Eb/N0) with Ps of 0.2; sigma2 = N0 fs/2 [WV-07].
            let sigma = (0.02 / 1200.0 / 10f64.powf(db / 10.0) * rate / 2.0).sqrt();
            none(&with(samples.clone(), rate, |_| sigma * dice.normal()), "noise");
        }
        none(&with(samples.clone(), rate, |t| 0.05 * (2.0 * PI * 50.0 * t).sin()), "hum");
        none(&samples.iter().map(|s| s.clamp(-0.1, 0.1)).collect::<Vec<_>>(), "clipped");
    }
}

/// Share of wrong bits at known timing, and of how many. Its noise has the density that `db` of Eb/N0 asks for [WV-07].
fn wrong_bits(db: f64, rate: f64, bits: usize, seed: u128) -> (u64, u64) {
    let mut dice = Dice::new(seed);
    let values: Vec<u8> = (0..bits / 11).map(|_| dice.0.rand_u64() as u8).collect();
    let frame = RawFrame { octets: values.iter().map(|v| RawOctet::from(*v)).collect() };
    let begin = 0.010_1;
    let talker = Talker { lead: Duration::ZERO, ..Talker::of(1.0) };
    let said = [Transmission::starting(Instant::from_nanos((begin * 1e9) as u64), frame, talker)];
    let mut samples = make(rate, &said, bits as f64 / 1200.0 + 0.05);
    // N0 = Ps/(1200 Eb/N0) with Ps = 1/2; sigma2 = N0 fs/2.
    let n0 = 0.5 / 1200.0 / 10f64.powf(db / 10.0);
    let sigma = (n0 * rate / 2.0).sqrt();
    samples = with(samples, rate, |_| sigma * dice.normal());
    let mut d = Detector::new(rate).unwrap();
    let (mut wrong, mut all, mut bit) = (0, 0, 0);
    for part in samples.chunks(4096) {
        d.run(part);
        while bit < values.len() * 11 {
            let middle = begin + (bit as f64 + 0.5) / 1200.0;
            let window = middle * 9600.0 - 3.5;
            let Some((mark, space)) = d.between(window) else { break };
            let value = values[bit / 11];
            let sent = match bit % 11 {
                0 => false,
                9 => value.count_ones().is_multiple_of(2),
                10 => true,
                k => value >> (k - 1) & 1 == 1,
            };
            wrong += u64::from((mark > space) != sent);
            all += 1;
            bit += 1;
        }
        d.forget(d.end().saturating_sub(64));
    }
    (wrong, all)
}

/// [WV-07]: the table of [WI-13] read 0.5 dB to the right, 2 standard deviations of the binomial allowed on top; the benchmark
/// counts a million bits each. A result 1.5 dB better than the table would be one that the note does not explain.
#[test]
fn bits_are_told_as_well_as_theory_says() {
    // Eb/N0, dB; the formula of [BER] at 0.5 dB less and at 1.5 dB more, computed by scipy.
    for (db, worst, best) in
        [(4.0, 1.6852e-1, 9.0105e-2), (6.0, 9.0105e-2, 3.3890e-2), (8.0, 3.3890e-2, 7.4331e-3)]
    {
        for rate in [8000.0, 48_000.0] {
            let (wrong, all) = wrong_bits(db, rate, 22_000, 3);
            let share = wrong as f64 / all as f64;
            let sigma = |p: f64| (p * (1.0 - p) / all as f64).sqrt();
            assert!(share < worst + 2.0 * sigma(worst), "{db} dB at {rate}: {share}");
            assert!(share > best - 2.0 * sigma(best), "{db} dB at {rate}: {share}");
        }
    }
}

#[test]
fn noise_alone_is_hardly_ever_a_character() {
    let mut dice = Dice::new(5);
    let samples: Vec<f32> = (0..48_000 * 10).map(|_| (0.2 * dice.normal()) as f32).collect();
    let heard = hear(DemodulatorConfig::full_scale(48_000.0), &samples, 4096);
    assert!(characters(&heard).len() <= 3, "{heard:?}");
    assert_eq!(frames(&heard), 0);
}

#[test]
fn samples_that_are_no_numbers() {
    let rate = 48_000.0;
    let mut samples = make(rate, &replies(3, Talker::of(0.5)), seconds(3));
    // All kinds of them where nobody talks: what follows is read as ever.
    let bad = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN_POSITIVE / 4.0];
    for (n, s) in samples[..480].iter_mut().enumerate() {
        *s = bad[n % bad.len()];
    }
    for (n, s) in samples[12_000..12_100].iter_mut().enumerate() {
        *s = bad[n % 3];
    }
    assert!(frames(&hear(DemodulatorConfig::full_scale(rate), &samples, 333)) >= 2);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 24, ..ProptestConfig::default() })]

    /// Where the stream is cut changes nothing.
    #[test]
    fn cutting_the_stream_changes_nothing(part in 1usize..3000, seed in 0u64..1000, rate in 8000.0f64..60_000.0) {
        let mut dice = Dice::new(seed.into());
        let samples = make(rate, &replies(2, Talker::of(0.3)), seconds(2));
        let samples = with(samples, rate, |_| 0.05 * dice.normal());
        let whole = hear(DemodulatorConfig::full_scale(rate), &samples, samples.len());
        let cut = hear(DemodulatorConfig::full_scale(rate), &samples, part);
        prop_assert_eq!(whole, cut);
    }

    /// Any samples at all: nothing panics, times never go back. What memory is kept is measured in `tests/wave_memory.rs`.
    #[test]
    fn any_samples(
        samples in prop::collection::vec(prop_oneof![
            4 => -1.0f32..1.0, 1 => prop::num::f32::ANY, 1 => Just(0.0f32), 1 => Just(1e9f32),
        ], 0..4000),
        rate in 8000.0f64..200_000.0,
        part in 1usize..500,
    ) {
        let heard = hear(DemodulatorConfig::full_scale(rate), &samples, part);
        let mut last = Instant::ZERO;
        for c in characters(&heard) {
            prop_assert!(c.octet.at >= last && c.begin <= c.octet.at);
            last = c.octet.at;
        }
    }

    /// Any octets with any parity and pauses at any rate are read back.
    #[test]
    fn any_octets(
        values in prop::collection::vec((any::<u8>(), prop::bool::weighted(0.1), 0u64..3000), 1..40),
        rate in 8000.0f64..100_000.0,
        phase in 0.0f64..1.0,
    ) {
        let mut octets = vec![RawOctet::from(0xFF)];
        octets.extend(values.iter().map(|&(value, bad_parity, gap)| {
            RawOctet { value, bad_parity, gap_before: Duration::from_micros(gap) }
        }));
        let frame = RawFrame { octets };
        let said = [Transmission::starting(at(20), frame.clone(), Talker { phase, ..Talker::of(0.4) })];
        let heard = hear(DemodulatorConfig::full_scale(rate), &make(rate, &said, 0.6), 4096);
        let want: Vec<(u8, Marks)> = frame
            .octets
            .iter()
            .map(|o| (o.value, if o.bad_parity { Marks::PARITY } else { Marks::NONE }))
            .collect();
        prop_assert_eq!(super::tests::octets(&heard), want);
    }
}

mod measured;

/// A tone that was there long before it could be taken for a carrier: its beginning is as far back as is looked, 128 windows of 1/9600 s before it was noticed
/// (13.33 ms, of which four bits are noticing, 3.33 ms), wherever the stream is cut.
#[test]
fn how_far_back_a_carrier_reaches_does_not_hang_on_the_cut() {
    let rate = 48_000.0;
    let tone = |hz: f64, k: usize| (2.0 * PI * hz * k as f64 / rate).sin() * 0.3;
    // For 100 ms a second tone is there, as strong; then it goes.
    let samples: Vec<f32> = (0..24_000)
        .map(|k| (tone(1200.0, k) + if k < 4800 { tone(3000.0, k) } else { 0.0 }) as f32)
        .collect();
    let whole = hear(DemodulatorConfig::full_scale(rate), &samples, samples.len());
    for part in [64, 700, 4095] {
        assert_eq!(
            whole,
            hear(DemodulatorConfig::full_scale(rate), &samples, part),
            "{part} samples at once"
        );
    }
    let [burst] = bursts(&whole)[..] else { panic!("one carrier: {whole:?}") };
    let on = burst.on.since(Instant::ZERO).as_secs_f64();
    assert!((on - (0.1 + 0.0033 - 0.0133)).abs() < 0.003, "{on} s");
}

/// [WV-06]: a tone from elsewhere that was there before is no talker: 1700 Hz of 55 mV beside 120 mV [TIEH8].
#[test]
fn a_tone_that_was_there_before_is_no_talker() {
    let rate = 48_000.0;
    let samples = make(rate, &replies(4, Talker::of(0.060)), seconds(4));
    let tone = |t: f64| 0.055 / 2.0 * (2.0 * PI * 1700.0 * t).sin();
    // A second of the tone alone goes before.
    let mut all = vec![0f32; 48_000];
    all.extend(&samples);
    let heard = hear(DemodulatorConfig::volts(rate), &with(all, rate, tone), 4096);
    assert!(frames(&heard) == 4 && !heard.iter().any(|h| matches!(h, Heard::Collision(..))), "{heard:?}");
}

/// What is counted of the samples does not depend on how the bytes are cut into reads: 40 at full scale, one beside the other, are 39 pairs [WV-18].
#[test]
fn a_cut_between_two_samples_hides_no_pair() {
    let spec = wav::WavSpec { rate_hz: 8000, channels: 1, format: wav::SampleFormat::U8 };
    let mut bytes = spec.header(Some(400)).to_vec();
    bytes.extend((0..400).map(|n| if (200..240).contains(&n) { 255u8 } else { 128 + (n % 7) as u8 }));
    let told = |part: usize| {
        let mut r = Recording::new(RecordingOptions { channel: 0, rate_hz: None, full_scale_v: None });
        let mut heard = Vec::new();
        for p in bytes.chunks(part) {
            r.run(p, &mut heard, &mut |_, _| {}).unwrap_or_else(|e| panic!("{e}"));
        }
        let note = r.finish(&mut heard, &mut |_, _| {}).unwrap_or_else(|e| panic!("{e}"));
        note.unwrap_or_default()
    };
    assert!(told(bytes.len()).contains("39 samples stand at full scale"), "{}", told(bytes.len()));
    for part in [1, 3, 16, 51, 250] {
        assert_eq!(told(part), told(bytes.len()), "{part}");
    }
}
