//! Static terms of resting places: accuracy, hysteresis, repeatability, non-linearity, sensor against measurement.

use super::super::record::{Direction, Ended, Point, Record};
use super::doubt::{Cause, Doubts, Why};
use super::few::{is_between, too_few};
use super::reading::{Average, Quality};
use super::straight::straight;
use super::{About, Definition, Figure, Line, Runs, Uncertain, View};

/// Two levels that are nearer than that are one, percent.
const SAME: f64 = 1e-6;

/// A resting place as one view sees it.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// Which of the record's points, from 0; of an average the first of them.
    pub nth: usize,
    cycle: u32,
    pub direction: Direction,
    /// Percent, each.
    pub wanted: f64,
    pub travel: f64,
    /// Of how many readings.
    pub count: usize,
    /// What creeping may have left, and not having come to rest, adds to its uncertainty, percent [TV-04] [TV-64].
    pub restless: f64,
}

/// What a point is uncertain by because the valve had not come to its end, percent.
fn restless(record: &Record, p: &Point, sensor: &Quality) -> f64 {
    let Some(seen) = Average::of_samples(&p.readings) else { return 0.0 };
    let middle_s = p.readings.iter().map(|s| s.at_s).sum::<f64>() / p.readings.len() as f64;
    let left = record.tail(p.asked_at_s).map_or(0.0, |t| t.left_percent(middle_s, sensor.between(t.each)));
    left + if p.settled { 0.0 } else { seen.span / 2.0 }
}

/// The resting places of a view, lowest first.
pub fn places(record: &Record, view: View) -> Vec<Place> {
    let quality = Quality::of(record, View::Sensor);
    let seen = record.points.iter().enumerate().filter_map(|(nth, p)| {
        let sensor = Average::of_samples(&p.readings);
        let (travel, count) = match view {
            View::Sensor => sensor.map(|a| (a.mean, a.count))?,
            View::External => (p.external.as_ref()?.percent, 1),
        };
        let restless = restless(record, p, &quality);
        let (cycle, direction, wanted) = (p.cycle, p.direction, p.wanted_percent);
        Some(Place { nth, cycle, direction, wanted, travel, count, restless })
    });
    let mut seen: Vec<Place> = seen.collect();
    seen.sort_by(|a, b| a.wanted.total_cmp(&b.wanted));
    seen
}

/// The places of each level, lowest level first.
fn levels(places: &[Place]) -> impl Iterator<Item = &[Place]> {
    places.chunk_by(|a, b| b.wanted - a.wanted <= SAME)
}

/// The average of several places.
fn average<'a>(places: impl IntoIterator<Item = &'a Place>) -> Option<Place> {
    let mut out: Option<Place> = None;
    let mut number = 0.0;
    for p in places {
        number += 1.0;
        let sum = out.get_or_insert(Place { travel: 0.0, count: 0, restless: 0.0, ..*p });
        sum.travel += p.travel;
        sum.count += p.count;
        sum.restless = sum.restless.max(p.restless);
    }
    out.map(|sum| Place { travel: sum.travel / number, ..sum })
}

/// A figure that was found at a place.
fn found(definition: Definition, view: View, value: f64, by: f64, at: f64, remark: &str) -> Figure {
    let figure = Figure::new(definition, About::Whole, view, Uncertain { value, by });
    Figure { at_percent: Some(at), remark: remark.to_owned(), ..figure }
}

/// Appends what follows from the resting places of a view; nothing where it has none.
pub fn add(record: &Record, view: View, quality: &Quality, out: &mut Vec<Figure>) {
    let places = places(record, view);
    if places.is_empty() {
        return;
    }
    let before = out.len();
    let mut remark = quality.unknown();
    let restless = record.points.iter().filter(|p| !p.settled).count();
    if restless > 0 {
        let points = if restless == 1 { "point has" } else { "points have" };
        remark = format!("{remark} {restless} {points} not come to rest.").trim_start().to_owned();
    }
    let doubts = Doubts::of(record);
    let levels = &record.plan.levels_percent;
    let ends = [levels.first(), levels.last()].map(|l| l.map(|l| l.clamp(0.0, 100.0)));
    // What the device's own sensor told before a test ended early is all there is.
    let is_held = view == View::External || record.ended == Ended::Whole;
    let few = too_few(record, |p| match view {
        View::Sensor => Average::of_samples(&p.readings).is_some(),
        View::External => p.external.is_some(),
    });
    let few = few.filter(|_| is_held).map(|(at, of)| format!("it was measured at {at} of {of} places"));
    let few = few.map(|words| Why::new(Cause::FewPlaces, words));
    let levels = levels.as_slice();
    let list =
        List { places: &places, view, quality, remark: &remark, doubts: &doubts, ends, levels, is_held, few };
    accuracy(&list, out);
    hysteresis(&list, out);
    repeatability(&list, out);
    non_linearity(&list, out);
    if view == View::External {
        lever(record, &list, out);
    }
    let new = out.iter_mut().skip(before).filter(|f| f.value.is_some());
    if let Some(why) = quality.doubt() {
        // A reading by eye is never exact.
        new.for_each(|f| *f = Figure { uncertainty: None, ..f.clone().doubted(Some(why.clone())) });
    }
}

