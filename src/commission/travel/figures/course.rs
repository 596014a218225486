//! Where travel can have been between samples, and when it can have come to a level [TV-63].

/// A sample: time, s, and value.
type Pair = (f64, f64);

/// When something happened, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Most likely then.
    pub at: f64,
    /// No sooner.
    pub least: f64,
    /// No later.
    pub most: f64,
}

/// A straight line through a sample.
#[derive(Clone, Copy)]
struct Line {
    through: Pair,
    slope: f64,
}

impl Line {
    /// Through two samples whose times differ.
    fn of(a: Pair, b: Pair) -> Line {
        Line { through: a, slope: (b.1 - a.1) / (b.0 - a.0) }
    }

    fn at(&self, t: f64) -> f64 {
        self.through.1 + self.slope * (t - self.through.0)
    }

    fn reaches(&self, level: f64) -> f64 {
        self.through.0 + (level - self.through.1) / self.slope
    }
}

/// How the way between two samples can be bent.
#[derive(Clone, Copy, PartialEq)]
enum Bent {
    /// To the right alone: the rise falls.
    Right,
    /// To the left alone: the rise grows.
    Left,
    /// Hardly: either.
    Either,
    /// First the one, then the other.
    Both,
}

/// What travel can have been between the samples `a` and `b`. A line through `a` and the sample before it, and one through `b` and the sample
/// behind, bound it where the way is bent there as between them.
struct Stretch {
    a: Pair,
    b: Pair,
    bent: Bent,
    slope: f64,
    /// Lines that bound it from below, or nothing.
    low: [Option<Line>; 2],
    high: [Option<Line>; 2],
    by: f64,
}

impl Stretch {
    fn of(way: &[Pair], n: usize, by: f64) -> Stretch {
        let (a, b) = (way[n], way[n + 1]);
        // Before the first sample and behind the last it stands.
        let before = |n: usize| n.checked_sub(1).map(|m| way[m]).filter(|z| z.0 < way[n].0);
        let behind = |n: usize| way.get(n + 1).copied().filter(|c| c.0 > way[n].0);
        let (z, c) = (before(n), behind(n + 1));
        // Rise from one sample to the next, and by how much that may be wrong.
        let rise = |pair: Option<(Pair, Pair)>| {
            let long = |p: Pair, q: Pair| (q.0 - p.0).max(f64::MIN_POSITIVE);
            pair.map_or((0.0, 0.0), |(p, q)| ((q.1 - p.1) / long(p, q), 2.0 * by / long(p, q)))
        };
        let rises = [
            rise(z.and_then(|z| Some((before(n - 1)?, z)))),
            rise(z.map(|z| (z, a))),
            rise(Some((a, b))),
            rise(c.map(|c| (b, c))),
            rise(c.and_then(|c| Some((c, behind(n + 2)?)))),
        ];
        // At z, a, b and c: whether it can be bent to the right there, and to the left.
        let can = |n: usize| {
            let (turn, sure) = (rises[n + 1].0 - rises[n].0, rises[n + 1].1 + rises[n].1);
            // Rounding is no bend.
            let sure = sure + 1e-9 * (1.0 + rises[n].0.abs() + rises[n + 1].0.abs());
            (turn <= sure, turn >= -sure)
        };
        let bent = match (can(1).0 && can(2).0, can(1).1 && can(2).1) {
            (true, true) => Bent::Either,
            (true, false) => Bent::Right,
            (false, true) => Bent::Left,
            (false, false) => Bent::Both,
        };
        let line = |q: Pair, p: Option<Pair>, by: f64| match p {
            Some(p) => Line::of((q.0, q.1 + by), (p.0, p.1 - by)),
            None => Line { through: (q.0, q.1 + by), slope: 0.0 },
        };
        let low = [can(0).1.then(|| line(a, z, -by)), can(3).1.then(|| line(b, c, -by))];
        let high = [can(0).0.then(|| line(a, z, by)), can(3).0.then(|| line(b, c, by))];
        Stretch { a, b, bent, slope: rises[2].0, low, high, by }
    }

