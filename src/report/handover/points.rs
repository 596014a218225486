//! The resting places of a test as a table.

use super::plots::travel;
use super::words::{number, short};
use super::{Handover, words};
use crate::commission::travel::figures::View;
use crate::commission::travel::record::{Point, Record};
use crate::report::plot::plain;
use core::fmt::Write;

/// Most places of a test for comparison that stand on a page: one cycle of 11 points.
const MOST_FOR_COMPARISON: usize = 21;

type Column = (&'static str, fn(&Point) -> Option<String>);

const COLUMNS: [Column; 10] = [
    ("set point, %", |p| Some(short(p.asked_percent))),
    ("asked, mA", |p| p.asked_ma.map(|v| number(v, 2))),
    ("device reads, mA", |p| p.read_ma.map(|v| number(v, 3))),
    ("device's set point, %", |p| p.set_point_percent.map(|v| number(v, 2))),
    ("travel by sensor, %", |p| travel(p, View::Sensor).map(|v| number(v, 2))),
    ("error, %", |p| error(p, View::Sensor)),
    ("measured", |p| p.external.as_ref().map(|e| format!("{} {}", short(e.value), words::clean(&e.unit)))),
    ("measured, %", |p| travel(p, View::External).map(|v| number(v, 2))),
    ("error, %", |p| error(p, View::External)),
    ("control system, %", |p| p.control_system_percent.map(|v| number(v, 2))),
];

fn error(p: &Point, view: View) -> Option<String> {
    let e = travel(p, view)? - p.wanted_percent;
    let text = number(e, 2);
    Some(if e > 0.0 && text != "0.00" { format!("+{text}") } else { text })
}

/// A table for each test that has points; columns in which nothing stands are left out. The many places of a test for comparison stand in its record.
pub fn tables(h: &Handover, out: &mut String) {
    for (test, head) in h.tests.iter().zip(words::heads(h)) {
        if !test.decides && test.record.points.len() > MOST_FOR_COMPARISON {
            let _ = writeln!(
                out,
                "<h2>Calibration points, {}</h2>\n<p>For comparison: its {} places stand in its record, and in the plots above.</p>",
                plain(&head),
                test.record.points.len()
            );
        } else if !test.record.points.is_empty() {
            let _ = writeln!(out, "<h2>Calibration points, {}</h2>", plain(&head));
            table(test.record, out);
        }
    }
}

/// A column of the screen: two lines of its heading, and what stands below.
type Narrow = (&'static str, &'static str, fn(&Point) -> Option<String>);

const SCREEN: [Narrow; 7] = [
    ("asked", "%", |p| Some(short(p.asked_percent))),
    ("asked", "mA", |p| p.asked_ma.map(|v| number(v, 2))),
    ("reads", "mA", |p| p.read_ma.map(|v| number(v, 2))),
    ("set", "point, %", |p| p.set_point_percent.map(|v| number(v, 2))),
    ("travel", "%", |p| travel(p, View::Sensor).map(|v| number(v, 2))),
    ("control", "sys., %", |p| p.control_system_percent.map(|v| number(v, 2))),
    ("measured", "", |p| p.external.as_ref().map(|e| short(e.value))),
];
/// Columns of a cell of it, one blank at least in front.
const CELL: usize = 9;

/// The resting places for a screen of 72 columns; columns in which nothing stands are left out.
pub fn screen(r: &Record, out: &mut String) {
    let columns: Vec<_> = SCREEN.iter().filter(|c| r.points.iter().any(|p| c.2(p).is_some())).collect();
    let unit = r.points.iter().find_map(|p| p.external.as_ref()).map_or("", |e| e.unit.as_str());
    // A unit that somebody made up is not wider than its column.
    let unit: String = words::clean(unit).chars().take(CELL - 1).collect();
    out.push_str("     ");
    columns.iter().for_each(|c| _ = write!(out, "{:>CELL$}", c.0));
    out.push_str("\n     ");
    columns.iter().for_each(|c| _ = write!(out, "{:>CELL$}", if c.0 == "measured" { &unit } else { c.1 }));
    out.push('\n');
    for p in &r.points {
        let _ = write!(out, "{:<5}", p.direction.words());
        for c in &columns {
            let cell = c.2(p).unwrap_or_else(|| "-".to_owned());
            let _ = write!(out, "{cell:>CELL$}");
        }
        out.push_str(if p.settled { "\n" } else { "\n     (not at rest)\n" });
    }
}

fn table(r: &Record, out: &mut String) {
    let columns: Vec<&Column> =
        COLUMNS.iter().filter(|c| r.points.iter().any(|p| c.1(p).is_some())).collect();
    out.push_str("<div class=\"scroll\"><table class=\"tight places\"><thead><tr><th>cycle</th>");
    out.extend(columns.iter().map(|c| format!("<th class=\"n\">{}</th>", plain(c.0))));
    out.push_str("</tr></thead><tbody>\n");
    for p in &r.points {
        let restless = if p.settled { "" } else { " <span class=\"look\">not at rest</span>" };
        let _ = write!(out, "<tr><td class=\"w\">{} {}{restless}</td>", p.cycle, p.direction.words());
        for (_, of) in &columns {
            let _ = write!(out, "<td class=\"n\">{}</td>", plain(&of(p).unwrap_or_else(|| "-".to_owned())));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
}
