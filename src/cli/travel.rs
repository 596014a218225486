//! `looprig travel`: loop check, travel test and device check of a valve, and the report [TV-01].

use super::ask::host_failure;
use super::files::{exists, has_place, is_no_input, write_file};
use super::lines::{LineSpec, utc_now_words};
use super::output::{Ended, Failure, Output, say, tell};
use super::sha256::sha256;
use super::silence::nobody;
use super::travel_args::TravelArgs;
use crate::app::command::Catalogue;
use crate::capture::io_words;
use crate::commission::travel::record::{Ended as TestEnded, Log, Occasion, Plan, Rest, Test};
use crate::commission::travel::{Readings, Record, Setup, run as run_test};
use crate::host::Device;
use crate::report::handover::{CALIBRATION, Calibrated};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;

mod api;
mod by_bench;
mod by_device;
mod by_person;
mod calibration;
mod checked;
mod given;
mod hands;
mod judges;
mod measured;
mod on_line;
mod person;
mod shown;

pub use by_device::ByDevice;
pub use calibration::told as calibration_told;
pub use given::{By, GaugeSpec, name_of, read_limits, read_record};

pub use on_line::{Named, OnLine, as_asked};
pub use person::Asked;

const DOING: &str = "starting the travel test";
/// How far each little move of a creep goes where nobody says, percent (own choice).
const CREEP_MOVE: f64 = 0.1;
/// How long a motion is watched at most where nobody says, s (own choice).
const WATCH_S: f64 = 30.0;

/// Runs it.
pub fn run(args: &TravelArgs, out: &mut Output) -> Result<Ended, Failure> {
    if args.limits_schema {
        out.text().push_str(&(crate::commission::travel::Limits::schema() + "\n"));
        return Ok(Ended::Fine);
    }
    let catalogue = args.described.load()?;
    let files = given::Files::read(args, &catalogue)?;
    check_outputs(args)?;
    if !args.from.is_empty() {
        let mut shown = given::read_all(&args.from)?;
        let tests = core::mem::take(&mut shown.tests);
        let files = given::Files { beside: shown, ..files };
        return shown::report(args, &tests.iter().collect::<Vec<_>>(), &files, out);
    }
    let plan = plan(args);
    if !args.device_check {
        has_effect(args)?;
        plan.check()
            .map_err(|wrong| Failure::new(DOING, wrong, "`looprig travel --help` shows what can be given"))?;
        judges::has_limits(args, &plan, &files.limits)?;
    }
    let mut record = record(args, plan)?;
    // What the record begins with is about the arguments, and can still be put right.
    record.remarks.iter().for_each(|remark| tell(remark));
    let today = utc_now_words();
    for i in &args.instrument {
        let wrong = Calibrated::read(&i.calibrated).ok().and_then(|c| c.wrong(&today));
        wrong.iter().for_each(|wrong| tell(&format!("{} {}: {wrong}.", i.name, i.serial)));
    }
    let Some(mut bench) = open(args, catalogue)? else { return Ok(Ended::Failed) };
    let person =
        Asked::new(files.answers.clone(), args_is_mock(args), out.quiet, Arc::clone(&bench.line.ended));
    let asked = as_asked(&args.words, &args.described.files);
    let mut stimulus = bench.line.stimulus(args.by.clone(), Some(&bench.device), &person, &asked)?;
    let readings = readings(args, &bench);
    let asking = |e| host_failure("reading what the device knows of its travel".to_owned(), e);
    if calibration::is_missing(&mut bench.line.host, &bench.device, &readings).map_err(asking)? {
        return Err(calibration::missing(
            &bench.line.host,
            &bench.device,
            &bench.line.line_name,
            (args_is_mock(args), bench.line.says_calibrated(&bench.device)),
        ));
    }
    for named in args.places.named() {
        if let Some(failure) =
            calibration::not_told(&mut bench.line.host, &bench.device, named).map_err(asking)?
        {
            return Err(failure);
        }
    }
    if args.device_check {
        let mut check = checked::new(args, &bench.line.line_name);
        check.started = utc_now_words();
        let hands = bench.line.hands(args.by.as_ref(), &bench.device)?;
        let mut keeper = Keeper::new(args);
        if !keeper.is_pipe() {
            keeper.keep(&check.to_json())?;
        }
        let check = checked::run(bench, &mut *stimulus, (&person, hands), readings, (check, &mut keeper));
        tell_unused(&person, args);
        return checked::show(args, (check, &mut keeper), files, out);
    }
    let calibrated = calibration::told(&mut bench.line.host, &bench.device).map_err(asking)?;
    record.line = bench.line.line_name.clone();
    record.started = utc_now_words();
    record.device.more.extend(calibrated.map(|words| (CALIBRATION.to_owned(), words)));
    let mut keeper = Keeper::new(args);
    if !keeper.is_pipe() {
        keeper.keep(&record.to_json())?;
    }
    let mut asked = person.clone();
    let mut record = run_test(
        Setup {
            ask: &mut bench.line.host,
            device: bench.device,
            stimulus: &mut *stimulus,
            person: &mut asked,
            readings,
            gauge: args.external.as_ref().map(|g| g.gauge(args.rated_travel)),
            control_system: args.control_system,
            keep: &mut |record| keeper.keep_or_tell(&record.to_json()),
        },
        record,
    );
    if bench.line.ended.load(Ordering::SeqCst)
        && let TestEnded::Stopped { during, .. } = &record.ended
    {
        record.ended = TestEnded::Interrupted { during: during.clone() };
    }
    // The log is whole when the line is closed.
    drop(bench);
    record.log = args.host.log.as_deref().and_then(log_of);
    let kept = keeper.keep(&record.to_json());
    tell_unused(&person, args);
    if let (Some(path), Ok(()), false) = (&args.record, &kept, out.quiet) {
        say(&format!("The record is in {}.", path.display()));
    }
    let ended = shown::report(
        args,
        &core::iter::once(&record).chain(&files.beside.tests).collect::<Vec<_>>(),
        &files,
        out,
    );
    kept.and(ended)
}

