//! Arguments of `looprig conform`.

use super::args::LINES_AND_TO_CONFORM;
use super::lines::LineSpec;
use crate::host::To;
use std::path::PathBuf;

/// `conform`.
#[derive(Debug, clap::Args)]
#[command(after_help = LINES_AND_TO_CONFORM)]
pub struct ConformArgs {
    /// The line, such as serial:/dev/ttyUSB0; see below.
    #[arg(value_parser = LineSpec::parse, required_unless_present_any = ["list", "matrix"])]
    pub line: Option<LineSpec>,
    /// The device, if not the one at polling address 0.
    #[arg(value_parser = To::parse)]
    pub to: Option<To>,
    /// Only these cases: a section (`link`, `link/timing`), an id, or either with `*`; may be given several times.
    #[arg(long, value_name = "SECTION|ID")]
    pub only: Vec<String>,
    /// Print the cases, with requirement, strength and what they need, and end. Nothing is opened.
    #[arg(long)]
    pub list: bool,
    /// Allow cases that change what the device stores. They put it back, also when they fail; what cannot be put back is
    /// told. On a mock: line it is allowed always.
    #[arg(long)]
    pub write: bool,
    /// Allow cases that may move the valve or change what the loop current does, and writing. On a mock: line it is
    /// allowed always.
    #[arg(long = "move")]
    pub moves: bool,
    /// Count inconclusive cases and advice as fails.
    #[arg(long)]
    pub strict: bool,
    /// Known deviations (TOML): fails that are accepted, each `[[known]]` with `case` and `reason`, and, if only that is
    /// accepted, `observed` as a report has it, `*` for any letters. One whose case passes, or fails otherwise, fails the run.
    #[arg(long, value_name = "FILE")]
    pub known: Option<PathBuf>,
    /// Run the cases on mocks that have each one known fault, and print what fails on which, faults that nothing finds and
    /// cases that nothing fails. LINE is left out, or a mock: line whose devices are taken.
    #[arg(long, conflicts_with_all = ["list", "to", "write", "moves", "strict", "known", "log", "html", "junit"])]
    pub matrix: bool,
    /// Only this fault of the matrix (`looprig mock --protocol-faults` lists them); may be given several times.
    #[arg(long, value_name = "NAME", requires = "matrix")]
    pub fault: Vec<String>,
    /// Log everything sent and received to this file.
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Write the results as a page too, which needs nothing else and prints on A4.
    #[arg(long, value_name = "FILE.html")]
    pub html: Option<PathBuf>,
    /// Write the results as JUnit XML too, for systems that build and test.
    #[arg(long, value_name = "FILE.xml")]
    pub junit: Option<PathBuf>,
    /// Overwrite files of --html and --junit that exist.
    #[arg(long)]
    pub force: bool,
}
