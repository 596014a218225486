//! Which described values are settings.

use super::shape::SettingTable;
use super::{at, identifier};
use crate::app::command::described::{Command, Description, Element, Pair, Part, PartKind};
use crate::app::command::{Direction, Effect};
use crate::app::written::{Fault, Whole, whole, words};
use toml::Spanned;

/// Names that say in a settings file what became of a section, so no value can have them there.
const TAKEN: [&str; 3] = ["refused", "unread", "cut_short"];

/// A pair of commands and the names of their values.
pub(super) fn pair(table: &Spanned<SettingTable>, d: &Description) -> Result<Pair, Fault> {
    let t = table.get_ref();
    let missing = |key: &str| {
        let right = "a setting has heading, read, write and values";
        Fault::new(&table.span(), format!("this setting has no {key}"), right)
    };
    let heading = identifier(t.heading.as_ref().ok_or_else(|| missing("heading"))?, "heading")?;
    if d.settings.iter().any(|s| s.heading == heading) {
        let wrong = format!("two settings have the heading \"{heading}\"");
        return Err(Fault::new(&at(&t.heading, table), wrong, "give every setting a heading of its own"));
    }
    let (read, read_span) = (t.read.as_ref().ok_or_else(|| missing("read"))?, at(&t.read, table));
    let (write, write_span) = (t.write.as_ref().ok_or_else(|| missing("write"))?, at(&t.write, table));
    let (reader, writer) = (command(read, "read", d)?, command(write, "write", d)?);
    if reader.effect != Effect::Reads {
        let right = "name the command that reads it, whose effect is \"reads\"";
        return Err(Fault::new(&read_span, format!("command {} does more than read", reader.number), right));
    }
    if writer.effect < Effect::Writes {
        let right = "name the command that writes it, whose effect is \"writes\" or \"moves\"";
        return Err(Fault::new(&write_span, format!("command {} writes nothing", writer.number), right));
    }
    let each = each(table, reader, writer)?;
    readable(reader, each.as_ref().map(|(e, _)| e.as_str())).map_err(|wrong| {
        let right = "name a command whose request has the value that selects alone, or nothing";
        Fault::new(&read_span, wrong, right)
    })?;
    let given = t.values.as_ref().ok_or_else(|| missing("values"))?;
    let mut values: Vec<String> = Vec::new();
    for name in given.get_ref() {
        let (from, to) = (part(reader, Direction::Reply, name)?, part(writer, Direction::Request, name)?);
        if from.kind != to.kind {
            let wrong = format!(
                "\"{}\" has one type in command {} and another in {}",
                from.name, reader.number, writer.number
            );
            return Err(Fault::new(&name.span(), wrong, "name values that are read as they are written"));
        }
        if values.contains(name.get_ref()) {
            let wrong = format!("\"{}\" is there twice", name.get_ref());
            return Err(Fault::new(&name.span(), wrong, "name every value once"));
        }
        if TAKEN.contains(&name.get_ref().as_str()) {
            let wrong = format!("a settings file has \"{}\" for what became of a section", name.get_ref());
            let right = "give this value another name in both commands";
            return Err(Fault::new(&name.span(), wrong, right));
        }
        values.push(name.get_ref().clone());
    }
    if values.is_empty() {
        return Err(Fault::new(&given.span(), "this setting has no values", "name at least one"));
    }
    writable(writer, &values, each.as_ref().map(|(e, _)| e.as_str()))
        .map_err(|(wrong, right)| Fault::new(&given.span(), wrong, right))?;
    Ok(Pair { heading, read: reader.number, write: writer.number, values, each })
}

