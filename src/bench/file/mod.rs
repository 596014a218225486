//! The bench file: text to a [`BenchPlan`], or to a message that says where it is wrong.

mod bursts;
mod current_loop;
mod described;
mod described_tables;
mod electronics;
mod events;
mod faults;
mod fleet;
mod gateway;
mod kinds;
mod lines;
mod masters;
mod names;
mod protocol_faults;
mod ranges;
mod shape;
mod slow;
#[cfg(test)]
mod tests;
mod valve;

pub use electronics::fit_valve;
pub use protocol_faults::add as add_protocol_fault;

use super::changes::{LOOP_CURRENT_MA, SUPPLY_PRESSURE_BAR, TEMPERATURE_DEGC};
use super::plan::{BenchPlan, DevicePlan, LinePlan};
use super::sheet::{WiringSheet, read_sheet};
use crate::app::command::described::Description;
use crate::app::command::{self, Described, Revision};
use crate::app::types::{Date, Place, latin1, packed};
use crate::app::written::{Fault, FileError, FileKind, for_toml, misfit, number, whole, words};
use crate::device::{DeviceConfig, Identity, KindName};
use crate::line::Clock;
use crate::time::{Drift, Pace};
use core::net::SocketAddr;
use core::ops::{Range, RangeInclusive};
use core::time::Duration;
use lines::line;
use shape::{BenchFile, DateText, DeviceTable, Number, PaceText, Whole};
use std::path::Path;
use toml::Spanned;

/// Longest file, octets: far more than anybody writes by hand.
const LONGEST: u64 = 1 << 20;

/// What to do where there is no such description.
const DESCRIPTION_MISSING: &str =
    "name a description that exists, or write one; every key: looprig explain --schema";

/// What to do where there is no such file.
const BENCH_FILE_MISSING: &str = "name a bench file that exists, or write one; every key: looprig mock --schema; the \
                                  smallest is\n    [[device]]\n    tag = \"FV-3104\"\n    [[line]]\n    at = \"pty:\"";

/// From power to work unless told, s: our choice [DV-51].
const STARTUP_S: f64 = 3.0;
/// Up to a year.
const TIME_S: RangeInclusive<f64> = 0.0..=31_536_000.0;

/// The JSON Schema of a bench file, for editors.
pub fn schema() -> String {
    let mut schema = schemars::schema_for!(BenchFile).to_value();
    for_toml(&mut schema);
    // A schema is made of strings and numbers alone, so it can always be written.
    serde_json::to_string_pretty(&schema).unwrap_or_default()
}

/// Reads a bench file.
///
/// # Errors
/// It cannot be read, or [`check`] finds something.
pub fn read(path: &Path) -> Result<BenchPlan, FileError> {
    let text = text_of(path, FileKind::Bench, BENCH_FILE_MISSING)?;
    check_all(
        &text,
        path,
        &mut |path| read_description(path).map(|d| Described::load(d, &path.display().to_string())),
        &mut read_sheet,
    )
}

/// Reads a description of a device type.
///
/// # Errors
/// It cannot be read, or something in it is wrong.
pub fn read_description(path: &Path) -> Result<Description, FileError> {
    let text = text_of(path, FileKind::Description, DESCRIPTION_MISSING)?;
    command::described::check(&text, path)
}

/// Reads a file of the kind `what` whole; `missing` is what to do where there is none.
///
/// # Errors
/// It cannot be read, is longer than 1 MiB or no text in UTF-8.
pub(crate) fn text_of(path: &Path, what: FileKind, missing: &str) -> Result<String, FileError> {
    use std::io::Read;
    let failed = |wrong: String, right: String| FileError {
        what,
        path: path.to_path_buf(),
        place: None,
        wrong,
        right,
    };
    let mut octets = Vec::new();
    let unreadable = |e: std::io::Error| match e.kind() {
        std::io::ErrorKind::NotFound => failed("there is no such file".into(), missing.to_owned()),
        _ => failed(e.to_string(), format!("name a {what} that you may read")),
    };
    // Before it is opened: to open a pipe that nobody writes to would wait for ever.
    let kind = std::fs::metadata(path).map_err(unreadable)?;
    if kind.is_dir() {
        return Err(failed("it is a directory".into(), format!("name a {what} in it")));
    }
    if !kind.is_file() {
        let right =
            format!("write what comes from it to a file, and name that: a {what} is not read from pipes");
        return Err(failed("it is a pipe or a device, and no file".into(), right));
    }
    let file = std::fs::File::open(path).map_err(unreadable)?;
    match file.take(LONGEST + 1).read_to_end(&mut octets) {
        Ok(n) if n as u64 > LONGEST => {
            let right = format!("name a {what}, which is a short text");
            return Err(failed("it is larger than 1 MiB".into(), right));
        }
        Ok(_) => {}
        Err(e) => return Err(failed(e.to_string(), format!("name a {what} that you may read"))),
    }
    String::from_utf8(octets).map_err(|e| {
        let at = e.utf8_error().valid_up_to();
        let text = String::from_utf8_lossy(e.as_bytes());
        // What can be read before it is as long as it was.
        let place = Some(Place::of(&text, at));
        let right = format!("name a {what}, which is text in UTF-8");
        FileError { place, ..failed("here it is no text in UTF-8".into(), right) }
    })
}

