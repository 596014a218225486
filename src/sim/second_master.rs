//! A second master with a role that is taken already [DV-110].

use super::site_fault::asks_every;
use super::{Errand, MasterStation};
use crate::frame::Octet;
use crate::line::Station;
use crate::link::MasterConfig;
use crate::time::{Instant, Pace};
use core::time::Duration;
use std::collections::VecDeque;

/// Where octets take no time, whoever asks without a pause would ask without end at one instant.
const LEAST_PAUSE_WHEN_FAST: Duration = Duration::from_millis(10);

/// A master that keeps the turns of the link, but does not stop where another one has its role, as [HO-03] asks of ours.
#[derive(Clone, Debug)]
pub struct SecondMaster {
    config: MasterConfig,
    pace: Pace,
    /// What it asks, one after the other.
    errands: Vec<Errand>,
    master: MasterStation,
    severity: f64,
    changes: VecDeque<(Instant, f64)>,
    carrier: bool,
}

impl SecondMaster {
    /// One that is not at work yet and asks these in turn; their times are left alone. How bad it is at which time, in order.
    pub fn new(
        config: MasterConfig,
        pace: Pace,
        errands: Vec<Errand>,
        changes: impl IntoIterator<Item = (Instant, f64)>,
    ) -> SecondMaster {
        let master = MasterStation::new(config, pace, Vec::new());
        let changes = changes.into_iter().collect();
        SecondMaster { config, pace, errands, master, severity: 0.0, changes, carrier: false }
    }

    /// How bad it is now, 0 (not at work) to 1.
    pub fn severity(&self) -> f64 {
        self.severity
    }

    /// From `now` on it is so bad: 0 (gone when what is under way has ended) to 1 (asks without a pause).
    pub fn set_severity(&mut self, now: Instant, severity: f64) {
        self.severity = if severity > 0.0 { severity.min(1.0) } else { 0.0 };
        let errands = self.due_from(now);
        self.master.set_errands(errands);
    }

    /// The errands, each after as many others.
    fn due_from(&self, now: Instant) -> Vec<Errand> {
        if self.severity == 0.0 {
            return Vec::new();
        }
        let mut pause = asks_every(self.severity);
        if self.pace == Pace::Fast {
            pause = pause.max(LEAST_PAUSE_WHEN_FAST);
        }
        let all = self.errands.len().max(1) as u32;
        let due = self.errands.iter().zip(0u32..);
        due.map(|(e, i)| Errand { first_at: now + pause * i, every: Some(pause * all), ..e.clone() })
            .collect()
    }

    fn catch_up(&mut self, now: Instant) {
        while let Some((at, severity)) = self.changes.pop_front_if(|c| c.0 <= now) {
            self.set_severity(at, severity);
        }
        // It goes on as if it had just been switched on.
        if self.master.stopped().is_some() {
            let errands = self.due_from(now);
            self.master = MasterStation::begun(self.config, self.pace, errands, now);
            self.master.carrier(now, self.carrier);
        }
    }
}

impl Station for SecondMaster {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.master.handle(now, octets);
    }

    fn sent(&mut self, now: Instant) {
        self.master.sent(now);
    }

    fn carrier(&mut self, now: Instant, on: bool) {
        self.carrier = on;
        self.master.carrier(now, on);
    }

    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.catch_up(now);
        let octets = self.master.poll_transmit(now);
        if octets.is_none() && self.master.stopped().is_some() {
            self.catch_up(now);
            return self.master.poll_transmit(now);
        }
        octets
    }

    fn wake_at(&self) -> Option<Instant> {
        let change = self.changes.front().map(|c| c.0);
        self.master.wake_at().into_iter().chain(change).min()
    }
}
