//! Windowed filters: taps, their response to a tone, sums of products.

use core::f64::consts::PI;

/// I0 by its power series; all terms are positive.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..60 {
        term *= quarter / f64::from(k * k);
        sum += term;
    }
    sum
}

/// Kaiser's window at `x`, -1 to 1, zero outside.
fn kaiser(x: f64, beta: f64) -> f64 {
    if x.abs() > 1.0 { 0.0 } else { bessel_i0(beta * (1.0 - x * x).max(0.0).sqrt()) / bessel_i0(beta) }
}

/// A low-pass as a function of time: `cut_hz` is where half of the amplitude is left, `half_s` half its length.
#[derive(Clone, Copy, Debug)]
pub(super) struct LowPass {
    pub(super) cut_hz: f64,
    pub(super) half_s: f64,
    pub(super) beta: f64,
}

impl LowPass {
    /// Its value at `t` seconds from the middle, times the time between two samples: as a tap.
    pub(super) fn tap(self, t: f64, rate_hz: f64) -> f64 {
        let x = 2.0 * PI * self.cut_hz * t;
        let sinc = if x.abs() < 1e-9 { 1.0 } else { x.sin() / x };
        2.0 * self.cut_hz / rate_hz * sinc * kaiser(t / self.half_s, self.beta)
    }

    /// How much of a tone it lets through.
    pub(super) fn gain(self, tone_hz: f64) -> f64 {
        let rate = 192_000.0;
        let n = (self.half_s * rate).ceil() as i64;
        (-n..=n)
            .map(|k| {
                let t = k as f64 / rate;
                self.tap(t, rate) * (2.0 * PI * tone_hz * t).cos()
            })
            .sum()
    }
}

/// Taps 0 to `half` of a symmetric high-pass whose tap 0 is in the middle, at `rate_hz`. Of a constant it leaves nothing.
pub(super) fn high_pass(half: usize, cut_hz: f64, beta: f64, rate_hz: f64) -> Vec<f64> {
    let low = LowPass { cut_hz, half_s: (half as f64 + 1.0) / rate_hz, beta };
    let mut taps: Vec<f64> = (0..=half).map(|k| low.tap(k as f64 / rate_hz, rate_hz)).collect();
    let sum = taps[0] + 2.0 * taps[1..].iter().sum::<f64>();
    for t in &mut taps {
        *t /= -sum;
    }
    taps[0] += 1.0;
    taps
}

/// How much of a tone such symmetric taps let through.
pub(super) fn gain(taps: &[f64], tone_hz: f64, rate_hz: f64) -> f64 {
    let w = 2.0 * PI * tone_hz / rate_hz;
    taps[0] + 2.0 * taps.iter().enumerate().skip(1).map(|(k, t)| t * (w * k as f64).cos()).sum::<f64>()
}

/// Lanes of [`dot`]: enough that no sum waits for the one before.
pub(super) const LANES: usize = 16;

/// Sum of products, in so many lanes whatever the length, so that it is the same wherever it is computed. Both have the same length, a
/// multiple of [`LANES`].
#[inline]
pub(super) fn dot(a: &[f32], b: &[f32]) -> f32 {
    let lanes = lanes(a, b);
    let four: [f32; 4] = core::array::from_fn(|k| (lanes[k] + lanes[k + 4]) + (lanes[k + 8] + lanes[k + 12]));
    (four[0] + four[2]) + (four[1] + four[3])
}

/// A function of its own: seen together with how the lanes are added up in the end, the compiler takes them apart into halves.
#[inline(never)]
fn lanes(a: &[f32], b: &[f32]) -> [f32; LANES] {
    let mut lanes = [0f32; LANES];
    for (x, y) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for k in 0..LANES {
            lanes[k] += x[k] * y[k];
        }
    }
    lanes
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Kaiser's own example of orders is not at hand; what the design is for is: hum away, tones kept.
    #[test]
    fn the_high_pass_keeps_tones_and_stops_hum() {
        let taps = high_pass(30, 600.0, 5.653, 9600.0);
        let db = |hz: f64| 20.0 * gain(&taps, hz, 9600.0).abs().max(1e-12).log10();
        for hz in [0.0, 25.0, 50.0, 60.0, 100.0, 150.0, 180.0, 250.0, 300.0] {
            assert!(db(hz) < -55.0, "{hz} Hz: {} dB", db(hz));
        }
        for hz in [900.0, 1164.0, 1200.0, 1236.0, 2134.0, 2200.0, 2266.0, 3400.0] {
            assert!(db(hz).abs() < 0.02, "{hz} Hz: {} dB", db(hz));
        }
    }

    #[test]
    fn sums_of_products() {
        let a: Vec<f32> = (0..32).map(|k| k as f32).collect();
        // Sum of squares of 0 to 31: 31 x 32 x 63 / 6 = 10416.
        assert_eq!(dot(&a, &a), 10416.0);
    }
}
