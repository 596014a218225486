//! What is believed after what was seen, and which check would tell most [TG-03] [TG-05].

use super::knowledge::{Knowledge, LEVELS, Seen};

/// Something believed in: a cause at a level, or that nothing is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct State {
    cause: Option<usize>,
    level: usize,
}

/// What was seen of a symptom, by their places in the knowledge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Evidence {
    /// Which symptom.
    pub symptom: usize,
    /// Which of its values.
    pub value: usize,
    /// A person saw it.
    pub by_person: bool,
}

/// How likely each cause is.
#[derive(Clone, Debug)]
pub struct Belief<'k> {
    knowledge: &'k Knowledge,
    states: Vec<State>,
    /// Of each state, 0 to 1; together 1.
    shares: Vec<f64>,
}

impl<'k> Belief<'k> {
    /// What is believed before anything was seen.
    pub fn new(knowledge: &'k Knowledge) -> Belief<'k> {
        let all: f64 = knowledge.causes.iter().map(|c| c.weight).sum();
        let mut states = vec![State { cause: None, level: 0 }];
        let mut shares = vec![if all > 0.0 { knowledge.healthy } else { 1.0 }];
        for (i, cause) in knowledge.causes.iter().enumerate() {
            for level in 0..LEVELS {
                states.push(State { cause: Some(i), level });
                shares.push((1.0 - knowledge.healthy) * cause.weight / all / LEVELS as f64);
            }
        }
        let mut belief = Belief { knowledge, states, shares };
        belief.normalise();
        belief
    }

    fn normalise(&mut self) {
        let sum: f64 = self.shares.iter().sum();
        if sum > 0.0 {
            self.shares.iter_mut().for_each(|s| *s /= sum);
        }
    }

    /// How likely it is that this is told, in a state: it may be told wrongly [TG-03].
    fn told(&self, state: State, symptom: usize, value: usize, wrong: f64) -> f64 {
        let of = &self.knowledge.symptoms[symptom];
        let others = (of.values.len() - 1) as f64;
        let p = |v: usize| self.knowledge.likelihood(state.cause, state.level, symptom, v);
        // What is not as usual is hardly ever called usual by who has tried it.
        if wrong > self.knowledge.wrong_readings && of.check.as_ref().is_some_and(|c| c.sure_if_usual) {
            let wrong_at = |v: usize| if v == 0 { wrong } else { self.knowledge.wrong_readings };
            let from_others: f64 =
                (0..of.values.len()).filter(|v| *v != value).map(|v| wrong_at(v) * p(v)).sum();
            return (1.0 - wrong_at(value)) * p(value) + from_others / others;
        }
        let p = p(value);
        (1.0 - wrong) * p + wrong * (1.0 - p) / others
    }

    fn wrong(&self, by_person: bool) -> f64 {
        if by_person { self.knowledge.wrong_answers } else { self.knowledge.wrong_readings }
    }

    /// Takes something seen into account.
    pub fn see(&mut self, e: Evidence) {
        let wrong = self.wrong(e.by_person);
        let told: Vec<f64> = self.states.iter().map(|s| self.told(*s, e.symptom, e.value, wrong)).collect();
        self.shares.iter_mut().zip(told).for_each(|(share, p)| *share *= p);
        self.normalise();
    }

    /// How likely it is that nothing is wrong, and then each cause in the order of the knowledge.
    pub fn of_causes(&self) -> (f64, Vec<f64>) {
        let mut healthy = 0.0;
        let mut out = vec![0.0; self.knowledge.causes.len()];
        for (state, share) in self.states.iter().zip(&self.shares) {
            match state.cause {
                Some(c) => out[c] += share,
                None => healthy += share,
            }
        }
        (healthy, out)
    }

    /// By how many bits what was seen speaks for a cause, beside what the others that are likely now would show; negative:
    /// against it. `None`: that nothing is wrong.
    pub fn weight_of(&self, cause: Option<usize>, e: Evidence) -> f64 {
        let wrong = self.wrong(e.by_person);
        let (mut own, mut own_share, mut rest, mut rest_share) = (0.0, 0.0, 0.0, 0.0);
        for (state, share) in self.states.iter().zip(&self.shares) {
            // What is believed now has this evidence in it already: taken out again, and never nothing.
            let p = self.told(*state, e.symptom, e.value, wrong);
            let share = share / p + 1e-12;
            let (sum, of) =
                if state.cause == cause { (&mut own, &mut own_share) } else { (&mut rest, &mut rest_share) };
            *sum += share * p;
            *of += share;
        }
        if own_share == 0.0 || rest_share == 0.0 {
            return 0.0;
        }
        ((own / own_share) / (rest / rest_share)).log2()
    }

    /// Doubt over the classes of causes, bit.
    fn doubt(&self, shares: &[f64], classes: &[usize], count: usize) -> f64 {
        let mut of = vec![0.0; count];
        for (share, class) in shares.iter().zip(classes) {
            of[*class] += share;
        }
        let sum: f64 = of.iter().sum();
        if sum <= 0.0 {
            return 0.0;
        }
        of.iter().filter(|p| **p > 0.0).map(|p| -(p / sum) * (p / sum).log2()).sum()
    }

    /// The class of each state by number, 0 where nothing is wrong, and how many there are.
    fn classes(&self) -> (Vec<usize>, usize) {
        let mut names: Vec<&str> = Vec::new();
        let of_cause: Vec<usize> = self
            .knowledge
            .causes
            .iter()
            .map(|c| match names.iter().position(|n| *n == c.class) {
                Some(i) => i + 1,
                None => {
                    names.push(&c.class);
                    names.len()
                }
            })
            .collect();
        let of_state = self.states.iter().map(|s| s.cause.map_or(0, |c| of_cause[c])).collect();
        (of_state, names.len() + 1)
    }

    /// By how many bits the doubt over the classes is expected to fall when a symptom is looked at.
    pub fn expected_bits(&self, symptom: usize) -> f64 {
        let wrong = self.wrong(self.knowledge.symptoms[symptom].seen == Seen::Person);
        let (classes, count) = self.classes();
        let before = self.doubt(&self.shares, &classes, count);
        let values = self.knowledge.symptoms[symptom].values.len();
        let after: f64 = (0..values)
            .map(|value| {
                let joint: Vec<f64> = self
                    .states
                    .iter()
                    .zip(&self.shares)
                    .map(|(s, share)| share * self.told(*s, symptom, value, wrong))
                    .collect();
                let p: f64 = joint.iter().sum();
                p * self.doubt(&joint, &classes, count)
            })
            .sum();
        (before - after).max(0.0)
    }
}
