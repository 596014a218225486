//! Steps, strokes and fail actions: how long, how far, how uncertain [TV-13, TV-14, TV-15, TV-16].

use super::super::record::{Fail, Rest, Sample, Shown, Step, Tail, Watch};
use super::course::{Moment, comes_to};
use super::doubt::{Cause, Why};
use super::reading::{Average, Quality, before};
use super::{About, Definition, Figure, Uncertain, View};
use crate::commission::response::{T63_SHARE, T86_SHARE};

/// Settled is nearer than this share of the change [TV-14].
const SETTLED: f64 = 0.02;
/// A stroke's time counts from here, as a share of the way, and as much before its end [TV-15].
const STROKE: f64 = 0.005;
/// A stroke that goes less far is told, percent.
const WHOLE_STROKE: f64 = 90.0;
/// A valve is in the middle when it is no further away from where it is to be let go, percent [TV-84].
pub const IN_THE_MIDDLE_PERCENT: f64 = 5.0;
/// Said where the final place is not known.
const NOT_AT_REST: &str = "It had not come to rest when it was watched no longer.";
/// What a time by stop watch is uncertain by, s [TV-16].
const BY_HAND_S: f64 = 0.5;

/// A motion as it was watched.
struct Motion {
    /// Time and how far from the place before towards the final one, from the asking on. The first is the asking itself.
    way: Vec<(f64, f64)>,
    /// The place before, percent.
    from: f64,
    /// The final place, percent.
    to: f64,
    /// How far, 0 or more, percent.
    change: f64,
    /// Whether it rests at the end, and since when, s.
    rests_since: Option<f64>,
    /// What a reading, the place before and the final place are uncertain by, percent.
    single: f64,
    from_by: f64,
    to_by: f64,
    /// Least change that counts, percent.
    seen: f64,
    /// What times of samples and asking are uncertain by together, s.
    asked_by: f64,
    /// What the samples' times are.
    samples_by: f64,
    /// What has to be said.
    remark: String,
}

impl Motion {
    /// `None` where nothing was read after the asking.
    fn of(watch: &Watch, rest: &Rest, quality: &Quality) -> Option<Motion> {
        let numbers = |s: &crate::commission::travel::record::Sample| Some((s.at_s, s.percent?));
        let after: Vec<(f64, f64)> =
            watch.samples.iter().filter(|s| s.at_s > watch.asked_at_s).filter_map(numbers).collect();
        let last = after.last()?.0;
        let mut remark = quality.unknown();
        let mut say = |words: &str| remark = format!("{remark} {words}").trim_start().to_owned();
        let head = Average::of(before(watch, rest.for_s).filter_map(|s| s.percent));
        let earlier = || watch.samples.iter().rfind(|s| s.at_s <= watch.asked_at_s && s.percent.is_some());
        let from = head.or_else(|| Average::of(earlier()?.percent)).or_else(|| {
            say(
                "Nothing was read before the asking; the first reading behind it counts as the place before.",
            );
            Average::of([after[0].1])
        })?;
        // The end at rest: as far back as readings stay together.
        let window: Vec<_> = after.iter().rev().take_while(|s| s.0 >= last - rest.for_s).collect();
        let mut tail = Vec::new();
        for s in &window {
            tail.push(s.1);
            if Average::of(tail.iter().copied())?.span > rest.within_percent.max(2.0 * quality.single()) {
                tail.pop();
                break;
            }
        }
        // What still creeps over the last third is not at rest, though it may look so for a while [TV-04].
        let seen: Vec<Sample> = after.iter().map(|s| Sample::new(s.0, s.1)).collect();
        let whole = Tail::of(&seen, watch.asked_at_s, Some(from.mean), rest);
        let is_calm = whole.span_percent() <= (rest.within_percent / 2.0).max(quality.between(whole.each));
        let at_rest = is_calm && tail.len() == window.len() && last - watch.asked_at_s >= rest.for_s;
        let to = Average::of(tail.iter().copied())?;
        let tail_len = tail.len();
        let mut to_by = quality.mean(to.count);
        if !at_rest {
            say(NOT_AT_REST);
            to_by += Average::of(window.iter().map(|s| s.1))?.span / 2.0;
        }
        // What creeping may have left of the way [TV-64].
        let near = (rest.within_percent / 2.0).max(2.0 * quality.single());
        let still = after.iter().rposition(|s| (s.1 - to.mean).abs() > near).map_or(0, |n| n + 1);
        let tail: Vec<Sample> = after[still..].iter().map(|s| Sample::new(s.0, s.1)).collect();
        let tail = Tail::of(&tail, watch.asked_at_s, Some(from.mean), rest);
        let middle_s = after[after.len() - tail_len..].iter().map(|s| s.0).sum::<f64>() / tail_len as f64;
        to_by += tail.left_percent(middle_s, quality.between(tail.each));
        let sign = if to.mean < from.mean { -1.0 } else { 1.0 };
        let way = after.iter().map(|s| (s.0, (s.1 - from.mean) * sign));
        Some(Motion {
            way: core::iter::once((watch.asked_at_s, 0.0)).chain(way).collect(),
            from: from.mean,
            to: to.mean,
            change: (to.mean - from.mean).abs(),
            rests_since: at_rest.then(|| after[after.len() - window.len()].0),
            single: quality.single(),
            from_by: quality.mean(from.count),
            to_by,
            seen: quality.seen(),
            asked_by: watch.asked_uncertain_s,
            samples_by: watch.samples_uncertain_s,
            remark,
        })
    }

