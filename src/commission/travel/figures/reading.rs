//! Readings at rest, and what they are uncertain by [TV-06].

use super::super::record::{External, Record, Sample, Watch};
use super::View;
use super::doubt::{Cause, Why};

/// How many standard deviations noise counts with (own choice).
const NOISE: f64 = 3.0;

/// A number, and by how much it may be wrong, either way [TV-06].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertain {
    /// The number.
    pub value: f64,
    /// Limits either way, 0 or more, in the unit of the value.
    pub by: f64,
}

/// The average of some readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Average {
    /// Percent.
    pub mean: f64,
    /// Of how many.
    pub count: usize,
    /// Largest less smallest, percent.
    pub span: f64,
}

impl Average {
    /// Of numbers; `None` of none.
    pub fn of(numbers: impl IntoIterator<Item = f64>) -> Option<Average> {
        let (mut sum, mut count, mut least, mut most) = (0.0, 0, f64::INFINITY, f64::NEG_INFINITY);
        for x in numbers {
            (sum, count, least, most) = (sum + x, count + 1, least.min(x), most.max(x));
        }
        (count > 0).then(|| Average { mean: sum / count as f64, count, span: most - least })
    }

    /// Of samples that have a number.
    pub fn of_samples(samples: &[Sample]) -> Option<Average> {
        Average::of(samples.iter().filter_map(|s| s.percent))
    }
}

/// How good the readings of a view are.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Quality {
    /// Least difference that is shown, percent of travel.
    pub resolution: Option<f64>,
    /// Standard deviation of single readings at rest, percent of travel.
    pub sigma: Option<f64>,
    /// The resolution was not known and is taken from the numbers that were typed: the last digit, in their unit [TV-88].
    pub typed: Option<f64>,
    /// Somebody read it by eye, and how fine is not known: nothing is said of what it is uncertain by [TV-88].
    pub by_eye: bool,
    /// Error limit of the instrument, percent of travel; 0 for the device's own sensor, whose view it is.
    pub limit: f64,
}

impl Quality {
    /// Of a record's readings in a view.
    pub fn of(record: &Record, view: View) -> Quality {
        let measure = record.measure(view);
        let known = measure.and_then(|m| m.resolution_percent);
        let typed = match (view, known) {
            (View::External, None) => typed_step(record),
            _ => None,
        };
        Quality {
            resolution: known.or(typed.map(|t| t.1)),
            typed: typed.map(|t| t.0),
            by_eye: view == View::External && known.is_none() && typed.is_none(),
            sigma: pooled(record, view),
            limit: match view {
                View::Sensor => 0.0,
                View::External => measure.and_then(|m| m.limit_percent).unwrap_or(0.0),
            },
        }
    }

    fn half(&self) -> f64 {
        self.resolution.unwrap_or(0.0) / 2.0
    }

    fn noise(&self) -> f64 {
        NOISE * self.sigma.unwrap_or(0.0)
    }

    /// What one reading is uncertain by, percent.
    pub fn single(&self) -> f64 {
        self.half() + self.noise()
    }

    /// What the average of `count` readings is uncertain by, percent.
    pub fn mean(&self, count: usize) -> f64 {
        self.half() + self.noise() / (count.max(1) as f64).sqrt()
    }

    /// What the difference of two averages is uncertain by, percent.
    pub fn difference(&self, a: usize, b: usize) -> f64 {
        let parts = 1.0 / a.max(1) as f64 + 1.0 / b.max(1) as f64;
        2.0 * self.half() + self.noise() * parts.sqrt()
    }

    /// What the difference of two averages of the same number is uncertain by, percent.
    pub fn between(&self, each: usize) -> f64 {
        self.difference(each, each)
    }

    /// Least change of one reading that counts as one, percent [TV-13].
    pub fn seen(&self) -> f64 {
        0.1f64.max(self.resolution.unwrap_or(0.0)).max(5.0 * self.sigma.unwrap_or(0.0))
    }

    /// What is not known of them, as a sentence; empty where all is.
    pub fn unknown(&self) -> String {
        let words = match (self.resolution, self.sigma) {
            _ if self.by_eye => "The resolution of the reading is not known.",
            // Whoever reads a scale reads it once.
            (Some(_), None) if self.typed.is_some() => "",
            (Some(_), Some(_)) => "",
            (None, Some(_)) => "The resolution of the reading is not known and counts as 0.",
            (Some(_), None) => "The noise of the reading is not known and counts as 0.",
            (None, None) => "Resolution and noise of the reading are not known and count as 0.",
        };
        match self.typed {
            Some(step) => {
                format!(
                    "The resolution of the reading was not told; it is taken as {step}, the last digit that was typed."
                )
            }
            None => words.to_owned(),
        }
    }

