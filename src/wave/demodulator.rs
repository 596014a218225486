//! From samples to stamped octets.

use super::character::Character;
use super::detector::Detector;
use super::tracker::Tracker;
use super::{Burst, Progress, RateError};
use crate::time::Instant;
use std::collections::VecDeque;

/// Samples that are worked on before what was heard is handed out.
const BLOCK: usize = 4096;

/// What a demodulator is told about its samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DemodulatorConfig {
    /// Samples a second.
    pub rate_hz: f64,
    /// Amplitude (half of peak to peak) from which on a tone counts, in the unit of the samples [WV-03].
    pub least_amplitude: f64,
    /// Time of the first sample.
    pub begin: Instant,
}

impl DemodulatorConfig {
    /// For samples whose scale is not known: full scale is 1, and a tone counts from -56 dB of it on [WV-03].
    pub fn full_scale(rate_hz: f64) -> DemodulatorConfig {
        DemodulatorConfig { rate_hz, least_amplitude: 0.0016, begin: Instant::ZERO }
    }

    /// For samples in volts: a tone counts from 10 mV peak to peak on, below what a receiver must ignore, so that a weak signal can be read and be
    /// marked as such by [`Burst::weak`] [WV-03].
    pub fn volts(rate_hz: f64) -> DemodulatorConfig {
        DemodulatorConfig { rate_hz, least_amplitude: 0.005, begin: Instant::ZERO }
    }
}

/// Something heard in the wave, in the order of becoming known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heard {
    /// A carrier came; its beginning.
    Carrier(Instant),
    /// A character.
    Character(Character),
    /// Two talkers at once [WV-06]: from when to when it was seen.
    Collision(Instant, Instant),
    /// The carrier went; what was measured of it.
    End(Burst),
}

impl Default for Heard {
    fn default() -> Self {
        Heard::Carrier(Instant::ZERO)
    }
}

/// Reads samples as a modem with a memory would [WV-02] to [WV-08].
///
/// ```
/// use looprig::wave::{Demodulator, DemodulatorConfig, Heard};
/// let mut d = Demodulator::new(DemodulatorConfig::full_scale(48_000.0))?;
/// let (samples, mut heard) = ([0.0; 480], [Heard::default(); 16]);
/// let progress = d.run(&samples, &mut heard);
/// assert_eq!((progress.consumed, progress.produced), (480, 0));
/// # Ok::<(), looprig::wave::RateError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Demodulator {
    detector: Detector,
    tracker: Tracker,
    heard: VecDeque<Heard>,
    last: f32,
    samples: u64,
    rate_hz: f64,
    finished: bool,
}

impl Demodulator {
    /// With nothing heard yet.
    ///
    /// # Errors
    /// A rate at which nothing can be read.
    pub fn new(config: DemodulatorConfig) -> Result<Demodulator, RateError> {
        Ok(Demodulator {
            detector: Detector::new(config.rate_hz)?,
            tracker: Tracker::new(config.least_amplitude, config.begin),
            heard: VecDeque::new(),
            last: 0.0,
            samples: 0,
            rate_hz: config.rate_hz,
            finished: false,
        })
    }

    /// Takes samples and writes what was heard, until either slice is used up. Whatever the samples are, no number and infinity included, it goes on. After
    /// [`Demodulator::finish`] nothing is taken any more.
    pub fn run(&mut self, samples: &[f32], heard: &mut [Heard]) -> Progress {
        let mut progress = Progress { consumed: 0, produced: self.drain(heard) };
        while progress.consumed < samples.len() && self.heard.is_empty() && !self.finished {
            let rest = &samples[progress.consumed..];
            let part = &rest[..rest.len().min(BLOCK)];
            self.detector.run(part);
            self.samples += part.len() as u64;
            self.last = part.last().copied().unwrap_or(self.last);
            progress.consumed += part.len();
            self.tracker.run(&mut self.detector, &mut self.heard);
            progress.produced += self.drain(&mut heard[progress.produced..]);
        }
        progress
    }

    /// No more samples will come: writes what is still to be told, and says how much that is. To be called until it is 0.
    pub fn finish(&mut self, heard: &mut [Heard]) -> usize {
        if !self.finished {
            self.finished = true;
            self.detector.finish(self.last);
            let end_s = self.samples as f64 / self.rate_hz;
            self.tracker.finish(&mut self.detector, end_s, &mut self.heard);
        }
        self.drain(heard)
    }

    fn drain(&mut self, out: &mut [Heard]) -> usize {
        let n = out.len().min(self.heard.len());
        for (to, from) in out.iter_mut().zip(self.heard.drain(..n)) {
            *to = from;
        }
        n
    }
}
