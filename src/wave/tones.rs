//! What is found of the two tones in one bit's length of samples of the inner rate.

use super::filter;
use super::resampler::LOW_PASS;
use super::{BIT, INNER_HZ, MARK_HZ, SPACE_HZ};
use core::f64::consts::PI;

/// Half the length of the high-pass, in inner samples; with its cut of 600 Hz it stops everything up to 300 Hz by 60 dB and keeps all from
/// 900 Hz on.
pub(super) const HIGH_PASS_HALF: usize = 30;
const HIGH_PASS_CUT_HZ: f64 = 600.0;
const HIGH_PASS_BETA: f64 = 5.653;

/// A vector of one bit's length.
type Row = [f64; BIT];

fn product(a: &Row, b: &Row) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// `v` without what it has of `others`, which are orthonormal, at length 1.
fn orthonormal(mut v: Row, others: &[Row]) -> Row {
    for o in others {
        let part = product(&v, o);
        for (x, y) in v.iter_mut().zip(o) {
            *x -= part * y;
        }
    }
    let length = product(&v, &v).sqrt();
    v.map(|x| x / length)
}

/// The taps that everything here is computed with.
#[derive(Clone, Debug)]
pub(super) struct Basis {
    /// Two rows a tone, orthonormal: sum of the squares of their products is the energy of the tone.
    mark: [Row; 2],
    space: [Row; 2],
    /// What the tone of a 0 has beyond that of a 1.
    beyond: [Row; 2],
    /// Cosine and sine of each tone.
    waves: [[Row; 2]; 2],
    /// An amplitude is the root of an energy times this, for each tone.
    pub(super) scale: [f64; 2],
    /// Energy of white noise of density 1 (one-sided) in one bit: in all, along one row.
    pub(super) noise: [f64; 2],
    pub(super) high_pass: Vec<f64>,
}

impl Basis {
    pub(super) fn new() -> Basis {
        let wave = |hz: f64| {
            let w = 2.0 * PI * hz / INNER_HZ;
            let at = |f: fn(f64) -> f64| core::array::from_fn(|k| f(w * k as f64));
            [at(f64::cos), at(f64::sin)]
        };
        let waves = [wave(MARK_HZ), wave(SPACE_HZ)];
        let pair = |w: &[Row; 2], others: &[Row]| {
            let first = orthonormal(w[0], others);
            let mut all = others.to_vec();
            all.push(first);
            [first, orthonormal(w[1], &all)]
        };
        let mark = pair(&waves[0], &[]);
        let space = pair(&waves[1], &[]);
        let beyond = pair(&waves[1], &mark);
        let high_pass = filter::high_pass(HIGH_PASS_HALF, HIGH_PASS_CUT_HZ, HIGH_PASS_BETA, INNER_HZ);
        let scale = [MARK_HZ, SPACE_HZ].map(|hz| {
            let gain = filter::gain(&high_pass, hz, INNER_HZ) * LOW_PASS.gain(hz);
            // A tone of amplitude A has the energy A2/2 in each sample.
            (2.0 / BIT as f64).sqrt() / gain
        });
        let noise = noise(&high_pass, &mark, &space);
        Basis { mark, space, beyond, waves, scale, noise, high_pass }
    }

    /// Rows of mark and space, scaled so that the root of the sum of squares is an amplitude.
    pub(super) fn scaled(&self) -> [[f32; BIT]; 4] {
        let [m, s] = self.scale;
        [
            self.mark[0].map(|x| (x * m) as f32),
            self.mark[1].map(|x| (x * m) as f32),
            self.space[0].map(|x| (x * s) as f32),
            self.space[1].map(|x| (x * s) as f32),
        ]
    }

    /// What is in a bit's length of filtered samples.
    pub(super) fn measure(&self, samples: &[f32]) -> Tones {
        let mut row = [0.0; BIT];
        for (r, s) in row.iter_mut().zip(samples) {
            *r = f64::from(*s);
        }
        let energy = |rows: &[Row; 2]| rows.iter().map(|r| product(r, &row).powi(2)).sum::<f64>();
        let (mark, space) = (energy(&self.mark), energy(&self.space));
        Tones {
            mark: mark.sqrt() * self.scale[0],
            space: space.sqrt() * self.scale[1],
            one: mark.max(space),
            both: mark + energy(&self.beyond),
            all: product(&row, &row),
        }
    }

    /// Cosine and sine part of a tone (0 mark, 1 space) that fit the samples best: its phase.
    pub(super) fn phase(&self, tone: usize, samples: &[f32]) -> (f64, f64) {
        let mut row = [0.0; BIT];
        for (r, s) in row.iter_mut().zip(samples) {
            *r = f64::from(*s);
        }
        let rows = if tone == 0 { &self.mark } else { &self.space };
        let [cosine, sine] = &self.waves[tone];
        let (u, v) = (product(&rows[0], &row), product(&rows[1], &row));
        let b = v / product(&rows[1], sine);
        let a = (u - b * product(&rows[0], sine)) / product(&rows[0], cosine);
        (a, b)
    }
}

