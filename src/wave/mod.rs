//! The tones on the wires: FSK samples made of octets, and octets read out of samples [WV-01].
//!
//! Nothing here does I/O or reads a clock. [`Modulator`] and [`Demodulator`] take slices, fill slices and say how much
//! of each they used ([`Progress`]); how a stream is cut into slices changes nothing. Memory is bounded, however long the stream.
//!
//! ```text
//!  samples, 8 kHz to 10 MHz     9600 Hz               envelopes of both tones      stamped octets
//!  ─────────────────────▶ Resampler ─▶ high-pass ─▶ correlators over one bit ─▶ character timing ─▶ Heard
//! ```
//!
//! The inner rate is eight samples a bit whatever the rate outside, so every filter is the same for all recordings, and the costly part
//! runs on few samples. All filters are finite and symmetric: a bad sample is forgotten after a few milliseconds, and none shifts
//! the times.

mod burst;
mod character;
mod demodulator;
mod detector;
mod extremes;
mod filter;
mod fir;
mod modulator;
mod recording;
mod remark;
mod resampler;
pub mod table;
mod tones;
mod tracker;
pub mod wav;

pub use burst::Burst;
pub use character::Character;
pub use demodulator::{Demodulator, DemodulatorConfig, Heard};
pub use detector::Detector;
pub use fir::Fir;
pub use modulator::{Modulator, Talker, Transmission};
pub use recording::{Recording, RecordingError, RecordingOptions, RecordingSpec};
pub use remark::{MUST_IGNORE_V, MUST_UNDERSTAND_V, Noticed, Remark, Remarks};
pub use tones::Tones;

/// Tone of a 1, Hz [WV-01].
pub const MARK_HZ: f64 = 1200.0;
/// Tone of a 0, Hz [WV-01].
pub const SPACE_HZ: f64 = 2200.0;
/// Lowest rate of samples that can be read, Hz: our choice, above twice what the tones need.
pub const LEAST_RATE_HZ: f64 = 8_000.0;
/// Highest rate of samples that can be read, Hz: our choice, that of a fast oscilloscope's export.
pub const MOST_RATE_HZ: f64 = 10_000_000.0;

/// Samples a second at which the tones are compared: eight a bit.
const INNER_HZ: f64 = 9_600.0;
/// The same as a whole number of samples in a bit.
const BIT: usize = 8;

/// How much of two slices was used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// How many elements of the input are done with.
    pub consumed: usize,
    /// How many elements of the output were written, from its beginning.
    pub produced: usize,
}

/// A rate of samples at which nothing can be read or made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateError(pub f64);

impl core::fmt::Display for RateError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let rate = self.0;
        match rate.abs() {
            1e-3..1e9 => {
                let digits = (3.0 - rate.abs().log10().floor()).clamp(0.0, 6.0) as usize;
                write!(
                    f,
                    "{} samples a second",
                    (format!("{rate:.digits$}")).parse::<f64>().unwrap_or(rate)
                )?;
            }
            _ => write!(f, "{rate:e} samples a second")?,
        }
        write!(f, ": the tones need {LEAST_RATE_HZ} to {MOST_RATE_HZ}")
    }
}

impl core::error::Error for RateError {}

/// `rate_hz` if it can be worked with.
fn checked_rate(rate_hz: f64) -> Result<f64, RateError> {
    if (LEAST_RATE_HZ..=MOST_RATE_HZ).contains(&rate_hz) { Ok(rate_hz) } else { Err(RateError(rate_hz)) }
}

#[cfg(test)]
mod tests;