/// Whether the request of the command that writes can be made of these values; if not, what is wrong and what would be
/// right.
fn writable(writer: &Command, values: &[String], each: Option<&str>) -> Result<(), (String, String)> {
    // The first one that may be left out and is: the data end before it.
    let mut end: Option<&str> = None;
    for element in &writer.request {
        let name = match element {
            Element::Value(p) if values.contains(&p.name) || each == Some(&p.name) => match end {
                None => continue,
                Some(end) => {
                    let wrong = format!(
                        "\"{}\" stands behind \"{end}\" in command {}, so it cannot be written without it",
                        p.name, writer.number
                    );
                    return Err((wrong, format!("add \"{end}\" to values, or take \"{}\" out", p.name)));
                }
            },
            Element::Value(p) if p.optional => {
                end = end.or(Some(&p.name));
                continue;
            }
            Element::Value(p) if p.kind == PartKind::Rest => continue,
            _ if end.is_some() => continue,
            Element::Value(p) => p.name.as_str(),
            Element::Slots { .. } => "slots",
        };
        let wrong = format!("command {} also wants {name}, so it could not be written", writer.number);
        let right = "name every value of the request in values, or the one that selects as each; slots are no settings";
        return Err((wrong, right.to_owned()));
    }
    Ok(())
}

/// Whether the request of the command that reads can be made of the value that selects alone; if not, what is wrong.
fn readable(reader: &Command, each: Option<&str>) -> Result<(), String> {
    let mut said = each.is_none();
    for element in &reader.request {
        let name = match element {
            Element::Value(p) if each == Some(&p.name) => {
                said = true;
                continue;
            }
            Element::Value(p) if p.kind == PartKind::Rest => continue,
            // The data may end here.
            Element::Value(p) if p.optional && said => break,
            Element::Value(p) => p.name.as_str(),
            Element::Slots { .. } => "slots",
        };
        return Err(format!("command {} also wants {name}, so it could not be read", reader.number));
    }
    Ok(())
}

fn command<'d>(number: &Spanned<Whole>, key: &str, d: &'d Description) -> Result<&'d Command, Fault> {
    let n: u8 = whole(number, key, 0..=255)?;
    d.command(n).ok_or_else(|| {
        let right = "name a command that is described here; others are settings already where they are";
        Fault::new(&number.span(), format!("command {n} is not described"), right)
    })
}

fn part<'c>(c: &'c Command, direction: Direction, name: &Spanned<String>) -> Result<&'c Part, Fault> {
    let values = |element: &'c Element| match element {
        Element::Value(part) => Some(part),
        Element::Slots { .. } => None,
    };
    let parts: Vec<&'c Part> = c.data(direction).iter().filter_map(values).collect();
    parts.iter().find(|p| p.name == *name.get_ref()).copied().ok_or_else(|| {
        let names: Vec<String> = parts.iter().map(|p| p.name.clone()).collect();
        let near = words::nearest(name.get_ref(), &names)
            .map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
        let side = if direction == Direction::Request { "request" } else { "reply" };
        let wrong = format!("the {side} of command {} has no \"{}\"", c.number, name.get_ref());
        let right = match names.is_empty() {
            true => format!("that {side} has no values: name other commands"),
            false => format!("{near}it has {}", names.join(", ")),
        };
        Fault::new(&name.span(), wrong, right)
    })
}

/// The value that says which one is meant, and its last.
fn each(
    table: &Spanned<SettingTable>,
    reader: &Command,
    writer: &Command,
) -> Result<Option<(String, u8)>, Fault> {
    let t = table.get_ref();
    match (&t.each, &t.last) {
        (None, None) => {
            let selects = reader.selectors().next();
            match selects {
                None => Ok(None),
                Some(name) => {
                    let wrong = format!("command {} wants {name}, which selects", reader.number);
                    let right = format!("add each = \"{name}\" and last = its last value");
                    Err(Fault::new(&table.span(), wrong, right))
                }
            }
        }
        (Some(name), Some(last)) => {
            for c in [reader, writer] {
                let p = part(c, Direction::Request, name)?;
                if !p.selects {
                    let wrong = format!("\"{}\" of command {} does not select", p.name, c.number);
                    return Err(Fault::new(&name.span(), wrong, "give it selects = true there"));
                }
            }
            Ok(Some((name.get_ref().clone(), whole(last, "last", 0..=255)?)))
        }
        (Some(name), None) => {
            Err(Fault::new(&name.span(), "each has no last", "add last = its last value, 0 to 255"))
        }
        (None, Some(last)) => {
            Err(Fault::new(&last.span(), "last has no each", "add each = the value that selects"))
        }
    }
}
