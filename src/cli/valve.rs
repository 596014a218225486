//! `looprig valve`: a computed valve by itself, without protocol, on virtual time.

mod lost;
mod motions;
mod rig;
mod trace;
mod words;

use super::files::{exists, is_special, write_file};
use super::mock::misread;
use super::output::{Ended, Failure, Output, tell};
use super::valve_args::{FaultArg, ValveArgs};
use crate::app::written::words::nearest;
use crate::bench::{self, BenchPlan, DevicePlan, ValveFaultPlan, ValvePlan};
use crate::plant::fault::FaultName;
use crate::report::Format;
use crate::report::table::Table;
use crate::report::trace::{Findings, csv, svg};
use crate::time::Instant;
use core::fmt::Write;
use core::time::Duration;
use rig::Rig;
use std::path::Path;

/// Runs the motion and writes what came of it.
pub fn run(args: &ValveArgs, out: &mut Output) -> Result<Ended, Failure> {
    let Some(path) = args.bench.as_deref().filter(|_| !args.faults) else {
        faults().write(out.options.format, out.text());
        return Ok(Ended::Fine);
    };
    let doing = "reading the arguments";
    let Some(motion) = &args.motion else {
        let next = "name one behind it: step, ramp, stroke or fail; `looprig valve --help` shows more";
        return Err(Failure::new(doing, "nothing is asked of the valve", next));
    };
    // Of a fleet all loops have such a valve.
    let plan = bench::read(path).map_err(|e| misread(&e))?.loop_plan(0);
    let device = device(&plan, args.device.as_deref())?;
    let (name, mut valve) = (name(device), valve_of(device)?.clone());
    for fault in &args.fault {
        valve.faults.push(fault_of(fault)?);
    }
    let wanted = [&args.csv, &args.svg];
    if args.csv.is_some() && args.csv == args.svg {
        let file = args.csv.as_deref().unwrap_or(Path::new("")).display();
        let wrong = format!("table and plot cannot both go to {file}");
        return Err(Failure::new(doing, wrong, "give --csv and --svg two files"));
    }
    for file in wanted.into_iter().flatten().filter(|f| !is_standard_output(f)) {
        if !args.force && file.exists() && !is_special(file) {
            return Err(exists(&writing(file)));
        }
    }
    if args.svg.as_deref().is_some_and(is_standard_output) {
        let next = "name a file, such as valve.svg";
        return Err(Failure::new(doing, "a plot does not go to standard output", next));
    }
    let seed = args.seed.or(plan.seed).unwrap_or(0);
    let every = Duration::from_millis(args.every_ms.into());
    let doing = format!("computing the valve of {name} in {}", path.display());
    let failed = |wrong: String, next: &str| Failure::new(doing.clone(), wrong, next);
    let mut rig = Rig::new(&valve, args.open_loop, seed, every).map_err(|(w, n)| failed(w, n))?;
    let run = motions::run(&mut rig, motion, args.seconds).map_err(|(w, n)| failed(w, n))?;
    let trace = trace::trace(
        &rig,
        &format!("{name}: {}", run.title),
        words::about(&valve, args.open_loop, &run.title),
    );
    let mut whole = false;
    for (file, text) in [(&args.csv, csv as fn(&_) -> String), (&args.svg, svg)] {
        match file.as_deref() {
            Some(file) if is_standard_output(file) => {
                out.text().push_str(&text(&trace));
                whole = true;
            }
            Some(file) => write_file(file, &text(&trace), args.force, &writing(file))?,
            None => {}
        }
    }
    // A table has no room for sentences.
    if whole || out.options.format == Format::Csv {
        for found in &run.findings {
            found.remarks.iter().for_each(|remark| tell(&format!("{}: {remark}", found.title)));
        }
    }
    if whole {
        return Ok(ended(&run));
    }
    let (format, quiet) = (out.options.format, out.quiet);
    match format {
        Format::Text if !quiet => words::head(&name, &run.title, &valve, args.open_loop, seed, out.text()),
        Format::Json => words::head_json(&name, &run.title, &valve, seed, out.text()),
        _ => {}
    }
    Findings::write_all(&run.findings, format, out.text());
    if format == Format::Text && !quiet {
        for file in wanted.into_iter().flatten() {
            let _ = writeln!(out.text(), "Written: {}", file.display());
        }
        words::cautions(out.text());
    }
    Ok(ended(&run))
}

fn ended(run: &motions::Run) -> Ended {
    if run.arrived { Ended::Fine } else { Ended::Failed }
}

fn is_standard_output(file: &Path) -> bool {
    file.as_os_str() == "-"
}

fn writing(file: &Path) -> String {
    format!("writing {}", file.display())
}

/// The names of faults and what they mean.
fn faults() -> Table {
    let title = "Faults of a computed valve, and what severities 0.3, 0.6 and 1 mean";
    let mut table = Table::new(title, &["name", "fault", "severity"]);
    for name in FaultName::ALL {
        table.row([name.word(), name.words(), name.meaning()]);
    }
    table
}

fn name(device: &DevicePlan) -> String {
    let stored = &device.config.factory;
    match stored.tag.trim_end() {
        "" => format!("device {}", stored.polling_address),
        tag => tag.to_owned(),
    }
}

/// The device that is meant: by tag, long tag or polling address, else the first positioner.
fn device<'a>(plan: &'a BenchPlan, wanted: Option<&str>) -> Result<&'a DevicePlan, Failure> {
    let doing = || format!("looking for a valve in {}", plan.path.display());
    let Some(wanted) = wanted else {
        let first = plan.devices.iter().find(|d| d.valve.is_some());
        let next = "add a device that is a positioner";
        return first.ok_or_else(|| Failure::new(doing(), "no device of this bench has a valve", next));
    };
    let is_it = |d: &&DevicePlan| {
        let stored = &d.config.factory;
        stored.polling_address.to_string() == wanted
            || !wanted.is_empty()
                && (stored.tag.trim_end() == wanted.to_uppercase() || stored.long_tag == wanted)
    };
    plan.devices.iter().find(is_it).ok_or_else(|| {
        let names: Vec<String> = plan.devices.iter().map(name).collect();
        let next = format!("the devices here are {}", names.join(", "));
        Failure::new(doing(), format!("no device of this bench is called \"{wanted}\""), next)
    })
}

fn valve_of(device: &DevicePlan) -> Result<&ValvePlan, Failure> {
    device.valve.as_ref().ok_or_else(|| {
        let wrong = format!("{} is a {}", name(device), device.config.kind.name().words());
        Failure::new("looking for its valve", wrong, "name a positioner: a transmitter has no valve")
    })
}

fn fault_of(arg: &FaultArg) -> Result<ValveFaultPlan, Failure> {
    let name = FaultName::from_word(&arg.name).ok_or_else(|| {
        let names = FaultName::ALL.map(|n| n.word().to_owned());
        let near = nearest(&arg.name, &names).map_or(String::new(), |n| format!("did you mean {n}? "));
        let next = format!("{near}`looprig valve --faults` lists them");
        Failure::new("reading --fault", format!("there is no fault \"{}\"", arg.name), next)
    })?;
    let from = arg.at_s.map(|s| Instant::ZERO + Duration::from_secs_f64(s));
    Ok(ValveFaultPlan { name, severity: arg.severity, from, until: None })
}
