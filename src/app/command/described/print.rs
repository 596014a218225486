//! A description as the text of a file: what is read from it again is the same.

use super::{Command, Description, DeviceType, Element, Part, PartKind, PartUnit, Words};
use crate::app::command::{Effect, Revision};
use core::fmt::Write;

impl Description {
    /// The description as TOML.
    pub fn to_toml(&self) -> String {
        let mut out = String::new();
        let _ = writeln!(out, "name = {}", text(&self.name));
        if !self.text.is_empty() {
            let _ = writeln!(out, "text = {}", text(&self.text));
        }
        for t in &self.types {
            out.push_str("\n[[type]]\n");
            let _ = match t {
                DeviceType::Expanded(t) => writeln!(out, "expanded_device_type = 0x{t:04X}"),
                DeviceType::Short { manufacturer, device_type } => {
                    writeln!(out, "manufacturer = {manufacturer}\ndevice_type = 0x{device_type:02X}")
                }
            };
        }
        for (heading, tables) in [("enumeration", &self.enumerations), ("bits", &self.bits)] {
            for Words { name, rows } in tables {
                let _ = writeln!(out, "\n[{heading}.{name}]");
                for (n, words) in rows {
                    let _ = writeln!(out, "0x{n:02X} = {}", text(words));
                }
            }
        }
        for status in &self.status {
            let names: Vec<String> = status.tables.iter().map(|name| text(name)).collect();
            let _ = writeln!(out, "\n[[device_status]]\ntables = [{}]", names.join(", "));
            write_revisions(status.from, status.to, &mut out);
        }
        for c in &self.commands {
            write_command(c, &mut out);
        }
        for pair in &self.settings {
            let names: Vec<String> = pair.values.iter().map(|v| text(v)).collect();
            let _ = writeln!(
                out,
                "\n[[setting]]\nheading = {}\nread = {}\nwrite = {}\nvalues = [{}]",
                text(&pair.heading),
                pair.read,
                pair.write,
                names.join(", ")
            );
            if let Some((name, last)) = &pair.each {
                let _ = writeln!(out, "each = {}\nlast = {last}", text(name));
            }
        }
        out
    }
}

fn write_command(c: &Command, out: &mut String) {
    let _ = writeln!(out, "\n[[command]]\nnumber = {}\nname = {}", c.number, text(&c.name));
    if !c.text.is_empty() {
        let _ = writeln!(out, "text = {}", text(&c.text));
    }
    let effect = match c.effect {
        Effect::Reads => "reads",
        Effect::Stops => "stops",
        Effect::Writes => "writes",
        Effect::Moves => "moves",
    };
    let _ = writeln!(out, "effect = \"{effect}\"");
    write_revisions(c.from, c.to, out);
    for (heading, data) in [("request", &c.request), ("reply", &c.reply)] {
        for element in data {
            let _ = writeln!(out, "\n[[command.{heading}]]");
            match element {
                Element::Value(part) => write_part(part, out),
                Element::Slots { least, most, parts } => {
                    let _ = writeln!(out, "least = {least}\nmost = {most}");
                    for part in parts {
                        let _ = writeln!(out, "\n[[command.{heading}.slot]]");
                        write_part(part, out);
                    }
                }
            }
        }
    }
    if !c.codes.is_empty() {
        out.push_str("\n[command.codes]\n");
        for (code, words) in &c.codes {
            let _ = writeln!(out, "{code} = {}", text(words));
        }
    }
}

fn write_revisions(from: Revision, to: Revision, out: &mut String) {
    if from != Revision::R5 {
        let _ = writeln!(out, "from_revision = {from}");
    }
    if to != Revision::R7 {
        let _ = writeln!(out, "to_revision = {to}");
    }
}

fn write_part(p: &Part, out: &mut String) {
    let _ = writeln!(out, "name = {}\nlabel = {}", text(&p.name), text(&p.label));
    let (word, octets) = match &p.kind {
        PartKind::Unsigned(n) => (["u8", "u16", "u24", "u32"][usize::from(n.saturating_sub(1)).min(3)], None),
        PartKind::Float => ("float", None),
        PartKind::Packed(n) => ("packed", Some(n)),
        PartKind::Latin1(n) => ("latin1", Some(n)),
        PartKind::Date => ("date", None),
        PartKind::Time => ("time", None),
        PartKind::Unit => ("unit", None),
        PartKind::Variable => ("variable", None),
        PartKind::VariableStatus => ("variable_status", None),
        PartKind::Octets(n) => ("octets", Some(n)),
        PartKind::Rest => ("rest", None),
        PartKind::Enumeration(name) => {
            let _ = writeln!(out, "enumeration = {}", text(name));
            ("", None)
        }
        PartKind::Bits(name) => {
            let _ = writeln!(out, "bits = {}", text(name));
            ("", None)
        }
    };
    if !word.is_empty() {
        let _ = writeln!(out, "type = \"{word}\"");
    }
    if let Some(n) = octets {
        let _ = writeln!(out, "octets = {n}");
    }
    let _ = match &p.unit {
        PartUnit::None => Ok(()),
        PartUnit::Fixed(symbol) => writeln!(out, "unit = {}", text(symbol)),
        PartUnit::From(name) => writeln!(out, "unit_from = {}", text(name)),
    };
    for (key, on) in [("hex", p.hex), ("optional", p.optional), ("selects", p.selects)] {
        if on {
            let _ = writeln!(out, "{key} = true");
        }
    }
    write_revisions(p.from, p.to, out);
}

/// A text as a string of TOML.
fn text(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}
