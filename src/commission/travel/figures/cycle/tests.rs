use super::super::super::record::{External, Measure, Plan, Point, Sample, Tail, Test};
use super::*;
use proptest::prelude::*;

fn point(cycle: u32, direction: Direction, wanted: f64, travel: f64) -> Point {
    Point {
        cycle,
        direction,
        asked_percent: wanted,
        asked_ma: None,
        wanted_percent: wanted,
        asked_at_s: 0.0,
        dwell_s: 1.0,
        settled: true,
        readings: vec![Sample::new(1.0, travel)],
        read_ma: None,
        set_point_percent: None,
        angle_deg: None,
        external: None,
        control_system_percent: None,
    }
}

/// A cycle: wanted travel, readings up, readings down (each in the order of the wanted ones), all in percent.
fn cycle(number: u32, wanted: &[f64], up: &[f64], down: &[f64]) -> Vec<Point> {
    let ups = wanted.iter().zip(up).map(|(w, t)| point(number, Direction::Up, *w, *t));
    let downs = wanted.iter().zip(down).rev().map(|(w, t)| point(number, Direction::Down, *w, *t));
    ups.chain(downs).collect()
}

fn record(points: Vec<Point>) -> Record {
    Record { points, ..Record::new(Test::Travel, Plan::default()) }
}

fn found(record: &Record, view: View) -> Vec<Figure> {
    let mut out = Vec::new();
    add(record, view, &Quality::of(record, view), &mut out);
    out
}

fn of(list: &[Figure], definition: Definition) -> &Figure {
    list.iter().find(|f| f.definition == definition).expect("the figure")
}

/// Value and place, to the digits that are printed.
fn is(list: &[Figure], definition: Definition, expected: f64, at: Option<f64>, by: f64) {
    let f = of(list, definition);
    assert!(f.value.is_some_and(|v| (v - expected).abs() <= by), "{f:?} is not {expected}");
    assert!(at.is_none_or(|at| f.at_percent == Some(at)), "{f:?} is not at {at:?}");
}

fn lines(list: &[Figure], runs: Runs, expected: [f64; 3]) {
    for (line, expected) in [Line::Independent, Line::ZeroBased, Line::Terminal].into_iter().zip(expected) {
        is(list, Definition::NonLinearity(line, runs), expected, None, 5.1e-5);
    }
}

const TENS: [f64; 11] = [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0];

/// Set A [ALEX], a pressure gauge, 0 to 10 kPa; kPa x 10 are percent of span. Published: hysteresis 0.61 kPa. The rest from the numbers: the
/// largest errors +0.20 (10.20 at 10) and -1.12 kPa (at 0); lines by linear programming (another program, scipy).
#[test]
fn set_a() {
    let up = [-1.12, 0.21, 1.18, 2.09, 3.33, 4.50, 5.26, 6.59, 7.73, 8.68, 9.80].map(|x: f64| x * 10.0);
    let down = [-0.69, 0.42, 1.65, 2.48, 3.62, 4.71, 5.87, 6.89, 7.92, 9.10, 10.20].map(|x: f64| x * 10.0);
    let list = found(&record(cycle(1, &TENS, &up, &down)), View::Sensor);
    is(&list, Definition::Hysteresis, 6.10, Some(60.0), 1e-9);
    is(&list, Definition::AccuracyAbove, 2.0, Some(100.0), 1e-9);
    is(&list, Definition::AccuracyBelow, -11.2, Some(0.0), 1e-9);
    lines(&list, Runs::Average, [1.0156, 1.225, 1.390]);
    assert!(of(&list, Definition::Hysteresis).remark.contains("Of 1 of the three pairs"));
    assert!(of(&list, Definition::Repeatability).value.is_none());
}

