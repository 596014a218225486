//! The arguments of `triage`.

use super::args::HostArgs;
use super::describing::DescriptionArgs;
use super::travel::By;
use super::travel_args::{PlaceArgs, supply};
use super::triage_measure::MeasureArgs;
use super::wave_args::above_zero;
use crate::commission::travel::Reading;
use std::path::PathBuf;

const TRIAGE: &str = "Examples:
  looprig triage serial:/dev/ttyUSB0 tag:FV-3104 --description positioner.toml --supply-kpa 140
                  reads what the device tells, moves nothing, and asks you for the rest
  looprig triage serial:/dev/ttyUSB0 --description positioner.toml --supply-kpa 140 --move \\
    --record fault.json --write-answers fault.toml --html fault.html
                  strokes it, too, and keeps all of it
  looprig triage                            nothing is connected: questions alone
  looprig triage --wave loop.wav --full-scale 5   what a recording of the signal tells, too
  looprig triage --answers fault.toml       the same session again
  looprig triage --explain supply_low       what a cause is, shows and needs
LINE and TO: as `looprig ask --help` tells. TO left out is the device at polling address 0.
At a prompt \"?\" (or \"don't know\") says that it is not known: it changes nothing. A number, a
name or its beginning answers; what cannot be read is asked again, as often as it is typed.
\"stop\", or the end of the input, ends it; what was seen is ranked. In a file of answers a word
that is none is refused before anything is read. What you saw and nothing else speaks for is asked
once more (`triage/NAME/again` in a file).
Exit code 0: nothing was found; 1: something was, it is unclear, or it is not whole (stopped
before its end); 2: it could not run, or nothing was seen.
Cautions: a valve that strokes pinches and vents. Loop in manual or bypassed, process and people
clear of it, permit in hand; local rules and licensed people decide. It asks before anything
moves, and says where it leaves the set point. A rank of causes is a judgement, no measurement.";

/// How a recording of the signal is read.
#[derive(Debug, clap::Args)]
pub struct WaveArgs {
    /// Volts that full scale of a sound file stands for, or one unit of a table that is not in volts; without volts no level is told.
    #[arg(long, value_parser = above_zero, value_name = "V", requires = "wave", help_heading = HOW)]
    pub full_scale: Option<f64>,
    /// Of several channels of the recording, the one to read.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64), value_name = "N", requires = "wave", help_heading = HOW)]
    pub channel: u16,
    /// Samples a second of a table without times, or whose times have too few digits.
    #[arg(long, value_parser = above_zero, value_name = "HZ", requires = "wave", help_heading = HOW)]
    pub rate: Option<f64>,
}

/// `triage`.
#[derive(Debug, clap::Args)]
#[command(after_help = TRIAGE, override_usage = "looprig triage [OPTIONS] [LINE [TO]]")]
pub struct TriageArgs {
    /// The line, such as serial:/dev/ttyUSB0, and which device if not the one at polling address 0; none: questions alone.
    #[arg(num_args = 0..=2, value_name = "LINE [TO]")]
    pub words: Vec<String>,
    /// Allow what moves the valve: a few strokes, after a question.
    #[arg(long = "move", help_heading = HOW)]
    pub moves: bool,
    /// Who moves the set point: a person at a calibrator, the bench of a mock: line, a command of the device, or a running
    /// `looprig mock --api`. Unless told: the bench of a mock: line, else a person.
    #[arg(long, value_parser = By::parse, value_name = "person|bench|device|api:URL", requires = "moves", help_heading = HOW)]
    pub by: Option<By>,
    /// Supply pressure that should be there, by plate or sheet, kPa above ambient.
    #[arg(long, value_parser = supply, value_name = "KPA", help_heading = HOW)]
    pub supply_kpa: Option<f64>,
    /// The tag of the device, so that it is found where it has lost its polling address.
    #[arg(long, value_name = "TAG", help_heading = HOW)]
    pub tag: Option<String>,
    /// Where the device's numbers are read.
    #[command(flatten)]
    pub places: PlaceArgs,
    /// Where the supply pressure is read, in any unit of pressure.
    #[arg(long, value_parser = Reading::read, value_name = "WHERE", help_heading = HOW)]
    pub supply: Option<Reading>,
    /// A recording of the loop's signal, which tells its level, noise and talkers: a WAV file or a table, as `looprig wave read` takes it, but not from standard input, where you answer.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["explain", "schema", "write_knowledge", "list", "measure"], help_heading = HOW)]
    pub wave: Option<PathBuf>,
    /// How the recording is read.
    #[command(flatten)]
    pub recording: WaveArgs,
    /// Answers in place of somebody at the terminal. Without LINE, one that --write-answers or --record has written: the same
    /// session again.
    #[arg(long, value_name = "FILE.toml", help_heading = HOW)]
    pub answers: Option<PathBuf>,
    /// Causes, checks and likelihoods from this file; looprig's own judgement unless told.
    #[arg(long, value_name = "FILE.toml", help_heading = KNOWN)]
    pub knowledge: Option<PathBuf>,
    /// Print the causes and the checks that are known.
    #[arg(long, conflicts_with_all = ["words", "explain", "schema", "write_knowledge"], help_heading = KNOWN)]
    pub list: bool,
    /// Print what a cause is, what it shows, and what is done about it.
    #[arg(long, value_name = "CAUSE", conflicts_with_all = ["words", "schema", "write_knowledge"], help_heading = KNOWN)]
    pub explain: Option<String>,
    /// Print the JSON Schema of a file of knowledge, for editors.
    #[arg(long, conflicts_with_all = ["words", "write_knowledge"], help_heading = KNOWN)]
    pub schema: bool,
    /// Write looprig's own knowledge, to change it.
    #[arg(long, value_name = "FILE.toml", conflicts_with = "words", help_heading = KNOWN)]
    pub write_knowledge: Option<PathBuf>,
    /// Keep the session in this file: what was seen, asked and answered, and the ranks.
    #[arg(long, value_name = "FILE.json", help_heading = PAPER)]
    pub record: Option<PathBuf>,
    /// Keep what the line told, raw.
    #[arg(long, value_name = "FILE.json", requires = "words", help_heading = PAPER)]
    pub collected: Option<PathBuf>,
    /// Write the session as a file of answers, which replays it.
    #[arg(long, value_name = "FILE.toml", help_heading = PAPER)]
    pub write_answers: Option<PathBuf>,
    /// Write the outcome as a page that prints on A4.
    #[arg(long, value_name = "FILE.html", help_heading = PAPER)]
    pub html: Option<PathBuf>,
    /// Overwrite files that exist.
    #[arg(long, help_heading = PAPER)]
    pub force: bool,
    /// How it is measured.
    #[command(flatten)]
    pub measured: MeasureArgs,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// How the host behaves.
    #[command(flatten)]
    pub host: HostArgs,
}

const HOW: &str = "How";
const KNOWN: &str = "What is known";
const PAPER: &str = "What is kept";
