//! The demo's travel test: a short one at a calibrated valve, with the report to hand over. On virtual time; nothing real moves.

use super::ask::host_failure;
use super::demo::Stage;
use super::files::write_file;
use super::lines::{quoted, utc_now_words};
use super::output::Failure;
use super::travel::ByDevice;
use crate::app::command::{Catalogue, Described, described};
use crate::bench::{check, in_process};
use crate::commission::person::{Answer, Kind, Person, Question};
use crate::commission::travel::record::{FailsTo, Measure, Movement, Occasion, Plan, Test};
use crate::commission::travel::{Gauge, Limits, Readings, Record, Setup, run};
use crate::frame::PollingAddress;
use crate::host::{Ask, Host};
use crate::line::Line;
use crate::link::MasterConfig;
use crate::report::handover::{Beside, Overall, html, json, overall};
use std::path::Path;

/// The commands of looprig's positioner.
const DESCRIPTION: &str = include_str!("../../protocol-notes/positioner.toml");

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

/// Somebody who lets the valve move and reads a scale of whole and half millimetres that is right to a quarter of one: invented.
struct Demonstrator {
    asked: usize,
}

impl Person for Demonstrator {
    fn ask(&mut self, question: &Question) -> Answer {
        // 0, 25, 50, 75, 100 % of 20 mm and back.
        const SCALE_MM: [f64; 9] = [0.0, 5.0, 10.0, 15.0, 20.0, 15.0, 10.0, 5.0, 0.0];
        match &question.kind {
            Kind::YesNo => Answer::Yes,
            Kind::Number { .. } => {
                self.asked += 1;
                SCALE_MM.get(self.asked - 1).map_or(Answer::DontKnow, |mm| Answer::Number(*mm))
            }
            _ => Answer::DontKnow,
        }
    }

    fn tell(&mut self, _: &str) {}
}

/// A cycle, two steps and a stroke each way, and the report as a page and for programs in `dir`.
pub fn travel(stage: &mut Stage<'_>, dir: &Path) -> Result<(), Failure> {
    stage.say(
        "\n16. A short travel test before the valve is handed over: a cycle, two steps, a stroke each way; somebody reads the stem\n\
         scale. Virtual time; nothing real moves.",
    )?;
    let told = |e: &dyn core::fmt::Display| Failure::told(format!("the demo's own bench is wrong: {e}"));
    let plan = check(BENCH, Path::new("demo-travel.toml")).map_err(|e| told(&e))?;
    let path = Path::new("protocol-notes/positioner.toml");
    let text = described::check(DESCRIPTION, path).map_err(|e| told(&e))?;
    let mut catalogue = Catalogue::default();
    catalogue.add(Described::load(text, "protocol-notes/positioner.toml")).map_err(|e| told(&e))?;
    let mut host = Host::new(in_process(&plan), MasterConfig::default()).with_catalogue(catalogue);
    let failure = |e| host_failure("talking to the mock".into(), e);
    let (_, device) = host.poll(PollingAddress::default(), None).map_err(failure)?;
    let Some(device) = device else { return stage.step("the positioner answered", false) };
    let described = host.described(&device).map(|d| d.description());
    let stimulus = ByDevice::of(device, described, &|number| host.spec(&device, number));
    let Ok(mut stimulus) = stimulus else { return stage.step("it has a command for its set point", false) };
    let mut plan = Plan::cycling(5, 1).with_strokes(1);
    plan.steps_percent = vec![(45.0, 55.0), (55.0, 45.0)];
    let mut record = Record::new(Test::Travel, plan);
    record.occasion = Occasion::AsLeft;
    record.started = utc_now_words();
    record.line = host.line_mut().describe();
    record.who = "R. Ames (invented)".to_owned();
    record.site = "Brackenmoor water works, filter 4 (invented)".to_owned();
    record.valve.motion = Some(Movement::Linear);
    record.valve.rated_travel = Some(20.0);
    record.valve.fails_to = FailsTo::Closed;
    record.supply_kpa = Some(140.0);
    record.external =
        Some(Measure { name: "stem scale".to_owned(), resolution_percent: Some(2.5), ..Measure::default() });
    let readings = Readings::usual(&host, &device);
    let gauge = Gauge { name: "stem scale".to_owned(), unit: "mm".to_owned(), closed: 0.0, open: 20.0 };
    let record = run(
        Setup {
            ask: &mut host,
            device,
            stimulus: &mut stimulus,
            person: &mut Demonstrator { asked: 0 },
            readings,
            gauge: Some(gauge),
            control_system: false,
            keep: &mut |_| {},
        },
        record,
    );
    let (limits, made) = (Limits::own(), utc_now_words());
    let beside = Beside { made: &made, ..Beside::default() };
    let verdict = overall(&[&record], &limits, &beside);
    let page = dir.join("report.html");
    write_file(&page, &html(&[&record], &limits, &beside), false, "writing the demo's report")?;
    let whole = serde_json::to_string_pretty(&json(&[&record], &limits, &beside)).unwrap_or_default() + "\n";
    write_file(&dir.join("report.json"), &whole, false, "writing the demo's report")?;
    write_file(&dir.join("record.json"), &record.to_json(), false, "writing the demo's record")?;
    let left = record.left.as_ref().map_or("", |l| l.words.as_str());
    let page = quoted(&page.display().to_string());
    stage.say(&format!("  {left}\n  The report to print and sign: {page}"))?;
    let (points, strokes) = (record.points.len(), record.strokes.len());
    let words = format!(
        "{points} places and {strokes} strokes; all that was judged is {}",
        if verdict == Overall::Within { "within looprig's own limits" } else { "NOT within limits" }
    );
    stage.step(&words, (points, strokes) == (9, 2) && verdict == Overall::Within)
}
