//! A modem's echo of what we send, told apart from what others send [LI-08].

use crate::frame::{Marks, Octet};
use crate::time::Instant;
use core::time::Duration;
use std::collections::VecDeque;

const PREAMBLE: u8 = 0xFF;

/// Compares what arrives with what was sent, and keeps back what may be our echo until that is
/// certain: all of it came back, then it is dropped; or it did not, then it is handed on with the
/// stamps that it had. Nothing else is ever lost.
#[derive(Debug)]
pub(super) struct EchoFilter {
    /// How long after our end an echo may begin, and how long it may pause.
    tolerance: Duration,
    listening: bool,
    /// What is still to come back.
    expected: VecDeque<u8>,
    began_with_preamble: bool,
    /// The last octet that came back was one of its preambles.
    in_preambles: bool,
    /// An octet after the preambles came back: no answer looks like that.
    in_body: bool,
    /// What came back so far.
    held: Vec<Octet>,
    /// When our own transmission ended.
    ended: Option<Instant>,
    last_at: Instant,
    /// Transmissions, or pieces of one, that came back whole.
    pub(super) seen: u32,
}

impl EchoFilter {
    pub(super) fn new(tolerance: Duration) -> Self {
        EchoFilter {
            tolerance,
            listening: false,
            expected: VecDeque::new(),
            began_with_preamble: false,
            in_preambles: false,
            in_body: false,
            held: Vec::new(),
            ended: None,
            last_at: Instant::ZERO,
            seen: 0,
        }
    }

    /// A transmission begins; what is left of the echo of the one before is handed on.
    pub(super) fn begin(&mut self, octets: &[u8], out: &mut Vec<Octet>) {
        self.release(out);
        self.listening = true;
        (self.in_body, self.in_preambles) = (false, false);
        self.ended = None;
        self.began_with_preamble = octets.first() == Some(&PREAMBLE);
        self.expected.clear();
        self.expected.extend(octets);
    }

    /// More octets of the transmission that runs.
    pub(super) fn go_on(&mut self, octets: &[u8]) {
        self.ended = None;
        self.expected.extend(octets);
    }

    /// The last octet has left.
    pub(super) fn end(&mut self, at: Instant) {
        self.ended = Some(at);
    }

    /// An octet came.
    pub(super) fn push(&mut self, octet: Octet, out: &mut Vec<Octet>) {
        self.expire(octet.at, out);
        let spoilt = octet.marks.0 & (Marks::PARITY.0 | Marks::FRAMING.0) != 0;
        if !self.listening || self.expected.is_empty() {
            out.push(octet);
            return;
        }
        self.last_at = octet.at;
        self.held.push(octet);
        if self.in_body {
            if spoilt || self.expected.pop_front() != Some(octet.value) {
                self.release(out);
                return;
            }
        } else if octet.value == PREAMBLE && self.began_with_preamble && !spoilt {
            // A modem may swallow the first ones, or add one.
            if self.expected.front() == Some(&PREAMBLE) {
                self.expected.pop_front();
            }
            self.in_preambles = true;
        } else {
            let preambles = self.expected.iter().take_while(|&&v| v == PREAMBLE).count();
            let enough = !self.began_with_preamble || self.in_preambles;
            self.in_preambles = false;
            if spoilt || !enough || self.expected.get(preambles) != Some(&octet.value) {
                // Rubbish as the carrier comes up, or an answer: not ours, but ours may still come.
                out.append(&mut self.held);
                return;
            }
            self.expected.drain(..=preambles);
            self.in_body = true;
        }
        if self.expected.is_empty() {
            self.seen = self.seen.saturating_add(1);
            self.held.clear();
        }
    }

    /// Time passed.
    pub(super) fn expire(&mut self, now: Instant, out: &mut Vec<Octet>) {
        if self.listening && self.over_at().is_some_and(|t| t < now) {
            self.release(out);
        }
    }

    /// When [`EchoFilter::expire`] has something to hand on.
    pub(super) fn deadline(&self) -> Option<Instant> {
        let at = self.over_at().filter(|_| !self.held.is_empty());
        at.map(|t| t + Duration::from_nanos(1))
    }

