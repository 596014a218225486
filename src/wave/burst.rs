//! One transmission as its wave was: what a signal report is made of.

use crate::time::Instant;

/// A carrier from its beginning to its end, with what was measured of its characters. Amplitudes are in the unit of the samples, half of peak to peak.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Burst {
    /// The carrier passed half of its level.
    pub on: Instant,
    /// It fell below that again.
    pub off: Instant,
    /// Beginning of a start bit that came so soon behind the carrier's beginning that the carrier was not yet noticed [WV-04]: that character is lost.
    pub lost_start: Option<Instant>,
    /// The first start bit that was read began; `None` without characters.
    pub first_start: Option<Instant>,
    /// The last stop bit ended; `None` without characters.
    pub last_end: Option<Instant>,
    /// Characters read.
    pub characters: u32,
    /// Those of them with a wrong parity bit.
    pub parity_errors: u32,
    /// Those without a stop bit.
    pub framing_errors: u32,
    /// Mean amplitude of ones.
    pub mark: f64,
    /// Mean amplitude of zeros.
    pub space: f64,
    /// Tone of a 1, Hz; `None` where no two ones stood together.
    pub mark_hz: Option<f64>,
    /// Tone of a 0, Hz; `None` where no two zeros stood together.
    pub space_hz: Option<f64>,
    /// Bits a second; `None` where there were too few edges.
    pub bit_rate: Option<f64>,
    /// Spread of edges about even bits (rms), in bits.
    pub jitter_bits: f64,
    /// Energy of a bit over the density of what is no tone, dB, of the weaker tone, if that were white noise. From about 25 dB on it is the
    /// receiver's own filters that are seen. `None` without characters.
    pub eb_n0_db: Option<f64>,
    /// Longest pause between two characters, in bits.
    pub longest_gap_bits: f64,
    /// Pauses of a quarter of a bit or more.
    pub gaps: u32,
    /// A second talker was there at the same time.
    pub collided: bool,
}

impl Burst {
    /// Carrier before the first start bit, that of a lost character included, s; `None` without characters.
    pub fn lead_s(&self) -> Option<f64> {
        Some(self.lost_start.unwrap_or(self.first_start?).since(self.on).as_secs_f64())
    }

    /// Carrier after the last stop bit, s; `None` without characters.
    pub fn tail_s(&self) -> Option<f64> {
        Some(self.off.since(self.last_end?).as_secs_f64())
    }

    /// How much stronger the tone of a 1 is than that of a 0, dB; `None` where one was not measured.
    pub fn twist_db(&self) -> Option<f64> {
        (self.mark > 0.0 && self.space > 0.0).then(|| 20.0 * (self.mark / self.space).log10())
    }
}
