//! `looprig settings`: what a device is set to, saved, compared, restored.

use super::args::HostArgs;
use super::ask::{host_failure, master_config, silence_advice};
use super::lines::{LineSpec, end_on_signal, quoted, utc_now_words, with_log};
use super::output::{Ended, Failure, Output, say, tell};
use super::settings_args::{CompareArgs, RestoreArgs, SaveArgs, SettingsArgs, SettingsCommand};
use crate::capture::io_words;
use crate::commission::settings::{
    Allowed, Change, Difference, LeftOut, Origin, Outcome, Plan, ReadError, Restored, Settings, compare,
    from_text, other_device, other_type, plan, read, restore, to_text,
};
use crate::frame::PollingAddress;
use crate::host::{Device, Host, To};
use crate::line::Line;
use crate::report::Format;
use crate::report::table::Table;
use crate::report::text::plural;
use core::fmt::Write;
use indicatif::{ProgressBar, ProgressDrawTarget};
use std::fs::{self, OpenOptions};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Longest settings file, octets: far more than a device has settings.
const LONGEST: u64 = 1 << 20;

/// Runs it.
pub fn run(args: &SettingsArgs, out: &mut Output) -> Result<Ended, Failure> {
    match &args.what {
        SettingsCommand::Save(a) => save(a, out),
        SettingsCommand::Compare(a) => compare_with(a, out),
        SettingsCommand::Restore(a) => restore_to(a, out),
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

fn read_file(path: &Path) -> Result<Settings, Failure> {
    let doing = || format!("reading the settings in {}", path.display());
    let named = "name a file that `looprig settings save` wrote";
    let failed = |e: std::io::Error| Failure::new(doing(), io_words(&e), named);
    let file = fs::File::open(path).map_err(failed)?;
    let mut octets = Vec::new();
    file.take(LONGEST + 1).read_to_end(&mut octets).map_err(failed)?;
    if octets.len() as u64 > LONGEST {
        return Err(Failure::new(doing(), "it is larger than 1 MiB", named));
    }
    let text =
        String::from_utf8(octets).map_err(|_| Failure::new(doing(), "it is no text in UTF-8", named))?;
    from_text(&text).map_err(|e| {
        let place = format!("{}:{}:{}", path.display(), e.place.line, e.place.column);
        Failure::new(format!("reading settings: {place}"), e.place.below(&e.wrong), e.right)
    })
}

/// A device on a line that is open.
struct Bench<'a> {
    host: Host<Box<dyn Line + 'a>>,
    device: Device,
    origin: Origin,
}

/// Opens the line and finds the device; `None` when nobody answers, which is told.
fn find<'a>(spec: &LineSpec, to: &To, host: &HostArgs, doing: &str) -> Result<Option<Bench<'a>>, Failure> {
    let line = spec.open()?;
    end_on_signal(line.interrupt_handle())?;
    let origin =
        Origin { looprig: env!("CARGO_PKG_VERSION").into(), saved: utc_now_words(), line: line.describe() };
    let line = with_log(line, host.log.as_deref())?;
    let mut host = Host::new(line, master_config(host));
    let (_, device) = host.find(to).map_err(|e| host_failure(doing.to_owned(), e))?;
    let Some(device) = device else {
        tell(&Failure::new(doing, "nobody answered", silence_advice(to)));
        return Ok(None);
    };
    Ok(Some(Bench { host, device, origin }))
}

impl Bench<'_> {
    fn read(&mut self, doing: &str, quiet: bool) -> Result<Settings, Failure> {
        let progress = ProgressBar::new_spinner();
        if quiet {
            progress.set_draw_target(ProgressDrawTarget::hidden());
        }
        let settings = read(&mut self.host, &self.device, self.origin.clone(), &mut |what| {
            progress.set_message(format!("reading {what}"));
            progress.tick();
        });
        progress.finish_and_clear();
        settings.map_err(|e| read_failure(doing.to_owned(), e))
    }
}

fn read_failure(doing: String, e: ReadError) -> Failure {
    match e {
        ReadError::Host(e) => host_failure(doing, e),
        e @ ReadError::Silent { .. } => Failure::new(
            doing,
            e.to_string(),
            "look at the link with `looprig listen LINE`, then try again; more --retries help against noise",
        ),
        e @ ReadError::Busy { .. } => {
            Failure::new(doing, e.to_string(), "wait until it is done, then try again")
        }
    }
}

