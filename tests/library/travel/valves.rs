//! Generated valves of which everything is known [TV-41]: what is stated of them has to hold the truth.
//!
//! `LOOPRIG_TRAVEL_VALVES` says how many; with `--nocapture` the table of the notes is printed.

use super::fake::{ALL, Script, Valve, tested_from, world};
use looprig::commission::travel::figures::{About, View, figures};
use looprig::commission::travel::record::{Ended, Measure, Plan, Record, Rest, Step, Test};
use looprig::commission::travel::{Definition, Figure};
use oorandom::Rand64;
use std::collections::BTreeMap;

/// A reading each 0.4 s, as the line of these tests has it.
const INTERVAL_S: f64 = 0.4;
/// What the watch itself says of its times: 15 ms of the line, 5 ms of whoever moves the set point.
const CLOCK_S: f64 = 0.02;
/// As narrow as what is stated of travel has to be, percent.
const TRAVEL_PERCENT: f64 = 0.3;

pub struct Dice(Rand64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(Rand64::new(u128::from(seed).wrapping_mul(0x9E37_79B9_7F4A_7C15) + 1))
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.rand_float()
    }
}

/// Sizes of the trade, invented: play of 0 to 1.2 % (what friction and its positioner leave), lever and clamp up to 1.5 %, 5 to 40 %/s, dead time
/// up to 0.5 s, a lag up to 0.6 s, of every fourth valve up to 10 s; every fourth sticks until it slips by 0.1 to 0.5 %; a sensor with steps of 0.01 to 0.05 % and noise up to
/// 0.02 %, a gauge with steps of 0.05 mm of 40 mm.
fn generated(seed: u64) -> Valve {
    let d = &mut Dice::new(seed);
    let valve = Valve {
        play_percent: d.between(0.0, 1.2),
        lever_percent: d.between(-1.5, 1.5),
        rate_percent_per_s: d.between(5.0, 40.0),
        dead_time_s: d.between(0.05, 0.5),
        lag_s: d.between(0.05, 0.6),
        noise_percent: d.between(0.0, 0.02),
        resolution_percent: d.between(0.01, 0.05),
        gauge_step_mm: 0.05,
        dice: Rand64::new(u128::from(seed)),
        trace: Some(Vec::new()),
        ..Valve::new()
    };
    match seed % 4 {
        1 => Valve { lag_s: d.between(0.6, 10.0), ..valve },
        2 => Valve { stick_percent: d.between(0.1, 0.5), ..valve },
        _ => valve,
    }
}

/// Where a valve with this play rests at the end of each move.
fn resting(play: f64, levels: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut at = 0.0f64;
    levels
        .map(|level| {
            at = at.clamp(level - play / 2.0, level + play / 2.0).clamp(0.0, 100.0);
            at
        })
        .collect()
}

/// What truly was, s and percent, and when it was asked.
pub struct Truth {
    pub trace: Vec<(f64, f64)>,
    pub asked_s: f64,
    /// Where it was before and came to, percent.
    pub from: f64,
    pub to: f64,
}

impl Truth {
    /// How far it went, percent.
    pub fn change(&self) -> f64 {
        (self.to - self.from).abs()
    }

    /// When it first is at a share of its way, s after the asking.
    pub fn reached(&self, share: f64) -> f64 {
        let there = |s: &&(f64, f64)| (s.1 - self.from).abs() >= share * self.change();
        self.trace.iter().find(there).expect("it comes there").0 - self.asked_s
    }

    /// From when on it stays within a band around its end, s after the asking.
    pub fn settled(&self, band: f64) -> f64 {
        let out = self.trace.iter().rposition(|s| (s.1 - self.to).abs() > band).expect("it was elsewhere");
        self.trace[out].0 - self.asked_s
    }

    /// How far it goes within a time before and behind a moment, percent.
    pub fn worth(&self, at_s: f64, by_s: f64) -> f64 {
        let at = |t: f64| {
            let n = self.trace.partition_point(|s| s.0 - self.asked_s < t);
            self.trace[n.min(self.trace.len() - 1)].1
        };
        (at(at_s + by_s) - at(at_s)).abs().max((at(at_s - by_s) - at(at_s)).abs())
    }
}

/// The band within which a step has settled, percent: 2 % of the true change, and no less than the 0.2 % that count as rest, by the definition
/// [TV-14], whatever looprig says of its own result.
pub fn band(truth: &Truth) -> f64 {
    (0.02 * truth.change()).max(0.2)
}

/// The trace of what was asked at this moment: true travel.
fn trace_of(traces: &[Vec<(f64, f64)>], asked_s: f64) -> &[(f64, f64)] {
    let of = traces.iter().find(|t| t.first().is_some_and(|s| (s.0 - asked_s).abs() < 0.006));
    of.expect("a trace of every move")
}