/// The resting places of a view, and what has to be said of them.
struct List<'a> {
    places: &'a [Place],
    view: View,
    quality: &'a Quality,
    remark: &'a str,
    doubts: &'a Doubts,
    /// The lowest and the highest point that were planned, percent.
    ends: [Option<f64>; 2],
    /// All that were planned, percent, rising.
    levels: &'a [f64],
    /// Whether it has to have been measured at enough places, and why it was not [TV-133].
    is_held: bool,
    few: Option<Why>,
}

impl List<'_> {
    /// Why a figure which these places enter is not judged.
    fn doubt(&self, enters: impl Fn(&Place) -> bool) -> Option<Why> {
        self.doubts.against_set_points(self.places.iter().filter(|p| enters(p)).map(|p| p.nth))
    }

    /// Why a figure of these levels, which wants one between the ends, is not judged.
    fn few_between(&self, mut at: impl Iterator<Item = f64>) -> Option<Why> {
        let is_few = self.is_held && !at.any(|percent| is_between(self.levels, percent));
        is_few.then(|| Why::new(Cause::FewPlaces, "it was measured at no place between the ends"))
    }
}

fn accuracy(list: &List<'_>, out: &mut Vec<Figure>) {
    let &List { places, view, quality, remark, .. } = list;
    let error = |p: &Place| p.travel - p.wanted;
    let mut none = Vec::new();
    let mut add = |definition, p: Option<&Place>, enters: &[Place]| {
        let Some(p) = p else { return };
        let by = quality.mean(p.count) + quality.limit + p.restless;
        let doubt = list.doubt(|p| enters.iter().any(|e| e.nth == p.nth));
        let is_end = matches!(definition, Definition::DeviationClosed | Definition::DeviationOpen);
        let doubt = doubt.or_else(|| list.few.clone().filter(|_| !is_end));
        out.push(found(definition, view, error(p), by, p.wanted, remark).doubted(doubt));
    };
    let of = |list: &[Place], key: &dyn Fn(&Place) -> f64| {
        list.iter().max_by(|a, b| key(a).total_cmp(&key(b))).copied()
    };
    add(Definition::AccuracyAbove, of(places, &error).as_ref(), places);
    add(Definition::AccuracyBelow, of(places, &|p| -error(p)).as_ref(), places);
    let amount = |p: &Place| error(p).abs();
    let (lowest, highest) = (levels(places).next().unwrap_or(&[]), levels(places).last().unwrap_or(&[]));
    // The end of a test that ended early is none of the valve's [TV-89].
    let [first, last] = list.ends;
    let is_end = |level: &[Place], planned: Option<f64>| match (level.first(), planned) {
        (Some(p), Some(planned)) => (p.wanted - planned).abs() <= SAME,
        _ => true,
    };
    let ends = [(Definition::DeviationClosed, lowest, first), (Definition::DeviationOpen, highest, last)];
    for (definition, level, planned) in ends {
        if is_end(level, planned) {
            add(definition, of(level, &amount).as_ref(), level);
        } else {
            let why = match view {
                View::Sensor => "It ended before the point",
                View::External => "Nothing was typed at the point",
            };
            let why = format!("{why} at {} %.", planned.unwrap_or_default());
            none.push((definition, why));
        }
    }
    out.extend(none.into_iter().map(|(definition, why)| Figure::none(definition, About::Whole, view, why)));
}

