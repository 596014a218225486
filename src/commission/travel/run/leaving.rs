//! How a test ends: where the set point is left, and what was taken away given back [TV-76].

use super::{Run, ahead};
use crate::commission::travel::record::{Ended, Fail, Left, Record};
use crate::commission::travel::sensing::Halt;
use crate::host::{Ask, Stimulus};

impl Run<'_> {
    /// Ends a test, however it went: the set point is left where it belongs if it was ever moved.
    pub(super) fn end(mut self, done: Result<(), Halt>) -> Record {
        let last_heard_s = self.sensing.last_heard_s();
        let during = core::mem::take(&mut self.during);
        self.may_be_the_set_point(done.is_ok());
        self.record.ended = match done {
            Ok(()) => Ended::Whole,
            Err(halt) => halt.ended(during, last_heard_s),
        };
        if self.tried {
            let left = leave(self.stimulus, self.sensing.ask);
            if let (Err(what), Ended::Whole) = (&left, &self.record.ended) {
                let during = "leaving the set point where it belongs".to_owned();
                self.record.ended = Ended::Failed { during, what: what.clone() };
            }
            // Whoever moves the set point gives back what was taken, and then leaves.
            if left.is_ok() {
                let taken = self.stimulus.still_taken();
                let back = |f: &&mut Fail| !taken.contains(&f.loss.acts().0);
                self.record.fails.iter_mut().filter(back).for_each(|f| f.restored = true);
            }
            let left = left.unwrap_or_else(|what| not_left(self.stimulus, &what));
            self.record.left = Some(ahead::as_read(left, &self.record));
        }
        if let Some(left) = &self.record.left {
            self.person.tell(&left.words);
        }
        self.keep();
        self.record
    }
}

/// Leaves the set point; why it could not be, if it could not.
pub(in crate::commission) fn leave(stimulus: &mut dyn Stimulus, ask: &mut dyn Ask) -> Result<Left, String> {
    match stimulus.leave(ask) {
        Ok(at) => Ok(Left { percent: at.percent, words: at.words }),
        Err(e) => Err(format!("It could not be left as it should: {e}")),
    }
}

/// Where a set point is that could not be left, as far as is known [TV-76].
pub(in crate::commission) fn not_left(stimulus: &dyn Stimulus, what: &str) -> Left {
    match stimulus.stays() {
        Some(at) => Left { percent: at.percent, words: format!("{} {what}", at.words) },
        None => {
            let words = format!("Where the set point was left is not known. {what}");
            Left { percent: None, words }
        }
    }
}