    fn moved(&self) -> bool {
        self.change >= self.seen
    }

    /// A moment as it most likely was [TV-63].
    fn moment(&self, m: Moment) -> Uncertain {
        Uncertain { value: m.at, by: (m.at - m.least).max(m.most - m.at) + self.samples_by }
    }

    /// A moment as the middle of what it can have been. Where rest turns into motion a likely one would be wrong to one side.
    fn middle(&self, m: Moment) -> Uncertain {
        Uncertain { value: (m.least + m.most) / 2.0, by: (m.most - m.least) / 2.0 + self.samples_by }
    }

    /// A moment counted from the asking.
    fn since(&self, m: Uncertain) -> Uncertain {
        Uncertain { value: m.value - self.way[0].0, by: m.by + self.asked_by }
    }

    /// When travel first is as far as `share` of the change, on the clock of the samples.
    fn reaches(&self, share: f64) -> Option<Moment> {
        let by = (1.0 - share) * self.from_by + share * self.to_by;
        // Where noise hides it, it is reached when the valve rests.
        let end = self.rests_since.unwrap_or(self.way[self.way.len() - 1].0);
        comes_to(&self.way, share * self.change, by, self.single, end)
    }

    /// When travel first differs by what can be seen, either way.
    fn departs(&self) -> Option<Moment> {
        let at = self.way.iter().skip(1).position(|s| s.1.abs() >= self.seen)? + 1;
        let b = self.way[at];
        let by = (self.single + self.from_by).min(self.seen / 2.0);
        let sure = self.way[..at].iter().rposition(|s| s.1.abs() <= self.seen - by).unwrap_or(0);
        // A reading that is just far enough may be off by what it is uncertain by.
        let most = self.way[at..].iter().find(|s| s.1.abs() >= self.seen + by).map(|s| s.0);
        let most = most.or(self.rests_since).unwrap_or(self.way[self.way.len() - 1].0).max(b.0);
        Some(Moment { at: b.0, least: self.way[sure].0, most })
    }

    /// The band within which travel counts as settled, percent [TV-14].
    fn band(&self, rest: &Rest) -> f64 {
        (SETTLED * self.change).max(rest.within_percent)
    }

    /// What the band and the final place are uncertain by together, percent.
    fn band_by(&self) -> f64 {
        self.to_by + SETTLED * (self.from_by + self.to_by)
    }

