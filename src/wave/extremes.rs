//! The highest and the lowest that samples reach, and whether they stand there [WV-22].

/// So many steps from the extreme value still are that value: rounding, or dither, moves a sample by one.
const TOP_STEPS: f32 = 1.5;
/// What lies below that, so many times as deep, is what a wave passes through.
const BELOW: f32 = 4.0;
/// So many times more samples at the top than below it no tone has, nor noise.
const TOO_MANY: u64 = 4;
/// A wave of fewer steps than that stands at its top because of its steps.
const LEAST_STEPS: f32 = 24.0;

/// One end of the samples, as the greatest of them.
#[derive(Clone, Copy, Debug)]
struct End {
    most: f32,
    last: f32,
    /// Samples at the top beside another one there.
    top: u64,
    below: u64,
}

impl End {
    const NONE: End = End { most: f32::NEG_INFINITY, last: f32::NEG_INFINITY, top: 0, below: 0 };

    fn see(&mut self, sample: f32, step: f32) {
        let near = TOP_STEPS * step;
        if sample > self.most {
            if sample - self.most > near {
                (self.top, self.below) = (0, 0);
            }
            self.most = sample;
        }
        if sample >= self.most - near {
            self.top += u64::from(self.last >= self.most - near);
        } else if sample >= self.most - BELOW * near {
            self.below += 1;
        }
        self.last = sample;
    }
}

/// What is known of the ends of a recording; memory does not grow with its length.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extremes {
    /// The step that samples come in; where nobody says, the smallest one between two neighbours so far.
    step: f32,
    is_known: bool,
    last: Option<f32>,
    high: End,
    /// Of the samples with the other sign.
    low: End,
}

impl Extremes {
    /// Nothing seen; `step` where it is known.
    pub(super) fn new(step: Option<f32>) -> Extremes {
        Extremes {
            step: step.unwrap_or(f32::INFINITY),
            is_known: step.is_some(),
            last: None,
            high: End::NONE,
            low: End::NONE,
        }
    }

    pub(super) fn see(&mut self, samples: &[f32]) {
        for &sample in samples.iter().filter(|s| s.is_finite()) {
            if let Some(last) = self.last.replace(sample)
                && !self.is_known
                && sample != last
            {
                let apart = (sample - last).abs();
                if apart < self.step {
                    // What was counted with too large a step says nothing.
                    self.step = apart;
                    for end in [&mut self.high, &mut self.low] {
                        (end.top, end.below) = (0, 0);
                    }
                }
            }
            // Before two samples differ there is nothing to count.
            let step = if self.step.is_finite() { self.step } else { 0.0 };
            self.high.see(sample, step);
            self.low.see(-sample, step);
        }
    }

    fn span(&self) -> f32 {
        self.high.most + self.low.most
    }

    /// Whether no sample differs from another by more than two steps, or there is none.
    pub(super) fn is_still(&self) -> bool {
        let steps = if self.is_known { 2.5 * self.step } else { 0.0 };
        self.last.is_none() || self.span() <= steps
    }

    /// Samples that stand at the highest or the lowest level of all, far more than a wave has there; 0: it has no flat tops.
    pub(super) fn flat(&self) -> u64 {
        if self.last.is_none() || !self.step.is_finite() || self.span() < LEAST_STEPS * self.step {
            return 0;
        }
        let ends = [self.high, self.low];
        ends.iter().filter(|e| e.top > TOO_MANY * e.below).map(|e| e.top).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP: f32 = 1.0 / 32_768.0;

    fn of(step: Option<f32>, samples: impl Iterator<Item = f32>) -> Extremes {
        let mut e = Extremes::new(step);
        samples.for_each(|s| e.see(&[s]));
        e
    }

    /// Half a second of 1200 and 2200 Hz by turns, 48,000 samples a second, in whole steps.
    fn tones(amplitude: f32, step: f32) -> impl Iterator<Item = f32> + Clone {
        let mut phase = 0.0f64;
        (0..24_000).map(move |n| {
            phase += if n / 40 % 3 == 0 { 1200.0 } else { 2200.0 } / 48_000.0;
            let s = f64::from(amplitude) * (core::f64::consts::TAU * phase).sin();
            ((s as f32) / step).round() * step
        })
    }

    #[test]
    fn flat_tops_at_any_level_are_seen() {
        for step in [STEP, 1.0 / 128.0] {
            assert_eq!(of(Some(step), tones(0.9, step)).flat(), 0, "{step}");
            // Cut off at 0.7, then made a tenth smaller, as a mixer does.
            let flat = tones(0.9, step).map(|s| s.clamp(-0.7, 0.7) * 0.9);
            assert!(of(Some(step), flat.clone()).flat() > 1000, "{step}");
            // One side alone, and without a known step.
            assert!(of(Some(step), tones(0.9, step).map(|s| s.min(0.7))).flat() > 1000, "{step}");
            assert!(of(None, flat).flat() > 1000, "{step}");
        }
        // Float samples, which have no steps.
        let float =
            (0..24_000).map(|n| 0.25 * ((n as f32) * 0.157_3).sin() + 0.01 * ((n as f32) * 0.013).sin());
        assert_eq!(of(None, float.clone()).flat(), 0);
        assert!(of(None, float.map(|s| s.min(0.2))).flat() > 1000);
        // Silence, a level that stands, and a few steps are no tops.
        assert_eq!(of(Some(STEP), core::iter::repeat_n(0.5, 9999)).flat(), 0);
        assert_eq!(of(Some(STEP), tones(3.0 * STEP, STEP)).flat(), 0);
        assert_eq!(of(None, tones(0.9, 1e-3)).flat(), 0);
    }

    #[test]
    fn a_recorder_that_hears_nothing_stands_still() {
        for (samples, still) in
            [(vec![0.5; 9], true), (vec![0.0, STEP, -STEP], true), (vec![0.0, 0.001], false)]
        {
            assert_eq!(of(Some(STEP), samples.into_iter()).is_still(), still);
        }
        assert!(of(None, core::iter::repeat_n(0.2, 9)).is_still());
        assert!(!of(None, [0.2, 0.2001].into_iter()).is_still());
    }
}
