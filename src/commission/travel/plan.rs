//! Usual plans, and what is wrong with one [TV-21].

use super::record::{Plan, Rest};

/// Most levels of a cycle.
const MOST_LEVELS: usize = 101;
/// Most cycles.
const MOST_CYCLES: u32 = 5;
/// Most steps, places of creeps, strokes each way.
const MOST_PARTS: usize = 100;
/// Set points go no further, percent: 3.8 and 20.5 mA, what counts as a measured value [WI-01].
const INPUTS: core::ops::RangeInclusive<f64> = -1.25..=103.125;

/// A creep goes no further until travel follows, percent [TV-21].
pub(super) const CREEP_MOST_PERCENT: f64 = 5.0;
/// How often travel is to follow on either side of the reversal [TV-21].
pub(super) const FOLLOWS: usize = 4;

/// What a valve takes for a quarter of its travel, and to answer a small move, as a rule, s (own choices).
const WAY_USUAL_S: f64 = 4.0;
const MOVE_USUAL_S: f64 = 0.5;
/// Dead band that a valve has as a rule, percent (own choice).
const DEAD_BAND_USUAL_PERCENT: f64 = 1.0;

impl Plan {
    /// 0, 25, 50, 75, 100 % and back, once [TV-21].
    pub fn loop_check() -> Plan {
        Plan { levels_percent: levels(5), cycles: 1, ..Plan::default() }
    }

    /// Cycles of so many points (2 to 101, evenly from 0 to 100 %).
    pub fn cycling(points: usize, cycles: u32) -> Plan {
        Plan { levels_percent: levels(points), cycles, ..Plan::default() }
    }

    /// The same, with creeping reversals in moves of 0.1 % at 10, 50 and 90 %.
    pub fn with_creeps(self) -> Plan {
        Plan { creep_places_percent: vec![10.0, 50.0, 90.0], creep_increment_percent: 0.1, ..self }
    }

    /// The same, with steps of 2, 10 and 20 % around the middle, up and down, watched for 20 s at most each.
    pub fn with_steps(self) -> Plan {
        let steps = [2.0, 10.0, 20.0].into_iter().flat_map(|far| {
            let (low, high) = (50.0 - far / 2.0, 50.0 + far / 2.0);
            [(low, high), (high, low)]
        });
        Plan { steps_percent: steps.collect(), step_watch_s: 20.0, ..self }
    }

    /// The same, with a stroke each way, watched for 60 s at most where nothing else is said.
    pub fn with_strokes(self, strokes: u32) -> Plan {
        let step_watch_s = if self.step_watch_s > 0.0 { self.step_watch_s } else { 60.0 };
        Plan { strokes, step_watch_s, ..self }
    }

    /// How long the valve may move at most when it is run, s; what people take to answer, and what is given back after a loss, not counted.
    pub fn most_s(&self) -> f64 {
        self.cycles_s() + self.creeps_s() + self.steps_s() + self.strokes_s() + self.losses_s()
    }

    /// How long the valve moves as a rule, s: of one that comes to rest soon after it was told to move [TV-77].
    pub fn usual_s(&self) -> f64 {
        let losses = self.losses.len() as f64 * (2.0 * self.place_usual_s() + self.watch_usual_s());
        self.cycles_usual_s() + self.creeps_usual_s() + self.steps_usual_s() + self.strokes_usual_s() + losses
    }

    /// A resting place: the way there, rest, readings at rest.
    fn place_usual_s(&self) -> f64 {
        (WAY_USUAL_S + 2.0 * self.rest.for_s).min(self.rest.most_s)
    }

    /// A step, a stroke or a loss, watched until it rests.
    fn watch_usual_s(&self) -> f64 {
        (2.0 * WAY_USUAL_S + 2.0 * self.rest.for_s).min(self.step_watch_s)
    }

    pub(super) fn cycles_usual_s(&self) -> f64 {
        self.cycles_s() / self.rest.most_s * self.place_usual_s()
    }

    pub(super) fn creeps_usual_s(&self) -> f64 {
        // Travel follows each time after two moves or so, and after a reversal when the dead band is through.
        let increment = self.creep_increment_percent.max(0.01);
        let moves = 4.0 * FOLLOWS as f64 + DEAD_BAND_USUAL_PERCENT / increment;
        let one = 2.0 * self.place_usual_s() + moves * (MOVE_USUAL_S + 2.0 * self.rest.for_s);
        self.creep_places_percent.len() as f64 * one
    }

    pub(super) fn steps_usual_s(&self) -> f64 {
        self.steps_percent.len() as f64 * (self.place_usual_s() + self.watch_usual_s())
    }

    pub(super) fn strokes_usual_s(&self) -> f64 {
        let first = if self.strokes > 0 { self.place_usual_s() } else { 0.0 };
        first + 2.0 * f64::from(self.strokes) * self.watch_usual_s()
    }

    pub(super) fn cycles_s(&self) -> f64 {
        let way = 2 * self.levels_percent.len().max(1) - 2;
        let places = if self.cycles == 0 { 0.0 } else { f64::from(self.cycles) * way as f64 + 1.0 };
        places * self.rest.most_s
    }

    pub(super) fn creeps_s(&self) -> f64 {
        // Up to that far for every following, both ways.
        let followings = 2.0 * FOLLOWS as f64;
        let moves = followings * CREEP_MOST_PERCENT / self.creep_increment_percent.max(0.01);
        self.creep_places_percent.len() as f64 * (2.0 + moves) * self.rest.most_s
    }

