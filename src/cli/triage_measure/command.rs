//! `looprig triage --measure`.

use super::many::{Valves, all_faults, scenes};
use super::page::{object, rows};
use super::{file, measure, page};
use crate::cli::files::write_file;
use crate::cli::output::{Ended, Failure, Output};
use crate::commission::triage::Knowledge;
use crate::report::Format;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::path::PathBuf;

/// The first seed of the valves on which the knowledge was tried.
pub const TUNING: u64 = 1;
/// The first seed of the valves on which it is measured.
pub const MEASURING: u64 = 1000;

/// The longest file of scenes, octets: a thousand valves have less.
const LONGEST: u64 = 1 << 28;
const MEASURED: &str = "How good it is, on mocks";

/// How fault finding is measured on mocks.
#[derive(Debug, clap::Args)]
pub struct MeasureArgs {
    /// Measure fault finding on mocks, every field fault on generated valves, and print a page of Markdown. Exit code 1: what is
    /// asked for is not reached.
    #[arg(long, conflicts_with_all = ["words", "explain", "schema", "write_knowledge", "list"], help_heading = MEASURED)]
    pub measure: bool,
    /// How many generated valves.
    #[arg(long, help_heading = MEASURED, default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..=1000), value_name = "N", requires = "measure")]
    pub valves: u16,
    /// The seed of the first valve: 1 and on are those that the knowledge was tried on, 1000 and on those of the measurement.
    #[arg(long, help_heading = MEASURED, default_value_t = MEASURING, value_parser = clap::value_parser!(u64).range(0..1 << 62), value_name = "S", requires = "measure")]
    pub seed: u64,
    /// How many persons answer in front of each scene.
    #[arg(long, help_heading = MEASURED, default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=100), value_name = "P", requires = "measure")]
    pub personas: u8,
    /// How many pairs of faults at once on each valve.
    #[arg(long, help_heading = MEASURED, default_value_t = 10, value_parser = clap::value_parser!(u8).range(0..=100), value_name = "N", requires = "measure")]
    pub pairs: u8,
    /// Keep what was seen of each scene in a file, one a line as JSON.
    #[arg(long, help_heading = MEASURED, value_name = "FILE", requires = "measure", conflicts_with = "from_scenes")]
    pub scenes: Option<PathBuf>,
    /// Measure on the scenes of such a file: no valve is computed.
    #[arg(long, help_heading = MEASURED, value_name = "FILE", requires = "measure")]
    pub from_scenes: Option<PathBuf>,
}

/// The command that measures on these.
pub fn made(valves: Valves, personas: u64, pairs: usize) -> String {
    let Valves { first, count } = valves;
    format!("looprig triage --measure --valves {count} --seed {first} --personas {personas} --pairs {pairs}")
}

/// Measures, and writes the page; what is asked for and not reached is a check that failed.
///
/// # Errors
/// A file cannot be read or written, or is none of scenes.
pub fn run(args: &MeasureArgs, knowledge: &Knowledge, out: &mut Output) -> Result<Ended, Failure> {
    let (seen, made) = match &args.from_scenes {
        Some(path) => {
            let name = path.display().to_string();
            let failed = |what: String| {
                let next = "give a file that `looprig triage --measure --scenes FILE` has written";
                Failure::new(format!("reading scenes from {name}"), what, next)
            };
            if std::fs::metadata(path).is_ok_and(|m| m.len() > LONGEST) {
                return Err(failed("it is longer than 256 MiB, so it holds no scenes".to_owned()));
            }
            let text = std::fs::read_to_string(path).map_err(|e| failed(e.to_string()))?;
            (file::read(&text, &name)?, format!("looprig triage --measure --from-scenes {name}"))
        }
        None => {
            let bar = ProgressBar::new(1);
            if out.quiet {
                bar.set_draw_target(ProgressDrawTarget::hidden());
            }
            if let Ok(style) = ProgressStyle::with_template("{bar:20} {pos} of {len} scenes") {
                bar.set_style(style);
            }
            let valves = Valves { first: args.seed, count: usize::from(args.valves) };
            let seen = scenes(valves, &all_faults(), usize::from(args.pairs), &|done, of| {
                bar.set_length(of as u64);
                bar.set_position(done as u64);
            });
            bar.finish_and_clear();
            let pairs = usize::from(args.pairs);
            (seen?, made(valves, u64::from(args.personas), pairs))
        }
    };
    if let Some(path) = &args.scenes {
        write_file(path, &file::written(&seen), false, "writing the scenes")?;
    }
    let measured = measure(knowledge, &seen, u64::from(args.personas));
    let written = match out.options.format {
        Format::Text => page(&measured, &made),
        Format::Json => object(&measured, &made).to_string() + "\n",
        Format::Csv => rows(&measured),
    };
    out.text().push_str(&written);
    Ok(if measured.is_enough() { Ended::Fine } else { Ended::Failed })
}
