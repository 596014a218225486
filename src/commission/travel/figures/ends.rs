//! Angles of the lever [TV-17].

use super::super::record::Record;
use super::doubt::{Cause, Doubts, Why};
use super::reading::Average;
use super::{About, Definition, Figure, View};

/// Half travel, percent.
const HALF: f64 = 50.0;

/// Why what was read at a stop at a moment, s, is not judged: the last way that was asked for before it did not lead there [TV-65].
fn doubt(record: &Record, at_s: f64) -> Option<Why> {
    let watches = record.steps.iter().chain(&record.strokes).map(|s| s.watch.asked_at_s);
    let asked = record.tails.iter().map(|t| t.asked_at_s).chain(watches).filter(|asked| *asked <= at_s);
    let asked_at_s = asked.max_by(f64::total_cmp)?;
    let wrong = record.driven_elsewhere(asked_at_s).map(|words| Why::new(Cause::NotDriven, words));
    wrong.or_else(|| {
        let restless = record.tail(asked_at_s)?.span_percent() > record.plan.rest.within_percent / 2.0;
        restless.then(|| Why::new(Cause::NotAtRest, "it was not at rest"))
    })
}

/// Appends the angles that the device told; they are its own view.
pub fn add(record: &Record, out: &mut Vec<Figure>) {
    let angle = |definition, about, value: f64| {
        let remark = "How well the device knows the angle is not known.".to_owned();
        Figure { remark, ..Figure::told(definition, about, View::Sensor, value) }
    };
    for end in &record.ends {
        let about = About::End(end.open);
        let doubt = end.readings.first().and_then(|s| doubt(record, s.at_s));
        out.push(match end.angle_deg {
            Some(value) => angle(Definition::EndAngle, about, value).doubted(doubt),
            None => Figure::none(Definition::EndAngle, about, View::Sensor, "The device told no angle."),
        });
    }
    let mut seen: Vec<(f64, f64, usize)> = record
        .points
        .iter()
        .enumerate()
        .filter_map(|(n, p)| Some((Average::of_samples(&p.readings)?.mean, p.angle_deg?, n)))
        .collect();
    if seen.is_empty() {
        return;
    }
    seen.sort_by(|a, b| a.0.total_cmp(&b.0));
    let below = seen.iter().rfind(|s| s.0 <= HALF);
    let above = seen.iter().find(|s| s.0 >= HALF);
    out.push(match below.zip(above) {
        Some((a, b)) => {
            let share = if b.0 > a.0 { (HALF - a.0) / (b.0 - a.0) } else { 0.5 };
            let figure = angle(Definition::MidAngle, About::Whole, a.1 + share * (b.1 - a.1));
            let doubt = Doubts::of(record).at_rest([a.2, b.2].into_iter());
            Figure { at_percent: Some(HALF), ..figure }.doubted(doubt)
        }
        None => {
            let why = "No points on both sides of half travel have an angle.";
            Figure::none(Definition::MidAngle, About::Whole, View::Sensor, why)
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commission::travel::record::{
        Direction, Drive, Elsewhere, End, Plan, Point, Sample, Tail, Test,
    };

    fn point(travel: f64, angle_deg: f64) -> Point {
        Point {
            cycle: 1,
            direction: Direction::Up,
            asked_percent: travel,
            asked_ma: None,
            wanted_percent: travel,
            asked_at_s: 0.0,
            dwell_s: 1.0,
            settled: true,
            readings: vec![Sample::new(1.0, travel)],
            read_ma: None,
            set_point_percent: None,
            angle_deg: Some(angle_deg),
            external: None,
            control_system_percent: None,
        }
    }

    /// Between 40 % at -8 and 60 % at +6 degrees: 50 % is at -1.
    #[test]
    fn half_travel_by_hand() {
        let mut record = Record::new(Test::Travel, Plan::default());
        record.points = vec![point(0.0, -30.0), point(40.0, -8.0), point(60.0, 6.0), point(100.0, 31.0)];
        record.ends = vec![End { open: true, readings: Vec::new(), angle_deg: Some(31.5), external: None }];
        let mut out = Vec::new();
        add(&record, &mut out);
        let found: Vec<_> = out.iter().map(|f| (f.definition, f.about, f.value)).collect();
        assert_eq!(
            found,
            [
                (Definition::EndAngle, About::End(true), Some(31.5)),
                (Definition::MidAngle, About::Whole, Some(-1.0))
            ]
        );
        // One of the two beside half travel was not at rest; an end was asked for and the device read something else [TV-65].
        assert!(out.iter().all(|f| f.doubt.is_empty()));
        record.points[2].settled = false;
        record.ends[0].readings = vec![Sample::new(9.0, 100.0)];
        let drive = Drive {
            asked_percent: 100.0,
            asked_ma: Some(20.0),
            read_ma: Some(12.0),
            set_point_percent: None,
        };
        record.elsewhere = vec![Elsewhere { asked_at_s: 5.0, drive }];
        record.tails = vec![Tail::of(&[], 5.0, None, &record.plan.rest)];
        out.clear();
        add(&record, &mut out);
        let doubts: Vec<&str> = out.iter().map(|f| f.doubt.as_str()).collect();
        let expected =
            ["the device reads 12.00 mA where 20.00 mA were asked", "60 % up, cycle 1: it was not at rest"];
        assert_eq!(doubts, expected);
        record.points.truncate(2);
        out.clear();
        add(&record, &mut out);
        assert!(out[1].value.is_none() && !out[1].remark.is_empty());
    }
}
