//! What the valve does when something is taken away [TV-16] [TV-21].

use super::{CAUTIONS, Run, capital, told};
use crate::app::command::Value;
use crate::commission::person::{Answer, Choice, Kind, Question};
use crate::commission::travel::figures::{IN_THE_MIDDLE_PERCENT, View};
use crate::commission::travel::record::{Fail, FailsTo, Loss, NotTested, Shown, Watch};
use crate::commission::travel::sensing::{Halt, Rested, Until};
use crate::host::stimulus::Act;
use core::time::Duration;

/// From here a valve is let go: it is seen to move whichever way it goes, percent (own choice).
const FROM_PERCENT: f64 = 50.0;
/// A valve that has not been seen to move goes so far away from there first, percent: one that is stuck is found before anything is taken away.
const AWAY_PERCENT: f64 = 15.0;
/// How often it is waited once more, as long as for rest, until it rests there [TV-84].
pub(in crate::commission::travel) const WAITS: u32 = 3;
/// How long a device that was without power is waited for, s.
const AWAKE_S: f64 = 60.0;
/// The questions for the gauge of the supply before and during a loss of air, which may stay without an answer [TV-118].
pub const SUPPLY_BEFORE: &str = "travel/loss/air/supply_before";
pub const SUPPLY_DURING: &str = "travel/loss/air/supply_during";
/// The most that a gauge of the supply shows, kPa (own choice).
const MOST_KPA: f64 = 2000.0;
/// The command that reads the primary to the quaternary variable.
const READ_DYNAMIC: u8 = 3;
/// Units of pressure, by their symbols.
const PRESSURES: [&str; 6] = ["bar", "mbar", "psi", "kPa", "MPa", "Pa"];

impl Loss {
    pub(super) fn acts(self) -> (Act, Act) {
        match self {
            Loss::Current => (Act::LoseCurrent, Act::RestoreCurrent),
            Loss::Air => (Act::LoseAir, Act::RestoreAir),
            Loss::Trip => (Act::Trip, Act::ResetTrip),
        }
    }

    fn id(self) -> &'static str {
        match self {
            Loss::Current => "travel/loss/current",
            Loss::Air => "travel/loss/air",
            Loss::Trip => "travel/loss/trip",
        }
    }

    fn caution(self) -> &'static str {
        match self {
            Loss::Current => "The loop is opened: whatever else it feeds is without current, too.",
            Loss::Air => {
                "The air is shut and vented: eyes and ears protected, and what is stored in springs moves the valve."
            }
            Loss::Trip => {
                "A trip is called for: only with the leave of those who answer for the safety of the process."
            }
        }
    }
}

