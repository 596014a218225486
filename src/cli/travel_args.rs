//! The arguments of `travel`.

use super::args::{HostArgs, seconds};
use super::describing::DescriptionArgs;
use super::travel::{By, GaugeSpec};
use super::wave_args::above_zero;
use crate::commission::travel::record::{FailsTo, Instrument, Loss, Movement};
use crate::commission::travel::{Reading, Readings};
use crate::report::handover::Calibrated;
use clap::{ArgAction, ValueEnum};
use std::path::PathBuf;

const TRAVEL: &str = "Examples:
  looprig travel serial:/dev/ttyUSB0 tag:FV-3104 --check --move --record FV-3104.json
                  a loop check, somebody at the calibrator
  looprig travel serial:/dev/ttyUSB0 --description positioner.toml --by device --move \\
    --external=\"dial gauge\" --external-resolution 0.01 --rated-travel 20mm \\
    --creep --steps --strokes 1 --html FV-3104.html
  looprig travel mock:fixtures/benches/valve-calibrated.toml \\
    --description protocol-notes/positioner.toml
                  to try it; a bench's own events go on in the test, so this one has none
  looprig travel --from as-left.json --from as-found.json --html FV-3104.html --sign sheet.html
LINE and TO: as `looprig ask --help` tells. TO left out is the device at polling address 0.
A file of answers has the ids of the questions: \"travel/start\" = \"yes\", or a list where one is
asked again and again: \"travel/external\" = [0.1, 5.2]; \"\" is Enter, \"?\" not known, \"stop\" the end.
A file of limits: whose = \"works standard\", then [limits] with lines such as
hysteresis_percent = 1.0; [sensor] and [external] for one view alone. Every key:
fixtures/limits/works.toml, --limits-schema.
Cautions: a valve that is tested moves, pinches and vents. Loop in manual or bypassed, process and
people clear of it, permit in hand; local rules and licensed people decide. It asks before anything
moves, and says where it leaves the set point.";

/// What may be made in the place of a travel test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Instead {
    /// A record is shown again, as it was made.
    Shown,
    /// A check of the device's parts.
    Parts,
    /// A loop check, whose plan is its own.
    Loop,
}

use Instead::{Loop, Parts, Shown};

/// Options, and beside what they would do nothing, so that they are refused [TV-102]. What is not in here every one of these takes.
const IDLE: [(&str, &[Instead]); 44] = [
    ("words", &[Shown]),
    ("check", &[Shown, Parts]),
    ("device_check", &[Shown]),
    ("cycles", &[Shown, Parts, Loop]),
    ("points", &[Shown, Parts, Loop]),
    ("creep", &[Shown, Parts, Loop]),
    ("creep_move", &[Shown, Parts, Loop]),
    ("steps", &[Shown, Parts, Loop]),
    ("strokes", &[Shown, Parts, Loop]),
    ("loss", &[Shown, Parts, Loop]),
    ("watch", &[Shown, Parts, Loop]),
    ("rest_within", &[Shown]),
    ("rest_for", &[Shown]),
    ("rest_most", &[Shown]),
    ("by", &[Shown]),
    ("travel", &[Shown]),
    ("set_point", &[Shown]),
    ("current", &[Shown]),
    ("angle", &[Shown]),
    ("external", &[Shown, Parts]),
    ("external_resolution", &[Shown, Parts]),
    ("external_limit", &[Shown, Parts]),
    ("control_system", &[Shown, Parts]),
    ("answers", &[Shown]),
    ("moves", &[Shown]),
    ("as_found", &[Shown, Parts]),
    ("as_left", &[Shown, Parts]),
    ("who", &[Shown]),
    ("site", &[Shown, Parts]),
    ("valve", &[Shown, Parts]),
    ("rated_travel", &[Shown, Parts]),
    ("fails_to", &[Shown, Parts]),
    ("instrument", &[Shown, Parts]),
    ("supply_kpa", &[Shown, Parts]),
    ("ambient_c", &[Shown, Parts]),
    ("record", &[Shown]),
    ("beside", &[Shown, Parts]),
    ("log", &[Shown]),
    ("master", &[Shown]),
    ("retries", &[Shown]),
    ("limits", &[Parts]),
    ("wiring", &[Parts]),
    ("settings", &[Parts]),
    ("from", &[Parts]),
];

