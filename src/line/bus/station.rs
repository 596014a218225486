//! Who takes part in a bus, and what it gives out.

use crate::frame::{Octet, RawFrame};
use crate::time::{Drift, Instant};
use core::time::Duration;

/// A participant on the bus that lives in this process, with its own clock: every time that it is given
/// or gives is what that clock shows.
///
/// After everything that the bus tells a station, it asks [`Station::poll_transmit`].
pub trait Station {
    /// Octets that somebody else sent have passed; in order. Not called while this station sends.
    fn handle(&mut self, now: Instant, octets: &[Octet]);

    /// The last octet of our own transmission has left.
    fn sent(&mut self, now: Instant);

    /// The modem has begun to detect the carrier of somebody else, or no longer does [LI-21].
    fn carrier(&mut self, _now: Instant, _on: bool) {}

    /// Octets to start sending now, preambles included; `None` for silence. Not asked while a
    /// transmission of this station is leaving.
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>>;

    /// The same with wrong parity and pauses where wanted; asked if [`Station::poll_transmit`] is silent.
    fn poll_raw(&mut self, _now: Instant) -> Option<RawFrame> {
        None
    }

    /// When the station wants to be asked, if nothing is heard until then.
    fn wake_at(&self) -> Option<Instant>;
}

impl<T: Station + ?Sized> Station for Box<T> {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        (**self).handle(now, octets);
    }
    fn sent(&mut self, now: Instant) {
        (**self).sent(now);
    }
    fn carrier(&mut self, now: Instant, on: bool) {
        (**self).carrier(now, on);
    }
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        (**self).poll_transmit(now)
    }
    fn poll_raw(&mut self, now: Instant) -> Option<RawFrame> {
        (**self).poll_raw(now)
    }
    fn wake_at(&self) -> Option<Instant> {
        (**self).wake_at()
    }
}

/// The clock of a station and how promptly it acts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Clock {
    /// How fast it runs; the characters that the station sends are shorter by as much.
    pub drift: Drift,
    /// The station begins to send up to so much later than it means to, true time.
    pub jitter: Duration,
}

/// An octet that comes out at an access point; its `at` is the end of the character on the wires.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Delivery {
    /// The access point, by index.
    pub port: usize,
    /// The octet with the marks it was sent with.
    pub octet: Octet,
}

/// Who sends. At equal times access points come before stations, stations before noise, and lower
/// indices first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// An access point, by index.
    Port(usize),
    /// A station, by index.
    Station(usize),
    /// Nobody.
    Noise,
}

/// What passed, in octets, for somebody who hears everybody [LI-25]. `sent` and `made` together are `heard`, `silenced` and `covered` together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Traffic {
    /// Sent by stations and at access points.
    pub sent: u64,
    /// Sent by nobody: noise, octets inserted, repeats.
    pub made: u64,
    /// Heard by everybody who does not send, whether as sent or not.
    pub heard: u64,
    /// Of these, spoilt by a collision.
    pub spoilt: u64,
    /// Not heard because of a rule.
    pub silenced: u64,
    /// Not heard because somebody else was speaking already.
    pub covered: u64,
}

/// What a station or access point began to send.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Begun {
    /// Who.
    pub source: Source,
    /// The start of the first octet.
    pub at: Instant,
    /// The octets as they were meant.
    pub values: Vec<u8>,
}
