//! What a setting is: values that some commands read and others write. Which ones there are stands in tables
//! elsewhere, and in descriptions.

use super::{CommandSpec, Effect, spec};

/// How often a part is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Each {
    /// Once.
    Once,
    /// For every device variable, from 0 on; its number is the request's `code`.
    DeviceVariable,
    /// For every analog channel besides the PV's, from 1 on; its number is the request's `channel`.
    AnalogChannel,
    /// For every burst message, from 0 on; its number is the request's `burst_message`.
    BurstMessage,
    /// As a description says: from 0 to `last`, its number is the request's value of this name.
    Described {
        /// The value's name.
        selector: &'static str,
        /// The last number.
        last: u8,
    },
}

impl Each {
    /// The name of the value in a request that says which one is meant.
    pub const fn selector(self) -> Option<&'static str> {
        match self {
            Each::Once => None,
            Each::DeviceVariable => Some("code"),
            Each::AnalogChannel => Some("channel"),
            Each::BurstMessage => Some("burst_message"),
            Each::Described { selector, .. } => Some(selector),
        }
    }
}

/// A command that writes values, and which.
#[derive(Debug, PartialEq, Eq)]
pub struct Write {
    /// The command.
    pub command: u8,
    /// Names of the values in its request, the same as in the reply of the command that reads.
    pub fields: &'static [&'static str],
}

/// Values that one command reads.
#[derive(Clone, Copy, Debug)]
pub struct Part {
    /// Its heading in a settings file.
    pub heading: &'static str,
    /// How often it is there.
    pub each: Each,
    /// The command that reads it.
    pub read: u8,
    /// What writes it, in the order in which that is to be done.
    pub writes: &'static [Write],
    /// Values that nothing here writes; they are kept to compare devices by.
    pub facts: &'static [&'static str],
    /// The rows of the device type whose commands these are; `None` for those that every device shares.
    pub rows: Option<&'static [CommandSpec]>,
}

impl PartialEq for Part {
    fn eq(&self, other: &Self) -> bool {
        let told = |p: &Part| (p.heading, p.each, p.read, p.writes, p.facts);
        // Two device types may have the same numbers for different things.
        told(self) == told(other) && self.commands().all(|n| self.does_the_same(other, n))
    }
}

impl Eq for Part {}

impl Part {
    /// The names of its values: settings in the order of writing, then facts.
    pub fn names(&self) -> impl Iterator<Item = &'static str> + '_ {
        self.writes.iter().flat_map(|w| w.fields).chain(self.facts).copied()
    }

    /// Whether the value of this name is a setting.
    pub fn is_setting(&self, name: &str) -> bool {
        self.writes.iter().any(|w| w.fields.contains(&name))
    }

    /// The numbers of its commands.
    fn commands(&self) -> impl Iterator<Item = u8> {
        core::iter::once(self.read).chain(self.writes.iter().map(|w| w.command))
    }

    /// Whether a command has the same row in both.
    fn does_the_same(&self, other: &Part, command: u8) -> bool {
        match (self.rows, other.rows) {
            (None, None) => true,
            (Some(_), Some(_)) => match (self.spec(command), other.spec(command)) {
                (Some(a), Some(b)) => a.does_the_same(b),
                (a, b) => a.is_none() && b.is_none(),
            },
            _ => false,
        }
    }

    /// Whether a value of a command that every device shares has this name: that of a described command means
    /// what its description says.
    pub fn is_shared(&self, name: &str, shared: &str) -> bool {
        self.rows.is_none() && name == shared
    }

    /// The row of one of its commands.
    pub fn spec(&self, command: u8) -> Option<&'static CommandSpec> {
        match self.rows {
            Some(rows) => rows.iter().find(|row| row.number == u16::from(command)),
            None => spec(command.into()),
        }
    }

    /// What one of its commands does; one that is not known may do anything.
    pub fn effect(&self, command: u8) -> Effect {
        self.spec(command).map_or(Effect::Moves, |s| s.effect)
    }
}
