//! How many bits noise makes wrong at a receiver [WI-13].

use super::ac::Station;
use super::{Analysis, Circuit};
use core::f64::consts::{FRAC_PI_2, PI};

/// Bits of a second.
const BIT_RATE: f64 = 1200.0;
/// Bits of a character: start, eight of data, parity, stop [FR-13].
const BITS_OF_CHARACTER: f64 = 11.0;
/// The band in which noise is given where nothing else is said, Hz [WI-13].
pub const BAND_HZ: (f64, f64) = (500.0, 10_000.0);
/// Characters of a message of which the share that is damaged is told and judged: our choice [WI-13].
pub const MESSAGE_CHARACTERS: u32 = 25;
/// From this level of the weaker tone on a carrier is noticed, V peak to peak: our choice [WI-13].
pub const CARRIER_V: f64 = 0.100;
/// Steps of the integral over half a circle; see [`bit_error_rate`].
const STEPS: u32 = 64;

/// White noise between the terminals of a receiver [WI-13].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Within the band, V rms.
    pub rms_v: f64,
    /// From where to where it was measured, Hz.
    pub band_hz: (f64, f64),
}

impl Noise {
    /// Noise in the band in which the trade gives it, 500 Hz to 10 kHz.
    pub const fn in_usual_band(rms_v: f64) -> Noise {
        Noise { rms_v, band_hz: BAND_HZ }
    }

    /// Its density N0, V2/Hz, one-sided.
    pub fn density_v2_per_hz(self) -> f64 {
        self.rms_v * self.rms_v / width_hz(self.band_hz)
    }
}

/// Never nothing, so that nothing is divided by it.
fn width_hz(band: (f64, f64)) -> f64 {
    (band.1 - band.0).abs().max(1e-3)
}

/// Energy of a bit over the density of the noise (Eb/N0), a plain ratio, of a tone of so many V peak to peak. 0 where there is
/// no signal, without end where there is no noise.
pub fn eb_n0(level_pp_v: f64, noise: Noise) -> f64 {
    let (level, rms) = (level_pp_v.abs(), noise.rms_v.abs());
    if level == 0.0 {
        return 0.0;
    }
    // The ratio first: its square may be too large for a number, but neither of the two may be lost before.
    let ratio = level / rms;
    ratio * ratio * (width_hz(noise.band_hz) / (8.0 * BIT_RATE))
}

/// Correlation of the two tones over one bit: sin(pi x)/(pi x) for x = 1000 Hz / 1200 Hz [WI-13].
fn correlation() -> f64 {
    let x = PI * 1000.0 / BIT_RATE;
    x.sin() / x
}

/// Share of bits that are wrong, 0 to 0.5, at a ratio Eb/N0 (no dB), of a receiver that compares the envelopes of the two
/// tones [WI-13]. What is no ratio counts as no signal.
pub fn bit_error_rate(eb_n0: f64) -> f64 {
    of_two_tones(eb_n0, correlation())
}

/// The same for two tones of any correlation, -0.95 to 0.95, or -1 or 1.
///
/// Q1(a,b) - exp(-(a2+b2)/2) I0(ab) / 2 as an integral over the circle, the integrand of which is the same on both sides of
/// the axis. All of it is positive, so small results keep their digits. It is smooth and comes round again, so equal steps
/// leave only the Fourier terms from 2 x 64 on as an error: for our tones below 1e-15 of the result wherever the result is not 0.
/// Tones that are more alike need more steps: with 64 the error stays below 1e-9 of the result up to a correlation of 0.95, is
/// 3e-6 at most at 0.99 and 2 % at 0.999, so beyond 0.95 no result is to be trusted. Of tones that are the same, or
/// opposite, nothing is left to integrate: one bit in two is wrong.
fn of_two_tones(eb_n0: f64, correlation: f64) -> f64 {
    if correlation.abs() >= 1.0 {
        return 0.5;
    }
    let gamma = if eb_n0.is_nan() { 0.0 } else { eb_n0.max(0.0) };
    let root = (1.0 - correlation * correlation).max(0.0).sqrt();
    let z = ((1.0 - root) / (1.0 + root)).sqrt();
    // b2/2.
    let half = gamma / 4.0 * (1.0 + root);
    let sum: f64 = (0..=STEPS)
        .map(|n| {
            let t = PI * f64::from(n) / f64::from(STEPS) - FRAC_PI_2;
            let k = 1.0 + 2.0 * z * t.sin() + z * z;
            let weight = if n == 0 || n == STEPS { 0.5 } else { 1.0 };
            weight / k * (-half * k).exp()
        })
        .sum();
    (0.5 * (1.0 - z * z) * sum / f64::from(STEPS)).clamp(0.0, 0.5)
}

