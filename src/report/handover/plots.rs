//! Plots of a report: error up and down, travel against set point, steps and strokes.

use super::fails::actions;
use super::svg::{BLUE, GREEN, GREY, Mark, OCHRE, Plot, RED};
use super::words::{clean, number, short, stroke};
use super::{Handover, One, words};
use crate::commission::person::capital;
use crate::commission::travel::figures::{Definition, View};
use crate::commission::travel::limits::{Judged, Limited};
use crate::commission::travel::record::{Direction, FailsTo, Point, Record, Sample, Step, Watch};
use crate::report::plot::{Axis, plain, thin};
use core::fmt::Write;

/// Most steps and most strokes of a test that are drawn.
const MOST_DRAWN: usize = 12;
/// Columns of which a plot keeps the highest and the lowest reading.
const COLUMNS: usize = 400;
/// A reading is marked where there are no more than that.
const MOST_MARKED: usize = 120;
/// Least span of the axis of errors, percent of travel.
const LEAST_ERROR: f64 = 0.5;

/// What a point shows in a view, percent of travel: the average of its readings, or what was measured.
pub fn travel(p: &Point, view: View) -> Option<f64> {
    match view {
        View::External => p.external.as_ref().map(|e| e.percent),
        View::Sensor => {
            let seen: Vec<f64> = p.readings.iter().filter_map(|s| s.percent).collect();
            (!seen.is_empty()).then(|| seen.iter().sum::<f64>() / seen.len() as f64)
        }
    }
}

/// Runs of points, one for each cycle and direction: set point and what `of` makes of it.
fn runs(r: &Record, view: View, of: fn(f64, f64) -> f64) -> Vec<(Direction, Vec<(f64, f64)>)> {
    let same = |a: &Point, b: &Point| a.cycle == b.cycle && a.direction == b.direction;
    let run = |points: &[Point]| {
        let seen =
            points.iter().filter_map(|p| Some((p.wanted_percent, of(travel(p, view)?, p.wanted_percent))));
        (points[0].direction, seen.collect::<Vec<_>>())
    };
    r.points.chunk_by(same).map(run).filter(|run| !run.1.is_empty()).collect()
}

fn error(travel: f64, wanted: f64) -> f64 {
    travel - wanted
}

fn colour(view: View) -> &'static str {
    if view == View::Sensor { BLUE } else { OCHRE }
}

const VIEWS: [View; 2] = [View::Sensor, View::External];

/// The outermost of some numbers.
fn span(all: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    all.fold(None, |s, v| Some(s.map_or((v, v), |(a, b): (f64, f64)| (a.min(v), b.max(v)))))
}

fn draw_runs(plot: &mut Plot, r: &Record, of: fn(f64, f64) -> f64) {
    for view in VIEWS {
        let who = words::view(view);
        for (direction, points) in runs(r, view, of) {
            let up = direction == Direction::Up;
            plot.name(&format!("{who}, {}", direction.words()), colour(view), !up);
            plot.line(&points, colour(view), !up, if up { Mark::Up } else { Mark::Down });
        }
    }
}

fn figure(title: &str, svg: &str, below: &str, out: &mut String) {
    let _ = writeln!(out, "<figure><figcaption>{}</figcaption>{svg}", plain(title));
    if !below.is_empty() {
        let _ = writeln!(out, "<p class=\"quiet\">{}</p>", plain(below));
    }
    out.push_str("</figure>\n");
}

