//! Everything that was measured of one talker.

use crate::wave::Burst;
use crate::wiring::noise::{MESSAGE_CHARACTERS, bit_error_rate, damaged_share};

/// Mean, least and most of something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    sum: f64,
    count: f64,
    /// The least.
    pub least: f64,
    /// The most.
    pub most: f64,
}

impl Default for Range {
    fn default() -> Self {
        Range { sum: 0.0, count: 0.0, least: f64::INFINITY, most: f64::NEG_INFINITY }
    }
}

impl Range {
    fn add(&mut self, value: Option<f64>, weight: f64) {
        if let Some(v) = value.filter(|v| v.is_finite()) {
            self.sum += v * weight;
            self.count += weight;
            self.least = self.least.min(v);
            self.most = self.most.max(v);
        }
    }

    /// Each value changed by something that never falls; the mean is that of the mean.
    pub(super) fn map(&self, f: impl Fn(f64) -> f64) -> Range {
        match self.mean() {
            Some(mean) => Range {
                sum: f(mean) * self.count,
                count: self.count,
                least: f(self.least),
                most: f(self.most),
            },
            None => *self,
        }
    }

    /// The mean; `None` where there was nothing.
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0.0).then(|| self.sum / self.count)
    }
}

/// What a talker is, which decides what can be done about it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TalkerKind {
    /// A master: a program with an adapter.
    Master,
    /// A device.
    Device,
    /// Nobody knows: no frame of it was whole.
    #[default]
    Unknown,
}

/// How a message arrived [WV-24].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Came {
    /// Whole.
    Whole,
    /// Its carrier was gone before its end.
    BrokenOff,
    /// To its end, with something wrong in it.
    Damaged,
}

/// Messages by how they arrived.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Messages {
    pub(super) all: u32,
    pub(super) broken_off: u32,
    pub(super) damaged: u32,
}

impl Messages {
    fn add(&mut self, came: Came) {
        self.all += 1;
        self.broken_off += u32::from(came == Came::BrokenOff);
        self.damaged += u32::from(came == Came::Damaged);
    }
}

/// What noise, or a second talker, makes meaningless [WV-17].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Measured {
    pub(super) bursts: u32,
    pub(super) characters: u64,
    pub(super) parity_errors: u64,
    pub(super) framing_errors: u64,
    pub(super) messages: Messages,
    /// Carriers before the first character that were too short, and too long.
    pub(super) late: u32,
    pub(super) early: u32,
    /// Carriers after the last one that were too long, and too short.
    pub(super) long: u32,
    pub(super) short: u32,
    /// Pauses of whole characters, which are characters that were not read.
    pub(super) missing: u32,
    pub(super) mark_hz: Range,
    pub(super) space_hz: Range,
    pub(super) bit_rate: Range,
    pub(super) jitter: Range,
    pub(super) lead: Range,
    pub(super) tail: Range,
    pub(super) longest_gap: Range,
}

/// What carrier before and after may be off as it is measured, bits [WV-14].
const CARRIER_ERROR_BITS: f64 = 0.75;
/// The most of either, with that [WV-09].
const MOST_CARRIER_BITS: f64 = 5.0 + CARRIER_ERROR_BITS;
/// Share of transmissions from which on it is a talker's habit [WV-26].
const HABIT: f64 = 0.2;

/// A character, bits.
const CHARACTER_BITS: f64 = 11.0;

/// Whether a pause is one of whole characters, within a third of a bit each.
fn is_whole(gap_bits: f64) -> bool {
    let n = (gap_bits / CHARACTER_BITS).round();
    n >= 1.0 && (gap_bits - n * CHARACTER_BITS).abs() < 0.33 * n.min(3.0)
}

impl Measured {
    /// Whether so many transmissions are a talker's habit [WV-26].
    pub(super) fn is_habit(&self, n: u32) -> bool {
        n > 0 && f64::from(n) >= HABIT * f64::from(self.bursts)
    }