/// Opens the line and finds the device; `None` when nobody answers, which is told.
fn open<'a>(args: &TravelArgs, catalogue: Catalogue) -> Result<Option<Bench<'a>>, Failure> {
    let named = Named::read(&args.words, DOING, "the order is: looprig travel LINE [TO]")?;
    if !named.spec.is_mock() && !args.moves {
        return Err(Failure::new(
            DOING,
            "it moves the valve, and nobody said that this is wanted",
            "add --move if the valve may move: loop in manual or bypassed, process and people clear of it, permit in hand, \
             local rules followed; it asks once more before anything moves",
        ));
    }
    let mut line = OnLine::open(named, &args.host, catalogue)?;
    let doing = format!("finding {}", line.to);
    let (_, device) = line.host.find(&line.to).map_err(|e| host_failure(doing.clone(), e))?;
    let Some(device) = device else {
        tell(&nobody(doing, &line.to, line.server.as_ref()));
        return Ok(None);
    };
    Ok(Some(Bench { line, device }))
}

/// Where the numbers are read.
fn readings(args: &TravelArgs, bench: &Bench<'_>) -> Readings {
    args.places.over(Readings::usual(&bench.line.host, &bench.device))
}

/// A line that is open, with the device on it.
struct Bench<'a> {
    line: OnLine<'a>,
    device: Device,
}

fn args_is_mock(args: &TravelArgs) -> bool {
    args.words.first().and_then(|line| LineSpec::parse(line).ok()).is_some_and(|line| line.is_mock())
}

fn tell_unused(person: &Asked, args: &TravelArgs) {
    let unused = person.unused();
    if let (Some(path), false) = (&args.answers, unused.is_empty()) {
        tell(&format!("{}: nothing asked for {}", path.display(), unused.join(", ")));
    }
}

/// Refuses what would do nothing, and a loop check that leaves the loop alone [TV-102] [TV-103].
fn has_effect(args: &TravelArgs) -> Result<(), Failure> {
    let refused = |wrong: &str, next: &str| Err(Failure::new(DOING, wrong, next));
    if args.check && matches!(args.by, Some(By::Device)) {
        return refused(
            "a loop check shows that the current in the loop moves the valve, and a command of the device leaves the loop alone",
            "let a person or a bench set the current, or make a travel test of the same points: --cycles 1 --by device",
        );
    }
    if !args.loss.is_empty() && matches!(args.by, Some(By::Device)) {
        return refused(
            "--loss takes away current, air or trip, and a command of the device cannot do that",
            "add --by person and do it by hand when it asks, or leave --loss out",
        );
    }
    if args.creep.is_empty() && args.creep_move.is_some() {
        return refused(
            "--creep-move belongs to --creep, which is not given",
            "add --creep, or leave it out",
        );
    }
    if args.steps.is_empty() && args.strokes == 0 && args.loss.is_empty() && args.watch.is_some() {
        return refused(
            "--watch belongs to --steps, --strokes and --loss, and none of them is given",
            "add one of them, or leave it out; how long it is waited for rest is --rest-most",
        );
    }
    if args.check || args.cycles > 0 {
        return Ok(());
    }
    if args.points.is_some() || args.control_system {
        return refused(
            "--points and --control-system belong to cycles, and with --cycles 0 there are none",
            "leave them out, or leave --cycles 0 out",
        );
    }
    if args.external.is_some() && args.creep.is_empty() && args.strokes == 0 {
        return refused(
            "--external is read at resting places, and this test has none",
            "leave it out, or add cycles, --creep or --strokes",
        );
    }
    Ok(())
}

