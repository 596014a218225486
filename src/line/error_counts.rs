//! What a port's error counters add to the marks of single octets [LI-09].

use crate::frame::Marks;
use crate::time::Instant;
use core::fmt;
use core::time::Duration;

/// How often a port met each kind of error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ErrorCounts {
    /// Octets with a wrong parity bit.
    pub parity: u32,
    /// Octets without stop bit.
    pub framing: u32,
    /// Times that octets were lost because nobody fetched them.
    pub overrun: u32,
    /// Breaks: the line held at zero for longer than an octet.
    pub breaks: u32,
}

impl ErrorCounts {
    /// Whether nothing was counted.
    pub fn is_empty(&self) -> bool {
        *self == ErrorCounts::default()
    }

    /// What was counted since `earlier`; the system's counters may wrap round.
    fn since(&self, earlier: &ErrorCounts) -> ErrorCounts {
        ErrorCounts {
            parity: self.parity.wrapping_sub(earlier.parity),
            framing: self.framing.wrapping_sub(earlier.framing),
            overrun: self.overrun.wrapping_sub(earlier.overrun),
            breaks: self.breaks.wrapping_sub(earlier.breaks),
        }
    }

    fn plus(&self, more: &ErrorCounts) -> ErrorCounts {
        ErrorCounts {
            parity: self.parity.saturating_add(more.parity),
            framing: self.framing.saturating_add(more.framing),
            overrun: self.overrun.saturating_add(more.overrun),
            breaks: self.breaks.saturating_add(more.breaks),
        }
    }
}

impl fmt::Display for ErrorCounts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ErrorCounts { parity, framing, overrun, breaks } = self;
        write!(f, "parity {parity}, framing {framing}, overrun {overrun}, break {breaks}")
    }
}

/// Tells which error a marked octet had, as far as counters can: they are read behind the octets, so
/// every error of an octet that was read is counted, and perhaps some of octets still to be read. Where
/// only one kind is open, that is what it was; where several are, nothing is concluded.
#[derive(Debug)]
pub(super) struct ErrorWatch {
    /// As the port said last; `None` where it does not count.
    last: Option<ErrorCounts>,
    /// Since the port was opened.
    total: ErrorCounts,
    /// Counted, and not seen at an octet yet.
    open: ErrorCounts,
    /// Marked octets that could not be told apart since something is open.
    unclear: u32,
    rose_at: Instant,
    /// How long after it was counted an octet may still come.
    pending: Duration,
}

impl ErrorWatch {
    /// `counts` is what the port says now: what it counted for others does not matter.
    pub(super) fn new(counts: Option<ErrorCounts>, pending: Duration) -> Self {
        ErrorWatch {
            last: counts,
            total: ErrorCounts::default(),
            open: ErrorCounts::default(),
            unclear: 0,
            rose_at: Instant::ZERO,
            pending,
        }
    }

    /// Since the port was opened; `None` where it does not count.
    pub(super) fn total(&self) -> Option<ErrorCounts> {
        self.last.map(|_| self.total)
    }

    /// `octets` were read together, and `counts` behind them.
    pub(super) fn judge(&mut self, now: Instant, counts: Option<ErrorCounts>, octets: &mut [(u8, Marks)]) {
        let (Some(counts), Some(last)) = (counts, self.last) else { return };
        self.last = Some(counts);
        let new = counts.since(&last);
        if self.rose_at + self.pending < now {
            // What was counted so long ago has gone by without a mark.
            self.forget();
        }
        if !new.is_empty() {
            self.rose_at = now;
            self.total = self.total.plus(&new);
            self.open = self.open.plus(&ErrorCounts { overrun: 0, ..new });
        }
        for (value, marks) in octets.iter_mut().filter(|(_, m)| !m.is_empty()) {
            self.one(*value, marks);
        }
        if let Some((_, marks)) = octets.last_mut().filter(|_| new.overrun > 0) {
            // Somewhere among these, or right behind them: the message that they belong to lacks something.
            *marks |= Marks::OVERRUN;
        }
    }

    fn one(&mut self, value: u8, marks: &mut Marks) {
        let open = &mut self.open;
        // Only what reads as zero can be a break.
        let breaks = if value == 0 { open.breaks } else { 0 };
        match (open.parity, open.framing, breaks) {
            (1.., 0, 0) => {
                open.parity -= 1;
                *marks = Marks::PARITY;
            }
            (0, 1.., 0) => {
                open.framing -= 1;
                *marks = Marks::FRAMING;
            }
            // It lacks both, as it is marked already.
            (0, 0, 1..) => open.breaks -= 1,
            _ => {
                self.unclear = self.unclear.saturating_add(1);
                let counted = open.parity.saturating_add(open.framing).saturating_add(open.breaks);
                if self.unclear >= counted {
                    // Whichever was which: all have come.
                    self.forget();
                }
            }
        }
    }

