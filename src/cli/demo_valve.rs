//! Steps of the demo in which the valve is what matters: calibrated, stroked, and starved of air. They run on virtual
//! time, for a calibration takes a minute and more of the valve's own time.

use super::ask::host_failure;
use super::demo::Stage;
use super::output::Failure;
use crate::app::command::{Catalogue, Described, described};
use crate::bench::{check, in_process};
use crate::exchange::Exchange;
use crate::exchange::view::Tone;
use crate::frame::PollingAddress;
use crate::host::{Device, Host, HostError};
use crate::line::{InProcess, Line};
use crate::link::MasterConfig;
use crate::sim::Participant;
use crate::time::Instant;
use core::time::Duration;
use std::path::Path;

/// The commands of looprig's positioner.
const DESCRIPTION: &str = include_str!("../../protocol-notes/positioner.toml");

const BENCH: &str = r#"# The inlet valve of filter 4 with its air, actuator and linkage. Invented.
pace = "wire"

[loop]
current_ma = 12.0

[[device]]
tag = "FV-3104"

[device.air]
supply_pressure_bar = 1.4

[device.valve]
stroke_mm = 20
friction_percent = 5

[device.valve.supply]
header_bar = 6
regulator_dm3_per_s_bar = 3
filter_dm3_per_s_bar = 8
line_bore_mm = 6
line_length_m = 5

# Ten minutes later the filter of its air is full of dirt.
[[device.valve.fault]]
name = "filter_blocked"
severity = 0.8
from_s = 600

[[line]]
at = "pty:"
"#;

/// When the filter is blocked, by the bench above.
const BLOCKED: Instant = Instant::from_nanos(600_000_000_000);
/// A calibration takes up to four minutes (common practice, no source).
const CALIBRATION_AT_MOST: Duration = Duration::from_secs(240);
/// A stroke that takes longer than this is none.
const STROKE_AT_MOST: Duration = Duration::from_secs(60);
/// Rest between two strokes.
const SETTLED: Duration = Duration::from_secs(20);

fn failure(e: HostError) -> Failure {
    host_failure("talking to the mock".into(), e)
}

struct Valve {
    host: Host<InProcess<Participant>>,
    device: Device,
}

/// How a stroke went, as the device's own sensors tell it.
struct Stroke {
    /// Until 95 % of travel; `None` if they did not come.
    to_95: Option<Duration>,
    least_supply_bar: f64,
    last: Exchange,
}

/// A number with its unit, such as "95.20 %".
fn number(e: &Exchange, name: &str) -> Option<f64> {
    e.value(name)?.text().split(' ').next()?.parse().ok()
}

/// A value in words; nothing where the answer has none.
fn text(e: &Exchange, name: &str) -> String {
    e.value(name).map_or(String::new(), |v| v.text())
}

fn done(e: &Exchange) -> bool {
    e.tone() == Tone::Plain && !e.is_unanswered()
}

impl Valve {
    fn new() -> Result<Option<Valve>, Failure> {
        let told = |e: &dyn core::fmt::Display| Failure::told(format!("the demo's own bench is wrong: {e}"));
        let plan = check(BENCH, Path::new("demo-valve.toml")).map_err(|e| told(&e))?;
        let text = described::check(DESCRIPTION, Path::new("protocol-notes/positioner.toml"))
            .map_err(|e| told(&e))?;
        let mut catalogue = Catalogue::default();
        catalogue.add(Described::load(text, "protocol-notes/positioner.toml")).map_err(|e| told(&e))?;
        let mut host = Host::new(in_process(&plan), MasterConfig::default()).with_catalogue(catalogue);
        let (_, device) = host.poll(PollingAddress::default(), None).map_err(failure)?;
        Ok(device.map(|device| Valve { host, device }))
    }

    fn ask(&mut self, command: u8, values: &[(&str, &str)]) -> Result<Exchange, Failure> {
        let owned: Vec<_> = values.iter().map(|&(n, v)| (n.to_owned(), v.to_owned())).collect();
        self.host.ask(&self.device, command, &owned).map_err(failure)
    }