/// The options that one of these does nothing with.
fn idle_beside(instead: Instead) -> impl Iterator<Item = &'static str> {
    IDLE.into_iter().filter(move |(_, beside)| beside.contains(&instead)).map(|(option, _)| option)
}

/// `travel`.
#[derive(Debug, clap::Args)]
#[command(after_help = TRAVEL, override_usage = "looprig travel [OPTIONS] LINE [TO] --move
       looprig travel [OPTIONS] --from RECORD.json
       looprig travel --limits-schema")]
pub struct TravelArgs {
    /// The line, such as serial:/dev/ttyUSB0, and whom to test if not the device at polling address 0.
    #[arg(num_args = 1..=2, value_name = "LINE [TO]", required_unless_present_any = ["from", "limits_schema"])]
    pub words: Vec<String>,
    /// Report on a record again, without a line; given twice, as found and as left stand beside each other. A device check too.
    #[arg(long, value_name = "RECORD.json", conflicts_with_all = idle_beside(Shown))]
    pub from: Vec<PathBuf>,
    /// A loop check instead: 0, 25, 50, 75, 100 % and back, once.
    #[arg(long, help_heading = WHAT, conflicts_with_all = idle_beside(Loop))]
    pub check: bool,
    /// A check of the device's parts instead: its sensor by hand movement, its outputs by small moves.
    #[arg(long, help_heading = WHAT, conflicts_with_all = idle_beside(Parts))]
    pub device_check: bool,
    /// Cycles up and down, 0 to 5.
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u32).range(0..=5), value_name = "N", help_heading = WHAT)]
    pub cycles: u32,
    /// Points of a cycle: every 25 % (5, unless told) or every 10 % (11).
    #[arg(long, value_parser = ["5", "11"], value_name = "5|11", hide_possible_values = true, help_heading = WHAT)]
    pub points: Option<String>,
    /// Dead band and resolution by creeping reversals at these places, % (10,50,90 unless told).
    #[arg(long, num_args = 0..=1, require_equals = true, default_missing_value = "10,50,90", value_delimiter = ',',
        value_parser = percent, value_name = "PLACES", help_heading = WHAT)]
    pub creep: Vec<f64>,
    /// How far each little move of a creep goes, % (0.1 unless told).
    #[arg(long, value_parser = above_zero, value_name = "PERCENT", help_heading = WHAT)]
    pub creep_move: Option<f64>,
    /// Step responses, each FROM..TO in % (up and down by 2, 10 and 20 % around the middle unless told).
    #[arg(long, num_args = 0..=1, require_equals = true, default_missing_value = "49..51,51..49,45..55,55..45,40..60,60..40",
        value_delimiter = ',', value_parser = step, value_name = "FROM..TO", help_heading = WHAT)]
    pub steps: Vec<(f64, f64)>,
    /// Full strokes each way, against the stops.
    #[arg(long, default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=100), value_name = "N", help_heading = WHAT)]
    pub strokes: u32,
    /// Take these away, one after the other, where the site allows it, and give them back: the fail action.
    #[arg(long, value_enum, value_delimiter = ',', value_name = "current,air,trip", hide_possible_values = true, help_heading = WHAT)]
    pub loss: Vec<LossArg>,
    /// How long a step, a stroke or a loss is watched at most (30 unless told).
    #[arg(long, value_parser = seconds, value_name = "SECONDS", help_heading = WHAT)]
    pub watch: Option<f64>,
    /// At rest: readings stay within so much of each other, % of travel.
    #[arg(long, default_value_t = 0.2, value_parser = above_zero, value_name = "PERCENT", help_heading = WHAT)]
    pub rest_within: f64,
    /// At rest: for so long.
    #[arg(long, default_value_t = 2.0, value_parser = above_zero, value_name = "SECONDS", help_heading = WHAT)]
    pub rest_for: f64,
    /// At rest: it is not waited longer than that.
    #[arg(long, default_value_t = 30.0, value_parser = above_zero, value_name = "SECONDS", help_heading = WHAT)]
    pub rest_most: f64,
    /// Who moves the set point: a person at a calibrator, the bench of a mock: line, a command of the device, or a running
    /// `looprig mock --api`. Unless told: the bench of a mock: line, else a person.
    #[arg(long, value_parser = By::parse, value_name = "person|bench|device|api:URL", help_heading = HOW)]
    pub by: Option<By>,
    /// Where the device's numbers are read.
    #[command(flatten)]
    pub places: PlaceArgs,
    /// Somebody reads a scale or gauge at every resting place: NAME, or NAME=CLOSED..OPEN with the unit, such as
    /// --external="dial gauge=0..20mm". Unless told, from 0 to the rated travel, or in %.
    #[arg(long, num_args = 0..=1, require_equals = true, default_missing_value = "stem scale", value_parser = GaugeSpec::parse,
        value_name = "NAME", help_heading = HOW)]
    pub external: Option<GaugeSpec>,
    /// Least difference that it shows (smallest division), in its unit; asked for once where it is left out.
    #[arg(long, value_parser = above_zero, value_name = "NUMBER", requires = "external", help_heading = HOW)]
    pub external_resolution: Option<f64>,
    /// Its error limit, in its unit.
    #[arg(long, value_parser = above_zero, value_name = "NUMBER", requires = "external", help_heading = HOW)]
    pub external_limit: Option<f64>,
    /// Somebody types what the control system shows at every resting place of the cycles.
    #[arg(long, help_heading = HOW)]
    pub control_system: bool,
    /// Answers in place of somebody at the terminal.
    #[arg(long, value_name = "FILE.toml", help_heading = HOW)]
    pub answers: Option<PathBuf>,
    /// Allow what moves the valve.
    #[arg(long = "move", help_heading = HOW)]
    pub moves: bool,
    /// Before anything was done to the valve.
    #[arg(long, conflicts_with = "as_left", help_heading = PAPER)]
    pub as_found: bool,
    /// After it.
    #[arg(long, help_heading = PAPER)]
    pub as_left: bool,
    /// Who does it.
    #[arg(long, default_value = "", hide_default_value = true, value_name = "NAME", help_heading = PAPER)]
    pub who: String,
    /// Works, area, permit.
    #[arg(long, default_value = "", hide_default_value = true, value_name = "TEXT", help_heading = PAPER)]
    pub site: String,
    /// What else is to be known of the valve: size, packing, actuator.
    #[arg(long, default_value = "", hide_default_value = true, value_name = "TEXT", help_heading = PAPER)]
    pub valve: String,
    /// Rated travel with its unit, such as 20mm or 60deg.
    #[arg(long, value_parser = rated, value_name = "TRAVEL", help_heading = PAPER)]
    pub rated_travel: Option<(f64, Movement)>,
    /// Where the valve ought to go without air or signal.
    #[arg(long, value_enum, value_name = "closed|open|stays", hide_possible_values = true, help_heading = PAPER)]
    pub fails_to: Option<FailsToArg>,
    /// Test equipment: NAME,SERIAL,CALIBRATED,LIMIT, calibrated as 2026-05-02 or "2026-05-02 due 2027-05-02"; may be given several times. The first with the name of --external is that.
    #[arg(long, value_parser = instrument, action = ArgAction::Append, value_name = "NAME,...", help_heading = PAPER)]
    pub instrument: Vec<Instrument>,
    /// Pressure of the air supply, kPa above ambient.
    #[arg(long, value_parser = supply, value_name = "KPA", help_heading = PAPER)]
    pub supply_kpa: Option<f64>,
    /// Ambient temperature, degC.
    #[arg(long, value_parser = degrees, allow_negative_numbers = true, value_name = "DEGC", help_heading = PAPER)]
    pub ambient_c: Option<f64>,
    /// Limits (TOML), such as fixtures/limits/works.toml, which has every key; looprig's own unless told, which come from no standard.
    #[arg(long, value_name = "FILE.toml", help_heading = PAPER)]
    pub limits: Option<PathBuf>,
    /// Print the JSON Schema of files of limits, for editors, and end.
    #[arg(long, conflicts_with_all = ["words", "from", "limits", "check", "device_check", "record", "html", "sign", "json"], help_heading = PAPER)]
    pub limits_schema: bool,
    /// The wiring sheet of the loop, whose verdict is to stand in the report.
    #[arg(long, value_name = "SHEET.toml", help_heading = PAPER)]
    pub wiring: Option<PathBuf>,
    /// Settings of the device, from `looprig settings save`, to stand in the report.
    #[arg(long, value_name = "FILE.toml", help_heading = PAPER)]
    pub settings: Option<PathBuf>,
    /// Another record to stand beside this one, such as as found beside as left, or a device check.
    #[arg(long, value_name = "RECORD.json", help_heading = PAPER)]
    pub beside: Vec<PathBuf>,
    /// Keep the record in this file, from the first point on; it is there when the test is stopped, too.
    #[arg(long, value_name = "FILE.json", help_heading = PAPER)]
    pub record: Option<PathBuf>,
    /// Write the report as a page that prints on A4.
    #[arg(long, value_name = "FILE.html", help_heading = PAPER)]
    pub html: Option<PathBuf>,
    /// Write one A4 sheet to sign on: who it is, the verdict, the main figures, cautions.
    #[arg(long, value_name = "FILE.html", help_heading = PAPER)]
    pub sign: Option<PathBuf>,
    /// Write the report for programs.
    #[arg(long, value_name = "FILE.json", help_heading = PAPER)]
    pub json: Option<PathBuf>,
    /// Overwrite files that exist.
    #[arg(long, help_heading = PAPER)]
    pub force: bool,
    /// Commands of device types.
    #[command(flatten)]
    pub described: DescriptionArgs,
    /// How the host behaves.
    #[command(flatten)]
    pub host: HostArgs,
}

