//! Named faults of how the mock keeps to the protocol: what a conformance suite has to find, and what host software
//! may meet in the field.
//!
//! A fault is a row: its name, one sentence of what the device does wrong, the requirement that it violates, what else
//! follows from that, the revisions that have it, and the behaviour. What a row violates was written before a check was
//! run on its fault; what follows from it has been put right since where a run showed that it was forgotten, or too much.
//! `protocol-notes/faults.md` is made of the rows. They are faults of the protocol: what may be wrong with a valve is in
//! [`crate::plant::fault`].
//!
//! The device itself knows none of them. In a few places it asks this module whether something is done otherwise
//! (`act`), and without a fault nothing is.

mod act;
mod rows;
mod tools;

pub(super) use act::{
    Outgoing, Reply, answer, begin_turns, given_out, hear, judge, shape, speak, started, status, timing,
};

use super::commands::Told;
use super::kind::KindName;
use super::state::State;
use crate::app::command::Revision;
use crate::frame::{Master, ReceiverConfig, Reception};
use crate::link::{BurstTurns, Call, Slave};
use act::{Burst, Next, Request};
use core::fmt;

/// What may show itself besides the requirement that a fault violates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Consequences {
    /// Requirements by their ids in `protocol-notes`, such as `LL-08`; often none. The one that is violated may be among them.
    These(&'static [&'static str]),
    /// Its answers, or some of them, are not heard as answers: a check of whatever requirement may miss one. What is found
    /// otherwise than by a missing answer is about these.
    NoAnswer(&'static [&'static str]),
    /// Whatever is read from an answer: all of it stands in the wrong place.
    Everything,
}

/// The revisions in which a fault can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum In {
    All,
    R5,
    R7,
    From6,
    UpTo6,
}

/// A named fault of how a mock device keeps to the protocol.
pub struct ProtocolFault {
    name: &'static str,
    does: &'static str,
    violates: &'static str,
    also: Consequences,
    revisions: In,
    kind: Option<KindName>,
    act: Act,
}

/// Rows that have a subject in common.
pub struct FaultSection {
    /// What they are about, such as "what it hears".
    pub about: &'static str,
    /// The rows, in the order of the page.
    pub faults: &'static [ProtocolFault],
}

/// What a fault changes, by the place where the device asks.
enum Act {
    /// How octets become frames.
    Ear(fn(&mut ReceiverConfig)),
    /// Whether what came is a request to this device.
    Call(fn(&Slave, &Reception, Call) -> Call),
    /// What becomes of a request; `Next` is the device without this fault.
    Request(fn(&mut State, &Request<'_>, Next) -> Option<Told>),
    /// These commands, or all, are answered `to` where `from` was due.
    Code { of: &'static [u8], from: u8, to: u8 },
    /// These commands are answered "success" and the request's data where one of these codes was due; what is done stays.
    Accepts { of: &'static [u8], codes: &'static [u8] },
    /// The data of these commands' answers that have some.
    Data { of: &'static [u8], edit: fn(&State, &mut Vec<u8>) },
    /// These commands are answered as always, and this of what they did is undone: the state, and as it was before.
    Undoes { of: &'static [u8], undo: fn(&mut State, &State) },
    /// The second status octet for a master.
    Status(fn(&State, Master, u8) -> u8),
    /// An answer or a burst before it is made a frame.
    Reply(fn(&State, &mut Reply)),
    /// The octets of an answer or a burst.
    Octets(fn(&mut Outgoing)),
    /// What follows when an answer to this master has been given out.
    GivenOut(fn(&mut State, Master)),
    /// What follows when the device has started, or has started again.
    Started(fn(&mut State)),
    /// Turns of bursts, when an answer or a burst has left.
    Turns(fn(&mut BurstTurns)),
    /// Periods and trigger of a burst message.
    Timing(fn(Burst) -> Burst),
}

impl ProtocolFault {
    /// Every fault, section by section.
    pub fn all() -> impl Iterator<Item = &'static ProtocolFault> {
        Self::sections().iter().flat_map(|s| s.faults)
    }

    /// The rows by subject.
    pub fn sections() -> &'static [FaultSection] {
        rows::SECTIONS
    }

    /// The fault of this name, such as `check_byte_wrong`.
    pub fn named(name: &str) -> Option<&'static ProtocolFault> {
        Self::all().find(|f| f.name == name)
    }

    /// Its name: small letters, digits and underscores, different from all others.
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// What the device does wrong, in one sentence.
    pub fn does(&self) -> &'static str {
        self.does
    }

    /// The requirement that it violates, by its id in `protocol-notes`, such as `FR-09`.
    pub fn violates(&self) -> &'static str {
        self.violates
    }

    /// What else a check may stumble over.
    pub fn consequences(&self) -> Consequences {
        self.also
    }

