//! `looprig worksheet`: checklists for service work, filled in as far as a device and tests can.

use super::args::HostArgs;
use super::describing::DescriptionArgs;
use super::files::write_file;
use super::lines::LineSpec;
use super::output::{Ended, Failure, Output};
use super::settings;
use super::travel::{name_of, read_limits, read_record};
use crate::commission::travel::Limits;
use crate::commission::worksheet::{Values, worksheet, worksheets};
use crate::report::Format;
use crate::report::handover::outcome;
use crate::report::worksheet::{html, markdown};
use core::fmt::Write;
use std::path::PathBuf;

/// `worksheet`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  looprig worksheet --list                       which there are
  looprig worksheet air > air.md                 Markdown, lines left to write on
  looprig worksheet calibration --record as-found.json --record as-left.json
  looprig worksheet first-start --settings FV-3104.toml --page --out start.html
  looprig worksheet wiring serial:/dev/ttyUSB0 tag:FV-3104
                 (with what the device says about itself; reads only)
In general trade terms: local codes, the site's permit and licensed practice
decide.")]
pub struct WorksheetArgs {
    /// Which task, such as first-start; --list shows all.
    #[arg(value_name = "TASK", required_unless_present = "list")]
    pub task: Option<String>,
    /// A line, and whose values if not those of the device at polling address 0: they are read, nothing is written.
    #[arg(num_args = 0..=2, value_name = "LINE [TO]")]
    pub from: Vec<String>,
    /// Fill in from a file of `looprig settings save`.
    #[arg(long, value_name = "FILE.toml", conflicts_with = "from")]
    pub settings: Option<PathBuf>,
    /// Fill in from a record of a travel test; may be given more than once, a later one counts before an earlier one.
    #[arg(long, value_name = "FILE.json")]
    pub record: Vec<PathBuf>,
    /// Limits (TOML) by which the verdict of each record stands on the sheet; looprig's own unless told, which come from no standard.
    #[arg(long, value_name = "FILE.toml", requires = "record")]
    pub limits: Option<PathBuf>,
    /// Where the valve is: works, area, permit.
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub site: String,
    /// An HTML page that prints on A4, instead of Markdown.
    #[arg(long)]
    pub page: bool,
    /// Write it to this file instead of standard output.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Overwrite a file that exists.
    #[arg(long, requires = "out")]
    pub force: bool,
    /// Show which tasks there are, and end.
    #[arg(long, conflicts_with_all = ["task", "settings", "record", "limits", "out"])]
    pub list: bool,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// How the host behaves.
    #[command(flatten)]
    pub host: HostArgs,
}

/// Prints one.
pub fn run(args: &WorksheetArgs, out: &mut Output) -> Result<Ended, Failure> {
    let Some(task) = args.task.as_deref().filter(|_| !args.list) else {
        list(out);
        return Ok(Ended::Fine);
    };
    let Some(sheet) = worksheet(task) else {
        let names: Vec<&str> = worksheets().map(|w| w.id).collect();
        let next = format!("there are: {}", names.join(", "));
        return Err(Failure::new("finding the worksheet", format!("there is none named \"{task}\""), next));
    };
    let limits = args.limits.as_deref().map_or_else(|| Ok(Limits::own()), read_limits)?;
    let mut values = Values::default();
    if let Some(path) = &args.settings {
        let read = settings::read_shared(path, &args.described.load()?)?;
        values.add_settings(&read, &name_of(path));
        values.add_settings_file(&name_of(path));
    }
    let mut ended = Ended::Fine;
    if let [line, rest @ ..] = args.from.as_slice() {
        let doing = format!("reading the device for the worksheet \"{task}\"");
        let line = LineSpec::parse(line).map_err(|wrong| {
            Failure::new(doing.clone(), wrong, "`looprig ask --help` says how lines are named")
        })?;
        let read = settings::read_now(
            &line,
            rest.first().map(String::as_str),
            &args.described,
            &args.host,
            &doing,
            out.quiet,
        )?;
        match read {
            Some((settings, now)) => {
                let from = "read from the device";
                values.add_settings(&settings, from);
                values.add_reading(&now, from);
            }
            // It was told that nobody answered; the sheet is of use all the same.
            None => ended = Ended::Failed,
        }
    }
    for path in &args.record {
        let record = read_record(path)?;
        values.add_record(&record, &name_of(path), &outcome(&record, &limits));
    }
    values.add_site(&args.site);
    let text = if args.page { html(sheet, &values) } else { markdown(sheet, &values) };
    match &args.out {
        Some(path) => {
            write_file(path, &text, args.force, &format!("writing the worksheet to {}", path.display()))?;
            if !out.quiet && out.options.format == Format::Text {
                let _ = writeln!(out.text(), "{}: {}", sheet.title, path.display());
            }
        }
        None => out.text().push_str(&text),
    }
    Ok(ended)
}

fn list(out: &mut Output) {
    for sheet in worksheets() {
        let _ = match out.options.format {
            Format::Text => {
                writeln!(out.text(), "{:20} {}\n{:20} {}", sheet.id, sheet.title, "", sheet.purpose)
            }
            Format::Json => writeln!(
                out.text(),
                "{}",
                serde_json::json!({"task": sheet.id, "title": sheet.title, "purpose": sheet.purpose})
            ),
            Format::Csv => writeln!(out.text(), "{},\"{}\",\"{}\"", sheet.id, sheet.title, sheet.purpose),
        };
    }
}