    /// Why no settling is stated, if none is [TV-87].
    fn not_settled(&self, rest: &Rest) -> Option<Why> {
        let band = self.band(rest);
        if self.rests_since.is_none() {
            return Some(Why::new(Cause::NotAtRest, NOT_AT_REST));
        }
        // At rest a reading has to lie within the band for certain.
        let by = 2.0 * self.single + self.band_by();
        (by > band).then(|| {
            let words = format!(
                "Settled is within {band:.2} % of travel, and at rest it is known within {by:.2} % only."
            );
            Why::new(Cause::TooCoarse, words)
        })
    }

    /// When travel is last outside of the band.
    fn settles(&self, rest: &Rest) -> Option<Moment> {
        let band = self.band(rest);
        let out = self.way.iter().rposition(|s| (s.1 - self.change).abs() > band)?;
        let sign = (self.way[out].1 - self.change).signum();
        // Backwards in time it is the first time that it is so far away.
        let back: Vec<(f64, f64)> =
            self.way.iter().rev().map(|s| (-s.0, (s.1 - self.change) * sign)).collect();
        let m = comes_to(&back, band, self.band_by(), self.single, -self.way[0].0)?;
        Some(Moment { at: -m.at, least: -m.most, most: -m.least })
    }

    /// How far it went beyond its final place, percent of the change.
    fn overshoots(&self) -> Uncertain {
        let highest = (1..self.way.len()).max_by(|a, b| self.way[*a].1.total_cmp(&self.way[*b].1));
        let peak = highest.map_or(0.0, |n| self.way[n].1) - self.change;
        let missed = highest.map_or(0.0, |n| above(&self.way, n));
        let by = self.single + self.to_by * (1.0 + peak.max(0.0) / self.change) + self.from_by + missed;
        Uncertain { value: peak.max(0.0) / self.change * 100.0, by: by / self.change * 100.0 }
    }
}

/// How much higher than sample `n` a parabola through it and its neighbours goes; 0 at an end.
fn above(way: &[(f64, f64)], n: usize) -> f64 {
    let (Some(a), Some(b)) = (n.checked_sub(1).and_then(|n| way.get(n)), way.get(n + 1)) else { return 0.0 };
    let p = way[n];
    let (da, db) = (p.0 - a.0, b.0 - p.0);
    if da <= 0.0 || db <= 0.0 {
        return 0.0;
    }
    let (rise, fall) = ((p.1 - a.1) / da, (b.1 - p.1) / db);
    let bent = (rise - fall) / (da + db);
    let slope = (rise * db + fall * da) / (da + db);
    if bent > 0.0 { slope * slope / (4.0 * bent) } else { 0.0 }
}

/// Where a motion began and ended.
pub struct Ends {
    /// Percent, each.
    pub from: Uncertain,
    pub to: Uncertain,
    /// Whether it was at rest before the asking, as far as is known, and at the end.
    pub was_at_rest: bool,
    pub is_at_rest: bool,
    /// From the asking to the last reading, s.
    pub watched_s: f64,
    /// From the first reading that was a stroke's begin away for certain to the last, s; `None`: it was never so far away.
    pub under_way_s: Option<f64>,
}

/// Where a motion that was watched began and ended; `None` where nothing was read after the asking.
pub fn ends(watch: &Watch, rest: &Rest, quality: &Quality) -> Option<Ends> {
    let m = Motion::of(watch, rest, quality)?;
    let head = Average::of(before(watch, rest.for_s).filter_map(|s| s.percent));
    let stays = rest.within_percent.max(2.0 * quality.single());
    let last_s = m.way[m.way.len() - 1].0;
    let away = STROKE * 100.0 + m.single + m.from_by;
    Some(Ends {
        from: Uncertain { value: m.from, by: m.from_by },
        to: Uncertain { value: m.to, by: m.to_by },
        was_at_rest: head.is_none_or(|h| h.span <= stays),
        is_at_rest: m.rests_since.is_some(),
        watched_s: last_s - m.way[0].0,
        under_way_s: m.way.iter().find(|s| s.1 >= away).map(|s| last_s - s.0),
    })
}

