//! `looprig travel`: loop check, travel test and device check of a valve, and the report [TV-01].

use super::ask::{host_failure, master_config};
use super::describing::with_line;
use super::files::{exists, is_no_input, write_file};
use super::lines::{LineSpec, quoted, utc_now_words, with_log};
use super::open_line::OpenLine;
use super::output::{Ended, Failure, Output, say, tell};
use super::sha256::sha256;
use super::silence::nobody;
use super::travel_args::TravelArgs;
use crate::app::command::Catalogue;
use crate::bench::{BenchPlan, Waiting};
use crate::capture::io_words;
use crate::commission::travel::record::{Ended as TestEnded, Log, Occasion, Plan, Rest, Test};
use crate::commission::travel::{Readings, Record, Setup, run as run_test};
use crate::frame::PollingAddress;
use crate::host::{Ask, Device, Host, Stimulus, To};
use crate::line::Line;
use crate::report::handover::CALIBRATION;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

mod api;
mod by_bench;
mod by_device;
mod by_person;
mod calibration;
mod checked;
mod given;
mod hands;
mod measured;
mod person;
mod shown;

pub use by_device::ByDevice;
pub use calibration::told as calibration_told;
pub use given::{By, GaugeSpec, name_of, read_record};

use by_bench::ByBench;
use by_person::ByPerson;
use person::Asked;

const MOVER: &str = "choosing who moves the set point";
const DOING: &str = "starting the travel test";

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
        let (records, checks) = given::read_all(&args.from)?;
        let files = given::Files { checks, ..files };
        return shown::report(args, &records.iter().collect::<Vec<_>>(), &files, out);
    }
    let plan = plan(args);
    if !args.device_check {
        plan.check()
            .map_err(|wrong| Failure::new(DOING, wrong, "`looprig travel --help` shows what can be given"))?;
    }
    let mut record = record(args, plan)?;
    // What the record begins with is about the arguments, and can still be put right.
    record.remarks.iter().for_each(|remark| tell(remark));
    let Some(mut bench) = Bench::open(args, catalogue)? else { return Ok(Ended::Failed) };
    let person = Asked::new(files.answers.clone(), args_is_mock(args), out.quiet, Arc::clone(&bench.ended));
    let mut stimulus = bench.stimulus(args, &person)?;
    let readings = bench.readings(args);
    let asking = |e| host_failure("reading what the device knows of its travel".to_owned(), e);
    if calibration::is_missing(&mut bench.host, &bench.device, &readings).map_err(asking)? {
        return Err(calibration::missing(&bench.host, &bench.device, &bench.line_name, args_is_mock(args)));
    }
    if args.device_check {
        let mut check = checked::new(args, &bench.line_name);
        check.started = utc_now_words();
        let hands = bench.hands(args)?;
        let check = checked::run(bench, &mut *stimulus, (&person, hands), readings, check);
        tell_unused(&person, args);
        return checked::show(args, check, files, out);
    }
    let calibrated = calibration::told(&mut bench.host, &bench.device).map_err(asking)?;
    record.line = bench.line_name.clone();
    record.started = utc_now_words();
    record.device.more.extend(calibrated.map(|words| (CALIBRATION.to_owned(), words)));
    let mut keeper = Keeper { path: args.record.as_deref(), is_ours: args.force, has_failed: false };
    if !keeper.is_pipe() {
        keeper.keep(&record)?;
    }
    let mut asked = person.clone();
    let mut record = run_test(
        Setup {
            ask: &mut bench.host,
            device: bench.device,
            stimulus: &mut *stimulus,
            person: &mut asked,
            readings,
            gauge: args.external.as_ref().map(|g| g.gauge(args.rated_travel)),
            control_system: args.control_system,
            keep: &mut |record| keeper.keep_or_tell(record),
        },
        record,
    );
    if bench.ended.load(Ordering::SeqCst)
        && let TestEnded::Stopped { during, .. } = &record.ended
    {
        record.ended = TestEnded::Interrupted { during: during.clone() };
    }
    // The log is whole when the line is closed.
    drop(bench);
    record.log = args.host.log.as_deref().and_then(log_of);
    let kept = keeper.keep(&record);
    tell_unused(&person, args);
    if let (Some(path), Ok(()), false) = (&args.record, &kept, out.quiet) {
        say(&format!("The record is in {}.", path.display()));
    }
    let ended =
        shown::report(args, &core::iter::once(&record).chain(&files.beside).collect::<Vec<_>>(), &files, out);
    kept.and(ended)
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
        creep_increment_percent: if args.creep.is_empty() { 0.0 } else { args.creep_move },
        steps_percent: args.steps.clone(),
        step_watch_s: if watched { args.watch } else { 0.0 },
        strokes: args.strokes,
        losses: args.loss.iter().map(|l| (*l).into()).collect(),
        ..Plan::cycling(if args.points == "11" { 11 } else { 5 }, args.cycles)
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

