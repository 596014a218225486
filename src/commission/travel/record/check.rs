//! Whether the numbers of a record can be.

use super::{End, External, Plan, Record, Rest, Sample, Shown, StatusBit, Watch};

/// Percent beyond which a number is none.
const MOST_PERCENT: f64 = 1e4;
/// A test that lasts longer is none: a month, s.
const MOST_S: f64 = 2_678_400.0;

/// What is wrong: the part's name and a few words.
type Wrong = (String, String);

fn number(part: String, x: f64, least: f64, most: f64) -> Option<Wrong> {
    // A not-a-number is in no range.
    (!(least..=most).contains(&x)).then(|| (part, format!("is {x}, not from {least} to {most}")))
}

pub(in crate::commission) fn percent(part: String, x: f64) -> Option<Wrong> {
    number(part, x, -MOST_PERCENT, MOST_PERCENT)
}

pub(in crate::commission) fn seconds(part: String, x: f64) -> Option<Wrong> {
    number(part, x, 0.0, MOST_S)
}

pub(in crate::commission) fn maybe(part: String, x: Option<f64>, least: f64, most: f64) -> Option<Wrong> {
    number(part, x?, least, most)
}

pub(in crate::commission) fn samples(part: &str, list: &[Sample]) -> Option<Wrong> {
    let mut before = 0.0;
    for (n, s) in list.iter().enumerate() {
        let name = || format!("{part}[{n}]");
        if let Some(wrong) = seconds(name(), s.at_s).or_else(|| percent(name(), s.percent?)) {
            return Some(wrong);
        }
        if s.at_s < before {
            return Some((name(), format!("is at {} s, before the one in front of it", s.at_s)));
        }
        before = s.at_s;
    }
    None
}

pub(in crate::commission) fn status(all: &[StatusBit]) -> Option<Wrong> {
    all.iter().enumerate().find_map(|(n, b)| {
        seconds(format!("status[{n}].first_s"), b.first_s)
            .or_else(|| maybe(format!("status[{n}].came_s"), b.came_s, 0.0, MOST_S))
    })
}

fn external(part: &str, e: &Option<External>) -> Option<Wrong> {
    let e = e.as_ref()?;
    percent(format!("{part}.external.percent"), e.percent)
        .or_else(|| number(format!("{part}.external.value"), e.value, -1e9, 1e9))
}

fn watch(part: &str, w: &Watch) -> Option<Wrong> {
    seconds(format!("{part}.watch.asked_at_s"), w.asked_at_s)
        .or_else(|| seconds(format!("{part}.watch.asked_uncertain_s"), w.asked_uncertain_s))
        .or_else(|| seconds(format!("{part}.watch.samples_uncertain_s"), w.samples_uncertain_s))
        .or_else(|| maybe(format!("{part}.watch.by_hand_s"), w.by_hand_s, 0.0, MOST_S))
        .or_else(|| samples(&format!("{part}.watch.samples"), &w.samples))
}

fn plan(p: &Plan) -> Option<Wrong> {
    let all = p.levels_percent.iter().chain(&p.creep_places_percent).copied();
    let steps = p.steps_percent.iter().flat_map(|s| [s.0, s.1]);
    all.chain(steps)
        .find_map(|x| percent("plan".into(), x))
        .or_else(|| number("plan.creep_increment_percent".into(), p.creep_increment_percent, 0.0, 100.0))
        .or_else(|| seconds("plan.step_watch_s".into(), p.step_watch_s))
        .or_else(|| rest("plan.rest", &p.rest))
}

pub(in crate::commission) fn rest(part: &str, r: &Rest) -> Option<Wrong> {
    number(format!("{part}.within_percent"), r.within_percent, 0.0, 100.0)
        .or_else(|| seconds(format!("{part}.for_s"), r.for_s))
        .or_else(|| seconds(format!("{part}.most_s"), r.most_s))
}

fn shown(part: &str, shown: &Shown) -> Option<Wrong> {
    match shown {
        Shown::CurrentMa(ma) => number(part.to_owned(), *ma, -100.0, 100.0),
        Shown::Pressure { before, after, .. } => {
            [before, after].into_iter().find_map(|p| number(part.to_owned(), *p, -1e9, 1e9))
        }
        Shown::Gauge { before_kpa, after_kpa } => {
            [before_kpa, after_kpa].into_iter().find_map(|p| number(part.to_owned(), *p, -1e9, 1e9))
        }
        Shown::Silent | Shown::Nothing => None,
    }
}

fn end(part: &str, e: &End) -> Option<Wrong> {
    samples(&format!("{part}.readings"), &e.readings)
        .or_else(|| maybe(format!("{part}.angle_deg"), e.angle_deg, -360.0, 360.0))
        .or_else(|| external(part, &e.external))
}

