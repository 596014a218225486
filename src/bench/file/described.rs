//! Devices that answer the described commands of their type.

use super::described_tables::{AnswerTable, ValueTable};
use super::shape::DeviceTable;
use super::{Fault, FileError, LoadDescription, whole, words};
use crate::app::command::described::{Part, PartKind};
use crate::app::command::value::hex;
use crate::app::command::{
    Catalogue, CommandSpec, Described, Item, Kind, Layout, Missing, Revision, Value, layout,
};
use crate::app::status::CodeClass;
use crate::device::{DescribedAnswer, DescribedAnswers, DeviceConfig, described_is_of, described_place};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use toml::Spanned;

/// Most octets of a reply's data.
const ROOM: usize = 253;

/// Loads each description once, and keeps what went wrong in one.
pub(super) struct Loader<'a> {
    load: &'a mut LoadDescription<'a>,
    loaded: BTreeMap<PathBuf, &'static Described>,
    catalogue: Catalogue,
    failure: Option<FileError>,
}

impl<'a> Loader<'a> {
    pub fn new(load: &'a mut LoadDescription<'_>) -> Self {
        Loader { load, loaded: BTreeMap::new(), catalogue: Catalogue::default(), failure: None }
    }

    /// Every description that was loaded.
    pub fn catalogue(&self) -> Catalogue {
        self.catalogue.clone()
    }

    /// What is wrong in a description, or with its file: told instead of the place that names it.
    pub fn take_failure(&mut self) -> Option<FileError> {
        self.failure.take()
    }

    fn load(&mut self, name: &Spanned<String>, directory: &Path) -> Result<&'static Described, Fault> {
        let path = directory.join(name.get_ref());
        if let Some(known) = self.loaded.get(&path) {
            return Ok(known);
        }
        let described = (self.load)(&path).map_err(|e| {
            let fault = Fault::new(&name.span(), format!("{}: {}", e.location(), e.wrong), e.right.clone());
            // A file that is not there is best looked for where it is named.
            self.failure = Some(e).filter(|e| e.place.is_some());
            fault
        })?;
        self.catalogue
            .add(described)
            .map_err(|e| Fault::new(&name.span(), e.to_string(), "give each device type one description"))?;
        self.loaded.insert(path, described);
        Ok(described)
    }
}

/// Reads what a device says of described commands into its set-up.
pub(super) fn answers(
    table: &Spanned<DeviceTable>,
    c: &mut DeviceConfig,
    directory: &Path,
    loader: &mut Loader<'_>,
) -> Result<(), Fault> {
    let t = table.get_ref();
    let Some(name) = &t.description else {
        let stray = t.command.first().map(|c| (c.span(), "a command is given"));
        let stray = stray.or_else(|| t.stored.first().map(|s| (s.span(), "stored values are given")));
        let Some((span, what)) = stray else { return Ok(()) };
        let right =
            "add description = \"FILE.toml\" to the device: it says what the commands of its type are";
        return Err(Fault::new(&span, format!("{what}, and no description"), right));
    };
    let described = loader.load(name, directory)?;
    if !described.description().types.contains(&c.identity.full_type()) {
        let types: Vec<String> = described.description().types.iter().map(ToString::to_string).collect();
        let wrong = format!(
            "{} describes other devices: {}; this one has device_type 0x{:02X} in revision {}",
            described.file(),
            types.join("; "),
            c.identity.device_type,
            c.identity.revision
        );
        let right = "give the device a device_type that is described, or name another description";
        return Err(Fault::new(&name.span(), wrong, right));
    }
    let mut answers = DescribedAnswers::new(described);
    let mut seen = BTreeSet::new();
    let mut kept: BTreeMap<(Vec<&str>, &str), &Part> = BTreeMap::new();
    for table in &t.command {
        let (number, answer) = answer(table, described, c)?;
        if answer == DescribedAnswer::Stored {
            alike(table, number, described, &mut kept)?;
        }
        if !seen.insert(number) {
            let at = table.get_ref().number.as_ref().map_or(table.span(), Spanned::span);
            let right = "give every command one answer";
            return Err(Fault::new(&at, format!("command {number} is answered twice"), right));
        }
        answers.answer(number, answer);
    }
    c.factory.described = stored(&t.stored, &answers, described, c)?;
    c.described = Some(answers);
    Ok(())
}