fn save(args: &SaveArgs, out: &mut Output) -> Result<Ended, Failure> {
    let doing = "saving settings";
    let (to, path) = to_and_file(&args.words, doing)?;
    if path.exists() && !args.force {
        return Err(exists(&path));
    }
    let doing = format!("saving the settings of {to}");
    let Some(mut bench) = find(&args.line, &to, &args.host, &doing)? else { return Ok(Ended::Failed) };
    let settings = bench.read(&doing, out.quiet)?;
    write_file(&path, &to_text(&settings), args.force)?;
    let (number, facts, missing) = settings.counts();
    let missing: Vec<String> = missing.iter().map(u8::to_string).collect();
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
                let _ = writeln!(text, "The device has no commands {}.", missing.join(", "));
            }
        }
    } else {
        let mut table = Table::new("", &["file", "unique_address", "settings", "facts", "missing_commands"]);
        table.row([
            path.display().to_string(),
            bench.device.unique.to_string(),
            number.to_string(),
            facts.to_string(),
            missing.join(" "),
        ]);
        let format = out.options.format;
        table.write(format, out.text());
    }
    Ok(Ended::Fine)
}

fn exists(path: &Path) -> Failure {
    Failure::new(
        format!("saving settings to {}", path.display()),
        "the file exists, and what it holds may be wanted",
        "name another file, or add --force to overwrite it",
    )
}

/// Writes a file whole or not at all: what is there stays until the new one is on the disk.
fn write_file(path: &Path, text: &str, force: bool) -> Result<(), Failure> {
    use std::io::Write as _;
    let failed = |e: std::io::Error| {
        let doing = format!("saving settings to {}", path.display());
        Failure::new(doing, io_words(&e), "name another file or make room")
    };
    let put = |path: &Path, new: bool| {
        let mut file =
            OpenOptions::new().write(true).create_new(new).create(!new).truncate(!new).open(path)?;
        file.write_all(text.as_bytes()).and_then(|()| file.sync_all())
    };
    if force {
        let mut beside = path.as_os_str().to_owned();
        beside.push(".new");
        let beside = PathBuf::from(beside);
        return put(&beside, false).and_then(|()| fs::rename(&beside, path)).map_err(|e| {
            let _ = fs::remove_file(&beside);
            failed(e)
        });
    }
    put(path, true).map_err(|e| {
        if e.kind() == std::io::ErrorKind::AlreadyExists {
            return exists(path);
        }
        // It was made just now, by us.
        let _ = fs::remove_file(path);
        failed(e)
    })
}

