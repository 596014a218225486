//! A case: what it shows, what it needs, and the function that finds out.

use super::probe::Probe;
use super::verdict::Outcome;
use crate::app::command::Revision;

/// How binding the requirement is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strength {
    /// Published by a source: graded H or M in the notes and without conflict. A fail counts.
    Must,
    /// Not published or not certain, but what hosts rely on. A fail counts.
    Should,
    /// Good practice, or a matter on which real devices differ. A fail is told and counts only where strictness is asked for.
    Advice,
}

impl Strength {
    /// `must`, `should` or `advice`.
    pub const fn name(self) -> &'static str {
        match self {
            Strength::Must => "must",
            Strength::Should => "should",
            Strength::Advice => "advice",
        }
    }
}

/// What a case needs of the device, the line and the user before it is run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Needs {
    /// Oldest and newest revision that it concerns.
    pub revisions: (Revision, Revision),
    /// Commands that the device must have, else the case is skipped.
    pub commands: &'static [u8],
    /// It changes what the device stores, and puts it back.
    pub writes: bool,
    /// It may move the valve, or change what the loop current does.
    pub moves: bool,
    /// It is also for a device whose write protect is on, though it writes.
    pub also_protected: bool,
    /// The line sends wrong parity bits [LI-24].
    pub sends_bad_parity: bool,
    /// The line sends pauses inside a frame [LI-24].
    pub sends_gaps: bool,
    /// The line stamps octets, so that times can be judged [LI-04].
    pub stamps: bool,
    /// The line shows pauses of a character inside a frame [LI-04].
    pub sees_gaps: bool,
    /// The line shows wrong parity.
    pub sees_parity: bool,
}

impl Needs {
    /// What is needed, in words, such as `revision 6 to 7, writes`; empty where nothing is.
    pub fn words(&self) -> String {
        let mut words = Vec::new();
        match self.revisions {
            (Revision::R5, Revision::R7) => {}
            (a, b) if a == b => words.push(format!("revision {a}")),
            (a, b) => words.push(format!("revisions {a} to {b}")),
        }
        if !self.commands.is_empty() {
            let numbers: Vec<String> = self.commands.iter().map(u8::to_string).collect();
            let s = if numbers.len() == 1 { "" } else { "s" };
            words.push(format!("command{s} {}", numbers.join(" ")));
        }
        let flags = [
            (self.writes, "writes"),
            (self.moves, "moves"),
            (self.sends_bad_parity, "line sends wrong parity"),
            (self.sends_gaps, "line sends pauses"),
            (self.stamps, "line tells times"),
            (self.sees_gaps, "line tells pauses"),
            (self.sees_parity, "line tells parity"),
        ];
        words.extend(flags.iter().filter(|(so, _)| *so).map(|(_, what)| (*what).to_owned()));
        words.join(", ")
    }
}

/// The function of a case: `Ok` is a pass.
pub type Run = fn(&mut Probe<'_>) -> Outcome;

/// One case of the suite.
#[derive(Clone, Copy, Debug)]
pub struct Case {
    /// Section and slug, such as `link/timing/answers-within-limit`; it keeps its meaning for ever.
    pub id: &'static str,
    /// Id of the requirement, a heading in `protocol-notes/`, such as `LL-02` in brackets.
    pub requirement: &'static str,
    /// How binding it is.
    pub strength: Strength,
    /// What a device that passes does: one plain sentence without full stop.
    pub title: &'static str,
    /// What it needs.
    pub needs: Needs,
    /// What it does.
    pub run: Run,
}

impl Case {
    const fn new(
        id: &'static str,
        requirement: &'static str,
        strength: Strength,
        title: &'static str,
        run: Run,
    ) -> Case {
        let needs = Needs {
            revisions: (Revision::R5, Revision::R7),
            commands: &[],
            writes: false,
            moves: false,
            also_protected: false,
            sends_bad_parity: false,
            sends_gaps: false,
            stamps: false,
            sees_gaps: false,
            sees_parity: false,
        };
        Case { id, requirement, strength, title, needs, run }
    }

    /// A case whose requirement is published: graded H or M in the notes.
    pub const fn must(id: &'static str, requirement: &'static str, title: &'static str, run: Run) -> Case {
        Case::new(id, requirement, Strength::Must, title, run)
    }

    /// A case whose requirement is relied on, but not published or not certain.
    pub const fn should(id: &'static str, requirement: &'static str, title: &'static str, run: Run) -> Case {
        Case::new(id, requirement, Strength::Should, title, run)
    }

    /// A case of good practice, or of a matter on which real devices differ.
    pub const fn advice(id: &'static str, requirement: &'static str, title: &'static str, run: Run) -> Case {
        Case::new(id, requirement, Strength::Advice, title, run)
    }

    /// The same, for devices of these revisions only.
    #[must_use]
    pub const fn revisions(mut self, oldest: Revision, newest: Revision) -> Case {
        self.needs.revisions = (oldest, newest);
        self
    }

    /// The same, for devices that have these commands only. What has no effect is asked to find out; whether a
    /// command that acts without any data is there the case finds out itself.
    #[must_use]
    pub const fn commands(mut self, commands: &'static [u8]) -> Case {
        self.needs.commands = commands;
        self
    }

    /// The same, which changes what the device stores: it is run only where writing is allowed.
    #[must_use]
    pub const fn writes(mut self) -> Case {
        self.needs.writes = true;
        self
    }

    /// The same, which may move the valve or change what the loop current does: it is run only where moving is
    /// allowed.
    #[must_use]
    pub const fn moves(mut self) -> Case {
        self.needs.moves = true;
        self
    }

    /// The same, though it writes also on a device whose write protect is on; other cases that write are skipped there.
    #[must_use]
    pub const fn also_protected(mut self) -> Case {
        self.needs.also_protected = true;
        self
    }

    /// The same, on lines that can send wrong parity bits.
    #[must_use]
    pub const fn sends_bad_parity(mut self) -> Case {
        self.needs.sends_bad_parity = true;
        self
    }

    /// The same, on lines that can send a pause inside a frame.
    #[must_use]
    pub const fn sends_gaps(mut self) -> Case {
        self.needs.sends_gaps = true;
        self
    }

    /// The same, on lines that stamp octets.
    #[must_use]
    pub const fn stamps(mut self) -> Case {
        self.needs.stamps = true;
        self
    }

    /// The same, on lines that show a pause of a character inside a frame.
    #[must_use]
    pub const fn sees_gaps(mut self) -> Case {
        self.needs.sees_gaps = true;
        self
    }

    /// The same, on lines that show wrong parity.
    #[must_use]
    pub const fn sees_parity(mut self) -> Case {
        self.needs.sees_parity = true;
        self
    }

    /// Everything before the slug, such as `link/timing`.
    pub fn section(&self) -> &'static str {
        self.id.rsplit_once('/').map_or("", |(section, _)| section)
    }
}
