//! What the person is asked and told besides the losses: leave to move, what moves for how long, the measurement at stem or shaft [TV-30] [TV-77].

use super::{CAUTIONS, Run};
use crate::commission::person::{Answer, Kind, Person, Question, capital};
use crate::commission::travel::record::{External, Measure, Test};
use crate::commission::travel::sensing::Halt;
use crate::host::stimulus::Why;

/// A measurement that is further away from the device's travel is asked for once more, percent [TV-75].
const SLIP_PERCENT: f64 = 20.0;
/// The question for the smallest division of a scale or gauge, which may stay without an answer [TV-88].
pub const DIVISION: &str = "travel/division";
/// So many times as long as usual a time says nothing to anybody (own choice).
const FAR: f64 = 10.0;

/// A measurement beside the device's own, as a person reads it.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// What it is, for the question: "stem scale", "dial gauge".
    pub name: String,
    /// Its unit as people write it: `mm`, `deg`, `%`.
    pub unit: String,
    /// What it shows with the valve closed, in the unit.
    pub closed: f64,
    /// What it shows with the valve at its rated travel, in the unit; not the same.
    pub open: f64,
}

impl Gauge {
    /// A value in percent of the rated travel.
    pub fn percent(&self, value: f64) -> f64 {
        (value - self.closed) / (self.open - self.closed) * 100.0
    }

    /// Least and most that makes sense to type: half of the travel beyond either end.
    fn range(&self) -> (f64, f64) {
        let half = (self.open - self.closed) / 2.0;
        let (a, b) = (self.closed - half, self.open + half);
        (a.min(b), a.max(b))
    }
}

impl Run<'_> {
    pub(super) fn leave_to_move(&mut self) -> Result<(), Halt> {
        self.during = "asking for leave to move the valve".to_owned();
        let plan = &self.record.plan;
        let mut parts: Vec<&str> = Vec::new();
        if plan.cycles > 0 {
            parts.push(match self.record.test {
                Test::LoopCheck => "0 to 100 % and back in steps",
                Test::Travel => "cycles over its travel",
            });
        }
        for (has, words) in [
            (!plan.creep_places_percent.is_empty(), "creeping by small moves"),
            (!plan.steps_percent.is_empty(), "steps"),
            (plan.strokes > 0, "strokes from stop to stop, as fast as it goes"),
            (!plan.losses.is_empty(), "loss of what drives it, asked for again"),
        ] {
            if has {
                parts.push(words);
            }
        }
        let words = format!(
            "{} moves: {}.\nFor {}, questions aside. {} moves the set point. May it move now?",
            self.valve(),
            parts.join("; "),
            lasting(plan.usual_s(), plan.most_s()),
            capital(&self.record.stimulus),
        );
        let mut question = Question::new("travel/start", words, Kind::YesNo);
        question.cautions.extend(CAUTIONS.map(str::to_owned));
        question.cautions.push(self.stimulus.will_leave());
        match self.ask(&question)? {
            Answer::Yes => Ok(()),
            _ => Err(Halt::Stopped(Why::Said)),
        }
    }

    /// The valve, for people.
    pub(super) fn valve(&self) -> String {
        let names = [&self.record.valve.tag, &self.record.device.tag, &self.record.device.long_tag];
        match names.into_iter().find(|n| !n.is_empty()) {
            Some(name) => format!("The valve {name}"),
            None => "The valve".to_owned(),
        }
    }

    /// Says which part begins, for how long it moves as a rule and at most.
    pub(super) fn announce(&mut self, part: &str, usual_s: f64, most_s: f64) {
        let words = format!("{} moves: {part}, for {}.", self.valve(), lasting(usual_s, most_s));
        self.person.tell(&words);
    }

    /// Asks the person; what does not fit the question is as good as nonsense.
    pub(super) fn ask(&mut self, question: &Question) -> Result<Answer, Halt> {
        ask(self.person, question)
    }

    /// Asks for a number; `None`: it is not known.
    pub(super) fn ask_number(
        &mut self,
        id: String,
        words: String,
        unit: &str,
        range: (f64, f64),
    ) -> Result<Option<f64>, Halt> {
        let kind = Kind::Number { unit: unit.to_owned(), least: range.0, most: range.1 };
        Ok(match self.ask(&Question::new(id, words, kind))? {
            Answer::Number(x) => Some(x),
            _ => None,
        })
    }

    /// Asks for the measurement beside the device's, if there is one.
    pub(super) fn external(&mut self, place: &str) -> Result<Option<External>, Halt> {
        let Some(gauge) = self.gauge.clone() else { return Ok(None) };
        self.division(&gauge)?;
        self.asked_external += 1;
        let words = format!("{place}: what does the {} show, in {}?", gauge.name, gauge.unit);
        let id = format!("travel/external/{}", self.asked_external);
        let mut value = self.ask_number(id.clone(), words, &gauge.unit, gauge.range())?;
        if let (Some(typed), Some(travel)) = (value, self.travel)
            && (gauge.percent(typed) - travel).abs() > SLIP_PERCENT
        {
            let words = format!(
                "{typed} {} are {:.1} % of travel, and the device tells {travel:.1} %: is that right? Type it once more, or the right number.",
                gauge.unit,
                gauge.percent(typed)
            );
            value = self.ask_number(id, words, &gauge.unit, gauge.range())?;
        }
        Ok(value.map(|value| External { value, unit: gauge.unit.clone(), percent: gauge.percent(value) }))
    }

    /// Asks once how fine the measurement reads, before it is read first, where nobody has said it [TV-88].
    pub(super) fn division(&mut self, gauge: &Gauge) -> Result<(), Halt> {
        let is_known = |m: &Measure| m.resolution_percent.is_some();
        if self.asked_external > 0 || self.record.external.as_ref().is_none_or(is_known) {
            return Ok(());
        }
        let words = format!(
            "What is the smallest division of the {}, in {}? ? if it is not known: then the last digit that is typed counts",
            gauge.name, gauge.unit
        );
        let span = (gauge.open - gauge.closed).abs();
        let told = self.ask_number(DIVISION.to_owned(), words, &gauge.unit, (span * 1e-6, span))?;
        if let (Some(told), Some(measure)) = (told, &mut self.record.external) {
            measure.resolution_percent = Some(told / span * 100.0);
        }
        Ok(())
    }
}

/// Asks a person; what does not fit the question is as good as nonsense.
pub(in crate::commission) fn ask(person: &mut dyn Person, question: &Question) -> Result<Answer, Halt> {
    match person.ask(question) {
        Answer::Stop(why) => Err(Halt::Stopped(why)),
        answer if question.takes(&answer) => Ok(answer),
        _ => Err(Halt::Stopped(Why::Nonsense)),
    }
}

/// A time as it usually is and as it is at most, as people say it [TV-77].
fn lasting(usual_s: f64, most_s: f64) -> String {
    let usual_s = usual_s.min(most_s);
    // Where next to nothing follows, creeping takes hours: nobody plans by them.
    match most_s > FAR * usual_s {
        true => format!("about {}, longer if it sticks", time(usual_s)),
        false => format!("about {} ({} at most)", time(usual_s), time(most_s)),
    }
}

fn time(seconds: f64) -> String {
    match seconds {
        s if s < 90.0 => format!("{s:.0} s"),
        s if s <= 5400.0 => format!("{:.0} min", (s / 60.0).ceil()),
        s => format!("{:.0} h", (s / 3600.0).ceil()),
    }
}