    /// Whether a finding about the requirement `id` is explained by this fault; `no_answer` says that what was found is a
    /// missing answer.
    pub fn explains(&self, id: &str, no_answer: bool) -> bool {
        self.violates == id
            || match self.also {
                Consequences::Everything => true,
                Consequences::These(ids) => ids.contains(&id),
                Consequences::NoAnswer(ids) => no_answer || ids.contains(&id),
            }
    }

    /// Whether a device of this revision can have it.
    pub fn is_in(&self, revision: Revision) -> bool {
        match self.revisions {
            In::All => true,
            In::R5 => revision == Revision::R5,
            In::R7 => revision == Revision::R7,
            In::From6 => revision >= Revision::R6,
            In::UpTo6 => revision <= Revision::R6,
        }
    }

    /// The revisions in words, such as "from 6 on".
    pub fn revisions(&self) -> &'static str {
        match self.revisions {
            In::All => "5, 6, 7",
            In::R5 => "5",
            In::R7 => "7",
            In::From6 => "6, 7",
            In::UpTo6 => "5, 6",
        }
    }

    /// The only kind of device that can have it; `None` for any.
    pub fn kind(&self) -> Option<KindName> {
        self.kind
    }

    /// Why a device of this kind and revision cannot have it; `None` if it can.
    pub fn why_not(&self, kind: KindName, revision: Revision) -> Option<String> {
        if !self.is_in(revision) {
            let (name, of) = (self.name, self.revisions());
            return Some(format!("{name} is a fault of revision {of}, and the device is one of {revision}"));
        }
        let other = self.kind.filter(|&k| k != kind)?;
        Some(format!("{} is a fault of a {}, and the device is a {}", self.name, other.words(), kind.words()))
    }
}

/// By name, for names are different.
impl PartialEq for ProtocolFault {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for ProtocolFault {}

impl fmt::Debug for ProtocolFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

const fn fault(
    name: &'static str,
    does: &'static str,
    violates: &'static str,
    also: Consequences,
    act: Act,
) -> ProtocolFault {
    ProtocolFault { name, does, violates, also, revisions: In::All, kind: None, act }
}

impl ProtocolFault {
    /// The same in these revisions alone.
    const fn only(self, revisions: In) -> ProtocolFault {
        let ProtocolFault { name, does, violates, also, kind, act, .. } = self;
        ProtocolFault { name, does, violates, also, revisions, kind, act }
    }

    /// The same of a transmitter alone.
    const fn of_a_transmitter(self) -> ProtocolFault {
        let ProtocolFault { name, does, violates, also, revisions, act, .. } = self;
        ProtocolFault { name, does, violates, also, revisions, kind: Some(KindName::Temperature), act }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_different_and_plain() {
        let names: Vec<&str> = ProtocolFault::all().map(|f| f.name).collect();
        for (i, name) in names.iter().enumerate() {
            assert!(!names[..i].contains(name), "{name} is there twice");
            let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
            assert!(name.chars().all(plain) && name.len() <= 40, "{name}");
            assert_eq!(ProtocolFault::named(name).map(|f| f.name), Some(*name));
        }
        assert!(names.len() >= 90, "{} faults", names.len());
    }

    #[test]
    fn a_fault_explains_what_it_names() {
        let explains =
            |name, id, no_answer| ProtocolFault::named(name).is_some_and(|f| f.explains(id, no_answer));
        assert!(
            explains("master_bit_never_set", "FR-16", false)
                && explains("master_bit_never_set", "LL-09", false)
        );
        assert!(!explains("master_bit_never_set", "LL-08", true));
        // No check byte, no answer; but what is read from an answer is not its doing.
        assert!(explains("check_byte_wrong", "FR-09", false) && explains("check_byte_wrong", "CM-003", true));
        assert!(!explains("check_byte_wrong", "CM-003", false));
    }

    /// A fault that explains whatever fails shows nothing of what fails.
    #[test]
    fn hardly_a_fault_explains_everything() {
        let all: Vec<&str> =
            ProtocolFault::all().filter(|f| f.also == Consequences::Everything).map(|f| f.name).collect();
        assert_eq!(all, ["no_status_octets"]);
        for f in ProtocolFault::all() {
            if let Consequences::These(ids) | Consequences::NoAnswer(ids) = f.also {
                assert!(ids.len() <= 30, "{} lists {}", f.name, ids.len());
            }
        }
    }

    #[test]
    fn rows_say_what_is_wrong_in_one_sentence() {
        for f in ProtocolFault::all() {
            assert!(f.does.ends_with('.') && f.does.matches(". ").count() == 0, "{}", f.name);
            assert!(f.does.len() < 200 && !f.does.contains('|'), "{}", f.name);
        }
    }
}