const WHAT: &str = "What is tested";
/// Where the numbers are read that are looked at, of `travel` and `triage`.
#[derive(Debug, clap::Args)]
pub struct PlaceArgs {
    /// Where travel is read: COMMAND:NAME such as 3:sv, or variable:CODE; =CLOSED..OPEN behind it where it is not in %.
    #[arg(long, value_parser = Reading::read, value_name = "WHERE", help_heading = HOW)]
    pub travel: Option<Reading>,
    /// Where the set point is read.
    #[arg(long, value_parser = Reading::read, value_name = "WHERE", help_heading = HOW)]
    pub set_point: Option<Reading>,
    /// Where the loop current is read, mA.
    #[arg(long, value_parser = Reading::read, value_name = "WHERE", help_heading = HOW)]
    pub current: Option<Reading>,
    /// Where the angle of the lever is read, degrees.
    #[arg(long, value_parser = Reading::read, value_name = "WHERE", help_heading = HOW)]
    pub angle: Option<Reading>,
}

impl PlaceArgs {
    /// What is usual for a device, with what was named in its place.
    pub fn over(&self, mut readings: Readings) -> Readings {
        if let Some(travel) = &self.travel {
            readings.travel = travel.clone();
            readings.assumed = false;
            // It spoke of the choice that was not made.
            readings.remark.clear();
        }
        readings.set_point = self.set_point.clone().or(readings.set_point);
        readings.current = self.current.clone().or(readings.current);
        readings.angle = self.angle.clone().or(readings.angle);
        readings
    }

