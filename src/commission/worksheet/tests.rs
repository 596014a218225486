use super::*;
use crate::commission::travel::record::{External, FailsTo, Movement, Occasion, Plan, Record, Test};
use std::collections::BTreeSet;

mod occasions;

fn good() -> Outcome {
    Outcome { verdict: "WITHIN LIMITS".into(), is_good: true, faults: Vec::new() }
}

/// Whether a known value stands on a sheet.
fn stands(sheet: &Worksheet, known: Known) -> bool {
    sheet.parts.iter().flat_map(|p| p.steps).flat_map(|s| s.entries).any(|e| e.known == Some(known))
}

/// [TV-50]: the tasks that are wanted, each with cautions, steps, something that it does not prove.
#[test]
fn every_task_has_its_sheet() {
    let ids: Vec<&str> = worksheets().map(|w| w.id).collect();
    let wanted = [
        "mounting-linear",
        "mounting-part-turn",
        "wiring",
        "air",
        "first-start",
        "calibration",
        "output-stage",
        "return-to-service",
    ];
    assert_eq!(ids, wanted);
    for sheet in worksheets() {
        assert!(
            sheet.parts.len() >= 2 && !sheet.does_not_prove.is_empty() && !sheet.tools.is_empty(),
            "{}",
            sheet.id
        );
        assert!(sheet.parts.iter().all(|p| !p.steps.is_empty()), "{}", sheet.id);
        assert_eq!(sheet.cautions.first(), Some(&Caution::Authority), "{}: it defers first", sheet.id);
        let unlike: BTreeSet<&str> = sheet.cautions.iter().map(|c| c.title()).collect();
        assert_eq!(unlike.len(), sheet.cautions.len(), "{}: a caution stands twice", sheet.id);
        // What the issue of every sheet is: moving parts, electricity or air, hazardous areas.
        for caution in [Caution::Moving, Caution::HazardousArea] {
            assert!(sheet.cautions.contains(&caution), "{}: {}", sheet.id, caution.title());
        }
    }
}

/// [TV-50]: seals are counted out and in, and the sensor is left alone.
#[test]
fn the_exchange_of_the_stage_counts_seals() {
    let sheet = worksheet("output-stage").expect("it is listed");
    let labels: Vec<&str> =
        sheet.parts.iter().flat_map(|p| p.steps).flat_map(|s| s.entries).map(|e| e.label).collect();
    assert!(labels.contains(&"seals out") && labels.contains(&"seals in"), "{labels:?}");
    assert!(stands(sheet, Known::LeftAccuracyHigh) && stands(sheet, Known::FoundAccuracyHigh));
}

/// What a record tells is filled in, with its file; as-found figures fill no place of as-left ones.
#[test]
fn a_record_fills_in() {
    let mut record = Record::new(Test::Travel, Plan::default());
    record.device.tag = "FV-3104".into();
    record.valve.fails_to = FailsTo::Closed;
    record.valve.motion = Some(Movement::Linear);
    record.valve.rated_travel = Some(40.0);
    record.supply_kpa = Some(420.0);
    record.occasion = Occasion::AsFound;
    // Set point, travel: the largest error above is +0.4 at 50 %, below -0.2 at 0 %.
    for (asked, read) in [(0.0, -0.2), (50.0, 50.4), (100.0, 100.1)] {
        record.points.push(tests_point(asked, read));
    }
    let mut values = Values::default();
    values.add_record(&record, "found.json", &good());
    assert_eq!(values.get(Known::Tag), Some(("FV-3104", "found.json")));
    assert_eq!(values.get(Known::FailsTo), Some(("closes", "found.json")));
    assert_eq!(values.get(Known::RatedTravel), Some(("40 mm", "found.json")));
    assert_eq!(values.get(Known::Supply), Some(("420", "found.json")));
    assert_eq!(values.get(Known::TravelAt50), None, "that is looked at after the work");
    assert_eq!(values.get(Known::FoundAccuracyHigh).map(|v| v.0), Some("+0.40 (device's sensor)"));
    assert_eq!(values.get(Known::FoundAccuracyLow).map(|v| v.0), Some("-0.20 (device's sensor)"));
    assert_eq!(values.get(Known::LeftAccuracyHigh), None);
    // As left somebody measured at the stem besides: both views stand there, so that the same one can be compared.
    record.occasion = Occasion::AsLeft;
    for p in &mut record.points {
        p.external = Some(External { value: p.asked_percent, unit: "%".into(), percent: p.asked_percent });
    }
    values.add_record(&record, "left.json", &good());
    let left = values.get(Known::LeftAccuracyHigh).map(|v| v.0);
    assert_eq!(left, Some("+0.00 (at the stem); +0.40 (device's sensor)"));
    assert_eq!(values.get(Known::TravelAt50), Some(("50.4", "left.json")));
    assert_eq!(values.get(Known::LongTag), None, "an empty text is no value");
}

