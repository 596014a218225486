//! Tests that do not come to their end: what there is is kept, and the set point is left where it belongs, once.

use super::fake::{ALL, Script, Shared, Valve, kept_of, tested, tested_from, world};
use super::sequence::plan;
use looprig::commission::travel::figures::figures;
use looprig::commission::travel::record::{CALIBRATION, Ended, Loss, Plan, Record, Test};
use looprig::commission::travel::{Definition, Limits, Verdict};
use looprig::host::stimulus::Why;

fn run(script: Script) -> (Record, Shared) {
    let world = world(Valve::new(), script);
    let record = tested(&world, ALL, Test::Travel, small());
    (record, world)
}

/// Every kind of part, but few of each.
fn small() -> Plan {
    let rest = looprig::commission::travel::record::Rest { for_s: 1.0, ..Default::default() };
    Plan { levels_percent: vec![0.0, 50.0], cycles: 1, steps_percent: vec![(50.0, 55.0)], rest, ..plan() }
}

/// What must hold of every record, however its test ended.
fn holds(record: &Record, world: &Shared, what: &str) {
    let w = world.borrow();
    let moved = usize::from(!w.sets.is_empty() || !w.acts.is_empty());
    assert_eq!(w.left, moved, "{what}: left once, if it was moved");
    assert_eq!(record.left.is_some(), moved == 1, "{what}");
    assert_eq!(w.valve.lost, None, "{what}: given back");
    assert!(record.fails.iter().all(|f| f.restored), "{what}");
    let json = record.to_json();
    assert_eq!(Record::from_json(&json).as_ref(), Ok(record), "{what}");
}

/// [TV-81]: what was read before a test, such as the device's calibration, is in its record wherever it breaks off.
#[test]
fn what_was_known_before_stays() {
    let more = vec![(CALIBRATION.to_owned(), "state done; lever angle closed -30 deg".to_owned())];
    for interrupted_at in [0, 5, 40] {
        let world = world(Valve::new(), Script { interrupted_at: Some(interrupted_at), ..Script::default() });
        let mut before = Record::new(Test::Travel, small());
        before.external = Some(Default::default());
        before.device.more.clone_from(&more);
        let record = tested_from(&world, ALL, before);
        assert!(matches!(record.ended, Ended::Interrupted { .. }), "{:?}", record.ended);
        assert_eq!(record.device.more, more, "call {interrupted_at}");
        if interrupted_at == 40 {
            assert!(!record.device.unique_address.is_empty(), "who it is was read besides");
        }
    }
}

#[test]
fn ctrl_c_in_every_phase() {
    let (whole, world) = run(Script::default());
    assert_eq!(whole.ended, Ended::Whole);
    let calls = world.borrow().calls;
    let mut phases = Vec::new();
    for n in 0..calls {
        let (record, world) = run(Script { interrupted_at: Some(n), ..Script::default() });
        holds(&record, &world, &format!("call {n}"));
        match &record.ended {
            Ended::Interrupted { during } => phases.push(during.clone()),
            other => panic!("call {n}: {other:?}"),
        }
        // It stops at once: nothing is moved any more after it.
        let w = world.borrow();
        assert!(w.calls <= n + 2, "call {n}: {} calls", w.calls);
        assert!(record.points.len() <= whole.points.len());
    }
    phases.dedup();
    for part in [
        "reading",
        "cycle 1, up",
        "cycle 1, down",
        "creeping",
        "step",
        "stroke",
        "loss of air",
        "giving back",
    ] {
        assert!(phases.iter().any(|p| p.contains(part)), "{part} is not in {phases:?}");
    }
}

#[test]
fn the_device_falls_silent_in_every_phase() {
    let (_, world) = run(Script::default());
    let requests = world.borrow().requests;
    let mut silent = 0;
    for n in (0..requests).step_by(7) {
        let (record, world) = run(Script { silent_from: Some(n), ..Script::default() });
        holds(&record, &world, &format!("request {n}"));
        if let Ended::Silent { last_heard_s, .. } = &record.ended {
            silent += 1;
            assert_eq!(last_heard_s.is_some(), n > 0, "request {n}");
        } else {
            panic!("request {n}: {:?}", record.ended);
        }
    }
    assert!(silent > 10);
}

/// Three answers that fail to come in a row are asked for again; four are silence.
#[test]
fn short_silence_is_waited_out() {
    let of = |n: usize| Script { silent_from: Some(20), silent_until: Some(20 + n), ..Script::default() };
    assert_eq!(run(of(3)).0.ended, Ended::Whole);
    assert!(matches!(run(of(4)).0.ended, Ended::Silent { .. }));
}

