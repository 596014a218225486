//! The table of faults and symptoms [PL-35], row by row, on the standard run of the reference actuator [PL-34].

use super::run::{Order, Run, go, prepared, standard};
use looprig::plant::fault::FaultName;
use looprig::plant::valve::{Valve, ValveConfig};

/// The severities of the table.
const SEVERITIES: [f64; 3] = [0.3, 0.6, 1.0];
/// Stroke times of the healthy valve, 5 to 95 % and back, s [PL-31].
const FILL_S: f64 = 1.8890 - 0.1649;
const VENT_S: f64 = 3.0533 - 0.6301;

/// A demand of the table: what it is, and whether a run fulfils it.
struct Demand {
    what: &'static str,
    /// The healthy valve does not fulfil it.
    symptom: bool,
    holds: bool,
}

#[derive(Default)]
struct Row(Vec<Demand>);

impl Row {
    fn symptom(&mut self, what: &'static str, holds: bool) {
        self.0.push(Demand { what, symptom: true, holds });
    }

    fn as_ever(&mut self, what: &'static str, holds: bool) {
        self.0.push(Demand { what, symptom: false, holds });
    }

    fn holds(&self) -> bool {
        self.0.iter().all(|d| d.holds)
    }
}

fn near(value: f64, wanted: f64, within: f64) -> bool {
    (value - wanted).abs() <= within
}

fn is(value: Option<f64>, test: impl Fn(f64) -> bool) -> bool {
    value.is_some_and(test)
}

fn none_or(value: Option<f64>, test: impl Fn(f64) -> bool) -> bool {
    value.is_none_or(test)
}

/// Of three values the one for the severity.
fn at(severity: f64, values: [f64; 3]) -> f64 {
    let found = SEVERITIES.iter().position(|s| *s == severity);
    values[found.expect("a severity of the table")]
}