/// [TV-80]: every sheet says which valve it is for.
#[test]
fn the_head_names_valve_device_and_day() {
    let known: Vec<Option<Known>> = HEAD.iter().map(|e| e.known).collect();
    for wanted in [Known::Tag, Known::LongTag, Known::Serial, Known::Unique, Known::Site, Known::Today] {
        assert!(known.contains(&Some(wanted)), "{wanted:?}");
    }
}

/// [TV-80]: what stem and device showed is of one moment, and so are the current that was asked for and the one that was read.
#[test]
fn what_is_compared_is_of_one_moment() {
    use crate::commission::travel::record::External;
    let mut record = Record::new(Test::LoopCheck, Plan::default());
    record.site = "inlet".into();
    record.valve.words = "DN 80".into();
    for (asked, read) in [(0.0, -0.02), (50.0, 50.4), (100.0, 100.1), (50.0, 50.9)] {
        record.points.push(tests_point(asked, read));
    }
    let at = |value: f64| Some(External { value, unit: "mm".into(), percent: value / 20.0 * 100.0 });
    record.points[2].external = at(19.8);
    // At 50 % a measurement was taken on the way back alone.
    record.points[3].external = at(10.1);
    (record.points[3].asked_ma, record.points[3].read_ma) = (Some(12.0), Some(11.98));
    record.points[3].control_system_percent = Some(50.5);
    let mut values = Values::default();
    values.add_record(&record, "check.json", &good());
    let got = |known| values.get(known).map(|v| v.0);
    assert_eq!((got(Known::TravelAt0), got(Known::StemAt0)), (Some("0.0"), None));
    assert_eq!((got(Known::TravelAt50), got(Known::StemAt50)), (Some("50.9"), Some("50.5 = 10.1 mm")));
    assert_eq!((got(Known::TravelAt100), got(Known::StemAt100)), (Some("100.1"), Some("99.0 = 19.8 mm")));
    assert_eq!((got(Known::CurrentAsked), got(Known::Current)), (Some("12.00"), Some("11.98")));
    assert_eq!(
        (got(Known::FollowsAt50), got(Known::FollowsAt25)),
        (Some("50.9 (control system 50.5)"), None)
    );
    assert_eq!((got(Known::Site), got(Known::Valve)), (Some("inlet"), Some("DN 80")));
    // A current that is read now was not asked for then.
    let reading = Reading { current_ma: Some(7.5), today: "2026-11-30".into(), ..Reading::default() };
    values.add_reading(&reading, "read");
    assert_eq!(values.get(Known::Current), Some(("7.50", "read")));
    assert_eq!(values.get(Known::CurrentAsked), None);
}

/// [TV-80]: a linear valve's travel is no angle, and two devices on one sheet are told.
#[test]
fn what_does_not_fit_is_left_out_or_told() {
    let mut record = Record::new(Test::Travel, Plan::default());
    record.device.unique_address = "3D71003104".into();
    record.valve.motion = Some(Movement::Linear);
    record.valve.rated_travel = Some(20.0);
    let mut values = Values::default();
    values.add_record(&record, "a.json", &good());
    let part_turn = worksheet("mounting-part-turn").expect("it is listed");
    let linear = worksheet("mounting-linear").expect("it is listed");
    assert!(stands(part_turn, Known::RatedTravel) && stands(linear, Known::RatedTravel));
    assert_eq!(values.get_for(part_turn, Known::RatedTravel), None);
    assert_eq!(values.other_motion(part_turn), Some(Movement::Linear));
    assert_eq!(values.get_for(linear, Known::RatedTravel), Some(("20 mm", "a.json")));
    assert_eq!(values.other_motion(linear), None);
    assert!(values.odd().is_empty());
    values.add_record(&record, "again.json", &good());
    assert!(values.odd().is_empty());
    record.device.unique_address = "3D71003105".into();
    values.add_record(&record, "b.json", &good());
    assert!(
        values.odd()[0].contains("3D71003105")
            && values.odd()[0].contains("a.json") | values.odd()[0].contains("again.json")
    );
}

fn tests_point(asked: f64, read: f64) -> crate::commission::travel::record::Point {
    use crate::commission::travel::record::{Direction, Point, Sample};
    Point {
        cycle: 1,
        direction: Direction::Up,
        asked_percent: asked,
        asked_ma: None,
        wanted_percent: asked,
        asked_at_s: 0.0,
        dwell_s: 5.0,
        settled: true,
        readings: vec![Sample::new(5.0, read)],
        read_ma: None,
        set_point_percent: None,
        angle_deg: None,
        external: None,
        control_system_percent: None,
    }
}