impl Run<'_> {
    pub(super) fn losses(&mut self) -> Result<(), Halt> {
        for loss in self.record.plan.losses.clone() {
            let (take, give) = loss.acts();
            let capabilities = self.stimulus.capabilities();
            if !capabilities.can(take) || !capabilities.can(give) {
                self.not_tested(loss, format!("{} cannot do it", self.record.stimulus));
                continue;
            }
            self.during = format!("asking for leave for the {}", loss.words());
            let first = match self.moved {
                true => format!("{FROM_PERCENT} %"),
                false => format!("{} and then to {FROM_PERCENT} %", FROM_PERCENT - AWAY_PERCENT),
            };
            let words = format!(
                "The {} comes next. {} first goes to {first} and is waited for until it rests there; then it goes to its fail position, and is watched for {} s at most. May it?",
                loss.words(),
                self.valve(),
                self.record.plan.step_watch_s,
            );
            let mut question = Question::new(loss.id(), words, Kind::YesNo).with_caution(loss.caution());
            question.cautions.extend(CAUTIONS.map(str::to_owned));
            question.cautions.push(self.stimulus.will_leave());
            if self.ask(&question)? != Answer::Yes {
                self.not_tested(loss, "leave was not given".to_owned());
                continue;
            }
            self.during = loss.words().to_owned();
            self.lose(loss, take, give)?;
            self.keep();
        }
        Ok(())
    }

    /// Keeps and says that a loss is left out, and why [TV-117].
    fn not_tested(&mut self, loss: Loss, why: String) {
        self.person.tell(&format!("{}: not tested, {why}.", capital(loss.words())));
        self.record.not_tested.push(NotTested { loss, why });
        self.keep();
    }

    /// Goes to the middle, and waits until it rests there: what was given back before may take its time.
    fn go_to_the_middle(&mut self, loss: Loss) -> Result<(), Halt> {
        if !self.moved {
            self.go(FROM_PERCENT - AWAY_PERCENT)?;
        }
        let (_, mut rested) = self.go(FROM_PERCENT)?;
        let rest = self.record.plan.rest;
        let is_near =
            |r: &Rested| r.travel().is_none_or(|t| (t - FROM_PERCENT).abs() <= IN_THE_MIDDLE_PERCENT);
        let is_there = |r: &Rested| is_near(r) && (r.settled || r.travel().is_none());
        for _ in 0..WAITS {
            if is_there(&rested) {
                break;
            }
            self.person.tell("It is not at rest in the middle yet: it is waited for.");
            // One that stands still elsewhere may yet come: air comes back slowly.
            let least_s = if is_near(&rested) { 0.0 } else { rest.most_s };
            let until = Until { least_s, most_s: rest.most_s, ..Until::default() };
            let now_s = self.sensing.now_s();
            rested = self.sensing.settle(now_s, &rest, until)?;
            self.travel = rested.travel().or(self.travel);
        }
        if !is_there(&rested) {
            let words = format!(
                "{}: not judged, for the valve did not come to rest at {FROM_PERCENT} % before: {}.",
                capital(loss.words()),
                told(rested.travel())
            );
            self.person.tell(&words);
        }
        Ok(())
    }

    fn lose(&mut self, loss: Loss, take: Act, give: Act) -> Result<(), Halt> {
        self.go_to_the_middle(loss)?;
        let pressure = if loss == Loss::Air { self.highest_pressure()?.flatten() } else { None };
        let gauge = match (loss, &pressure) {
            (Loss::Air, None) => self.supply_gauge(SUPPLY_BEFORE)?,
            _ => None,
        };
        let mut samples = self.rest_here()?;
        let before = self.travel;
        self.sensing.take_uncertain_s();
        let left = self.ahead_of(take);
        // A device without current or air may say anything, and one that has it again has started anew.
        self.sensing.is_bereft = true;
        let given = self.stimulus.act(self.sensing.ask, take);
        // It may have been taken away even where that failed.
        let asked = match &given {
            Ok(given) => self.moment(*given),
            Err(_) => (self.sensing.now_s(), 0.0),
        };
        let watch = Watch {
            asked_at_s: asked.0,
            asked_uncertain_s: asked.1,
            samples_uncertain_s: 0.0,
            view: View::Sensor,
            samples: samples.clone(),
            by_hand_s: None,
        };
        let from_percent = FROM_PERCENT;
        self.record.fails.push(Fail { loss, from_percent, watch, seen: None, restored: false, shown: None });
        given?;
        let plan = &self.record.plan;
        let (rest, most_s) = (plan.rest, plan.step_watch_s);
        let until = Until { left: before, most_s, silence: true, ..Until::default() };
        let rested = self.sensing.settle(asked.0, &rest, until)?;
        samples.extend(rested.samples.iter().copied());
        let uncertain_s = self.sensing.take_uncertain_s();
        if let Some(fail) = self.record.fails.last_mut() {
            fail.watch.samples = samples;
            fail.watch.samples_uncertain_s = uncertain_s;
        }
        self.person.tell(&format!("{}: {}.", capital(loss.words()), told(rested.travel())));
        let (seen, time) = self.seen(loss, most_s)?;
        if let Some(fail) = self.record.fails.last_mut() {
            (fail.seen, fail.watch.by_hand_s) = (seen, time);
        }
        let is_silent = rested.samples.last().is_some_and(|s| s.percent.is_none());
        let shown = match gauge.filter(|kpa| *kpa > 0.0) {
            Some(before_kpa) => {
                let after = self.supply_gauge(SUPPLY_DURING)?;
                Some(after.map_or(Shown::Nothing, |after_kpa| Shown::Gauge { before_kpa, after_kpa }))
            }
            None => self.shown(loss, is_silent, pressure)?,
        };
        if let Some(words) = shown.as_ref().and_then(Shown::against) {
            self.person.tell(&format!("{}: not judged: {words}.", capital(loss.words())));
        }
        if let Some(fail) = self.record.fails.last_mut() {
            fail.shown = shown;
        }
        self.during = format!("giving back after the {}", loss.words());
        self.stimulus.act(self.sensing.ask, give)?;
        if let Some(fail) = self.record.fails.last_mut() {
            fail.restored = true;
        }
        self.record.left = left;
        let words = format!("{} moves again: given back after the {}.", self.valve(), loss.words());
        self.person.tell(&words);
        self.followed = None;
        self.input = None;
        self.awake()?;
        self.sensing.is_bereft = false;
        Ok(())
    }

    /// What the gauge of the supply shows, kPa, where a person shuts the air and can read one; `None`: nobody knows [TV-118].
    fn supply_gauge(&mut self, id: &str) -> Result<Option<f64>, Halt> {
        if !self.stimulus.capabilities().is_person {
            return Ok(None);
        }
        let words = "What does the gauge of the air supply show now, in kPa? ? if there is none".to_owned();
        self.ask_number(id.to_owned(), words, "kPa", (0.0, MOST_KPA))
    }

    /// What the device tells of a loss while it lasts [TV-104].
    fn shown(
        &mut self,
        loss: Loss,
        is_silent: bool,
        pressure: Option<(f64, String)>,
    ) -> Result<Option<Shown>, Halt> {
        Ok(Some(match loss {
            Loss::Trip => return Ok(None),
            Loss::Current if is_silent => Shown::Silent,
            Loss::Current => {
                let Some(reading) = self.sensing.readings.current.clone() else {
                    return Ok(Some(Shown::Nothing));
                };
                let command = reading.source.command(&self.sensing.device);
                match self.sensing.heard(command, &reading.source.data())? {
                    Some(read) => reading.number(&read.exchange).map_or(Shown::Nothing, Shown::CurrentMa),
                    None => Shown::Silent,
                }
            }
            Loss::Air => match (pressure, self.highest_pressure()?.flatten()) {
                (Some((before, unit)), Some((after, now))) if unit == now && before > 0.0 => {
                    Shown::Pressure { before, after, unit }
                }
                _ => Shown::Nothing,
            },
        }))
    }

    /// The highest of the pressures that the device tells as its variables, and its unit: the supply, where it tells that; outer `None`: it is silent.
    fn highest_pressure(&mut self) -> Result<Option<Option<(f64, String)>>, Halt> {
        let Some(read) = self.sensing.heard(READ_DYNAMIC, &[])? else { return Ok(None) };
        let pressures = read.exchange.fields_of_reply().filter_map(|f| {
            let unit = f.found.unit_symbol()?.to_string();
            let told = match f.found.value(f.data) {
                Value::Float(bits) => f64::from(f32::from_bits(bits)),
                _ => return None,
            };
            (PRESSURES.contains(&unit.as_str()) && told.is_finite()).then_some((told, unit))
        });
        Ok(Some(pressures.max_by(|a, b| a.0.total_cmp(&b.0))))
    }

    fn seen(&mut self, loss: Loss, most_s: f64) -> Result<(Option<FailsTo>, Option<f64>), Halt> {
        let choices = vec![
            Choice::new("closed", "it closed"),
            Choice::new("open", "it opened"),
            Choice::new("stays", "it stayed where it was"),
        ];
        let words = "Where did the valve go? Look at stem or shaft.";
        let question = Question::new(format!("{}/seen", loss.id()), words, Kind::Choice(choices));
        let seen = match self.ask(&question)? {
            Answer::Choice(name) => match name.as_str() {
                "closed" => Some(FailsTo::Closed),
                "open" => Some(FailsTo::Open),
                _ => Some(FailsTo::Stays),
            },
            _ => None,
        };
        // One that stayed took no time.
        if seen == Some(FailsTo::Stays) {
            return Ok((seen, None));
        }
        let words = "How long did it take by a stop watch, in s? ? if nobody took it".to_owned();
        let time =
            self.ask_number(format!("{}/time", loss.id()), words, "s", (0.0, most_s.max(60.0) * 10.0))?;
        Ok((seen, time))
    }

    /// Waits until the device answers again.
    fn awake(&mut self) -> Result<(), Halt> {
        let since_s = self.sensing.now_s();
        while self.sensing.travel(true)?.percent.is_none() {
            if self.sensing.now_s() - since_s >= AWAKE_S {
                return Err(Halt::Silent);
            }
            self.sensing.ask.rest(Duration::from_secs(1))?;
        }
        Ok(())
    }
}
