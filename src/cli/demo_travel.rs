//! The demo's travel test: a valve as it was found and as it is left, with the report to hand over. On virtual time; nothing real moves.

use super::ask::host_failure;
use super::demo::Stage;
use super::files::write_file;
use super::lines::{quoted, utc_now_words, with_log};
use super::output::Failure;
use super::travel::{ByDevice, calibration_told, log_of};
use crate::app::command::{Catalogue, Described, described};
use crate::bench::{check, check_sheet, in_process};
use crate::commission::person::{Answer, Kind, Person, Question};
use crate::commission::settings::{Origin, Settings, read};
use crate::commission::travel::record::{FailsTo, Instrument, Measure, Movement, Occasion, Plan, Test};
use crate::commission::travel::{Gauge, Limits, Readings, Record, Setup, run};
use crate::frame::PollingAddress;
use crate::host::{Ask, Host};
use crate::line::{Error, Event, InProcess, Line};
use crate::link::MasterConfig;
use crate::report::handover::{Beside, CALIBRATION, Overall, html, json, overall};
use crate::report::wiring::WiringReport;
use crate::sim::Participant;
use crate::time::Instant;
use crate::wiring::judge;
use std::cell::Cell;
use std::path::Path;
use std::rc::Rc;

/// The commands of looprig's positioner.
const DESCRIPTION: &str = include_str!("../../protocol-notes/positioner.toml");
/// The loop of the valve; invented.
const SHEET: &str = include_str!("../../fixtures/sheets/fv-3104.toml");
const SHEET_PATH: &str = "fixtures/sheets/fv-3104.toml";

const BENCH: &str = r#"# The inlet valve of filter 4, calibrated. Invented.
pace = "wire"

[loop]
current_ma = 12.0

[[device]]
tag = "FV-3104"
long_tag = "Brackenmoor filter 4 inlet"

[device.positioner]
calibrated = true

[device.air]
supply_pressure_bar = 1.4

[device.valve]
stroke_mm = 20
friction_percent = 5

[[line]]
at = "pty:"
"#;

/// How the valve was found: since it was calibrated the lever has slipped in its clamp. Invented.
const SLIPPED: &str = "[[device.valve.fault]]\nname = \"clamp_slipped\"\nseverity = 0.3\n\n[[line]]";

/// Whole tenths of a millimetre are what a caliper with a nonius of ten lines shows.
const CALIPER_MM: f64 = 0.1;
const STROKE_MM: f64 = 20.0;
const CALIPER: &str = "caliper at the stem";

/// The bench's line, and where the stem of its valve truly is each time that it has waited, mm.
struct Watched {
    line: InProcess<Participant>,
    stem_mm: Rc<Cell<Option<f64>>>,
}

impl Line for Watched {
    crate::line::says_as_line!(line);
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.line.send(octets)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        let event = self.line.wait(until)?;
        let now = self.line.now();
        let shown = self.line.bus().shown(0, now);
        let station = self.line.bus_mut().station_mut(0).and_then(Participant::device_mut);
        let stem = station.and_then(|s| {
            s.come_to(shown);
            s.valve().map(|v| v.readings().stem_m * 1e3)
        });
        self.stem_mm.set(stem);
        Ok(event)
    }
}

/// Somebody who lets the valve move, and holds a caliper to the stem of the bench's valve.
struct Demonstrator {
    stem_mm: Rc<Cell<Option<f64>>>,
}

impl Person for Demonstrator {
    fn ask(&mut self, question: &Question) -> Answer {
        match &question.kind {
            Kind::YesNo => Answer::Yes,
            Kind::Number { .. } => {
                let seen = self.stem_mm.get().map(|mm| (mm / CALIPER_MM).round() * CALIPER_MM);
                seen.map_or(Answer::DontKnow, Answer::Number)
            }
            _ => Answer::DontKnow,
        }
    }

    fn tell(&mut self, _: &str) {}
}

