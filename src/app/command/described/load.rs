//! Rows made of a description.

use super::form::unit_back;
use super::{Command, Description, Element, Pair, Part, PartKind, PartUnit, StatusOctets, Words};
use crate::app::command::layout::{Field, Item, Kind, Layout};
use crate::app::command::{CommandSpec, Direction, Form, Grade, Revision, setting};
use crate::app::status::{Code, CodeClass};
use crate::app::types::{BitTable, Table};

/// The table of each octet of the device-specific status in command 48, the first octet's first [CM-DESCRIBED].
pub type StatusWords = &'static [Option<&'static BitTable>];

/// A description with its rows.
#[derive(Debug)]
pub struct Described {
    file: &'static str,
    description: &'static Description,
    rows: &'static [CommandSpec],
    settings: &'static [setting::Part],
    status: &'static [(Revision, Revision, StatusWords)],
}

impl PartialEq for Described {
    fn eq(&self, other: &Self) -> bool {
        self.description == other.description
    }
}

impl Described {
    /// Makes rows of a description; `file` is what people call it.
    ///
    /// The rows of the common commands are static, and so whatever was found in data points at rows that live as
    /// long as the program. Those of a description must do so too: they are leaked, once for each file that a
    /// process loads, which is a few kilobytes and never done again for what is decoded by them.
    pub fn load(description: Description, file: &str) -> &'static Described {
        let description: &'static Description = Box::leak(Box::new(description));
        let tables = Tables {
            enumerations: leak(description.enumerations.iter().map(enumeration)),
            bits: leak(description.bits.iter().map(bits)),
        };
        let file: &'static str = Box::leak(file.to_owned().into_boxed_str());
        let rows = leak(description.commands.iter().map(|c| row(c, &tables, file)));
        let settings = leak(description.settings.iter().map(|pair| part(pair, rows)));
        let table = |name: &String| tables.bits.iter().find(|t| t.name == name);
        let words = |s: &'static StatusOctets| (s.from, s.to, leak(s.tables.iter().map(table)));
        let status = leak(description.status.iter().map(words));
        Box::leak(Box::new(Described { file, description, rows, settings, status }))
    }

    /// What people call the file.
    pub fn file(&self) -> &'static str {
        self.file
    }

    /// What it says.
    pub fn description(&self) -> &'static Description {
        self.description
    }

    /// The rows, by number.
    pub fn rows(&self) -> &'static [CommandSpec] {
        self.rows
    }

    /// What of a device is a setting. The headings begin with `described_`, as those of shared commands do not.
    pub fn settings(&self) -> &'static [setting::Part] {
        self.settings
    }

    /// The tables of the octets of command 48 that are the device's own; empty where nothing is said of them.
    pub fn status_words(&self, revision: Revision) -> StatusWords {
        let of = self.status.iter().find(|(from, to, _)| *from <= revision && revision <= *to);
        of.map_or(&[], |(_, _, words)| *words)
    }

    /// The row of a command.
    pub fn spec(&self, number: u8) -> Option<&'static CommandSpec> {
        let at = self.rows.binary_search_by_key(&u16::from(number), |row| row.number).ok()?;
        self.rows.get(at)
    }
}

struct Tables {
    enumerations: &'static [Table],
    bits: &'static [BitTable],
}

fn leak<T>(items: impl Iterator<Item = T>) -> &'static [T] {
    Box::leak(items.collect::<Vec<T>>().into_boxed_slice())
}

fn part(pair: &'static Pair, rows: &'static [CommandSpec]) -> setting::Part {
    let heading: &'static str = Box::leak(format!("described_{}", pair.heading).into_boxed_str());
    let fields = leak(pair.values.iter().map(String::as_str));
    setting::Part {
        heading,
        each: match &pair.each {
            Some((selector, last)) => setting::Each::Described { selector, last: *last },
            None => setting::Each::Once,
        },
        read: pair.read,
        writes: leak([setting::Write { command: pair.write, fields }].into_iter()),
        facts: &[],
        rows: Some(rows),
    }
}

fn enumeration(words: &'static Words) -> Table {
    let rows = leak(words.rows.iter().map(|(code, text)| (*code, text.as_str())));
    Table { id: &words.name, name: &words.name, rows, ranges: &[] }
}