/// The row of a fault, held against a run.
fn row(name: FaultName, x: f64, r: &Run) -> Row {
    let mut row = Row::default();
    let times = |stroke: Option<f64>, usual: f64, factor: f64| is(stroke, |t| t >= factor * usual);
    let supply_right = near(r.supply_rest, 1.4, 0.028) && r.supply_least >= 1.35;
    let agree = r.gap.iter().all(|g| none_or(*g, |g| g.abs() <= 0.5));
    match name {
        FaultName::SupplyLow => {
            let set = 1.4 * (1.0 - 0.6 * x);
            row.symptom("supply at rest", near(r.supply_rest, set, 0.02 * set));
            row.symptom("regulator's gauge", near(r.regulator_rest, set, 0.02 * set));
            if x == 0.3 {
                row.symptom("fill time", times(r.fill.time, FILL_S, 1.15));
            } else {
                let stall = at(x, [0.0, 82.0, 40.0]);
                row.symptom("stall", (stall - 1.5..=stall + 0.5).contains(&r.fill.end_true));
            }
        }
        FaultName::FilterBlocked | FaultName::SupplyLineUndersized => {
            let line = name == FaultName::SupplyLineUndersized;
            let within = if line { 0.05 } else { 0.02 };
            row.as_ever("supply at rest", near(r.supply_rest, 1.4, within * 1.4));
            row.symptom("supply falls", r.supply_rest - r.supply_least >= 0.3);
            let gauge = r.regulator_rest - r.regulator_least;
            if line {
                row.as_ever("regulator's gauge stays", gauge <= 0.1);
            } else {
                row.symptom("regulator's gauge falls too", gauge >= 0.3);
            }
            if x == 1.0 {
                row.symptom("does not open", r.fill.end_true < 95.0);
            } else {
                let factor = at(x, if line { [1.4, 3.0, 0.0] } else { [1.15, 2.5, 0.0] });
                row.symptom("fill time", times(r.fill.time, FILL_S, factor));
                row.as_ever("vent time", is(r.vent.time, |t| near(t, VENT_S, 0.05 * VENT_S)));
            }
        }
        FaultName::DiaphragmLeak | FaultName::TubingLeak => {
            let (here, there) = match name {
                FaultName::DiaphragmLeak => (r.hold_casing, r.hold_tube),
                _ => (r.hold_tube, r.hold_casing),
            };
            row.symptom("air is found here", here > 0.1);
            row.as_ever("and not there", there == 0.0);
            // The bleed of the healthy valve is 0.7 L/min.
            row.symptom("air used in hold", r.hold_air > 1.2);
            match x {
                0.3 => row.as_ever("fill time", is(r.fill.time, |t| near(t, FILL_S, 0.1 * FILL_S))),
                0.6 => {
                    row.symptom("fill time", times(r.fill.time, FILL_S, 1.15));
                    row.symptom("vent time", is(r.vent.time, |t| t <= 0.97 * VENT_S));
                }
                _ => row.symptom("does not leave its seat", r.fill.end_true == 0.0),
            }
            if x < 1.0 {
                row.symptom("blocked test", r.blocked <= -5.0);
            }
        }
        FaultName::OutputsSwapped => {
            row.symptom("drive 1 shuts", r.fill.end_true < 0.5);
            row.symptom("drive -1 opens", r.vent.end_true > 99.5);
            row.as_ever("supply", supply_right);
        }
        FaultName::StageStuck => {
            row.as_ever("sensed and true agree", agree);
            if x == 1.0 {
                row.symptom("travel stands", r.fill.way.abs() < 0.1 && r.vent.way.abs() < 0.1);
                let stands = |p: f64| (0.3..=1.1).contains(&p);
                row.symptom("output stays", stands(r.fill.output) && stands(r.vent.output));
            } else {
                let missed = (r.step_up - 60.0).abs().max((r.step_down - 50.0).abs());
                row.symptom("a step misses", missed >= at(x, [1.0, 2.0, 0.0]));
                row.as_ever("no play", is(r.play, |p| p.abs() < 0.5));
                row.as_ever("fill time", is(r.fill.time, |t| near(t, FILL_S, 0.05 * FILL_S)));
                row.as_ever("vent time", is(r.vent.time, |t| near(t, VENT_S, 0.05 * VENT_S)));
                row.as_ever("worn nowhere", is(r.gap_middle, |g| g < 0.5));
            }
        }
        FaultName::StageDrifting => {
            let open = at(x, [0.6, 1.2, 2.5]);
            row.symptom("stands too far open", r.hold_error_true <= -open && r.hold_error_sensed <= -open);
            row.symptom("vent time", times(r.vent.time, VENT_S, at(x, [1.08, 1.2, 1.4])));
            row.symptom("blocked test", r.blocked >= 10.0);
            row.as_ever("fill time", is(r.fill.time, |t| near(t, FILL_S, 0.05 * FILL_S)));
            row.as_ever("sensed and true agree", agree);
        }
        FaultName::StageContaminated => {
            let steady = r.supply_rest - r.supply_least < 0.05 && r.regulator_rest - r.regulator_least < 0.05;
            row.as_ever("supply", supply_right && steady);
            if x == 1.0 {
                row.symptom("neither ends", r.fill.end_true < 95.0 && r.vent.end_true > 5.0);
                row.as_ever("but it moves", r.fill.way > 20.0 && r.vent.way < -20.0);
            } else {
                let factor = at(x, [1.6, 3.0, 0.0]);
                row.symptom("fill time", times(r.fill.time, FILL_S, factor));
                row.symptom("vent time", times(r.vent.time, VENT_S, factor));
            }
            row.as_ever("friction band", none_or(r.band(), |b| b < 0.13));
            row.as_ever("spring", none_or(r.spring(), |s| near(s, 0.6, 0.05)));
            row.as_ever("no leak", r.hold_casing == 0.0 && r.hold_tube == 0.0 && r.blocked.abs() < 0.5);
        }
        FaultName::PackingTight => {
            row.symptom("friction band", is(r.band(), |b| near(b, at(x, [0.20, 0.32, 0.48]), 0.04)));
            row.as_ever("spring", is(r.spring(), |s| near(s, 0.6, 0.05)));
            if x == 1.0 {
                row.symptom("does not shut", r.vent.end_true >= 5.0);
            }
        }
        FaultName::StemSeized => {
            row.as_ever("supply", supply_right);
            if x == 0.3 {
                row.symptom("jumps", r.jump >= 20.0);
            } else {
                row.symptom("no motion", r.fill.way.abs() < 0.1 && r.vent.way.abs() < 0.1);
                row.as_ever("stands where it was", near(r.fill.end_true, 50.0, 5.0));
                row.as_ever("output follows", r.fill.output > 1.37 && r.vent.output < 0.05);
            }
        }
        FaultName::SpringBroken => {
            if x == 1.0 {
                row.symptom("stays open when vented", r.vent.end_true > 95.0);
            } else {
                row.symptom("spring", is(r.spring(), |s| near(s, 0.6 * (1.0 - x), 0.05)));
                row.symptom("fill time", is(r.fill.time, |t| t <= at(x, [0.85, 0.65, 0.0]) * FILL_S));
            }
            row.as_ever("output vents", r.vent.output < 0.05);
        }
        FaultName::ClampSlipped => {
            // d tan(a) of the stroke, d = 17.3205 mm for 20 mm and 30 degrees.
            let gap = 86.6025 * (20.0 * x).to_radians().tan();
            row.symptom("gap at 50 %", is(r.gap[1], |g| near(g, gap, 1.0)));
            let more = |i: usize| is(r.gap[i].zip(r.gap[1]).map(|(a, b)| a - b), |d| d >= 0.5);
            row.symptom("larger gap at 10 and 90 %", more(0) && more(2));
            row.symptom("true is below", r.hold_error_true >= 5.0);
            row.as_ever("sensed holds", r.hold_error_sensed.abs() <= 1.5);
        }
        FaultName::PinMisplaced => {
            let gap = 40.0 * x / (1.0 + x);
            row.symptom("gap at 10 %", is(r.gap[0], |g| near(g, gap, 1.0)));
            row.symptom("gap at 90 %", is(r.gap[2], |g| near(g, -gap, 1.0)));
            row.as_ever("none at 50 %", is(r.gap[1], |g| g.abs() <= 0.5));
        }
        FaultName::CouplingTurned => {
            let all = r.gap.iter().all(|g| is(*g, |g| near(g, -40.0 * x, 1.0)));
            row.symptom("the same gap everywhere", all);
        }
        FaultName::SensorWorn => {
            row.symptom("gap in the middle", is(r.gap_middle, |g| g >= at(x, [1.5, 3.0, 5.0])));
            let ends = [r.gap[0], r.gap[2]];
            row.as_ever("none at 10 and 90 %", ends.iter().all(|g| is(*g, |g| g.abs() <= 0.5)));
        }
        FaultName::SensorBeyondRange => {
            row.symptom("sensed stands", near(r.fill.end_sensed, 100.0 - 60.0 * x, 0.5));
            row.symptom("out of range", r.out_of_range);
            row.as_ever("true goes on", r.fill.end_true > 99.5);
            row.as_ever("no gap at 10 %", is(r.gap[0], |g| g.abs() <= 0.5));
        }
        FaultName::LinkageSlack => {
            row.symptom("play", is(r.play, |p| near(p, -15.0 * x, 1.0)));
        }
        FaultName::HandwheelEngaged => {
            row.symptom("does not shut", near(r.vent.end_true, 60.0 * x, 0.5));
            row.as_ever("sensed and true agree", agree && near(r.vent.end_sensed, r.vent.end_true, 0.5));
            row.as_ever("output vents", r.vent.output < 0.05);
            row.as_ever("spring", none_or(r.spring(), |s| near(s, 0.6, 0.05)));
            row.as_ever("opens", r.fill.end_true > 99.5);
        }
        FaultName::StopMoved => {
            row.symptom("does not open", near(r.fill.end_true, 100.0 - 60.0 * x, 0.5));
            row.as_ever("sensed and true agree", agree && near(r.fill.end_sensed, r.fill.end_true, 0.5));
            row.as_ever("output at supply", supply_right && r.fill.output > 1.37);
        }
    }
    row
}

