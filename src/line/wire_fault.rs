//! Rules for faults on the wires: what they do to a transmission, decided by dice [LI-22].

use super::dice::{Dice, threshold};
use crate::frame::{Marks, RawFrame};
use crate::time::{BITS_PER_CHARACTER, Instant};
use core::time::Duration;

/// What a rule does when its turn comes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FaultKind {
    /// Each bit is wrong with this probability, 0 to 1: a start bit loses the octet, a stop bit spoils it.
    BitErrors {
        /// Probability of a bit.
        rate: f64,
    },
    /// So many octets in a row are not heard; their time passes.
    LostOctets {
        /// At least one.
        count: u16,
    },
    /// So many octets that nobody sent stand in the middle.
    InsertedOctets {
        /// At least one.
        count: u16,
    },
    /// The sender pauses between two octets, the carrier stays.
    Gap {
        /// Characters.
        characters: f64,
    },
    /// The carrier goes for as long as so many octets.
    CarrierLost {
        /// At least one.
        octets: u16,
    },
    /// Only so many preambles are heard, of those that were sent.
    ShortPreamble {
        /// 0 to 255.
        left: u8,
    },
    /// The whole transmission comes a second time.
    Repeated {
        /// Characters of silence between the two.
        after_characters: f64,
    },
    /// Octets out of nowhere, whoever speaks: 1 to `octets` of them, again and again. It belongs to no
    /// transmission, and [`WireFault::share`] and [`WireFault::of`] do not concern it.
    Noise {
        /// Mean time between two bursts on the bus's clock; each is between no time and twice that.
        every: Duration,
        /// The longest burst.
        octets: u16,
    },
}

/// Which transmissions a rule is for, told by their delimiter [FR-03].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FaultOf {
    /// Every one.
    #[default]
    All,
    /// Those of masters.
    Requests,
    /// Those of devices that were asked.
    Answers,
    /// Those of devices that speak unasked.
    Bursts,
}

/// A rule. Rules are asked in their order about each transmission as it begins, and the first that does
/// something to it is the last that is asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WireFault {
    /// What it does.
    pub kind: FaultKind,
    /// Which share of the transmissions that it is for, 0 to 1.
    pub share: f64,
    /// Which transmissions.
    pub of: FaultOf,
    /// From when on, on the bus's clock.
    pub from: Instant,
    /// Until when; `None` for ever.
    pub until: Option<Instant>,
}

impl WireFault {
    /// A rule for every transmission at any time.
    pub const fn always(kind: FaultKind) -> WireFault {
        WireFault { kind, share: 1.0, of: FaultOf::All, from: Instant::ZERO, until: None }
    }

    /// Whether it may do something at `t`.
    pub fn is_on(&self, t: Instant) -> bool {
        self.from <= t && self.until.is_none_or(|u| t < u)
    }

    fn is_for(&self, values: &[Planned]) -> bool {
        let kind = values.iter().map(|p| p.value).find(|v| *v != 0xFF).map(|delimiter| delimiter & 7);
        match self.of {
            FaultOf::All => true,
            FaultOf::Requests => kind == Some(2),
            FaultOf::Answers => kind == Some(6),
            FaultOf::Bursts => kind == Some(1),
        }
    }
}

/// An octet that is going to be sent, and what becomes of it on the way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Planned {
    pub(super) value: u8,
    pub(super) marks: Marks,
    /// Idle time before it.
    pub(super) gap: Duration,
    /// Nobody hears it.
    pub(super) silent: bool,
    /// There is no carrier while it lasts.
    pub(super) dead: bool,
    /// Nobody sent it.
    pub(super) made: bool,
}

impl Planned {
    pub(super) const fn plain(value: u8) -> Planned {
        Planned { value, marks: Marks::NONE, gap: Duration::ZERO, silent: false, dead: false, made: false }
    }

    pub(super) fn raw(frame: &RawFrame) -> Vec<Planned> {
        let one = |o: &crate::frame::RawOctet| Planned {
            marks: if o.bad_parity { Marks::PARITY } else { Marks::NONE },
            gap: o.gap_before,
            ..Planned::plain(o.value)
        };
        frame.octets.iter().map(one).collect()
    }
}

/// One bit error; bit 0 is the start bit, 9 the parity bit, 10 the stop bit. Whether it loses the octet.
pub(super) fn flip(bit: u64, value: &mut u8, marks: &mut Marks) -> bool {
    match bit {
        0 => return true,
        1..=8 => {
            *value ^= 1 << (bit - 1);
            *marks = Marks(marks.0 ^ Marks::PARITY.0);
        }
        9 => *marks = Marks(marks.0 ^ Marks::PARITY.0),
        _ => *marks |= Marks::FRAMING,
    }
    false
}

