//! Commands of a device type that somebody has described: the maker's own, 128 to 253 [CM-DESCRIBED].
//!
//! A [`Description`] is what a file says, checked. [`Described::load`] makes rows of it, which stand in a
//! [`Catalogue`] beside those that every device shares. A catalogue is a value that is handed to whoever decodes.

#[cfg(feature = "bench-file")]
mod file;
mod form;
mod load;
mod print;

#[cfg(feature = "bench-file")]
pub use file::{check, schema};
pub use load::{Described, StatusWords};

use super::{CommandSpec, Effect, Revision};
use core::fmt;

/// The numbers that belong to a device type [CM-RANGES].
pub const NUMBERS: core::ops::RangeInclusive<u8> = 128..=253;

/// A device type as frames carry it: the low 14 bits of the first two octets of the unique address. From
/// revision 7 on those are of the expanded device type, before of manufacturer code and device type [FR-06].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TypeKey(u16);

impl TypeKey {
    /// From the first two octets of a unique address; what else those octets hold does not count.
    pub const fn of(octets: [u8; 2]) -> TypeKey {
        TypeKey(u16::from_be_bytes(octets) & 0x3FFF)
    }
}

impl fmt::Display for TypeKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [high, low] = self.0.to_be_bytes();
        write!(f, "{high:02X} {low:02X}")
    }
}

/// A device type as its makers name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DeviceType {
    /// The expanded device type, from revision 7 on.
    Expanded(u16),
    /// Manufacturer code and device type, revisions 5 and 6.
    Short {
        /// Manufacturer code.
        manufacturer: u8,
        /// Device type.
        device_type: u8,
    },
}

impl DeviceType {
    /// What of it frames carry.
    pub const fn key(self) -> TypeKey {
        match self {
            DeviceType::Expanded(t) => TypeKey::of(t.to_be_bytes()),
            DeviceType::Short { manufacturer, device_type } => TypeKey::of([manufacturer, device_type]),
        }
    }
}

impl fmt::Display for DeviceType {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            DeviceType::Expanded(t) => write!(f, "expanded device type {t:04X}"),
            DeviceType::Short { manufacturer, device_type } => {
                write!(f, "manufacturer {manufacturer:02X}, device type {device_type:02X}")
            }
        }
    }
}

/// A device type and its commands, as a file describes them; [`check`] makes only such as hold together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Description {
    /// What people call the device type.
    pub name: String,
    /// What is to be known of the commands as a whole; may be empty.
    pub text: String,
    /// The types that have these commands; at least one, none twice.
    pub types: Vec<DeviceType>,
    /// Tables of codes.
    pub enumerations: Vec<Words>,
    /// Tables of bits; the numbers are masks of one bit.
    pub bits: Vec<Words>,
    /// What the octets of the device-specific status in command 48 mean; no revision in two of them.
    pub status: Vec<StatusOctets>,
    /// The commands by number.
    pub commands: Vec<Command>,
    /// What of a device is a setting, in the order in which it is to be written.
    pub settings: Vec<Pair>,
}

/// What the octets at the beginning of command 48 mean that are the device's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StatusOctets {
    /// First revision of the protocol in which they do.
    pub from: Revision,
    /// Last one.
    pub to: Revision,
    /// The table of bits of each octet by name, the first octet's first; empty for an octet without one. 1 to 6.
    pub tables: Vec<String>,
}

/// Numbers and their words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Words {
    /// The name by which fields refer to them.
    pub name: String,
    /// Number and words: codes lowest first, masks highest first.
    pub rows: Vec<(u8, String)>,
}

/// One command.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Command {
    /// 128 to 253.
    pub number: u8,
    /// What it does, in a few words.
    pub name: String,
    /// What it is for; may be empty.
    pub text: String,
    /// What it does to the device.
    pub effect: Effect,
    /// First revision of the protocol in which devices have it.
    pub from: Revision,
    /// Last one.
    pub to: Revision,
    /// Data of the request.
    pub request: Vec<Element>,
    /// Data of the reply, behind its status octets.
    pub reply: Vec<Element>,
    /// Response codes and what they mean here, lowest first; 1 to 127.
    pub codes: Vec<(u8, String)>,
}

/// A part of a command's data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Element {
    /// One value.
    Value(Part),
    /// The same values again and again, numbered from 0; last in its data.
    Slots {
        /// Fewest, at least 1.
        least: u8,
        /// Most.
        most: u8,
        /// The values of one.
        parts: Vec<Part>,
    },
}

impl Element {
    /// Its values.
    pub fn parts(&self) -> &[Part] {
        match self {
            Element::Value(part) => core::slice::from_ref(part),
            Element::Slots { parts, .. } => parts,
        }
    }
}

/// One value in a command's data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// The name for programs.
    pub name: String,
    /// What people call it.
    pub label: String,
    /// How its octets are read.
    pub kind: PartKind,
    /// Its unit.
    pub unit: PartUnit,
    /// Whether people read the number in hex.
    pub hex: bool,
    /// Whether the data may end before it.
    pub optional: bool,
    /// Whether it says which of several things the command is about.
    pub selects: bool,
    /// First revision that has it.
    pub from: Revision,
    /// Last one.
    pub to: Revision,
}

