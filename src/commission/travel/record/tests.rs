use super::*;
use crate::commission::travel::figures::figures;
use crate::host::stimulus::Why;
use proptest::prelude::*;

/// A record with something in every part; invented, Brackenmoor water works.
fn whole() -> Record {
    let plan = Plan {
        levels_percent: vec![0.0, 50.0, 100.0],
        cycles: 1,
        creep_places_percent: vec![50.0],
        creep_increment_percent: 0.1,
        steps_percent: vec![(50.0, 55.0)],
        step_watch_s: 10.0,
        strokes: 1,
        losses: vec![Loss::Current],
        ..Plan::default()
    };
    let watch = Watch {
        asked_at_s: 30.1,
        asked_uncertain_s: 0.0,
        samples_uncertain_s: 0.02,
        view: View::Sensor,
        samples: vec![Sample::new(29.5, 50.0), Sample { at_s: 30.5, percent: None }, Sample::new(31.0, 54.9)],
        by_hand_s: Some(3.0),
    };
    let external = Some(External { value: 20.1, unit: "mm".into(), percent: 50.25 });
    let step = Step { from_percent: 50.0, to_percent: 55.0, watch: watch.clone() };
    let mut record = Record::new(Test::Travel, plan);
    record.occasion = Occasion::AsFound;
    record.started = "2026-11-30 08:15:00 UTC".into();
    record.valve = Valve {
        tag: "FV-3104".into(),
        motion: Some(Movement::Linear),
        rated_travel: Some(40.0),
        fails_to: FailsTo::Closed,
        words: "DN 80".into(),
    };
    record.device.more = vec![("final assembly".into(), "31".into())];
    record.sensor.resolution_percent = Some(0.05);
    record.external = Some(Measure { name: "dial gauge".into(), instrument: Some(0), ..Measure::default() });
    record.instruments = vec![Instrument { name: "dial gauge".into(), ..Instrument::default() }];
    record.supply_kpa = Some(140.0);
    record.points = vec![Point {
        cycle: 1,
        direction: Direction::Up,
        asked_percent: 50.0,
        asked_ma: Some(12.0),
        wanted_percent: 50.0,
        asked_at_s: 3.0,
        dwell_s: 4.0,
        settled: true,
        readings: vec![Sample::new(6.0, 50.1), Sample::new(6.5, 50.15)],
        read_ma: Some(12.003),
        set_point_percent: Some(50.02),
        angle_deg: Some(-0.5),
        external: external.clone(),
        control_system_percent: Some(50.0),
    }];
    let moved = |n: f64| Move {
        input_percent: 50.0 + n / 10.0,
        asked_at_s: 20.0 + n,
        readings: vec![Sample::new(20.5 + n, 50.0)],
        external: external.clone(),
    };
    record.creeps = vec![Creep { place_percent: 50.0, moves: vec![moved(0.0), moved(1.0)] }];
    let parts = [8.0, 9.0, 10.0].map(|at_s| Sample::new(at_s, 50.0)).to_vec();
    record.tails = vec![Tail {
        asked_at_s: 4.0,
        from_percent: Some(25.0),
        parts,
        each: 2,
        within_since_s: 6.5,
        within_percent: 0.2,
    }];
    record.steps = vec![step.clone()];
    record.strokes = vec![step];
    let seen = Some(FailsTo::Closed);
    record.fails = vec![Fail {
        loss: Loss::Current,
        from_percent: 50.0,
        watch,
        seen,
        restored: true,
        shown: Some(Shown::CurrentMa(0.0)),
    }];
    record.ends = vec![End { open: false, readings: Vec::new(), angle_deg: Some(-31.0), external }];
    record.log = Some(Log { name: "travel.log".into(), hash: "crc32:00000000".into() });
    record.ended = Ended::Silent { during: "step 50 to 55 %".into(), last_heard_s: Some(31.0) };
    record.left = Some(Left { percent: Some(50.0), words: "The set point is left at 50 %.".into() });
    record.remarks = vec!["The packing was tightened before.".into()];
    record
}