/// The rules of a bus with their dice.
#[derive(Clone, Debug)]
pub(super) struct Faults {
    rules: Vec<WireFault>,
    dice: Dice,
}

impl Faults {
    pub(super) fn new(rules: Vec<WireFault>, dice: Dice) -> Faults {
        Faults { rules, dice }
    }

    pub(super) fn rules(&self) -> &[WireFault] {
        &self.rules
    }

    pub(super) fn is_empty(&self) -> bool {
        self.rules.is_empty()
    }

    /// Does to a transmission that begins at `now` what the first rule says that says anything. To what
    /// comes later of one that began already only bit errors can happen.
    pub(super) fn apply(&mut self, now: Instant, anew: bool, character: Duration, octets: &mut Vec<Planned>) {
        for rule in &self.rules {
            if rule.is_on(now)
                && (anew || matches!(rule.kind, FaultKind::BitErrors { .. }))
                && rule.is_for(octets)
                && (rule.share >= 1.0 || self.dice.chance(rule.share))
                && spoil(rule.kind, &mut self.dice, character, octets)
            {
                return;
            }
        }
    }

    /// A burst of noise: how long until it comes, and what it is.
    pub(super) fn noise(&mut self, every: Duration, octets: u16) -> (Duration, Vec<Planned>) {
        let wait = self.dice.up_to(every * 2).max(Duration::from_nanos(1));
        let count = 1 + self.dice.below(u32::from(octets.max(1)));
        (wait, (0..count).map(|_| made(&mut self.dice)).collect())
    }
}

/// An octet out of nowhere: half of them happen to have the right parity, half a stop bit.
fn made(dice: &mut Dice) -> Planned {
    let parity = if dice.chance(0.5) { Marks::PARITY } else { Marks::NONE };
    let stop = if dice.chance(0.5) { Marks::FRAMING } else { Marks::NONE };
    Planned { marks: parity | stop, made: true, ..Planned::plain(dice.octet()) }
}

/// Whether anything was done.
fn spoil(kind: FaultKind, dice: &mut Dice, character: Duration, octets: &mut Vec<Planned>) -> bool {
    let long = |characters: f64| character.mul_f64(characters.clamp(0.0, 1e6));
    // Somewhere in it.
    let at = |dice: &mut Dice, octets: &[Planned]| dice.below(octets.len() as u32) as usize;
    match kind {
        FaultKind::BitErrors { rate } => {
            let threshold = threshold(rate);
            let mut any = false;
            for octet in octets {
                for bit in 0..BITS_PER_CHARACTER {
                    if dice.hits(threshold) {
                        octet.silent |= flip(bit, &mut octet.value, &mut octet.marks);
                        any = true;
                    }
                }
            }
            any
        }
        FaultKind::LostOctets { count } => {
            let at = at(dice, octets);
            octets.iter_mut().skip(at).take(count.into()).for_each(|o| o.silent = true);
            count > 0
        }
        FaultKind::InsertedOctets { count } => {
            let at = at(dice, octets);
            let more: Vec<Planned> =
                (0..count).map(|_| Planned { marks: Marks::NONE, ..made(dice) }).collect();
            octets.splice(at..at, more);
            count > 0
        }
        FaultKind::Gap { characters } => {
            let at = at(dice, octets);
            octets[at].gap += long(characters);
            // Before the first there is silence anyway.
            at > 0
        }
        FaultKind::CarrierLost { octets: count } => {
            let at = at(dice, octets);
            let gone = usize::from(count).min(octets.len() - at);
            for octet in &mut octets[at..at + gone] {
                (octet.silent, octet.dead) = (true, true);
            }
            if let Some(next) = octets.get_mut(at + gone).filter(|_| at > 0) {
                next.marks |= Marks::CARRIER_LOST;
            }
            count > 0
        }
        FaultKind::ShortPreamble { left } => {
            let sent = octets.iter().take_while(|o| o.value == 0xFF).count();
            let unheard = sent.saturating_sub(left.into());
            octets.iter_mut().take(unheard).for_each(|o| o.silent = true);
            unheard > 0
        }
        FaultKind::Repeated { after_characters } => {
            let again = octets.iter().map(|o| Planned { made: true, ..*o });
            let mut again: Vec<Planned> = again.collect();
            again[0].gap += long(after_characters);
            octets.extend(again);
            true
        }
        FaultKind::Noise { .. } => false,
    }
}
