//! The end of a wait for rest, from which follows what creeping may have left [TV-64].

use super::{Rest, Sample};
use serde::{Deserialize, Serialize};

/// Less than that is nothing, percent (own choice).
const NOTHING_PERCENT: f64 = 1e-3;
/// Parts whose averages are compared.
const PARTS: usize = 4;

/// How a wait ended: averages of its last third, or of the time of rest where that is longer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tail {
    /// When the set point was asked for, s: the same as in its point or move.
    pub asked_at_s: f64,
    /// Where the valve had rested before, percent; `None`: not known.
    pub from_percent: Option<f64>,
    /// Averages of up to four parts of the end of the wait, with the middle of their times, s.
    pub parts: Vec<Sample>,
    /// Readings in each of them but the last, which may have fewer.
    pub each: usize,
    /// From then on all readings were no further than `within_percent` from the last average, s.
    pub within_since_s: f64,
    /// Percent: what counts as rest.
    pub within_percent: f64,
}

/// The slowest lag whose end can be seen: the end of a lag that has come a way is the larger the slower it is, up to here, s.
fn slowest(whole_s: f64, window_s: f64) -> f64 {
    window_s / (whole_s / (whole_s - window_s)).ln()
}

/// The lag that has come a way, percent, by `whole_s`, s, and has crept so much of it, percent, over the last `window_s`, s.
fn lag(way: f64, whole_s: f64, window_s: f64, crept: f64) -> f64 {
    let at_end = |lag_s: f64| way * ((-(whole_s - window_s) / lag_s).exp() - (-whole_s / lag_s).exp());
    let (mut low, mut high) = (0.0, slowest(whole_s, window_s));
    for _ in 0..60 {
        let lag_s = (low + high) / 2.0;
        if at_end(lag_s) < crept {
            low = lag_s;
        } else {
            high = lag_s;
        }
    }
    high
}

impl Tail {
    /// Of readings in order of time, those before the asking left out.
    pub fn of(samples: &[Sample], asked_at_s: f64, from_percent: Option<f64>, rest: &Rest) -> Tail {
        let last_s = samples.last().map_or(asked_at_s, |s| s.at_s);
        let from_s = last_s - ((last_s - asked_at_s) / 3.0).max(rest.for_s);
        let first = samples.partition_point(|s| s.at_s < from_s.max(asked_at_s));
        let numbers: Vec<(f64, f64)> =
            samples[first..].iter().filter_map(|s| Some((s.at_s, s.percent?))).collect();
        let each = numbers.len().div_ceil(PARTS).max(1);
        let part = |list: &[(f64, f64)]| {
            let mean = |of: &dyn Fn(&(f64, f64)) -> f64| list.iter().map(of).sum::<f64>() / list.len() as f64;
            Sample::new(mean(&|s| s.0), mean(&|s| s.1))
        };
        let parts: Vec<Sample> = numbers.chunks(each).map(part).collect();
        let within_percent = rest.within_percent;
        let last = parts.last().and_then(|s| s.percent);
        let far = |s: &Sample| s.percent.zip(last).is_some_and(|(p, last)| (p - last).abs() > within_percent);
        let near = samples.iter().rposition(far).map_or(0, |n| n + 1);
        let within_since_s = samples.get(near).map_or(last_s, |s| s.at_s);
        Tail { asked_at_s, from_percent, parts, each, within_since_s, within_percent }
    }

    /// How far the averages lie apart, percent; 0 with fewer than two.
    pub fn span_percent(&self) -> f64 {
        let numbers = || self.parts.iter().filter_map(|s| s.percent);
        (numbers().fold(f64::MIN, f64::max) - numbers().fold(f64::MAX, f64::min)).max(0.0)
    }

    /// The time constant of the slowest lag that this end of the wait may be that of, s, where the difference of two averages is uncertain by
    /// `by` percent, and how far it may have crept over the end, percent. `None` with fewer than two averages.
    fn creeps(&self, by: f64) -> Option<(f64, f64)> {
        let (first, last) = (self.parts.first()?, self.parts.last()?);
        let (whole_s, window_s) = (last.at_s - self.asked_at_s, last.at_s - first.at_s);
        if window_s <= 0.0 || whole_s <= window_s {
            return None;
        }
        let seen = self.span_percent();
        let Some(way) = self.way_percent() else { return Some((slowest(whole_s, window_s), seen + by)) };
        if way <= seen + by {
            // It has not moved that could be seen: what creeps then has to be seen.
            return Some((slowest(whole_s, window_s), (seen - by).max(0.0)));
        }
        let lag_s = lag(way, whole_s, window_s, seen + by);
        let near_s = last.at_s - self.within_since_s;
        let far = self.within_percent + by;
        if near_s > window_s && near_s < whole_s && far < way {
            return Some((lag_s.min(lag(way, whole_s, near_s, far)), seen + by));
        }
        Some((lag_s, seen + by))
    }