#[test]
fn written_and_read_again() {
    for record in [whole(), Record::new(Test::LoopCheck, Plan::default())] {
        let text = record.to_json();
        assert_eq!(Record::from_json(&text), Ok(record), "{text}");
    }
    // Every way to end.
    let during = String::from("cycle 1");
    for ended in [
        Ended::Whole,
        Ended::Stopped { why: Why::Nonsense, during: during.clone() },
        Ended::Interrupted { during: during.clone() },
        Ended::NoMovement { during: during.clone(), stood: None },
        Ended::Stands {
            during: during.clone(),
            stood: Stood { at_percent: 45.0, from_percent: 50.0, to_percent: 80.0 },
        },
        Ended::NotDriven { during: during.clone(), what: "the device reads 0 mA".into() },
        Ended::Failed { during, what: "the bench is gone".into() },
        Ended::Running,
    ] {
        let record = Record { ended, ..whole() };
        assert_eq!(Record::from_json(&record.to_json()), Ok(record));
    }
}

#[test]
fn not_a_number_is_written_as_nothing() {
    assert_eq!(Sample::new(1.0, f64::NAN).percent, None);
    let mut record = whole();
    record.points[0].readings = vec![Sample::new(1.0, f64::INFINITY)];
    assert_eq!(Record::from_json(&record.to_json()), Ok(record));
}

#[test]
fn what_is_no_record_is_told() {
    let text = whole().to_json();
    let bad = |from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        text.replacen(from, to, 1)
    };
    for (text, wrong) in [
        (String::new(), "this is no JSON"),
        ("[1]".into(), "looprig_travel is missing"),
        ("{}".into(), "looprig_travel is missing"),
        ("{\"looprig_travel\": 2, \"more\": [1]}".into(), "format 2, and this looprig reads formats up to 1"),
        ("{\"looprig_travel\": \"1\"}".into(), "is \"1\", which is no format"),
        (bad("\"line\": \"\"", "\"lime\": \"\""), "unknown field `lime`"),
        (bad("\"site\": \"\",", ""), "missing field `site`"),
        (bad("\"direction\": \"up\"", "\"direction\": \"across\""), "unknown variant `across`"),
        (bad("31.0,\n", "30.0,\n"), "is at 30 s, before the one in front of it"),
        (bad("\"supply_kpa\": 140.0", "\"supply_kpa\": -1"), "supply_kpa is -1, not from 0 to 100000"),
        (
            bad("\"instrument\": 0", "\"instrument\": 1"),
            "external.instrument is 1, and there are 1 instruments",
        ),
        (bad("\"within_since_s\": 6.5", "\"within_since_s\": -6.5"), "tails[0].within_since_s is -6.5"),
        (bad("\"asked_ma\": 12.0", "\"asked_ma\": 1200"), "points[0].asked_ma is 1200"),
        (bad("\"wanted_percent\": 50.0", "\"wanted_percent\": 1e300"), "points[0].wanted_percent is"),
        (bad("\"wanted_percent\": 50.0", "\"wanted_percent\": 1e999"), "out of range"),
    ] {
        let e = Record::from_json(&text).expect_err(wrong);
        assert!(e.wrong.contains(wrong), "{e}");
        assert!(e.to_string().contains("next: "), "{e}");
    }
    // Places in a text that is no JSON are told by line.
    let e = Record::from_json(&text[..text.len() / 2]).expect_err("cut off");
    assert!(e.wrong.contains("line "), "{e}");
}

/// Whatever is in it, figures are computed of it, and name their note and unit.
#[test]
fn figures_of_a_whole_record() {
    let all = figures(&whole());
    for definition in
        ["accuracy_above_percent", "lever_error_percent", "dead_band_percent", "t63_s", "stroke_time_s"]
    {
        assert!(all.iter().any(|f| f.definition.id() == definition), "{definition}");
    }
    for f in &all {
        assert!(f.value.is_some() || !f.remark.is_empty(), "{f:?}");
    }
    let json = serde_json::to_value(&all).unwrap();
    assert_eq!(json[0]["definition"], "accuracy_above_percent");
    assert_eq!(json[0]["view"], "sensor");
    assert!(figures(&Record::new(Test::Travel, Plan::default())).is_empty());
}

proptest! {
    /// A record in which any part of the text is changed or cut off is read or refused, and what is read has figures.
    #[test]
    fn damaged(at in 0usize..10_000, len in 0usize..30, with in "[-0-9.,e:\\[\\]{}\"a-z]{0,8}") {
        let text = whole().to_json();
        let at = at % text.len();
        let end = (at + len).min(text.len());
        let text = format!("{}{with}{}", &text[..at], &text[end..]);
        if let Ok(record) = Record::from_json(&text) {
            for f in figures(&record) {
                prop_assert!(f.value.is_none_or(f64::is_finite));
            }
            prop_assert_eq!(Record::from_json(&record.to_json()), Ok(record));
        }
    }
}
