//! `looprig wiring`: the loop as a circuit.

use super::args::WiringArgs;
use super::files::write_file;
use super::mock::clock_seed;
use super::output::{Ended, Failure, Output};
use crate::app::written::FileError;
use crate::bench;
use crate::report::Format;
use crate::report::wiring::{WiringReport, checks_table, html, json, sweep, text, tolerance};
use crate::wiring::{Circuit, Knob, corner, judge, knob, sample};
use core::fmt::Write;

/// The most values of a sweep.
const MOST_VALUES: usize = 10_000;

/// Judges the loop of a sheet.
pub fn run(args: &WiringArgs, out: &mut Output) -> Result<Ended, Failure> {
    let Some(path) = args.sheet.as_deref().filter(|_| !args.schema) else {
        let _ = writeln!(out.text(), "{}", bench::sheet_schema());
        return Ok(Ended::Fine);
    };
    let sheet = bench::read_sheet(path).map_err(|e| misread(&e))?;
    let circuit = &sheet.circuit;
    if let Some(given) = &args.sweep {
        let (knob, name, values) = sweep_of(given, circuit)?;
        let table = sweep(circuit, &knob, name, &values);
        table.write(out.options.format, out.text());
        return Ok(Ended::Fine);
    }
    let judged = judge(circuit);
    let (mut worst, mut samples) = (None, None);
    if args.tolerance {
        worst = Some(corner(circuit, &sheet.tolerance));
        samples = Some(sample(circuit, &sheet.tolerance, args.samples, args.seed.unwrap_or_else(clock_seed)));
    }
    let report =
        WiringReport { circuit, judged: &judged, corner: worst.as_deref(), samples: samples.as_ref() };
    if let Some(to) = &args.html {
        write_file(to, &html(&report), args.force, &format!("writing {}", to.display()))?;
    }
    let (options, quiet) = (out.options, out.quiet);
    match options.format {
        Format::Text => text(&report, options.verbosity, options.colour, quiet, out.text()),
        Format::Json => {
            let _ = writeln!(out.text(), "{}", json(&report));
        }
        Format::Csv => match (&worst, &samples) {
            (Some(worst), Some(samples)) => tolerance(worst, samples).write(Format::Csv, out.text()),
            _ => checks_table(&judged.checks).write(Format::Csv, out.text()),
        },
    }
    if let (Some(to), Format::Text, false) = (&args.html, options.format, quiet) {
        let _ = writeln!(out.text(), "The same as a page: {}", to.display());
    }
    Ok(if judged.is_good() { Ended::Fine } else { Ended::Failed })
}

/// A sheet that cannot be read, for people.
pub fn misread(e: &FileError) -> Failure {
    let doing = format!("reading the wiring sheet {}", e.location());
    Failure::new(doing, e.wrong_with_line(), e.right.clone())
}

/// `cable.length=0..3000:100`.
fn sweep_of<'a>(given: &'a str, circuit: &Circuit) -> Result<(Knob, &'a str, Vec<f64>), Failure> {
    let doing = "reading --sweep";
    let form = "write it like cable.length=0..3000:100 (from, to, step)";
    let failed = |wrong: String, next: &str| Failure::new(doing, wrong, next);
    let (name, range) = given.split_once('=').ok_or_else(|| failed(format!("\"{given}\" has no ="), form))?;
    let knob = Knob::parse(name, circuit)
        .map_err(|wrong| failed(wrong, &format!("what can be varied: {}", knob::NAMES)))?;
    let numbers = range.split_once("..").and_then(|(from, rest)| {
        let (to, step) = rest.split_once(':')?;
        let number = |s: &str| s.trim().parse::<f64>().ok().filter(|x| x.is_finite());
        Some((number(from)?, number(to)?, number(step)?))
    });
    let (from, to, step) = numbers.ok_or_else(|| failed(format!("\"{range}\" is no range"), form))?;
    let allowed = knob.range();
    if !(allowed.contains(&from) && allowed.contains(&to) && from <= to) {
        let unit = knob.unit();
        let next = format!(
            "give a range from small to large within {} to {} {unit}",
            allowed.start(),
            allowed.end()
        );
        return Err(failed(format!("{name} cannot go from {from} to {to}"), &next));
    }
    let count = ((to - from) / step + 1e-9).floor();
    if !(step > 0.0 && count < MOST_VALUES as f64) {
        let wrong = format!("a step of {step} makes no list of values, or one of more than {MOST_VALUES}");
        return Err(failed(wrong, "give a larger step"));
    }
    // A knob that the circuit does not have in use is none.
    if knob.get(circuit).is_none() {
        return Err(failed(format!("the sheet gives no {name} to begin with"), "give it in the sheet first"));
    }
    Ok((knob, name, (0..=count as usize).map(|n| from + n as f64 * step).collect()))
}