fn answer(
    table: &Spanned<AnswerTable>,
    described: &'static Described,
    c: &DeviceConfig,
) -> Result<(u8, DescribedAnswer), Fault> {
    let t = table.get_ref();
    let Some(number) = &t.number else {
        let right = "add number = 130, or what it has";
        return Err(Fault::new(&table.span(), "this command has no number", right));
    };
    let n: u8 = whole(number, "number", 128..=253)?;
    let Some(row) = described.spec(n) else {
        let wrong = format!("command {n} is not described in {}", described.file());
        return Err(Fault::new(&number.span(), wrong, "describe it there first, or leave it out"));
    };
    let Some(form) = row.form(c.identity.revision) else {
        let wrong =
            format!("command {n} is not of revision {}, which this device speaks", c.identity.revision);
        return Err(Fault::new(
            &number.span(),
            wrong,
            "leave it out, or change its revisions in the description",
        ));
    };
    let canned = [
        t.code.as_ref().map(|k| (k.span(), "code")),
        t.data.as_ref().map(|k| (k.span(), "data")),
        t.values.as_ref().map(|k| (k.span(), "values")),
    ];
    let canned = canned.into_iter().flatten().next();
    let answer = match (&t.answer, canned) {
        (Some(_), Some((span, key))) => {
            let right = "give answer, or code with data or values";
            return Err(Fault::new(&span, format!("answer and {key} are both given"), right));
        }
        (Some(word), None) => {
            let words = [("stored", DescribedAnswer::Stored), ("echo", DescribedAnswer::Echo)];
            let words: Vec<(&str, &DescribedAnswer)> = words.iter().map(|(w, a)| (*w, a)).collect();
            words::one_of(word, "answer", &words)?.clone()
        }
        (None, None) => {
            let right = "add answer = \"stored\" or \"echo\", or code with data or values for one that is always the same";
            return Err(Fault::new(&table.span(), format!("how command {n} is answered is not said"), right));
        }
        (None, Some(_)) => canned_answer(t, row, form.reply)?,
    };
    Ok((n, answer))
}

/// What is kept under one name has one type in all commands.
fn alike(
    table: &Spanned<AnswerTable>,
    number: u8,
    described: &'static Described,
    kept: &mut BTreeMap<(Vec<&'static str>, &'static str), &'static Part>,
) -> Result<(), Fault> {
    let Some(command) = described.description().command(number) else { return Ok(()) };
    let selectors: Vec<&str> = command.selectors().collect();
    let parts = command.request.iter().chain(&command.reply).flat_map(|e| e.parts());
    for part in parts.filter(|p| !selectors.contains(&p.name.as_str())) {
        let at = table.get_ref().number.as_ref().map_or(table.span(), Spanned::span);
        let wrong = if part.kind == PartKind::Rest {
            format!("\"{}\" of command {number} has no length of its own and cannot be stored", part.name)
        } else {
            let before = kept.insert((selectors.clone(), &part.name), part);
            if before.is_none_or(|before| before.kind == part.kind) {
                continue;
            }
            format!("\"{}\" has another type in command {number} than in a stored command before", part.name)
        };
        return Err(Fault::new(&at, wrong, "answer with data, or with \"echo\""));
    }
    Ok(())
}

fn canned_answer(t: &AnswerTable, row: &CommandSpec, reply: Layout) -> Result<DescribedAnswer, Fault> {
    let code: u8 = t.code.as_ref().map_or(Ok(0), |n| whole(n, "code", 0..=127))?;
    let refused = CodeClass::of(code) == CodeClass::Error;
    let given = t.data.as_ref().map(Spanned::span).or(t.values.as_ref().map(Spanned::span));
    if let Some(span) = given.filter(|_| refused) {
        let right =
            "leave the data out, or give a code of success (0) or of a warning (8, 14, 30, 112 to 127)";
        return Err(Fault::new(&span, format!("code {code} refuses, and a refusal has no data"), right));
    }
    let data = match (&t.data, &t.values) {
        (Some(data), Some(_)) => {
            return Err(Fault::new(&data.span(), "data and values are both given", "give one of them"));
        }
        (Some(data), None) => {
            let octets = hex(data.get_ref()).filter(|o| o.len() <= ROOM);
            octets.ok_or_else(|| {
                let right = format!("give at most {ROOM} octets as pairs of hex digits, such as \"00 1F\"");
                Fault::new(&data.span(), format!("\"{}\" is no data", data.get_ref()), right)
            })?
        }
        (None, Some(values)) => by_name(values, row, reply)?,
        (None, None) => Vec::new(),
    };
    Ok(DescribedAnswer::Canned { code, data })
}