/// The probability that one bit at least of so many characters is wrong: 1 - (1 - p)^(11 n).
pub fn damaged_share(bit_error_rate: f64, characters: u32) -> f64 {
    let p = bit_error_rate.clamp(0.0, 1.0);
    // Of a p that is tiny 1 - p would keep nothing.
    let none = BITS_OF_CHARACTER * f64::from(characters) * (-p).ln_1p();
    // 0 characters of which every bit is wrong would be 0 times minus infinity.
    if characters == 0 { 0.0 } else { -none.exp_m1() }
}

/// One transmission at one receiver.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reception {
    /// Level of the tones of a 1 and of a 0, V peak to peak.
    pub levels_v: [f64; 2],
    /// Noise there; `None` is none.
    pub noise: Option<Noise>,
}

impl Reception {
    /// The weaker of the two tones, V peak to peak.
    pub fn weaker_v(&self) -> f64 {
        self.levels_v[0].abs().min(self.levels_v[1].abs())
    }

    /// Whether the receiver notices the carrier at all [WI-13].
    pub fn is_heard(&self) -> bool {
        self.weaker_v() >= CARRIER_V
    }

    /// Eb/N0 of the weaker tone, dB; `None` without noise. Minus infinity without signal.
    pub fn eb_n0_db(&self) -> Option<f64> {
        let noise = self.noise.filter(|n| n.rms_v != 0.0)?;
        Some(10.0 * eb_n0(self.weaker_v(), noise).log10())
    }

    /// Share of bits that are wrong, 0 to 0.5: ones and zeros equally often; 0 without noise. It is computed
    /// whether the carrier is noticed or not.
    pub fn bit_error_rate(&self) -> f64 {
        let Some(noise) = self.noise.filter(|n| n.rms_v != 0.0) else { return 0.0 };
        0.5 * self.levels_v.map(|v| bit_error_rate(eb_n0(v, noise))).iter().sum::<f64>()
    }

    /// Which share of messages of so many characters is damaged.
    pub fn damaged_share(&self, characters: u32) -> f64 {
        damaged_share(self.bit_error_rate(), characters)
    }
}

impl Circuit {
    /// The noise where a station listens: its own, else that of the whole loop.
    pub fn noise_at(&self, station: Station) -> Option<Noise> {
        let own = match station {
            Station::Device(n) => self.devices.get(n).and_then(|d| d.noise),
            Station::Master => self.master.as_ref().and_then(|m| m.noise),
            Station::SourceEnd => None,
        };
        own.or(self.noise)
    }

    /// Whether noise is given of any receiver.
    pub fn has_noise(&self) -> bool {
        self.noise.is_some()
            || self.devices.iter().any(|d| d.noise.is_some())
            || self.master.as_ref().is_some_and(|m| m.noise.is_some())
    }

    /// All noise becomes `factor` times as much.
    pub(super) fn scale_noise(&mut self, factor: f64) {
        let devices = self.devices.iter_mut().map(|d| &mut d.noise);
        let master = self.master.iter_mut().map(|m| &mut m.noise);
        for noise in devices.chain(master).chain([&mut self.noise]).flatten() {
            noise.rms_v *= factor;
        }
    }
}

impl Analysis {
    /// What `to` receives of what `by` transmits, whether or not it is meant to; `None` where nothing is transmitted. Both must
    /// be stations of the circuit that was analysed.
    pub fn reception(&self, circuit: &Circuit, by: Station, to: Station) -> Option<Reception> {
        let [low, high] = self.tones.as_slice() else { return None };
        let level = |tone: &super::Tone| {
            let transmission = tone.transmissions.iter().find(|t| t.by == by)?;
            Some(transmission.at(circuit, to).abs())
        };
        Some(Reception { levels_v: [level(low)?, level(high)?], noise: circuit.noise_at(to) })
    }

