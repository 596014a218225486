//! The bench file: text to a [`BenchPlan`], or to a message that says where it is wrong.

mod events;
mod faults;
mod lines;
mod masters;
mod names;
mod ranges;
pub(super) mod shape;
mod slow;
#[cfg(test)]
mod tests;
pub(super) mod words;

use super::plan::{BenchPlan, DevicePlan, LinePlan};
use crate::app::command::Revision;
use crate::app::types::{Date, Place, TextError, latin1, packed};
use crate::device::{DeviceConfig, Identity};
use crate::line::Clock;
use crate::time::{Drift, Pace};
use core::fmt;
use core::ops::{Range, RangeInclusive};
use core::time::Duration;
use lines::line;
use serde_json::Value as Json;
use shape::{BenchFile, DateText, DeviceTable, Number, PaceText, Whole};
use std::path::{Path, PathBuf};
use toml::Spanned;

/// Longest bench file, octets: far more than anybody writes by hand.
const LONGEST: u64 = 1 << 20;

const LOOP_CURRENT_MA: RangeInclusive<f64> = 0.0..=30.0;
const SUPPLY_PRESSURE_BAR: RangeInclusive<f64> = 0.0..=20.0;
/// Up to a year.
const TIME_S: RangeInclusive<f64> = 0.0..=31_536_000.0;

/// What is wrong in a bench file, where, and what would be right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BenchFileError {
    /// The file as it was named.
    pub path: PathBuf,
    /// Where; `None` when the file could not be read at all.
    pub place: Option<Place>,
    /// What is wrong.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl BenchFileError {
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

impl fmt::Display for BenchFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}\n  next: {}", self.location(), self.wrong_with_line(), self.right)
    }
}

impl std::error::Error for BenchFileError {}

/// The JSON Schema of a bench file, for editors.
pub fn schema() -> String {
    let mut schema = schemars::schema_for!(BenchFile).to_value();
    for_toml(&mut schema);
    // A schema is made of strings and numbers alone, so it can always be written.
    serde_json::to_string_pretty(&schema).unwrap_or_default()
}

/// Takes the null out, which TOML cannot write, and the line ends of our comments.
pub(super) fn for_toml(part: &mut Json) {
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

/// Reads a bench file.
///
/// # Errors
/// It cannot be read, or [`check`] finds something.
pub fn read(path: &Path) -> Result<BenchPlan, BenchFileError> {
    let text = read_text(
        path,
        "a bench file",
        "every key: looprig mock --schema; the smallest is\n    \
         [[device]]\n    tag = \"FV-3104\"\n    [[line]]\n    at = \"pty:\"",
    )?;
    check(&text, path)
}

/// The text of a file that a person wrote; `what` it should be, and how to write one.
pub(super) fn read_text(path: &Path, what: &str, how: &str) -> Result<String, BenchFileError> {
    use std::io::Read;
    let failed =
        |wrong: String, right: String| BenchFileError { path: path.to_path_buf(), place: None, wrong, right };
    let mut text = String::new();
    let file = std::fs::File::open(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => {
            failed("there is no such file".into(), format!("name {what} that exists, or write one; {how}"))
        }
        _ => failed(e.to_string(), format!("name {what} that you may read")),
    })?;
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        return Err(failed("it is a directory".into(), format!("name {what} in it")));
    }
    match file.take(LONGEST + 1).read_to_string(&mut text) {
        Ok(n) if n as u64 > LONGEST => {
            Err(failed("it is larger than 1 MiB".into(), format!("name {what}, which is a short text")))
        }
        Ok(_) => Ok(text),
        Err(e) => Err(failed(e.to_string(), format!("name {what}, which is text in UTF-8"))),
    }
}

/// Makes a plan of the text of a bench file; `path` is what messages call it, and other files are
/// looked for beside it. Nothing is opened.
///
/// # Errors
/// The first thing that is wrong, with its place.
pub fn check(text: &str, path: &Path) -> Result<BenchPlan, BenchFileError> {
    let fault = |f: Fault| BenchFileError {
        path: path.to_path_buf(),
        place: Some(Place::of(text, f.at)),
        wrong: f.wrong,
        right: f.right,
    };
    match toml::from_str::<BenchFile>(text) {
        Ok(file) => plan(&file, text, path).map_err(fault),
        Err(e) => Err(fault(words::plain(e.message(), e.span(), text))),
    }
}

/// Something wrong at an octet of the text.
pub(super) struct Fault {
    pub at: usize,
    pub wrong: String,
    pub right: String,
}

impl Fault {
    pub fn new(at: &Range<usize>, wrong: impl Into<String>, right: impl Into<String>) -> Fault {
        Fault { at: at.start, wrong: wrong.into(), right: right.into() }
    }
}

