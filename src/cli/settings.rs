//! `looprig settings`: what a device is set to, saved, compared, restored.

use super::args::HostArgs;
use super::ask::{host_failure, master_config};
use super::describing::{DescriptionArgs, with_line};
use super::files::{exists, write_file};
use super::lines::{LineSpec, end_on_signal, quoted, utc_now_words, with_log};
use super::output::{Ended, Failure, Output, tell};
use super::settings_args::{CompareArgs, SaveArgs, SettingsArgs, SettingsCommand};
use super::silence::nobody;
use super::travel::calibration_told;
use crate::app::command::{Catalogue, Value};
use crate::app::status::Status;
use crate::commission::settings::{
    Content, Origin, ReadError, Section, Settings, busy_words, compare, read, to_text,
};
use crate::commission::worksheet::Reading as Now;
use crate::frame::PollingAddress;
use crate::host::{Device, Host, To};
use crate::line::Line;
use crate::report::Format;
use crate::report::table::Table;
use crate::report::text::plural;
use core::fmt::Write;
use indicatif::{ProgressBar, ProgressDrawTarget};
use std::path::{Path, PathBuf};

mod files;
mod restore;

pub use files::{read_file, read_shared};

/// Runs it.
pub fn run(args: &SettingsArgs, out: &mut Output) -> Result<Ended, Failure> {
    match &args.what {
        SettingsCommand::Save(a) => save(a, out),
        SettingsCommand::Compare(a) => compare_with(a, out),
        SettingsCommand::Restore(a) => restore::restore_to(a, out),
    }
}

/// TO and FILE.
fn to_and_file(words: &[String], doing: &str) -> Result<(To, PathBuf), Failure> {
    match words {
        [to, file] => Ok((whom(to, doing)?, file.into())),
        [file] => Ok((To::Polling(PollingAddress::default()), file.into())),
        _ => Err(Failure::new(doing, "a file is wanted", "the order is: LINE [TO] FILE")),
    }
}

fn whom(text: &str, doing: &str) -> Result<To, Failure> {
    let next = "`looprig scan LINE` shows who is there; the order is LINE TO FILE";
    To::parse(text).map_err(|wrong| Failure::new(doing, wrong, next))
}

/// Reads the settings of a device, and what it tells now; `None` when nobody answers, which is told.
pub fn read_now(
    line: &LineSpec,
    to: Option<&str>,
    described: &DescriptionArgs,
    host: &HostArgs,
    doing: &str,
    quiet: bool,
) -> Result<Option<(Settings, Now)>, Failure> {
    let to = to.map_or(Ok(To::Polling(PollingAddress::default())), |to| whom(to, doing))?;
    let Some(mut bench) = find(line, &to, described.load()?, host, doing)? else { return Ok(None) };
    let settings = bench.read(doing, quiet)?;
    tell_not_whole(&settings, doing);
    let loop_current = bench.host.ask(&bench.device, LOOP_CURRENT, &[]);
    let loop_current = loop_current.map_err(|e| host_failure(doing.to_owned(), e))?;
    let calibration = calibration_told(&mut bench.host, &bench.device);
    let calibration = calibration.map_err(|e| host_failure(doing.to_owned(), e))?;
    let now = Now {
        calibration: calibration.unwrap_or_default(),
        unique_address: bench.device.unique.octets().iter().map(|o| format!("{o:02X}")).collect(),
        polling_address: match to {
            To::Polling(address) => Some(address.get()),
            _ => None,
        },
        current_ma: loop_current.value("loop_current").and_then(|f| match f.found.value(f.data) {
            Value::Float(bits) => Some(f32::from_bits(bits).into()),
            _ => None,
        }),
        today: utc_now_words().split(' ').next().unwrap_or_default().to_owned(),
    };
    Ok(Some((settings, now)))
}

/// The command that reads the loop current.
const LOOP_CURRENT: u8 = 2;

/// A device on a line that is open.
struct Bench<'a> {
    host: Host<Box<dyn Line + 'a>>,
    device: Device,
    origin: Origin,
    catalogue: Catalogue,
}