    /// What was named, each with its option.
    pub fn named(&self) -> impl Iterator<Item = (&'static str, &Reading)> {
        let all = [
            ("--travel", &self.travel),
            ("--set-point", &self.set_point),
            ("--current", &self.current),
            ("--angle", &self.angle),
        ];
        all.into_iter().filter_map(|(option, reading)| Some((option, reading.as_ref()?)))
    }

    /// Whether anything was named.
    pub fn is_given(&self) -> bool {
        self.named().next().is_some()
    }
}

const HOW: &str = "How";
const PAPER: &str = "What is kept";

/// `--loss`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LossArg {
    /// The loop current.
    Current,
    /// The supply of air.
    Air,
    /// A trip.
    Trip,
}

impl From<LossArg> for Loss {
    fn from(l: LossArg) -> Loss {
        match l {
            LossArg::Current => Loss::Current,
            LossArg::Air => Loss::Air,
            LossArg::Trip => Loss::Trip,
        }
    }
}

/// `--fails-to`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum FailsToArg {
    /// It closes.
    Closed,
    /// It opens.
    Open,
    /// It stays.
    Stays,
}

impl From<FailsToArg> for FailsTo {
    fn from(f: FailsToArg) -> FailsTo {
        match f {
            FailsToArg::Closed => FailsTo::Closed,
            FailsToArg::Open => FailsTo::Open,
            FailsToArg::Stays => FailsTo::Stays,
        }
    }
}

fn number(text: &str) -> Option<f64> {
    text.trim().replacen(',', ".", 1).parse::<f64>().ok().filter(|x| x.is_finite())
}

fn percent(text: &str) -> Result<f64, String> {
    number(text).ok_or_else(|| format!("\"{text}\" is no place: give percent, such as 10,50,90"))
}