fn plan(file: &BenchFile, text: &str, path: &Path) -> Result<BenchPlan, Fault> {
    let directory = path.parent().unwrap_or(Path::new(""));
    let end = text.len()..text.len();
    let pace = file.pace.as_ref().map_or(Ok(Pace::Wire), pace)?;
    let seed = file.seed.as_ref().map(|n| whole(n, "seed", 0..=i64::MAX)).transpose()?;
    let current_ma = file.current_loop.as_ref().and_then(|l| l.current_ma.as_ref());
    let current_ma = current_ma.map(|n| number(n, "current_ma", "mA", LOOP_CURRENT_MA)).transpose()?;
    let tables = file.device.as_deref().unwrap_or_default();
    if tables.is_empty() {
        let right = "add one, such as:\n    [[device]]\n    tag = \"FV-3104\"";
        return Err(Fault::new(&end, "the bench has no device", right));
    }
    let mut devices: Vec<DevicePlan> = Vec::new();
    for table in tables {
        let device = device(table, current_ma, directory)?;
        distinct(&devices, &device, table)?;
        devices.push(device);
    }
    let tables = file.line.as_deref().unwrap_or_default();
    if tables.is_empty() {
        let right = "add one, such as:\n    [[line]]\n    at = \"pty:\"";
        return Err(Fault::new(&end, "the bench has no line, so nobody could reach it", right));
    }
    let mut lines: Vec<LinePlan> = Vec::new();
    for table in tables {
        let (line, span) = line(table, directory)?;
        if lines.iter().any(|l| l.kind.is_same_place(&line.kind)) {
            let wrong = format!("two lines are at \"{}\"", line.at);
            return Err(Fault::new(&span, wrong, "give every line a place of its own"));
        }
        lines.push(line);
    }
    let mut events = file.event.iter().map(|e| events::event(e, &devices)).collect::<Result<Vec<_>, _>>()?;
    // Stable: what stands first in the file happens first.
    events.sort_by_key(|e| e.at);
    Ok(BenchPlan {
        path: path.to_path_buf(),
        pace,
        seed,
        masters: masters::masters(&file.master, &devices, &lines)?,
        devices,
        wire_faults: file.wire_fault.iter().map(faults::wire_fault).collect::<Result<_, _>>()?,
        lines,
        events,
    })
}

fn pace(text: &Spanned<PaceText>) -> Result<Pace, Fault> {
    Pace::parse(&text.get_ref().0).map_err(|_| {
        let wrong = format!("\"{}\" is no pace", text.get_ref().0);
        let right = "give \"wire\", \"fast\", or a number: how many times faster than the wire, 0.01 to 1000";
        Fault::new(&text.span(), wrong, right)
    })
}