/// Appends the figures of a step.
pub fn add_step(step: &Step, rest: &Rest, quality: &Quality, out: &mut Vec<Figure>) {
    let (about, view) = (About::Step(step.from_percent, step.to_percent), step.watch.view);
    let all =
        [Definition::DeadTime, Definition::T63, Definition::T86, Definition::Overshoot, Definition::Settling];
    let motion = Motion::of(&step.watch, rest, quality);
    let Some(m) = motion.filter(|m| m.moved()) else {
        let none = Motion::of(&step.watch, rest, quality).is_none();
        let why = if none { "Nothing was read after the asking." } else { "No movement was seen." };
        out.extend(all.map(|d| Figure::none(d, about, view, why)));
        return;
    };
    let had = |definition, found: Uncertain, remark: &str| {
        let remark = format!("{} {remark}", m.remark).trim().to_owned();
        Figure { remark, ..Figure::new(definition, about, view, found) }
    };
    let none = |definition, why: &str| Figure::none(definition, about, view, why);
    let reached = |definition, found: Option<Uncertain>, remark: &str| match found {
        Some(found) => had(definition, found, remark),
        None => none(definition, "It was not reached."),
    };
    let seen = format!("Seen from {:.2} % on.", m.seen);
    out.push(reached(Definition::DeadTime, m.departs().map(|d| m.since(m.middle(d))), &seen));
    out.push(reached(Definition::T63, m.reaches(T63_SHARE).map(|d| m.since(m.moment(d))), ""));
    out.push(reached(Definition::T86, m.reaches(T86_SHARE).map(|d| m.since(m.moment(d))), ""));
    // Where it goes in the end is not known before it rests there.
    out.push(match m.rests_since {
        Some(_) => had(Definition::Overshoot, m.overshoots(), ""),
        None => none(Definition::Overshoot, NOT_AT_REST).not_stated(Cause::NotAtRest),
    });
    let band = format!("Within {:.2} % of travel.", m.band(rest));
    out.push(match (m.not_settled(rest), m.settles(rest)) {
        (Some(why), _) => none(Definition::Settling, &why.words).not_stated(why.cause),
        (None, Some(d)) => had(Definition::Settling, m.since(m.moment(d)), &band),
        (None, None) => none(
            Definition::Settling,
            "The step is no larger than the band within which it counts as settled.",
        ),
    });
}

/// Appends the time of a stroke, by the samples and by hand.
pub fn add_stroke(stroke: &Step, rest: &Rest, quality: &Quality, out: &mut Vec<Figure>) {
    let (about, view) = (About::Stroke(stroke.direction()), stroke.watch.view);
    let definition = Definition::StrokeTime;
    if !stroke.watch.samples.is_empty() || stroke.watch.by_hand_s.is_none() {
        let motion = Motion::of(&stroke.watch, rest, quality).filter(Motion::moved);
        let ends = motion.as_ref().and_then(|m| m.reaches(STROKE).zip(m.reaches(1.0 - STROKE)));
        out.push(match (&motion, ends) {
            (Some(m), Some((begin, end))) => {
                let whole = 1.0 - 2.0 * STROKE;
                // It does not end before it begins.
                let (least, most) = (end.least.max(begin.least), begin.most.min(end.most));
                let (begin, end) = (Moment { most, ..begin }, Moment { least, ..end });
                let (begin, end) = (m.middle(begin), m.middle(end));
                let found =
                    Uncertain { value: (end.value - begin.value) / whole, by: (begin.by + end.by) / whole };
                let short = if m.change < WHOLE_STROKE {
                    format!("It went {:.1} % of travel only.", m.change)
                } else {
                    String::new()
                };
                let remark = format!("{} {short}", m.remark).trim().to_owned();
                Figure { remark, ..Figure::new(definition, about, view, found) }
            }
            (Some(_), None) => Figure::none(definition, about, view, "It was not reached."),
            (None, _) => Figure::none(definition, about, view, "No movement was seen."),
        });
    }
    by_hand(definition, about, &stroke.watch, out);
}