/// What is known before: everything in it is invented.
fn known(plan: Plan, occasion: Occasion) -> Record {
    let mut record = Record::new(Test::Travel, plan);
    record.occasion = occasion;
    record.started = utc_now_words();
    record.who = "R. Ames (invented)".to_owned();
    record.site = "Brackenmoor water works, filter 4 (invented)".to_owned();
    record.valve.motion = Some(Movement::Linear);
    record.valve.rated_travel = Some(STROKE_MM);
    record.valve.fails_to = FailsTo::Closed;
    record.supply_kpa = Some(140.0);
    record.ambient_c = Some(14.0);
    record.instruments = vec![Instrument {
        name: CALIPER.to_owned(),
        serial: "BM-0017 (invented)".to_owned(),
        calibrated: "2026-06-18".to_owned(),
        limit: "0.05 mm".to_owned(),
    }];
    record.external = Some(Measure {
        name: CALIPER.to_owned(),
        resolution_percent: Some(CALIPER_MM / STROKE_MM * 100.0),
        limit_percent: Some(0.05 / STROKE_MM * 100.0),
        instrument: Some(0),
    });
    record
}

/// Tests the valve of a bench by the device's own command, and reads its settings; `None`: it does not answer, or has no such command.
fn tested(bench: &str, record: Record, log: Option<&Path>) -> Result<Option<(Record, Settings)>, Failure> {
    let told = |e: &dyn core::fmt::Display| Failure::told(format!("the demo's own bench is wrong: {e}"));
    let mut record = record;
    let plan = check(bench, Path::new("demo-travel.toml")).map_err(|e| told(&e))?;
    let path = Path::new("protocol-notes/positioner.toml");
    let text = described::check(DESCRIPTION, path).map_err(|e| told(&e))?;
    let mut catalogue = Catalogue::default();
    catalogue.add(Described::load(text, "protocol-notes/positioner.toml")).map_err(|e| told(&e))?;
    let stem_mm = Rc::new(Cell::new(None));
    let line = Watched { line: in_process(&plan), stem_mm: Rc::clone(&stem_mm) };
    let mut host = Host::new(with_log(line, log)?, MasterConfig::default()).with_catalogue(catalogue);
    let failure = |e| host_failure("talking to the mock".into(), e);
    let (_, device) = host.poll(PollingAddress::default(), None).map_err(failure)?;
    let Some(device) = device else { return Ok(None) };
    let described = host.described(&device).map(|d| d.description());
    let stimulus = ByDevice::of(device, described, &|number| host.spec(&device, number));
    let Ok(mut stimulus) = stimulus else { return Ok(None) };
    record.line = host.line_mut().describe();
    let readings = Readings::usual(&host, &device);
    let calibrated = calibration_told(&mut host, &device).map_err(failure)?;
    record.device.more.extend(calibrated.map(|words| (CALIBRATION.to_owned(), words)));
    let gauge = Gauge { name: CALIPER.to_owned(), unit: "mm".to_owned(), closed: 0.0, open: STROKE_MM };
    let mut record = run(
        Setup {
            ask: &mut host,
            device,
            stimulus: &mut stimulus,
            person: &mut Demonstrator { stem_mm },
            readings,
            gauge: Some(gauge),
            control_system: false,
            keep: &mut |_| {},
        },
        record,
    );
    let origin = Origin {
        looprig: env!("CARGO_PKG_VERSION").to_owned(),
        saved: utc_now_words(),
        line: record.line.clone(),
    };
    let settings = read(&mut host, &device, origin, &mut |_| {})
        .map_err(|e| Failure::told(format!("reading the settings of the demo's mock: {e}")))?;
    // The log is whole when the line is closed.
    drop(host);
    record.log = log.and_then(log_of);
    Ok(Some((record, settings)))
}

