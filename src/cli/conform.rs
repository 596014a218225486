//! `looprig conform`: a device judged by the protocol.

use super::conform_args::ConformArgs;
use super::fault_matrix::{self, Extent, FaultMatrix, Reasons, Specimen};
use super::files::{exists, is_special, write_file};
use super::lines::{end_on_signal, utc_now_second, with_log};
use super::output::{Ended, Failure, Output, say, tell};
use super::silence::nobody;
use crate::app::written::FileKind;
use crate::bench::text_of;
use crate::conform::{CannotRun, Case, Known, Progress, Results, Suite, all};
use crate::device::ProtocolFault;
use crate::frame::PollingAddress;
use crate::host::To;
use crate::line::Line;
use crate::report::Format;
use crate::report::conform::{self as report, About};
use crate::report::text::plural;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Runs it.
pub fn run(args: &ConformArgs, out: &mut Output) -> Result<Ended, Failure> {
    let mut suite = Suite::new().strict(args.strict);
    for pattern in &args.only {
        suite = suite.only(pattern);
    }
    let cases: Vec<Case> = suite.cases().map_err(cannot)?;
    if args.matrix {
        return matrix(args, cases, out);
    }
    let Some(spec) = args.line.as_ref().filter(|_| !args.list) else {
        report::write_list(&cases, out.options, out.text());
        return Ok(Ended::Fine);
    };
    refuse_existing(args)?;
    if let Some(path) = &args.known {
        suite = suite.known(read_known(path)?);
    }
    // On wires of this process there is nothing that a case could harm [HO-05].
    let harmless = spec.is_mock();
    suite = suite.writing(args.write || harmless).moving(args.moves || harmless);
    if !harmless {
        announce(args, &cases);
    }
    let line = spec.open()?;
    let server = line.server_said();
    end_on_signal(line.interrupt_handle())?;
    let mut line = with_log(line, args.log.as_deref())?;
    let to = args.to.clone().unwrap_or(To::Polling(PollingAddress::default()));
    let results = with_progress(&suite, &mut line, &to, out.quiet).map_err(|e| match (e, &server) {
        (CannotRun::NoDevice(_), Some(server)) => nobody("judging a device".to_owned(), &to, Some(server)),
        // There is neither a loop nor a modem that could be looked at.
        (CannotRun::NoDevice(why), None) if harmless => Failure::new(
            "judging a device",
            why,
            "look who is there with `looprig scan LINE`, and give that address or tag behind the line",
        ),
        (e, _) => cannot(e),
    })?;
    report::write(&results, out.options, out.text());
    // Octet 21 of its identity is the profile [CM-000] [TB-06].
    if results.device.identity.get(21) == Some(&132) {
        out.flush()?;
        say(
            "  this was a gateway, which has no variables of its own: name a device behind it, by its tag or unique address \
             (`looprig scan LINE` lists them)",
        );
    }
    write_files(args, &results, out)?;
    Ok(match results.exit_code() {
        0 => Ended::Fine,
        1 => Ended::Failed,
        _ => Ended::CouldNot,
    })
}

/// The suite on known faults.
fn matrix(args: &ConformArgs, cases: Vec<Case>, out: &mut Output) -> Result<Ended, Failure> {
    let devices = match args.line.as_ref().map(|l| l.mock_plan()) {
        None => Specimen::own()?,
        Some(Some(plan)) => Specimen::of_bench(&plan?),
        Some(None) => {
            return Err(Failure::new(
                "making the fault matrix",
                "faults can be put into mocks alone",
                "leave the line out, or give a mock: line",
            ));
        }
    };
    let mut faults: Vec<&'static ProtocolFault> = Vec::new();
    for name in &args.fault {
        faults.push(ProtocolFault::named(name).ok_or_else(|| {
            let wrong = format!("no protocol fault is called \"{name}\"");
            Failure::new("making the fault matrix", wrong, "`looprig mock --protocol-faults` lists them")
        })?);
    }
    if faults.is_empty() {
        faults = ProtocolFault::all().collect();
    }
    let reasons = Reasons::of_the_notes().map_err(Failure::told)?;
    let progress = bar(out.quiet, "{bar:20} {pos} of {len} runs");
    let matrix = FaultMatrix::run(devices, cases, &faults, Extent::Every, &|done, of| {
        progress.set_length(of as u64);
        progress.set_position(done as u64);
    });
    progress.finish_and_clear();
    fault_matrix::write(&matrix, &reasons, out.options.format, out.text());
    Ok(if matrix.complaints(&reasons).is_empty() { Ended::Fine } else { Ended::Failed })
}

