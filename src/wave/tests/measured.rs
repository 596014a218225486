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
