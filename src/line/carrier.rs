//! Carrier detect, followed: which octets still belong to what was heard, and which lack something
//! before them [LI-07].

use crate::frame::{Marks, Octet, Receiver, ReceiverConfig};
use crate::time::{Instant, Pace};
use core::time::Duration;

/// Follows the carrier detect line of a port.
#[derive(Debug)]
pub(super) struct CarrierWatch {
    /// As it was seen last; `None` if the port has no such line.
    pub(super) on: Option<bool>,
    /// How often it was seen to go.
    pub(super) falls: u32,
    /// How often it was seen to come.
    pub(super) rises: u32,
    fell_at: Option<Instant>,
    /// How long octets that were received before the fall may take to be handed over.
    pending: Duration,
    /// Knows whether a frame has begun that has not ended.
    frames: Receiver,
}

impl CarrierWatch {
    pub(super) fn new(on: Option<bool>, pace: Pace, stamp_error: Duration) -> Self {
        CarrierWatch {
            on,
            falls: 0,
            rises: 0,
            fell_at: None,
            pending: pace.character() * 2 + stamp_error * 2,
            frames: Receiver::new(ReceiverConfig::for_line(pace, stamp_error)),
        }
    }

    /// The line was looked at.
    pub(super) fn look(&mut self, now: Instant, on: Option<bool>) {
        match (self.on, on) {
            (Some(true), Some(false)) => {
                self.falls = self.falls.saturating_add(1);
                self.fell_at = Some(now);
            }
            (Some(false), Some(true)) => self.rises = self.rises.saturating_add(1),
            _ => {}
        }
        self.on = on;
    }

    /// Whether the line has been seen to change, so that there is something behind it.
    pub(super) fn is_alive(&self) -> bool {
        self.falls > 0 || self.rises > 0
    }

    /// Puts the mark of a lost carrier on an octet that needs it.
    pub(super) fn mark(&mut self, octet: &mut Octet) {
        if self.on.is_none() {
            return;
        }
        self.frames.handle_timeout(octet.at);
        while self.frames.next().is_some() {}
        if let Some(fell_at) = self.fell_at {
            if self.frames.deadline().is_none() {
                // It went after the end of a frame, as it should.
                self.fell_at = None;
            } else if fell_at + self.pending < octet.at {
                self.fell_at = None;
                octet.marks |= Marks::CARRIER_LOST;
            }
        }
        self.frames.push(&[*octet]);
        while self.frames.next().is_some() {}
    }
}