impl Record {
    /// The first number that cannot be: the part's name and what is wrong with it.
    pub(super) fn first_wrong(&self) -> Option<Wrong> {
        let measures = [("sensor", Some(&self.sensor)), ("external", self.external.as_ref())];
        let measures = measures.into_iter().filter_map(|(n, m)| m.map(|m| (n, m)));
        plan(&self.plan)
            .or_else(|| status(&self.status))
            .or_else(|| {
                measures.clone().find_map(|(n, m)| {
                    maybe(format!("{n}.resolution_percent"), m.resolution_percent, 0.0, 100.0)
                        .or_else(|| maybe(format!("{n}.limit_percent"), m.limit_percent, 0.0, 100.0))
                })
            })
            .or_else(|| {
                let unknown = |i: usize| i >= self.instruments.len();
                let (n, i) =
                    measures.clone().find_map(|(n, m)| Some((n, m.instrument.filter(|i| unknown(*i))?)))?;
                Some((
                    format!("{n}.instrument"),
                    format!("is {i}, and there are {} instruments", self.instruments.len()),
                ))
            })
            .or_else(|| maybe("valve.rated_travel".into(), self.valve.rated_travel, f64::MIN_POSITIVE, 1e5))
            .or_else(|| maybe("supply_kpa".into(), self.supply_kpa, 0.0, 1e5))
            .or_else(|| maybe("ambient_c".into(), self.ambient_c, -100.0, 200.0))
            .or_else(|| self.first_wrong_seen())
    }

    fn first_wrong_seen(&self) -> Option<Wrong> {
        let points = || {
            self.points.iter().enumerate().find_map(|(n, p)| {
                let at = format!("points[{n}]");
                percent(format!("{at}.asked_percent"), p.asked_percent)
                    .or_else(|| percent(format!("{at}.wanted_percent"), p.wanted_percent))
                    .or_else(|| maybe(format!("{at}.asked_ma"), p.asked_ma, 0.0, 100.0))
                    .or_else(|| maybe(format!("{at}.read_ma"), p.read_ma, -100.0, 100.0))
                    .or_else(|| percent(format!("{at}.set_point_percent"), p.set_point_percent?))
                    .or_else(|| percent(format!("{at}.control_system_percent"), p.control_system_percent?))
                    .or_else(|| maybe(format!("{at}.angle_deg"), p.angle_deg, -360.0, 360.0))
                    .or_else(|| seconds(format!("{at}.asked_at_s"), p.asked_at_s))
                    .or_else(|| seconds(format!("{at}.dwell_s"), p.dwell_s))
                    .or_else(|| samples(&format!("{at}.readings"), &p.readings))
                    .or_else(|| external(&at, &p.external))
            })
        };
        let creeps = || {
            let moves = self.creeps.iter().enumerate().flat_map(|(n, c)| {
                c.moves.iter().enumerate().map(move |(m, one)| (format!("creeps[{n}].moves[{m}]"), one))
            });
            self.creeps
                .iter()
                .find_map(|c| percent("a creep's place_percent".into(), c.place_percent))
                .or_else(|| {
                    moves.into_iter().find_map(|(at, m)| {
                        percent(format!("{at}.input_percent"), m.input_percent)
                            .or_else(|| seconds(format!("{at}.asked_at_s"), m.asked_at_s))
                            .or_else(|| samples(&format!("{at}.readings"), &m.readings))
                            .or_else(|| external(&at, &m.external))
                    })
                })
        };
        let steps = || {
            let of = |name: &'static str, list: &'_ [super::Step]| {
                list.iter().enumerate().find_map(|(n, s)| {
                    let at = format!("{name}[{n}]");
                    percent(format!("{at}.from_percent"), s.from_percent)
                        .or_else(|| percent(format!("{at}.to_percent"), s.to_percent))
                        .or_else(|| watch(&at, &s.watch))
                })
            };
            of("steps", &self.steps).or_else(|| of("strokes", &self.strokes))
        };
        let fails = || {
            self.fails.iter().enumerate().find_map(|(n, f)| {
                let at = format!("fails[{n}]");
                percent(format!("{at}.from_percent"), f.from_percent)
                    .or_else(|| watch(&at, &f.watch))
                    .or_else(|| shown(&format!("{at}.shown"), f.shown.as_ref()?))
            })
        };
        let elsewhere = || {
            self.elsewhere.iter().enumerate().find_map(|(n, e)| {
                let (at, d) = (format!("elsewhere[{n}]"), e.drive);
                seconds(format!("{at}.asked_at_s"), e.asked_at_s)
                    .or_else(|| percent(format!("{at}.drive.asked_percent"), d.asked_percent))
                    .or_else(|| maybe(format!("{at}.drive.asked_ma"), d.asked_ma, 0.0, 100.0))
                    .or_else(|| maybe(format!("{at}.drive.read_ma"), d.read_ma, -100.0, 100.0))
                    .or_else(|| percent(format!("{at}.drive.set_point_percent"), d.set_point_percent?))
            })
        };
        let tails = || {
            self.tails.iter().enumerate().find_map(|(n, t)| {
                let at = format!("tails[{n}]");
                seconds(format!("{at}.asked_at_s"), t.asked_at_s)
                    .or_else(|| percent(format!("{at}.from_percent"), t.from_percent?))
                    .or_else(|| seconds(format!("{at}.within_since_s"), t.within_since_s))
                    .or_else(|| number(format!("{at}.within_percent"), t.within_percent, 0.0, 100.0))
                    .or_else(|| samples(&format!("{at}.parts"), &t.parts))
            })
        };
        let ends = || self.ends.iter().enumerate().find_map(|(n, e)| end(&format!("ends[{n}]"), e));
        points().or_else(creeps).or_else(steps).or_else(elsewhere).or_else(tails).or_else(fails).or_else(ends)
    }
}
