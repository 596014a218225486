//! How much is told: whoever sends rubbish fast must not fill a log.

use crate::time::Instant;
use core::time::Duration;

/// News that may come at once.
const MOST: u32 = 100;
/// One more after each of these.
const EVERY: Duration = Duration::from_millis(100);
/// So long after the last that was left out their number is told, if nothing was told since.
const REST: Duration = Duration::from_secs(1);

/// A store of news that fills with time.
#[derive(Clone, Debug)]
pub(super) struct Told {
    left: u32,
    since: Instant,
    left_out: u64,
    /// When the last of them was left out.
    left_out_at: Instant,
}

impl Default for Told {
    fn default() -> Self {
        Told { left: MOST, since: Instant::ZERO, left_out: 0, left_out_at: Instant::ZERO }
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
                self.left_out_at = now;
                None
            }
        }
    }

    /// When [`Told::rest`] has something to tell, if nothing more comes.
    pub fn rest_at(&self) -> Option<Instant> {
        (self.left_out > 0).then(|| self.left_out_at + REST)
    }

    /// How many were left out, once nothing more has come for a while.
    pub fn rest(&mut self, now: Instant) -> Option<u64> {
        self.rest_at().filter(|&at| at <= now).and_then(|_| self.close())
    }

    /// How many were left out at the end.
    pub fn close(&mut self) -> Option<u64> {
        Some(core::mem::take(&mut self.left_out)).filter(|&n| n > 0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_out_is_counted_to_the_end() {
        let ms = |n: u64| Instant::from_nanos(n * 1_000_000);
        let mut told = Told::default();
        let at_once = (0..40_320).filter(|_| told.may_tell(ms(50)).is_some()).count();
        // 100 at once, and none of the rest is forgotten.
        assert_eq!((at_once, told.rest_at()), (100, Some(ms(1050))));
        assert_eq!(told.rest(ms(1049)), None);
        assert_eq!((told.rest(ms(1050)), told.rest_at(), told.close()), (Some(40_220), None, None));
        (0..200).for_each(|_| {
            told.may_tell(ms(2000));
        });
        assert!(told.close().is_some_and(|n| n >= 100));
    }
}
