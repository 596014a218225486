//! How much is told: whoever sends rubbish fast must not fill a log.

use crate::time::Instant;
use core::time::Duration;

/// News that may come at once.
const MOST: u32 = 100;
/// One more after each of these.
const EVERY: Duration = Duration::from_millis(100);

/// A store of news that fills with time.
#[derive(Clone, Debug)]
pub(super) struct Told {
    left: u32,
    since: Instant,
    left_out: u64,
}

impl Default for Told {
    fn default() -> Self {
        Told { left: MOST, since: Instant::ZERO, left_out: 0 }
    }
}

impl Told {
    /// Whether something may be told, and how many were left out before it.
    pub fn may_tell(&mut self, now: Instant) -> Option<u64> {
        let more = now.since(self.since).as_nanos() / EVERY.as_nanos();
        if more > 0 {
            self.left = MOST.min(self.left.saturating_add(u32::try_from(more).unwrap_or(MOST)));
            self.since = now;
        }
        match self.left.checked_sub(1) {
            Some(left) => {
                self.left = left;
                Some(core::mem::take(&mut self.left_out))
            }
            None => {
                self.left_out += 1;
                None
            }
        }
    }
}