fn degrees(text: &str) -> Result<f64, String> {
    let right = || format!("\"{text}\" is no temperature: give degrees Celsius, -100 to 200");
    number(text).filter(|x| (-100.0..=200.0).contains(x)).ok_or_else(right)
}

/// A supply of air, kPa [TV-158].
///
/// # Errors
/// It is none, and what would be right.
pub fn supply(text: &str) -> Result<f64, String> {
    let right = "give kPa above ambient, 20 to 2000, such as 140";
    match number(text) {
        Some(x) if (20.0..=2000.0).contains(&x) => Ok(x),
        Some(x) if (0.2..20.0).contains(&x) => {
            Err(format!("{x} kPa moves no valve: {right}; if {x} bar is meant, that is {:.0} kPa", x * 100.0))
        }
        Some(x) => Err(format!("no works has an air supply of {x} kPa: {right}")),
        None => Err(format!("\"{text}\" is no pressure: {right}")),
    }
}

fn step(text: &str) -> Result<(f64, f64), String> {
    let ends = text.split_once("..").and_then(|(a, b)| number(a).zip(number(b))).filter(|(a, b)| a != b);
    ends.ok_or_else(|| format!("\"{text}\" is no step: give two different percent, such as 40..60"))
}

fn rated(text: &str) -> Result<(f64, Movement), String> {
    let low = text.trim().to_lowercase();
    let of = |unit: &str, movement| Some((number(low.strip_suffix(unit)?).filter(|x| *x > 0.0)?, movement));
    of("mm", Movement::Linear)
        .or_else(|| of("deg", Movement::PartTurn))
        .ok_or_else(|| format!("\"{text}\" is no rated travel: give it with its unit, such as 20mm or 60deg"))
}

fn instrument(text: &str) -> Result<Instrument, String> {
    let mut parts = text.splitn(4, ',').map(|p| p.trim().to_owned());
    let mut next = || parts.next().unwrap_or_default();
    let made = Instrument { name: next(), serial: next(), calibrated: next(), limit: next() };
    if made.name.is_empty() {
        return Err("an instrument needs a name: give NAME,SERIAL,CALIBRATED,LIMIT".to_owned());
    }
    if !made.calibrated.is_empty() {
        Calibrated::read(&made.calibrated)?;
    }
    Ok(made)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whoever adds an option says beside what it would do nothing, or here that all take it: none is passed over in silence [TV-102].
    #[test]
    fn every_option_stands_in_the_table() {
        use clap::Args as _;
        let all_take = ["limits_schema", "html", "sign", "json", "force", "descriptions"];
        let command = TravelArgs::augment_args(clap::Command::new("travel"));
        let own: Vec<&str> = command.get_arguments().map(|a| a.get_id().as_str()).collect();
        for option in &own {
            let is_in = IDLE.iter().filter(|(name, _)| name == option).count();
            assert_eq!(is_in, usize::from(!all_take.contains(option)), "{option}");
        }
        assert!(IDLE.iter().all(|(name, beside)| own.contains(name) && !beside.is_empty()));
    }

    #[test]
    fn what_people_write() {
        assert_eq!(rated("20mm"), Ok((20.0, Movement::Linear)));
        assert_eq!(rated("62,5 deg"), Ok((62.5, Movement::PartTurn)));
        assert_eq!(step("40..60"), Ok((40.0, 60.0)));
        let gauge = instrument("dial gauge, 4711, 2026-05-02, 0.02 mm").expect("it is right");
        assert_eq!((gauge.serial.as_str(), gauge.limit.as_str()), ("4711", "0.02 mm"));
        for wrong in ["20", "mm", "-1mm", "nanmm"] {
            assert!(rated(wrong).is_err(), "{wrong}");
        }
        for wrong in ["40", "40..40", "..", "a..b", "1..inf"] {
            assert!(step(wrong).is_err(), "{wrong}");
        }
        // [TV-158]: 1.4 bar are 140 kPa.
        assert_eq!((supply("140"), supply("420,5")), (Ok(140.0), Ok(420.5)));
        assert!(supply("1.4").is_err_and(|e| e.contains("if 1.4 bar is meant, that is 140 kPa")));
        assert!(["0", "-3", "99999", "x", "nan"].iter().all(|t| supply(t).is_err()));
        assert!(instrument(",1").is_err() && degrees("900").is_err() && percent("x").is_err());
    }
}
