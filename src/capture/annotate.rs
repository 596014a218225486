//! The whole chain for octets that somebody else sent: receiver, pairer, interpreter.

use crate::app::command::{Catalogue, Revision};
use crate::exchange::{Exchange, Interpreter};
use crate::frame::{Damaged, Noise, Octet, Receiver, ReceiverConfig};
use crate::time::Instant;
use crate::transaction::{Interlude, Pairer, PairerConfig, Passed};

/// One thing that passed, read.
#[derive(Clone, Debug)]
pub enum Item {
    /// A transaction, a burst or an unasked reply with its values.
    Exchange(Box<Exchange>),
    /// A damaged frame outside any transaction.
    Damaged(Damaged),
    /// Noise outside any transaction.
    Noise(Noise),
}

/// Push octets, drain [`Annotator::next`], at the end [`Annotator::finish`].
#[derive(Debug)]
pub struct Annotator {
    receiver: Receiver,
    pairer: Pairer,
    interpreter: Interpreter,
}

impl Annotator {
    /// A chain for a line with these times; `revision` overrides what devices say of themselves.
    pub fn new(receiver: ReceiverConfig, pairer: PairerConfig, revision: Option<Revision>) -> Self {
        Annotator {
            receiver: Receiver::new(receiver),
            pairer: Pairer::new(pairer),
            interpreter: Interpreter::new(revision),
        }
    }

    /// The same, with rows for the commands of these device types.
    pub fn with_catalogue(mut self, catalogue: Catalogue) -> Self {
        self.interpreter = self.interpreter.with_catalogue(catalogue);
        self
    }

    /// Takes octets in the order of their times.
    pub fn push(&mut self, octets: &[Octet]) {
        self.receiver.push(octets);
        self.pass_on();
    }

    /// When [`Annotator::handle_timeout`] wants to be called.
    pub fn deadline(&self) -> Option<Instant> {
        self.receiver.deadline().or(self.pairer.deadline())
    }

    /// Gives up what has waited too long.
    pub fn handle_timeout(&mut self, now: Instant) {
        self.receiver.handle_timeout(now);
        self.pass_on();
        if self.receiver.deadline().is_none() {
            self.pairer.handle_timeout(now);
        }
    }

    /// The octets so far stand alone: what follows continues no frame, but may answer one.
    pub fn push_break(&mut self) {
        self.receiver.finish();
        self.pass_on();
    }

    /// A new record begins, with times of its own: accounts for all that is pending, but remembers
    /// the devices.
    pub fn finish(&mut self) {
        self.receiver.finish();
        self.pass_on();
        self.pairer.finish();
    }

    /// The next item, oldest first.
    #[allow(
        clippy::should_implement_trait,
        reason = "an iterator would be over at the first pause of the line"
    )]
    pub fn next(&mut self) -> Option<Item> {
        Some(match self.pairer.next()? {
            Passed::Transaction(t) => Item::Exchange(Box::new(self.interpreter.read(*t))),
            Passed::Damaged(d) => Item::Damaged(d),
            Passed::Noise(n) => Item::Noise(n),
        })
    }

    fn pass_on(&mut self) {
        while let Some(reception) = self.receiver.next() {
            self.pairer.push(reception);
        }
    }
}

/// What came damaged inside a transaction, as an item of its own.
pub fn between(interlude: &Interlude) -> Item {
    match interlude {
        Interlude::Damaged(d) => Item::Damaged(d.clone()),
        Interlude::Noise(n) => Item::Noise(n.clone()),
    }
}
