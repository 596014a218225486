//! The description file: text to a [`Description`], or to a message that says where it is wrong.

mod data;
mod settings;
mod shape;
#[cfg(test)]
mod tests;

use super::{Command, Description, DeviceType, NUMBERS, StatusOctets, Words};
use crate::app::command::{Effect, Revision};
use crate::app::written::{Fault, FileError, FileKind, Whole, for_toml, whole, words};
use core::ops::Range;
use shape::{CommandTable, DescriptionFile, StatusTable, TypeTable, WordTable};
use std::collections::BTreeMap;
use std::path::Path;
use toml::Spanned;

/// Most characters of a name or a label.
const NAME: usize = 60;
/// Most characters of an explanation.
const TEXT: usize = 4000;
/// Most characters of a name for programs.
const WORD: usize = 40;
/// Most types with the same commands.
const TYPES: usize = 8;
/// Octets at the beginning of command 48 that are the device's own.
const STATUS: usize = 6;

/// The JSON Schema of a description, for editors.
pub fn schema() -> String {
    let mut schema = schemars::schema_for!(DescriptionFile).to_value();
    for_toml(&mut schema);
    // A schema is made of strings and numbers alone, so it can always be written.
    serde_json::to_string_pretty(&schema).unwrap_or_default()
}

/// Reads the text of a description; `path` is what messages call it. Nothing is opened and nothing leaked.
///
/// # Errors
/// The first thing that is wrong, with its place.
pub fn check(text: &str, path: &Path) -> Result<Description, FileError> {
    let fault = |f: Fault| f.in_file(FileKind::Description, path, text);
    match toml::from_str::<DescriptionFile>(text) {
        Ok(file) => description(&file, text).map_err(fault),
        Err(e) => Err(fault(words::plain(e.message(), e.span(), text))),
    }
}

fn description(file: &DescriptionFile, text: &str) -> Result<Description, Fault> {
    let top = 0..0;
    let Some(name) = &file.name else {
        let right = "write what people call the device type on top, such as name = \"flushing valve\"";
        return Err(Fault::new(&top, "the description has no name", right));
    };
    let mut d = Description {
        name: line(name, "name", NAME)?,
        text: file.text.as_ref().map_or(Ok(String::new()), explanation)?,
        types: types(file.types.as_deref().unwrap_or_default(), text)?,
        enumerations: tables(&file.enumeration, "code", &|n| (n <= 255).then_some(n as u8))?,
        bits: tables(&file.bits, "mask of one bit", &|n| {
            u8::try_from(n).ok().filter(|m| m.is_power_of_two())
        })?,
        status: Vec::new(),
        commands: Vec::new(),
        settings: Vec::new(),
    };
    d.bits.iter_mut().for_each(|t| t.rows.reverse());
    d.status = status(&file.device_status, &d)?;
    let commands = file.command.as_deref().unwrap_or_default();
    if commands.is_empty() {
        let right = "add one, such as:\n    [[command]]\n    number = 130\n    name = \"read travel\"\n    effect = \"reads\"";
        return Err(Fault::new(&(text.len()..text.len()), "the description has no command", right));
    }
    for table in commands {
        let command = command(table, &d)?;
        if d.command(command.number).is_some() {
            let at = table.get_ref().number.as_ref().map_or(table.span(), Spanned::span);
            let wrong = format!("command {} is described twice", command.number);
            return Err(Fault::new(&at, wrong, "give every command a number of its own"));
        }
        d.commands.push(command);
    }
    d.commands.sort_by_key(|c| c.number);
    for table in &file.setting {
        let pair = settings::pair(table, &d)?;
        d.settings.push(pair);
    }
    Ok(d)
}

/// The tables of the octets of command 48 that are the device's own.
fn status(tables: &[Spanned<StatusTable>], d: &Description) -> Result<Vec<StatusOctets>, Fault> {
    let mut all: Vec<StatusOctets> = Vec::new();
    for table in tables {
        let t = table.get_ref();
        let (from, to) = revisions(&t.from_revision, &t.to_revision, (Revision::R5, Revision::R7))?;
        if all.iter().any(|s| s.from <= to && from <= s.to) {
            let wrong = "the octets of command 48 are described twice for one revision";
            let right = "part them by from_revision and to_revision, or name all tables in one";
            return Err(Fault::new(&table.span(), wrong, right));
        }
        let names = t.tables.get_ref();
        if names.is_empty() || names.len() > STATUS {
            let wrong = format!("these are the tables of {} octets", names.len());
            let right = format!("name those of the first 1 to {STATUS} octets of command 48");
            return Err(Fault::new(&t.tables.span(), wrong, right));
        }
        let named = |name: &Spanned<String>| match name.get_ref() {
            none if none.is_empty() => Ok(String::new()),
            _ => data::named(name, &d.bits, "bits"),
        };
        all.push(StatusOctets { from, to, tables: names.iter().map(named).collect::<Result<_, _>>()? });
    }
    Ok(all)
}