    fn over_at(&self) -> Option<Instant> {
        let ended = self.ended?;
        Some(if self.in_body { ended.max(self.last_at) } else { ended } + self.tolerance)
    }

    /// What is kept back is handed on; nothing more counts as an echo of this transmission.
    pub(super) fn release(&mut self, out: &mut Vec<Octet>) {
        out.append(&mut self.held);
        self.listening = false;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const C: u64 = 9_166_667;

    fn octets(from: u64, values: &[u8]) -> Vec<Octet> {
        let at = |i: usize| Instant::from_nanos((from + i as u64) * C);
        values.iter().enumerate().map(|(i, &v)| Octet::clean(at(i), v)).collect()
    }

    /// What is handed on of `came`, of which the first arrives `from` characters after the start of
    /// the transmission of `sent`.
    fn handed_on(sent: &[u8], from: u64, came: &[u8]) -> (Vec<u8>, u32) {
        let mut filter = EchoFilter::new(Duration::from_nanos(4 * C));
        let mut out = Vec::new();
        filter.begin(sent, &mut out);
        let end = Instant::from_nanos(sent.len() as u64 * C);
        for octet in octets(from, came) {
            if octet.at >= end {
                filter.end(end);
            }
            filter.push(octet, &mut out);
        }
        filter.end(end);
        filter.expire(Instant::from_nanos(1_000 * C), &mut out);
        (out.iter().map(|o| o.value).collect(), filter.seen)
    }

    // Command 0 to polling address 0: delimiter, address, command, count, check byte 02^80 = 82.
    const REQUEST: [u8; 10] = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82];
    const ANSWER: [u8; 9] = [0xFF, 0xFF, 0xFF, 0x06, 0x80, 0x00, 0x02, 0x00, 0x00];

    #[test]
    fn whole_echo_is_kept_back_with_and_without_its_first_preambles() {
        assert_eq!(handed_on(&REQUEST, 1, &REQUEST), (vec![], 1));
        assert_eq!(handed_on(&REQUEST, 3, &REQUEST[2..]), (vec![], 1));
        // A character too many as the carrier comes up.
        let more: Vec<u8> = [0xFF].iter().chain(&REQUEST).copied().collect();
        assert_eq!(handed_on(&REQUEST, 1, &more), (vec![], 1));
    }

    #[test]
    fn answer_behind_the_echo_is_handed_on() {
        let both: Vec<u8> = REQUEST.iter().chain(&ANSWER).copied().collect();
        assert_eq!(handed_on(&REQUEST, 1, &both), (ANSWER.to_vec(), 1));
    }

    #[test]
    fn answer_without_echo_is_handed_on() {
        assert_eq!(handed_on(&REQUEST, 11, &ANSWER), (ANSWER.to_vec(), 0));
        assert_eq!(handed_on(&REQUEST, 30, &ANSWER), (ANSWER.to_vec(), 0));
    }

    #[test]
    fn spoilt_echo_is_handed_on_whole() {
        let mut spoilt = REQUEST;
        spoilt[7] = 0x10;
        assert_eq!(handed_on(&REQUEST, 1, &spoilt), (spoilt.to_vec(), 0));
        assert_eq!(handed_on(&REQUEST, 1, &REQUEST[..8]), (REQUEST[..8].to_vec(), 0));
    }

    #[test]
    fn our_frame_long_after_our_end_is_another_master() {
        assert_eq!(handed_on(&REQUEST, 40, &REQUEST), (REQUEST.to_vec(), 0));
    }

    proptest! {
        /// Only a whole echo is ever dropped: whatever comes, it comes out in order, or lacks exactly it.
        #[test]
        fn nothing_else_is_lost(came in prop::collection::vec(
            prop_oneof![Just(0xFFu8), Just(0x02), Just(0x80), Just(0x00), Just(0x82), any::<u8>()], 0..40),
            from in 0u64..30,
        ) {
            let (out, seen) = handed_on(&REQUEST, from, &came);
            if seen == 0 {
                prop_assert_eq!(out, came);
            } else {
                prop_assert!(came.windows(5).any(|w| w == &REQUEST[5..]));
                prop_assert!(out.len() < came.len());
            }
        }
    }
}