fn cycles(places: &[Place]) -> Vec<u32> {
    let mut all: Vec<u32> = places.iter().map(|p| p.cycle).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn hysteresis(list: &List<'_>, out: &mut Vec<Figure>) {
    let &List { places, view, quality, remark, .. } = list;
    let mut pairs = Vec::new();
    for level in levels(places) {
        for cycle in cycles(level) {
            let of = |d| average(level.iter().filter(|p| p.cycle == cycle && p.direction == d));
            pairs.extend(of(Direction::Up).zip(of(Direction::Down)));
        }
    }
    let gap = |(up, down): &(Place, Place)| (down.travel - up.travel).abs();
    let definition = Definition::Hysteresis;
    match pairs.iter().max_by(|a, b| gap(a).total_cmp(&gap(b))) {
        None => {
            let why = "No point was taken on the way up and on the way down.";
            out.push(Figure::none(definition, About::Whole, view, why));
        }
        Some(pair) => {
            let (up, down) = pair;
            let by = quality.difference(up.count, down.count) + up.restless + down.restless;
            let number = cycles(&pairs.iter().map(|p| p.0).collect::<Vec<_>>()).len();
            let few = match number {
                0..3 => format!("Of {number} of the three pairs of up and down that are wanted. {remark}"),
                _ => remark.to_owned(),
            };
            let enters = |p: &Place| {
                pairs.iter().any(|(up, _)| up.cycle == p.cycle && (up.wanted - p.wanted).abs() <= SAME)
            };
            let figure = found(definition, view, gap(pair), by, up.wanted, few.trim_end());
            let few = || list.few_between(pairs.iter().map(|p| p.0.wanted));
            out.push(figure.doubted(list.doubt(enters).or_else(few)));
        }
    }
}

fn repeatability(list: &List<'_>, out: &mut Vec<Figure>) {
    let &List { places, view, quality, remark, .. } = list;
    let mut spreads: Vec<(f64, Place, Place)> = Vec::new();
    for level in levels(places) {
        for direction in [Direction::Up, Direction::Down] {
            let of = |c| average(level.iter().filter(|p| p.cycle == c && p.direction == direction));
            let runs: Vec<Place> = cycles(level).into_iter().filter_map(of).collect();
            let by_travel = |a: &&Place, b: &&Place| a.travel.total_cmp(&b.travel);
            if let Some((least, most)) = runs.iter().min_by(by_travel).zip(runs.iter().max_by(by_travel))
                && runs.len() >= 3
            {
                spreads.push((most.travel - least.travel, *least, *most));
            }
        }
    }
    let definition = Definition::Repeatability;
    out.push(match spreads.iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
        None => Figure::none(definition, About::Whole, view, "It needs three cycles or more."),
        Some((spread, least, most)) => {
            let by = quality.difference(least.count, most.count) + least.restless + most.restless;
            let enters = |p: &Place| {
                let same = |l: &Place| (l.wanted - p.wanted).abs() <= SAME && l.direction == p.direction;
                spreads.iter().any(|(_, least, _)| same(least))
            };
            let few = || list.few_between(spreads.iter().map(|s| s.1.wanted));
            found(definition, view, *spread, by, least.wanted, remark)
                .doubted(list.doubt(enters).or_else(few))
        }
    });
}

fn non_linearity(list: &List<'_>, out: &mut Vec<Figure>) {
    let &List { places, view, quality, remark, .. } = list;
    let mut add = |line: Line, runs: Runs| {
        let of = |level: &[Place], d| average(level.iter().filter(|p| p.direction == d));
        let mean = |level| {
            let (up, down) = (of(level, Direction::Up), of(level, Direction::Down));
            match runs {
                Runs::Up => up,
                Runs::Down => down,
                // Where only one way has the point, as at the turning point, it counts for both.
                Runs::Average => average(up.iter().chain(&down)),
            }
        };
        let means: Vec<Place> = levels(places).filter_map(mean).collect();
        let definition = Definition::NonLinearity(line, runs);
        let points: Vec<(f64, f64)> = means.iter().map(|p| (p.wanted, p.travel)).collect();
        out.push(match straight(&points, line).filter(|_| points.len() >= 3) {
            None => Figure::none(definition, About::Whole, view, "It needs three different points or more."),
            Some(s) => {
                let of = |p: &Place| quality.mean(p.count) + quality.limit + p.restless;
                let by = means.iter().map(of).fold(0.0, f64::max);
                let by = if line == Line::Independent { by } else { 2.0 * by };
                let doubt = list.doubt(|p| match runs {
                    Runs::Up => p.direction == Direction::Up,
                    Runs::Down => p.direction == Direction::Down,
                    Runs::Average => true,
                });
                let doubt = doubt.or_else(|| list.few.clone());
                found(definition, view, s.largest, by, s.at, remark).doubted(doubt)
            }
        });
    };
    for line in [Line::Independent, Line::ZeroBased, Line::Terminal] {
        for runs in [Runs::Average, Runs::Up, Runs::Down] {
            add(line, runs);
        }
    }
}

fn lever(record: &Record, list: &List<'_>, out: &mut Vec<Figure>) {
    let (external, remark) = (list.quality, list.remark);
    let sensor = Quality::of(record, View::Sensor);
    let both = record.points.iter().filter_map(|p| {
        let seen = Average::of_samples(&p.readings)?;
        let by = sensor.mean(seen.count) + external.single() + external.limit;
        // It goes on between the two readings.
        let restless = 2.0 * restless(record, p, &sensor);
        Some((seen.mean - p.external.as_ref()?.percent, by + restless, p.wanted_percent))
    });
    let definition = Definition::LeverError;
    out.push(match both.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs())) {
        Some((difference, by, at)) => {
            let doubt = list.doubts.at_rest(list.places.iter().map(|p| p.nth));
            let doubt = doubt.or_else(|| list.few.clone());
            found(definition, View::External, difference, by, at, remark).doubted(doubt)
        }
        None => {
            let why = "No point has a reading of both.";
            Figure::none(definition, About::Whole, View::External, why)
        }
    });
}

#[cfg(test)]
mod tests;
