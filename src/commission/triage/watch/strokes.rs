//! A few strokes, with leave.

use super::Options;
use super::collect::{HOLD_S, SUPPLY_EVERY, described, ended, hear, in_percent, supply, watch_for};
use super::watched::{Hold, Stroke, Watched};
use crate::commission::person::{Answer, Kind, Person, Question, capital};
use crate::commission::travel::record::{Ended, Rest};
use crate::commission::travel::run::{CAUTIONS, ask, leave, not_left};
use crate::commission::travel::sensing::{Halt, Sensing, Until};
use crate::commission::travel::{Reading, Readings, Source};
use crate::host::stimulus::{SetPoint, Why};
use crate::host::{Device, Stimulus, Talk};

/// At rest: within 0.3 % for 3 s, and it is not waited longer than a minute (own choice).
const REST: Rest = Rest { within_percent: 0.3, for_s: 3.0, most_s: 60.0 };
/// The first stroke is waited for so long, s.
const FIRST_S: f64 = 40.0;
/// Where one set point is watched, and where the strokes begin, percent.
pub const MIDDLE: f64 = 50.0;
/// A small step, percent.
pub const STEP: f64 = 60.0;
/// Strokes of so much and more make the air flow, percent.
const LONG: f64 = 45.0;

pub fn run(
    talk: &mut dyn Talk,
    device: Device,
    stimulus: &mut dyn Stimulus,
    person: &mut dyn Person,
    options: &Options,
    mut out: Watched,
) -> Watched {
    if out.ended != Ended::Whole {
        return out;
    }
    let why = if out.is_unsure {
        "Nothing was moved: nothing says that who answers is the device that was looked for. Name it by its tag (--tag) or its address, or say which valve it is."
    } else if out.travel_assumed {
        "Nothing was moved: where the device tells its travel is not known."
    } else if out.hold.as_ref().is_none_or(|h| h.samples.iter().all(|s| s.percent.is_none())) {
        "Nothing was moved: the device tells no travel."
    } else {
        ""
    };
    if !why.is_empty() {
        out.remarks.push(why.to_owned());
        return out;
    }
    out.stimulus = stimulus.describe();
    out.by_person = stimulus.capabilities().is_person;
    let readings = options.readings.clone().unwrap_or_else(|| Readings::usual(&*talk, &device));
    let mut strokes = Strokes {
        talk,
        device,
        readings,
        stimulus,
        person,
        out,
        tried: false,
        refused: false,
        during: String::new(),
    };
    let done = strokes.whole(options);
    strokes.end(done)
}

struct Strokes<'a> {
    talk: &'a mut dyn Talk,
    device: Device,
    readings: Readings,
    stimulus: &'a mut dyn Stimulus,
    person: &'a mut dyn Person,
    out: Watched,
    /// Whether whoever moves the set point was ever told to.
    tried: bool,
    /// Whether leave was asked for and not given.
    refused: bool,
    during: String,
}

impl Strokes<'_> {
    fn whole(&mut self, options: &Options) -> Result<(), Halt> {
        self.during = "asking for leave to move the valve".to_owned();
        self.leave_to_move()?;
        let deviation = match &self.readings.travel.source {
            Source::Value { command, .. }
                if described(&*self.talk, &self.device, &["travel", "deviation"]) == Some(*command) =>
            {
                let command = *command;
                in_percent(&*self.talk, &self.device, command, "deviation")
                    .then(|| Reading::plain(Source::value(command, "deviation")))
            }
            _ => None,
        };
        let mut sensing = Sensing::new(&mut *self.talk, self.device, self.readings.clone());
        let mut one = One {
            sensing: &mut sensing,
            stimulus: self.stimulus,
            person: self.person,
            out: &mut self.out,
            during: &mut self.during,
            tried: &mut self.tried,
            deviation,
            supply: None,
            travel: None,
        };
        one.supply = supply(one.sensing, options)?;
        one.travel = one.sensing.try_source()?.percent;
        one.go(MIDDLE, FIRST_S)?;
        one.hold()?;
        for to in [STEP, MIDDLE, 100.0, 0.0, 100.0, MIDDLE] {
            one.go(to, REST.most_s)?;
        }
        Ok(())
    }

    fn leave_to_move(&mut self) -> Result<(), Halt> {
        let tag = [&self.out.device.long_tag, &self.out.device.tag].into_iter().find(|t| !t.is_empty());
        let words = format!(
            "The valve{} moves: to 50 %, a small step, from end to end, back to 50 %. For 8 min at most, most valves are done in 3. {} moves the set point. May it move now?",
            tag.map_or_else(String::new, |t| format!(" {t}")),
            capital(&self.out.stimulus),
        );
        let mut question = Question::new("triage/move", words, Kind::YesNo);
        question.cautions.extend(CAUTIONS.map(str::to_owned));
        question.cautions.push(self.stimulus.will_leave());
        match ask(self.person, &question)? {
            Answer::Yes => Ok(()),
            _ => {
                self.refused = true;
                Err(Halt::Stopped(Why::Said))
            }
        }
    }

    fn end(mut self, done: Result<(), Halt>) -> Watched {
        hear(self.talk, &mut self.out.others);
        let refused = self.refused;
        self.out.is_refused = refused;
        if refused {
            self.out.remarks.push("The valve was not moved: leave was not given.".to_owned());
        }
        self.out.ended =
            if refused { Ended::Whole } else { ended(done, &self.during, &mut self.out.stopped) };
        if self.tried {
            let left = leave(self.stimulus, &mut *self.talk);
            if let (Err(what), Ended::Whole) = (&left, &self.out.ended) {
                let during = "leaving the set point where it belongs".to_owned();
                self.out.ended = Ended::Failed { during, what: what.clone() };
            }
            let left = left.unwrap_or_else(|what| not_left(self.stimulus, &what));
            self.person.tell(&left.words);
            self.out.left = Some(left);
        }
        self.out
    }
}

