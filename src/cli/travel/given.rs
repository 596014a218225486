//! What is given to a travel test: who moves the set point, the gauge, and files that are read.

use super::api::Api;
use crate::app::command::Catalogue;
use crate::app::written::FileKind;
use crate::bench::text_of;
use crate::capture::io_words;
use crate::cli::mock::misread;
use crate::cli::output::Failure;
use crate::cli::settings;
use crate::cli::travel_args::TravelArgs;
use crate::commission::answers::Answers;
use crate::commission::device_check::DeviceCheck;
use crate::commission::settings::Settings;
use crate::commission::travel::record::Movement;
use crate::commission::travel::{Gauge, Limits, Record};
use crate::commission::triage::Triage;
use crate::wiring::{Circuit, Judged, judge};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Longest record that is read, octets.
const LONGEST: u64 = 64 << 20;

/// Who moves the set point.
#[derive(Clone, Debug)]
pub enum By {
    /// Somebody at a calibrator.
    Person,
    /// The bench of a `mock:` line.
    Bench,
    /// A command of the device.
    Device,
    /// A running mock.
    Api(Api),
}

impl By {
    /// Reads how it is written.
    ///
    /// # Errors
    /// Says what would be right.
    pub fn parse(text: &str) -> Result<By, String> {
        match text {
            "person" => Ok(By::Person),
            "bench" => Ok(By::Bench),
            "device" => Ok(By::Device),
            _ => match text.strip_prefix("api:") {
                Some(url) => Api::parse(url).map(By::Api),
                None => Err(format!("\"{text}\" moves no set point: give person, bench, device or api:URL")),
            },
        }
    }
}

/// A gauge as it is named on the command line.
#[derive(Clone, Debug, PartialEq)]
pub struct GaugeSpec {
    name: String,
    /// What it shows closed and open, and its unit.
    ends: Option<(f64, f64, String)>,
}

impl GaugeSpec {
    /// Reads `NAME` or `NAME=CLOSED..OPENUNIT`.
    ///
    /// # Errors
    /// Says what would be right.
    pub fn parse(text: &str) -> Result<GaugeSpec, String> {
        let (name, ends) = text.split_once('=').map_or((text, None), |(name, ends)| (name, Some(ends)));
        let name = name.trim().to_owned();
        let wrong = || {
            format!(
                "\"{text}\" is no gauge: give its name, and behind = what it shows closed and open with the unit, such as \"dial gauge=0..20mm\""
            )
        };
        if name.is_empty() {
            return Err(wrong());
        }
        let number = |t: &str| t.trim().replacen(',', ".", 1).parse::<f64>().ok().filter(|x| x.is_finite());
        let ends = ends.map(|ends| {
            let (closed, rest) = ends.split_once("..")?;
            let rest = rest.trim();
            let unit_at = rest.find(|c: char| c.is_alphabetic() || "%°".contains(c)).unwrap_or(rest.len());
            let (open, unit) = rest.split_at(unit_at);
            let unit = if unit.is_empty() { "%" } else { unit };
            let (closed, open) = number(closed).zip(number(open)).filter(|(a, b)| a != b)?;
            Some((closed, open, unit.to_owned()))
        });
        match ends {
            Some(None) => Err(wrong()),
            ends => Ok(GaugeSpec { name, ends: ends.flatten() }),
        }
    }

    /// The gauge; where its ends are not said, from 0 to the rated travel, or in percent.
    pub fn gauge(&self, rated: Option<(f64, Movement)>) -> Gauge {
        let of_rated = rated.map(|(travel, movement)| {
            let unit = match movement {
                Movement::Linear => "mm",
                Movement::PartTurn => "deg",
            };
            (0.0, travel, unit.to_owned())
        });
        let (closed, open, unit) = self.ends.clone().or(of_rated).unwrap_or((0.0, 100.0, "%".to_owned()));
        Gauge { name: self.name.clone(), unit, closed, open }
    }
}

/// Files that are read before anything is opened.
pub struct Files {
    pub answers: Option<Answers>,
    pub limits: Limits,
    /// Settings, and what the file is called.
    pub settings: Option<(Settings, String)>,
    /// A loop with its verdict, and what the sheet is called.
    pub wiring: Option<(Circuit, Judged, String)>,
    /// What stands beside what is shown.
    pub beside: Records,
}

/// What was kept in files, each kind in its order.
#[derive(Default)]
pub struct Records {
    pub tests: Vec<Record>,
    pub checks: Vec<DeviceCheck>,
    pub faults: Vec<Triage>,
}

impl Files {
    /// Reads those that are named.
    ///
    /// # Errors
    /// One cannot be read, or is wrong.
    pub fn read(args: &TravelArgs, catalogue: &Catalogue) -> Result<Files, Failure> {
        let answers = args.answers.as_deref().map(|path| {
            let text = text_of(
                path,
                FileKind::Answers,
                "give the path of a file of answers, or leave --answers out",
            );
            text.and_then(|t| Answers::from_text(&t, path)).map_err(|e| misread(&e))
        });
        let limits = args.limits.as_deref().map(read_limits);
        let settings = args
            .settings
            .as_deref()
            .map(|path| settings::read_file(path, catalogue).map(|read| (read, name_of(path))));
        let wiring = args.wiring.as_deref().map(|path| {
            let sheet = crate::bench::read_sheet(path).map_err(|e| crate::cli::wiring::misread(&e))?;
            let judged = judge(&sheet.circuit);
            Ok::<_, Failure>((sheet.circuit, judged, name_of(path)))
        });
        let beside = read_all(&args.beside)?;
        Ok(Files {
            answers: answers.transpose()?,
            limits: limits.transpose()?.unwrap_or_else(Limits::own),
            settings: settings.transpose()?,
            wiring: wiring.transpose()?,
            beside,
        })
    }
}