/// Runs of all faults at all severities, on as many threads as severities, and the healthy one.
fn all_runs() -> (Run, Vec<(FaultName, f64, Run)>) {
    let valve = prepared(ValveConfig::reference());
    let runs = |x: f64| {
        let one = |name: FaultName| (name, x, standard(&valve, Some((name, x))));
        FaultName::ALL.into_iter().map(one).collect::<Vec<_>>()
    };
    std::thread::scope(|scope| {
        let threads = SEVERITIES.map(|x| scope.spawn(move || runs(x)));
        let all = threads.into_iter().flat_map(|t| t.join().expect("a run"));
        (standard(&valve, None), all.collect())
    })
}

/// [PL-34]: what the healthy valve is to show.
fn healthy(r: &Run) {
    let times = [(r.fill.time, FILL_S), (r.vent.time, VENT_S)];
    assert!(times.iter().all(|(got, usual)| is(*got, |t| near(t, *usual, 0.05 * usual))), "{r:?}");
    assert!(near(r.supply_rest, 1.4, 0.01) && r.supply_least >= 1.3 && r.regulator_least >= 1.3, "{r:?}");
    assert!(
        r.hold_error_true.abs() <= 1.5 && r.hold_error_sensed.abs() <= 1.5 && r.hold_swing < 0.1,
        "{r:?}"
    );
    assert!(r.hold_air <= 1.5 && r.hold_casing == 0.0 && r.hold_tube == 0.0, "{r:?}");
    let ends = [r.fill.end_true, r.fill.end_sensed, 100.0 - r.vent.end_true, 100.0 - r.vent.end_sensed];
    assert!(ends.iter().all(|e| near(*e, 100.0, 0.5)), "{r:?}");
    assert!(near(r.emptied, 0.0, 0.5) && near(r.step_up, 60.0, 1.5) && near(r.step_down, 50.0, 1.5), "{r:?}");
    assert!(near(r.fill.output, r.supply_rest, 0.01) && near(r.fill.chamber, r.supply_rest, 0.01), "{r:?}");
    assert!(r.vent.output.abs() < 0.01 && r.jump <= 10.0 && !r.out_of_range, "{r:?}");
    assert!(is(r.band(), |b| (0.08..0.13).contains(&b)) && is(r.spring(), |s| near(s, 0.6, 0.05)), "{r:?}");
    assert!(r.gap.iter().all(|g| is(*g, |g| g.abs() <= 0.5)) && is(r.play, |p| p.abs() <= 0.5), "{r:?}");
    assert!(r.blocked.abs() <= 0.5, "{r:?}");
}

