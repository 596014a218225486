//! Files that people write in TOML: numbers that ask for what they want in plain words, faults with the place
//! and what would be right.

pub mod words;

use super::types::{Place, TextError};
use core::fmt;
use core::ops::{Range, RangeInclusive};
use serde::Deserialize;
use serde::de::{Deserializer, Error, MapAccess, Visitor, value::MapAccessDeserializer};
use serde_json::Value as Json;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// What kinds of files people write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileKind {
    /// A bench.
    Bench,
    /// A description of a device type.
    Description,
    /// A wiring sheet.
    Sheet,
    /// A list of known deviations of a device.
    KnownDeviations,
    /// Limits of a travel test.
    Limits,
    /// Answers in place of a person's.
    Answers,
    /// Causes, symptoms and checks of fault finding.
    Knowledge,
}

impl fmt::Display for FileKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            FileKind::Bench => "bench file",
            FileKind::Description => "description",
            FileKind::Sheet => "wiring sheet",
            FileKind::KnownDeviations => "list of known deviations",
            FileKind::Limits => "file of limits",
            FileKind::Answers => "file of answers",
            FileKind::Knowledge => "file of knowledge",
        })
    }
}

/// What is wrong in a file that somebody wrote, where, and what would be right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileError {
    /// What kind of file it is.
    pub what: FileKind,
    /// The file as it was named.
    pub path: PathBuf,
    /// Where; `None` when the file could not be read at all.
    pub place: Option<Place>,
    /// What is wrong.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl FileError {
    /// The file with line and column, such as `bench.toml:3:12`.
    pub fn location(&self) -> String {
        match &self.place {
            Some(p) => format!("{}:{}:{}", self.path.display(), p.line, p.column),
            None => self.path.display().to_string(),
        }
    }

    /// What is wrong, and the line with a mark below the place.
    pub fn wrong_with_line(&self) -> String {
        match &self.place {
            Some(p) => p.below(&self.wrong),
            None => self.wrong.clone(),
        }
    }
}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}\n  next: {}", self.location(), self.wrong_with_line(), self.right)
    }
}

impl std::error::Error for FileError {}

/// Takes the null out, which TOML cannot write, and the line ends of our comments.
pub fn for_toml(part: &mut Json) {
    match part {
        Json::Array(list) => list.iter_mut().for_each(for_toml),
        Json::Object(map) => {
            if let Some(Json::String(text)) = map.get_mut("description") {
                *text = text.replace('\n', " ");
            }
            for key in ["type", "anyOf"] {
                let Some(Json::Array(list)) = map.get_mut(key) else { continue };
                list.retain(|one| *one != "null" && one["type"] != "null");
                if list.len() > 1 {
                    continue;
                }
                match (key, list.pop()) {
                    ("type", Some(only)) => drop(map.insert(key.to_owned(), only)),
                    (_, Some(Json::Object(only))) => {
                        map.shift_remove(key);
                        map.extend(only);
                    }
                    _ => {}
                }
            }
            map.values_mut().for_each(for_toml);
        }
        _ => {}
    }
}

/// Something wrong at an octet of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Which octet.
    pub at: usize,
    /// What is wrong.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl Fault {
    /// A fault where a span begins.
    pub fn new(at: &Range<usize>, wrong: impl Into<String>, right: impl Into<String>) -> Fault {
        Fault { at: at.start, wrong: wrong.into(), right: right.into() }
    }

    /// The fault in a file of the kind `what`, whose text is given. One that is at the first name of a heading is told
    /// where the heading's brackets begin.
    pub fn in_file(self, what: FileKind, path: &Path, text: &str) -> FileError {
        let place = Some(Place::of(text, heading_at(text, self.at)));
        FileError { what, path: path.to_path_buf(), place, wrong: self.wrong, right: self.right }
    }
}

/// Where the brackets of a heading begin whose first name stands at `at`; `at` where there is no such heading.
fn heading_at(text: &str, at: usize) -> usize {
    let Some((before, rest)) = text.split_at_checked(at) else { return at };
    let line = before.rsplit('\n').next().unwrap_or("");
    let brackets = line.trim_start();
    // Pairs of numbers on a line of their own begin with a bracket too.
    let is_list = rest.lines().next().is_some_and(|rest| rest.contains(','));
    if !is_list && matches!(brackets, "[" | "[[") { at - brackets.len() } else { at }
}

