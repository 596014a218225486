//! Writes the report of records of travel tests [TV-60] to the output: `handover [--text | --json] RECORD.json...`, without either a page.
//! Limits are looprig's own. Exit code: that of the verdict [TV-60]; 2 also where a file is no record.

use looprig::commission::travel::{Limits, Record};
use looprig::report::handover::{Beside, html, json, overall, text};
use std::process::ExitCode;

fn read(name: &str) -> Result<Record, String> {
    let text = std::fs::read_to_string(name).map_err(|e| format!("{name}: {e}"))?;
    Record::from_json(&text).map_err(|e| format!("{name}: {e}"))
}

fn main() -> ExitCode {
    let (options, names): (Vec<String>, Vec<String>) =
        std::env::args().skip(1).partition(|a| a.starts_with("--"));
    let read: Result<Vec<Record>, String> = names.iter().map(|n| read(n)).collect();
    let records = match read {
        Ok(records) if !records.is_empty() => records,
        Ok(_) => {
            eprintln!("usage: handover [--text | --json] RECORD.json...");
            return ExitCode::from(2);
        }
        Err(e) => {
            eprintln!("{e}");
            return ExitCode::from(2);
        }
    };
    let records: Vec<&Record> = records.iter().collect();
    let (limits, beside) = (Limits::own(), Beside::default());
    match options.first().map(String::as_str) {
        Some("--text") => print!("{}", text(&records, &limits, &beside, false)),
        Some("--json") => println!("{}", json(&records, &limits, &beside)),
        _ => print!("{}", html(&records, &limits, &beside)),
    }
    ExitCode::from(overall(&records, &limits, &beside).exit_code())
}