/// A bar that is hidden by itself where nobody watches.
fn bar(quiet: bool, template: &str) -> ProgressBar {
    let progress = ProgressBar::new(1);
    if quiet {
        progress.set_draw_target(ProgressDrawTarget::hidden());
    }
    if let Ok(style) = ProgressStyle::with_template(template) {
        progress.set_style(style);
    }
    progress
}

type Writer = fn(&Results, &About) -> String;

/// Each file that is wanted besides, with what writes it.
fn files(args: &ConformArgs) -> impl Iterator<Item = (&PathBuf, &'static str, Writer)> {
    let html = args.html.as_ref().map(|p| (p, "a page", report::html as Writer));
    let junit = args.junit.as_ref().map(|p| (p, "JUnit XML", report::junit as Writer));
    html.into_iter().chain(junit)
}

/// Before a long run, not after it.
fn refuse_existing(args: &ConformArgs) -> Result<(), Failure> {
    let kept = |p: &PathBuf| !args.force && p.exists() && !is_special(p);
    match files(args).find(|(path, ..)| kept(path)) {
        Some((path, ..)) => Err(exists(&format!("writing {}", path.display()))),
        None => Ok(()),
    }
}

fn write_files(args: &ConformArgs, results: &Results, out: &mut Output) -> Result<(), Failure> {
    let log = args.log.as_ref().map(|p| p.display().to_string());
    let about = About { made: utc_now_second(), log, host: host_name() };
    // What was found out is told also where a file cannot be written, and so is the other file.
    out.flush()?;
    let mut written = Ok(());
    for (path, what, text) in files(args) {
        let doing = format!("writing {}", path.display());
        match write_file(path, &text(results, &about), args.force, &doing) {
            Ok(()) if out.options.format == Format::Text && !out.quiet => {
                let _ = writeln!(out.text(), "The same as {what}: {}", path.display());
            }
            Ok(()) => {}
            Err(e) => written = written.and(Err(e)),
        }
    }
    out.flush()?;
    written
}

/// The computer's name: where the system keeps it as a file, else as programs are told.
fn host_name() -> Option<String> {
    let of_file = std::fs::read_to_string("/proc/sys/kernel/hostname").ok();
    let of_variable = |name| std::env::var(name).ok();
    let name = of_file.or_else(|| of_variable("HOSTNAME")).or_else(|| of_variable("COMPUTERNAME"))?;
    Some(name.trim().to_owned()).filter(|n| !n.is_empty())
}

fn read_known(path: &Path) -> Result<Vec<Known>, Failure> {
    let ids: Vec<&str> = all().iter().map(|c| c.id).collect();
    let missing = "give the path of a list of known deviations, or leave --known out";
    let read =
        text_of(path, FileKind::KnownDeviations, missing).and_then(|t| Known::from_text(&t, path, &ids));
    read.map_err(|e| {
        let doing = format!("reading the known deviations {}", e.location());
        Failure::new(doing, e.wrong_with_line(), e.right)
    })
}

/// Says beforehand what will be changed and moved.
fn announce(args: &ConformArgs, cases: &[Case]) {
    let count = |f: fn(&Case) -> bool| cases.iter().filter(|c| f(c)).count();
    let writes = count(|c| c.needs.writes && !c.needs.moves);
    let moves = count(|c| c.needs.moves);
    if (args.write || args.moves) && writes > 0 {
        tell(&format!(
            "{} will change what the device stores and put it back; its counter of configuration changes and its flags stay \
             changed",
            plural(writes, "case")
        ));
        say(
            "  caution: do not run this on a device that is in service; save its settings first (`looprig settings save`)",
        );
    }
    if args.moves && moves > 0 {
        tell(&format!("{} may move the valve or change what the loop current does", plural(moves, "case")));
        say(
            "  caution: loop in manual, process and people clear of the valve; stay clear of stem, lever and linkage; follow \
             local rules",
        );
    }
}

fn with_progress(suite: &Suite, line: &mut dyn Line, to: &To, quiet: bool) -> Result<Results, CannotRun> {
    let progress = bar(quiet, "{bar:20} {pos} of {len} {msg}");
    let mut failed = 0;
    let results = suite.run_with(line, to, &mut |news| match news {
        Progress::Found(_, cases) => progress.set_length(cases as u64),
        Progress::Begins(i, case) => {
            progress.set_position(i as u64);
            let fails = if failed > 0 { format!("{}, ", plural(failed, "fail")) } else { String::new() };
            progress.set_message(format!("{fails}{}", case.id));
        }
        Progress::Ended(result) => failed += usize::from(result.counts_as_fail(false)),
    });
    progress.finish_and_clear();
    results
}

fn cannot(e: CannotRun) -> Failure {
    Failure::new("judging a device", e.to_string(), e.next())
}