    fn add(&mut self, b: &Burst) {
        let n = f64::from(b.characters);
        self.bursts += 1;
        self.characters += u64::from(b.characters);
        self.parity_errors += u64::from(b.parity_errors);
        self.framing_errors += u64::from(b.framing_errors);
        let (lead, tail) = (b.lead_s().map(|s| s * 1200.0), b.tail_s().map(|s| s * 1200.0));
        self.late += u32::from(b.lost_start.is_some());
        self.early += u32::from(lead.is_some_and(|bits| bits > MOST_CARRIER_BITS));
        self.long += u32::from(tail.is_some_and(|bits| bits > MOST_CARRIER_BITS));
        self.short += u32::from(tail.is_some_and(|bits| bits < -CARRIER_ERROR_BITS));
        self.missing += u32::from(is_whole(b.longest_gap_bits));
        self.mark_hz.add(b.mark_hz, n);
        self.space_hz.add(b.space_hz, n);
        self.bit_rate.add(b.bit_rate, n);
        self.jitter.add(Some(b.jitter_bits), n);
        self.lead.add(lead, 1.0);
        self.tail.add(tail, 1.0);
        self.longest_gap.add(Some(b.longest_gap_bits), 1.0);
    }
}

/// Everything that was measured of one talker.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TalkerSignal {
    /// Who it is, for people.
    pub name: String,
    pub(super) kind: TalkerKind,
    pub(super) collisions: u32,
    pub(super) mark: Range,
    pub(super) space: Range,
    pub(super) twist_db: Range,
    pub(super) eb_n0_db: Range,
    /// Transmissions without a second talker that have more noise than the limit [WV-19].
    pub(super) noisy: u32,
    /// Of all transmissions.
    pub(super) all: Measured,
    /// Of those without much noise or a second talker.
    pub(super) clear: Measured,
}

/// Fewer characters than that tell little of tones and bit rate.
const LEAST_CHARACTERS: u32 = 5;
/// Share of messages that may be damaged by noise [WI-13].
pub(super) const MAY_BE_DAMAGED: f64 = 0.01;
/// A transmission with so much less noise than the limit is judged by its clock and its carrier, dB (own).
const CLEAR_DB: f64 = 1.0;

/// Whether at this ratio more than one message in a hundred of the usual length is damaged [WI-13].
fn is_noisy(eb_n0_db: f64) -> bool {
    damaged_share(bit_error_rate(10f64.powf(eb_n0_db / 10.0)), MESSAGE_CHARACTERS) > MAY_BE_DAMAGED
}

/// Whether a transmission has little noise, no second talker and enough characters: so what is odd about it is the talker's doing, or the line's [WV-17].
pub fn is_clear(b: &Burst) -> bool {
    let quiet = b.eb_n0_db.is_some_and(|db| !is_noisy(db - CLEAR_DB));
    quiet && !b.collided && b.characters >= LEAST_CHARACTERS
}

impl TalkerSignal {
    /// Nothing yet of a talker.
    pub fn new(name: impl Into<String>, kind: TalkerKind) -> TalkerSignal {
        TalkerSignal { name: name.into(), kind, ..TalkerSignal::default() }
    }

    /// Adds a transmission.
    pub fn add(&mut self, b: &Burst) {
        let n = f64::from(b.characters);
        self.collisions += u32::from(b.collided);
        // What another talker sends is no noise [WV-19], and no level of this one's [WV-25].
        if !b.collided {
            self.mark.add(Some(b.mark), n);
            self.space.add(Some(b.space).filter(|s| *s > 0.0), n);
            self.twist_db.add(b.twist_db(), n);
            self.eb_n0_db.add(b.eb_n0_db, n);
            self.noisy += u32::from(b.eb_n0_db.is_some_and(is_noisy));
        }
        self.all.add(b);
        if is_clear(b) {
            self.clear.add(b);
        }
    }

    /// Counts a message that came in a transmission of this talker [WV-24].
    pub fn message(&mut self, came: Came, b: &Burst) {
        self.all.messages.add(came);
        if is_clear(b) {
            self.clear.messages.add(came);
        }
    }

    /// Transmissions without a second talker; none where most have one, for the others may have one that was not seen [WV-06] [WV-19].
    pub(super) fn alone(&self) -> u32 {
        if self.collisions > self.all.bursts / 2 { 0 } else { self.all.bursts - self.collisions }
    }

    /// The strongest tone of all transmissions, peak to peak in the unit of the samples; 0 where there was none.
    pub fn most_peak_to_peak(&self) -> f64 {
        2.0 * self.mark.most.max(self.space.most).max(0.0)
    }

    /// Characters read.
    pub fn characters(&self) -> u64 {
        self.all.characters
    }

    /// Transmissions.
    pub fn bursts(&self) -> u32 {
        self.all.bursts
    }
}
