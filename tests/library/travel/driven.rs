//! Set points that are elsewhere than asked, and valves that creep: neither is charged to the valve as its figures [TV-22] [TV-04].

use super::fake::{ALL, Script, Valve, tested, world};
use looprig::commission::travel::figures::figures;
use looprig::commission::travel::record::{Ended, Plan, Record, Rest, Test};
use looprig::commission::travel::{Definition, Figure, Limits, Verdict};
use looprig::host::stimulus::Capabilities;

const PERSON: Capabilities = Capabilities { is_person: true, ..ALL };

fn static_figures(record: &Record) -> Vec<Figure> {
    let wanted = [Definition::AccuracyAbove, Definition::AccuracyBelow, Definition::Hysteresis];
    figures(record).into_iter().filter(|f| wanted.contains(&f.definition)).collect()
}

/// The valve rests at 12 mA, 50 %. A person who says twice that 4 mA are set, and sets them the third time, is told twice what is read.
#[test]
fn a_person_is_told_what_the_device_reads() {
    let valve = || Valve { input: 50.0, arrived: 50.0, driven: 50.0, travel: 50.0, ..Valve::new() };
    let here = world(valve(), Script { idle_sets: 2, ..Script::default() });
    let record = tested(&here, PERSON, Test::LoopCheck, Plan::loop_check());
    assert_eq!(record.ended, Ended::Whole, "{:?}", record.ended);
    let told = "The device reads 12.00 mA where 4.00 mA were asked: set 4.00 mA again.";
    assert_eq!(here.borrow().told.iter().filter(|t| *t == told).count(), 2);
    assert!(static_figures(&record).iter().all(|f| f.doubt.is_empty()));
    // Who never sets it is asked three times for the first point, and its figures are not the valve's.
    let here = world(valve(), Script { idle_sets: 3, ..Script::default() });
    let record = tested(&here, PERSON, Test::LoopCheck, Plan::loop_check());
    assert_eq!(record.ended, Ended::Whole, "{:?}", record.ended);
    assert_eq!(here.borrow().sets.len(), 3 + 8);
    assert_eq!(record.points.iter().filter(|p| p.drive().wrong().is_some()).count(), 1);
    for figure in static_figures(&record) {
        assert_eq!(figure.doubt, "the device reads 12.00 mA where 4.00 mA were asked");
        assert!(matches!(Limits::own().judge(figure).verdict, Verdict::NotJudged(_)));
    }
}

/// A bench is not asked again. The step from 45 to 55 %, and it alone, is driven by a current that is 0.32 mA (2 %) elsewhere.
#[test]
fn a_step_that_is_not_driven() {
    let plan = Plan { steps_percent: vec![(45.0, 55.0)], step_watch_s: 20.0, ..Plan::default() };
    let here = world(Valve { current_error_ma: 0.32, ..Valve::new() }, Script::default());
    let record = tested(&here, ALL, Test::Travel, plan);
    assert_eq!((record.steps.len(), record.elsewhere.len()), (1, 1));
    assert!(here.borrow().told.iter().all(|t| !t.contains("again")));
    // 55 % are 12.8 mA.
    let t63 = figures(&record).into_iter().find(|f| f.definition == Definition::T63).expect("the figure");
    assert_eq!(t63.doubt, "the device reads 13.12 mA where 12.80 mA were asked");
    assert_eq!(Record::from_json(&record.to_json()).as_ref(), Ok(&record));
}

/// Without play, error and hysteresis are 0: what is stated and the little that the wait leaves ([TV-04]) hold that, or it is not judged. What creeps with a lag of 5 s over 25 % needs 41 s
/// (8.3 lags, [TV-04]), so 30 s are too short for 5 s and more, and 60 s are enough.
#[test]
fn slow_valves_are_not_charged() {
    for (lag_s, most_s, judged) in
        [(2.0, 30.0, true), (5.0, 30.0, false), (5.0, 60.0, true), (10.0, 30.0, false), (40.0, 30.0, false)]
    {
        let valve = Valve {
            lag_s,
            rate_percent_per_s: 1000.0,
            resolution_percent: 0.02,
            noise_percent: 0.01,
            ..Valve::new()
        };
        let here = world(valve, Script::default());
        let rest = Rest { most_s, ..Rest::default() };
        let plan = Plan { rest, ..Plan::cycling(5, 1) };
        let mut known = Record::new(Test::Travel, plan);
        known.external = Some(Default::default());
        known.sensor.resolution_percent = Some(0.02);
        let record = super::fake::tested_from(&here, ALL, known);
        assert_eq!(record.ended, Ended::Whole, "{:?}", record.ended);
        for figure in
            static_figures(&record).iter().filter(|f| f.view == looprig::commission::travel::View::Sensor)
        {
            assert_eq!(figure.doubt.is_empty(), judged, "lag {lag_s} s: {figure:?}");
            let (value, by) = figure.value.zip(figure.uncertainty).expect("a figure");
            // What the wait leaves, 0.1 sqrt(0.1/25) %, and the 2 s before it, is not in what is stated [TV-04]; a difference has it twice.
            let before = lag_s / 2.0 * ((2.0 / lag_s).exp() - 1.0);
            let left = 2.0 * 0.1 * (0.1f64 / 25.0).sqrt() * before;
            assert!(!judged || value.abs() <= by + left, "lag {lag_s} s: {value} +- {by}");
        }
    }
}
