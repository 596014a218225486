//! The device check: how it is run, and how it is shown [TV-40].

use super::given::{Files, Records};
use super::hands::{AtTheValve, Hands};
use super::person::Asked;
use super::shown;
use super::{Bench, Keeper};
use crate::cli::files::write_file;
use crate::cli::output::{Ended, Failure, Output, say};
use crate::cli::travel_args::TravelArgs;
use crate::commission::device_check::{DeviceCheck, Found, Setup, Stage, run as run_check};
use crate::commission::travel::Readings;
use crate::commission::travel::record::{Ended as TestEnded, Rest};
use crate::host::Stimulus;
use crate::report::Format;
use crate::report::handover::{clean, with_next};
use crate::report::table::Table;
use crate::report::text::write_wrapped_to;
use core::fmt::Write;
use std::path::Path;
use std::sync::atomic::Ordering;

/// A check of which nothing is known but what the arguments say.
pub fn new(args: &TravelArgs, line: &str) -> DeviceCheck {
    let mut check = DeviceCheck::new(Stage::default());
    check.line = line.to_owned();
    check.who.clone_from(&args.who);
    check.rest = Rest {
        within_percent: args.rest_within,
        for_s: args.rest_for,
        most_s: args.rest_most.max(args.rest_for),
    };
    check
}

