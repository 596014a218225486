//! Generated valves behind the mock's own electronics, with the physics of the plant [TV-67]: what is stated has to hold the true travel.
//!
//! `LOOPRIG_TRAVEL_PLANTS` says how many; with `--nocapture` the table of the notes is printed.
#![cfg(feature = "bench-file")]

use super::on_the_mock::ByHand;
use super::valves::{Dice, Tallies, Truth};
use looprig::app::command::{Catalogue, Described};
use looprig::bench::{self, read_description};
use looprig::commission::person::{Answer, Kind, Person, Question};
use looprig::commission::travel::figures::{About, View, figures};
use looprig::commission::travel::record::{Direction, Ended, Measure, Plan, Record, Test};
use looprig::commission::travel::{Definition, Figure, Gauge, Readings, Setup, run};
use looprig::frame::{PollingAddress, RawFrame};
use looprig::host::Host;
use looprig::line::{Error, Event, InProcess, Line, SendsFaults};
use looprig::link::MasterConfig;
use looprig::sim::Participant;
use looprig::time::Instant;
use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;
use std::time::Duration;

/// True travel, s and percent, as often as it was looked at.
type Trace = Rc<RefCell<Vec<(f64, f64)>>>;

/// A line that looks at the valve every 5 ms.
struct Watched(InProcess<Participant>, Trace);

const LOOK: Duration = Duration::from_millis(5);
/// How long a calibration is waited for, minutes.
const CALIBRATES_MIN: u32 = 30;

impl Watched {
    fn look(&mut self) {
        let now = self.0.now();
        let Some(device) = self.0.bus_mut().station_mut(0).and_then(Participant::device_mut) else { return };
        device.come_to(now);
        if let Some(valve) = device.valve() {
            self.1.borrow_mut().push((now.as_secs_f64(), valve.readings().travel_percent));
        }
    }
}

impl Line for Watched {
    looprig::says_as_line!(0);
    fn sends_faults(&self) -> SendsFaults {
        self.0.sends_faults()
    }
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        self.0.send_raw(frame)
    }

    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.0.send(octets)
    }

    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        loop {
            let next = self.0.now() + LOOK;
            let last = until.is_some_and(|u| u <= next);
            let event = self.0.wait(if last { until } else { Some(next) })?;
            self.look();
            if last || !matches!(event, Event::TimeOut) {
                return Ok(event);
            }
        }
    }
}

/// Reads the stem by a gauge with steps, and says yes.
struct AtTheStem {
    trace: Trace,
    stroke_mm: f64,
    step_mm: f64,
    /// True travel each time, percent.
    looked: Vec<f64>,
}

impl Person for AtTheStem {
    fn ask(&mut self, q: &Question) -> Answer {
        match q.kind {
            Kind::YesNo => Answer::Yes,
            Kind::Number { .. } => {
                let travel = self.trace.borrow().last().map_or(0.0, |s| s.1);
                self.looked.push(travel);
                let mm = (travel * self.stroke_mm / 100.0 / self.step_mm).round() * self.step_mm;
                Answer::Number(mm)
            }
            _ => Answer::DontKnow,
        }
    }

    fn tell(&mut self, _: &str) {}
}

struct Valve {
    bench: String,
    stroke_mm: f64,
}

/// Sizes of the trade, invented: 10 to 60 mm, friction up to 15 % of the spring's range, breaking away up to 1.5 times harder, air that makes a stroke
/// of about 1 to 60 s, a lag of the converter up to 0.2 s, a lever up to 5 % off its square, without play, which no sensor sees [TV-10].
fn generated(seed: u64) -> Valve {
    let d = &mut Dice::new(seed);
    let stroke_mm = d.between(10.0, 60.0).round();
    let flow = d.between(0.05f64.ln(), 0.8f64.ln()).exp();
    let bench = format!(
        "seed = {seed}\n[loop]\ncurrent_ma = 12\n[[device]]\ntag = \"FV-3104\"\n[device.positioner]\nmost_stroke_s = 600\nmost_time_s = 3600\n\
         [device.air]\nsupply_pressure_bar = {:.2}\n\
         [device.valve]\nstroke_mm = {stroke_mm}\nfriction_percent = {:.2}\nstatic_friction_ratio = {:.2}\n\
         [device.valve.stage]\nfill_dm3_per_s_bar = {flow:.3}\nexhaust_dm3_per_s_bar = {:.3}\nlag_ms = {:.0}\n\
         [device.valve.linkage]\nsquare_at_percent = {:.1}\n[[line]]\nat = \"pty:\"\n",
        d.between(1.4, 2.5),
        d.between(2.0, 15.0),
        d.between(1.0, 1.5),
        flow * d.between(0.7, 1.4),
        d.between(0.0, 200.0),
        d.between(45.0, 55.0),
    );
    Valve { bench, stroke_mm }
}