struct One<'a, 's> {
    sensing: &'a mut Sensing<'s>,
    stimulus: &'a mut dyn Stimulus,
    person: &'a mut dyn Person,
    out: &'a mut Watched,
    during: &'a mut String,
    tried: &'a mut bool,
    deviation: Option<Reading>,
    supply: Option<Reading>,
    travel: Option<f64>,
}

impl One<'_, '_> {
    fn go(&mut self, to: f64, most_s: f64) -> Result<(), Halt> {
        *self.during = format!("going to {to} %");
        let sets_current = self.stimulus.capabilities().sets_current;
        let set_point = match sets_current {
            true => SetPoint::CurrentMa(SetPoint::Percent(to).current_ma()),
            false => SetPoint::Percent(to),
        };
        *self.tried = true;
        let given = self.stimulus.set(self.sensing.ask, set_point)?;
        let asked_at_s = self.sensing.seconds(given.at);
        self.out.strokes.push(Stroke {
            to_percent: to,
            asked_ma: sets_current.then(|| set_point.current_ma()),
            asked_at_s,
            from_percent: self.travel,
            ..Stroke::default()
        });
        let is_long = self.travel.is_none_or(|from| (from - to).abs() >= LONG);
        self.sensing.beside(self.supply.clone().filter(|_| is_long).map(|s| (s, SUPPLY_EVERY)));
        let until = Until { left: self.travel, near: Some(to), most_s, silence: true, ..Until::default() };
        let rested = self.sensing.settle(asked_at_s, &REST, until);
        let beside = self.sensing.beside(None);
        self.out.supply.in_strokes.extend(beside);
        let rested = rested?;
        self.travel = rested.travel().or(self.travel);
        let readings = self.sensing.readings.clone();
        let told = rested.travel();
        let settled = rested.settled;
        if let Some(stroke) = self.out.strokes.last_mut() {
            (stroke.samples, stroke.at_rest, stroke.settled) = (rested.samples, rested.at_rest, settled);
        }
        let read = [
            self.sensing.number(readings.set_point.as_ref())?,
            self.sensing.number(self.deviation.clone().as_ref())?,
            self.sensing.number(readings.angle.as_ref())?,
            self.sensing.number(readings.current.as_ref())?,
        ];
        if let Some(stroke) = self.out.strokes.last_mut() {
            stroke.set_point_percent = read[0];
            // Wanted less told, as it is told.
            stroke.deviation_percent = read[1].map(|d| -d);
            stroke.angle_deg = read[2];
            stroke.read_ma = read[3];
        }
        if let Some(supply) = self.supply.clone() {
            let at_s = self.sensing.now_s();
            let number = self.sensing.number(Some(&supply))?;
            self.out.supply.at_rest.push((at_s, number));
        }
        let rest = if settled { "at rest" } else { "NOT at rest" };
        // As in findings: with one digit, which is what the limits need.
        let told = told.map_or_else(|| "travel not told".to_owned(), |t| format!("travel {t:.1} %"));
        self.person.tell(&format!("{to} %: {told}, {rest}."));
        Ok(())
    }

    fn hold(&mut self) -> Result<(), Halt> {
        *self.during = format!("watching {MIDDLE} %");
        let set_point_percent = self.out.strokes.last().and_then(|s| s.set_point_percent);
        let mut hold = Hold { set_point_percent, ..Hold::default() };
        let watched = watch_for(self.sensing, HOLD_S, &mut hold.samples);
        self.out.hold = Some(hold);
        watched
    }
}