/// A whole number, also one that is too large for TOML; unlike `i64` it asks for one in plain words.
#[derive(Clone, Copy, Debug)]
pub struct Whole(pub i128);

/// A number with or without a point; unlike `f64` it asks for one in plain words.
#[derive(Clone, Copy, Debug)]
pub struct Number(pub f64);

struct WholeVisitor;

impl Visitor<'_> for WholeVisitor {
    type Value = Whole;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a whole number")
    }
    fn visit_i64<E: Error>(self, n: i64) -> Result<Whole, E> {
        Ok(Whole(n.into()))
    }
    fn visit_u64<E: Error>(self, n: u64) -> Result<Whole, E> {
        Ok(Whole(n.into()))
    }
}

impl<'de> Deserialize<'de> for Whole {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(WholeVisitor)
    }
}

struct NumberVisitor;

impl Visitor<'_> for NumberVisitor {
    type Value = Number;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a number")
    }
    fn visit_i64<E: Error>(self, n: i64) -> Result<Number, E> {
        Ok(Number(n as f64))
    }
    fn visit_u64<E: Error>(self, n: u64) -> Result<Number, E> {
        Ok(Number(n as f64))
    }
    fn visit_f64<E: Error>(self, x: f64) -> Result<Number, E> {
        Ok(Number(x))
    }
}

/// A number, a text, a date or true or false, as the text that a person would type for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plain(pub String);

struct PlainVisitor;

impl<'de> Visitor<'de> for PlainVisitor {
    type Value = Plain;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a number, a text in quotes or a date")
    }
    fn visit_str<E: Error>(self, text: &str) -> Result<Plain, E> {
        Ok(Plain(text.to_owned()))
    }
    fn visit_i64<E: Error>(self, n: i64) -> Result<Plain, E> {
        Ok(Plain(n.to_string()))
    }
    fn visit_u64<E: Error>(self, n: u64) -> Result<Plain, E> {
        Ok(Plain(n.to_string()))
    }
    fn visit_f64<E: Error>(self, x: f64) -> Result<Plain, E> {
        Ok(Plain(if x.is_nan() { "not-a-number".to_owned() } else { x.to_string() }))
    }
    fn visit_map<M: MapAccess<'de>>(self, map: M) -> Result<Plain, M::Error> {
        // TOML's own dates come as a map with one key that only its reader knows.
        let date = toml::value::Datetime::deserialize(MapAccessDeserializer::new(map))?;
        Ok(Plain(date.to_string()))
    }
}

impl<'de> Deserialize<'de> for Plain {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(PlainVisitor)
    }
}

impl<'de> Deserialize<'de> for Number {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(NumberVisitor)
    }
}

/// A number in a range; a not-a-number is in none.
///
/// # Errors
/// It is outside.
pub fn number(n: &Spanned<Number>, key: &str, unit: &str, range: RangeInclusive<f64>) -> Result<f64, Fault> {
    let value = n.get_ref().0;
    if range.contains(&value) {
        return Ok(value);
    }
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    let wrong = format!("{key} is {value}{unit}");
    let right = format!("give {} to {}{unit}", range.start(), range.end());
    Err(Fault::new(&n.span(), wrong, right))
}

/// A whole number in a range, as the type that holds it.
///
/// # Errors
/// It is outside.
pub fn whole<T: TryFrom<i64>>(n: &Spanned<Whole>, key: &str, range: RangeInclusive<i64>) -> Result<T, Fault> {
    let value = n.get_ref().0;
    let fits = i64::try_from(value).ok().filter(|v| range.contains(v));
    fits.and_then(|v| T::try_from(v).ok()).ok_or_else(|| {
        let right = format!("give a whole number from {} to {}", range.start(), range.end());
        Fault::new(&n.span(), format!("{key} is {value}"), right)
    })
}

/// Why a text does not fit; what would be right is said by whoever knows the field.
pub fn misfit(e: TextError) -> String {
    match e {
        TextError::NotPackable { character, position } => {
            format!("character {position}, {character:?}, does not exist in packed ASCII")
        }
        TextError::NotLatin1 { character, position } => {
            format!("character {position}, {character:?}, does not exist in Latin-1")
        }
        TextError::TooLong { characters, room } => {
            format!("{characters} characters are more than {room}")
        }
    }
}