/// Found with a lever that has slipped, a cycle; left with one that sits, a cycle, two steps and a stroke each way. The report as a page
/// and for programs in `dir`, with both records and the log of the second.
pub fn travel(stage: &mut Stage<'_>, dir: &Path) -> Result<(), Failure> {
    stage.say(
        "\n16. A short travel test before the valve is handed over: a cycle as found, with a lever that has slipped; the lever is set\n\
         right; a cycle, two steps, a stroke each way as left; a caliper measures the stem. Virtual time; nothing real moves.",
    )?;
    let found = known(Plan::cycling(5, 1), Occasion::AsFound);
    let found = tested(&BENCH.replace("[[line]]", SLIPPED), found, None)?;
    let mut plan = Plan::cycling(5, 1).with_strokes(1);
    plan.steps_percent = vec![(45.0, 55.0), (55.0, 45.0)];
    let left = tested(BENCH, known(plan, Occasion::AsLeft), Some(&dir.join("travel.log")))?;
    let (Some((found, _)), Some((record, settings))) = (found, left) else {
        return stage.step("the positioner answered, and has a command for its set point", false);
    };
    let sheet = check_sheet(SHEET, Path::new(SHEET_PATH)).map_err(|e| Failure::told(e.to_string()))?;
    let judged = judge(&sheet.circuit);
    let wiring = WiringReport { circuit: &sheet.circuit, judged: &judged, corner: None, samples: None };
    let (limits, made) = (Limits::own(), utc_now_words());
    let beside = Beside {
        settings: Some((&settings, "read from the device")),
        wiring: Some((&wiring, SHEET_PATH)),
        made: &made,
        ..Beside::default()
    };
    let both = [&found, &record];
    let was = overall(&[&found], &limits, &Beside::default());
    let verdict = overall(&both, &limits, &beside);
    let page = dir.join("report.html");
    write_file(&page, &html(&both, &limits, &beside), false, "writing the demo's report")?;
    let whole = serde_json::to_string_pretty(&json(&both, &limits, &beside)).unwrap_or_default() + "\n";
    write_file(&dir.join("report.json"), &whole, false, "writing the demo's report")?;
    write_file(&dir.join("found.json"), &found.to_json(), false, "writing the demo's record")?;
    write_file(&dir.join("record.json"), &record.to_json(), false, "writing the demo's record")?;
    let left = record.left.as_ref().map_or("", |l| l.words.as_str());
    let page = quoted(&page.display().to_string());
    stage.say(&format!("  {left}\n  The report to print and sign: {page}"))?;
    let beyond = was == Overall::Beyond;
    let words =
        if beyond { "beyond looprig's own limits, as the caliper tells" } else { "NOT beyond its limits" };
    stage.step(&format!("as found, with a slipped lever, the valve is {words}"), beyond)?;
    let (points, strokes) = (record.points.len(), record.strokes.len());
    let words = format!(
        "as left: {points} places and {strokes} strokes; all that was judged is {}",
        if verdict == Overall::Within { "within looprig's own limits" } else { "NOT within limits" }
    );
    stage.step(&words, (points, strokes) == (9, 2) && verdict == Overall::Within)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commission::travel::figures::{View, figures};
    use crate::commission::travel::limits::judge as held;
    use crate::commission::travel::limits::{Limited, Verdict};

    /// What the caliper shows is the stem of the bench: with a lever that sits it is where the set point is within the limits, with one
    /// that has slipped by 6 degrees of the 60 of a stroke it is not, though the device says that its valve is where it ought to be.
    #[test]
    fn a_slipped_lever_shows_at_the_stem() {
        let of = |bench: &str| {
            let record = known(Plan::cycling(5, 1), Occasion::AsFound);
            let (record, _) = tested(bench, record, None).expect("it works").expect("it answers");
            let middle: Vec<f64> = record
                .points
                .iter()
                .filter(|p| p.asked_percent == 50.0)
                .filter_map(|p| Some(p.external.as_ref()?.percent))
                .collect();
            let judged = held(figures(&record), &Limits::own());
            let lever = judged.into_iter().filter(|j| {
                j.figure.view == View::External && Limited::of(&j.figure) == Some(Limited::LeverError)
            });
            (middle, lever.map(|j| j.verdict).collect::<Vec<_>>())
        };
        let (middle, lever) = of(BENCH);
        assert!(middle.len() == 2 && middle.iter().all(|p| (p - 50.0).abs() < 1.5), "{middle:?}");
        assert_eq!(lever, [Verdict::Within]);
        let (middle, lever) = of(&BENCH.replace("[[line]]", SLIPPED));
        // The tangent of 30 degrees is half the stroke, 10 mm: 6 degrees about square are 10 tan 6 / tan 30 = 1.82 mm, 9.1 %.
        assert!(
            middle.len() == 2 && middle.iter().all(|p| ((p - 50.0).abs() - 9.1).abs() < 1.5),
            "{middle:?}"
        );
        assert_eq!(lever, [Verdict::Beyond]);
    }
}