/// What a part of the trace says, from the asking on until it was watched no longer.
fn part(trace: &[(f64, f64)], from_s: f64, to_s: f64) -> Truth {
    let nth = |at_s: f64| trace.partition_point(|s| s.0 <= at_s);
    // The place before and the final one are averages over the time of rest [TV-13].
    let mean = |until_s: f64| {
        let part = &trace[nth(until_s - 2.0)..nth(until_s)];
        part.iter().map(|s| s.1).sum::<f64>() / part.len() as f64
    };
    let part = trace[nth(from_s).saturating_sub(1)..nth(to_s)].to_vec();
    Truth { trace: part, asked_s: from_s, from: mean(from_s), to: mean(to_s) }
}

fn one(seed: u64, tallies: &mut Tallies) -> bool {
    let valve = generated(seed);
    let description = read_description(Path::new("protocol-notes/positioner.toml")).expect("described");
    let described = Described::load(description, "positioner.toml");
    let mut catalogue = Catalogue::default();
    catalogue.add(described).expect("one description");
    let plan = bench::check(&valve.bench, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let trace = Trace::default();
    let line = Watched(bench::in_process(&plan), trace.clone());
    let mut host = Host::new(line, MasterConfig::default()).with_catalogue(catalogue);
    let (_, device) = host.poll(PollingAddress::default(), None).expect("a line");
    let device = device.expect("it answers");
    host.ask(&device, 131, &[("calibration".into(), "3".into())]).expect("asked");
    // A valve with little air takes its time; what is still running after so long never ends.
    let told = |host: &mut Host<Watched>, command: u8, name: &str| {
        let exchange = host.ask(&device, command, &[]).expect("asked");
        exchange.value(name).map(|f| f.cell()).unwrap_or_default()
    };
    for _ in 0..CALIBRATES_MIN {
        host.rest(Duration::from_secs(60)).expect("time passes");
        if told(&mut host, 132, "state") != "running" {
            break;
        }
    }
    let (state, fault) = (told(&mut host, 134, "state"), told(&mut host, 134, "fault"));
    if state != "done" {
        println!("plant {seed}: calibration {state}, {fault}");
    }

    let began_s = host.line_mut().now().as_secs_f64();
    trace.borrow_mut().clear();
    let readings = Readings::usual(&host, &device);
    let resolution = 0.01 / valve.stroke_mm * 100.0;
    let gauge = Gauge { name: "stem scale".into(), unit: "mm".into(), closed: 0.0, open: valve.stroke_mm };
    let (mut stimulus, mut person) = (
        ByHand(device, described),
        AtTheStem { trace: trace.clone(), stroke_mm: valve.stroke_mm, step_mm: 0.01, looked: Vec::new() },
    );
    let plan = Plan {
        creep_places_percent: vec![50.0],
        creep_increment_percent: 0.1,
        steps_percent: vec![(45.0, 55.0), (55.0, 45.0)],
        step_watch_s: 150.0,
        ..Plan::cycling(5, 1)
    };
    let mut record = Record::new(Test::Travel, plan.with_strokes(1));
    record.external = Some(Measure {
        resolution_percent: Some(resolution),
        limit_percent: Some(0.0),
        ..Measure::default()
    });
    // A float of 100 has steps of less than 0.00001.
    record.sensor.resolution_percent = Some(0.0);
    let setup = Setup {
        ask: &mut host,
        device,
        stimulus: &mut stimulus,
        person: &mut person,
        readings,
        gauge: Some(gauge),
        control_system: false,
        keep: &mut |_| {},
    };
    let record = run(setup, record);
    if record.ended != Ended::Whole {
        println!("plant {seed}: {:?}", record.ended);
        return false;
    }
    let trace: Vec<(f64, f64)> = trace.borrow().iter().map(|s| (s.0 - began_s, s.1)).collect();
    let all = figures(&record);
    let of = |definition: Definition, view: View, about: About| {
        let one = all.iter().find(|f| f.definition == definition && f.view == view && f.about == about);
        one.unwrap_or_else(|| panic!("plant {seed}: no {}", definition.id()))
    };
    let mut judge = |figure: &Figure, truth: f64, most: f64, worth: &dyn Fn(f64) -> f64| {
        // What nobody judges need not hold.
        if figure.value.is_some() && figure.doubt.is_empty() {
            tallies.judge(figure, truth, most, worth, seed);
        } else {
            tallies.not_judged(figure);
        }
    };
    // Where the stem was when somebody looked at it.
    let rests = &person.looked[..record.points.len()];
    let errors = || rests.iter().zip(&record.points).map(|(t, p)| t - p.wanted_percent);
    let none = |_: f64| f64::INFINITY;
    judge(
        of(Definition::AccuracyAbove, View::External, About::Whole),
        errors().fold(f64::MIN, f64::max),
        0.3,
        &none,
    );
    judge(
        of(Definition::AccuracyBelow, View::External, About::Whole),
        errors().fold(f64::MAX, f64::min),
        0.3,
        &none,
    );
    let mut widest = 0.0f64;
    for (a, p) in record.points.iter().enumerate() {
        for (b, q) in record.points.iter().enumerate() {
            if p.asked_percent == q.asked_percent
                && (p.direction, q.direction) == (Direction::Up, Direction::Down)
            {
                widest = widest.max((rests[a] - rests[b]).abs());
            }
        }
    }
    judge(of(Definition::Hysteresis, View::External, About::Whole), widest, 0.3, &none);
    for (list, is_stroke) in [(&record.steps, false), (&record.strokes, true)] {
        for step in list {
            let w = &step.watch;
            let last_s = w.samples.last().map_or(0.0, |s| s.at_s);
            let truth = part(&trace, w.asked_at_s, last_s);
            let after: Vec<f64> = w.samples.iter().map(|s| s.at_s).filter(|t| *t > w.asked_at_s).collect();
            let interval_s = (last_s - after[0]) / (after.len() - 1) as f64;
            let clocks_s = w.asked_uncertain_s + w.samples_uncertain_s;
            // While a command moves the set point the bus has no time for a reading.
            let first_s = (after[0] - w.asked_at_s).max(interval_s);
            let most = first_s + clocks_s;
            // Where the valve was asked for is known to the device alone: what the clock of the asking may be off is taken off.
            let less = |f: &Figure| Figure {
                uncertainty: f.uncertainty.map(|by| by - w.asked_uncertain_s),
                ..f.clone()
            };
            if is_stroke {
                let found = of(Definition::StrokeTime, View::Sensor, About::Stroke(step.direction()));
                let (begin, end) = (truth.reached(0.005), truth.reached(0.995));
                let most = ((first_s + interval_s) / 2.0 + 2.0 * w.samples_uncertain_s) / 0.99;
                let worth = |by: f64| truth.worth(end, (by - most / 2.0).max(0.0));
                judge(found, (end - begin) / 0.99, most, &worth);
                continue;
            }
            let about = About::Step(step.from_percent, step.to_percent);
            for (definition, at_s) in [
                (Definition::T63, truth.reached(0.632)),
                (Definition::T86, truth.reached(0.865)),
                (Definition::DeadTime, truth.reached(0.1 / truth.change())),
            ] {
                judge(&less(of(definition, View::Sensor, about)), at_s, most, &|by| truth.worth(at_s, by));
            }
            let settling = of(Definition::Settling, View::Sensor, about);
            let at_s = truth.settled(super::valves::band(&truth));
            judge(&less(settling), at_s, most, &|by| truth.worth(at_s, by));
        }
    }
    true
}

#[test]
fn what_is_stated_holds_the_true_travel() {
    let number = std::env::var("LOOPRIG_TRAVEL_PLANTS").ok().and_then(|n| n.parse().ok()).unwrap_or(2);
    let mut tallies = Tallies::default();
    let whole = (1..=number).filter(|seed| one(*seed, &mut tallies)).count();
    println!("{whole} of {number} were whole");
    assert!(10 * whole as u64 >= 9 * number, "{whole} of {number}");
    tallies.print();
    tallies.check();
}
