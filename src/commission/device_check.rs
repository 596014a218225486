//! The device check: its sensor of travel over its range, by hand, and its outputs by small moves [TV-40].

mod hand;
mod judge;
mod read;
mod record;

pub use record::{Acting, AtRest, DeviceCheck, FORMAT, Finding, Found, Hand, Jog, Seen, Stage};

use super::person::{Answer, Choice, Kind, Person, Question};
use super::travel::readings::Readings;
use super::travel::record::{Ended, Identity, Left, Sample};
use super::travel::run::{self, CAUTIONS};
use super::travel::sensing::{Halt, Sensing, Until};
use crate::host::stimulus::SetPoint;
use crate::host::{Ask, Device, Stimulus};

/// How far the set point moves, percent [TV-40].
pub const JOG_PERCENT: f64 = 5.0;
/// Where it moves around, percent: so that both ways are free.
const AROUND: (f64, f64) = (10.0, 90.0);
/// What is said where the air may be shut still.
const AIR_OFF: &str =
    "The air was to be shut, and nobody said that it was opened again: the valve moves when it is.";
/// What a person is told to do before a small move.
pub const WATCH: &str = "watch the gauges";
/// The pressures of a double-acting stage are given so long to rest, s (own choice).
const PRESSURES_REST_S: f64 = 60.0;

/// What a device check needs.
pub struct Setup<'a> {
    /// The host.
    pub ask: &'a mut dyn Ask,
    /// The device.
    pub device: Device,
    /// Who moves the set point.
    pub stimulus: &'a mut dyn Stimulus,
    /// Who moves the valve by hand, is asked, and told what moves next.
    pub person: &'a mut dyn Person,
    /// Which of its variables are what.
    pub readings: Readings,
    /// Handed the record before each move and after each part, so that it can be kept in case nothing else is [TV-95].
    pub keep: &'a mut dyn FnMut(&DeviceCheck),
}

/// Guides a person through a device check. `check` holds what is known before: line, who, the kind of output stage where it is
/// known. Whatever happens, a record comes back.
///
/// Questions have these ids [TV-30], N from 1 to 4: `device_check/sensor` (yes or no: it is wanted and safe), `device_check/air_off`, `device_check/air_still_on` (yes or no: it is shut and vented, though the device tells a pressure),
/// `device_check/closed`, `device_check/opening`, `device_check/open`, `device_check/closing`, `device_check/back`, `device_check/air_on` (the Enter key), where it is not known `device_check/at_rest` (one of
/// `blocked`, `bleeding`) and `device_check/acting` (one of `single`, `double`), `device_check/jog` (yes or no: leave to move), `device_check/jog/N/first` and, of
/// a double-acting stage, `device_check/jog/N/second` (one of `rises`, `falls`, `stays`), `device_check/blows` (one of `yes`, `no`). Whoever moves the set
/// point may ask more.
pub fn run(setup: Setup<'_>, check: DeviceCheck) -> DeviceCheck {
    let Setup { ask, device, stimulus, person, readings, keep } = setup;
    let sensing = Sensing::new(ask, device, readings);
    let mut guide =
        Guide { sensing, stimulus, person, keep, check, during: String::new(), tried: false, air_off: false };
    let done = guide.whole();
    guide.end(done)
}

struct Guide<'a> {
    sensing: Sensing<'a>,
    stimulus: &'a mut dyn Stimulus,
    person: &'a mut dyn Person,
    keep: &'a mut dyn FnMut(&DeviceCheck),
    check: DeviceCheck,
    during: String,
    /// Whether whoever moves the set point was ever told to.
    tried: bool,
    /// Whether the person has shut the air and not opened it again.
    air_off: bool,
}

