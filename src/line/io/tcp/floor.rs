//! Who of several peers has the word: one speaks, the others are not heard until it has been silent.

use crate::time::Instant;
use std::time::Duration;

/// The word on a line with several peers [LI-12]. A peer takes it by sending and keeps it until
/// nothing has come from it for the hold time; knows no sockets and reads no clock.
#[derive(Debug)]
pub(super) struct Floor {
    hold: Duration,
    holder: Option<(u64, Instant)>,
}

impl Floor {
    /// Nobody has the word yet.
    pub(super) fn new(hold: Duration) -> Self {
        Floor { hold, holder: None }
    }

    /// Octets came from `peer`: whether they are to be heard.
    pub(super) fn speaks(&mut self, peer: u64, now: Instant) -> bool {
        match self.holder {
            Some((holder, last)) if holder != peer && now < last + self.hold => false,
            _ => {
                self.holder = Some((peer, now));
                true
            }
        }
    }

    /// `peer` has gone; the word is free if it had it.
    pub(super) fn gone(&mut self, peer: u64) {
        if self.holder.is_some_and(|(holder, _)| holder == peer) {
            self.holder = None;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(n: u64) -> Instant {
        Instant::from_nanos(n * 1_000_000)
    }

    #[test]
    fn the_word_is_kept_until_silence_and_given_up_by_going() {
        let mut floor = Floor::new(Duration::from_millis(100));
        assert!(floor.speaks(1, ms(0)));
        assert!(!floor.speaks(2, ms(99)));
        assert!(floor.speaks(1, ms(99)));
        // What is not heard does not keep the word from its holder, nor win it.
        assert!(!floor.speaks(2, ms(198)));
        assert!(floor.speaks(2, ms(199)));
        assert!(!floor.speaks(1, ms(200)));
        floor.gone(1);
        assert!(!floor.speaks(3, ms(200)));
        floor.gone(2);
        assert!(floor.speaks(3, ms(200)));
        // A time that runs backwards takes nobody's word.
        assert!(!floor.speaks(1, ms(0)));
    }
}
