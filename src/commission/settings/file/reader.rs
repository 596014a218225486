//! Reading a settings file: every key and every value is judged, and what is wrong is told with its place.

use super::super::parts::{IDENTITY, parts};
use super::super::{Content, Entry, Origin, Section, Settings, fields};
use super::FORMAT;
use crate::app::command::described::DeviceType;
use crate::app::command::setting::{Each, Part};
use crate::app::command::{Catalogue, Described, Kind, Revision, Value, ValueError, value::wanted};
use crate::app::types::Place;
use core::fmt;
use core::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Why a text is no settings file: where, what is wrong, what would be right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileError {
    /// The place.
    pub place: Place,
    /// What is wrong.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Place { line, column, .. } = self.place;
        write!(f, "line {line}, column {column}: {}\n  next: {}", self.place.below(&self.wrong), self.right)
    }
}

impl std::error::Error for FileError {}

/// Something wrong at an octet of the text.
struct Fault {
    at: usize,
    wrong: String,
    right: String,
}

impl Fault {
    fn new(at: Range<usize>, wrong: impl Into<String>, right: impl Into<String>) -> Fault {
        Fault { at: at.start, wrong: wrong.into(), right: right.into() }
    }
}

/// Reads the text of a settings file of the commands that every device shares.
///
/// # Errors
/// As [`from_text_by`].
pub fn from_text(text: &str) -> Result<Settings, FileError> {
    from_text_by(text, &Catalogue::default())
}

/// Reads the text of a settings file; sections of described commands by the description of the device type that
/// the file names, or by the only one there is.
///
/// # Errors
/// The first thing that is wrong: a key that nobody knows, a value that cannot stand in its place.
pub fn from_text_by(text: &str, catalogue: &Catalogue) -> Result<Settings, FileError> {
    read(text, catalogue, Foreign::Refused)
}

/// As [`from_text_by`], but sections of described commands are passed over where nothing describes the device's type: what
/// every device shares can be read without.
///
/// # Errors
/// As [`from_text_by`].
pub fn shared_from_text(text: &str, catalogue: &Catalogue) -> Result<Settings, FileError> {
    read(text, catalogue, Foreign::PassedOver)
}

/// What becomes of sections of commands that nothing describes.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Foreign {
    Refused,
    PassedOver,
}

fn read(text: &str, catalogue: &Catalogue, foreign: Foreign) -> Result<Settings, FileError> {
    let told = |f: Fault| FileError { place: Place::of(text, f.at), wrong: f.wrong, right: f.right };
    let table = DeTable::parse(text).map_err(|e| {
        let said = e.message().trim_end().replace('\n', ", ");
        told(Fault::new(
            e.span().unwrap_or(0..0),
            format!("this is no TOML: {said}"),
            "write `name = value` below [heading], text in double quotes; or save the settings anew",
        ))
    })?;
    let mut faults = Vec::new();
    let settings = whole(table.get_ref(), catalogue, foreign, &mut faults);
    // The parser sorts keys; people read from the top.
    match faults.into_iter().min_by_key(|f| f.at) {
        Some(fault) => Err(told(fault)),
        None => Ok(settings),
    }
}

type Value0<'a, 'i> = &'a Spanned<DeValue<'i>>;