impl Guide<'_> {
    fn whole(&mut self) -> Result<(), Halt> {
        self.check.stimulus = self.stimulus.describe();
        self.during("reading who the device is");
        if self.check.device == Identity::default() {
            self.check.device = run::identify(&mut self.sensing)?;
        }
        self.during("reading where the valve is");
        self.sensing.try_source()?;
        self.sensor()?;
        self.outputs()
    }

    fn during(&mut self, words: &str) {
        words.clone_into(&mut self.during);
    }

    fn ask(&mut self, question: &Question) -> Result<Answer, Halt> {
        run::ask(self.person, question)
    }

    /// Asks for the Enter key; whether it was done.
    fn done(&mut self, id: &str, words: &str) -> Result<bool, Halt> {
        Ok(self.ask(&Question::new(format!("device_check/{id}"), words, Kind::Enter))? == Answer::Done)
    }

    /// Asks for one of several; the name, `None` where it is not known.
    fn choose(&mut self, id: &str, words: &str, choices: &[(&str, &str)]) -> Result<Option<String>, Halt> {
        let list = choices.iter().map(|(name, words)| Choice::new(*name, *words)).collect();
        let question = Question::new(format!("device_check/{id}"), words, Kind::Choice(list));
        Ok(match self.ask(&question)? {
            Answer::Choice(name) => Some(name),
            _ => None,
        })
    }

    fn remark(&mut self, words: &str) {
        self.check.remarks.push(words.to_owned());
    }

    /// Keeps what there is, as it would have to be read if nothing more came.
    fn keep(&mut self) {
        let mut now = self.check.clone();
        if self.air_off {
            now.remarks.push(AIR_OFF.to_owned());
        }
        now.link = self.sensing.ask.quality().into();
        now.status.clone_from(&self.sensing.status);
        now.findings = judge::findings(&now);
        (self.keep)(&now);
    }

    fn outputs(&mut self) -> Result<(), Halt> {
        self.during("asking for the kind of the output stage");
        if self.check.stage.at_rest == AtRest::Unsaid {
            let choices = [
                ("blocked", "air is shut in while it rests"),
                ("bleeding", "some air blows off all the time"),
            ];
            let name =
                self.choose("at_rest", "What does its output stage do while the valve rests?", &choices)?;
            self.check.stage.at_rest = match name.as_deref() {
                Some("blocked") => AtRest::Blocked,
                Some("bleeding") => AtRest::Bleeding,
                _ => AtRest::Unsaid,
            };
        }
        if self.check.stage.acting == Acting::Unsaid {
            let choices = [("single", "one output, against a spring"), ("double", "two outputs")];
            let name = self.choose("acting", "How many outputs does it have?", &choices)?;
            self.check.stage.acting = match name.as_deref() {
                Some("single") => Acting::Single,
                Some("double") => Acting::Double,
                _ => Acting::Unsaid,
            };
        }
        self.during("reading where the set point is");
        let set_point = self.sensing.readings.set_point.clone();
        let set_point = self.sensing.number(set_point.as_ref())?;
        let travel = self.sensing.travel(false)?.percent;
        let Some(around) = set_point.or(travel).map(|p| p.clamp(AROUND.0, AROUND.1)) else {
            return Err(Halt::Failed(
                "neither set point nor travel is told\n  next: name another source for travel".into(),
            ));
        };
        // A round number, since a person may have to set it.
        let around = around.round();
        self.during("asking for leave to move the valve");
        let most_s = self.check.rest.most_s;
        let words = format!(
            "The valve moves between {} and {} %, in five small moves, for {:.0} s at most, questions aside. Watch the gauges of its outputs. May it?",
            around - JOG_PERCENT,
            around + JOG_PERCENT,
            5.0 * most_s
        );
        let mut question = Question::new("device_check/jog", words, Kind::YesNo);
        question.cautions.extend(CAUTIONS.map(str::to_owned));
        question.cautions.push(self.stimulus.will_leave());
        if self.ask(&question)? != Answer::Yes {
            self.remark("The outputs were not looked at: leave was not given.");
            return Ok(());
        }
        self.during("going to where the small moves begin");
        let at_s = self.set(around)?;
        let rest = self.check.rest;
        self.sensing.settle(
            at_s,
            &rest,
            Until { near: Some(around), left: travel, most_s, ..Until::default() },
        )?;
        self.wait_for_pressures()?;
        let (up, down) = (around + JOG_PERCENT, around - JOG_PERCENT);
        for (n, (from, to)) in
            [(around, up), (up, around), (around, down), (down, around)].into_iter().enumerate()
        {
            self.jog(n + 1, from, to)?;
        }
        self.during("looking whether air blows off");
        let words = "While the valve rests: does air blow off at its vent all the time?";
        let blows = self.choose("blows", words, &[("yes", "air blows off"), ("no", "no air blows off")])?;
        self.check.blows_at_rest = blows.map(|name| name == "yes");
        Ok(())
    }

    /// The two pressures of a double-acting stage go on together for a while after its air was opened, though the valve rests [TV-112].
    fn wait_for_pressures(&mut self) -> Result<(), Halt> {
        if self.check.hand.is_none() || self.check.stage.acting == Acting::Single {
            return Ok(());
        }
        self.during("waiting for the pressures to rest");
        self.person.tell(&format!(
            "The air was shut, so the pressures are given {PRESSURES_REST_S:.0} s to come to rest."
        ));
        let from_s = self.sensing.now_s();
        while self.sensing.now_s() - from_s < PRESSURES_REST_S {
            self.sensing.ask.rest(core::time::Duration::from_secs(1))?;
            self.sensing.travel(false)?;
        }
        Ok(())
    }

    fn set(&mut self, percent: f64) -> Result<f64, Halt> {
        let to = match self.stimulus.capabilities().sets_current {
            true => SetPoint::CurrentMa(SetPoint::Percent(percent).current_ma()),
            false => SetPoint::Percent(percent),
        };
        let words = self.stimulus.ahead(self.sensing.ask, to)?;
        self.check.left = Some(Left { percent: None, words });
        self.keep();
        self.tried = true;
        let given = self.stimulus.set(self.sensing.ask, to)?;
        Ok(self.sensing.seconds(given.at))
    }

    fn jog(&mut self, number: usize, from: f64, to: f64) -> Result<(), Halt> {
        self.during = format!("small move from {from} to {to} %");
        let rest = self.check.rest;
        let until = Until { most_s: rest.most_s, ..Until::default() };
        let now_s = self.sensing.now_s();
        let before = self.sensing.settle(now_s, &rest, until)?;
        self.person.tell(&format!("From {from} to {to} %: {WATCH}."));
        let asked_at_s = self.set(to)?;
        let until = Until { left: before.travel(), most_s: rest.most_s, ..Until::default() };
        let after = self.sensing.settle(asked_at_s, &rest, until)?;
        let mut samples = before.at_rest;
        samples.extend(after.samples);
        let words = run::told(mean_of(&after.at_rest));
        self.check.jogs.push(Jog {
            from_percent: from,
            to_percent: to,
            asked_at_s,
            samples,
            first: None,
            second: None,
        });
        self.person.tell(&format!("{to} %: {words}."));
        let first = self.gauge(number, "first", from, to)?;
        let second = match self.check.stage.acting {
            Acting::Double => self.gauge(number, "second", from, to)?,
            Acting::Single | Acting::Unsaid => None,
        };
        if let Some(jog) = self.check.jogs.last_mut() {
            (jog.first, jog.second) = (first, second);
        }
        Ok(())
    }

    fn gauge(&mut self, number: usize, which: &str, from: f64, to: f64) -> Result<Option<Seen>, Halt> {
        let words = format!("From {from} to {to} %: what did the gauge of the {which} output do?");
        let choices = [("rises", "it rose"), ("falls", "it fell"), ("stays", "it stayed")];
        let name = self.choose(&format!("jog/{number}/{which}"), &words, &choices)?;
        Ok(match name.as_deref() {
            Some("rises") => Some(Seen::Rises),
            Some("falls") => Some(Seen::Falls),
            Some("stays") => Some(Seen::Stays),
            _ => None,
        })
    }

    /// Ends the check, however it went: the set point is left where it belongs if it was ever moved.
    fn end(mut self, done: Result<(), Halt>) -> DeviceCheck {
        let last_heard_s = self.sensing.last_heard_s();
        let during = core::mem::take(&mut self.during);
        self.check.ended = match done {
            Ok(()) => Ended::Whole,
            Err(halt) => halt.ended(during, last_heard_s),
        };
        if self.air_off {
            self.person.tell(AIR_OFF);
            self.remark(AIR_OFF);
        }
        if self.tried {
            let left = run::leave(self.stimulus, self.sensing.ask);
            if let (Err(what), Ended::Whole) = (&left, &self.check.ended) {
                let during = "leaving the set point where it belongs".to_owned();
                self.check.ended = Ended::Failed { during, what: what.clone() };
            }
            let left = left.unwrap_or_else(|what| run::not_left(self.stimulus, &what));
            self.person.tell(&left.words);
            self.check.left = Some(left);
        }
        self.check.link = self.sensing.ask.quality().into();
        self.check.status.clone_from(&self.sensing.status);
        let status = &self.check.status;
        let told: Vec<_> =
            status.iter().filter(|b| !b.is_said_by(status)).filter_map(|b| b.words()).collect();
        told.iter().filter(|(counts, _)| !counts).for_each(|(_, words)| self.remark(words));
        self.check.findings = judge::findings(&self.check);
        (self.keep)(&self.check);
        self.check
    }
}

fn mean_of(samples: &[Sample]) -> Option<f64> {
    super::travel::sensing::mean(samples)
}