    /// The lowest that it can have been; a valve does not leave the two samples and come back between them.
    fn low(&self, t: f64) -> f64 {
        // At its ends it is what was read; the highest that it can have been may jump there.
        if let Some(read) = self.read(t) {
            return read - self.by;
        }
        let chord = self.chord(-self.by).at(t);
        let lines = self.low.map(|l| l.map_or(f64::NEG_INFINITY, |l| l.at(t)));
        let bent = match self.bent {
            Bent::Right => chord,
            Bent::Left | Bent::Either => lines[0].max(lines[1]).min(chord),
            Bent::Both => lines[0].min(lines[1]).min(chord),
        };
        bent.max(self.a.1.min(self.b.1) - self.by)
    }

    /// The highest.
    fn high(&self, t: f64) -> f64 {
        let chord = self.chord(self.by).at(t);
        let lines = self.high.map(|l| l.map_or(f64::INFINITY, |l| l.at(t)));
        let bent = match self.bent {
            Bent::Left => chord,
            Bent::Right | Bent::Either => lines[0].min(lines[1]).max(chord),
            Bent::Both => lines[0].max(lines[1]).max(chord),
        };
        bent.min(self.a.1.max(self.b.1) + self.by)
    }

    /// What was read, at its ends.
    fn read(&self, t: f64) -> Option<f64> {
        if t <= self.a.0 { Some(self.a.1) } else { (t >= self.b.0).then_some(self.b.1) }
    }

    fn chord(&self, by: f64) -> Line {
        Line { through: (self.a.0, self.a.1 + by), slope: self.slope }
    }

    /// When a bound, [`Stretch::low`] or [`Stretch::high`], first is at `level` or above.
    fn first(&self, bound: impl Fn(&Stretch, f64) -> f64, level: f64) -> Option<f64> {
        let (a, b) = (self.a.0, self.b.0);
        let lines = self.low.iter().chain(&self.high).copied().flatten();
        let lines = lines.chain([self.chord(-self.by), self.chord(self.by)]);
        let inside = lines.map(|l| l.reaches(level)).filter(|t| (a..=b).contains(t));
        let hair = 1e-9 * (1.0 + level.abs());
        inside.chain([a, b]).filter(|t| bound(self, *t) >= level - hair).min_by(f64::total_cmp)
    }
}