fn whole(table: &DeTable<'_>, catalogue: &Catalogue, foreign: Foreign, faults: &mut Vec<Fault>) -> Settings {
    let get = |name: &str| table.iter().find(|(k, _)| k.get_ref() == name).map(|(_, v)| v);
    match get("looprig_settings").map(|v| (v, number(v))) {
        Some((_, Some(FORMAT))) => {}
        Some((v, Some(n))) => faults.push(Fault::new(
            v.span(),
            format!("this file has format {n}, and this looprig reads format {FORMAT}"),
            "read it with the looprig that wrote it, or save the settings anew",
        )),
        Some((v, None)) => {
            faults.push(Fault::new(v.span(), "this is no number of a format", format!("write {FORMAT}")));
        }
        None => faults.push(Fault::new(
            0..0,
            "looprig_settings is missing, so this is no settings file",
            format!(
                "name a file that `looprig settings save` wrote; its first key is looprig_settings = {FORMAT}"
            ),
        )),
    }
    let revision = get("revision").map(|v| (v, number(v)));
    let revision = match revision {
        Some((v, n)) => {
            let known = n.and_then(|n| u8::try_from(n).ok()).and_then(Revision::new);
            if known.is_none() {
                faults.push(Fault::new(v.span(), "this is no revision that looprig knows", "give 5, 6 or 7"));
            }
            known
        }
        None => {
            faults.push(Fault::new(0..0, "revision is missing", "give the device's: revision = 7"));
            None
        }
    };
    let mut settings = Settings {
        origin: Origin::default(),
        revision: revision.unwrap_or(Revision::R7),
        sections: Vec::new(),
    };
    // What the device is says which description is its own.
    if let Some((key, value)) = table.iter().find(|(key, _)| key.get_ref() == IDENTITY)
        && let Some(part) = Part::of(IDENTITY)
    {
        sections(part, key.span(), value, &mut settings, faults);
    }
    let described = described(&settings, catalogue);
    let is_foreign = |heading: &str| heading.starts_with("described_") && described.is_none();
    for (key, value) in table.iter() {
        let origin = &mut settings.origin;
        match key.get_ref().as_ref() {
            "looprig_settings" | "revision" => {}
            "looprig" => origin.looprig = string(value, faults),
            "saved" => origin.saved = string(value, faults),
            "line" => origin.line = string(value, faults),
            IDENTITY => {}
            heading => match parts(described).find(|p| p.heading == heading) {
                Some(part) => sections(part, key.span(), value, &mut settings, faults),
                None if is_foreign(heading) && foreign == Foreign::PassedOver => {}
                None if is_foreign(heading) => faults.push(Fault::new(
                    key.span(),
                    format!("`{heading}` is of commands that belong to a device type"),
                    "name the file that describes the type with --description, or take the section out",
                )),
                None => {
                    let headings: Vec<&str> = parts(described).map(|p| p.heading).collect();
                    faults.push(Fault::new(
                        key.span(),
                        format!("there is no heading or key `{heading}` here"),
                        format!("the headings are {}", headings.join(", ")),
                    ));
                }
            },
        }
    }
    settings.sections.sort_by_key(|s| (parts(described).position(|p| p == s.part), s.number));
    settings
}

/// The description of the type of device that the settings are of.
fn described(settings: &Settings, catalogue: &Catalogue) -> Option<&'static Described> {
    let number = |name| settings.identity(name).and_then(|e| e.value.number());
    let of = match (number("expanded_device_type"), number("manufacturer"), number("device_type")) {
        (Some(t), ..) => u16::try_from(t).ok().map(DeviceType::Expanded),
        (None, Some(m), Some(t)) => u8::try_from(m)
            .ok()
            .zip(u8::try_from(t).ok())
            .map(|(manufacturer, device_type)| DeviceType::Short { manufacturer, device_type }),
        _ => match catalogue.all() {
            [only] => return Some(only),
            _ => None,
        },
    };
    catalogue.described_whole(of?)
}

fn sections(
    part: &'static Part,
    at: Range<usize>,
    value: Value0<'_, '_>,
    settings: &mut Settings,
    faults: &mut Vec<Fault>,
) {
    let heading = part.heading;
    let Some(table) = value.get_ref().as_table() else {
        let right = format!("write it as a heading, [{heading}], with its values below");
        faults.push(Fault::new(value.span(), format!("{heading} is a heading, not a value"), right));
        return;
    };
    if fields::fields(part, settings.revision).is_empty() {
        let wrong = format!("revision {} has no command that reads {heading}", settings.revision);
        faults.push(Fault::new(at, wrong, "take the section out, or put the right revision in"));
        return;
    }
    if part.each == Each::Once {
        section(part, None, table, settings, faults);
        return;
    }
    for (key, value) in table.iter() {
        // Not every text that parses is the number's own: `01` and `1` would be one section twice.
        let text = key.get_ref();
        let number = text.parse::<u8>().ok().filter(|n| n.to_string() == *text.as_ref());
        match (number, value.get_ref().as_table()) {
            (Some(number), Some(table)) => section(part, Some(number), table, settings, faults),
            _ => faults.push(Fault::new(
                key.span(),
                format!("`{text}` is no heading below {heading}"),
                format!("give its number from 0 to 255: [{heading}.0]"),
            )),
        }
    }
}