/// Error and loop of every test, beside each other and on the same axes; nothing where no point was taken.
pub fn points(h: &Handover, out: &mut String) {
    let seen = |t: &&One| VIEWS.iter().any(|v| !runs(t.record, *v, error).is_empty());
    let tests: Vec<(&One, String)> = h.tests.iter().zip(words::heads(h)).filter(|(t, _)| seen(t)).collect();
    if tests.is_empty() {
        return;
    }
    let all = |of: fn(f64, f64) -> f64| {
        let tests = tests.iter().flat_map(move |(t, _)| VIEWS.map(|v| runs(t.record, v, of)));
        tests.flatten().flat_map(|run| run.1).collect::<Vec<_>>()
    };
    let limits: Vec<f64> = VIEWS.iter().filter_map(|v| h.limits.limit(Limited::Accuracy, *v)).collect();
    let limits_drawn = limits.iter().flat_map(|l| [-l, *l]);
    let (low, high) = span(all(error).iter().map(|p| p.1).chain(limits_drawn)).unwrap_or((-1.0, 1.0));
    let (from, to) = span(all(error).iter().map(|p| p.0)).unwrap_or((0.0, 100.0));
    let x = Axis::around(from, to, 1.0, 10.0);
    out.push_str("<h2>Error and loop</h2>\n<div class=\"plots\">\n");
    for (test, head) in &tests {
        let mut plot = Plot::new(
            x,
            "set point, % of travel",
            Axis::around(low, high, LEAST_ERROR, 6.0),
            "error, % of travel",
        );
        plot.line(&[(x.from, 0.0), (x.to, 0.0)], GREY, false, Mark::None);
        let mut drawn: Vec<f64> = Vec::new();
        for l in &limits {
            if !drawn.contains(l) {
                plot.name(&format!("limit {}", short(*l)), RED, true);
                plot.across(*l, RED);
                plot.across(-l, RED);
                drawn.push(*l);
            }
        }
        draw_runs(&mut plot, test.record, error);
        let name = format!("Error, {head}");
        let below = if drawn.is_empty() { "No limit is set for the error." } else { "" };
        figure(
            &name,
            &plot.svg(&format!("{name}: travel less set point against set point, up and down")),
            below,
            out,
        );
    }
    let place = |travel: f64, _: f64| travel;
    let (low, high) = span(all(place).iter().map(|p| p.1).chain([from, to])).unwrap_or((0.0, 100.0));
    for (test, head) in &tests {
        let mut plot = Plot::new(x, "set point, % of travel", Axis::around(low, high, 1.0, 8.0), "travel, %");
        plot.line(&[(from, from), (to, to)], GREY, false, Mark::None);
        draw_runs(&mut plot, test.record, place);
        let name = format!("Travel against set point, {head}");
        figure(&name, &plot.svg(&format!("{name}, up and down: the hysteresis loop")), "", out);
    }
    out.push_str(
        "</div>\n<p class=\"quiet\">The gap between up and down is the hysteresis. At true size it is thin; the plots of the error show it \
         enlarged. Plots of one kind have the same axes.</p>\n",
    );
}

/// Readings of a watch, counted from the asking, in unbroken runs.
fn readings(samples: &[Sample], asked_at_s: f64) -> Vec<Vec<(f64, f64)>> {
    let unbroken = samples.split(|s| s.percent.is_none()).filter(|run| !run.is_empty());
    unbroken.map(|run| run.iter().filter_map(|s| Some((s.at_s - asked_at_s, s.percent?))).collect()).collect()
}

/// The n-th figure of a kind; every step has one of each, in the order of the steps.
fn nth<'a>(test: &'a One, definition: Definition, n: usize) -> Option<&'a Judged> {
    test.judged.iter().filter(|j| j.figure.definition == definition).nth(n)
}

/// Where a valve was and is to go, and what the line between is called.
struct Way {
    name: &'static str,
    /// What the axis of time counts from.
    since: &'static str,
    from_percent: f64,
    to_percent: f64,
}

impl Way {
    fn of(step: &Step) -> Way {
        let since = "time since it was asked for, s";
        Way { name: "set point", since, from_percent: step.from_percent, to_percent: step.to_percent }
    }
}