    fn now(&mut self) -> Instant {
        self.host.line_mut().now()
    }

    /// Closed, at rest, and then opened by hand; watched by its primary and other variables.
    fn stroke(&mut self) -> Result<Stroke, Failure> {
        self.ask(129, &[("source", "by hand"), ("set_point", "0")])?;
        self.host.rest(SETTLED).map_err(failure)?;
        let from = self.now();
        self.ask(129, &[("source", "by hand"), ("set_point", "100")])?;
        let mut least_supply_bar = f64::INFINITY;
        loop {
            let last = self.ask(3, &[])?;
            let took = self.now().since(from);
            least_supply_bar = least_supply_bar.min(number(&last, "qv").unwrap_or(f64::INFINITY));
            let there = number(&last, "sv").is_some_and(|travel| travel >= 95.0);
            if there || took > STROKE_AT_MOST {
                return Ok(Stroke { to_95: there.then_some(took), least_supply_bar, last });
            }
        }
    }
}

/// Calibrates a valve, strokes it, and strokes it again when its air filter is blocked [DV-91] [PL-35].
pub fn valve(stage: &mut Stage<'_>) -> Result<(), Failure> {
    stage.say(
        "\n11. The positioner of a computed valve finds its end stops, stroke times and friction by itself. From here on\n\
         time is virtual: what takes minutes at a valve takes moments here. Nothing real moves.",
    )?;
    let Some(mut valve) = Valve::new()? else { return stage.step("the positioner answered", false) };
    let begun = valve.ask(131, &[("calibration", "end stops, stroke times and friction")])?;
    stage.show(&begun)?;
    let from = valve.now();
    let mut last_step = String::new();
    let progress = loop {
        let progress = valve.ask(132, &[])?;
        if !text(&progress, "state").starts_with("running") || valve.now().since(from) > CALIBRATION_AT_MOST {
            break progress;
        }
        if text(&progress, "step") != last_step {
            last_step = text(&progress, "step");
            let words = format!(
                "  {:>4} {:>6}  {last_step}",
                text(&progress, "elapsed"),
                text(&progress, "progress")
            );
            stage.put(&progress, &words)?;
        }
        valve.host.rest(Duration::from_secs(1)).map_err(failure)?;
    };
    let took = valve.now().since(from).as_secs_f64();
    let result = valve.ask(134, &[])?;
    let words = format!(
        "  lever from {} to {}, opening takes {}, closing {}, friction {}",
        text(&result, "lever_angle_closed"),
        text(&result, "lever_angle_open"),
        text(&result, "stroke_time_opening"),
        text(&result, "stroke_time_closing"),
        text(&result, "friction"),
    );
    stage.put(&result, &words)?;
    let state = text(&progress, "state");
    let fine = done(&begun) && state.starts_with("done");
    stage.step(&format!("after {took:.0} s of its own time the calibration is {state}"), fine)?;

    stage.say(
        "\n12. A full stroke by hand, from closed: travel and supply pressure by the device's own sensors.",
    )?;
    let healthy = valve.stroke()?;
    stage.show(&healthy.last)?;
    let words = |s: &Stroke| match s.to_95 {
        Some(t) => {
            format!("{:.1} s to 95 % of travel, least supply {:.2} bar", t.as_secs_f64(), s.least_supply_bar)
        }
        None => format!("95 % of travel not reached, least supply {:.2} bar", s.least_supply_bar),
    };
    stage.step(&words(&healthy), healthy.to_95.is_some())?;

    stage.say("\n13. Ten minutes on its air filter is blocked. The same stroke tells it: slower, and the supply falls while it moves.")?;
    let now = valve.now();
    valve.host.rest(BLOCKED.since(now) + SETTLED).map_err(failure)?;
    let starved = valve.stroke()?;
    stage.show(&starved.last)?;
    let slower = match (healthy.to_95, starved.to_95) {
        (Some(h), Some(s)) => s >= 2 * h,
        (healthy, _) => healthy.is_some(),
    };
    let falls = starved.least_supply_bar < healthy.least_supply_bar - 0.2;
    stage.step(&words(&starved), slower && falls)
}