    fn forget(&mut self) {
        self.open = ErrorCounts::default();
        self.unclear = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NONE: Marks = Marks::NONE;
    const P: Marks = Marks::PARITY;
    const F: Marks = Marks::FRAMING;
    const BOTH: Marks = Marks(Marks::PARITY.0 | Marks::FRAMING.0);

    fn counts(parity: u32, framing: u32, overrun: u32, breaks: u32) -> ErrorCounts {
        ErrorCounts { parity, framing, overrun, breaks }
    }

    /// Ten parity errors were there before we came.
    fn watch() -> ErrorWatch {
        ErrorWatch::new(Some(counts(10, 0, 0, 0)), Duration::from_millis(30))
    }

    fn marks(w: &mut ErrorWatch, ms: u64, c: ErrorCounts, octets: &[(u8, Marks)]) -> Vec<Marks> {
        let mut octets = octets.to_vec();
        w.judge(Instant::from_nanos(ms * 1_000_000), Some(c), &mut octets);
        octets.iter().map(|o| o.1).collect()
    }

    #[test]
    fn one_kind_at_a_time_is_told() {
        let mut w = watch();
        assert_eq!(marks(&mut w, 0, counts(11, 0, 0, 0), &[(6, NONE), (0x80, P)]), [NONE, P]);
        assert_eq!(marks(&mut w, 9, counts(11, 2, 0, 0), &[(1, P), (2, P)]), [F, F]);
        // A zero with a wrong parity bit looks like a break, and is none.
        assert_eq!(marks(&mut w, 18, counts(12, 2, 0, 0), &[(0, BOTH)]), [P]);
        assert_eq!(marks(&mut w, 27, counts(12, 2, 0, 1), &[(0, BOTH)]), [BOTH]);
        assert_eq!(w.total(), Some(counts(2, 2, 0, 1)));
    }

    #[test]
    fn several_kinds_at_once_stay_as_they_are_and_do_not_spoil_what_follows() {
        let mut w = watch();
        assert_eq!(marks(&mut w, 0, counts(11, 1, 0, 0), &[(1, P)]), [P]);
        // The second of the two: which of them it is was not seen either.
        assert_eq!(marks(&mut w, 9, counts(11, 1, 0, 0), &[(2, P)]), [P]);
        // Both have come, so this is clear again.
        assert_eq!(marks(&mut w, 18, counts(11, 2, 0, 0), &[(3, P)]), [F]);
    }

    #[test]
    fn what_was_counted_without_an_octet_is_forgotten() {
        let mut w = watch();
        assert_eq!(marks(&mut w, 0, counts(11, 0, 0, 0), &[(1, NONE)]), [NONE]);
        assert_eq!(marks(&mut w, 30, counts(11, 1, 0, 0), &[(2, P)]), [P], "it may be the first one");
        assert_eq!(marks(&mut w, 61, counts(11, 2, 0, 0), &[(3, P)]), [F]);
    }

    #[test]
    fn an_overrun_is_marked_once_and_counted() {
        let mut w = watch();
        let lost = Marks::OVERRUN;
        assert_eq!(marks(&mut w, 0, counts(10, 0, 1, 0), &[(1, NONE), (2, NONE)]), [NONE, lost]);
        assert_eq!(marks(&mut w, 9, counts(10, 0, 1, 0), &[(3, NONE)]), [NONE]);
        // Counters that wrap round.
        let mut w = ErrorWatch::new(Some(counts(0, 0, u32::MAX, 0)), Duration::ZERO);
        assert_eq!(marks(&mut w, 0, counts(0, 0, 1, 0), &[(1, NONE)]), [lost]);
        assert_eq!(w.total(), Some(counts(0, 0, 2, 0)));
    }

    #[test]
    fn a_port_that_does_not_count_changes_nothing() {
        let mut w = ErrorWatch::new(None, Duration::ZERO);
        assert_eq!(marks(&mut w, 0, counts(1, 1, 1, 1), &[(1, P), (0, BOTH)]), [P, BOTH]);
        assert_eq!(w.total(), None);
        // Nor does one whose counters stand still.
        let mut w = watch();
        assert_eq!(marks(&mut w, 0, counts(10, 0, 0, 0), &[(1, P), (0, BOTH)]), [P, BOTH]);
    }
}
