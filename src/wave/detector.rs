//! The envelopes of both tones, eight times a bit.

use super::filter::gain;
use super::resampler::{LOW_PASS, Resampler};
use super::tones::{Basis, HIGH_PASS_HALF, Tones};
use super::{BIT, INNER_HZ, MARK_HZ, RateError};

/// Inner samples that are worked on at once: whole vectors of the processor, and a block is the same wherever the stream was cut.
const TILE: usize = 16;

/// Turns samples into the envelopes of the two tones [WV-01] and keeps the last of them.
///
/// A window is one bit long and begins at an inner sample; there are eight a bit. Window `n` has its middle at (n + 3.5)/9600 s after the first sample.
#[derive(Clone, Debug)]
pub struct Detector {
    resampler: Resampler,
    basis: Basis,
    rows: [[f32; BIT]; 4],
    high_pass: Vec<f32>,
    /// A tone of a 1 of amplitude A has this times A2 as energy of a window.
    energy_of_one: f64,
    /// Before the high-pass; the first belongs to inner sample `raw_base`.
    raw: Vec<f32>,
    /// Behind it; the first is inner sample `base`.
    filtered: Vec<f32>,
    mark: Vec<f32>,
    space: Vec<f32>,
    base: u64,
}

impl Detector {
    /// Windows a second.
    pub const RATE_HZ: f64 = INNER_HZ;
    /// From the beginning of a window to its middle, in windows.
    pub const MIDDLE: f64 = (BIT as f64 - 1.0) / 2.0;

    /// For samples at `rate_hz`.
    ///
    /// # Errors
    /// A rate at which nothing can be read.
    pub fn new(rate_hz: f64) -> Result<Detector, RateError> {
        let resampler = Resampler::new(rate_hz)?;
        let basis = Basis::new();
        let rows = basis.scaled();
        let high_pass: Vec<f32> = basis.high_pass.iter().map(|&t| t as f32).collect();
        let through = gain(&basis.high_pass, MARK_HZ, INNER_HZ) * LOW_PASS.gain(MARK_HZ);
        let energy_of_one = through * through * BIT as f64 / 2.0;
        Ok(Detector {
            resampler,
            basis,
            rows,
            high_pass,
            energy_of_one,
            raw: Vec::new(),
            filtered: Vec::new(),
            mark: Vec::new(),
            space: Vec::new(),
            base: 0,
        })
    }

    /// Takes all of `samples`. What is no number counts as 0, what is beyond 1e9 as that.
    pub fn run(&mut self, samples: &[f32]) {
        let was_empty = self.raw.is_empty();
        self.resampler.run(samples, &mut self.raw);
        if was_empty && let Some(&first) = self.raw.first() {
            // As if the first had always been there.
            self.raw.splice(0..0, core::iter::repeat_n(first, HIGH_PASS_HALF));
        }
        let ready = self.raw.len().saturating_sub(2 * HIGH_PASS_HALF) / TILE * TILE;
        let from = self.filtered.len();
        for at in (0..ready).step_by(TILE) {
            let tile = high_pass(&self.high_pass, &self.raw[at..at + TILE + 2 * HIGH_PASS_HALF]);
            self.filtered.extend_from_slice(&tile);
        }
        self.raw.drain(..ready);
        // The windows whose samples are all there now.
        let windows = (from + ready).saturating_sub(BIT - 1) / TILE * TILE;
        for at in (self.mark.len()..windows).step_by(TILE) {
            let part = &self.filtered[at..at + TILE + BIT - 1];
            self.mark.extend_from_slice(&envelope(&self.rows[0], &self.rows[1], part));
            self.space.extend_from_slice(&envelope(&self.rows[2], &self.rows[3], part));
        }
    }

    /// Lets so much of the end of the stream pass that every sample has its windows.
    pub fn finish(&mut self, last: f32) {
        let n = ((2 * HIGH_PASS_HALF + 2 * TILE + 16 * BIT) as f64 * self.resampler.ratio()).ceil() as usize;
        // In parts, so that a fast rate needs no more memory than a slow one.
        let part = [last; 1024];
        for _ in 0..n.div_ceil(part.len()) {
            self.run(&part);
        }
    }

    /// Number of the first window that is not there yet.
    pub fn end(&self) -> u64 {
        self.base + self.mark.len() as u64
    }

