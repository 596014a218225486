//! What is measured of a transmission, against what it was made with.

use super::*;

fn bits(n: f64) -> Duration {
    Duration::from_secs_f64(n / 1200.0)
}

/// One reply by a talker, as it is heard.
fn measured(rate: f64, talker: Talker, frame: RawFrame) -> (usize, Burst) {
    let said = [Transmission { begin: Instant::from_nanos(60_123_456), frame, talker }];
    let heard = hear(DemodulatorConfig::full_scale(rate), &make(rate, &said, 0.5), 4096);
    (characters(&heard).len(), bursts(&heard).into_iter().max_by_key(|b| b.characters).unwrap_or_default())
}

/// [WV-04] [WV-16]: a chip takes four periods of the carrier to notice it and 6 bit times at most: with 6 bits of carrier nothing is lost, with 3 the first of 24 characters
/// is, and that shows in the report as carrier that came late, not as carrier that was there for long.
#[test]
fn the_lag_of_noticing_a_carrier() {
    for rate in [8_000.0, 48_000.0] {
        for half_bits in 0..=24 {
            for turn in [0.0, 0.3, 0.6, 0.9] {
                let lead = f64::from(half_bits) / 2.0;
                let talker = Talker { lead: bits(lead), phase: turn, ..Talker::of(0.25) };
                let (count, b) = measured(rate, talker, reply());
                let case = format!("{rate} {lead} bits {turn}: {count} characters, {b:?}");
                if lead <= 3.0 {
                    assert_eq!(count, 23, "{case}");
                } else if lead >= 5.0 {
                    assert_eq!(count, 24, "{case}");
                }
                assert_eq!(b.lost_start.is_some(), count == 23, "{case}");
                let seen = b.lead_s().unwrap() * 1200.0;
                assert!((seen - lead).abs() < 0.75, "{case}: {seen}");
            }
        }
    }
}

/// Levels within 2 % and twist within 0.2 dB of what was made, also where few bits are far from edges: the report allows 2 % and 0.3 dB, noise included.
#[test]
fn levels_and_twist_are_those_that_were_made() {
    let mixed = [0x55, 0xAA, 0x33, 0xCC, 0x81, 0x7E, 0x15, 0x11];
    let other = RawFrame { octets: [0xFF; 5].into_iter().chain(mixed).map(RawOctet::from).collect() };
    for rate in [8_000.0, 16_000.0, 44_100.0] {
        for frame in [reply(), other.clone()] {
            for db in [-9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0] {
                for turn in [0.1, 0.6] {
                    let half = 10f64.powf(db / 40.0);
                    let talker =
                        Talker { mark: 0.2 * half, space: 0.2 / half, phase: turn, ..Talker::of(0.0) };
                    let (_, b) = measured(rate, talker, frame.clone());
                    let (ones, zeros) = (b.mark / talker.mark, b.space / talker.space);
                    let twist = b.twist_db().unwrap();
                    assert!(
                        (ones - 1.0).abs() < 0.02 && (zeros - 1.0).abs() < 0.02,
                        "{rate} {db}: {ones} {zeros}"
                    );
                    assert!((twist - db).abs() < 0.2, "{rate} {db}: {twist}");
                }
            }
        }
    }
}

/// [WV-33]: a carrier that begins where another one ends, at another level, is another talker's.
#[test]
fn a_carrier_behind_another_is_somebody_else() {
    let rate = 48_000.0;
    let one = replies(1, Talker::of(0.05));
    // 24 characters of 11/1200 s, five bits before and three behind: 226.7 ms.
    let over = one[0].begin + Duration::from_secs_f64((24.0 * 11.0 + 8.0) / 1200.0);
    for (loud, weak) in [(0.25, 0.05), (0.05, 0.25), (0.05, 0.09), (0.09, 0.05)] {
        for bits in [0.0, 0.5, 1.0, 3.0] {
            let first = Transmission { talker: Talker::of(weak), ..one[0].clone() };
            let begin = over + Duration::from_secs_f64(bits / 1200.0);
            let said = [first, Transmission { begin, frame: reply(), talker: Talker::of(loud) }];
            let heard = hear(DemodulatorConfig::volts(rate), &make(rate, &said, 0.6), 4096);
            let bursts = bursts(&heard);
            let name = format!("{weak} then {loud} after {bits} bits: {bursts:?}");
            let near = |found: f64, made: f64| (found / made - 1.0).abs() < 0.03;
            assert!(bursts.len() == 2 && near(bursts[0].mark, weak) && near(bursts[1].space, loud), "{name}");
            assert!(frames(&heard) == 2 && bursts.iter().all(|b| b.characters >= 23), "{name}");
            let off = bursts[1].on.since(begin).as_secs_f64().max(begin.since(bursts[1].on).as_secs_f64());
            assert!(off * 1200.0 < 1.0, "{name}");
        }
    }
}

/// [WV-32]: twist is no noise. N0 is that of the weaker tone's Eb/N0: Ps/(1200 Eb/N0), sigma2 = N0 fs/2 [WV-07].
#[test]
fn noise_is_measured_beside_a_louder_tone() {
    let rate = 48_000.0;
    for db in [-6.0, -4.0, 0.0, 4.0, 6.0] {
        let ratio = 10f64.powf(db / 20.0);
        let talker =
            Talker { mark: 0.1 * ratio.max(1.0), space: 0.1 * (1.0 / ratio).max(1.0), ..Talker::of(0.1) };
        let samples = make(rate, &replies(10, talker), seconds(10));
        let told = |samples: &[f32]| -> Vec<f64> {
            let heard = hear(DemodulatorConfig::full_scale(rate), samples, 4096);
            bursts(&heard).iter().filter_map(|b| b.eb_n0_db).collect()
        };
        let clean = told(&samples);
        assert!(clean.len() == 10 && clean.iter().all(|d| *d > 20.0), "twist {db} alone: {clean:?}");
        let mut dice = Dice::new(5);
        for noise in [13.0, 15.0, 17.0] {
            let sigma = (0.01 / 2.0 / 1200.0 / 10f64.powf(noise / 10.0) * rate / 2.0).sqrt();
            let found = told(&with(samples.clone(), rate, |_| sigma * dice.normal()));
            let mean = found.iter().sum::<f64>() / found.len() as f64;
            assert!(found.len() == 10 && (mean - noise).abs() < 0.5, "twist {db}, {noise} dB: {found:?}");
        }
    }
}