/// How the descriptions that a bench file names are loaded: each of them once.
pub type LoadDescription<'a> = dyn FnMut(&Path) -> Result<&'static Described, FileError> + 'a;

/// How the wiring sheet that a bench file names is read.
pub type LoadSheet<'a> = dyn FnMut(&Path) -> Result<WiringSheet, FileError> + 'a;

/// Makes a plan of the text of a bench file; `path` is what messages call it, and other files are
/// looked for beside it. Nothing is opened, so a device that names a description is refused, and a
/// loop that names a sheet.
///
/// # Errors
/// The first thing that is wrong, with its place.
pub fn check(text: &str, path: &Path) -> Result<BenchPlan, FileError> {
    check_with(text, path, &mut |path| {
        Err(FileError {
            what: FileKind::Description,
            path: path.to_path_buf(),
            place: None,
            wrong: "only the text of the bench file was to be looked at".into(),
            right: "leave description out".into(),
        })
    })
}

/// The same, where `load` reads the descriptions that devices name.
///
/// # Errors
/// The first thing that is wrong, with its place; it may be in a description.
pub fn check_with(text: &str, path: &Path, load: &mut LoadDescription<'_>) -> Result<BenchPlan, FileError> {
    check_all(text, path, load, &mut |path| {
        Err(FileError {
            what: FileKind::Sheet,
            path: path.to_path_buf(),
            place: None,
            wrong: "only the text of the bench file was to be looked at".into(),
            right: "write the sheet's tables below [loop], such as [loop.supply]".into(),
        })
    })
}

/// The same, where `load_sheet` reads the wiring sheet that the loop names.
///
/// # Errors
/// The first thing that is wrong, with its place; it may be in a description or in the sheet.
pub fn check_all(
    text: &str,
    path: &Path,
    load: &mut LoadDescription<'_>,
    load_sheet: &mut LoadSheet<'_>,
) -> Result<BenchPlan, FileError> {
    let mut loader = described::Loader::new(load);
    let mut failure = None;
    match toml::from_str::<BenchFile>(text) {
        Ok(file) => plan(file, text, path, &mut loader, (load_sheet, &mut failure)).map_err(|f| {
            let elsewhere = loader.take_failure().or(failure);
            elsewhere.unwrap_or_else(|| f.in_file(FileKind::Bench, path, text))
        }),
        Err(e) => Err(misread(&e, text, FileKind::Bench).in_file(FileKind::Bench, path, text)),
    }
}

/// What is wrong with a text that is no bench, or no sheet, as `wanted` says: it may be the other of the two.
pub(super) fn misread(e: &toml::de::Error, text: &str, wanted: FileKind) -> Fault {
    let has_any = |keys: &[&str]| {
        let table = text.parse::<toml::Table>().unwrap_or_default();
        keys.iter().any(|key| table.contains_key(*key))
    };
    let at = e.span().unwrap_or(0..0);
    match wanted {
        FileKind::Bench if has_any(&["supply", "card", "cable", "series", "shunt"]) => {
            let right = "judge it with looprig wiring; for a mock on this loop write a bench file that names it: \
                         sheet = \"FILE.toml\" below [loop], with a [[device]] for each of its devices and a [[line]]";
            Fault::new(&at, "this is a wiring sheet, no bench file", right)
        }
        FileKind::Sheet if has_any(&["line", "loop", "event", "wire_fault", "pace", "seed"]) => {
            let right = "run it with looprig mock; looprig wiring reads the sheet that it names below [loop], or its \
                         [loop.supply], [[loop.cable]] ... as a file of their own, without \"loop.\"";
            Fault::new(&at, "this is a bench file, no wiring sheet", right)
        }
        _ => words::plain(e.message(), e.span(), text),
    }
}