/// What is to be done.
fn plan(args: &TravelArgs) -> Plan {
    let rest = Rest {
        within_percent: args.rest_within,
        for_s: args.rest_for,
        most_s: args.rest_most.max(args.rest_for),
    };
    if args.check {
        return Plan { rest, ..Plan::loop_check() };
    }
    let watched = !args.steps.is_empty() || args.strokes > 0 || !args.loss.is_empty();
    Plan {
        rest,
        creep_places_percent: args.creep.clone(),
        creep_increment_percent: if args.creep.is_empty() {
            0.0
        } else {
            args.creep_move.unwrap_or(CREEP_MOVE)
        },
        steps_percent: args.steps.clone(),
        step_watch_s: if watched { args.watch.unwrap_or(WATCH_S) } else { 0.0 },
        strokes: args.strokes,
        losses: args.loss.iter().map(|l| (*l).into()).collect(),
        ..Plan::cycling(if args.points.as_deref() == Some("11") { 11 } else { 5 }, args.cycles)
    }
}

/// What is known before.
fn record(args: &TravelArgs, plan: Plan) -> Result<Record, Failure> {
    let mut record = Record::new(if args.check { Test::LoopCheck } else { Test::Travel }, plan);
    record.occasion = match (args.as_found, args.as_left) {
        (true, _) => Occasion::AsFound,
        (_, true) => Occasion::AsLeft,
        _ => Occasion::Unsaid,
    };
    record.who.clone_from(&args.who);
    record.site.clone_from(&args.site);
    record.valve.words.clone_from(&args.valve);
    record.valve.rated_travel = args.rated_travel.map(|r| r.0);
    record.valve.motion = args.rated_travel.map(|r| r.1);
    record.valve.fails_to = args.fails_to.map(Into::into).unwrap_or_default();
    record.instruments.clone_from(&args.instrument);
    record.supply_kpa = args.supply_kpa;
    record.ambient_c = args.ambient_c;
    let (measure, remark) = measured::measure(args)?;
    record.external = measure;
    record.remarks.extend(remark);
    Ok(record)
}

/// Keeps the record in its file while the test runs.
struct Keeper<'a> {
    path: Option<&'a Path>,
    /// Whether what is there may be overwritten: leave was given, or we wrote it.
    is_ours: bool,
    has_failed: bool,
}

impl<'a> Keeper<'a> {
    fn new(args: &'a TravelArgs) -> Keeper<'a> {
        Keeper { path: args.record.as_deref(), is_ours: args.force, has_failed: false }
    }

    fn keep(&mut self, record: &str) -> Result<(), Failure> {
        let Some(path) = self.path else { return Ok(()) };
        write_file(path, record, self.is_ours, &format!("keeping the record in {}", path.display()))?;
        self.is_ours = true;
        Ok(())
    }

    fn is_pipe(&self) -> bool {
        self.path.is_some_and(super::files::is_special)
    }

    /// The test goes on: what is measured is still to be shown.
    fn keep_or_tell(&mut self, record: &str) {
        // Whoever reads a pipe wants one record.
        if !self.is_pipe()
            && let Err(failure) = self.keep(record)
            && !core::mem::replace(&mut self.has_failed, true)
        {
            tell(&failure);
        }
    }
}

/// Name and hash of a log that is whole.
pub fn log_of(path: &Path) -> Option<Log> {
    let name = name_of(path);
    match std::fs::File::open(path).and_then(sha256) {
        Ok(hash) => Some(Log { name, hash: format!("sha256:{hash}") }),
        Err(e) => {
            tell(&Failure::new(
                format!("reading the log {} again", path.display()),
                io_words(&e),
                "see whether the disk is full",
            ));
            None
        }
    }
}

/// Files to be written: none that is there already, none that is read, none twice. Told before anything moves.
fn check_outputs(args: &TravelArgs) -> Result<(), Failure> {
    let outputs: Vec<&Path> = [&args.record, &args.html, &args.json, &args.sign]
        .into_iter()
        .flatten()
        .map(PathBuf::as_path)
        .collect();
    let inputs = args
        .from
        .iter()
        .chain(&args.beside)
        .chain(&args.answers)
        .chain(&args.limits)
        .chain(&args.settings)
        .chain(&args.wiring);
    let inputs: Vec<&Path> = inputs.map(PathBuf::as_path).collect();
    for (i, path) in outputs.iter().enumerate() {
        let doing = format!("writing {}", path.display());
        if outputs[..i].contains(path) {
            return Err(Failure::new(
                doing,
                "the same file is named twice",
                "name another one for the report or the record",
            ));
        }
        has_place(path, &doing)?;
        is_no_input(path, inputs.iter().copied(), &doing)?;
        if path.exists() && !super::files::is_special(path) && !args.force {
            return Err(exists(&doing));
        }
        super::files::can_write(path, &doing)?;
    }
    Ok(())
}