/// Reads a file of limits.
///
/// # Errors
/// It cannot be read, or is wrong.
pub fn read_limits(path: &Path) -> Result<Limits, Failure> {
    let text = text_of(path, FileKind::Limits, "give the path of a file of limits, or leave --limits out");
    text.and_then(|t| Limits::from_text(&t, path)).map_err(|e| misread(&e))
}

/// What a file is called without its directory.
pub fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned())
}

/// What `--record` keeps, of a travel test or of fault finding.
#[derive(PartialEq)]
enum Kept {
    Test(Box<Record>),
    Check(Box<DeviceCheck>),
    Fault(Box<Triage>),
}

/// Reads records of travel tests, of device checks and of fault finding.
///
/// # Errors
/// One cannot be read, is none, or is there twice [TV-157].
pub fn read_all(paths: &[PathBuf]) -> Result<Records, Failure> {
    let mut all: Vec<(Kept, &Path)> = Vec::new();
    for path in paths {
        let kept = read_kept(path)?;
        if let Some((_, before)) = all.iter().find(|(other, _)| *other == kept) {
            return Err(Failure::new(
                format!("reading the record {}", path.display()),
                format!("it is the same record as {}, and would count twice", before.display()),
                "name it once",
            ));
        }
        all.push((kept, path));
    }
    let mut out = Records::default();
    for (kept, _) in all {
        match kept {
            Kept::Test(test) => out.tests.push(*test),
            Kept::Check(check) => out.checks.push(*check),
            Kept::Fault(triage) => out.faults.push(*triage),
        }
    }
    Ok(out)
}

/// Reads a record of a travel test.
///
/// # Errors
/// It cannot be read, or is none.
pub fn read_record(path: &Path) -> Result<Record, Failure> {
    let other = match read_kept(path)? {
        Kept::Test(test) => return Ok(*test),
        Kept::Check(_) => "of a device check",
        Kept::Fault(_) => "of fault finding",
    };
    let wrong = format!("it is {other}, and a travel test is wanted");
    Err(Failure::new(format!("reading the record {}", path.display()), wrong, NEXT))
}

const NEXT: &str = "name a record that `looprig travel --record` kept";

fn read_kept(path: &Path) -> Result<Kept, Failure> {
    let doing = format!("reading the record {}", path.display());
    let next = NEXT;
    let mut text = String::new();
    let read = std::fs::File::open(path).and_then(|f| f.take(LONGEST).read_to_string(&mut text));
    read.map_err(|e| Failure::new(doing.clone(), io_words(&e), next))?;
    let json = serde_json::from_str::<serde_json::Value>(&text).unwrap_or_default();
    let is_of_faults = json["format"].as_str().is_some_and(|f| f.starts_with("looprig triage"));
    let kept = if json.get("looprig_device_check").is_some() {
        DeviceCheck::from_json(&text).map(|c| Kept::Check(Box::new(c))).map_err(|e| e.to_string())
    } else if is_of_faults {
        Triage::from_json(&text).map(|t| Kept::Fault(Box::new(t)))
    } else {
        Record::from_json(&text).map(|r| Kept::Test(Box::new(r))).map_err(|e| e.to_string())
    };
    kept.map_err(|e| Failure::new(doing, e, next))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gauges() {
        let gauge = |text: &str, rated| GaugeSpec::parse(text).map(|g| g.gauge(rated));
        let made = |name: &str, unit: &str, closed, open| Gauge {
            name: name.into(),
            unit: unit.into(),
            closed,
            open,
        };
        assert_eq!(gauge("stem scale", None), Ok(made("stem scale", "%", 0.0, 100.0)));
        let rated = Some((20.0, Movement::Linear));
        assert_eq!(gauge("dial gauge", rated), Ok(made("dial gauge", "mm", 0.0, 20.0)));
        assert_eq!(gauge("dial gauge=20..0,5 mm", rated), Ok(made("dial gauge", "mm", 20.0, 0.5)));
        assert_eq!(gauge("scale=-5..105", None), Ok(made("scale", "%", -5.0, 105.0)));
        for wrong in ["", "=0..20mm", "a=", "a=1..1", "a=0", "a=x..y"] {
            assert!(gauge(wrong, None).is_err(), "{wrong}");
        }
    }

    #[test]
    fn who_moves_it() {
        assert!(matches!(By::parse("api:http://127.0.0.1:4620"), Ok(By::Api(_))));
        assert!(matches!(By::parse("device"), Ok(By::Device)));
        for wrong in ["", "me", "api:", "api:nowhere"] {
            assert!(By::parse(wrong).is_err(), "{wrong}");
        }
    }
}