fn plan(
    mut file: BenchFile,
    text: &str,
    path: &Path,
    loader: &mut described::Loader<'_>,
    (load_sheet, failure): (&mut LoadSheet<'_>, &mut Option<FileError>),
) -> Result<BenchPlan, Fault> {
    let directory = path.parent().unwrap_or(Path::new(""));
    let end = text.len()..text.len();
    let pace = file.pace.as_ref().map_or(Ok(Pace::Wire), pace)?;
    let seed = file.seed.as_ref().map(|n| whole(n, "seed", 0..=i64::MAX)).transpose()?;
    let given = file.current_loop.as_mut().and_then(|l| l.get_mut().current_ma.take());
    let current_ma = given.as_ref().map(|n| number(n, "current_ma", "mA", LOOP_CURRENT_MA)).transpose()?;
    let tables = file.device.as_deref().unwrap_or_default();
    if tables.is_empty() {
        let right = "add one, such as:\n    [[device]]\n    tag = \"FV-3104\"";
        return Err(Fault::new(&end, "the bench has no device", right));
    }
    let mut devices: Vec<DevicePlan> = Vec::new();
    for table in tables {
        let device = device(table, current_ma, directory, loader)?;
        distinct(&devices, &device, table)?;
        devices.push(device);
    }
    if let Some(n) = &given
        && devices.iter().all(|d| d.config.kind.name() != KindName::Positioner)
    {
        let wrong = "no positioner is in this loop, and a transmitter makes its current itself";
        return Err(Fault::new(&n.span(), wrong, "leave current_ma out, or add a positioner"));
    }
    let wires = match file.current_loop.take() {
        Some(table) => {
            current_loop::current_loop(table, current_ma, (&devices, tables), directory, load_sheet, failure)?
        }
        None => None,
    };
    if let (Some(n), Some(wires)) = (&given, &wires) {
        wires.follows().map_err(|(wrong, right)| Fault::new(&n.span(), wrong, right))?;
    }
    if wires.is_none()
        && let Some(startup) = tables.iter().find_map(|t| t.get_ref().startup_s.as_ref())
    {
        let wrong = "this bench does not compute its loop, so its devices always have power";
        return Err(Fault::new(
            &startup.span(),
            wrong,
            "leave startup_s out, or say in [loop] what feeds the devices",
        ));
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
    let mut events = file
        .event
        .iter()
        .map(|e| events::event(e, &devices, wires.as_ref()))
        .collect::<Result<Vec<_>, _>>()?;
    // Stable: what stands first in the file happens first.
    events.sort_by_key(|e| e.at);
    let api = file.api.as_ref().map(|t| api_place(&t.at)).transpose()?;
    let mut plan = BenchPlan {
        fleet: None,
        api,
        gateway: gateway::gateway(file.gateway.as_ref(), &devices, &lines)?,
        path: path.to_path_buf(),
        pace,
        seed,
        masters: masters::masters(&file.master, &devices, &lines)?,
        devices,
        wire_faults: file.wire_fault.iter().map(faults::wire_fault).collect::<Result<_, _>>()?,
        lines,
        events,
        wires,
        catalogue: loader.catalogue(),
    };
    if let Some(last) = file.master.last().filter(|_| plan.serves() && plan.relays().is_empty()) {
        let wrong =
            "with a primary and a secondary master of the bench none is left to ask for HART-IP clients";
        return Err(Fault::new(&last.span(), wrong, "leave one of the masters out, or the HART-IP line"));
    }
    plan.fleet = fleet::fleet(&file, &plan)?;
    Ok(plan)
}

fn api_place(at: &Spanned<String>) -> Result<SocketAddr, Fault> {
    super::plan::api_place(at.get_ref()).ok_or_else(|| {
        let wrong = format!("\"{}\" is no address with a port", at.get_ref());
        Fault::new(&at.span(), wrong, "give one, such as at = \"127.0.0.1:4620\"")
    })
}

fn pace(text: &Spanned<PaceText>) -> Result<Pace, Fault> {
    Pace::parse(&text.get_ref().0).map_err(|_| {
        let wrong = format!("\"{}\" is no pace", text.get_ref().0);
        let right = "give \"wire\", \"fast\", or a number: how many times faster than the wire, 0.01 to 1000";
        Fault::new(&text.span(), wrong, right)
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
    loader: &mut described::Loader<'_>,
) -> Result<DevicePlan, Fault> {
    let t = table.get_ref();
    let revision = match &t.revision {
        None => Revision::R7,
        Some(n) => u8::try_from(n.get_ref().0).ok().and_then(Revision::new).ok_or_else(|| {
            let wrong = format!("looprig knows no revision {}", n.get_ref().0);
            Fault::new(&n.span(), wrong, "give 5, 6 or 7")
        })?,
    };
    let kind = kinds::kind(t)?;
    let mut c = DeviceConfig::of_kind(kind, revision);
    identity(t, &mut c.identity)?;
    stored(t, revision, &mut c)?;
    described::answers(table, &mut c, directory, loader)?;
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
    c.faults = protocol_faults::protocol_faults(&t.protocol_faults, kind, revision)?;
    if let Some(n) = &t.response_delay_ms {
        // 28 characters of 11 bits at 1200 bit/s are 256.67 ms [LL-02].
        let ms = number(n, "response_delay_ms", "ms", 0.0..=256.0)?;
        c.response_delay = Duration::from_secs_f64(ms / 1e3);
    }
    bursts::bursts(&t.burst, kind, revision, &mut c.factory.burst)?;
    let valve = kinds::own(t, current_ma, &mut c)?;
    // What is refused here too is a combination that no single key is to blame for.
    c.check().map_err(|e| {
        let wrong = format!("this device cannot be: {}: {}", e.field, e.why);
        let (at, right) = ranges::blame(t, kind, e.field).unwrap_or((table.span(), "change that key"));
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
    let startup_s =
        t.startup_s.as_ref().map_or(Ok(STARTUP_S), |n| number(n, "startup_s", "s", 0.1..=600.0))?;
    Ok(DevicePlan {
        config: c,
        memory,
        clock: clock(&t.clock_ppm, &t.jitter_ms)?,
        startup: Duration::from_secs_f64(startup_s),
        valve,
    })
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