fn motion(
    watch: &Watch,
    way: &Way,
    moments: &[(&'static str, Option<&Judged>)],
    says: &str,
) -> Option<String> {
    let runs = readings(&watch.samples, watch.asked_at_s);
    let all = || runs.iter().flatten();
    let (from, to) = span(all().map(|p| p.0).chain([0.0]))?;
    let inside = |v: f64| v.clamp(-5.0, 105.0);
    let (before, after) = (inside(way.from_percent), inside(way.to_percent));
    let (low, high) = span(all().map(|p| p.1).chain([before, after]))?;
    all().next()?;
    let x = Axis::around(from, to, 0.1, 8.0);
    let mut plot = Plot::new(x, way.since, Axis::around(low, high, 0.5, 7.0), "travel, %");
    plot.name(way.name, GREY, true);
    plot.line(&[(x.from, before), (0.0, before), (0.0, after), (x.to, after)], GREY, true, Mark::None);
    let colour = colour(watch.view);
    plot.name(
        if watch.view == View::Sensor { "travel by the sensor" } else { "travel as measured" },
        colour,
        false,
    );
    let many = all().count() > MOST_MARKED;
    for run in &runs {
        let (times, values): (Vec<f64>, Vec<f64>) = run.iter().copied().unzip();
        plot.line(&thin(&times, &values, COLUMNS), colour, false, if many { Mark::None } else { Mark::Dot });
    }
    for (row, (name, judged)) in moments.iter().enumerate() {
        if let Some(f) = judged.map(|j| &j.figure)
            && let Some(at) = f.value
        {
            let colour = if row == 0 { RED } else { GREEN };
            let told = format!("{name} {} s", number(at, 2));
            // Names stand where the travel is not.
            let row = (row, way.to_percent >= way.from_percent);
            plot.moment(at, f.uncertainty.unwrap_or(0.0), &told, colour, row);
        }
    }
    Some(plot.svg(says))
}

/// How close the readings of a step stand, and what they are.
fn below(watch: &Watch) -> String {
    let interval = words::interval_s(watch).map(|s| format!("a reading every {} s", number(s, 2)));
    interval.unwrap_or_else(|| "fewer than two readings after the asking".to_owned())
}

fn drawn(out: &mut String, all: usize, what: &str) {
    if all > MOST_DRAWN {
        let _ = writeln!(out, "<p class=\"quiet\">The first {MOST_DRAWN} of {all} {what} are drawn.</p>");
    }
}

/// Travel after each loss, of every test; the time until it rested is marked.
fn fails(h: &Handover, heads: &[String], body: &mut String) {
    let most = h.tests.iter().map(|t| t.record.fails.len()).max().unwrap_or(0).min(MOST_DRAWN);
    for n in 0..most {
        for (test, head) in h.tests.iter().zip(heads) {
            let Some(fail) = test.record.fails.get(n) else { continue };
            let from = fail.from_percent;
            let (name, to) = match test.record.valve.fails_to {
                FailsTo::Closed => ("where it is said to go", 0.0),
                FailsTo::Open => ("where it is said to go", 100.0),
                FailsTo::Stays => ("where it is said to stay", from),
                FailsTo::Unsaid => ("set point", from),
            };
            let since = "time since it was taken away, s";
            let way = Way { name, since, from_percent: from, to_percent: to };
            let title = format!("{}, {head}", capital(fail.loss.words()));
            let time = actions(test.record, &test.judged).get(n).and_then(|a| a.time);
            let moments = [("at rest", time)];
            let says = format!("{title}: travel over time since it was taken away");
            if let Some(svg) = motion(&fail.watch, &way, &moments, &says) {
                figure(&title, &svg, &below(&fail.watch), body);
            }
        }
    }
}

/// Steps with T63 and T86, strokes, and what followed a loss, of every test.
pub fn motions(h: &Handover, out: &mut String) {
    let heads = words::heads(h);
    let tests = || h.tests.iter().zip(&heads);
    let mut body = String::new();
    // The same step of every test stands side by side.
    let most = |of: fn(&Record) -> &[Step]| {
        h.tests.iter().map(|t| of(t.record).len()).max().unwrap_or(0).min(MOST_DRAWN)
    };
    for n in 0..most(|r| &r.steps) {
        for (test, head) in tests() {
            let Some(step) = test.record.steps.get(n) else { continue };
            let moments = [("T63", nth(test, Definition::T63, n)), ("T86", nth(test, Definition::T86, n))];
            let (from, to) = (short(step.from_percent), short(step.to_percent));
            let title = format!("Step {from} to {to} %, {head}");
            if let Some(svg) = motion(
                &step.watch,
                &Way::of(step),
                &moments,
                &format!("{title}: travel over time, T63 and T86 marked"),
            ) {
                figure(&title, &svg, &below(&step.watch), &mut body);
            }
        }
    }
    for n in 0..most(|r| &r.strokes) {
        for (test, head) in tests() {
            let Some(step) = test.record.strokes.get(n) else { continue };
            let title = format!("Stroke, {}, {head}", stroke(step.direction()));
            if let Some(svg) = motion(&step.watch, &Way::of(step), &[], &format!("{title}: travel over time"))
            {
                figure(&title, &svg, &below(&step.watch), &mut body);
            }
        }
    }
    fails(h, &heads, &mut body);
    if body.is_empty() {
        return;
    }
    let _ = writeln!(out, "<h2>Steps, strokes and fail actions</h2>\n<div class=\"plots\">\n{body}</div>");
    for (test, head) in tests() {
        drawn(out, test.record.steps.len(), &format!("steps ({})", plain(&clean(head))));
        drawn(out, test.record.strokes.len(), &format!("strokes ({})", plain(&clean(head))));
        drawn(out, test.record.fails.len(), &format!("fail actions ({})", plain(&clean(head))));
    }
    out.push_str("<p class=\"quiet\">The shade beside a mark is as wide as its time is uncertain.</p>\n");
}
