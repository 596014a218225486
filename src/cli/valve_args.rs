//! The arguments of `valve`.

use super::args::{seconds, seed};
use clap::{Subcommand, ValueEnum};
use std::path::PathBuf;

/// `valve`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = VALVE,
    override_usage = "looprig valve BENCH.toml [--device TAG] [--fault NAME=SEVERITY] [OPTIONS] MOTION
       looprig valve --faults",
    subcommand_value_name = "MOTION",
    subcommand_help_heading = "Motions"
)]
pub struct ValveArgs {
    /// The bench file (TOML): its [device.valve] is what is computed.
    #[arg(value_name = "BENCH.toml", required_unless_present = "faults")]
    pub bench: Option<PathBuf>,
    /// Which positioner of the bench: its tag or its polling address. The first one unless told.
    #[arg(long, global = true, help_heading = COMMON, value_name = "TAG|ADDRESS")]
    pub device: Option<String>,
    /// A fault besides those of the bench file: its name and how bad it is, above 0 to 1, such as
    /// filter_blocked=0.6; with a time in front, 2:filter_blocked=0.6, it comes 2 s after the plot begins. May be
    /// given several times.
    #[arg(long, global = true, help_heading = COMMON, value_name = "[SECONDS:]NAME=SEVERITY", value_parser = FaultArg::parse)]
    pub fault: Vec<FaultArg>,
    /// List the faults, and what a severity of each means, and end.
    #[arg(long, conflicts_with = "bench")]
    pub faults: bool,
    /// Without a controller: the numbers are then how far the output stage is driven, % of full, above 0 to open,
    /// below 0 to close. A stroke goes with full drive.
    #[arg(long, global = true, help_heading = COMMON)]
    pub open_loop: bool,
    /// Write the whole run as a table: set point, travel, what the sensor makes of it, pressures, forces. `-` is
    /// standard output, instead of the text.
    #[arg(long, global = true, help_heading = COMMON, value_name = "FILE.csv|-")]
    pub csv: Option<PathBuf>,
    /// Draw the run: set point, travel, what the sensor makes of it, pressures.
    #[arg(long, global = true, help_heading = COMMON, value_name = "FILE.svg")]
    pub svg: Option<PathBuf>,
    /// Overwrite files that exist.
    #[arg(long, global = true, help_heading = COMMON)]
    pub force: bool,
    /// Time between two rows of the table and two points of the plot, ms, 1 to 60000.
    #[arg(long, global = true, help_heading = COMMON, default_value_t = 10, value_name = "MS",
        value_parser = clap::value_parser!(u32).range(1..=60_000))]
    pub every_ms: u32,
    /// How long the run lasts, s, instead of until the valve rests.
    #[arg(long = "for", global = true, help_heading = COMMON, allow_negative_numbers = true, value_name = "SECONDS", value_parser = run_seconds)]
    pub seconds: Option<f64>,
    /// Fixes what is left to chance (the sensor's noise), 0 to 9223372036854775807; the bench file's unless given.
    #[arg(long, global = true, help_heading = COMMON, allow_negative_numbers = true, value_parser = seed, value_name = "N")]
    pub seed: Option<u64>,
    /// What the valve is asked to do.
    #[command(subcommand)]
    pub motion: Option<Motion>,
}