/// Opens the line and finds the device; `None` when nobody answers, which is told.
fn find<'a>(
    spec: &LineSpec,
    to: &To,
    catalogue: Catalogue,
    host: &HostArgs,
    doing: &str,
) -> Result<Option<Bench<'a>>, Failure> {
    let line = spec.open()?;
    let catalogue = with_line(catalogue, &line)?;
    end_on_signal(line.interrupt_handle())?;
    let origin =
        Origin { looprig: env!("CARGO_PKG_VERSION").into(), saved: utc_now_words(), line: line.describe() };
    let server = line.server_said();
    let line = with_log(line, host.log.as_deref())?;
    let mut host = Host::new(line, master_config(host)).with_catalogue(catalogue.clone());
    let (_, device) = host.find(to).map_err(|e| host_failure(doing.to_owned(), e))?;
    let Some(device) = device else {
        tell(&nobody(doing.to_owned(), to, server.as_ref()));
        return Ok(None);
    };
    Ok(Some(Bench { host, device, origin, catalogue }))
}

impl Bench<'_> {
    fn read(&mut self, doing: &str, quiet: bool) -> Result<Settings, Failure> {
        let progress = spinner(quiet);
        let settings = read(&mut self.host, &self.device, self.origin.clone(), &mut |what| {
            progress.set_message(format!("reading {what}"));
            progress.tick();
        });
        progress.finish_and_clear();
        settings.map_err(|e| read_failure(doing.to_owned(), e))
    }
}

/// What shows that something goes on.
fn spinner(quiet: bool) -> ProgressBar {
    let progress = ProgressBar::new_spinner();
    if quiet {
        progress.set_draw_target(ProgressDrawTarget::hidden());
    }
    progress
}

/// Why sections are not known whole, and what to do: one message for all of one kind.
fn tell_not_whole(settings: &Settings, doing: &str) {
    let mut busy: Vec<(u8, Vec<String>)> = Vec::new();
    let mut cut = Vec::new();
    for section in settings.not_whole() {
        match section.content {
            Content::Unread(code) => match busy.iter_mut().find(|(c, _)| *c == code) {
                Some((_, names)) => names.push(section.name()),
                None => busy.push((code, vec![section.name()])),
            },
            _ => cut.push(section.name()),
        }
    }
    for (code, names) in busy {
        let was = if names.len() == 1 { "was" } else { "were" };
        let wrong =
            format!("{} {was} not read: the device went on saying {}", names.join(", "), busy_words(code));
        tell(&Failure::new(doing, wrong, "wait until it is done with what it does, then try again"));
    }
    if !cut.is_empty() {
        let wrong =
            format!("the device's answer about {} was cut short; what came whole is there", cut.join(", "));
        let next = "try again; if it stays so, the device has less than its revision asks for";
        tell(&Failure::new(doing, wrong, next));
    }
}

fn read_failure(doing: String, e: ReadError) -> Failure {
    match e {
        ReadError::Host(e) => host_failure(doing, e),
        e @ (ReadError::Silent { .. } | ReadError::Astray { .. }) => Failure::new(
            doing,
            e.to_string(),
            "look at the link with `looprig listen LINE`, then try again; more --retries help against noise",
        ),
    }
}

