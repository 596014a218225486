//! How well a link works.

use crate::transaction::{Interlude, Outcome, Transaction};
use core::time::Duration;

/// Counts over the transactions of one host.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LinkQuality {
    /// Requests, repeats not counted.
    pub requests: u32,
    /// Requests that were answered.
    pub answered: u32,
    /// Repeats.
    pub retries: u32,
    /// Damaged frames that came where an answer was waited for, and requests that arrived damaged.
    pub damaged: u32,
    /// Longest time until an answer began.
    pub slowest: Option<Duration>,
}

impl LinkQuality {
    /// Adds a try that the device answered with a communication error, so that it is repeated.
    pub fn arrived_damaged(&mut self) {
        self.retries += 1;
        self.damaged += 1;
    }

    /// Adds a transaction.
    pub fn add(&mut self, t: &Transaction) {
        self.requests += 1;
        self.answered += u32::from(t.outcome == Outcome::Answered);
        self.retries += t.retries() as u32;
        self.damaged += t.interludes.iter().filter(|i| matches!(i, Interlude::Damaged(_))).count() as u32;
        self.slowest = self.slowest.max(t.response_time);
    }
}
