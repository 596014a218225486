//! What a device is set to: read it, keep it as a file, compare it, write it back.

mod compare;
mod fields;
mod file;
pub mod parts;
mod plan;
mod read;
mod restore;

pub use compare::{Comparison, Difference, compare, other_device, other_type};
pub use file::to_text;
#[cfg(feature = "bench-file")]
pub use file::{FileError, from_text, from_text_by, shared_from_text};
pub use plan::{Allowed, Change, LeftOut, Plan, Turn, plan};
pub use read::{ReadError, read};
pub use restore::{News, Outcome, Restoring, Result as Restored};

use crate::app::command::setting::Part;
use crate::app::command::{Field, Found, Revision, Value};
use crate::app::status::Status;
use crate::exchange::FieldView;
use fields::Known;
use parts::IDENTITY;

/// Where and when settings were read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// The looprig that read them.
    pub looprig: String,
    /// When, UTC.
    pub saved: String,
    /// The line.
    pub line: String,
}

/// What a device is set to.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Where they come from.
    pub origin: Origin,
    /// The device's revision, by whose rows they are read.
    pub revision: Revision,
    /// What was read, in the order of [`parts::parts`].
    pub sections: Vec<Section>,
}

/// The values of one part.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Which part.
    pub part: &'static Part,
    /// Which one of several.
    pub number: Option<u8>,
    /// What the device said.
    pub content: Content,
}

/// What a device says when it is asked for a part.
#[derive(Clone, Debug, PartialEq)]
pub enum Content {
    /// Its values, in the order of [`Part::names`].
    Values(Vec<Entry>),
    /// Its answer ended too early: those of its values that came whole.
    CutShort(Vec<Entry>),
    /// It refused with this response code; 64: it has no such command [ST-03].
    Refused(u8),
    /// It went on saying with this response code that it is busy or not done yet, so what it has is not
    /// known [ST-03].
    Unread(u8),
}

/// One value.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its name.
    pub name: String,
    /// Its field, which knows kind and label.
    pub field: &'static Field,
    /// The value.
    pub value: Value,
}

impl PartialEq for Entry {
    fn eq(&self, other: &Entry) -> bool {
        self.name == other.name && self.value == other.value
    }
}

impl Entry {
    /// Whether both mean the same: floats are compared as numbers, and every not-a-number is one.
    pub fn same(&self, other: &Entry) -> bool {
        match (&self.value, &other.value) {
            (Value::Float(a), Value::Float(b)) => {
                let (x, y) = (f32::from_bits(*a), f32::from_bits(*b));
                a == b || x == y || x.is_nan() && y.is_nan()
            }
            (a, b) => a == b,
        }
    }
}

impl Section {
    /// Its name for people: `device_variable 0`.
    pub fn name(&self) -> String {
        match self.number {
            Some(n) => format!("{} {n}", self.part.heading),
            None => self.part.heading.to_owned(),
        }
    }

    /// Its heading in a file: `device_variable.0`.
    pub fn heading(&self) -> String {
        match self.number {
            Some(n) => format!("{}.{n}", self.part.heading),
            None => self.part.heading.to_owned(),
        }
    }

    /// Its values; none where the device refused or stayed busy.
    pub fn entries(&self) -> &[Entry] {
        match &self.content {
            Content::Values(entries) | Content::CutShort(entries) => entries,
            Content::Refused(_) | Content::Unread(_) => &[],
        }
    }

    /// The value of this name.
    pub fn entry(&self, name: &str) -> Option<&Entry> {
        self.entries().iter().find(|e| e.name == name)
    }

    fn small(&self, name: Option<&str>) -> Option<u8> {
        u8::try_from(self.entry(name?)?.value.number()?).ok()
    }

    /// A value as people read it, with its unit, which may stand in another value of this section.
    pub fn text(&self, entry: &Entry, revision: Revision) -> String {
        let known = fields::fields(self.part, revision);
        self.text_among(entry, &known)
    }