fn types(tables: &[Spanned<TypeTable>], text: &str) -> Result<Vec<DeviceType>, Fault> {
    let mut types: Vec<DeviceType> = Vec::new();
    for table in tables {
        let new = device_type(table)?;
        if types.contains(&new) {
            return Err(Fault::new(&table.span(), format!("{new} is there twice"), "name every type once"));
        }
        types.push(new);
        if types.len() > TYPES {
            let right = format!("describe at most {TYPES} types in one file");
            return Err(Fault::new(&table.span(), "these are too many device types", right));
        }
    }
    if types.is_empty() {
        let right = "say whose commands these are, such as:\n    [[type]]\n    expanded_device_type = 0xFD71";
        return Err(Fault::new(&(text.len()..text.len()), "the description has no device type", right));
    }
    Ok(types)
}

fn device_type(table: &Spanned<TypeTable>) -> Result<DeviceType, Fault> {
    let t = table.get_ref();
    match (&t.expanded_device_type, &t.manufacturer, &t.device_type) {
        (Some(n), None, None) => Ok(DeviceType::Expanded(whole(n, "expanded_device_type", 0..=0xFFFF)?)),
        (None, Some(m), Some(n)) => Ok(DeviceType::Short {
            manufacturer: whole(m, "manufacturer", 0..=0xFF)?,
            device_type: whole(n, "device_type", 0..=0xFF).map_err(|mut f| {
                f.right += "; one of revision 7 is given as expanded_device_type alone";
                f
            })?,
        }),
        (expanded, ..) => {
            let wrong =
                if expanded.is_some() { "this type is given twice" } else { "this type is not given whole" };
            let right = "give expanded_device_type for revision 7, or manufacturer and device_type for revisions 5 and 6, \
                         and both under headings of their own";
            Err(Fault::new(&table.span(), wrong, right))
        }
    }
}

/// A number as a key: 7 or 0x07.
fn key(text: &str) -> Option<u32> {
    match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(hex) => u32::from_str_radix(hex, 16).ok(),
        None => text.parse().ok(),
    }
}

fn tables(
    tables: &BTreeMap<Spanned<String>, Spanned<WordTable>>,
    what: &str,
    fits: &dyn Fn(u32) -> Option<u8>,
) -> Result<Vec<Words>, Fault> {
    let mut out = Vec::new();
    for (name, table) in tables {
        let name = identifier(name, "the name of this table")?;
        let rows = rows(table.get_ref(), what, fits)?;
        if rows.is_empty() {
            let right = "write number = \"words\" lines below its heading, such as 0x01 = \"at rest\"";
            return Err(Fault::new(&table.span(), format!("the table {name} is empty"), right));
        }
        out.push(Words { name, rows });
    }
    Ok(out)
}

/// The rows of a table, lowest number first; no number and no words twice.
fn rows(table: &WordTable, what: &str, fits: &dyn Fn(u32) -> Option<u8>) -> Result<Vec<(u8, String)>, Fault> {
    let mut out: Vec<(u8, String)> = Vec::new();
    for (number, words) in table {
        let n = key(number.get_ref()).and_then(fits).ok_or_else(|| {
            let right = match what {
                "code" => "give a whole number from 0 to 255, such as 7 or 0x07",
                "response code" => "give a whole number from 1 to 127; 0 says that it is done",
                _ => "give 0x01, 0x02, 0x04, 0x08, 0x10, 0x20, 0x40 or 0x80",
            };
            Fault::new(&number.span(), format!("`{}` is no {what}", number.get_ref()), right)
        })?;
        let text = line(words, "what a number means", NAME)?;
        if key(&text).is_some() {
            let right = "write what it means in words: a number would be taken for the number itself";
            return Err(Fault::new(&words.span(), format!("\"{text}\" is a number"), right));
        }
        if let Some((old, _)) = out.iter().find(|(old, _)| *old == n) {
            let wrong = format!("{what} {old} is there twice");
            return Err(Fault::new(&number.span(), wrong, "give every number once"));
        }
        if let Some((old, _)) = out.iter().find(|(_, old)| old.eq_ignore_ascii_case(&text)) {
            let wrong = format!("\"{text}\" is what {old} means already");
            return Err(Fault::new(&words.span(), wrong, "give every number words of its own"));
        }
        out.push((n, text));
    }
    out.sort();
    Ok(out)
}

/// A text of one line.
fn line(text: &Spanned<String>, key: &str, most: usize) -> Result<String, Fault> {
    let value = text.get_ref();
    let wrong = if value.trim().is_empty() {
        format!("{key} is empty")
    } else if value.trim() != value {
        format!("{key} begins or ends with a space")
    } else if let Some(c) = value.chars().find(|c| c.is_control()) {
        format!("{key} holds the control character {:?}", c)
    } else if value.chars().count() > most {
        format!("{key} has {} characters", value.chars().count())
    } else {
        return Ok(value.clone());
    };
    Err(Fault::new(
        &text.span(),
        wrong,
        format!("give 1 to {most} characters on one line, none of them a control character"),
    ))
}