/// Data of a reply from values by name.
fn by_name(values: &Spanned<ValueTable>, row: &CommandSpec, reply: Layout) -> Result<Vec<u8>, Fault> {
    let table = values.get_ref();
    let mut names: Vec<String> = Vec::new();
    // Octets of 00 make a value of every kind, and so every name is asked for.
    let _ = layout::encode(reply, Missing::Ends, &mut |name, kind: Kind| {
        names.push(name.to_owned());
        Ok(Some(Value::read(kind, &vec![0; kind.len()])))
    });
    if let Some(name) = table.keys().find(|name| !names.contains(name.get_ref())) {
        let near =
            words::nearest(name.get_ref(), &names).map_or(String::new(), |n| format!("did you mean {n}? "));
        let wrong = format!("the reply of command {} has no value called {}", row.number, name.get_ref());
        let right = match names.is_empty() {
            true => "leave values out: it has no data".to_owned(),
            false => format!("{near}it has {}", names.join(", ")),
        };
        return Err(Fault::new(&name.span(), wrong, right));
    }
    let mut spoilt = None;
    let mut asked: Vec<String> = Vec::new();
    let mut lacks = None;
    let made = layout::encode(reply, Missing::Error, &mut |name, kind| {
        asked.push(name.to_owned());
        let Some((_, text)) = table.iter().find(|(n, _)| n.get_ref() == name) else {
            lacks = Some(name.to_owned());
            return Ok(None);
        };
        Value::from_text(kind, &text.get_ref().0).and_then(|v| v.write(kind).map(|_| Some(v))).inspect_err(
            |_| {
                spoilt = Some(text.span());
            },
        )
    });
    let made = made.map_err(|e| {
        let right =
            format!("`looprig explain {} --description {}` shows what each may be", row.number, row.cites);
        Fault::new(&spoilt.unwrap_or(values.span()), e.to_string(), right)
    })?;
    // Behind one that is not given nothing is sent.
    if let Some(name) = table.keys().find(|name| !asked.contains(name.get_ref())) {
        let lacks = lacks.unwrap_or_default();
        let wrong = format!("{} is given without {lacks}, which stands before it", name.get_ref());
        return Err(Fault::new(
            &name.span(),
            wrong,
            format!("give {lacks} too, or leave out what is behind it"),
        ));
    }
    Ok(made)
}

/// What stored commands hold when the device is new, octets in hex by the place where they are kept.
fn stored(
    tables: &[Spanned<ValueTable>],
    answers: &DescribedAnswers,
    described: &'static Described,
    c: &DeviceConfig,
) -> Result<BTreeMap<String, String>, Fault> {
    let selectors = answers.selectors();
    let mut out = BTreeMap::new();
    // Values that nothing selects are there in any case.
    hold(&[], &ValueTable::new(), answers, described, c, &mut out)?;
    for table in tables {
        let mut selected: Vec<(&str, u32)> = Vec::new();
        for (name, value) in table.get_ref() {
            if let Some(&selector) = selectors.get(name.get_ref().as_str()) {
                let kind = kept_kind(described, answers, selector, c.identity.revision);
                let n = Value::from_text(kind, &value.get_ref().0).and_then(|v| v.write(kind).map(|_| v));
                let n = n.map_err(|e| {
                    Fault::new(&value.span(), format!("{selector}: {e}"), "give one that can be selected")
                })?;
                known_code(kind, &n).map_err(|(wrong, right)| {
                    Fault::new(&value.span(), format!("{selector}: {wrong}"), right)
                })?;
                selected.push((selector, n.number().unwrap_or_default()));
            }
        }
        if !selected.is_empty() && out.keys().any(|k: &String| described_is_of(k, &selected)) {
            let what: Vec<String> = selected.iter().map(|(name, n)| format!("{name} = {n}")).collect();
            let right = "write all its values into one table";
            return Err(Fault::new(&table.span(), format!("two tables are of {}", what.join(", ")), right));
        }
        hold(&selected, table.get_ref(), answers, described, c, &mut out)?;
    }
    Ok(out)
}

