//! What one sender still has to send, and when its carrier is on.

use super::CAPACITY;
use crate::frame::{Marks, Octet};
use crate::line::wire_fault::Planned;
use crate::time::Instant;
use core::time::Duration;
use std::collections::VecDeque;

/// Pauses of a sender from outside up to so many characters are part of one transmission.
const SAME_TRANSMISSION: u32 = 2;

/// An octet that is to pass.
#[derive(Clone, Copy, Debug)]
pub(super) struct Passing {
    /// When it begins.
    pub(super) begins: Instant,
    /// Its end, value and marks.
    pub(super) octet: Octet,
    /// Nobody hears it.
    pub(super) silent: bool,
    /// Nobody sent it.
    pub(super) made: bool,
}

/// Octets of one sender that are still to pass.
#[derive(Clone, Debug)]
pub(super) struct Sender {
    /// A character by the sender's own clock, in true time.
    pub(super) character: Duration,
    pub(super) waiting: VecDeque<Passing>,
    last_end: Option<Instant>,
    /// The carrier of the transmission under way, or of the last one.
    pub(super) from: Instant,
    pub(super) until: Instant,
    /// When it comes on and until when, of what the detectors have not been told: more than one where
    /// it is lost on the way.
    pub(super) pieces: VecDeque<(Instant, Instant)>,
    /// Until when it is on, of what the detectors have been told.
    pub(super) told_until: Instant,
    pub(super) lost: u64,
    /// Octets were lost and none was accepted since.
    torn: bool,
}

impl Sender {
    pub(super) fn new(character: Duration) -> Sender {
        Sender {
            character,
            waiting: VecDeque::new(),
            last_end: None,
            from: Instant::ZERO,
            until: Instant::ZERO,
            pieces: VecDeque::new(),
            told_until: Instant::ZERO,
            lost: 0,
            torn: false,
        }
    }

    /// Whether its carrier is on some time between two instants.
    pub(super) fn is_on_between(&self, begin: Instant, end: Instant) -> bool {
        self.from < end && self.until > begin
    }

    /// Whatever it still has to send is not sent, and its carrier ends now.
    pub(super) fn cut(&mut self, now: Instant) {
        self.waiting.clear();
        self.pieces.retain(|p| p.0 < now);
        self.last_end = self.last_end.map(|end| end.min(now));
        self.told_until = self.told_until.min(now);
        // One that was still to begin has never been on.
        (self.from, self.until) =
            if self.from < now { (self.from, self.until.min(now)) } else { (Instant::ZERO, Instant::ZERO) };
    }

    /// Whether a first octet that ends at `end` begins a transmission of its own.
    pub(super) fn begins_anew(&self, end: Instant) -> bool {
        self.last_end.is_none_or(|last| end > last + self.character * (1 + SAME_TRANSMISSION))
    }

    /// Queues octets: each ends at `first_end` or a character after the one before it, whichever is
    /// later, and does not begin before `not_before`. Gives the end of the last one that was accepted.
    pub(super) fn push(&mut self, not_before: Instant, first_end: Instant, octets: &[Planned]) -> Instant {
        let anew = self.begins_anew(first_end);
        let (mut begun, mut off) = (None, true);
        for (i, planned) in octets.iter().enumerate() {
            if self.waiting.len() >= CAPACITY {
                self.lost += (octets.len() - i) as u64;
                self.torn = true;
                break;
            }
            let mut end = match self.last_end {
                Some(last) => first_end.max(last + self.character),
                None => first_end,
            };
            if i > 0 || !planned.gap.is_zero() {
                end += planned.gap;
            }
            let begins = end.before(self.character).max(not_before);
            let mut marks = planned.marks;
            if self.torn {
                marks |= Marks::OVERRUN;
                self.torn = false;
            }
            let octet = Octet { at: end, value: planned.value, marks };
            self.waiting.push_back(Passing { begins, octet, silent: planned.silent, made: planned.made });
            self.last_end = Some(end);
            begun.get_or_insert(begins);
            match self.pieces.back_mut() {
                _ if planned.dead => off = true,
                Some(piece) if !off => piece.1 = end,
                _ => {
                    self.pieces.push_back((begins, end));
                    off = false;
                }
            }
        }
        let last_end = self.last_end.unwrap_or(first_end);
        if let Some(from) = begun {
            if anew {
                self.from = from;
            }
            self.until = last_end;
        }
        last_end
    }
}
