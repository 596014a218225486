use super::*;
use crate::commission::travel::record::{FailsTo, Movement, Occasion, Plan, Record, Test};
use std::collections::BTreeSet;

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
    values.add_record(&record, "found.json");
    assert_eq!(values.get(Known::Tag), Some(("FV-3104", "found.json")));
    assert_eq!(values.get(Known::FailsTo), Some(("closes", "found.json")));
    assert_eq!(values.get(Known::RatedTravel), Some(("40 mm", "found.json")));
    assert_eq!(values.get(Known::Supply), Some(("420", "found.json")));
    assert_eq!(values.get(Known::TravelAt50), Some(("50.4", "found.json")));
    assert_eq!(values.get(Known::FoundAccuracyHigh).map(|v| v.0), Some("+0.40 (device's sensor)"));
    assert_eq!(values.get(Known::FoundAccuracyLow).map(|v| v.0), Some("-0.20 (device's sensor)"));
    assert_eq!(values.get(Known::LeftAccuracyHigh), None);
    assert_eq!(values.get(Known::LongTag), None, "an empty text is no value");
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
