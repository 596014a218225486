//! What a told cause does not explain [TG-52].

use super::{Finding, Session};
use crate::commission::triage::knowledge::LEVELS;

/// A value that the knowledge names with a cause is likelier than this at some level: it names 0.05 at the least (own choice).
const NAMED: f64 = 0.02;

impl Session<'_> {
    /// The largest likelihood, over the levels, that a cause shows one of these values of a symptom.
    fn shows_at_most(&self, cause: usize, symptom: usize, is: impl Fn(usize) -> bool) -> f64 {
        let values = || (0..self.knowledge.symptoms[symptom].values.len()).filter(|v| is(*v));
        let of = |level| -> f64 {
            values().map(|v| self.knowledge.likelihood(Some(cause), level, symptom, v)).sum()
        };
        (0..LEVELS).map(of).fold(0.0, f64::max)
    }

    /// What the bus told that is not as on a healthy valve, and that the knowledge names with no cause of these classes.
    pub(in crate::commission::triage) fn beside(&self, classes: &[&str]) -> Vec<&Finding> {
        let told = |c: &usize| classes.contains(&self.knowledge.causes[*c].class.as_str());
        let causes: Vec<usize> = (0..self.knowledge.causes.len()).filter(told).collect();
        let is_named =
            |symptom, value| causes.iter().any(|&c| self.shows_at_most(c, symptom, |v| v == value) > NAMED);
        let all = self
            .findings
            .iter()
            .filter(|(_, e)| e.is_some_and(|e| e.value > 0 && !e.by_person && !is_named(e.symptom, e.value)));
        all.map(|(f, _)| f).collect()
    }
}