#[test]
fn the_person_stops_or_types_nonsense_at_every_question() {
    let (_, world) = run(Script::default());
    let questions = world.borrow().questions.len();
    assert!(questions > 12, "{questions}");
    for n in 0..questions {
        for (script, expected) in [
            (Script { stops_at: Some(n), ..Script::default() }, Why::Said),
            (Script { nonsense_at: Some(n), ..Script::default() }, Why::Nonsense),
        ] {
            let (record, world) = run(script);
            holds(&record, &world, &format!("question {n}"));
            assert!(
                matches!(&record.ended, Ended::Stopped { why, .. } if *why == expected),
                "{:?}",
                record.ended
            );
            assert_eq!(world.borrow().sets.is_empty(), n == 0, "the first question gives leave");
            // A point is kept even where the person stopped at its questions.
            assert_eq!(record.points.is_empty(), n == 0);
        }
    }
}

#[test]
fn a_stimulus_that_fails() {
    let (_, world) = run(Script::default());
    let sets = world.borrow().sets.len();
    for n in (0..sets).step_by(4) {
        let (record, world) = run(Script { fails_at: Some(n), ..Script::default() });
        holds(&record, &world, &format!("move {n}"));
        match &record.ended {
            Ended::Failed { what, .. } => {
                assert!(what.contains("broken") && what.contains("take another"), "{what}")
            }
            other => panic!("{other:?}"),
        }
    }
    let (record, world) = run(Script { leaving_fails: true, ..Script::default() });
    assert!(matches!(record.ended, Ended::Failed { .. }), "{:?}", record.ended);
    assert_eq!((world.borrow().left, record.left.expect("moved").percent), (1, None));
}