/// Set C, our own, exact arithmetic [TV-08, TV-11].
#[test]
fn set_c() {
    let up = [0.1, 9.8, 19.7, 29.65, 39.6, 49.55, 59.6, 69.65, 79.7, 89.8, 100.0];
    let down = [0.3, 10.4, 20.45, 30.45, 40.4, 50.35, 60.35, 70.3, 80.3, 90.2, 100.0];
    let list = found(&record(cycle(1, &TENS, &up, &down)), View::Sensor);
    is(&list, Definition::AccuracyAbove, 0.45, None, 1e-9);
    is(&list, Definition::AccuracyBelow, -0.45, Some(50.0), 1e-9);
    is(&list, Definition::Hysteresis, 0.80, Some(50.0), 1e-9);
    is(&list, Definition::DeviationClosed, 0.3, Some(0.0), 1e-9);
    is(&list, Definition::DeviationOpen, 0.0, Some(100.0), 1e-9);
    lines(&list, Runs::Average, [0.0750, 0.100, 0.150]);
    lines(&list, Runs::Up, [0.250, 0.3333, 0.500]);
    lines(&list, Runs::Down, [0.120, 0.1846, 0.240]);
    // The line itself: 0.998 x + 0.125.
    let means: Vec<_> = (0..11).map(|n| (TENS[n], (up[n] + down[n]) / 2.0)).collect();
    let line = straight(&means, Line::Independent).unwrap();
    assert!((line.slope - 0.998).abs() < 1e-9 && (line.at_zero - 0.125).abs() < 1e-9, "{line:?}");
}

/// Five points of a transmitter, mA as percent of 4 to 20 [CODING]: published +.13 +.06 0 -.19 -.31 %, exact .125 and -.3125.
#[test]
fn five_points() {
    let wanted = [0.0, 25.0, 50.0, 75.0, 100.0];
    let read = [4.02, 8.01, 12.00, 15.97, 19.95].map(|ma| (ma - 4.0) / 16.0 * 100.0);
    let list = found(&record(cycle(1, &wanted, &read, &[])), View::Sensor);
    is(&list, Definition::AccuracyAbove, 0.125, Some(0.0), 1e-9);
    is(&list, Definition::AccuracyBelow, -0.3125, Some(100.0), 1e-9);
    assert!(of(&list, Definition::Hysteresis).value.is_none());
}

/// Set B [WHEELER], as far as our facts have it: weights in lb, and what a scale showed in six cycles (rows from 0.5 up to 5 and down to 0).
const WEIGHTS: [f64; 20] =
    [0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 4.5, 4.0, 3.5, 3.0, 2.5, 2.0, 1.5, 1.0, 0.5, 0.0];
const N: f64 = f64::NAN;
const SHOWN: [[f64; 6]; 20] = [
    [N, 0.2, 0.08, 0.17, 0.19, 0.11],
    [N, 0.7, 0.78, 0.64, 0.61, 0.7],
    [N, 1.18, 1.26, 1.25, 1.24, 1.23],
    [N, 1.81, 1.93, 1.81, 1.93, 1.88],
    [2.62, 2.49, 2.46, 2.46, 2.58, 2.53],
    [3.15, 3.18, 3.24, 3.28, 3.13, N],
    [3.9, 3.84, 3.86, 3.97, 3.96, N],
    [4.59, 4.71, 4.61, 4.6, 4.6, N],
    [5.41, 5.35, 5.49, 5.46, 5.39, N],
    [6.24, 6.27, 6.1, 6.24, 6.16, N],
    [5.71, 5.74, 5.78, 5.87, 5.82, N],
    [4.96, 5.11, 5.08, 5.03, 5.03, N],
    [4.22, 4.34, 4.21, 4.22, 4.24, N],
    [3.57, 3.64, 3.66, 3.55, 3.67, N],
    [2.98, 2.86, 2.98, 2.98, 2.94, N],
    [2.22, 2.23, 2.26, 2.29, 2.26, N],
    [1.57, 1.7, 1.69, 1.63, 1.57, N],
    [1.07, 1.07, 1.11, 1.16, 1.11, N],
    [0.52, 0.61, 0.61, 0.61, 0.45, N],
    [0.02, 0.08, 0.08, -0.03, 0.06, N],
];