fn compare_with(args: &CompareArgs, out: &mut Output) -> Result<Ended, Failure> {
    let doing = "comparing settings";
    let found = read_file(&args.found)?;
    let left = match args.words.as_slice() {
        [file] if is_file(file) => read_file(Path::new(file))?,
        [line, to @ ..] => {
            let spec = LineSpec::parse(line).map_err(|wrong| {
                let next = format!("name a settings file or a line; there is no file {}", quoted(line));
                Failure::new(doing, wrong, next)
            })?;
            let to = to.first().map_or(Ok(To::Polling(PollingAddress::default())), |to| whom(to, doing))?;
            match find(&spec, &to, &args.host, doing)? {
                Some(mut bench) => bench.read(doing, out.quiet)?,
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
        }
        Format::Json => {
            let _ = writeln!(out.text(), "{{\"differences\":{number},\"equal\":{}}}", comparison.equal);
        }
        _ => {}
    }
    Ok(if number == 0 { Ended::Fine } else { Ended::Failed })
}

/// A line's name is no file's, whatever there is on the disk.
fn is_file(word: &str) -> bool {
    LineSpec::parse(word).is_err() && Path::new(word).exists()
}

fn restore_to(args: &RestoreArgs, out: &mut Output) -> Result<Ended, Failure> {
    let doing = "restoring settings";
    let (to, path) = to_and_file(&args.words, doing)?;
    let wanted = read_file(&path)?;
    // On wires of this process there is nothing that a command could harm [HO-05].
    let harmless = args.line.is_mock();
    if !(args.write || args.moves || harmless) {
        return Err(Failure::new(
            doing,
            "it changes what the device stores, and nobody said that this is wanted",
            "see with `looprig settings compare FILE LINE TO` what differs, then add --write",
        ));
    }
    let doing = format!("restoring the settings of {to}");
    let Some(mut bench) = find(&args.line, &to, &args.host, &doing)? else { return Ok(Ended::Failed) };
    let mut now = bench.read(&doing, out.quiet)?;
    same_kind(&wanted, &now, args.other_type, &doing)?;
    let allowed = Allowed { moves: args.moves || harmless, polling_address: args.polling_address };
    let planned = plan(&wanted, &now, allowed);
    announce(&planned, &bench.device, &to, &path, &wanted.origin);
    let mut results = Vec::new();
    let mut again = |changes: &[Change]| {
        tell(&"the device changed these by the way; they are written again:");
        announce_changes(changes);
    };
    let device = bench.device;
    let ended =
        restore(&mut bench.host, &device, &wanted, &mut now, allowed, args.stop, &mut again, &mut results);
    show(&planned, &results, out);
    ended.map_err(|e| read_failure(doing, e))?;
    // What was right before, and may not be put right again.
    let is_new = |l: &LeftOut| {
        planned
            .left_out
            .iter()
            .all(|p| (&p.value.section, &p.value.name) != (&l.value.section, &l.value.name))
    };
    let spoilt: Vec<LeftOut> = plan(&wanted, &now, allowed).left_out.into_iter().filter(is_new).collect();
    for LeftOut { value: v, why, .. } in &spoilt {
        tell(&format!(
            "the device changed this by the way, and it was not put right: {} {}: {}, wanted {}; {why}",
            v.section, v.name, v.as_found, v.as_left
        ));
    }
    let arrived = results.iter().all(|r| r.outcome == Outcome::Arrived) && spoilt.is_empty();
    let whole = planned.left_out.iter().all(|l| l.expected);
    Ok(if arrived && whole { Ended::Fine } else { Ended::Failed })
}

/// Settings of one type of device say nothing certain to another.
fn same_kind(wanted: &Settings, now: &Settings, other_allowed: bool, doing: &str) -> Result<(), Failure> {
    let others = other_type(wanted, now);
    let words = |d: &Difference| format!("{} {} in the file, {} here", d.name, d.as_found, d.as_left);
    if !others.is_empty() {
        let list: Vec<String> = others.iter().map(words).collect();
        let wrong = format!("the file is of another kind of device: {}", list.join("; "));
        if !other_allowed {
            return Err(Failure::new(
                doing,
                wrong,
                "check which device this is; --other-type restores what both have, and what it means is then yours to judge",
            ));
        }
        tell(&wrong);
    }
    if let Some(d) = other_device(wanted, now) {
        tell(&format!("the file is of another device: {}", words(&d)));
    }
    Ok(())
}

/// What a file says, without what a terminal would obey.
fn one_line(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}

/// What will be changed and what will not, before anything is.
fn announce(plan: &Plan, device: &Device, to: &To, path: &Path, origin: &Origin) {
    if plan.changes.is_empty() {
        tell(&format!("nothing is to be written to device {} ({to})", device.unique));
    } else {
        let saved = if origin.saved.is_empty() {
            String::new()
        } else {
            format!(", saved {}", one_line(&origin.saved))
        };
        tell(&format!("this is written to device {} ({to}) from {}{saved}:", device.unique, path.display()));
    }
    for LeftOut { value: v, why, .. } in &plan.left_out {
        say(&format!("  left out: {} {}: {} -> {}; {why}", v.section, v.name, v.as_found, v.as_left));
    }
    announce_changes(&plan.changes);
}

fn announce_changes(changes: &[Change]) {
    for Change { values, .. } in changes {
        for v in values {
            say(&format!("  {} {}: {} -> {}", v.section, v.name, v.as_found, v.as_left));
        }
    }
    if changes.iter().any(Change::moves) {
        say(
            "  caution: the valve may move: loop in manual, process and people clear; stay clear of stem, lever and linkage",
        );
    }
}

fn show(plan: &Plan, results: &[Restored], out: &mut Output) {
    let columns = ["section", "value", "as_found", "wanted", "as_left", "outcome"];
    let mut table = Table::new("", &columns);
    for r in results {
        let outcome = match &r.outcome {
            Outcome::Arrived if r.said == "ok" => "arrived".to_owned(),
            Outcome::Arrived => format!("arrived, {}", r.said),
            Outcome::Differs if r.said.is_empty() => "not as wanted".to_owned(),
            Outcome::Differs => format!("not as wanted, {}", r.said),
            Outcome::Refused(said) => said.clone(),
            Outcome::Unanswered => "no answer".to_owned(),
            Outcome::NotTried => "not tried".to_owned(),
        };
        for (v, read_back) in r.change.values.iter().zip(&r.read_back) {
            table.row([&v.section, &v.name, &v.as_found, &v.as_left, read_back, &outcome]);
        }
    }
    let format = out.options.format;
    for LeftOut { value: v, why, .. } in &plan.left_out {
        // People have read why before anything was written.
        let outcome = if format == Format::Text { "left out".to_owned() } else { format!("left out: {why}") };
        table.row([&v.section, &v.name, &v.as_found, &v.as_left, &v.as_found, &outcome]);
    }
    if !table.rows.is_empty() || format == Format::Csv {
        table.write(format, out.text());
    }
    if format == Format::Text && !out.quiet {
        let arrived = results.iter().filter(|r| r.outcome == Outcome::Arrived);
        let arrived: usize = arrived.map(|r| r.change.values.len()).sum();
        let all: usize = results.iter().map(|r| r.change.values.len()).sum();
        let _ = writeln!(
            out.text(),
            "{arrived} of {} arrived, {} left out, {} equal before.",
            plural(all, "value"),
            plan.left_out.len(),
            plan.equal
        );
    }
}