#[derive(Default)]
struct Tally {
    figures: usize,
    not_judged: usize,
    held: usize,
    narrow: usize,
    worth: usize,
    widest: f64,
    sum: f64,
}

/// What was found of many valves, by figure.
#[derive(Default)]
pub struct Tallies(BTreeMap<&'static str, Tally>);

impl Tallies {
    /// A figure against the truth. Narrow is no wider than `most`; or so that travel goes no further than 0.3 % meanwhile, as `worth` has it.
    pub fn judge(&mut self, figure: &Figure, truth: f64, most: f64, worth: &dyn Fn(f64) -> f64, seed: u64) {
        let (value, by) = figure.value.zip(figure.uncertainty).unwrap_or_else(|| {
            panic!("valve {seed}: {} has no value: {}", figure.definition.id(), figure.remark)
        });
        let tally = self.0.entry(figure.definition.id()).or_default();
        tally.figures += 1;
        let held = (value - truth).abs() <= by + 1e-9;
        tally.held += usize::from(held);
        let narrow = by <= most + 1e-9;
        tally.narrow += usize::from(narrow);
        let is_worth = narrow || worth(by) <= TRAVEL_PERCENT;
        tally.worth += usize::from(is_worth);
        if !held || !is_worth {
            println!("valve {seed}: {} {value:.4} +- {by:.4}, truth {truth:.4}", figure.definition.id());
        }
        tally.widest = tally.widest.max(by);
        tally.sum += by;
    }

    /// A figure that says itself that it is not judged.
    pub fn not_judged(&mut self, figure: &Figure) {
        self.0.entry(figure.definition.id()).or_default().not_judged += 1;
    }

    /// The table of the notes.
    pub fn print(&self) {
        println!(
            "| figure | of | not judged or stated | held | one interval | or 0.3 % | mean +- | widest +- |\n|---|---|---|---|---|---|---|---|"
        );
        for (id, t) in &self.0 {
            let share = |n: usize| 100.0 * n as f64 / t.figures.max(1) as f64;
            let (held, narrow, worth) = (share(t.held), share(t.narrow), share(t.worth));
            let mean = t.sum / t.figures.max(1) as f64;
            println!(
                "| `{id}` | {} | {} | {held:.1} % | {narrow:.1} % | {worth:.1} % | {mean:.3} | {:.3} |",
                t.figures, t.not_judged, t.widest
            );
        }
    }

    /// At least 95 % hold the truth, and 95 % are narrow; of a part of the 200 two standard deviations of such a share fewer may.
    pub fn check(&self) {
        for (id, t) in &self.0 {
            let of = t.figures as f64;
            let enough = |n: usize| n as f64 >= 0.95 * of - 2.0 * (of * 0.95 * 0.05).sqrt();
            assert!(enough(t.held), "{id}: {} of {} hold the truth", t.held, t.figures);
            assert!(enough(t.worth), "{id}: {} of {} are narrow", t.worth, t.figures);
        }
    }
}

fn one(seed: u64, tallies: &mut Tallies) {
    let valve = generated(seed);
    let (sticks, slow) = (valve.stick_percent > 0.0, valve.lag_s > 1.0);
    let (play, lever, resolution, noise) =
        (valve.play_percent, valve.lever_percent, valve.resolution_percent, valve.noise_percent);
    let seen = |t: f64| t + lever * (core::f64::consts::TAU * t / 100.0).sin();
    let world = world(valve, Script::default());
    // Who has a slow valve waits longer [TV-04].
    let rest = Rest { most_s: if slow { 120.0 } else { 30.0 }, ..Rest::default() };
    let plan = Plan {
        rest,
        creep_places_percent: vec![50.0],
        creep_increment_percent: 0.1,
        steps_percent: vec![(45.0, 55.0), (55.0, 45.0)],
        step_watch_s: 150.0,
        strokes: 1,
        ..Plan::cycling(5, 3)
    };
    let mut record = Record::new(Test::Travel, plan);
    record.sensor.resolution_percent = Some(resolution);
    record.external =
        Some(Measure { resolution_percent: Some(0.125), limit_percent: Some(0.0), ..Measure::default() });
    let record = tested_from(&world, ALL, record);
    assert_eq!(record.ended, Ended::Whole, "valve {seed}");
    let all = figures(&record);
    let of = |definition: Definition, view: View, about: Option<About>| {
        let one = all
            .iter()
            .find(|f| f.definition == definition && f.view == view && about.is_none_or(|a| a == f.about));
        one.unwrap_or_else(|| panic!("valve {seed}: no {}", definition.id()))
    };
    let traces = world.borrow().valve.trace.clone().expect("traced");
    let percent = |_: f64| f64::INFINITY;
    let mut judge = |figure: &Figure, truth: f64, most: f64, worth: &dyn Fn(f64) -> f64| {
        // What nobody judges or states need not hold, and counts as that.
        if figure.doubt.is_empty() && figure.value.is_some() {
            tallies.judge(figure, truth, most, worth, seed);
        } else {
            tallies.not_judged(figure);
        }
    };
    // Static terms, from the play alone, or from where the valve stuck.
    let rests = match sticks {
        false => resting(play, record.points.iter().map(|p| p.asked_percent)),
        true => {
            record.points.iter().map(|p| trace_of(&traces, p.asked_at_s).last().expect("a trace").1).collect()
        }
    };
    for (view, tell) in [(View::Sensor, &seen as &dyn Fn(f64) -> f64), (View::External, &|t| t)] {
        let errors = || rests.iter().zip(&record.points).map(|(t, p)| tell(*t) - p.wanted_percent);
        let mut judge = |figure, truth| judge(figure, truth, TRAVEL_PERCENT, &percent);
        judge(of(Definition::AccuracyAbove, view, None), errors().fold(f64::MIN, f64::max));
        judge(of(Definition::AccuracyBelow, view, None), errors().fold(f64::MAX, f64::min));
        let mut widest = 0.0f64;
        for a in 0..rests.len() {
            for b in 0..rests.len() {
                let (p, q) = (&record.points[a], &record.points[b]);
                let pair =
                    p.cycle == q.cycle && p.asked_percent == q.asked_percent && p.direction != q.direction;
                if pair {
                    widest = widest.max((tell(rests[a]) - tell(rests[b])).abs());
                }
            }
        }
        judge(of(Definition::Hysteresis, view, None), widest);
    }
    let errors = || rests.iter().map(|t| seen(*t) - t);
    let truth = errors().max_by(|a, b| a.abs().total_cmp(&b.abs())).expect("points");
    // Its sign is chance where two are nearly as large.
    let lever = of(Definition::LeverError, View::External, None);
    let same = Figure { value: lever.value.map(f64::abs), ..lever.clone() };
    judge(&same, truth.abs(), TRAVEL_PERCENT, &percent);
    if !sticks {
        // One that sticks has no dead band of its own: it depends on where it stuck.
        judge(of(Definition::DeadBand, View::Sensor, None), play, TRAVEL_PERCENT, &percent);
    }
    // Times, from what the sensor would have told every 5 ms.
    let told = |step: &Step| {
        let trace: Vec<(f64, f64)> =
            trace_of(&traces, step.watch.asked_at_s).iter().map(|s| (s.0, seen(s.1))).collect();
        let (from, to) = (trace[0].1, trace[trace.len() - 1].1);
        Truth { trace, asked_s: step.watch.asked_at_s, from, to }
    };
    for step in &record.steps {
        let truth = told(step);
        let about = Some(About::Step(step.from_percent, step.to_percent));
        let least = 0.1f64.max(resolution).max(5.0 * noise);
        for (definition, at_s) in [
            (Definition::T63, truth.reached(0.632)),
            (Definition::T86, truth.reached(0.865)),
            (Definition::Settling, truth.settled(band(&truth))),
            (Definition::DeadTime, truth.reached(least / truth.change())),
        ] {
            let figure = of(definition, View::Sensor, about);
            judge(figure, at_s, INTERVAL_S + CLOCK_S, &|by| truth.worth(at_s, by));
        }
    }
    for stroke in &record.strokes {
        let truth = told(stroke);
        let about = Some(About::Stroke(stroke.direction()));
        let (begin, end) = (truth.reached(0.005), truth.reached(0.995));
        // Two moments, and a hundredth more for the ends that do not count [TV-15].
        let most = (INTERVAL_S + 2.0 * CLOCK_S) / 0.99;
        // It leaves fast, so half an interval is there, and comes slowly.
        let worth = |by: f64| truth.worth(end, (by - most / 2.0).max(0.0));
        judge(of(Definition::StrokeTime, View::Sensor, about), (end - begin) / 0.99, most, &worth);
    }
}

#[test]
fn what_is_stated_holds_the_truth() {
    let number = std::env::var("LOOPRIG_TRAVEL_VALVES").ok().and_then(|n| n.parse().ok()).unwrap_or(40);
    let mut tallies = Tallies::default();
    (1..=number).for_each(|seed| one(seed, &mut tallies));
    tallies.print();
    tallies.check();
}