    /// Forgets the windows before `upto`, in whole tiles.
    pub fn forget(&mut self, upto: u64) {
        let n = (upto.saturating_sub(self.base) as usize).min(self.mark.len()) / TILE * TILE;
        self.mark.drain(..n);
        self.space.drain(..n);
        self.filtered.drain(..n);
        self.base += n as u64;
    }

    /// Envelopes of the tones of a 1 and of a 0 in window `n`, as amplitudes in the unit of the samples; `None` where it is not kept.
    pub fn envelopes(&self, n: u64) -> Option<(f64, f64)> {
        let k = self.index(n)?;
        Some((f64::from(*self.mark.get(k)?), f64::from(*self.space.get(k)?)))
    }

    /// The same at a place between two windows.
    pub fn between(&self, at: f64) -> Option<(f64, f64)> {
        let n = whole(at)?;
        let part = at - n as f64;
        let k = self.index(n)?;
        let mix = |x: &[f32]| {
            let pair = x.get(k..k + 2)?;
            Some(f64::from(pair[0]) * (1.0 - part) + f64::from(pair[1]) * part)
        };
        Some((mix(&self.mark)?, mix(&self.space)?))
    }

    /// All that is in the window nearest to `at`.
    pub fn tones(&self, at: f64) -> Option<Tones> {
        Some(self.basis.measure(self.window(whole(at + 0.5)?)?))
    }

    fn index(&self, n: u64) -> Option<usize> {
        usize::try_from(n.checked_sub(self.base)?).ok()
    }

    /// The filtered samples of a window.
    fn window(&self, n: u64) -> Option<&[f32]> {
        let k = self.index(n)?;
        self.filtered.get(k..k.checked_add(BIT)?)
    }

    /// Phase of a tone (0 that of a 1, 1 that of a 0) in window `n`, as cosine and sine part.
    pub(super) fn phase(&self, tone: usize, n: u64) -> Option<(f64, f64)> {
        Some(self.basis.phase(tone, self.window(n)?))
    }

    /// Energy of a window that a tone of a 1 of amplitude 1 has.
    pub(super) fn energy_of_one(&self) -> f64 {
        self.energy_of_one
    }

    /// Sum of the squares of the filtered samples `from..to`; 0 where they are not kept.
    pub(super) fn energy(&self, from: u64, to: u64) -> f64 {
        let part = self.index(from).zip(self.index(to)).and_then(|(a, b)| self.filtered.get(a..b));
        part.unwrap_or_default().iter().map(|s| f64::from(s * s)).sum()
    }

    /// Sum of the squares of the envelopes of the tone of a 1 in the windows `from..to`; `None` where they are not kept.
    pub(super) fn marks(&self, from: u64, to: u64) -> Option<f64> {
        let part = self.mark.get(self.index(from)?..self.index(to)?)?;
        Some(part.iter().map(|m| f64::from(m * m)).sum())
    }

    /// Energies of white noise of density 1 in a window: all, and along one row of a tone.
    pub(super) fn noise(&self) -> [f64; 2] {
        self.basis.noise
    }
}

/// The whole number below; `None` for what is below 0 or no number.
fn whole(at: f64) -> Option<u64> {
    (at >= 0.0).then_some(at as u64)
}

fn high_pass(taps: &[f32], raw: &[f32]) -> [f32; TILE] {
    let mut sums = [0f32; TILE];
    let middle = &raw[HIGH_PASS_HALF..HIGH_PASS_HALF + TILE];
    for (s, x) in sums.iter_mut().zip(middle) {
        *s = taps[0] * x;
    }
    for (k, tap) in taps.iter().enumerate().skip(1) {
        let left = &raw[HIGH_PASS_HALF - k..][..TILE];
        let right = &raw[HIGH_PASS_HALF + k..][..TILE];
        for j in 0..TILE {
            sums[j] += tap * (left[j] + right[j]);
        }
    }
    sums
}

fn envelope(cosine: &[f32; BIT], sine: &[f32; BIT], samples: &[f32]) -> [f32; TILE] {
    let (mut a, mut b) = ([0f32; TILE], [0f32; TILE]);
    for k in 0..BIT {
        let part = &samples[k..k + TILE];
        for j in 0..TILE {
            a[j] += cosine[k] * part[j];
            b[j] += sine[k] * part[j];
        }
    }
    let mut out = [0f32; TILE];
    for j in 0..TILE {
        out[j] = (a[j] * a[j] + b[j] * b[j]).sqrt();
    }
    out
}