/// A number in a range; a not-a-number is in none.
pub(super) fn number(
    n: &Spanned<Number>,
    key: &str,
    unit: &str,
    range: RangeInclusive<f64>,
) -> Result<f64, Fault> {
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
pub(super) fn whole<T: TryFrom<i64>>(
    n: &Spanned<Whole>,
    key: &str,
    range: RangeInclusive<i64>,
) -> Result<T, Fault> {
    let value = n.get_ref().0;
    let fits = i64::try_from(value).ok().filter(|v| range.contains(v));
    fits.and_then(|v| T::try_from(v).ok()).ok_or_else(|| {
        let right = format!("give a whole number from {} to {}", range.start(), range.end());
        Fault::new(&n.span(), format!("{key} is {value}"), right)
    })
}

fn packed_text(text: &Spanned<String>, key: &str, octets: usize) -> Result<String, Fault> {
    let value = text.get_ref();
    match packed::pack(value, octets) {
        Ok(_) => Ok(value.clone()),
        Err(e) => {
            let capital = value.to_uppercase();
            let right = if capital != *value && packed::pack(&capital, octets).is_ok() {
                format!("write it in capital letters: {key} = \"{capital}\"")
            } else {
                format!(
                    "give up to {} characters: capital letters A to Z, digits, space and the signs up to _",
                    packed::room(octets)
                )
            };
            Err(Fault::new(&text.span(), format!("{key} \"{value}\": {}", misfit(e)), right))
        }
    }
}

/// Why a text does not fit; what would be right is said by whoever knows the field.
fn misfit(e: TextError) -> String {
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

/// Refuses what the device's revision does not have.
fn since<T>(key: &Spanned<T>, name: &str, revision: Revision, first: Revision) -> Result<(), Fault> {
    if revision >= first {
        return Ok(());
    }
    let right = format!("leave {name} out, or give the device revision = {first}");
    Err(Fault::new(&key.span(), format!("a device of revision {revision} has no {name}"), right))
}

fn device(
    table: &Spanned<DeviceTable>,
    current_ma: Option<f64>,
    directory: &Path,
) -> Result<DevicePlan, Fault> {
    let t = table.get_ref();
    let revision = match &t.revision {
        None => Revision::R7,
        Some(n) => u8::try_from(n.get_ref().0).ok().and_then(Revision::new).ok_or_else(|| {
            let wrong = format!("looprig knows no revision {}", n.get_ref().0);
            Fault::new(&n.span(), wrong, "give 5, 6 or 7")
        })?,
    };
    let mut c = DeviceConfig::new(revision);
    identity(t, &mut c.identity)?;
    stored(t, revision, &mut c)?;
    let set = |flag: &mut bool, given: &Option<Spanned<bool>>| {
        if let Some(given) = given {
            *flag = *given.get_ref();
        }
    };
    set(&mut c.write_protected, &t.write_protect);
    set(&mut c.reset_passes_write_protect, &t.reset_passes_write_protect);
    set(&mut c.answers_damaged, &t.answers_damaged);
    set(&mut c.accepts_older_masters, &t.accepts_older_masters);
    set(&mut c.reset_answers, &t.reset_answers);
    set(&mut c.busy, &t.busy);
    c.slow = slow::slow(&t.slow, revision)?;
    if let Some(n) = &t.response_delay_ms {
        // 28 characters of 11 bits at 1200 bit/s are 256.67 ms [LL-02].
        let ms = number(n, "response_delay_ms", "ms", 0.0..=256.0)?;
        c.response_delay = Duration::from_secs_f64(ms / 1e3);
    }
    if let Some(ma) = current_ma {
        c.loop_current_ma = ma;
    }
    let valve = t.valve.as_ref();
    let angle = -180.0..=180.0;
    for (to, given, key, unit, range) in [
        (
            &mut c.time_constant_s,
            valve.and_then(|v| v.time_constant_s.as_ref()),
            "time_constant_s",
            "s",
            0.0..=3600.0,
        ),
        (
            &mut c.travel_percent,
            valve.and_then(|v| v.travel_percent.as_ref()),
            "travel_percent",
            "%",
            0.0..=100.0,
        ),
        (
            &mut c.lever_angle_closed_deg,
            valve.and_then(|v| v.lever_angle_closed_deg.as_ref()),
            "lever_angle_closed_deg",
            "degrees",
            angle.clone(),
        ),
        (
            &mut c.lever_angle_open_deg,
            valve.and_then(|v| v.lever_angle_open_deg.as_ref()),
            "lever_angle_open_deg",
            "degrees",
            angle,
        ),
        (
            &mut c.supply_pressure_bar,
            t.air.as_ref().and_then(|a| a.supply_pressure_bar.as_ref()),
            "supply_pressure_bar",
            "bar",
            SUPPLY_PRESSURE_BAR,
        ),
    ] {
        if let Some(n) = given {
            *to = number(n, key, unit, range)?;
        }
    }
    ranges::ranges(t, &mut c)?;
    // What is refused here too is a combination that no single key is to blame for.
    c.check().map_err(|e| {
        let wrong = format!("this device cannot be: {}: {}", e.field, e.why);
        let (at, right) = ranges::blame(t, e.field).unwrap_or((table.span(), "change that key"));
        Fault::new(&at, wrong, right)
    })?;
    let memory = match &t.memory {
        Some(name) if name.get_ref().is_empty() || name.get_ref().ends_with('/') => {
            return Err(Fault::new(
                &name.span(),
                "memory names no file",
                "give a file name, such as memory = \"fv-3104.memory\", or leave it out",
            ));
        }
        other => other.as_ref().map(|name| directory.join(name.get_ref())),
    };
    Ok(DevicePlan { config: c, memory, clock: clock(&t.clock_ppm, &t.jitter_ms)? })
}

/// The clock of a station [LI-23].
fn clock(ppm: &Option<Spanned<Whole>>, jitter_ms: &Option<Spanned<Number>>) -> Result<Clock, Fault> {
    let most = i64::from(Drift::MOST_PPM);
    let ppm = ppm.as_ref().map_or(Ok(0), |n| whole(n, "clock_ppm", -most..=most))?;
    let ms = jitter_ms.as_ref().map_or(Ok(0.0), |n| number(n, "jitter_ms", "ms", 0.0..=1000.0))?;
    Ok(Clock { drift: Drift::from_ppm(ppm), jitter: Duration::from_secs_f64(ms / 1e3) })
}

fn identity(t: &DeviceTable, id: &mut Identity) -> Result<(), Fault> {
    if let Some(n) = &t.device_type {
        let highest = if id.revision < Revision::R7 { 0xFF } else { 0xFFFF };
        id.device_type = whole(n, "device_type", 0..=highest)?;
    }
    if let Some(n) = &t.device_id {
        id.device_id = whole(n, "device_id", 0..=0xFF_FFFF)?;
    }
    if let Some(n) = &t.private_label {
        id.private_label = whole(n, "private_label", 0..=0xFFFF)?;
    }
    for (to, given, key, range) in [
        (&mut id.device_revision, &t.device_revision, "device_revision", 0..=255),
        (&mut id.software_revision, &t.software_revision, "software_revision", 0..=255),
        (&mut id.hardware_revision, &t.hardware_revision, "hardware_revision", 0..=31),
        (&mut id.preambles_request, &t.preambles_request, "preambles_request", 5..=20),
        (&mut id.preambles_reply, &t.preambles_reply, "preambles_reply", 5..=20),
    ] {
        if let Some(n) = given {
            *to = whole(n, key, range)?;
        }
    }
    Ok(())
}

fn stored(t: &DeviceTable, revision: Revision, c: &mut DeviceConfig) -> Result<(), Fault> {
    let highest = c.identity.highest_polling();
    let s = &mut c.factory;
    if let Some(n) = &t.polling_address {
        s.polling_address = whole(n, "polling_address", 0..=i64::from(highest)).map_err(|mut f| {
            f.right = format!("{}, the polling addresses of revision {revision}", f.right);
            f
        })?;
    }
    for (to, given, key, octets) in [
        (&mut s.tag, &t.tag, "tag", 6),
        (&mut s.descriptor, &t.descriptor, "descriptor", 12),
        (&mut s.message, &t.message, "message", 24),
    ] {
        if let Some(text) = given {
            *to = packed_text(text, key, octets)?;
        }
    }
    if let Some(text) = &t.long_tag {
        since(text, "long_tag", revision, Revision::R6)?;
        latin1::encode(text.get_ref(), 32).map_err(|e| {
            let wrong = format!("long_tag \"{}\": {}", text.get_ref(), misfit(e));
            Fault::new(&text.span(), wrong, "give up to 32 characters of Latin-1")
        })?;
        s.long_tag.clone_from(text.get_ref());
    }
    if let Some(date) = &t.date {
        s.date = calendar_date(date)?;
    }
    if let Some(n) = &t.final_assembly_number {
        s.final_assembly_number = whole(n, "final_assembly_number", 0..=0xFF_FFFF)?;
    }
    if let Some(enabled) = &t.loop_current_mode_enabled {
        since(enabled, "loop_current_mode_enabled", revision, Revision::R6)?;
        s.loop_current_mode_enabled = *enabled.get_ref();
    }
    Ok(())
}

fn calendar_date(date: &Spanned<DateText>) -> Result<[u8; 3], Fault> {
    let text = &date.get_ref().0;
    match text.parse::<Date>() {
        Ok(d) if d.is_calendar() => Ok(d.to_bytes()),
        _ => Err(Fault::new(
            &date.span(),
            format!("\"{text}\" is no date that a device can hold"),
            "give a day of the years 1900 to 2155 as year-month-day, such as 2026-03-01",
        )),
    }
}

/// Two devices on one pair of wires must not answer to the same address, nor write the same file.
fn distinct(others: &[DevicePlan], new: &DevicePlan, table: &Spanned<DeviceTable>) -> Result<(), Fault> {
    let t = table.get_ref();
    let at = |key: Option<Range<usize>>| key.unwrap_or_else(|| table.span());
    for (i, other) in others.iter().enumerate() {
        let number = i + 1;
        let polling = new.config.factory.polling_address;
        if other.config.factory.polling_address == polling {
            return Err(Fault::new(
                &at(t.polling_address.as_ref().map(Spanned::span)),
                format!("device {number} has polling address {polling} too"),
                "give every device a polling_address of its own",
            ));
        }
        let unique = new.config.identity.unique_address();
        if other.config.identity.unique_address() == unique {
            return Err(Fault::new(
                &at(t.device_id.as_ref().map(Spanned::span)),
                format!("device {number} has the unique address {unique} too"),
                "give every device a device_id of its own",
            ));
        }
        if new.memory.is_some() && other.memory == new.memory {
            return Err(Fault::new(
                &at(t.memory.as_ref().map(Spanned::span)),
                format!("device {number} has the same memory file"),
                "give every device a memory file of its own",
            ));
        }
    }
    Ok(())
}