/// A text of several lines.
fn explanation(text: &Spanned<String>) -> Result<String, Fault> {
    let value = text.get_ref().trim();
    let bad = |c: char| c.is_control() && c != '\n';
    if value.chars().count() <= TEXT && !value.contains(bad) {
        return Ok(value.to_owned());
    }
    let right =
        format!("give at most {TEXT} characters, none of them a control character but the end of a line");
    Err(Fault::new(&text.span(), "this text is too long or holds control characters", right))
}

/// A name for programs.
fn identifier(text: &Spanned<String>, key: &str) -> Result<String, Fault> {
    let value = text.get_ref();
    let small = |c: char| c.is_ascii_lowercase();
    let good = value.starts_with(small) && value.chars().all(|c| small(c) || c.is_ascii_digit() || c == '_');
    if good && value.len() <= WORD {
        return Ok(value.clone());
    }
    let near: String = value
        .trim()
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '_' })
        .collect();
    let near = near.trim_start_matches(|c: char| !small(c));
    let hint = if near.is_empty() || near == value || near.len() > WORD {
        String::new()
    } else {
        format!(", such as \"{near}\"")
    };
    let right = format!("give at most {WORD} small letters, digits and _, a letter first{hint}");
    Err(Fault::new(&text.span(), format!("{key} cannot be \"{value}\""), right))
}

fn revision(n: &Spanned<Whole>, key: &str) -> Result<Revision, Fault> {
    let known = u8::try_from(n.get_ref().0).ok().and_then(Revision::new);
    known.ok_or_else(|| Fault::new(&n.span(), format!("{key} is {}", n.get_ref().0), "give 5, 6 or 7"))
}

/// From one revision to another, both within `outer`.
fn revisions(
    from: &Option<Spanned<Whole>>,
    to: &Option<Spanned<Whole>>,
    outer: (Revision, Revision),
) -> Result<(Revision, Revision), Fault> {
    let given =
        |n: &Option<Spanned<Whole>>, key, otherwise| n.as_ref().map_or(Ok(otherwise), |n| revision(n, key));
    let range = (given(from, "from_revision", outer.0)?, given(to, "to_revision", outer.1)?);
    let at = to.as_ref().or(from.as_ref()).map_or(0..0, Spanned::span);
    if range.0 > range.1 {
        let wrong = format!("revisions {} to {} are none", range.0, range.1);
        return Err(Fault::new(&at, wrong, "give the older one as from_revision"));
    }
    if range.0 < outer.0 || range.1 > outer.1 {
        let wrong = format!("the command is of revisions {} to {} alone", outer.0, outer.1);
        return Err(Fault::new(&at, wrong, "stay within them, or change those of the command"));
    }
    Ok(range)
}

fn command(table: &Spanned<CommandTable>, d: &Description) -> Result<Command, Fault> {
    let t = table.get_ref();
    let missing = |key: &str, example: &str| {
        Fault::new(&table.span(), format!("this command has no {key}"), format!("add {example} to it"))
    };
    let number = t.number.as_ref().ok_or_else(|| missing("number", "number = 130, or what it has,"))?;
    let (first, last) = (i64::from(*NUMBERS.start()), i64::from(*NUMBERS.end()));
    let number: u8 = whole(number, "number", first..=last).map_err(|mut f| {
        f.right += ": other commands are the same in every device and known already";
        f
    })?;
    let name = t.name.as_ref().ok_or_else(|| missing("name", "name = \"what it does\""))?;
    let effect = t
        .effect
        .as_ref()
        .ok_or_else(|| missing("effect", "effect = \"reads\", \"stops\", \"writes\" or \"moves\""))?;
    let effects = [
        ("reads", Effect::Reads),
        ("stops", Effect::Stops),
        ("writes", Effect::Writes),
        ("moves", Effect::Moves),
    ];
    let mut command = Command {
        number,
        name: line(name, "name", NAME)?,
        text: t.text.as_ref().map_or(Ok(String::new()), explanation)?,
        effect: words::one_of(effect, "effect", &effects)?,
        from: Revision::R5,
        to: Revision::R7,
        request: Vec::new(),
        reply: Vec::new(),
        codes: rows(&t.codes, "response code", &|n| (1..=127).contains(&n).then_some(n as u8))?,
    };
    (command.from, command.to) = revisions(&t.from_revision, &t.to_revision, (Revision::R5, Revision::R7))?;
    data::fill(&mut command, t, d)?;
    Ok(command)
}

/// Where a table stands, or the key in it that is to blame.
fn at<T, U>(key: &Option<Spanned<T>>, table: &Spanned<U>) -> Range<usize> {
    key.as_ref().map_or(table.span(), Spanned::span)
}
