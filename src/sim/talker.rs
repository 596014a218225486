//! A participant with a script: what no legal station would say.

use crate::frame::{Octet, RawFrame};
use crate::line::Station;
use crate::time::Instant;
use core::time::Duration;
use std::collections::VecDeque;

/// Says things at their times, whatever else goes on, or, if it is to be polite, when nobody speaks.
#[derive(Clone, Debug, Default)]
pub struct Talker {
    script: VecDeque<(Instant, RawFrame)>,
    /// Silence that it waits for.
    quiet: Option<Duration>,
    heard_at: Option<Instant>,
    carrier: bool,
}

impl Talker {
    /// One who says these at these times, which are in order. What is due while another is leaving comes
    /// right after it.
    pub fn new(script: impl IntoIterator<Item = (Instant, RawFrame)>) -> Talker {
        Talker { script: script.into_iter().collect(), ..Talker::default() }
    }

    /// The same, who begins only when no carrier is heard and nothing was for `quiet`.
    #[must_use]
    pub fn after_silence(mut self, quiet: Duration) -> Talker {
        self.quiet = Some(quiet);
        self
    }

    /// Not before then.
    fn free_at(&self) -> Instant {
        match (self.heard_at, self.quiet) {
            (Some(heard), Some(quiet)) => heard + quiet,
            _ => Instant::ZERO,
        }
    }
}

impl Station for Talker {
    fn handle(&mut self, now: Instant, _: &[Octet]) {
        self.heard_at = Some(now);
    }

    fn sent(&mut self, _: Instant) {}

    fn carrier(&mut self, _: Instant, on: bool) {
        self.carrier = on;
    }

    fn poll_transmit(&mut self, _: Instant) -> Option<Vec<u8>> {
        None
    }

    fn poll_raw(&mut self, now: Instant) -> Option<RawFrame> {
        if self.quiet.is_some() && (self.carrier || now < self.free_at()) {
            return None;
        }
        self.script.pop_front_if(|(t, _)| *t <= now).map(|(_, frame)| frame)
    }

    fn wake_at(&self) -> Option<Instant> {
        self.script.front().map(|(t, _)| (*t).max(self.free_at()))
    }
}