    /// How far it has come, percent.
    fn way_percent(&self) -> Option<f64> {
        let (from, to) = self.from_percent.zip(self.parts.last()?.percent)?;
        Some((to - from).abs())
    }

    /// The time constant of the slowest lag that it may be, s; 0 where nothing is known of it.
    pub fn slowest_lag_s(&self, by: f64) -> f64 {
        self.creeps(by).map_or(0.0, |c| c.0)
    }

    /// What may be left of the way at a moment, s, percent, where the difference of two averages is uncertain by `by` [TV-64]; 0
    /// where nothing is known of it.
    pub fn left_percent(&self, at_s: f64, by: f64) -> f64 {
        let (Some((lag_s, crept)), Some(first), Some(last)) =
            (self.creeps(by), self.parts.first(), self.parts.last())
        else {
            return 0.0;
        };
        let mut left = crept / ((last.at_s - first.at_s) / lag_s).exp_m1();
        if let Some(way) = self.way_percent().filter(|way| *way > crept) {
            left = left.min(way / ((last.at_s - self.asked_at_s) / lag_s).exp_m1());
        }
        // Before that it was more, but within what counts as rest.
        let most = left + self.within_percent + by;
        let left = (left * ((last.at_s - at_s) / lag_s).clamp(-50.0, 50.0).exp()).min(most);
        if left < NOTHING_PERCENT { 0.0 } else { left }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn waited(way: f64, lag_s: f64, seconds: f64, interval_s: f64) -> Vec<Sample> {
        let number = (seconds / interval_s) as u32;
        let times = (1..=number).map(|n| interval_s * f64::from(n));
        times.map(|t| Sample::new(t, 20.0 + way * (1.0 - (-t / lag_s).exp()))).collect()
    }

    /// 25 % with a lag of 5 s, waited for 30 s. Of the 75 readings of a wait each 0.4 s 25 lie in the last third: parts of 7, 7, 7 and 5; the
    /// first around 21.2 s, the last around 29.2 s; 25 exp(-21.2/5) - 25 exp(-29.2/5) = 0.2874 %, and 25 exp(-30/5) = 0.0620 % are left.
    #[test]
    fn a_lag_by_hand() {
        let tail = Tail::of(&waited(25.0, 5.0, 30.0, 0.4), 0.0, Some(20.0), &Rest::default());
        assert_eq!((tail.parts.len(), tail.each), (4, 7));
        assert!((tail.span_percent() - 0.2874).abs() < 0.005, "{tail:?}");
        assert!((tail.slowest_lag_s(0.0) - 5.0).abs() < 0.05, "{}", tail.slowest_lag_s(0.0));
        assert!((tail.left_percent(30.0, 0.0) - 0.0620).abs() < 0.004, "{}", tail.left_percent(30.0, 0.0));
        // Nothing is known of less than two readings; without the place before it may be slower.
        assert_eq!(Tail::of(&[], 0.0, None, &Rest::default()).left_percent(1.0, 0.1), 0.0);
        let unknown = Tail { from_percent: None, ..tail.clone() };
        assert!(unknown.left_percent(30.0, 0.0) > tail.left_percent(30.0, 0.0));
        let text = serde_json::to_string(&tail).expect("text");
        assert_eq!(serde_json::from_str::<Tail>(&text).ok(), Some(tail));
    }

    proptest! {
        /// Whatever lag a valve has, and however its readings are rounded: what may be left is no less than what is, once
        /// the last third has the end of the lag alone.
        #[test]
        fn what_is_left_is_held(way in 1.0f64..100.0, lag_s in 0.1f64..12.0, share in 2.0f64..9.0, interval in 0.1f64..0.5, rounded in 0usize..2) {
            let seconds = (share * lag_s).max(4.5);
            let step = [1e-9, 0.05][rounded];
            let mut samples = waited(way, lag_s, seconds, interval);
            samples.iter_mut().for_each(|s| s.percent = s.percent.map(|p| (p / step).round() * step));
            let tail = Tail::of(&samples, 0.0, Some(20.0), &Rest::default());
            let at = samples.last().expect("readings").at_s;
            let (truth, told) = (way * (-at / lag_s).exp(), tail.left_percent(at, step));
            prop_assert!(told >= 0.97 * truth - 1e-3, "{} is more than {}", truth, told);
        }

        #[test]
        fn anything_read(read in prop::collection::vec((0.0f64..1.0, prop::option::of(-1e4f64..1e4)), 0..30), by in 0.0f64..1.0, from in prop::option::of(-1e4f64..1e4)) {
            let mut at_s = 0.0;
            let samples: Vec<Sample> = read.iter().map(|(d, percent)| {
                at_s += if *d < 0.2 { 0.0 } else { *d };
                Sample { at_s, percent: *percent }
            }).collect();
            let tail = Tail::of(&samples, 0.5, from, &Rest::default());
            let left = tail.left_percent(at_s, by);
            prop_assert!(left.is_finite() && left >= 0.0, "{} of {:?}", left, tail);
            prop_assert!(tail.slowest_lag_s(by).is_finite());
        }
    }
}