fn section(
    part: &'static Part,
    number: Option<u8>,
    table: &DeTable<'_>,
    settings: &mut Settings,
    faults: &mut Vec<Fault>,
) {
    let known = fields::fields(part, settings.revision);
    let mut entries = Vec::new();
    let mut alone = None;
    let mut cut = false;
    for (key, value) in table.iter() {
        let name = key.get_ref().as_ref();
        if name == "refused" || name == "unread" {
            match self::number(value).and_then(|n| u8::try_from(n).ok()) {
                Some(code) if table.len() == 1 => {
                    let content = if name == "unread" { Content::Unread } else { Content::Refused };
                    alone = Some(content(code));
                }
                _ => faults.push(Fault::new(
                    key.span(),
                    format!("{name} stands alone, with a response code from 0 to 255"),
                    "take it out where there are values",
                )),
            }
            continue;
        }
        if name == "cut_short" {
            cut = value.get_ref().as_bool() == Some(true);
            if !cut {
                let right = "take it out where the section is whole";
                faults.push(Fault::new(value.span(), "cut_short can be true alone", right));
            }
            continue;
        }
        let Some(field) = part.names().find(|n| *n == name).and(known.iter().find(|k| k.name == name)) else {
            let names: Vec<&str> = part.names().filter(|n| known.iter().any(|k| k.name == *n)).collect();
            faults.push(Fault::new(
                key.span(),
                format!("there is no value `{name}` here"),
                format!("the values here are {}", names.join(", ")),
            ));
            continue;
        };
        match entry_value(field, value.get_ref()) {
            Ok(value) => entries.push(Entry { name: name.to_owned(), field: field.field, value }),
            Err(e) => faults.push(Fault::new(
                value.span(),
                format!("{name}: {e}"),
                format!("give {}", wanted(field.field.kind)),
            )),
        }
    }
    let place = |e: &Entry| part.names().position(|n| n == e.name);
    entries.sort_by_key(place);
    let content = match alone {
        Some(content) => content,
        None if cut => Content::CutShort(entries),
        None => Content::Values(entries),
    };
    settings.sections.push(Section { part, number, content });
}

fn entry_value(known: &fields::Known, given: &DeValue<'_>) -> Result<Value, ValueError> {
    let kind = known.field.kind;
    let wrong = |given: &str| ValueError::Kind { given: given.to_owned(), wanted: wanted(kind) };
    let decimal = matches!(kind, Kind::Float | Kind::Time);
    let value = match given {
        DeValue::String(text) => Value::from_text(kind, text)?,
        DeValue::Integer(n) if decimal && n.radix() == 10 => Value::from_text(kind, n.as_str())?,
        DeValue::Integer(n) if kind.is_integer() => {
            let number = u32::from_str_radix(n.as_str(), n.radix());
            Value::Number(number.map_err(|_| wrong(&n.to_string()))?)
        }
        DeValue::Integer(n) => return Err(wrong(&n.to_string())),
        DeValue::Float(x) if decimal => Value::from_text(kind, x.as_str())?,
        DeValue::Float(x) => return Err(wrong(x.as_str())),
        DeValue::Datetime(d) if matches!(kind, Kind::Date) => Value::from_text(kind, &d.to_string())?,
        other => return Err(wrong(other.type_str())),
    };
    if let (Some(width), Some(n)) = (known.width, value.number()) {
        let most = u32::from(u8::MAX >> (8 - width.min(8)));
        if n > most {
            return Err(ValueError::Range { most });
        }
    }
    // As the octets will have it: text without the blanks at its end, which nobody can see.
    Ok(Value::read(kind, &value.write(kind)?))
}

fn number(value: Value0<'_, '_>) -> Option<u32> {
    let n = value.get_ref().as_integer()?;
    u32::from_str_radix(n.as_str(), n.radix()).ok()
}

fn string(value: Value0<'_, '_>, faults: &mut Vec<Fault>) -> String {
    if let Some(text) = value.get_ref().as_str() {
        return text.to_owned();
    }
    faults.push(Fault::new(value.span(), "a text is wanted here", "put it between double quotes"));
    String::new()
}