fn save(args: &SaveArgs, out: &mut Output) -> Result<Ended, Failure> {
    let doing = "saving settings";
    let (to, path) = to_and_file(&args.words, doing)?;
    let writing = format!("saving settings to {}", path.display());
    if path.exists() && !args.force {
        return Err(exists(&writing));
    }
    let doing = format!("saving the settings of {to}");
    let catalogue = args.described.load()?;
    let Some(mut bench) = find(&args.line, &to, catalogue, &args.host, &doing)? else {
        return Ok(Ended::Failed);
    };
    let settings = bench.read(&doing, out.quiet)?;
    write_file(&path, &to_text(&settings), args.force, &writing)?;
    let (number, facts) = settings.counts();
    let missing: Vec<&Section> = settings.missing().collect();
    let not_whole: Vec<String> = settings.not_whole().map(Section::name).collect();
    if out.options.format == Format::Text {
        if !out.quiet {
            let text = out.text();
            let _ = writeln!(
                text,
                "{} and {} of device {} are in {}.",
                plural(number, "setting"),
                plural(facts, "fact"),
                bench.device.unique,
                path.display()
            );
            if !missing.is_empty() {
                let of = |s: &&Section| format!("{} (command {})", s.part.heading, s.part.read);
                let missing: Vec<String> = missing.iter().map(of).collect();
                let _ = writeln!(text, "The device does not have {}.", missing.join(", "));
            }
            let of = |(s, code): (&Section, u8)| {
                let words = Status::of(code).texts(s.part.read.into()).join(", ");
                format!("{} (command {}: {code}, {words})", s.name(), s.part.read)
            };
            let refused: Vec<String> = settings.refused().map(of).collect();
            if !refused.is_empty() {
                let _ = writeln!(text, "The device refused to tell {}.", refused.join("; "));
            }
        }
    } else {
        let mut table =
            Table::new("", &["file", "unique_address", "settings", "facts", "missing_commands", "not_whole"]);
        table.row([
            path.display().to_string(),
            bench.device.unique.to_string(),
            number.to_string(),
            facts.to_string(),
            missing.iter().map(|s| s.part.read.to_string()).collect::<Vec<_>>().join(" "),
            not_whole.join(", "),
        ]);
        let format = out.options.format;
        table.write(format, out.text());
    }
    tell_not_whole(&settings, &doing);
    Ok(if not_whole.is_empty() { Ended::Fine } else { Ended::Failed })
}

fn compare_with(args: &CompareArgs, out: &mut Output) -> Result<Ended, Failure> {
    let doing = "comparing settings";
    let catalogue = args.described.load()?;
    let (found, left) = match args.words.as_slice() {
        [file] if is_file(file) => {
            (read_file(&args.found, &catalogue)?, read_file(Path::new(file), &catalogue)?)
        }
        [line, to @ ..] => {
            let spec = LineSpec::parse(line).map_err(|wrong| {
                let next = format!("name a settings file or a line; there is no file {}", quoted(line));
                Failure::new(doing, wrong, next)
            })?;
            let to = to.first().map_or(Ok(To::Polling(PollingAddress::default())), |to| whom(to, doing))?;
            // A bench of this process may describe what the file is about; a port is opened for a good file alone.
            let early = (!spec.is_mock()).then(|| read_file(&args.found, &catalogue)).transpose()?;
            match find(&spec, &to, catalogue, &args.host, doing)? {
                Some(mut bench) => {
                    let found = early.map_or_else(|| read_file(&args.found, &bench.catalogue), Ok)?;
                    (found, bench.read(doing, out.quiet)?)
                }
                // Nobody there: nothing was compared.
                None => return Ok(Ended::CouldNot),
            }
        }
        [] => return Err(Failure::new(doing, "nothing to compare with is given", "name a file or a line")),
    };
    let comparison = compare(&found, &left);
    let mut table = Table::new("", &["section", "value", "kind", "as_found", "as_left"]);
    for d in &comparison.differences {
        let kind = if d.setting { "setting" } else { "fact" };
        table.row([&d.section, &d.name, kind, &d.as_found, &d.as_left]);
    }
    let format = out.options.format;
    let number = comparison.differences.len();
    if number > 0 || format == Format::Csv {
        table.write(format, out.text());
    }
    match format {
        Format::Text if !out.quiet => {
            let _ = writeln!(
                out.text(),
                "{}, {} equal.",
                plural(number, "difference"),
                plural(comparison.equal, "value")
            );
            if !comparison.not_compared.is_empty() {
                let _ = writeln!(
                    out.text(),
                    "Not known whole on both sides, so not compared whole: {}.",
                    comparison.not_compared.join(", ")
                );
            }
        }
        Format::Json => {
            let row = serde_json::json!({"differences": number, "equal": comparison.equal,
                "not_compared": comparison.not_compared});
            let _ = writeln!(out.text(), "{row}");
        }
        _ => {}
    }
    Ok(match number {
        0 if comparison.not_compared.is_empty() => Ended::Fine,
        // Nobody can say that nothing differs.
        0 => Ended::CouldNot,
        _ => Ended::Failed,
    })
}

/// A line's name is no file's, whatever there is on the disk.
fn is_file(word: &str) -> bool {
    LineSpec::parse(word).is_err() && Path::new(word).exists()
}