/// A line that is open, with the device on it.
struct Bench<'a> {
    host: Host<Box<dyn Line + 'a>>,
    device: Device,
    to: To,
    line_name: String,
    /// The bench of this process behind the line, if there is one.
    here: Option<(Arc<BenchPlan>, Waiting)>,
    /// Whether Ctrl-C was pressed.
    ended: Arc<AtomicBool>,
}

impl Bench<'_> {
    /// Opens the line and finds the device; `None` when nobody answers, which is told.
    fn open<'a>(args: &TravelArgs, catalogue: Catalogue) -> Result<Option<Bench<'a>>, Failure> {
        let wrong = |wrong| {
            Failure::new(
                DOING,
                wrong,
                "the order is: looprig travel LINE [TO]; `looprig ask --help` tells how both are named",
            )
        };
        let [line, to @ ..] = args.words.as_slice() else { return Err(wrong("no line is given".to_owned())) };
        let spec = LineSpec::parse(line).map_err(wrong)?;
        let to = to
            .first()
            .map_or(Ok(To::Polling(PollingAddress::default())), |to| To::parse(to))
            .map_err(wrong)?;
        if !spec.is_mock() && !args.moves {
            return Err(Failure::new(
                DOING,
                "it moves the valve, and nobody said that this is wanted",
                "add --move if the valve may move: loop in manual or bypassed, process and people clear of it, permit in hand, \
                 local rules followed; it asks once more before anything moves",
            ));
        }
        let line = spec.open()?;
        let catalogue = with_line(catalogue, &line)?;
        let ended = Arc::new(AtomicBool::new(false));
        let (flag, handle) = (Arc::clone(&ended), line.interrupt_handle());
        ctrlc::set_handler(move || {
            flag.store(true, Ordering::SeqCst);
            handle.interrupt();
        })
        .map_err(|e| Failure::new("getting ready for Ctrl-C", e.to_string(), ""))?;
        let here = match &line {
            OpenLine::Mock(mock) => Some(mock.handle()),
            _ => None,
        };
        let line_name = line.describe();
        let server = line.server_said();
        let line = with_log(line, args.host.log.as_deref())?;
        let mut host = Host::new(line, master_config(&args.host)).with_catalogue(catalogue);
        let doing = format!("finding {to}");
        let (_, device) = host.find(&to).map_err(|e| host_failure(doing.clone(), e))?;
        let Some(device) = device else {
            tell(&nobody(doing, &to, server.as_ref()));
            return Ok(None);
        };
        Ok(Some(Bench { host, device, to, line_name, here, ended }))
    }

    /// Who moves the set point.
    fn stimulus(&mut self, args: &TravelArgs, person: &Asked) -> Result<Box<dyn Stimulus>, Failure> {
        let doing = MOVER;
        let failed = |(wrong, next): (String, String)| Failure::new(doing, wrong, next);
        let by = args.by.clone().unwrap_or(if self.here.is_some() { By::Bench } else { By::Person });
        Ok(match by {
            By::Person => {
                let unique = self.device.unique;
                let bench = self.here.clone().map(|(plan, waiting)| ByBench::here(plan, waiting, unique));
                Box::new(ByPerson::new(person.clone(), bench))
            }
            By::Bench => {
                let Some((plan, waiting)) = self.here.clone() else {
                    let next =
                        "give --by person, --by device, or --by api:URL for a running `looprig mock --api`";
                    return Err(Failure::new(doing, "only a mock: line has a bench in this process", next));
                };
                Box::new(ByBench::here(plan, waiting, self.device.unique))
            }
            By::Device => {
                let described = self.host.described(&self.device).map(|d| d.description());
                let spec = |number| self.host.spec(&self.device, number);
                let by = ByDevice::of(self.device, described, &spec).map_err(failed)?;
                Box::new(by.on_line(as_asked(args)))
            }
            By::Api(api) => Box::new(self.running(api)?),
        })
    }

    /// What plays a person's hands at the valve: the bench of this process, or a running one that moves the set point; else `None`.
    fn hands(&self, args: &TravelArgs) -> Result<Option<hands::Hands>, Failure> {
        match (&self.here, &args.by) {
            (Some((plan, waiting)), _) => {
                Ok(Some(ByBench::here(Arc::clone(plan), waiting.clone(), self.device.unique).hands()))
            }
            (None, Some(By::Api(api))) => self.running(api.clone()).map(|bench| Some(bench.hands())),
            _ => Ok(None),
        }
    }

    /// The running bench behind an API, with the device that is asked.
    fn running(&self, api: api::Api) -> Result<ByBench, Failure> {
        let (tag, polling) = match &self.to {
            To::Tag(tag) => (tag.as_str(), None),
            To::Polling(p) => ("", Some(p.get())),
            _ => ("", None),
        };
        let failed = |(wrong, next): (String, String)| Failure::new(MOVER, wrong, next);
        ByBench::running(api, tag, polling).map_err(failed)
    }

    /// Where the numbers are read.
    fn readings(&self, args: &TravelArgs) -> Readings {
        let mut readings = Readings::usual(&self.host, &self.device);
        if let Some(travel) = &args.travel {
            readings.travel = travel.clone();
            readings.assumed = false;
            // It spoke of the choice that was not made.
            readings.remark.clear();
        }
        readings.set_point = args.set_point.clone().or(readings.set_point);
        readings.current = args.current.clone().or(readings.current);
        readings.angle = args.angle.clone().or(readings.angle);
        readings
    }
}