/// The kind in which the stored commands of a revision have a value, also one in slots.
fn kept_kind(
    described: &'static Described,
    answers: &DescribedAnswers,
    name: &str,
    revision: Revision,
) -> Kind {
    let rows = described.rows().iter().filter(|row| answers.is_stored(row.number));
    let layouts = rows.filter_map(|row| row.form(revision)).flat_map(|form| [form.request, form.reply]);
    let fields = layouts.flatten().flat_map(|item| match item {
        Item::Field(field) => core::slice::from_ref(field),
        Item::Slots { fields, .. } => *fields,
        _ => &[],
    });
    // Whoever asks has the name from there.
    fields.into_iter().find(|f| f.name == name).map_or(Kind::U8, |f| f.kind)
}

/// Whether a table has a code; if not, what is wrong and what would be right: the mock would refuse it itself.
fn known_code(kind: Kind, value: &Value) -> Result<(), (String, String)> {
    match (kind, value.number().and_then(|n| u8::try_from(n).ok())) {
        (Kind::Enum(table), Some(code)) if table.text(code).is_none() => {
            let codes: Vec<String> = table.rows.iter().map(|(code, text)| format!("{code} {text}")).collect();
            Err((
                format!("{code} is no code of {}", table.name),
                format!("its codes are {}", codes.join(", ")),
            ))
        }
        _ => Ok(()),
    }
}

/// What is kept as long as nobody has said anything: 0, no text, the first code of a table.
fn fresh(kind: Kind) -> Value {
    match kind {
        Kind::Packed(_) | Kind::Latin1(_) => Value::Text(String::new()),
        Kind::Enum(table) => Value::Number(table.rows.first().map_or(0, |row| row.0.into())),
        _ => Value::read(kind, &vec![0; kind.len()]),
    }
}

/// Adds the values of what is selected, those that are not given as 0 or empty.
fn hold(
    selected: &[(&str, u32)],
    given: &ValueTable,
    answers: &DescribedAnswers,
    described: &'static Described,
    c: &DeviceConfig,
    out: &mut BTreeMap<String, String>,
) -> Result<(), Fault> {
    let revision = c.identity.revision;
    let places = answers.places(selected, revision);
    let is_selector = |name: &str| selected.iter().any(|(s, _)| *s == name);
    for name in given.keys().filter(|n| !is_selector(n.get_ref())) {
        if !places.contains_key(name.get_ref()) {
            let names: Vec<String> = places.keys().cloned().collect();
            let near = words::nearest(name.get_ref(), &names)
                .map_or(String::new(), |n| format!("did you mean {n}? "));
            let right = match names.is_empty() {
                true => {
                    "answer a command that has it with \"stored\", and name here what that command selects by"
                        .to_owned()
                }
                false => format!("{near}there are {}", names.join(", ")),
            };
            return Err(Fault::new(
                &name.span(),
                format!("no stored command keeps {} here", name.get_ref()),
                right,
            ));
        }
    }
    for (name, part) in &places {
        let kind = kept_kind(described, answers, &part.name, revision);
        let value = given.iter().find(|(n, _)| n.get_ref() == name);
        let octets = match value {
            None => fresh(kind).write(kind).unwrap_or_default(),
            Some((_, text)) => {
                let fault = |wrong: String, right: String| {
                    Fault::new(&text.span(), format!("{name}: {wrong}"), right)
                };
                let value = Value::from_text(kind, &text.get_ref().0);
                let value = value.and_then(|v| v.write(kind).map(|octets| (v, octets)));
                let (value, octets) =
                    value.map_err(|e| fault(e.to_string(), "give a value of that kind".into()))?;
                known_code(kind, &value).map_err(|(wrong, right)| fault(wrong, right))?;
                octets
            }
        };
        let octets: String = octets.iter().map(|o| format!("{o:02X}")).collect();
        out.insert(described_place(selected, name), octets);
    }
    Ok(())
}
