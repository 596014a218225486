//! What a listener hears of single talkers, where that is not everything [LI-25].

use super::air::Air;
use super::sender::Passing;
use super::{Source, spoilt};
use crate::frame::Octet;
use crate::line::dice::{Dice, threshold};
use crate::line::wire_fault::flip;
use crate::time::BITS_PER_CHARACTER;

/// How a listener hears a talker [LI-25].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Whether the talker's carrier is noticed at all. Else it is not there for this listener: no octet, no carrier, no
    /// collision.
    pub heard: bool,
    /// Probability that a bit is wrong, 0 to 1; steps of 2^-32, and what is no number is 0. A wrong start bit loses the octet,
    /// others spoil it as [`FaultKind::BitErrors`](crate::line::FaultKind::BitErrors) does [LI-22].
    pub bit_error_rate: f64,
}

impl Reach {
    /// Everything, without errors.
    pub const CLEAR: Reach = Reach { heard: true, bit_error_rate: 0.0 };
    /// Nothing.
    pub const NONE: Reach = Reach { heard: false, bit_error_rate: 0.0 };
}

impl Default for Reach {
    fn default() -> Reach {
        Reach::CLEAR
    }
}

/// A listener who does not hear everybody well.
#[derive(Clone, Debug)]
pub(super) struct Ear {
    /// Whom it hears otherwise than well, sorted.
    reaches: Vec<(Source, Reach)>,
    /// The carriers that it hears, its own among them; of no use at an access point, which is told octets alone.
    pub(super) air: Air,
    /// Whose octets it hears while others send too.
    holder: Option<Source>,
    dice: Dice,
    /// What it heard of that which passed last.
    pub(super) heard: Vec<Octet>,
}

impl Ear {
    /// One who has heard everything until now.
    pub(super) fn new(air: Air, holder: Option<Source>, dice: Dice) -> Ear {
        Ear { reaches: Vec::new(), air, holder, dice, heard: Vec::new() }
    }

    pub(super) fn reach(&self, of: Source) -> Reach {
        match self.reaches.binary_search_by(|r| r.0.cmp(&of)) {
            Ok(at) => self.reaches[at].1,
            Err(_) => Reach::CLEAR,
        }
    }

    /// Whether a carrier is noticed.
    pub(super) fn hears(&self, of: Source) -> bool {
        self.reach(of).heard
    }

    /// Whether it changes who is noticed.
    pub(super) fn set(&mut self, of: Source, reach: Reach) -> bool {
        let was = self.hears(of);
        match self.reaches.binary_search_by(|r| r.0.cmp(&of)) {
            Ok(at) => self.reaches[at].1 = reach,
            Err(at) => self.reaches.insert(at, (of, reach)),
        }
        self.holder = self.holder.filter(|h| *h != of || reach.heard);
        was != reach.heard
    }

    /// An octet of `source` has passed while those of `others` sent too. What is heard of it is added to `heard`, unless the
    /// listener could not listen.
    pub(super) fn take(&mut self, source: Source, passing: &Passing, others: &[Source], listens: bool) {
        let reach = self.reach(source);
        if !reach.heard {
            return;
        }
        let together = others.iter().any(|o| self.hears(*o));
        if together && self.holder.is_some_and(|h| h != source && others.contains(&h)) {
            return;
        }
        self.holder = Some(source);
        if passing.silent || !listens {
            return;
        }
        let mut octet = passing.octet;
        if together {
            octet = spoilt(octet, &mut self.dice);
        }
        let errors = threshold(reach.bit_error_rate);
        let mut is_lost = false;
        // Who makes no errors draws nothing.
        if errors > 0 {
            for bit in 0..BITS_PER_CHARACTER {
                if self.dice.hits(errors) {
                    is_lost |= flip(bit, &mut octet.value, &mut octet.marks);
                }
            }
        }
        if !is_lost {
            self.heard.push(octet);
        }
    }
}
