//! A settings file: TOML, a heading a section, every value under the name that its command's row gives it.

use super::{Content, Entry, Section, Settings, fields};
use crate::app::command::{Kind, Value, value::hex_text, write_bits};
use crate::app::status::Status;
use crate::app::types::{device_variable::DEVICE_VARIABLE_CODE, format_float, units};
use core::fmt::Write;

#[cfg(feature = "bench-file")]
mod reader;
#[cfg(feature = "bench-file")]
pub use reader::{FileError, from_text, from_text_by, shared_from_text};

/// The format that is written, and the only one that is read.
const FORMAT: u32 = 1;

const HEAD: &str = "\
# What a device is set to, as looprig read it. `looprig settings compare` and `restore` read this file.
# Every value stands under the name that its command gives it: `looprig explain 15` shows command 15.
# Values below \"fact\" are compared, never written. To leave something out of a restoring, take its section
# out: a command that writes several values at once is left out if the file lacks one of them.
";

/// The text of a settings file.
pub fn to_text(settings: &Settings) -> String {
    let mut out = String::from(HEAD);
    let _ = writeln!(out, "looprig_settings = {FORMAT}");
    for (name, text) in [
        ("looprig", &settings.origin.looprig),
        ("saved", &settings.origin.saved),
        ("line", &settings.origin.line),
    ] {
        out.push_str(name);
        out.push_str(" = ");
        quoted(text, &mut out);
        out.push('\n');
    }
    let _ = writeln!(out, "revision = {}", settings.revision);
    for section in &settings.sections {
        write_section(section, settings, &mut out);
    }
    out
}

fn write_section(section: &Section, settings: &Settings, out: &mut String) {
    let part = section.part;
    let name = part.spec(part.read).map_or("", |s| s.name);
    let _ = write!(out, "\n[{}]\n# {name} (command {})", section.heading(), part.read);
    if !part.writes.is_empty() {
        let writes: Vec<String> = part.writes.iter().map(|w| w.command.to_string()).collect();
        let _ = write!(out, ", written by {}", writes.join(", "));
    }
    out.push('\n');
    let entries = match &section.content {
        Content::Values(entries) => entries,
        Content::CutShort(entries) => {
            out.push_str("cut_short = true # the device's answer ended too early: what came whole is here\n");
            entries
        }
        Content::Refused(code) => {
            let words = Status::of(*code).texts(part.read.into()).join(", ");
            let _ = writeln!(out, "refused = {code} # {words}");
            return;
        }
        Content::Unread(code) => {
            let words = Status::of(*code).texts(part.read.into()).join(", ");
            let _ = writeln!(out, "unread = {code} # {words}: asked again and again, and not answered");
            return;
        }
    };
    let known = fields::fields(part, settings.revision);
    let mut facts = part.writes.is_empty();
    for entry in entries {
        if !facts && !part.is_setting(&entry.name) {
            facts = true;
            out.push_str("# fact\n");
        }
        let written = toml_value(entry);
        let _ = write!(out, "{} = {written}", entry.name);
        let text = section.text_among(entry, &known);
        let remark = match entry.field.kind {
            Kind::Float => text.split_once(' ').map(|(_, unit)| unit.to_owned()),
            Kind::Time => Some("ms".to_owned()),
            // A code that had to be written as a number; a text says itself.
            Kind::Unit | Kind::Enum(_) | Kind::VariableCode if !written.starts_with('"') => Some(text),
            Kind::Bits(table) => {
                let mut names = String::new();
                write_bits(table, entry.value.number().unwrap_or(0) as u8, &mut names);
                Some(names)
            }
            _ => None,
        };
        // A remark ends with its line.
        if let Some(remark) = remark.filter(|r| !r.is_empty() && !r.contains(char::is_control)) {
            let _ = write!(out, " # {remark}");
        }
        out.push('\n');
    }
}

/// A value as TOML, as people read it where that can be read back without loss.
fn toml_value(entry: &Entry) -> String {
    let kind = entry.field.kind;
    let number = entry.value.number();
    let word = number.and_then(|n| u8::try_from(n).ok()).and_then(|code| match kind {
        Kind::Unit => units::symbol(code, None),
        Kind::Enum(table) => table.text(code),
        Kind::VariableCode => DEVICE_VARIABLE_CODE.text(code),
        _ => None,
    });
    if let Some(word) = word
        && Value::from_text(kind, word).as_ref() == Ok(&entry.value)
    {
        return in_quotes(word);
    }
    match &entry.value {
        Value::Number(n) if matches!(kind, Kind::Bits(_)) => format!("0x{n:02X}"),
        Value::Number(n) if entry.field.hex => format!("0x{n:0width$X}", width = 2 * kind.len()),
        Value::Number(n) => n.to_string(),
        Value::Float(bits) if f32::from_bits(*bits).is_finite() => with_point(format_float(*bits)),
        Value::Time(time) => with_point(time.as_ms().to_string()),
        Value::Octets(octets) => in_quotes(&hex_text(octets)),
        other => in_quotes(&other.to_string()),
    }
}

/// A number that TOML takes for a float.
fn with_point(digits: String) -> String {
    if digits.contains(['.', 'e']) { digits } else { digits + ".0" }
}

fn in_quotes(text: &str) -> String {
    let mut out = String::new();
    quoted(text, &mut out);
    out
}

/// Appends a basic string of TOML.
fn quoted(text: &str, out: &mut String) {
    out.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
}