#[test]
fn every_fault_shows_its_symptoms_and_no_other_fault_shows_them() {
    let (healthy_run, runs) = all_runs();
    healthy(&healthy_run);
    let mut wrong = Vec::new();
    for (name, x, run) in &runs {
        for demand in row(*name, *x, run).0.iter().filter(|d| !d.holds) {
            wrong.push(format!("{} {x} does not show: {}\n    {run:?}", name.word(), demand.what));
        }
        for demand in row(*name, *x, &healthy_run).0.iter().filter(|d| d.symptom && d.holds) {
            wrong.push(format!(
                "the healthy valve shows what {} {x} is to show: {}",
                name.word(),
                demand.what
            ));
        }
        for (other, y, run) in runs.iter().filter(|(other, y, _)| other != name && y == x) {
            if row(*name, *x, run).holds() {
                wrong.push(format!("{} {y} looks like {} {x}", other.word(), name.word()));
            }
        }
    }
    assert!(wrong.is_empty(), "{} faults of the table:\n{}", wrong.len(), wrong.join("\n"));
}

/// On a double-acting piston and on a part-turn valve every fault that they can have changes what is read, too.
#[test]
fn every_fault_tells_on_other_actuators() {
    let stroke = |config: ValveConfig, fault: Option<FaultName>| {
        let mut valve = Valve::new(config, 9).expect("accepted");
        if let Some(name) = fault {
            valve.inject(name, 0.6).expect("possible");
        }
        let mut seen = Vec::new();
        for order in [Order::Drive(1.0), Order::Drive(-1.0), Order::Follow(65.0), Order::Follow(40.0)] {
            go(&mut valve, 4.0, order, |r| {
                let bars =
                    [r.regulator_gauge_pa, r.supply_gauge_pa, r.output_gauge_pa[0], r.chamber_gauge_pa[1]];
                // In percent, hundredths of a bar, and 1e-6 kg/s, 0.05 L/min, which soap finds.
                seen.extend([r.travel_percent, r.sensed_travel_percent]);
                seen.extend(bars.map(|pa| pa / 1e3));
                seen.extend([r.casing_leak_kg_per_s, r.tube_leak_kg_per_s].map(|leak| leak * 1e6));
            });
        }
        seen
    };
    for config in [ValveConfig::double_acting(), ValveConfig::part_turn()] {
        let sound = stroke(config, None);
        let valve = Valve::new(config, 9).expect("accepted");
        for name in FaultName::ALL {
            if valve.clone().inject(name, 0.6).is_err() {
                continue;
            }
            let ill = stroke(config, Some(name));
            let pairs = sound.iter().zip(&ill);
            let most = pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            assert!(ill.iter().all(|x| x.is_finite()) && most > 1.0, "{name}: {most}");
        }
    }
}
