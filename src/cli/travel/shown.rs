//! The report of a travel test: on standard output, as a page and for programs.

use super::checked;
use super::given::Files;
use crate::cli::files::write_file;
use crate::cli::lines::utc_now_words;
use crate::cli::output::{Ended, Failure, Output, say};
use crate::cli::travel_args::TravelArgs;
use crate::cli::triage::ended_as as triage_ended;
use crate::commission::travel::limits::Verdict;
use crate::commission::travel::{Limits, Record};
use crate::report::Format;
use crate::report::handover::{Beside, html, json, judged, overall, sheet, text};
use crate::report::table::Table;
use crate::report::triage;
use crate::report::wiring::WiringReport;
use core::fmt::Write;
use serde_json::Value as Json;

/// Shows the report, and writes the files that are wanted. The first record is the one that was made.
pub fn report(
    args: &TravelArgs,
    records: &[&Record],
    files: &Files,
    out: &mut Output,
) -> Result<Ended, Failure> {
    let written = pages(args, records, files, out.quiet);
    if records.is_empty() {
        // A device check or fault finding by itself is told as it is when it is made.
        let beside = &files.beside;
        beside.checks.iter().for_each(|check| checked::told(check, out));
        beside.faults.iter().for_each(|triage| out.text().push_str(&triage::text(triage)));
        written?;
        let ended = beside.checks.iter().map(checked::ended_as);
        let worst = ended.chain(beside.faults.iter().map(triage_ended)).max_by_key(|ended| match ended {
            Ended::Fine => 0,
            Ended::CouldNot => 1,
            _ => 2,
        });
        return Ok(worst.unwrap_or(Ended::CouldNot));
    }
    let limits = &files.limits;
    let overall = with_beside(files, |beside| {
        match out.options.format {
            Format::Text => {
                let colour = out.options.colour;
                out.text().push_str(&text(records, limits, beside, colour));
            }
            Format::Json => {
                let _ = writeln!(out.text(), "{}", json(records, limits, beside));
            }
            Format::Csv => table(records, limits).write(Format::Csv, out.text()),
        }
        overall(records, limits, beside)
    });
    written?;
    Ok(match overall.exit_code() {
        0 => Ended::Fine,
        1 => Ended::Failed,
        _ => Ended::CouldNot,
    })
}

/// What stands beside the tests, for as long as it is used.
fn with_beside<T>(files: &Files, use_it: impl FnOnce(&Beside) -> T) -> T {
    let made = utc_now_words();
    let settings = files.settings.as_ref().map(|(settings, name)| (settings, name.as_str()));
    let wiring = files.wiring.as_ref().map(|(circuit, judged, name)| {
        (WiringReport { circuit, judged, corner: None, samples: None }, name.as_str())
    });
    let wiring = wiring.as_ref().map(|(report, name)| (report, *name));
    let checks = files.beside.checks.iter().map(Into::into);
    let checks = checks.chain(files.beside.faults.iter().map(triage::as_check)).collect();
    use_it(&Beside { settings, wiring, checks, made: &made })
}

/// Writes the pages and the report for programs that are wanted; a device check by itself has its record in the place of the latter.
pub fn pages(args: &TravelArgs, records: &[&Record], files: &Files, is_quiet: bool) -> Result<(), Failure> {
    let put = |path: &std::path::Path, text: &str| {
        write_file(path, text, args.force, &format!("writing the report to {}", path.display()))?;
        if !is_quiet {
            say(&format!("The report is in {}.", path.display()));
        }
        Ok(())
    };
    let limits = &files.limits;
    with_beside(files, |beside| {
        let page = args.html.as_deref().map_or(Ok(()), |path| put(path, &html(records, limits, beside)));
        let signed = args.sign.as_deref().map_or(Ok(()), |path| put(path, &sheet(records, limits, beside)));
        let whole = args.json.as_deref().filter(|_| !records.is_empty()).map_or(Ok(()), |path| {
            let text =
                serde_json::to_string_pretty(&json(records, limits, beside)).unwrap_or_default() + "\n";
            put(path, &text)
        });
        // What cannot be written takes nothing else with it.
        page.and(signed).and(whole)
    })
}

/// The figures of all records, a row each.
fn table(records: &[&Record], limits: &Limits) -> Table {
    let head = [
        "record",
        "occasion",
        "figure",
        "about",
        "view",
        "at_percent",
        "value",
        "uncertainty",
        "unit",
        "limit",
        "verdict",
        "remark",
    ];
    let mut table = Table::new("", &head);
    let word = |value: serde_json::Result<Json>| match value {
        Ok(Json::String(text)) => text,
        Ok(other) => other.to_string(),
        Err(_) => String::new(),
    };
    let number = |x: Option<f64>| x.map_or(String::new(), |x| x.to_string());
    for (i, record) in records.iter().enumerate() {
        for judged in judged(record, limits) {
            let f = &judged.figure;
            let verdict = match &judged.verdict {
                Verdict::Within => "within".to_owned(),
                Verdict::Beyond => "beyond".to_owned(),
                Verdict::NotJudged(why) => format!("not judged: {why}"),
            };
            table.row([
                (i + 1).to_string(),
                word(serde_json::to_value(record.occasion)),
                f.definition.id().to_string(),
                word(serde_json::to_value(f.about)),
                word(serde_json::to_value(f.view)),
                number(f.at_percent),
                number(f.value),
                number(f.uncertainty),
                f.definition.unit().symbol().to_owned(),
                number(judged.limit),
                verdict,
                f.remark.clone(),
            ]);
        }
    }
    table
}