/// Line, device and descriptions as `looprig ask` takes them.
fn as_asked(args: &TravelArgs) -> String {
    let line = args.words.first().map(String::as_str).unwrap_or_default();
    let to = args.words.get(1).map_or("0", String::as_str);
    let files =
        args.described.files.iter().map(|f| format!(" --description {}", quoted(&f.to_string_lossy())));
    format!("{} {}{}", quoted(line), quoted(to), files.collect::<String>())
}

/// Keeps the record in its file while the test runs.
struct Keeper<'a> {
    path: Option<&'a Path>,
    /// Whether what is there may be overwritten: leave was given, or we wrote it.
    is_ours: bool,
    has_failed: bool,
}

impl Keeper<'_> {
    fn keep(&mut self, record: &Record) -> Result<(), Failure> {
        let Some(path) = self.path else { return Ok(()) };
        write_file(
            path,
            &record.to_json(),
            self.is_ours,
            &format!("keeping the record in {}", path.display()),
        )?;
        self.is_ours = true;
        Ok(())
    }

    fn is_pipe(&self) -> bool {
        self.path.is_some_and(super::files::is_special)
    }

    /// The test goes on: what is measured is still to be shown.
    fn keep_or_tell(&mut self, record: &Record) {
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
        is_no_input(path, inputs.iter().copied(), &doing)?;
        if path.exists() && !super::files::is_special(path) && !args.force {
            return Err(exists(&doing));
        }
    }
    Ok(())
}
