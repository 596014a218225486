//! Samples of any rate become samples of the inner rate, without what lies above the tones.

use super::filter::{LANES, LowPass, dot};
use super::{INNER_HZ, RateError, checked_rate};

/// What lies above the tones goes: half the amplitude is left at 3600 Hz, nothing from 4850 on, so nothing comes back mirrored at
/// the inner rate where the tones are.
pub(super) const LOW_PASS: LowPass = LowPass { cut_hz: 3600.0, half_s: 30.5 / 48_000.0, beta: 5.0 };
/// Positions between two samples for which taps are kept, where the rates are not in a simple ratio.
const MOST_PHASES: f64 = 512.0;
/// So many samples that are done with are forgotten at once.
const DRAIN: usize = 512;
/// Samples beyond this are taken for it, so that no sum of squares ends in infinity.
const LARGEST: f32 = 1e9;

/// The state of the conversion.
#[derive(Clone, Debug)]
pub(super) struct Resampler {
    /// Samples in for one sample out.
    ratio: f64,
    phases: usize,
    /// Taps of each phase, one after the other; `width` of them each, a multiple of [`LANES`].
    taps: Vec<f32>,
    width: usize,
    /// Taps before the middle.
    before: usize,
    /// Samples not yet done with; the first is number `base` of the stream, which may lie before its beginning.
    held: Vec<f32>,
    base: i64,
    /// Number of the next sample out.
    next: i64,
    begun: bool,
}

impl Resampler {
    pub(super) fn new(rate_hz: f64) -> Result<Resampler, RateError> {
        let rate_hz = checked_rate(rate_hz)?;
        let ratio = rate_hz / INNER_HZ;
        let phases = phases(rate_hz);
        let before = (LOW_PASS.half_s * rate_hz).ceil() as usize;
        let used = 2 * before + 2;
        let width = used.next_multiple_of(LANES);
        let mut taps = vec![0f32; phases * width];
        for (p, row) in taps.chunks_exact_mut(width).enumerate() {
            let off = p as f64 / phases as f64;
            for (k, tap) in row.iter_mut().take(used).enumerate() {
                let t = (k as f64 - before as f64 - off) / rate_hz;
                *tap = LOW_PASS.tap(t, rate_hz) as f32;
            }
        }
        Ok(Resampler { ratio, phases, taps, width, before, held: Vec::new(), base: 0, next: 0, begun: false })
    }

    /// How many samples in one sample out takes.
    pub(super) fn ratio(&self) -> f64 {
        self.ratio
    }

    /// Takes all of `samples` and appends what becomes of them.
    pub(super) fn run(&mut self, samples: &[f32], out: &mut Vec<f32>) {
        let Some(&first) = samples.first() else { return };
        if !self.begun {
            // As if what is there at the beginning had always been: a constant makes no step.
            self.begun = true;
            self.base = -(self.before as i64) - 1;
            self.held = vec![clean(first); self.before + 1];
        }
        self.held.extend(samples.iter().map(|&s| clean(s)));
        loop {
            let at = self.next as f64 * self.ratio;
            let mut whole = at as i64;
            let mut phase = ((at - whole as f64) * self.phases as f64 + 0.5) as i64 as usize;
            if phase == self.phases {
                (whole, phase) = (whole + 1, 0);
            }
            let from = (whole - self.before as i64 - self.base) as usize;
            let Some(part) = self.held.get(from..from + self.width) else { break };
            out.push(dot(part, &self.taps[phase * self.width..][..self.width]));
            self.next += 1;
        }
        let done = ((self.next as f64 * self.ratio) as i64 - self.before as i64 - self.base).max(0);
        let done = (done as usize).min(self.held.len());
        // Moving what is left down costs as much as that is long: not for each sample.
        if done >= DRAIN {
            self.held.drain(..done);
            self.base += done as i64;
        }
    }
}

/// What is no number is silence.
#[inline]
fn clean(s: f32) -> f32 {
    let s = if s.is_nan() { 0.0 } else { s };
    s.clamp(-LARGEST, LARGEST)
}

/// Exact where the rates are in the ratio of small whole numbers, as 44.1 kHz is with 32 phases; else as many as are worth it.
fn phases(rate_hz: f64) -> usize {
    let enough = (MOST_PHASES * (48_000.0 / rate_hz).min(1.0)).ceil().max(1.0) as usize;
    let whole = rate_hz.round() as u64;
    if (rate_hz - whole as f64).abs() > 1e-9 {
        return enough;
    }
    let inner = INNER_HZ as u64;
    let (mut a, mut b) = (whole, inner);
    while b > 0 {
        (a, b) = (b, a % b);
    }
    usize::try_from(inner / a).unwrap_or(enough).min(enough)
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::PI;

    /// A tone below 2400 Hz comes out as itself at every rate, at its own time.
    #[test]
    fn tones_keep_level_and_time() {
        for rate in
            [8000.0, 9600.0, 11_025.0, 12_345.6, 22_050.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0, 1e6]
        {
            for hz in [300.0, 1200.0, 2200.0] {
                let mut r = Resampler::new(rate).unwrap();
                let n = (rate * 0.05) as usize;
                let x: Vec<f32> = (0..n).map(|k| (2.0 * PI * hz * k as f64 / rate).cos() as f32).collect();
                let mut out = Vec::new();
                for part in x.chunks(701) {
                    r.run(part, &mut out);
                }
                assert!(out.len() > 400, "{rate}: {}", out.len());
                for (k, y) in out.iter().enumerate().skip(20) {
                    let want = (2.0 * PI * hz * k as f64 / INNER_HZ).cos();
                    assert!((f64::from(*y) - want).abs() < 0.01, "{rate} Hz, tone {hz}, {k}: {y} for {want}");
                }
            }
        }
    }

    #[test]
    fn rates_that_cannot_be() {
        for rate in [f64::NAN, f64::INFINITY, 0.0, -48_000.0, 7_999.0, 1e8] {
            assert!(Resampler::new(rate).is_err(), "{rate}");
        }
        assert_eq!((phases(48_000.0), phases(44_100.0), phases(8_000.0)), (1, 32, 6));
    }
}
