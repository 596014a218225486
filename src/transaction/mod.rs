//! Who answered whom, how late, after how many tries: frames become transactions.
//!
//! A live master and a passive capture yield the same [`Transaction`] through the same [`Pairer`].

mod pairer;

pub(crate) use pairer::answers;
pub use pairer::{Pairer, PairerConfig};

use crate::frame::{Damaged, Frame, Good, Noise};
use crate::time::Instant;
use core::fmt;
use core::time::Duration;

/// What started a transaction [LL-12].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A master asked.
    Asked,
    /// A device in burst mode spoke [LL-10].
    Burst,
    /// A device answered although no request to it was heard.
    Unasked,
}

/// How it ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// A device's frame arrived whole.
    Answered,
    /// Nothing came in time, or something else did [LL-02].
    Silent,
    /// Something came, but damaged.
    Garbled,
    /// The record ends while the answer might still come.
    Open,
}

/// What real devices do that the frame format does not foresee [FR-15]. A set of bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Oddities(pub u8);

impl Oddities {
    /// Nothing odd.
    pub const NONE: Oddities = Oddities(0);
    /// The burst bit is set in the reply and clear in the request.
    pub const BURST_BIT_IN_REPLY: Oddities = Oddities(1);
    /// The reply names the other master.
    pub const MASTER_BIT_FLIPPED: Oddities = Oddities(2);
    /// A burst frame's address lacks type bits that the device's own address has.
    pub const ADDRESS_BITS_ZEROED: Oddities = Oddities(4);
    /// A master asked another command than 0 with a short address [FR-14].
    pub const SHORT_FRAME: Oddities = Oddities(8);

    /// Every oddity with its name in words.
    pub const ALL: [(Oddities, &'static str); 4] = [
        (Oddities::BURST_BIT_IN_REPLY, "burst bit set in the reply only"),
        (Oddities::MASTER_BIT_FLIPPED, "reply names the other master"),
        (Oddities::ADDRESS_BITS_ZEROED, "type bits zeroed in the burst's address"),
        (Oddities::SHORT_FRAME, "short address for a command other than 0"),
    ];

    /// Whether nothing is odd.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether every bit of `other` is set.
    pub const fn contains(self, other: Oddities) -> bool {
        self.0 & other.0 == other.0
    }

    /// The names of what is odd.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        Oddities::ALL.into_iter().filter(move |(o, _)| self.contains(*o)).map(|(_, name)| name)
    }
}

impl core::ops::BitOrAssign for Oddities {
    fn bitor_assign(&mut self, o: Oddities) {
        self.0 |= o.0;
    }
}

/// A frame that was damaged, or noise, between a request and what ended its transaction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Interlude {
    /// A frame that began and did not arrive whole.
    Damaged(Damaged),
    /// Octets that belong to no frame.
    Noise(Noise),
}

/// A request with its reply or silence, a burst frame, or an unasked reply.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Transaction {
    /// What started it.
    pub kind: Kind,
    /// How it ended.
    pub outcome: Outcome,
    /// The request, once for each try, oldest first; empty unless a master asked.
    pub tries: Vec<Good>,
    /// What came damaged before the end, oldest first.
    pub interludes: Vec<Interlude>,
    /// The device's frame; `None` when there was none.
    pub reply: Option<Good>,
    /// From the end of the last try to the beginning of the reply's first octet.
    pub response_time: Option<Duration>,
    /// What is odd about it.
    pub oddities: Oddities,
}

impl Transaction {
    /// The last try's frame.
    pub fn request(&self) -> Option<&Frame> {
        self.tries.last().map(|g| &g.frame)
    }

    /// The device's frame.
    pub fn reply_frame(&self) -> Option<&Frame> {
        self.reply.as_ref().map(|g| &g.frame)
    }

    /// Whichever frame there is, the request first.
    pub fn any_frame(&self) -> Option<&Frame> {
        self.request().or(self.reply_frame())
    }

    /// The end of its first octet.
    pub fn started_at(&self) -> Instant {
        let first = self.tries.first().or(self.reply.as_ref());
        first.and_then(|g| g.octets.first()).map_or(Instant::ZERO, |o| o.at)
    }

    /// How often the request was repeated.
    pub fn retries(&self) -> usize {
        self.tries.len().saturating_sub(1)
    }
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Outcome::Answered => "answered",
            Outcome::Silent => "no answer",
            Outcome::Garbled => "answer damaged",
            Outcome::Open => "record ends here",
        })
    }
}

/// One item of what passed on the line, in order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Passed {
    /// A transaction, complete.
    Transaction(Box<Transaction>),
    /// A damaged frame outside any transaction.
    Damaged(Damaged),
    /// Noise outside any transaction.
    Noise(Noise),
}