fn by_hand(definition: Definition, about: About, watch: &Watch, out: &mut Vec<Figure>) {
    if let Some(value) = watch.by_hand_s {
        let figure = Figure::new(definition, about, View::External, Uncertain { value, by: BY_HAND_S });
        out.push(Figure { remark: "By stop watch.".to_owned(), ..figure });
    }
}

/// Why nothing is said of a loss: the valve was not seen to rest in the middle before, or did not come to its end [TV-84].
fn not_let_go(fail: &Fail, rest: &Rest, quality: &Quality, end: Option<&Motion>) -> Option<Why> {
    // Of a loss that never came nothing is said, wherever the valve went [TV-104].
    if let Some(words) = fail.shown.as_ref().and_then(Shown::against) {
        return Some(Why::new(Cause::NotLost, words));
    }
    let not_there = |words: String| Some(Why::new(Cause::NotThere, words));
    let Some(from) = Average::of(before(&fail.watch, rest.for_s).filter_map(|s| s.percent)) else {
        return not_there("where it was before is not known".to_owned());
    };
    if (from.mean - fail.from_percent).abs() > IN_THE_MIDDLE_PERCENT {
        return not_there(format!("it stood at {:.1} % before, not at {} %", from.mean, fail.from_percent));
    }
    if from.span > rest.within_percent.max(2.0 * quality.single()) {
        return not_there(format!("it was still on its way before, around {:.1} %", from.mean));
    }
    let moves = end.filter(|m| m.rests_since.is_none())?;
    let words = format!("it was still moving in the end, at {:.1} %: watch longer, by --watch", moves.to);
    Some(Why::new(Cause::NotAtRest, words))
}

/// Appends what a loss did.
pub fn add_fail(fail: &Fail, rest: &Rest, quality: &Quality, out: &mut Vec<Figure>) {
    let first = out.len();
    add_loss(fail, rest, quality, out);
    let why = not_let_go(fail, rest, quality, Motion::of(&fail.watch, rest, quality).as_ref());
    super::doubt_all(&mut out[first..], why.as_ref());
}

fn add_loss(fail: &Fail, rest: &Rest, quality: &Quality, out: &mut Vec<Figure>) {
    let (about, view) = (About::Loss(fail.loss), fail.watch.view);
    match Motion::of(&fail.watch, rest, quality) {
        None => {
            let why = "The device told no travel after it.";
            out.push(Figure::none(Definition::FailTime, about, view, why));
            out.push(Figure::none(Definition::FailPlace, about, view, why));
        }
        Some(m) => {
            let not_settled = m.not_settled(rest);
            let settled = if not_settled.is_some() { None } else { m.settles(rest) };
            out.push(match (settled.map(|d| m.since(m.moment(d))), not_settled) {
                _ if !m.moved() => Figure::none(Definition::FailTime, about, view, "No movement was seen."),
                (_, Some(why)) => {
                    Figure::none(Definition::FailTime, about, view, why.words).not_stated(why.cause)
                }
                (Some(found), None) => Figure {
                    remark: m.remark.clone(),
                    ..Figure::new(Definition::FailTime, about, view, found)
                },
                (None, None) => Figure::none(Definition::FailTime, about, view, "It had not come to rest."),
            });
            let place = Uncertain { value: m.to, by: m.to_by };
            out.push(Figure {
                remark: m.remark.clone(),
                ..Figure::new(Definition::FailPlace, about, view, place)
            });
        }
    }
    by_hand(Definition::FailTime, about, &fail.watch, out);
}

#[cfg(test)]
mod tests;
