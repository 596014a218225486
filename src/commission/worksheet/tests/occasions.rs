//! What was said and what was seen, before the work and after it [TV-151] [TV-152].

use super::*;
use crate::commission::travel::figures::View;
use crate::commission::travel::record::{Direction, Fail, Loss, Sample, Shown, Step, Watch};

/// Readings every 0.25 s for 15 s, from one place to another within a second, 3 s after the start.
fn watch(from: f64, to: f64) -> Watch {
    let travel = |t: f64| from + (to - from) * (t - 3.0).clamp(0.0, 1.0);
    Watch {
        asked_at_s: 3.0,
        asked_uncertain_s: 0.0,
        samples_uncertain_s: 0.0,
        view: View::Sensor,
        samples: (0..60).map(|n| 0.25 * f64::from(n)).map(|t| Sample::new(t, travel(t))).collect(),
        by_hand_s: None,
    }
}

fn lost(loss: Loss, to: f64, seen: Option<FailsTo>) -> Fail {
    Fail { loss, from_percent: 50.0, watch: watch(50.0, to), seen, restored: true, shown: None }
}

fn record(said: FailsTo, fails: Vec<Fail>) -> Record {
    let mut record = Record::new(Test::Travel, Plan::default());
    record.sensor.resolution_percent = Some(0.0);
    record.valve.fails_to = said;
    record.fails = fails;
    record
}

fn filled(records: &[(&Record, &str)]) -> Values {
    let mut values = Values::default();
    records.iter().for_each(|(record, from)| values.add_record(record, from, &good()));
    values
}

/// [TV-151]: a valve of which it is said that it opens, and that closed: both stand there, and every sheet warns.
#[test]
fn what_is_said_is_not_what_was_seen() {
    let values = filled(&[(
        &record(
            FailsTo::Open,
            vec![lost(Loss::Air, 0.0, Some(FailsTo::Closed)), lost(Loss::Current, 0.0, None)],
        ),
        "fo.json",
    )]);
    assert_eq!(values.get(Known::FailsTo), Some(("opens", "fo.json")));
    let air = values.get(Known::SeenWithoutAir).map(|v| v.0);
    let by_both = "closes by the eye of a person; closes, at 0.0 % in the end by the device's sensor";
    assert_eq!(air, Some(by_both));
    let current = values.get(Known::SeenWithoutCurrent).map(|v| v.0);
    assert_eq!(current, Some("closes, at 0.0 % in the end by the device's sensor"));
    let odd = values.odd();
    assert!(odd.len() == 2 && odd.iter().all(|o| o.contains("opens") && o.contains("it closes")), "{odd:?}");
    // What is said in one file and seen in another.
    let (said, seen) =
        (record(FailsTo::Closed, vec![]), record(FailsTo::Unsaid, vec![lost(Loss::Air, 100.0, None)]));
    let values = filled(&[(&said, "said.json"), (&seen, "seen.json")]);
    assert!(values.odd()[0].contains("(said.json)") && values.odd()[0].contains("(seen.json)"));
    let values = filled(&[(&record(FailsTo::Closed, vec![lost(Loss::Air, 0.0, None)]), "a.json")]);
    assert!(values.odd().is_empty(), "{:?}", values.odd());
    let values = filled(&[(&record(FailsTo::Unsaid, vec![lost(Loss::Trip, 64.0, None)]), "a.json")]);
    assert_eq!(values.get(Known::SeenAtTrip).map(|v| v.0), Some("goes to 64.0 % by the device's sensor"));
}

/// [TV-151]: a loss that never came says nothing, and what was only said fills no line of what was seen, nor the one for what is seen now.
#[test]
fn what_was_not_seen_fills_nothing() {
    let mut never = lost(Loss::Air, 0.0, Some(FailsTo::Closed));
    never.shown = Some(Shown::Pressure { before: 1.4, after: 1.4, unit: "bar".into() });
    for fails in [vec![], vec![never]] {
        let values = filled(&[(&record(FailsTo::Open, fails), "a.json")]);
        assert_eq!(values.get(Known::SeenWithoutAir), None);
        assert!(values.odd().is_empty());
    }
    let air = worksheet("air").expect("it is listed");
    let vented = air.parts.iter().flat_map(|p| p.steps).find(|s| s.words.starts_with("Vent the air"));
    assert!(vented.is_some_and(|s| s.entries[0].known.is_none()));
}

/// [TV-152]: as found and as left have their own strokes, and a record without an occasion fills neither.
#[test]
fn strokes_are_of_their_occasion() {
    let stroke = |from: f64, to: f64| Step { from_percent: from, to_percent: to, watch: watch(from, to) };
    let mut found = record(FailsTo::Unsaid, vec![]);
    found.strokes = vec![stroke(0.0, 100.0), stroke(100.0, 0.0)];
    found.points = vec![tests_point(0.0, 0.3), tests_point(50.0, 50.4), tests_point(100.0, 100.1)];
    assert_eq!(found.strokes[0].direction(), Direction::Up);
    let mut left = found.clone();
    found.occasion = Occasion::AsFound;
    (left.occasion, left.strokes) = (Occasion::AsLeft, vec![]);
    let values = filled(&[(&found, "found.json"), (&left, "left.json")]);
    assert!(values.get(Known::FoundStrokeOpening).is_some_and(|v| v.1 == "found.json"));
    assert_eq!(values.get(Known::LeftStrokeOpening), None, "nobody stroked it as left");
    assert!(values.get(Known::LeftAccuracyHigh).is_some_and(|v| v.1 == "left.json"));
    let calibration = worksheet("calibration").expect("it is listed");
    assert!(values.without_occasion(calibration).is_empty());
    found.occasion = Occasion::Unsaid;
    let values = filled(&[(&found, "some.json")]);
    for known in [
        Known::FoundAccuracyHigh,
        Known::LeftAccuracyHigh,
        Known::FoundStrokeOpening,
        Known::LeftStrokeOpening,
    ] {
        assert_eq!(values.get(known), None, "{known:?}");
    }
    assert_eq!(values.without_occasion(calibration), ["some.json"]);
    assert!(values.sources()[0].contains("not said whether as found or as left"), "{:?}", values.sources());
    assert!(values.without_occasion(worksheet("air").expect("it is listed")).is_empty());
}