/// Energy that white noise of density 1 (one-sided, per Hz) has in a bit behind both filters: all of it, and along one row of a tone
/// in the mean of both.
fn noise(high_pass: &[f64], mark: &[Row; 2], space: &[Row; 2]) -> [f64; 2] {
    // Both filters as one at five times the inner rate.
    const FINE: i64 = 5;
    let rate = INNER_HZ * FINE as f64;
    let low_half = (LOW_PASS.half_s * rate).ceil() as i64;
    let half = low_half + HIGH_PASS_HALF as i64 * FINE;
    let at = |k: i64| {
        (-(HIGH_PASS_HALF as i64)..=HIGH_PASS_HALF as i64)
            .filter(|j| (k - j * FINE).abs() <= low_half)
            .map(|j| {
                let t = (k - j * FINE) as f64 / rate;
                high_pass[j.unsigned_abs() as usize] * LOW_PASS.tap(t, rate)
            })
            .sum::<f64>()
    };
    let whole: Vec<f64> = (-half..=half).map(at).collect();
    // A density of 1 is a variance of half the rate a sample.
    let correlation = |lag: usize| {
        let lag = lag * FINE as usize;
        whole.iter().zip(&whole[lag..]).map(|(a, b)| a * b).sum::<f64>() * rate / 2.0
    };
    let lags: Row = core::array::from_fn(correlation);
    let along = |row: &Row| {
        let mut sum = 0.0;
        for (i, a) in row.iter().enumerate() {
            for (j, b) in row.iter().enumerate() {
                sum += a * b * lags[i.abs_diff(j)];
            }
        }
        sum
    };
    let rows = mark.iter().chain(space).map(along).sum::<f64>() / 4.0;
    [lags[0] * BIT as f64, rows]
}

/// What is in one bit's length of the filtered wave. Amplitudes are in the unit of the samples, half of peak to peak; energies are sums of
/// squares of inner samples.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tones {
    /// Amplitude of the tone of a 1.
    pub mark: f64,
    /// Amplitude of the tone of a 0.
    pub space: f64,
    /// Energy that the stronger of the two explains.
    pub one: f64,
    /// Energy that both together explain.
    pub both: f64,
    /// All energy that there is.
    pub all: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hz: f64, amplitude: f64, phase: f64) -> Vec<f32> {
        (0..BIT).map(|k| (amplitude * (2.0 * PI * hz * k as f64 / INNER_HZ + phase).cos()) as f32).collect()
    }

    #[test]
    fn one_tone_is_explained_by_itself() {
        let basis = Basis::new();
        for phase in [0.0, 0.7, 2.0, 4.0] {
            for (n, hz) in [MARK_HZ, SPACE_HZ].into_iter().enumerate() {
                let x = tone(hz, 0.5, phase);
                let t = basis.measure(&x);
                let (own, other) = if n == 0 { (t.mark, t.space) } else { (t.space, t.mark) };
                // Amplitudes are told as before the filters, whose gain here is nearly 1. Of eight samples of 1.83 periods the sum of squares
                // depends on the phase a little.
                assert!((own - 0.5).abs() < 0.06, "{hz} {phase}: {own}");
                assert!(other < 0.2, "{hz} {phase}: {other}");
                assert!((t.one / t.all - 1.0).abs() < 1e-6 && (t.both / t.all - 1.0).abs() < 1e-6);
                let (a, b) = basis.phase(n, &x);
                assert!((a - 0.5 * phase.cos()).abs() < 1e-6 && (b + 0.5 * phase.sin()).abs() < 1e-6);
            }
            let both: Vec<f32> =
                tone(MARK_HZ, 0.5, phase).iter().zip(tone(SPACE_HZ, 0.4, 1.0)).map(|(a, b)| a + b).collect();
            let t = basis.measure(&both);
            assert!((t.both / t.all - 1.0).abs() < 1e-6 && t.one / t.all < 0.9, "{t:?}");
        }
    }

    /// Of the power of noise the filters, half of the amplitude at 600 and 3600 Hz, let some 2700 Hz through; a row near a tone nearly all: half a unit for each of 9600 samples.
    #[test]
    fn noise_behind_the_filters() {
        let [all, row] = Basis::new().noise;
        assert!((all / (8.0 * 2700.0) - 1.0).abs() < 0.1, "{all}");
        assert!((0.8..1.0).contains(&(row / 4800.0)), "{row}");
    }
}