/// Published: deviations from the line 1.290 W - 0.374 of +0.45 and -0.40 lb, repeatability 0.17 lb; hysteresis 0.52 lb at
/// 2.5 lb, where what begins a cycle is left out: so that row alone is looked at for it. Span 6.45 lb.
#[test]
fn set_b() {
    let percent = |lb: f64| lb / 6.45 * 100.0;
    let mut points = Vec::new();
    for (row, (weight, shown)) in WEIGHTS.into_iter().zip(SHOWN).enumerate() {
        let direction = if row < 10 { Direction::Up } else { Direction::Down };
        for (n, lb) in shown.into_iter().enumerate().filter(|(_, lb)| !lb.is_nan()) {
            points.push(point(n as u32 + 1, direction, percent(1.290 * weight - 0.374), percent(lb)));
        }
    }
    let list = found(&record(points.clone()), View::Sensor);
    is(&list, Definition::AccuracyAbove, percent(0.45), None, percent(0.005));
    is(&list, Definition::AccuracyBelow, percent(-0.40), None, percent(0.005));
    is(&list, Definition::Repeatability, percent(0.17), None, 1e-9);
    assert_eq!(of(&list, Definition::Hysteresis).remark, Quality::default().unknown());
    points.retain(|p| (p.wanted_percent - percent(1.290 * 2.5 - 0.374)).abs() < 1e-9);
    is(&found(&record(points), View::Sensor), Definition::Hysteresis, percent(0.52), None, 1e-9);
}

/// Two runs are too few; runs the other way are another matter.
#[test]
fn repeatability_wants_three_cycles() {
    let ups = [39.0, 40.0, 41.5].into_iter().zip(1..).map(|(t, n)| point(n, Direction::Up, 40.0, t));
    let mut points: Vec<Point> = ups.collect();
    points.extend((1..4).map(|n| point(n, Direction::Down, 40.0, 45.0)));
    is(&found(&record(points.clone()), View::Sensor), Definition::Repeatability, 2.5, Some(40.0), 1e-9);
    points.retain(|p| p.cycle < 3);
    assert!(
        of(&found(&record(points), View::Sensor), Definition::Repeatability).remark.contains("three cycles")
    );
}

/// Uncertainty by hand: resolution 0.1, readings 49.9 and 50.1 everywhere, so s = sqrt(0.02) = 0.141421, n = 2: a point 0.05 + 0.3 = 0.35, a difference
/// 0.1 + 0.424264. The gauge: resolution 0.2, limit 0.3: 0.1 + 0.3, a difference 0.2, sensor against gauge 0.35 + 0.1 + 0.3.
#[test]
fn uncertainty_by_hand() {
    let mut points = cycle(1, &[0.0, 50.0, 100.0], &[0.0, 50.0, 100.0], &[0.0, 50.0, 100.0]);
    for p in &mut points {
        p.readings = vec![Sample::new(1.0, p.wanted_percent - 0.1), Sample::new(1.2, p.wanted_percent + 0.1)];
        let percent = p.wanted_percent * 0.97;
        p.external = Some(External { value: percent * 0.4, unit: "mm".into(), percent });
    }
    let mut record = record(points);
    record.sensor.resolution_percent = Some(0.1);
    let gauge = Measure { name: "dial gauge".into(), resolution_percent: Some(0.2), ..Measure::default() };
    record.external = Some(Measure { limit_percent: Some(0.3), ..gauge });
    let (sensor, external) = (found(&record, View::Sensor), found(&record, View::External));
    let by = |list: &[Figure], d, expected: f64| {
        let f = of(list, d);
        assert!(f.uncertainty.is_some_and(|by| (by - expected).abs() < 1e-6), "{f:?} is not {expected}");
    };
    by(&sensor, Definition::AccuracyAbove, 0.35);
    by(&sensor, Definition::Hysteresis, 0.524_264);
    by(&external, Definition::AccuracyBelow, 0.4);
    by(&external, Definition::Hysteresis, 0.2);
    by(&external, Definition::LeverError, 0.75);
    by(&external, Definition::NonLinearity(Line::Terminal, Runs::Up), 0.8);
    // 100 % by the sensor are 97 by the gauge: the lever.
    is(&external, Definition::LeverError, 3.0, Some(100.0), 1e-9);
    assert!(sensor.iter().all(|f| f.definition != Definition::LeverError));
}