/// How the octets of a described value are read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PartKind {
    /// Unsigned, so many octets, 1 to 4 [TY-01].
    Unsigned(u8),
    /// IEEE 754 single [TY-02].
    Float,
    /// Packed ASCII in so many octets, a multiple of three [TY-04].
    Packed(u8),
    /// Latin-1 text in so many octets [TY-05].
    Latin1(u8),
    /// Day, month, year [TY-06].
    Date,
    /// A time in 1/32 ms [TY-07].
    Time,
    /// Engineering unit code [UN-01].
    Unit,
    /// A code of the enumeration of this name.
    Enumeration(String),
    /// Eight bits of the table of this name.
    Bits(String),
    /// Device variable code [TY-09].
    Variable,
    /// Device variable status octet [TY-08].
    VariableStatus,
    /// So many octets without known meaning.
    Octets(u8),
    /// All octets that are left; last in its data.
    Rest,
}

impl PartKind {
    /// How many octets it takes; [`PartKind::Rest`] none for certain.
    pub const fn octets(&self) -> usize {
        match self {
            PartKind::Unsigned(n) | PartKind::Packed(n) | PartKind::Latin1(n) | PartKind::Octets(n) => {
                *n as usize
            }
            PartKind::Float | PartKind::Time => 4,
            PartKind::Date => 3,
            PartKind::Unit
            | PartKind::Enumeration(_)
            | PartKind::Bits(_)
            | PartKind::Variable
            | PartKind::VariableStatus => 1,
            PartKind::Rest => 0,
        }
    }
}

/// Where the unit of a described value stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PartUnit {
    /// It has none.
    None,
    /// The command fixes it: its symbol.
    Fixed(String),
    /// In the value of this name before it.
    From(String),
}

/// A setting: values that one command reads and another one writes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pair {
    /// Its heading in a settings file.
    pub heading: String,
    /// The command that reads.
    pub read: u8,
    /// The command that writes.
    pub write: u8,
    /// Names of the values, in the reply of one and in the request of the other.
    pub values: Vec<String>,
    /// The value of both requests that says which one is meant, and the last one; they begin at 0.
    pub each: Option<(String, u8)>,
}

impl Description {
    /// The command of this number.
    pub fn command(&self, number: u8) -> Option<&Command> {
        self.commands.iter().find(|c| c.number == number)
    }

    /// Whether a type of it is this one.
    pub fn has(&self, key: TypeKey) -> bool {
        self.types.iter().any(|t| t.key() == key)
    }
}

/// Two descriptions of one device type.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// The file that was there first.
    pub first: String,
    /// The file that describes the type again.
    pub second: String,
    /// The type, as frames carry it.
    pub key: TypeKey,
}

impl fmt::Display for Clash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} and {} both describe devices whose address begins with {} (14 bits of the device type), so no \
             frame tells which one is meant",
            self.first, self.second, self.key
        )
    }
}

impl core::error::Error for Clash {}

/// Which rows there are: those that every device shares, and those of the device types described.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Catalogue {
    all: Vec<&'static Described>,
}

impl Catalogue {
    /// Adds the commands of a device type. The same description again adds nothing.
    ///
    /// # Errors
    /// Another description has one of its types already.
    pub fn add(&mut self, new: &'static Described) -> Result<(), Clash> {
        for old in &self.all {
            if old.description() == new.description() {
                return Ok(());
            }
            let types = &new.description().types;
            if let Some(key) = types.iter().map(|t| t.key()).find(|k| old.description().has(*k)) {
                return Err(Clash { first: old.file().to_owned(), second: new.file().to_owned(), key });
            }
        }
        self.all.push(new);
        Ok(())
    }

    /// Adds all of another catalogue.
    ///
    /// # Errors
    /// As [`Catalogue::add`].
    pub fn join(&mut self, other: &Catalogue) -> Result<(), Clash> {
        other.all.iter().try_for_each(|d| self.add(d))
    }

    /// The row of a command to or of a device of this type; `None` for one that has none. Where the type is
    /// not known, 128 to 253 have none.
    pub fn spec(&self, number: u16, of: Option<TypeKey>) -> Option<&'static CommandSpec> {
        match u8::try_from(number) {
            Ok(n) if NUMBERS.contains(&n) => self.described(of?)?.spec(n),
            _ => super::spec(number),
        }
    }

    /// The description of a device type.
    pub fn described(&self, of: TypeKey) -> Option<&'static Described> {
        self.all.iter().copied().find(|d| d.description().has(of))
    }

    /// The description of exactly this device type: an address has 14 bits of it, which other types may share.
    pub fn described_whole(&self, of: DeviceType) -> Option<&'static Described> {
        self.all.iter().copied().find(|d| d.description().types.contains(&of))
    }

    /// The row of a command of a device of exactly this type; `None` for one that has none.
    pub fn spec_of(&self, number: u16, of: DeviceType) -> Option<&'static CommandSpec> {
        match u8::try_from(number) {
            Ok(n) if NUMBERS.contains(&n) => self.described_whole(of)?.spec(n),
            _ => super::spec(number),
        }
    }

    /// Every description, in the order in which they were added.
    pub fn all(&self) -> &[&'static Described] {
        &self.all
    }

    /// The rows that a number may have, whoever is asked: the common one, or one of each description that has
    /// the number.
    pub fn rows(&self, number: u16) -> Vec<&'static CommandSpec> {
        match u8::try_from(number) {
            Ok(n) if NUMBERS.contains(&n) => self.all.iter().filter_map(|d| d.spec(n)).collect(),
            _ => super::spec(number).into_iter().collect(),
        }
    }
}