    /// Who transmits and who is to hear that, in order.
    pub fn paths(&self, circuit: &Circuit) -> Vec<(Station, Station)> {
        let transmissions = self.tones.first().into_iter().flat_map(|t| &t.transmissions);
        transmissions.flat_map(|t| circuit.receivers(t.by).into_iter().map(|to| (t.by, to))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ratio(db: f64) -> f64 {
        10f64.powf(db / 10.0)
    }

    /// The table of [WI-13], which another program made from library functions: five digits each.
    #[test]
    fn the_table_of_the_note() {
        let db = [4.0, 6.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0];
        let orthogonal = [
            1.4240e-1, 6.8311e-2, 2.1324e-2, 9.4212e-3, 3.3690e-3, 9.2310e-4, 1.8089e-4, 2.3244e-5, 1.7558e-6,
        ];
        let ours = [
            1.4779e-1, 7.3373e-2, 2.4617e-2, 1.1579e-2, 4.5365e-3, 1.4190e-3, 3.3617e-4, 5.6429e-5, 6.1637e-6,
        ];
        assert!((correlation() - 0.19099).abs() < 5e-6, "{}", correlation());
        for (n, db) in db.into_iter().enumerate() {
            for (r, table) in [(0.0, orthogonal[n]), (correlation(), ours[n])] {
                let p = of_two_tones(ratio(db), r);
                assert!((p / table - 1.0).abs() < 5e-5, "{db} dB, r = {r}: {p} is to be {table}");
            }
        }
        // [BER]: four digits at 5 dB.
        assert!((of_two_tones(ratio(5.0), 0.0) - 0.1029).abs() < 5e-5);
        // [WI-13] without correlation, and the ratio that it takes for 1e-2 to 1e-6.
        for (target, db) in [(1e-2, 8.934), (1e-3, 10.944), (1e-4, 12.313), (1e-5, 13.352), (1e-6, 14.190)] {
            assert!((of_two_tones(ratio(db), 0.0) / target - 1.0).abs() < 3e-3, "{db} dB");
        }
    }

    /// I_n(x) exp(-x) by its power series, whose terms are all positive.
    fn bessel_scaled(n: u32, x: f64) -> f64 {
        let mut term = (1..=n).fold((-x).exp(), |t, k| t * x / 2.0 / f64::from(k));
        let mut sum = term;
        for k in 1..2000 {
            term *= x * x / 4.0 / (f64::from(k) * f64::from(k + n));
            sum += term;
        }
        sum
    }

    /// The formula as it is published, with Q1 as a sum of Bessel functions, over all ratios at which it keeps digits.
    #[test]
    fn the_integral_is_the_published_formula() {
        for r in [0.0, 0.05, correlation(), 0.6, 0.9] {
            for gamma in [0.0, 0.01, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0] {
                let root = (1.0f64 - r * r).sqrt();
                let (a, b) = ((gamma / 2.0 * (1.0 - root)).sqrt(), (gamma / 2.0 * (1.0 + root)).sqrt());
                let scale = (-(b - a) * (b - a) / 2.0).exp();
                let share = if b > 0.0 { a / b } else { 0.0 };
                let q1: f64 = (0..120).map(|k| share.powi(k) * bessel_scaled(k as u32, a * b)).sum();
                let published = scale * (q1 - 0.5 * bessel_scaled(0, a * b));
                let p = of_two_tones(gamma, r);
                assert!((p / published - 1.0).abs() < 1e-9, "r = {r}, {gamma}: {p} is to be {published}");
            }
        }
    }

    #[test]
    fn limits() {
        assert_eq!(bit_error_rate(f64::INFINITY), 0.0);
        assert_eq!(bit_error_rate(1e300), 0.0);
        assert!((bit_error_rate(0.0) - 0.5).abs() < 1e-12);
        assert_eq!(bit_error_rate(0.0), bit_error_rate(f64::NAN));
        // Tones whose envelopes are the same cannot be told apart, whatever the noise.
        for r in [1.0, -1.0] {
            assert_eq!((of_two_tones(0.0, r), of_two_tones(10.0, r), of_two_tones(1e6, r)), (0.5, 0.5, 0.5));
        }
        // Without a signal nothing can be told either: Q1(0, 0) = 1, so it is 1 - 1/2.
        for r in [0.0, 0.6, 0.9, 0.95, -0.95] {
            assert!((of_two_tones(0.0, r) - 0.5).abs() < 1e-12, "{r}");
        }
        let silence = Reception { levels_v: [0.0, 0.0], noise: Some(Noise::in_usual_band(0.01)) };
        assert!(!silence.is_heard() && (silence.bit_error_rate() - 0.5).abs() < 1e-12);
        assert_eq!(silence.eb_n0_db(), Some(f64::NEG_INFINITY));
        for noise in [None, Some(Noise::in_usual_band(0.0))] {
            let quiet = Reception { levels_v: [0.2, 0.3], noise };
            assert_eq!((quiet.bit_error_rate(), quiet.eb_n0_db()), (0.0, None));
        }
    }

    /// [WI-13], arithmetic: 120 mV peak to peak is 0.12^2/8 = 1.8e-3 V2, in a bit 1.5e-6 V2 s; 50 mV rms over 9500 Hz are
    /// 2.6316e-7 V2/Hz: 5.700, 7.559 dB. At 8 dB it is 2.46e-2, at 6 dB 7.34e-2.
    #[test]
    fn volts_become_a_ratio() {
        let noise = Noise::in_usual_band(0.050);
        assert!((noise.density_v2_per_hz() - 2.6316e-7).abs() < 1e-11);
        assert!((eb_n0(0.120, noise) - 5.700).abs() < 1e-9);
        let both = Reception { levels_v: [0.120, 0.120], noise: Some(noise) };
        assert!((both.eb_n0_db().unwrap() - 7.559).abs() < 1e-3);
        assert!((2.46e-2..7.34e-2).contains(&both.bit_error_rate()));
        // Half the band with the same density is the same noise.
        let half = Noise { rms_v: 0.050 / 2f64.sqrt(), band_hz: (500.0, 5250.0) };
        assert!((eb_n0(0.120, half) - 5.700).abs() < 1e-9);
        // A tone that arrives twice as strong is 6 dB better; half of the bits are of the other one.
        let louder = Reception { levels_v: [0.240, 0.120], ..both };
        let mean = 0.5 * (bit_error_rate(4.0 * 5.7) + bit_error_rate(5.7));
        assert!((louder.bit_error_rate() / mean - 1.0).abs() < 1e-9);
        assert_eq!(louder.eb_n0_db(), both.eb_n0_db());
        // What must be understood is heard, what must be ignored is not [WI-06].
        let at = |mv: f64| Reception { levels_v: [mv / 1e3, 1.0], noise: None }.is_heard();
        assert!(at(120.0) && at(100.0) && !at(99.9) && !at(80.0));
    }

    /// [WI-13]: 275 bits at 1e-3 are all right with 0.999^275 = exp(-0.275138) = 0.75947; at 3.65e-5 with 0.99001.
    #[test]
    fn messages_are_damaged() {
        assert!((damaged_share(1e-3, 25) - (1.0 - 0.759_47)).abs() < 1e-5);
        assert!((damaged_share(3.65e-5, 25) - 0.01).abs() < 2e-5);
        // 275 times 1e-18, which 1 - p would not show.
        assert!((damaged_share(1e-18, 25) / 2.75e-16 - 1.0).abs() < 1e-9);
        assert_eq!((damaged_share(0.0, 25), damaged_share(1.0, 1), damaged_share(1.0, 0)), (0.0, 1.0, 0.0));
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn whatever_is_finite_gives_a_share(
            low in proptest::num::f64::ANY, high in proptest::num::f64::ANY,
            rms in proptest::num::f64::ANY, from in proptest::num::f64::ANY, to in proptest::num::f64::ANY,
            characters in 0u32..10_000,
        ) {
            prop_assume!([low, high, rms, from, to].iter().all(|x| x.is_finite()));
            let noise = Some(Noise { rms_v: rms, band_hz: (from, to) });
            let r = Reception { levels_v: [low, high], noise };
            prop_assert!((0.0..=0.5).contains(&r.bit_error_rate()), "{}", r.bit_error_rate());
            prop_assert!((0.0..=1.0).contains(&r.damaged_share(characters)));
            prop_assert!(r.eb_n0_db().is_none_or(|db| !db.is_nan()));
        }

        /// More signal or less noise is never worse, and with less signal there are more errors, as long as there are any.
        #[test]
        fn more_signal_is_better(gamma in 0.0f64..1500.0, more in 1e-6f64..100.0) {
            let (p, q) = (bit_error_rate(gamma), bit_error_rate(gamma + more));
            prop_assert!(q <= p, "{p} {q}");
            prop_assert!(p == 0.0 || q < p || more < 1e-3, "{p} {q}");
        }
    }
}