/// When the way, whose times rise, first comes to `level`, which may be wrong by `level_by`; a sample may be by `by`, both 0 or more. It begins
/// below; at `end`, s, it is there even where that is not seen for certain. `None`: it cannot have come there.
pub fn comes_to(way: &[Pair], level: f64, level_by: f64, by: f64, end: f64) -> Option<Moment> {
    let stretches = |from: usize| (from..way.len().saturating_sub(1)).map(|n| (n, Stretch::of(way, n, by)));
    let sure = stretches(0).find_map(|(n, s)| Some((n, s.first(Stretch::low, level + level_by)?)));
    let last = sure.map_or(way.len(), |s| s.0);
    // Until it is there for certain it does not come back: what is surely below is before it.
    let until = way.len().min(last + 1);
    let from = way[..until].iter().rposition(|s| s.1 + by < level - level_by).unwrap_or(0);
    let least = stretches(from).find_map(|(_, s)| s.first(Stretch::high, level - level_by))?;
    let most = sure.map_or(end, |s| s.1).max(least);
    // A valve that sticks and slips does not follow such lines: one time between samples is what is known for certain.
    let at = (least + most) / 2.0;
    let (first, behind) = (way[from].0, way.get(last + 1).map_or(end, |s| s.0).max(most));
    let n = way.partition_point(|s| s.0 <= at).clamp(1, way.len() - 1);
    let half = (way[n].0 - way[n - 1].0).max(0.0) / 2.0;
    if behind - first <= 2.0 * half + 1e-12 {
        return Some(Moment { at, least: first, most: behind });
    }
    Some(Moment { at, least: least.min(at - half).max(first), most: most.max(at + half).min(behind) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn comes(way: &[Pair], level: f64) -> Moment {
        comes_to(way, level, 0.0, 0.0, 9.0).expect("it comes there")
    }

    fn near(found: Moment, at: f64, least: f64, most: f64) {
        let off = [found.at - at, found.least - least, found.most - most].map(f64::abs);
        assert!(off.iter().all(|o| *o < 1e-6), "{found:?} is not {at}, {least} to {most}");
    }

    /// Rises 8, 6, 3, 1: between 6 at 1 s and 9 at 2 s it lies above the straight line, 8 at 1.6667 s, and below the line on with 6 a second, 8 at
    /// 1.3333 s (the one back with 1 a second has 8 at 1 s): 1.5 s, and for certain within the two samples. Rises 0, 10, 0: halfway. An even rate: exact.
    #[test]
    fn bounds_by_hand() {
        near(comes(&[(-1.0, -8.0), (0.0, 0.0), (1.0, 6.0), (2.0, 9.0), (3.0, 10.0)], 8.0), 1.5, 1.0, 2.0);
        near(comes(&[(0.0, 0.0), (1.0, 0.0), (2.0, 10.0), (3.0, 10.0)], 5.0), 1.5, 1.0, 2.0);
        near(comes(&[(0.0, 0.0), (1.0, 2.0), (2.0, 4.0), (3.0, 6.0), (4.0, 8.0)], 3.5), 1.75, 1.0, 2.0);
        // The rest lasted until 0.5 s: the line on from there is no bound, and the first stretch shows a smaller rise than there was.
        near(comes(&[(0.0, 0.0), (1.0, 6.0), (2.0, 9.0), (3.0, 10.0)], 8.0), 4.0 / 3.0, 1.0, 2.0);
        assert_eq!(comes_to(&[(0.0, 0.0), (1.0, 1.0)], 5.0, 0.0, 0.0, 9.0), None);
        assert_eq!(comes_to(&[], 5.0, 0.0, 0.0, 9.0), None);
    }

    /// 2 a second, readings uncertain by 0.2, the level by 0.1. 9.0 is 1 from the readings on both sides, and lies between them for certain; 8.1 may be
    /// in front of the reading of 8 at 4 s or behind it, 3.9 to 4.2 s: about 4.05 s, half a second to either side, not a whole one.
    #[test]
    fn what_readings_are_uncertain_by() {
        let way: Vec<Pair> = (0..9).map(|n| (f64::from(n), 2.0 * f64::from(n))).collect();
        near(comes_to(&way, 9.0, 0.1, 0.2, 9.0).expect("it comes there"), 4.5, 4.0, 5.0);
        let m = comes_to(&way, 8.1, 0.1, 0.2, 9.0).expect("it comes there");
        // The lines on are uncertain by more than the straight one, so it is not quite halfway.
        assert!((m.at - 4.05).abs() < 0.05 && (m.most - m.least - 1.0).abs() < 1e-9, "{m:?}");
        assert!(m.least <= 3.9 && m.most >= 4.2, "{m:?}");
    }

    proptest! {
        /// A rate that is limited, with a lag and a dead time in front, as valves have it: what is between samples is held.
        #[test]
        fn motions_are_held(
            rate in 2.0f64..60.0, lag in 0.05f64..3.0, dead in 0.0f64..1.0, interval in 0.05f64..0.6, shift in 0.0f64..1.0,
            share in 0.01f64..0.99,
        ) {
            let mut fine = vec![(0.0, 0.0)];
            let (mut at, mut t) = (0.0f64, 0.0);
            while t < dead + 20.0 / rate + 9.0 * lag {
                t += 1e-3;
                if t >= dead {
                    at += ((20.0 - at) * (1.0 - (-1e-3 / lag).exp())).min(rate * 1e-3);
                }
                fine.push((t, at));
            }
            let level = share * at;
            let truth = fine.iter().find(|s| s.1 >= level).expect("it comes there").0;
            let first = (shift * interval * 1000.0) as usize;
            let step = (interval * 1000.0) as usize;
            let way: Vec<Pair> = core::iter::once(fine[0]).chain(fine[first + 1..].iter().copied().step_by(step)).collect();
            if let Some(m) = comes_to(&way, level, 0.0, 1e-6, t) {
                prop_assert!(m.least - 2e-3 <= truth && truth <= m.most + 2e-3, "{:?}, truth {}", m, truth);
                prop_assert!(m.most - m.least <= interval + 2e-3, "{:?}", m);
                prop_assert!(m.least <= m.at && m.at <= m.most, "{:?}", m);
            } else {
                prop_assert!(way[way.len() - 1].1 < level);
            }
        }
    }
}