fn bits(words: &'static Words) -> BitTable {
    let rows = leak(words.rows.iter().map(|(mask, text)| (*mask, text.as_str())));
    BitTable { id: &words.name, name: &words.name, rows }
}

fn row(c: &'static Command, tables: &Tables, file: &'static str) -> CommandSpec {
    // Neighbouring revisions with the same data share a form.
    let mut forms: Vec<(Revision, Revision, [Vec<Element>; 2])> = Vec::new();
    for revision in c.revisions() {
        let data = [Direction::Request, Direction::Reply].map(|d| c.data_in(d, revision));
        match forms.last_mut() {
            Some((_, to, before)) if *before == data => *to = revision,
            _ => forms.push((revision, revision, data)),
        }
    }
    let form = |(from, to, _): (Revision, Revision, _)| Form {
        from,
        to,
        request: layout(&c.request, from, tables),
        reply: layout(&c.reply, from, tables),
    };
    let codes = c.codes.iter().map(|(code, text)| Code {
        code: *code,
        class: CodeClass::of(*code),
        text,
        from: c.from,
        to: c.to,
    });
    CommandSpec {
        number: c.number.into(),
        name: &c.name,
        effect: c.effect,
        cites: file,
        grade: Grade::Described,
        forms: leak(forms.into_iter().rev().map(form)),
        codes: leak(codes),
    }
}

fn layout(data: &'static [Element], revision: Revision, tables: &Tables) -> Layout {
    let has = |p: &&Part| p.from <= revision && revision <= p.to;
    let mut before: Vec<&'static Part> = Vec::new();
    let mut items = Vec::new();
    for element in data {
        match element {
            Element::Value(part) if has(&part) => {
                before.push(part);
                if part.optional {
                    items.push(Item::MayEnd);
                }
                let field = field(&before, before.len() - 1, tables);
                items.push(if part.kind == PartKind::Rest { Item::Rest(field) } else { Item::Field(field) });
            }
            Element::Value(_) => {}
            Element::Slots { least, most, parts } => {
                let parts: Vec<&'static Part> = parts.iter().filter(has).collect();
                if !parts.is_empty() {
                    let fields = leak((0..parts.len()).map(|at| field(&parts, at, tables)));
                    items.push(Item::Slots { fields, least: *least, most: *most });
                }
            }
        }
    }
    leak(items.into_iter())
}

fn field(parts: &[&'static Part], at: usize, tables: &Tables) -> Field {
    let part = parts[at];
    let mut field = Field::new(&part.name, &part.label, kind(&part.kind, tables));
    field.hex = part.hex;
    match &part.unit {
        PartUnit::None => field,
        PartUnit::Fixed(symbol) => field.fixed(symbol),
        PartUnit::From(_) => match unit_back(parts, at) {
            Some(back) => field.unit(back),
            None => field,
        },
    }
}

fn kind(kind: &PartKind, tables: &Tables) -> Kind {
    match kind {
        PartKind::Unsigned(1) => Kind::U8,
        PartKind::Unsigned(2) => Kind::U16,
        PartKind::Unsigned(3) => Kind::U24,
        PartKind::Unsigned(_) => Kind::U32,
        PartKind::Float => Kind::Float,
        PartKind::Packed(n) => Kind::Packed(*n),
        PartKind::Latin1(n) => Kind::Latin1(*n),
        PartKind::Date => Kind::Date,
        PartKind::Time => Kind::Time,
        PartKind::Unit => Kind::Unit,
        PartKind::Variable => Kind::VariableCode,
        PartKind::VariableStatus => Kind::VariableStatus,
        PartKind::Octets(n) => Kind::Octets(*n),
        PartKind::Rest => Kind::Octets(0),
        // What is checked names tables that are there.
        PartKind::Enumeration(name) => {
            tables.enumerations.iter().find(|t| t.name == name).map_or(Kind::U8, Kind::Enum)
        }
        PartKind::Bits(name) => tables.bits.iter().find(|t| t.name == name).map_or(Kind::U8, Kind::Bits),
    }
}