    /// Why nothing of these readings is judged, if nothing is.
    pub fn doubt(&self) -> Option<Why> {
        self.by_eye
            .then(|| Why::new(Cause::NoResolution, "nobody said the smallest division of what was read"))
    }
}

/// Digits behind the point that are looked at.
const MOST_DIGITS: i32 = 9;

/// The last digit of all numbers that were typed of the measurement: the largest power of ten, 1 at most, of which all are multiples, in their
/// unit and in percent of travel; `None` where the typed numbers do not tell how many percent a unit is [TV-88].
fn typed_step(record: &Record) -> Option<(f64, f64)> {
    let points = record.points.iter().filter_map(|p| p.external.as_ref());
    let all: Vec<&External> = points.chain(record.ends.iter().filter_map(|e| e.external.as_ref())).collect();
    let least = all.iter().min_by(|a, b| a.value.total_cmp(&b.value))?;
    let most = all.iter().max_by(|a, b| a.value.total_cmp(&b.value))?;
    let span = most.value - least.value;
    let per_unit = (most.percent - least.percent).abs() / span;
    if !(span > 0.0 && per_unit > 0.0 && per_unit.is_finite()) {
        return None;
    }
    let explains = |digits: i32| {
        let tens = 10f64.powi(digits);
        all.iter().all(|e| (e.value * tens - (e.value * tens).round()).abs() <= 1e-6)
    };
    let digits = (0..=MOST_DIGITS).find(|d| explains(*d)).unwrap_or(MOST_DIGITS);
    let step = 10f64.powi(-digits);
    Some((step, step * per_unit))
}

/// Samples of a watch before the asking, within the time of rest; where nothing was read then, as while a question waits for a person, the last
/// ones before [TV-84].
pub fn before(watch: &Watch, for_s: f64) -> impl Iterator<Item = &Sample> {
    let asked_s = watch.asked_at_s;
    let last_s = watch.samples.iter().rfind(|s| s.at_s <= asked_s).map_or(asked_s, |s| s.at_s);
    let until = if last_s < asked_s - for_s { last_s } else { asked_s };
    watch.samples.iter().filter(move |s| s.at_s <= until && s.at_s >= until - for_s)
}

/// Standard deviation over all places at which the valve rested; `None` where no place has two readings.
fn pooled(record: &Record, view: View) -> Option<f64> {
    let (mut squares, mut free) = (0.0, 0usize);
    let mut add = |numbers: &[f64]| {
        if let Some(a) = Average::of(numbers.iter().copied()) {
            squares += numbers.iter().map(|x| (x - a.mean).powi(2)).sum::<f64>();
            free += numbers.len() - 1;
        }
    };
    let numbers = |samples: &[Sample]| samples.iter().filter_map(|s| s.percent).collect::<Vec<_>>();
    if view == View::Sensor {
        record.points.iter().filter(|p| p.settled).for_each(|p| add(&numbers(&p.readings)));
        record.creeps.iter().flat_map(|c| &c.moves).for_each(|m| add(&numbers(&m.readings)));
        record.ends.iter().for_each(|e| add(&numbers(&e.readings)));
    }
    let rest = record.plan.rest;
    let steps = record.steps.iter().chain(&record.strokes).map(|s| &s.watch);
    for watch in steps.chain(record.fails.iter().map(|f| &f.watch)).filter(|w| w.view == view) {
        let head: Vec<f64> = before(watch, rest.for_s).filter_map(|s| s.percent).collect();
        // A valve that moves is no noise.
        if Average::of(head.iter().copied()).is_some_and(|a| a.span <= rest.within_percent) {
            add(&head);
        }
    }
    (free > 0).then(|| (squares / free as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: r = 0.1, s = 0.02. One reading 0.05 + 0.06; four 0.05 + 0.03; a difference of four and four 0.1 +
    /// 0.06 sqrt(1/2) = 0.142426.
    #[test]
    fn rules_by_hand() {
        let q = Quality { resolution: Some(0.1), sigma: Some(0.02), ..Quality::default() };
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-6, "{a} is not {b}");
        near(q.single(), 0.11);
        near(q.mean(4), 0.08);
        near(q.difference(4, 4), 0.142_426);
        near(q.seen(), 0.1);
        near(Quality { sigma: Some(0.05), ..q }.seen(), 0.25);
        near(Quality { resolution: Some(0.4), ..q }.seen(), 0.4);
        assert_eq!(q.unknown(), "");
        assert!(Quality::default().unknown().contains("Resolution and noise"));
    }

    #[test]
    fn averages() {
        assert_eq!(Average::of([]), None);
        let a =
            Average::of_samples(&[Sample::new(0.0, 1.0), Sample::new(1.0, f64::NAN), Sample::new(2.0, 4.0)]);
        assert_eq!(a, Some(Average { mean: 2.5, count: 2, span: 3.0 }));
    }
}
