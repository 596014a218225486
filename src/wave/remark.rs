//! What whoever reads the octets should know of the wave they were read from [WV-03] [WV-06].

use super::{Burst, Heard};
use crate::time::Instant;
use core::fmt;
use std::collections::VecDeque;

/// What a receiver must understand, V peak to peak [WV-03].
pub const MUST_UNDERSTAND_V: f64 = 0.120;
/// What a receiver must ignore, V peak to peak [WV-03].
pub const MUST_IGNORE_V: f64 = 0.080;
/// Characters of a transmission whose level is judged: fewer may be noise.
const LEAST_CHARACTERS: u32 = 5;
/// Remarks that are kept for whoever fetches them; of more only the count is.
const MOST_KEPT: usize = 1024;

/// Something about a transmission.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Remark {
    /// When that began.
    pub at: Instant,
    /// Until when it was so.
    pub until: Instant,
    /// What it is.
    pub what: Noticed,
}

/// What was noticed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Noticed {
    /// Two talked at once, as far as that shows [WV-06].
    TwoTalkers,
    /// A tone was weaker than what a receiver must understand [WV-03].
    Weak {
        /// The weaker tone, V peak to peak.
        peak_to_peak_v: f64,
    },
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.what {
            Noticed::TwoTalkers => write!(f, "two talk at once until {} s: do not trust it", self.until),
            Noticed::Weak { peak_to_peak_v: v } if v < MUST_IGNORE_V => {
                write!(f, "weak, {:.0} mV peak to peak: a receiver ignores 80", v * 1e3)
            }
            Noticed::Weak { peak_to_peak_v: v } => {
                write!(f, "weak, {:.0} mV peak to peak: a receiver may need 120", v * 1e3)
            }
        }
    }
}

impl Burst {
    /// The remark on its level, where amplitudes are volts.
    pub fn weak(&self) -> Option<Remark> {
        // Where no zeros were heard there is one tone alone.
        let tones = [self.mark, self.space].into_iter().filter(|a| *a > 0.0);
        let peak_to_peak_v = 2.0 * tones.fold(f64::INFINITY, f64::min);
        let is = self.characters >= LEAST_CHARACTERS && peak_to_peak_v < MUST_UNDERSTAND_V;
        is.then_some(Remark {
            at: self.first_start.unwrap_or(self.on),
            until: self.last_end.unwrap_or(self.off),
            what: Noticed::Weak { peak_to_peak_v },
        })
    }
}

/// Collects remarks from what is heard, for whoever fetches them, and counts them; bounded.
#[derive(Clone, Debug, Default)]
pub struct Remarks {
    waiting: VecDeque<Remark>,
    collisions: u64,
    first_collision: Instant,
    weak: u64,
    weakest_v: f64,
}

impl Remarks {
    /// Takes what was heard; amplitudes are volts where `volts` says so.
    pub fn take(&mut self, heard: &Heard, volts: bool) {
        let remark = match heard {
            Heard::Collision(at, until) => Remark { at: *at, until: *until, what: Noticed::TwoTalkers },
            Heard::End(b) if volts => match b.weak() {
                Some(remark) => remark,
                None => return,
            },
            _ => return,
        };
        self.count(&remark);
        if self.waiting.len() < MOST_KEPT {
            self.waiting.push_back(remark);
        }
    }

    /// Counts a remark that was made before, as a log holds them, and does not keep it.
    pub fn count(&mut self, remark: &Remark) {
        match remark.what {
            Noticed::TwoTalkers => {
                if self.collisions == 0 {
                    self.first_collision = remark.at;
                }
                self.collisions += 1;
            }
            Noticed::Weak { peak_to_peak_v } => {
                self.weakest_v =
                    if self.weak == 0 { peak_to_peak_v } else { self.weakest_v.min(peak_to_peak_v) };
                self.weak += 1;
            }
        }
    }

    /// The next remark on what was over before `until`.
    pub fn next_before(&mut self, until: Instant) -> Option<Remark> {
        self.waiting.pop_front_if(|r| r.until < until)
    }

    /// All of them in a sentence each, for the end.
    pub fn sum(&self) -> Vec<String> {
        let mut out = Vec::new();
        let times = |n: u64| if n == 1 { "once".to_string() } else { format!("{n} times") };
        if self.collisions > 0 {
            out.push(format!(
                "two talkers at the same time were seen {}, first at {} s; not every such time shows in the wave",
                times(self.collisions),
                self.first_collision
            ));
        }
        if self.weak > 0 {
            out.push(format!(
                "the signal was below 120 mV peak to peak {}, {:.0} mV at least: a modem may hear nothing there; `looprig wave read` says more",
                times(self.weak),
                self.weakest_v * 1e3
            ));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn remarks_are_counted_and_bounded() {
        let mut r = Remarks::default();
        let at = |n: u64| Instant::from_nanos(n * 1_000_000);
        for n in 0..5000 {
            r.take(&Heard::Collision(at(n), at(n + 1)), true);
        }
        assert_eq!(core::iter::from_fn(|| r.next_before(at(11))).count(), 10);
        assert_eq!(core::iter::from_fn(|| r.next_before(at(10_000))).count(), MOST_KEPT - 10);
        assert!(r.sum()[0].contains("5000 times, first at 0.000000 s"), "{:?}", r.sum());
    }

    /// [WV-03]: 120 mV peak to peak are 60 mV of amplitude, 80 are 40.
    #[test]
    fn levels_that_are_marked() {
        let burst = |mark, space| Burst { mark, space, characters: 9, ..Burst::default() };
        let words = |b: Burst| b.weak().map(|r| r.to_string());
        assert_eq!(words(burst(0.0601, 0.0601)), None);
        assert!(words(burst(0.2, 0.0599)).is_some_and(|w| w.contains("may need 120")));
        assert!(words(burst(0.0399, 0.2)).is_some_and(|w| w.contains("ignores 80")));
        assert_eq!(words(Burst { characters: 4, ..burst(0.01, 0.01) }), None);
        let mut r = Remarks::default();
        r.take(&Heard::End(burst(0.01, 0.01)), false);
        assert!(r.sum().is_empty() && r.next_before(Instant::from_nanos(u64::MAX)).is_none());
    }
}
