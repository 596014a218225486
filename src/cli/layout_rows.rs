//! The layout of a command's data as rows of a table, and the words for what rows say.

use crate::app::command::{CommandSpec, Effect, Field, Item, Kind, Layout, Revision, UnitFrom};
use crate::app::status::{Code, CodeClass, Delay};

/// Octets, name, type and meaning of every field, one row each; the first column is empty where the place
/// depends on the data before.
pub(super) fn layout_rows(layout: Layout) -> Vec<[String; 4]> {
    let mut rows = Rows { at: Some(0), out: Vec::new() };
    rows.layout(layout);
    rows.out
}

struct Rows {
    /// Place of the next octet, where it is always the same.
    at: Option<usize>,
    out: Vec<[String; 4]>,
}

impl Rows {
    fn layout(&mut self, layout: Layout) {
        for item in layout {
            match item {
                Item::Field(f) | Item::Rest(f) => self.field(f, ""),
                Item::Parts(parts) => {
                    for p in *parts {
                        let octet = self.at.map_or(String::new(), |a| a.to_string());
                        let bits = format!("bits {}-{}", p.shift + p.width - 1, p.shift);
                        self.out.push([octet, p.field.name.into(), bits, p.field.label.into()]);
                    }
                    self.at = self.at.map(|a| a + 1);
                }
                Item::MayEnd => self.remark("(the data may end here)".into()),
                Item::Slots { fields, least, most } if least == most => {
                    // Always as many: each has its place.
                    for slot in 0..*most {
                        fields.iter().for_each(|f| self.field(f, &format!("slot{slot}_")));
                    }
                }
                Item::Slots { fields, most, .. } => {
                    fields.iter().for_each(|f| self.field(f, "slotN_"));
                    self.remark(format!("(slots 0 to {}, at least one)", most - 1));
                    self.at = None;
                }
                Item::Records { fields, octets, most } => {
                    fields.iter().for_each(|f| self.field(f, "slotN_"));
                    self.field(octets, "slotN_");
                    self.remark(format!("(as many slots as said, the first {most} by name)"));
                    self.at = None;
                }
                Item::Carried { otherwise, .. } => {
                    self.field(otherwise, "");
                    self.remark("(or the fields of the command carried, where it has a row)".into());
                    self.at = None;
                }
                Item::OneOf(forms) => {
                    let from = self.at;
                    for (n, form) in forms.iter().enumerate() {
                        let (n, all) = (n + 1, forms.len());
                        self.remark(format!("(form {n} of {all}: the first one that fits in length)"));
                        self.at = from;
                        self.layout(form);
                    }
                    self.at = None;
                }
            }
        }
    }

    fn field(&mut self, field: &Field, prefix: &str) {
        let octets = match (self.at, field.kind.len()) {
            (Some(a), 1) => a.to_string(),
            (Some(a), 0) => format!("{a}.."),
            (Some(a), n) => format!("{a}-{}", a + n - 1),
            (None, _) => String::new(),
        };
        let (kind, unit) = match field.unit {
            _ if field.is_period() => ("length of time in 1/32 ms".to_owned(), String::new()),
            UnitFrom::Fixed(u) => (kind_text(field.kind), format!(" in {u}")),
            _ => (kind_text(field.kind), String::new()),
        };
        let name = format!("{prefix}{}", field.name);
        self.out.push([octets, name, kind, format!("{}{unit}", field.label)]);
        self.at = self.at.map(|a| a + field.kind.len());
    }

    fn remark(&mut self, text: String) {
        self.out.push([String::new(), String::new(), String::new(), text]);
    }
}

/// The codes and bits that a command's data have, each table once: its heading, number and words of each row.
pub(super) fn word_tables(spec: &CommandSpec) -> Vec<(String, Vec<[String; 2]>)> {
    let mut out: Vec<(String, Vec<[String; 2]>)> = Vec::new();
    let layouts = spec.forms.iter().flat_map(|form| [form.request, form.reply]);
    let fields = layouts.flatten().flat_map(|item| match item {
        Item::Field(field) => core::slice::from_ref(field),
        Item::Slots { fields, .. } => *fields,
        _ => &[],
    });
    for field in fields {
        let (heading, rows, in_hex) = match field.kind {
            Kind::Enum(t) => (format!("Codes of {}", t.name), t.rows, false),
            Kind::Bits(t) => (format!("Bits of {}", t.name), t.rows, true),
            _ => continue,
        };
        if out.iter().all(|(there, _)| *there != heading) {
            let number = |n: u8| if in_hex { format!("0x{n:02X}") } else { n.to_string() };
            out.push((heading, rows.iter().map(|(n, words)| [number(*n), (*words).to_owned()]).collect()));
        }
    }
    out
}

/// The revisions that have both a command and one of its response codes: `5, 6, 7`.
pub(super) fn revisions_of(row: &CommandSpec, code: &Code) -> String {
    let has = |r: &Revision| row.form(*r).is_some() && code.from <= *r && *r <= code.to;
    let all: Vec<String> =
        Revision::NEWEST_FIRST.iter().rev().filter(|r| has(r)).map(Revision::to_string).collect();
    all.join(", ")
}

/// `revision 7` or `revisions 5 to 7`.
pub(super) fn revisions_text(from: Revision, to: Revision) -> String {
    if from == to { format!("revision {from}") } else { format!("revisions {from} to {to}") }
}

/// What a command does to the device.
pub(super) fn effect_text(effect: Effect) -> &'static str {
    match effect {
        Effect::Reads => "reads only",
        Effect::Stops => {
            "ends what the device does by itself, after which the valve may move; needs no leave"
        }
        Effect::Writes => "changes what the device stores",
        Effect::Moves => "may change what the valve does",
    }
}

/// How a request ended that was answered with this code.
pub(super) fn class_text(code: u8, class: CodeClass) -> &'static str {
    match class {
        CodeClass::Error if let Some(delay) = Delay::of(code) => delay.word(),
        CodeClass::Success => "done",
        CodeClass::Warning => "done with a remark",
        CodeClass::Error => "refused",
    }
}

fn kind_text(kind: Kind) -> String {
    match kind {
        Kind::U8 => "unsigned 8".into(),
        Kind::U16 => "unsigned 16".into(),
        Kind::U24 => "unsigned 24".into(),
        Kind::U32 => "unsigned 32".into(),
        Kind::Float => "float".into(),
        Kind::Packed(n) => format!("packed ASCII, {} characters", usize::from(n) / 3 * 4),
        Kind::Latin1(n) => format!("Latin-1, {n} characters"),
        Kind::Date => "date".into(),
        Kind::Time => "time in 1/32 ms".into(),
        Kind::Unit => "unit code [UN-01]".into(),
        Kind::Enum(t) => format!("code [{}]", t.id),
        Kind::Bits(t) => format!("bits [{}]", t.id),
        Kind::VariableCode => "variable code [TY-09]".into(),
        Kind::VariableStatus => "status [TY-08]".into(),
        Kind::Octets(0) => "octets".into(),
        Kind::Octets(n) => format!("{n} octets"),
    }
}
