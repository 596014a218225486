//! What is kept ahead of each move, in case nothing more is ever written [TV-95], and where the set point is left by the last look [TV-96].

use super::Run;
use crate::commission::travel::record::{Left, Record};
use crate::commission::travel::sensing::Halt;
use crate::host::stimulus::{Act, SetPoint};

impl Run<'_> {
    /// Writes into the record that runs what is told next, and that nobody gave it back.
    pub(super) fn ahead(&mut self, to: SetPoint) -> Result<(), Halt> {
        let words = self.stimulus.ahead(self.sensing.ask, to)?;
        self.record.left = Some(Left { percent: None, words });
        self.keep();
        Ok(())
    }

    /// The same of something that is taken away; gives what stood there before, which holds again when it is given back.
    pub(super) fn ahead_of(&mut self, take: Act) -> Option<Left> {
        let before = self.record.left.clone();
        let told = before.as_ref().map_or("", |l| &l.words);
        self.record.left =
            Some(Left { percent: None, words: format!("{} {told}", take.away()).trim_end().to_owned() });
        self.keep();
        before
    }
}

/// Where the set point is left, and that the device read something else when it was last looked at, if it did.
pub(super) fn as_read(left: Left, record: &Record) -> Left {
    let points = record.points.iter().map(|p| (p.asked_at_s, p.drive()));
    let others = record.elsewhere.iter().map(|e| (e.asked_at_s, e.drive));
    let last = points.chain(others).max_by(|a, b| a.0.total_cmp(&b.0));
    let Some(wrong) = last.and_then(|(_, drive)| drive.wrong()) else { return left };
    Left { percent: None, words: format!("Not certain. At the last look {wrong}. As told: {}", left.words) }
}
