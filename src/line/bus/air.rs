//! Whether a carrier is on the wires, as a modem's detector sees it: late [LI-21].

use crate::time::{BitTimes, Instant, Pace};
use core::time::Duration;

/// Bit times from the carrier's start to its detection: four periods of 1200 Hz [A5191] [LI-21].
const ON_BITS: u64 = 4;
/// Bit times for which a detector holds on after the carrier's end: 2.5 ms [A5191] [LI-21].
const OFF_BITS: u64 = 3;

/// The carrier of everybody together, or of those whom one listener hears.
#[derive(Clone, Debug)]
pub(super) struct Air {
    on_lag: Duration,
    off_lag: Duration,
    /// As the detectors have it.
    pub(super) is_on: bool,
    rise_at: Option<Instant>,
    fall_at: Option<Instant>,
}

impl Air {
    pub(super) fn new(pace: Pace) -> Air {
        let bits = |n| pace.scale(BitTimes(n).duration());
        Air { on_lag: bits(ON_BITS), off_lag: bits(OFF_BITS), is_on: false, rise_at: None, fall_at: None }
    }

    /// A carrier is on from `from` until `until`.
    pub(super) fn carry(&mut self, from: Instant, until: Instant) {
        // Where octets take no time nobody could detect anything.
        if self.on_lag.is_zero() {
            return;
        }
        let fall = until + self.off_lag;
        let under_way = self.is_on || self.rise_at.is_some();
        self.fall_at = Some(match self.fall_at.filter(|_| under_way) {
            Some(earlier) => earlier.max(fall),
            None => fall,
        });
        if !under_way {
            self.rise_at = Some(from + self.on_lag);
        }
    }

    /// Who is noticed has changed: of those who are, a carrier is on until `until`.
    pub(super) fn change(&mut self, now: Instant, until: Option<Instant>) {
        if self.on_lag.is_zero() {
            return;
        }
        let fall = until.unwrap_or(now) + self.off_lag;
        match until {
            // What went already is forgotten no later for that.
            None if self.is_on => self.fall_at = Some(self.fall_at.map_or(fall, |f| f.min(fall))),
            None => (self.rise_at, self.fall_at) = (None, None),
            Some(_) => {
                self.fall_at = Some(fall);
                if !self.is_on && self.rise_at.is_none() {
                    self.rise_at = Some(now + self.on_lag);
                }
            }
        }
    }

    /// When the detectors change next.
    pub(super) fn next_at(&self) -> Option<Instant> {
        if self.is_on { self.fall_at } else { self.rise_at }
    }

    /// Changes what the detectors say, if it is time.
    pub(super) fn turn(&mut self, now: Instant) -> Option<bool> {
        if self.next_at().is_none_or(|t| t > now) {
            return None;
        }
        self.is_on = !self.is_on;
        if self.is_on {
            self.rise_at = None;
        } else {
            self.fall_at = None;
        }
        Some(self.is_on)
    }
}
