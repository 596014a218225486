//! A participant with a script: what no legal station would say.

use crate::frame::{Octet, RawFrame};
use crate::line::Station;
use crate::time::Instant;
use std::collections::VecDeque;

/// Says things at their times, whatever else goes on, and hears nothing.
#[derive(Clone, Debug, Default)]
pub struct Talker {
    script: VecDeque<(Instant, RawFrame)>,
}

impl Talker {
    /// One who says these at these times, which are in order. What is due while another is leaving comes
    /// right after it.
    pub fn new(script: impl IntoIterator<Item = (Instant, RawFrame)>) -> Talker {
        Talker { script: script.into_iter().collect() }
    }
}

impl Station for Talker {
    fn handle(&mut self, _: Instant, _: &[Octet]) {}

    fn sent(&mut self, _: Instant) {}

    fn poll_transmit(&mut self, _: Instant) -> Option<Vec<u8>> {
        None
    }

    fn poll_raw(&mut self, now: Instant) -> Option<RawFrame> {
        self.script.pop_front_if(|(t, _)| *t <= now).map(|(_, frame)| frame)
    }

    fn wake_at(&self) -> Option<Instant> {
        self.script.front().map(|(t, _)| *t)
    }
}