/// What a computed valve is asked to do.
#[derive(Debug, Subcommand)]
pub enum Motion {
    /// One step of the set point: dead time, 63 and 86 %, overshoot, settling.
    #[command(override_usage = "looprig valve BENCH.toml step [--from PERCENT] [--to PERCENT] [OPTIONS]")]
    Step {
        /// Where it rests before, %.
        #[arg(long, default_value_t = 20.0, allow_negative_numbers = true, value_name = "PERCENT", value_parser = percent)]
        from: f64,
        /// Where the set point goes, %.
        #[arg(long, default_value_t = 80.0, allow_negative_numbers = true, value_name = "PERCENT", value_parser = percent)]
        to: f64,
    },
    /// The set point goes there and back at a rate: how far the travel stays behind, and what it does at the turn.
    #[command(
        override_usage = "looprig valve BENCH.toml ramp [--from PERCENT] [--to PERCENT] [--rate PERCENT_PER_S] [OPTIONS]"
    )]
    Ramp {
        /// Where it rests before, %.
        #[arg(long, default_value_t = 20.0, allow_negative_numbers = true, value_name = "PERCENT", value_parser = percent)]
        from: f64,
        /// Where the set point turns, %.
        #[arg(long, default_value_t = 80.0, allow_negative_numbers = true, value_name = "PERCENT", value_parser = percent)]
        to: f64,
        /// How fast it goes, % a second, 0.01 to 1000.
        #[arg(long, default_value_t = 2.0, allow_negative_numbers = true, value_name = "PERCENT_PER_S", value_parser = rate)]
        rate: f64,
    },
    /// Full stroke open and full stroke shut: first motion, 5 %, 95 %, end stop, pressures, air used.
    #[command(override_usage = "looprig valve BENCH.toml stroke [OPTIONS]")]
    Stroke,
    /// Something is lost: where the valve goes, and how long that takes.
    #[command(override_usage = "looprig valve BENCH.toml fail air|current|trip [--from PERCENT] [OPTIONS]")]
    Fail {
        /// What is lost: the air supply, the loop current, or what keeps the trip valve energised.
        #[arg(value_enum, value_name = "air|current|trip")]
        what: Lost,
        /// Where it rests before, %.
        #[arg(long, default_value_t = 50.0, allow_negative_numbers = true, value_name = "PERCENT", value_parser = percent)]
        from: f64,
    },
}

/// What may be lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Lost {
    /// The air in the header.
    Air,
    /// The loop current.
    Current,
    /// The trip input.
    Trip,
}

/// `--fault`.
#[derive(Clone, Debug, PartialEq)]
pub struct FaultArg {
    /// When it comes, s after the run that is recorded begins; `None`: it is there from the start.
    pub at_s: Option<f64>,
    /// Its name, not judged yet.
    pub name: String,
    /// How bad it is, above 0 to 1.
    pub severity: f64,
}

impl FaultArg {
    fn parse(text: &str) -> Result<FaultArg, String> {
        let form = "give a name and how bad it is, such as filter_blocked=0.6 or 2:filter_blocked=0.6";
        let (front, severity) = text.split_once('=').ok_or_else(|| format!("\"{text}\" has no =: {form}"))?;
        let (at_s, name) = match front.split_once(':') {
            Some((at, name)) => {
                let at = seconds(at.trim()).map_err(|_| format!("\"{at}\" is no time in seconds: {form}"))?;
                (Some(at), name)
            }
            None => (None, front),
        };
        let severity = severity.trim().parse().ok().filter(|s: &f64| *s > 0.0 && *s <= 1.0);
        let severity =
            severity.ok_or_else(|| format!("\"{text}\" has no severity above 0 and up to 1: {form}"))?;
        Ok(FaultArg { at_s, name: name.trim().to_owned(), severity })
    }
}

const COMMON: &str = "Options of every motion";

const VALVE: &str = "Examples:
  looprig valve fixtures/benches/valve-fv-3104.toml step --from 20 --to 80 --svg step.svg
  looprig valve fixtures/benches/valve-fv-3104.toml stroke
  looprig valve fixtures/benches/valve-fv-3104.toml ramp --rate 1 --fault packing_tight=0.6
  looprig valve fixtures/benches/valve-fv-3104.toml fail air --from 60
The valve is computed: nothing real is opened, sent or moved. What holds the set point here is a
plain follower, proportional with a dead band, and no positioner: a real one does better, or worse.
Exit code 1: the valve did not get there.";

fn percent(text: &str) -> Result<f64, String> {
    let n = text.parse().ok().filter(|p| (-100.0..=125.0).contains(p));
    n.ok_or_else(|| format!("\"{text}\" is no place: give a number of percent, -100 to 125"))
}

fn rate(text: &str) -> Result<f64, String> {
    let n = text.parse().ok().filter(|r| (0.01..=1000.0).contains(r));
    n.ok_or_else(|| format!("\"{text}\" is no rate: give percent a second, 0.01 to 1000"))
}

fn run_seconds(text: &str) -> Result<f64, String> {
    let n = text.parse().ok().filter(|s| (0.1..=3600.0).contains(s));
    n.ok_or_else(|| format!("\"{text}\" is no length of a run: give a number of seconds, 0.1 to 3600"))
}