#[test]
fn a_point_that_does_not_rest_is_less_certain() {
    let mut points = cycle(1, &[0.0, 50.0, 100.0], &[0.0, 50.0, 100.0], &[0.0, 50.0, 100.0]);
    points[1].settled = false;
    points[1].readings = vec![Sample::new(1.0, 49.0), Sample::new(2.0, 51.5), Sample::new(3.0, 52.0)];
    let list = found(&record(points), View::Sensor);
    let f = of(&list, Definition::AccuracyAbove);
    // The average is 50.8333, half of what it spans 1.5.
    assert!((f.value.unwrap() - 0.833_333).abs() < 1e-5 && f.uncertainty == Some(1.5), "{f:?}");
    assert!(f.remark.contains("1 point has not come to rest."), "{}", f.remark);
}

proptest! {
    /// Whatever was read: finite numbers or a reason, and hysteresis no more than both accuracies allow.
    #[test]
    fn anything_read(read in prop::collection::vec((1u32..4, any::<bool>(), 0usize..4, prop::option::of(-200.0f64..200.0)), 0..40)) {
        let points = read.iter().map(|(c, up, level, travel)| {
            let direction = if *up { Direction::Up } else { Direction::Down };
            let mut p = point(*c, direction, *level as f64 * 33.3, 0.0);
            p.readings = vec![Sample { at_s: 1.0, percent: *travel }];
            p
        });
        let list = found(&record(points.collect()), View::Sensor);
        for f in &list {
            prop_assert!(f.value.is_some_and(f64::is_finite) || !f.remark.is_empty(), "{:?}", f);
        }
        if let Some(f) = list.iter().find(|f| f.definition == Definition::Hysteresis)
            && let Some(h) = f.value
        {
            let (above, below) = (of(&list, Definition::AccuracyAbove), of(&list, Definition::AccuracyBelow));
            prop_assert!(h <= above.value.unwrap() - below.value.unwrap() + 1e-9);
        }
    }
}