    pub(super) fn steps_s(&self) -> f64 {
        self.steps_percent.len() as f64 * (self.rest.most_s + self.step_watch_s)
    }

    pub(super) fn strokes_s(&self) -> f64 {
        let first = if self.strokes > 0 { self.rest.most_s } else { 0.0 };
        first + 2.0 * f64::from(self.strokes) * self.step_watch_s
    }

    pub(super) fn losses_s(&self) -> f64 {
        // The way to the middle, waits until it rests there, rest.
        let waits = 2.0 + f64::from(super::run::WAITS);
        let first = if self.losses.is_empty() { 0.0 } else { self.rest.most_s };
        first + self.losses.len() as f64 * (waits * self.rest.most_s + self.step_watch_s)
    }

    /// What is wrong with it, if anything is.
    ///
    /// # Errors
    /// A sentence that says what and what would be right.
    pub fn check(&self) -> Result<(), String> {
        let levels = &self.levels_percent;
        let is_empty = self.creep_places_percent.is_empty() && self.steps_percent.is_empty();
        if self.cycles == 0 && is_empty && self.strokes == 0 && self.losses.is_empty() {
            return Err("nothing is planned; give cycles, creeps, steps, strokes or losses".to_owned());
        }
        if self.cycles > MOST_CYCLES {
            return Err(format!("{} cycles are planned; give 1 to {MOST_CYCLES}", self.cycles));
        }
        let rising = levels.windows(2).all(|w| w[0] < w[1]);
        if self.cycles > 0 && (!(2..=MOST_LEVELS).contains(&levels.len()) || !rising) {
            return Err(format!("the points of a cycle must rise and be 2 to {MOST_LEVELS}"));
        }
        let steps = self.steps_percent.iter().flat_map(|s| [s.0, s.1]);
        let inputs = levels.iter().chain(&self.creep_places_percent).copied().chain(steps);
        if let Some(beyond) = inputs.into_iter().find(|x| !INPUTS.contains(x)) {
            return Err(format!(
                "a set point of {beyond} % is planned; give {} to {} %",
                INPUTS.start(),
                INPUTS.end()
            ));
        }
        let parts = [self.steps_percent.len(), self.creep_places_percent.len(), self.strokes as usize];
        if parts.into_iter().any(|n| n > MOST_PARTS) {
            return Err(format!("at most {MOST_PARTS} steps, creeps and strokes each can be planned"));
        }
        let creeps = self.creep_places_percent.is_empty();
        if !creeps && !(0.01..=5.0).contains(&self.creep_increment_percent) {
            return Err(format!("a creep moves by {} %; give 0.01 to 5 %", self.creep_increment_percent));
        }
        let watched = !self.steps_percent.is_empty() || self.strokes > 0 || !self.losses.is_empty();
        if watched && !(1.0..=3600.0).contains(&self.step_watch_s) {
            return Err(format!("steps are watched for {} s; give 1 to 3600 s", self.step_watch_s));
        }
        let Rest { within_percent, for_s, most_s } = self.rest;
        let good = within_percent > 0.0 && within_percent <= 10.0 && for_s > 0.0 && for_s <= most_s;
        if !good || most_s > 3600.0 {
            return Err("at rest: give more than 0 and up to 10 %, more than 0 s, and up to 3600 s at most"
                .to_owned());
        }
        Ok(())
    }
}

fn levels(points: usize) -> Vec<f64> {
    let last = points.clamp(2, MOST_LEVELS) - 1;
    (0..=last).map(|n| 100.0 * n as f64 / last as f64).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn usual_plans_are_right() {
        assert_eq!(Plan::loop_check().levels_percent, [0.0, 25.0, 50.0, 75.0, 100.0]);
        assert_eq!(Plan::cycling(11, 3).levels_percent[7], 70.0);
        let whole = Plan::cycling(5, 3).with_creeps().with_steps().with_strokes(1);
        assert_eq!(whole.check(), Ok(()));
        assert_eq!(whole.steps_percent[..2], [(49.0, 51.0), (51.0, 49.0)]);
    }

    #[test]
    fn what_is_wrong_is_said() {
        let good = Plan::cycling(5, 1);
        let rest = |rest| Plan { rest, ..good.clone() };
        let zero = Rest { within_percent: 0.0, ..Rest::default() };
        for (plan, says) in [
            (Plan { cycles: 0, ..good.clone() }, "nothing is planned"),
            (Plan { cycles: 6, ..good.clone() }, "1 to 5"),
            (Plan { levels_percent: vec![0.0, 50.0, 50.0], ..good.clone() }, "must rise"),
            (Plan { levels_percent: vec![0.0, 110.0], ..good.clone() }, "110 %"),
            (Plan { levels_percent: vec![f64::NAN, 10.0], ..good.clone() }, "must rise"),
            (Plan { creep_places_percent: vec![50.0], ..good.clone() }, "0.01 to 5"),
            (Plan { steps_percent: vec![(1.0, 2.0)], ..good.clone() }, "watched for 0 s"),
            (Plan { strokes: 101, ..good.clone() }, "at most 100"),
            (rest(zero), "at rest"),
            (rest(Rest { for_s: 31.0, ..Rest::default() }), "at rest"),
            (rest(Rest { most_s: f64::NAN, ..Rest::default() }), "at rest"),
        ] {
            let said = plan.check().unwrap_err();
            assert!(said.contains(says), "{said}");
        }
    }
}