/// A valve that stands still at 40 %: the first point waits 30 s, the second one, 50 % further, again; then that is the end.
#[test]
fn a_valve_that_does_not_move() {
    let world = world(Valve { stuck: true, driven: 40.0, travel: 40.0, ..Valve::new() }, Script::default());
    let record = tested(&world, ALL, Test::Travel, Plan::cycling(11, 5));
    match &record.ended {
        Ended::NoMovement { during, stood } => {
            assert_eq!(during, "cycle 1, up, 10 %");
            let stood = stood.expect("where it stood");
            assert_eq!((stood.at_percent, stood.from_percent, stood.to_percent), (40.0, 0.0, 10.0));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(world.borrow().left, 1);
    // What shows it is kept.
    assert_eq!(record.points.len(), 2);
    let seconds = world.borrow().valve.now.as_secs_f64();
    assert!(seconds < 75.0, "told after {seconds} s, not after the whole plan");
    // 40 % at 0 % is no accuracy of a valve that did not move.
    let all = figures(&record);
    let accuracy = all.iter().find(|f| f.definition == Definition::AccuracyAbove).expect("the figure");
    assert_eq!(accuracy.doubt, "the valve did not move");
    assert!(matches!(Limits::own().judge(accuracy.clone()).verdict, Verdict::NotJudged(_)));
}

/// One that goes to 45 % and no further: 10 % more of input are no end yet (its travel may be limited there), 30 % more are: 45 % are reached at 50 %,
/// and 80 % is the first point that is 30 % beyond.
#[test]
fn a_valve_that_stops_on_the_way() {
    let world = world(Valve { most_percent: 45.0, ..Valve::new() }, Script::default());
    let record = tested(&world, ALL, Test::Travel, Plan::cycling(11, 5));
    match &record.ended {
        Ended::Stands { during, stood } => {
            assert_eq!(during, "cycle 1, up, 80 %");
            assert_eq!((stood.at_percent, stood.from_percent, stood.to_percent), (45.0, 50.0, 80.0));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!((record.points.len(), world.borrow().left), (9, 1));
    // It moved, and stood still where it was read: 45 % at 80 % is an error of 35 %, and is beyond its limit.
    let all = figures(&record);
    let of = |d| all.iter().find(|f| f.definition == d).expect("the figure").clone();
    let below = Limits::own().judge(of(Definition::AccuracyBelow));
    assert!(below.figure.value.is_some_and(|v| (v + 35.0).abs() < 0.01), "{below:?}");
    assert_eq!(below.verdict, Verdict::Beyond);
    // The highest point that was planned was not reached, so nothing is said of a deviation there [TV-89].
    assert_eq!(of(Definition::DeviationOpen).value, None);
    assert!(of(Definition::DeviationClosed).value.is_some());
}

#[test]
fn numbers_that_are_none() {
    let (record, world) = run(Script { numberless: true, ..Script::default() });
    holds(&record, &world, "no numbers");
    match &record.ended {
        Ended::Failed { what, .. } => {
            assert!(what.contains("2:percent_of_range") && what.contains("next:"), "{what}")
        }
        other => panic!("{other:?}"),
    }
    assert!(world.borrow().sets.is_empty());
}

/// Whoever moves the set point says so and does nothing: the valve stands where it is, because the device reads no other set point. That is no valve
/// that does not move: given up at the second place [TV-83].
#[test]
fn a_set_point_that_does_not_come() {
    let world = world(Valve::new(), Script { idle_sets: usize::MAX, ..Script::default() });
    let record = tested(&world, ALL, Test::Travel, Plan::cycling(5, 3));
    match &record.ended {
        Ended::NotDriven { during, what } => {
            assert_eq!(during, "cycle 1, up, 50 %");
            // 50 % are 12 mA; the current stays at 4.
            assert_eq!(what, "the device reads 4.00 mA where 12.00 mA were asked");
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(world.borrow().left, 1);
}

/// A lag of 40 s, which comes from 50 to 24 % in 30 s on its way to 0, and lies about there when 25 % are asked for: it has moved [TV-83].
#[test]
fn a_slow_valve_that_happens_to_be_there() {
    let valve = Valve {
        lag_s: 40.0,
        rate_percent_per_s: 1000.0,
        input: 50.0,
        arrived: 50.0,
        driven: 50.0,
        travel: 50.0,
        ..Valve::new()
    };
    let world = world(valve, Script::default());
    let record = tested(&world, ALL, Test::Travel, Plan::cycling(5, 1));
    assert_eq!(record.ended, Ended::Whole, "{:?}", record.ended);
    assert_eq!(record.points.len(), 9);
}

fn losses(step_watch_s: f64) -> Plan {
    Plan { losses: vec![Loss::Air, Loss::Trip], step_watch_s, ..Plan::default() }
}

/// A valve that is stuck is found before anything is taken away, wherever it stands: at 0 %, where 50 % are asked for first, and at 50 %, from where
/// it is told to go 15 % away [TV-84].
#[test]
fn a_stuck_valve_loses_nothing() {
    for at in [0.0, 50.0] {
        let valve = Valve { stuck: true, input: at, arrived: at, driven: at, travel: at, ..Valve::new() };
        let world = world(valve, Script::default());
        let record = tested(&world, ALL, Test::Travel, losses(30.0));
        assert!(matches!(record.ended, Ended::NoMovement { .. }), "{at}: {:?}", record.ended);
        assert_eq!((record.fails.len(), world.borrow().acts.len()), (0, 0), "{at}");
    }
}

/// A lag of 40 s: 30 s after the loss it is at 55 exp(-30/40) - 5 = 21 % and still closing, which is no fail position; the next loss waits until it
/// is back within 5 % of the middle (after 40 ln(29/5) = 70 s, longer than the 30 s of a wait). Watched for 400 s it has come to 0 % [TV-84].
#[test]
fn losses_of_a_slow_valve() {
    for (watch_s, comes_to_its_end) in [(30.0, false), (400.0, true)] {
        let valve = Valve { lag_s: 40.0, rate_percent_per_s: 1000.0, ..Valve::new() };
        let world = world(valve, Script::default());
        let record = tested(&world, ALL, Test::Travel, losses(watch_s));
        assert_eq!((&record.ended, record.fails.len()), (&Ended::Whole, 2));
        for fail in &record.fails {
            let w = &fail.watch;
            let before = w.samples.iter().filter(|s| s.at_s <= w.asked_at_s).filter_map(|s| s.percent);
            assert!(before.clone().count() > 3 && before.clone().all(|p| (p - 50.0).abs() <= 5.0));
        }
        let places: Vec<_> =
            figures(&record).into_iter().filter(|f| f.definition == Definition::FailPlace).collect();
        assert_eq!(places.len(), 2);
        for place in places {
            assert_eq!(place.doubt.contains("still moving in the end"), !comes_to_its_end, "{place:?}");
            assert_eq!(place.value.is_some_and(|v| v < 0.5), comes_to_its_end, "{place:?}");
        }
    }
}

/// [TV-95]: a test that is cut off has in its record what was told last, ahead of the move, and while something is away that it is.
#[test]
fn what_is_told_is_kept_ahead_of_it() {
    let world = world(Valve::new(), Script::default());
    let mut kept: Vec<(Record, usize, usize)> = Vec::new();
    let watched = world.clone();
    let record = kept_of(&world, small(), &mut |r| {
        let w = watched.borrow();
        kept.push((r.clone(), w.sets.len(), w.acts.len()));
    });
    assert_eq!(record.ended, Ended::Whole);
    let words = |r: &Record| r.left.as_ref().map_or(String::new(), |l| l.words.clone());
    let sets: Vec<f64> = world.borrow().sets.iter().map(|s| s.percent()).collect();
    for (n, percent) in sets.iter().enumerate() {
        let told = format!("Told last: {percent:.2} % ");
        let ahead = kept.iter().find(|(r, sets, _)| *sets == n && words(r).contains(&told));
        let (r, ..) = ahead.unwrap_or_else(|| panic!("set point {n}, {percent} %: not kept ahead"));
        assert!(r.ended == Ended::Running && words(r).contains("never given back"), "{}", words(r));
    }
    // Each thing that is taken away: what is kept before the taking says so, and what is kept after the giving back does not.
    for (what, first) in
        [("air supply was shut", 0), ("loop current was taken away", 2), ("valve was tripped", 4)]
    {
        let is = |acts: usize| kept.iter().filter(|k| k.2 == acts).map(|k| words(&k.0)).collect::<Vec<_>>();
        assert!(is(first).iter().any(|w| w.contains(what)), "{what}: {:?}", is(first));
        assert!(is(first + 2).first().is_some_and(|w| !w.contains(what)), "{what}: {:?}", is(first + 2));
    }
}