/// Three cycles of 0, 50 and 100 %, in which 50 % on the way up of the second was not at rest: it enters some figures and not the others. A set
/// point that was elsewhere takes those that hold travel against it, and leaves sensor against measurement [TV-66].
#[test]
fn a_bad_point_takes_what_it_enters() {
    let all =
        || (1..=3).flat_map(|n| cycle(n, &[0.0, 50.0, 100.0], &[0.0, 50.0, 100.0], &[0.2, 50.2, 100.2]));
    let mut bad = record(all().collect());
    let external =
        |p: &Point| Some(External { value: p.wanted_percent, unit: "%".into(), percent: p.wanted_percent });
    bad.points.iter_mut().for_each(|p| p.external = external(p));
    bad.points[7].settled = false;
    assert_eq!((bad.points[7].cycle, bad.points[7].wanted_percent), (2, 50.0));
    let doubted = |record: &Record, view| {
        let list = found(record, view);
        let doubted = list.iter().filter(|f| !f.doubt.is_empty());
        doubted.map(|f| (f.definition.id(), f.doubt.clone())).collect::<Vec<_>>()
    };
    let names = |list: &[(&'static str, String)]| list.iter().map(|d| d.0).collect::<Vec<_>>();
    let of_sensor = doubted(&bad, View::Sensor);
    assert_eq!(
        names(&of_sensor),
        [
            "accuracy_above_percent",
            "accuracy_below_percent",
            "hysteresis_percent",
            "repeatability_percent",
            "non_linearity_independent_average_percent",
            "non_linearity_independent_up_percent",
            "non_linearity_zero_based_average_percent",
            "non_linearity_zero_based_up_percent",
            "non_linearity_terminal_average_percent",
            "non_linearity_terminal_up_percent",
        ]
    );
    assert!(of_sensor.iter().all(|d| d.1 == "50 % up, cycle 2: it was not at rest"), "{of_sensor:?}");
    assert!(names(&doubted(&bad, View::External)).contains(&"lever_error_percent"));
    // Elsewhere: 0 % up of the first cycle was driven by 5 mA.
    let mut elsewhere = record(all().collect());
    elsewhere.points.iter_mut().for_each(|p| p.external = external(p));
    (elsewhere.points[0].asked_ma, elsewhere.points[0].read_ma) = (Some(4.0), Some(5.0));
    let of_sensor = doubted(&elsewhere, View::Sensor);
    assert!(
        names(&of_sensor).contains(&"deviation_closed_percent")
            && !names(&of_sensor).contains(&"deviation_open_percent")
    );
    assert_eq!(of_sensor[0].1, "0 % up, cycle 1: the device reads 5.00 mA where 4.00 mA were asked");
    assert!(!names(&doubted(&elsewhere, View::External)).contains(&"lever_error_percent"));
    // Two of them are counted.
    elsewhere.points[7].settled = false;
    assert!(doubted(&elsewhere, View::Sensor)[0].1.ends_with("were asked, and 1 point more"));
}

/// What creeping may have left is in what a point is uncertain by: 25 % with a lag of 5 s after 30 s, 0.062 % at the end and
/// 0.076 % 1 s before it, the middle of its readings [TV-64].
#[test]
fn what_creeping_left() {
    let readings: Vec<Sample> = (1..=75)
        .map(|n| 0.4 * f64::from(n))
        .map(|t| Sample::new(t, 25.0 - 25.0 * (-t / 5.0).exp()))
        .collect();
    let mut one =
        record(vec![Point { readings: readings[70..].to_vec(), ..point(1, Direction::Up, 25.0, 0.0) }]);
    let by = |record: &Record| {
        of(&found(record, View::Sensor), Definition::AccuracyAbove).uncertainty.expect("known")
    };
    let without = by(&one);
    one.tails = vec![Tail::of(&readings, 0.0, Some(0.0), &one.plan.rest)];
    let left = by(&one) - without;
    assert!((0.06..0.2).contains(&left), "{left}");
}

/// Whole mm of a scale of 20 mm typed by eye: the last digit is 1 mm, 5 % of travel, so a reading is known within 2.5 % and a difference within 5 %,
/// never within 0. A tenth among them: 0.1 mm, 0.5 %. What was said goes before it. Where all that was typed is one number, nothing is judged [TV-88].
#[test]
fn numbers_typed_by_eye() {
    let levels = [0.0, 25.0, 50.0, 75.0, 100.0];
    let mut r = record(cycle(1, &levels, &levels, &levels));
    r.external = Some(Measure::default());
    let type_in = |r: &mut Record, shift: f64| {
        for p in &mut r.points {
            let value = p.wanted_percent / 5.0 + if p.wanted_percent == 50.0 { shift } else { 0.0 };
            p.external = Some(External { value, unit: "mm".into(), percent: value * 5.0 });
        }
    };
    for (shift, told, half) in [(0.0, None, 2.5), (0.1, None, 0.25), (0.0, Some(0.1), 0.05)] {
        type_in(&mut r, shift);
        r.external = Some(Measure { resolution_percent: told, ..Measure::default() });
        let found = found(&r, View::External);
        let by = |d| of(&found, d).uncertainty.expect("uncertain");
        assert!((by(Definition::AccuracyAbove) - half).abs() < 1e-9, "{}", by(Definition::AccuracyAbove));
        assert!((by(Definition::Hysteresis) - 2.0 * half).abs() < 1e-9, "{}", by(Definition::Hysteresis));
        let says = of(&found, Definition::AccuracyAbove).remark.contains("the last digit that was typed");
        assert_eq!(says, told.is_none());
    }
    r.external = Some(Measure::default());
    for p in &mut r.points {
        p.external = Some(External { value: 10.0, unit: "mm".into(), percent: 50.0 });
    }
    let found = found(&r, View::External);
    for f in found.iter().filter(|f| f.value.is_some()) {
        assert_eq!((f.uncertainty, f.cause), (None, Some(super::super::Cause::NoResolution)), "{f:?}");
    }
}
