//! A cause's own checks, and what it does not explain [TG-52] [TG-54] [TG-57].

use super::{DECIDES, Finding, LIKELY, Next, SHOWS_TOO, Session};
use crate::commission::triage::knowledge::{LEVELS, Seen};

/// A value that the knowledge names with a cause is likelier than this at some level: it names 0.05 at the least (own choice).
const NAMED: f64 = 0.02;
/// What takes no more is a look, minutes [TG-55].
const LOOK_MIN: f64 = 2.0;
/// A cause leaves something as usual so seldom that a reading of the bus denies it (own choice).
const DENIES: f64 = 0.05;
/// So many other causes may show what a cause's own check shows (own choice).
const MOST_OTHERS: usize = 3;

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

    /// The checks by which a person sees this cause and hardly any other, by the places of their symptoms [TG-57].
    fn own_checks(&self, cause: usize) -> Vec<usize> {
        let known = self.knowledge;
        let p = |symptom, value, level| known.likelihood(Some(cause), level, symptom, value);
        let of_persons = (0..known.symptoms.len())
            .filter(|&s| known.symptoms[s].seen == Seen::Person && known.symptoms[s].check.is_some());
        let decides = of_persons.filter(|&s| (0..LEVELS).all(|level| 1.0 - p(s, 0, level) >= DECIDES));
        let with_others: Vec<(usize, usize)> = decides
            .map(|s| {
                let over_levels = |v| (0..LEVELS).map(|level| p(s, v, level)).sum::<f64>();
                let most = (1..known.symptoms[s].values.len())
                    .max_by(|a, b| over_levels(*a).total_cmp(&over_levels(*b)))
                    .unwrap_or_default();
                let is_other = |c: &usize| known.causes[*c].class != known.causes[cause].class;
                let shows = |c: &usize| self.shows_at_most(*c, s, |v| v == most) >= SHOWS_TOO;
                (s, (0..known.causes.len()).filter(is_other).filter(shows).count())
            })
            .filter(|(_, others)| *others <= MOST_OTHERS)
            .collect();
        let fewest = with_others.iter().map(|(_, others)| *others).min();
        with_others.into_iter().filter(|(_, others)| Some(*others) == fewest).map(|(s, _)| s).collect()
    }

    /// The first cause, where it would be called likely.
    fn likely(&self) -> Option<usize> {
        self.ranks().first().filter(|r| r.class_share >= LIKELY)?.cause
    }

    /// The own check of the likely cause that a person has answered as on a healthy valve, while none of its others speaks for it: the symptom
    /// by its place [TG-57].
    pub(in crate::commission::triage) fn denied(&self) -> Option<usize> {
        let own = self.own_checks(self.likely()?);
        let mut answers = self.findings.iter().filter_map(|(_, e)| *e).filter(|e| own.contains(&e.symptom));
        let first = answers.next().filter(|e| e.value == 0)?;
        answers.all(|e| e.value == 0).then_some(first.symptom)
    }

    /// The own check of the likely cause that was not answered, by its place [TG-54].
    pub(in crate::commission::triage) fn not_answered(&self) -> Option<usize> {
        let is_answered = |s: &usize| self.findings.iter().any(|(_, e)| e.is_some_and(|e| e.symptom == *s));
        self.own_checks(self.likely()?).into_iter().find(|s| !is_answered(s))
    }

    /// What speaks most for the likely cause, symptom by its place: behind the mending it is looked at again [TG-54].
    pub(in crate::commission::triage) fn behind_the_mending(&self) -> Option<usize> {
        let (speaks_for, _) = self.evidence(Some(self.likely()?));
        speaks_for.iter().find_map(|w| self.knowledge.symptom(&w.finding.symptom))
    }

    /// The look that goes before a workshop has the likely cause, however sure it is; the shortest, as the knowledge has them [TG-55].
    pub(super) fn look_first(&self) -> Option<Next> {
        let known = self.knowledge;
        let likely = self.likely().filter(|c| known.causes[*c].workshop)?;
        let all = || self.findings.iter().filter_map(|(_, e)| *e);
        let unusual = all().filter(|e| e.value > 0).count();
        let may_be = |c: usize| {
            let shared = all()
                .filter(|e| e.value > 0 && self.shows_at_most(c, e.symptom, |v| v == e.value) >= SHOWS_TOO);
            let mut usual_of_the_bus = all().filter(|e| e.value == 0 && !e.by_person);
            unusual > 0
                && 2 * shared.count() >= unusual
                && !usual_of_the_bus.any(|e| self.shows_at_most(c, e.symptom, |v| v == 0) < DENIES)
        };
        let on_site: Vec<usize> =
            (0..known.causes.len()).filter(|&c| !known.causes[c].workshop && may_be(c)).collect();
        let is_look = |s: &usize| {
            let check = known.symptoms[*s].check.as_ref();
            let is_short = check.is_some_and(|c| !c.workshop && !c.strokes && c.effort_min <= LOOK_MIN);
            is_short && self.can_be_asked(*s)
        };
        let shows = |c: usize, s: usize| self.shows_at_most(c, s, |v| v > 0) >= DECIDES;
        let decides = |s: &usize| !shows(likely, *s) && on_site.iter().any(|&c| shows(c, *s));
        let belief = self.belief();
        let looks = (0..known.symptoms.len()).filter(is_look).filter(decides);
        let looks = looks.map(|s| self.told_by(&belief, s));
        looks.min_by(|a, b| a.effort_min.total_cmp(&b.effort_min).then(a.symptom.cmp(&b.symptom)))
    }

    /// The look that stands before a workshop where one is sure, or else the check that tells most.
    pub(super) fn best_or_look(&self) -> Option<Next> {
        let is_sure = self.ranks().first().is_some_and(|r| r.class_share >= self.knowledge.sure);
        self.look_first().filter(|_| is_sure).or_else(|| self.best()).or_else(|| self.look_first())
    }
}
