//! The arguments of `wave`.

use clap::{Args, Subcommand, ValueEnum};
use std::path::PathBuf;

/// `wave`.
#[derive(Debug, Args)]
pub struct WaveArgs {
    /// What to do.
    #[command(subcommand)]
    pub action: WaveAction,
}

/// What `wave` does.
#[derive(Debug, Subcommand)]
pub enum WaveAction {
    /// Make a WAV file of the tones that a log or hex text would be on the wires.
    Make(MakeArgs),
    /// Report on the signal in a recording: levels, tones, noise, jitter, carrier, pauses, for each talker.
    Read(ReadArgs),
}

/// How samples are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum BitsArg {
    /// 8 bits.
    #[value(name = "8")]
    B8,
    /// 16 bits.
    #[value(name = "16")]
    B16,
    /// 24 bits.
    #[value(name = "24")]
    B24,
    /// 32 bits.
    #[value(name = "32")]
    B32,
    /// 32 bits, floating.
    #[value(name = "float")]
    Float,
}

/// `wave make`.
#[derive(Debug, Args)]
#[command(
    after_help = "FILE is a log of `looprig listen`, or octets as hex text, one frame a line, preambles included.
Times that are those of a line are kept. Frames without times follow each other after 75 ms; so do
those of a log of pace fast, whose times are those of no line, and that is told."
)]
pub struct MakeArgs {
    /// A log or hex text; `-` is standard input.
    #[arg(value_name = "FILE")]
    pub input: PathBuf,
    /// The WAV file to write; `-` is standard output.
    #[arg(long, value_name = "FILE.wav")]
    pub out: PathBuf,
    /// Write over a file that exists.
    #[arg(long)]
    pub force: bool,
    /// Samples a second.
    #[arg(long, default_value_t = 48_000, value_parser = clap::value_parser!(u32).range(8000..=192_000), value_name = "HZ")]
    pub rate: u32,
    /// How samples are stored.
    #[arg(long, value_enum, default_value_t = BitsArg::B16, value_name = "8|16|24|32|float", hide_possible_values = true)]
    pub bits: BitsArg,
    /// Volts that full scale stands for.
    #[arg(long, default_value_t = 1.0, value_parser = above_zero, value_name = "V")]
    pub full_scale: f64,
    /// Level of every talker, V peak to peak; 0.5 if not given. Not with --through: there the sheet says it.
    #[arg(long, value_parser = volts, value_name = "V", conflicts_with = "through")]
    pub level: Option<f64>,
    /// Send it through the loop of this wiring sheet: what arrives at the master's terminals, or where --at says. Not with --level.
    #[arg(long, value_name = "SHEET.toml")]
    pub through: Option<PathBuf>,
    /// Which device of the sheet talks and where it is heard: its tag; the first of the sheet and the master if not given.
    #[arg(long, value_name = "TAG", requires = "through")]
    pub device: Option<String>,
    /// Where it is recorded: the master's terminals, or those of a device, by its tag.
    #[arg(long, value_name = "master|TAG", requires = "through", default_value = "master")]
    pub at: String,
    /// White noise on top, V rms from 500 Hz to 10 kHz; that of the sheet if not given.
    #[arg(long, value_parser = noise_volts, value_name = "V")]
    pub noise: Option<f64>,
    /// Tones that are off, percent, -5 to 5.
    #[arg(long, default_value_t = 0.0, allow_negative_numbers = true, value_parser = percent, value_name = "PERCENT")]
    pub tones: f64,
    /// A bit rate that is off, percent, -5 to 5.
    #[arg(long, default_value_t = 0.0, allow_negative_numbers = true, value_parser = percent, value_name = "PERCENT")]
    pub bit_rate: f64,
    /// Carrier before the first character, bits.
    #[arg(long, default_value_t = 5.0, value_parser = bits, value_name = "BITS")]
    pub lead: f64,
    /// Carrier after the last, bits.
    #[arg(long, default_value_t = 3.0, value_parser = bits, value_name = "BITS")]
    pub tail: f64,
    /// Shorten every silence between two transmissions to this many seconds; without it, one of more than 60 s is refused.
    #[arg(long, value_parser = pause, value_name = "S")]
    pub longest_pause: Option<f64>,
    /// Seed of the noise.
    #[arg(long, default_value_t = 0, value_name = "N")]
    pub seed: u64,
}

/// `wave read`.
#[derive(Debug, Args)]
#[command(after_help = super::args::CLIPPED_ON)]
pub struct ReadArgs {
    /// A WAV file, or a table of time and volts; `-` is standard input.
    #[arg(value_name = "FILE")]
    pub input: PathBuf,
    /// Of several channels, the one to read.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=64), value_name = "N")]
    pub channel: u16,
    /// Volts that full scale of a sound file stands for, or one unit of a table that is not in volts.
    #[arg(long, value_parser = above_zero, value_name = "V")]
    pub full_scale: Option<f64>,
    /// Samples a second of a table without times, or whose times have too few digits.
    #[arg(long, value_parser = above_zero, value_name = "HZ")]
    pub rate: Option<f64>,
    /// Draw the eye of the bits into this file (SVG).
    #[arg(long, value_name = "FILE.svg")]
    pub eye: Option<PathBuf>,
    /// Draw the spectrum into this file (SVG).
    #[arg(long, value_name = "FILE.svg")]
    pub spectrum: Option<PathBuf>,
    /// Write over files that exist.
    #[arg(long)]
    pub force: bool,
}

fn number(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|x: &f64| x.is_finite()).ok_or_else(|| format!("\"{text}\" is no number"))
}

/// A number above 0.
///
/// # Errors
/// It is none.
pub fn above_zero(text: &str) -> Result<f64, String> {
    let x = number(text)?;
    match x {
        _ if x <= 0.0 => Err(format!("{x} is not above 0")),
        _ if x > 1e9 => Err(format!("{x:e} is more than 1e9")),
        _ => Ok(x),
    }
}

/// Volts of a signal: more than 1000 V is no loop.
fn volts(text: &str) -> Result<f64, String> {
    let x = above_zero(text)?;
    if x <= 1000.0 { Ok(x) } else { Err(format!("{x:e} V: give 1000 at most")) }
}

fn noise_volts(text: &str) -> Result<f64, String> {
    let x = number(text)?;
    if (0.0..=1000.0).contains(&x) { Ok(x) } else { Err(format!("{x:e} V: give 0 to 1000")) }
}

fn pause(text: &str) -> Result<f64, String> {
    let x = number(text)?;
    if (0.0..=86_400.0).contains(&x) { Ok(x) } else { Err(format!("{x} s: give 0 to 86400")) }
}

fn bits(text: &str) -> Result<f64, String> {
    let x = number(text)?;
    if (0.0..=1200.0).contains(&x) { Ok(x) } else { Err(format!("{x} bits: give 0 to 1200")) }
}

fn percent(text: &str) -> Result<f64, String> {
    let x = number(text)?;
    if x.abs() <= 5.0 { Ok(x) } else { Err(format!("{x} % is too far off: -5 to 5")) }
}