    fn text_among(&self, entry: &Entry, known: &[Known]) -> String {
        let Ok(data) = entry.value.write(entry.field.kind) else { return entry.value.to_string() };
        let at = known.iter().position(|k| k.name == entry.name).unwrap_or(known.len());
        let found = Found {
            field: entry.field,
            slot: None,
            start: 0,
            // No kind of a setting is longer than a message.
            len: data.len() as u16,
            bits: None,
            unit_code: self.small(fields::unit_of(known, at)),
            class: self.small(fields::class_of(known, at)),
        };
        FieldView { found: &found, data: &data, data_offset: 0, status_words: &[] }.cell()
    }

    /// As [`Section::text`], with every digit.
    fn exact_text(&self, entry: &Entry, revision: Revision) -> String {
        let text = self.text(entry, revision);
        match entry.value {
            Value::Float(_) => {
                let unit = text.split_once(' ').map_or(String::new(), |(_, unit)| format!(" {unit}"));
                format!("{}{unit}", entry.value)
            }
            _ => format!("{text} ({})", entry.value),
        }
    }
}

impl Settings {
    /// The section of this part and number.
    pub fn section(&self, part: &Part, number: Option<u8>) -> Option<&Section> {
        self.sections.iter().find(|s| s.part.heading == part.heading && s.number == number)
    }

    /// The part with this heading, as the device that was read has it.
    fn part(&self, heading: &str) -> Option<&'static Part> {
        self.sections.iter().find(|s| s.part.heading == heading).map(|s| s.part)
    }

    /// What the device says about itself, by name.
    pub fn identity(&self, name: &str) -> Option<&Entry> {
        self.sections.iter().find(|s| s.part.heading == IDENTITY)?.entry(name)
    }

    /// The unique address of the device that the settings are of, ten hex digits: 14 bits of its type, and its device id; empty where both are
    /// not there.
    pub fn unique_address(&self) -> String {
        let number = |name| self.identity(name).and_then(|e| e.value.number());
        let short = || Some(number("manufacturer")? << 8 | number("device_type")?);
        let device_type = number("expanded_device_type").or_else(short);
        device_type
            .zip(number("device_id"))
            .map_or_else(String::new, |(t, id)| format!("{:04X}{id:06X}", t & 0x3FFF))
    }

    /// A value as people read it, by the heading of its section and its name; empty where there is none.
    pub fn told(&self, heading: &str, name: &str) -> String {
        let section = self.sections.iter().find(|s| s.part.heading == heading);
        let found = section.and_then(|s| Some(s.text(s.entry(name)?, self.revision)));
        found.unwrap_or_default()
    }

    /// How many settings there are, and how many facts.
    pub fn counts(&self) -> (usize, usize) {
        let all = self.sections.iter().flat_map(|s| s.entries().iter().map(move |e| (s, e)));
        let (settings, facts): (Vec<_>, Vec<_>) = all.partition(|(s, e)| s.part.is_setting(&e.name));
        (settings.len(), facts.len())
    }

    /// The sections whose commands the device does not have.
    pub fn missing(&self) -> impl Iterator<Item = &Section> {
        self.sections.iter().filter(|s| s.content == Content::Refused(64))
    }

    /// The sections whose commands the device has and refuses.
    pub fn refused(&self) -> impl Iterator<Item = (&Section, u8)> {
        self.sections.iter().filter_map(|s| match s.content {
            Content::Refused(code) if code != 64 => Some((s, code)),
            _ => None,
        })
    }

    /// The sections that are not known whole.
    pub fn not_whole(&self) -> impl Iterator<Item = &Section> {
        self.sections.iter().filter(|s| matches!(s.content, Content::CutShort(_) | Content::Unread(_)))
    }
}

/// Two texts of values that differ: with every digit where people would see no difference.
fn apart(a: (&Section, &Entry, Revision), b: (&Section, &Entry, Revision)) -> (String, String) {
    let short = (a.0.text(a.1, a.2), b.0.text(b.1, b.2));
    if short.0 == short.1 { (a.0.exact_text(a.1, a.2), b.0.exact_text(b.1, b.2)) } else { short }
}

/// What a device says that stays busy, for people: `busy (32)`.
pub fn busy_words(code: u8) -> String {
    let words = Status::of(code).texts(0).join(", ");
    format!("{words} ({code})")
}