/// Runs it; the line is closed at the end.
pub fn run(
    mut bench: Bench<'_>,
    stimulus: &mut dyn Stimulus,
    (person, hands): (&Asked, Option<Hands>),
    readings: Readings,
    (check, keeper): (DeviceCheck, &mut Keeper<'_>),
) -> DeviceCheck {
    let mut at_the_valve = AtTheValve::new(person.clone(), hands);
    let mut check = run_check(
        Setup {
            ask: &mut bench.line.host,
            device: bench.device,
            stimulus,
            person: &mut at_the_valve,
            readings,
            keep: &mut |check| keeper.keep_or_tell(&check.to_json()),
        },
        check,
    );
    at_the_valve.end();
    if bench.line.ended.load(Ordering::SeqCst)
        && let TestEnded::Stopped { during, .. } = &check.ended
    {
        check.ended = TestEnded::Interrupted { during: during.clone() };
    }
    check
}

/// Shows what came of it, and writes it to the files that are wanted.
pub fn show(
    args: &TravelArgs,
    (check, keeper): (DeviceCheck, &mut Keeper<'_>),
    files: Files,
    out: &mut Output,
) -> Result<Ended, Failure> {
    let beside = Records { checks: vec![check], ..Records::default() };
    let files = Files { beside, ..files };
    let check = &files.beside.checks[0];
    let mut written = shown::pages(args, &[], &files, out.quiet);
    let mut put = |path: Option<&Path>, put: Result<(), Failure>| {
        if let (Some(path), Ok(()), false) = (path, &put, out.quiet) {
            say(&format!("The device check is in {}.", path.display()));
        }
        let before = core::mem::replace(&mut written, Ok(()));
        written = before.and(put);
    };
    put(args.record.as_deref(), keeper.keep(&check.to_json()));
    if let Some(path) = &args.json {
        let doing = format!("writing the device check to {}", path.display());
        put(Some(path), write_file(path, &check.to_json(), args.force, &doing));
    }
    told(check, out);
    written?;
    Ok(ended_as(check))
}

/// Shows a check on standard output.
pub fn told(check: &DeviceCheck, out: &mut Output) {
    let is_whole = check.ended == TestEnded::Whole;
    let count = |found| check.findings.iter().filter(|f| f.found == found).count();
    let (bad, open) = (count(Found::NotAsExpected), count(Found::NotJudged));
    match out.options.format {
        Format::Text => text(check, is_whole, bad, open, out.text()),
        Format::Json => {
            let _ = writeln!(out.text(), "{}", serde_json::to_string(check).unwrap_or_default());
        }
        Format::Csv => {
            let mut table = Table::new("", &["about", "found", "words", "not_proved"]);
            for f in &check.findings {
                table.row([f.about.as_str(), word(f.found), &f.words, &f.not_proved]);
            }
            table.write(Format::Csv, out.text());
        }
    }
}

/// How the program ends with it.
pub fn ended_as(check: &DeviceCheck) -> Ended {
    let count = |found| check.findings.iter().filter(|f| f.found == found).count();
    let is_whole = check.ended == TestEnded::Whole;
    match (count(Found::NotAsExpected), is_whole, count(Found::AsExpected)) {
        (1.., ..) | (_, false, _) => Ended::Failed,
        (_, _, 0) => Ended::CouldNot,
        _ => Ended::Fine,
    }
}

fn word(found: Found) -> &'static str {
    match found {
        Found::AsExpected => "as expected",
        Found::NotAsExpected => "NOT AS EXPECTED",
        Found::NotJudged => "not judged",
    }
}

/// Columns of a line, to be read at arm's length.
const WIDTH: usize = 72;

fn text(check: &DeviceCheck, is_whole: bool, bad: usize, open: usize, out: &mut String) {
    let parts = match (&check.hand, check.jogs.is_empty()) {
        (Some(_), false) => "",
        (Some(_), true) => " (sensor alone)",
        (None, false) => " (outputs alone)",
        (None, true) => " (nothing was looked at)",
    };
    let verdict = match (bad, is_whole, open) {
        (1.., ..) => format!("NOT AS EXPECTED: {bad} of {}", check.findings.len()),
        (_, false, _) => "NOT WHOLE".to_owned(),
        _ if check.findings.is_empty() => "NOT JUDGED".to_owned(),
        (_, _, 1..) => format!("NOTHING WRONG SEEN, {open} not judged"),
        _ => "AS EXPECTED".to_owned(),
    };
    let moved = if check.did_not_move() { "\nDID NOT MOVE by hand, as its sensor tells" } else { "" };
    let names = [&check.device.tag, &check.device.long_tag].map(|n| clean(n.trim()));
    let names: Vec<&str> = names.iter().map(String::as_str).filter(|n| !n.is_empty()).collect();
    let valve = if names.is_empty() { "valve without a tag".to_owned() } else { names.join(", ") };
    write_wrapped_to(WIDTH, &valve, 0, out);
    let _ = writeln!(out, "Device check{parts}\n{verdict}{moved}");
    let mut put = |lead: &str, line: &str| write_wrapped_to(WIDTH, &format!("{lead}{line}"), lead.len(), out);
    if let Some(why) = ended(&check.ended) {
        put("", &why);
    }
    match &check.left {
        Some(left) if check.ended == TestEnded::Running => {
            put("", &format!("Set point left: not known, for the check was cut off. {}", left.words));
        }
        Some(left) => put("", &format!("Set point left: {}", left.words)),
        None if check.ended == TestEnded::Running => {
            put("", "Set point left: not known, for the check was cut off.")
        }
        None => {}
    }
    for f in &check.findings {
        put("", "");
        put("", &format!("{}: {}", f.about, word(f.found)));
        put("  ", &f.words);
        let what = f.not_proved.strip_prefix("Not proved: ").unwrap_or(&f.not_proved);
        put("  ", &format!("Not proved: {what}"));
    }
    for remark in &check.remarks {
        put("- ", remark);
    }
}

/// Why a check is not whole; `None`: it is.
fn ended(ended: &TestEnded) -> Option<String> {
    Some(match ended {
        TestEnded::Whole => return None,
        TestEnded::Stopped { why, during } => format!("Ended during {during}: {}.", why.words()),
        TestEnded::Interrupted { during } => format!("Ended during {during}: interrupted."),
        TestEnded::Silent { during, .. } => {
            format!("Ended during {during}: the device does not answer any more.")
        }
        TestEnded::NoMovement { during, .. } | TestEnded::Stands { during, .. } => {
            format!("Ended during {during}: the valve does not move.")
        }
        TestEnded::Failed { during, what } | TestEnded::NotDriven { during, what } => {
            format!("Ended during {during}: {}", with_next(what))
        }
        TestEnded::Running => "It was cut off: the record was written while it ran.".to_owned(),
    })
}
