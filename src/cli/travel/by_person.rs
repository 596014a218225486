//! A person at a calibrator as the one who moves the set point [TV-31].

use super::by_bench::ByBench;
use crate::commission::person::{Answer, Kind, Person, Question};
use crate::host::stimulus::{Act, Capabilities, Given, LeftAt, SetPoint, StimulusError};
use crate::host::{Ask, Stimulus};
use core::time::Duration;

/// How well the moment is known at which a person did something: between the doing and the key. Own choice.
const BY_HAND: Duration = Duration::from_millis(500);

/// A person who sets the current, and opens, shuts and trips what is to be taken away.
pub struct ByPerson<P> {
    person: P,
    /// How often a current was asked for.
    asked: usize,
    now_ma: Option<f64>,
    /// What was asked for and not said to be done.
    open_ma: Option<f64>,
    taken: Vec<Act>,
    /// What does on a mock what the person says was done.
    bench: Option<ByBench>,
}

impl<P: Person> ByPerson<P> {
    /// This person; on a `mock:` line with the bench of this process in the place of calibrator, supply and trip.
    pub fn new(person: P, bench: Option<ByBench>) -> ByPerson<P> {
        ByPerson { person, asked: 0, now_ma: None, open_ma: None, taken: Vec::new(), bench }
    }

    fn done(&mut self, ask: &mut dyn Ask, question: &Question) -> Result<Given, StimulusError> {
        match self.person.ask(question) {
            Answer::Stop(why) => Err(StimulusError::Stopped(why)),
            Answer::DontKnow => Err(StimulusError::Cannot { what: format!("do this: {}", question.words) }),
            // The clock of a line that does not wait for people stands meanwhile.
            _ => Ok(Given { at: ask.now(), uncertain: BY_HAND }),
        }
    }

    fn take_note(&mut self, act: Act) {
        match act {
            Act::LoseCurrent | Act::LoseAir | Act::Trip => {
                if !self.taken.contains(&act) {
                    self.taken.push(act);
                }
            }
            Act::RestoreCurrent => self.taken.retain(|a| *a != Act::LoseCurrent),
            Act::RestoreAir => self.taken.retain(|a| *a != Act::LoseAir),
            Act::ResetTrip => self.taken.retain(|a| *a != Act::Trip),
        }
    }
}

impl<P: Person> Stimulus for ByPerson<P> {
    fn describe(&self) -> String {
        "a person at the calibrator".to_owned()
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities { sets_current: true, current: true, air: true, trip: true, is_person: true }
    }

    fn set(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<Given, StimulusError> {
        self.asked += 1;
        let ma = to.current_ma();
        let question = Question::new(
            format!("travel/set_current/{}", self.asked),
            format!("Set {ma:.2} mA ({:.1} %), then press Enter.", to.percent()),
            Kind::Enter,
        );
        self.open_ma = Some(ma);
        let given = self.done(ask, &question)?;
        (self.now_ma, self.open_ma) = (Some(ma), None);
        if let Some(bench) = &mut self.bench {
            bench.set(ask, to)?;
        }
        Ok(given)
    }

    fn act(&mut self, ask: &mut dyn Ask, act: Act) -> Result<Given, StimulusError> {
        let (id, words, caution) = match act {
            Act::LoseCurrent => (
                "lose_current",
                "Open the loop at the calibrator, then press Enter at once.",
                "Only a loop that feeds this device alone. In a hazardous area open it where the permit says.",
            ),
            Act::RestoreCurrent => ("restore_current", "Close the loop again, then press Enter.", ""),
            Act::LoseAir => (
                "lose_air",
                "Shut the air supply and vent the line, then press Enter at once.",
                "Air blows off where it is vented: eyes and ears. The spring moves the valve.",
            ),
            Act::RestoreAir => (
                "restore_air",
                "Open the air supply again, slowly, then press Enter.",
                "The valve moves when the air comes.",
            ),
            Act::Trip => (
                "trip",
                "Trip the valve the way the site's procedure says, then press Enter at once.",
                "A trip belongs to a safety function: only with the leave of whoever answers for it.",
            ),
            Act::ResetTrip => (
                "reset_trip",
                "Take the trip back, then press Enter.",
                "The valve moves back to its set point.",
            ),
        };
        let mut question = Question::new(format!("travel/{id}"), words, Kind::Enter);
        if !caution.is_empty() {
            question = question.with_caution(caution);
        }
        let takes = matches!(act, Act::LoseCurrent | Act::LoseAir | Act::Trip);
        if takes {
            // It may be done before the key is pressed.
            self.take_note(act);
        }
        let given = self.done(ask, &question);
        if takes && matches!(given, Err(StimulusError::Cannot { .. })) {
            self.taken.retain(|a| *a != act);
        }
        let given = given?;
        self.take_note(act);
        if let Some(bench) = &mut self.bench {
            bench.act(ask, act)?;
        }
        Ok(given)
    }

    fn still_taken(&self) -> Vec<Act> {
        self.taken.clone()
    }

    fn will_leave(&self) -> String {
        "In the end, and after Ctrl-C, the calibrator stays at the current that was set last: nobody but you moves it."
            .to_owned()
    }

    fn ahead(&mut self, _: &mut dyn Ask, to: SetPoint) -> Result<String, StimulusError> {
        let before = self.now_ma.map_or(String::new(), |ma| format!(", or still at {ma:.2} mA"));
        Ok(format!(
            "Asked for last: {:.2} mA at the calibrator{before}, and never given back: look what it shows, and give the loop back as the permit says.",
            to.current_ma()
        ))
    }

    fn leave(&mut self, ask: &mut dyn Ask) -> Result<LeftAt, StimulusError> {
        let mut not_back = Vec::new();
        for act in self.taken.clone() {
            let (back, what) = match act {
                Act::LoseCurrent => (Act::RestoreCurrent, "the loop current"),
                Act::LoseAir => (Act::RestoreAir, "the air supply"),
                _ => (Act::ResetTrip, "the trip"),
            };
            if self.act(ask, back).is_err() {
                not_back.push(what);
            }
        }
        let percent =
            self.now_ma.filter(|_| self.open_ma.is_none()).map(|ma| SetPoint::CurrentMa(ma).percent());
        let mut words = match (self.now_ma, self.open_ma) {
            (Some(ma), None) => format!("The calibrator was last said to be set to {ma:.2} mA."),
            (Some(ma), Some(open)) => {
                format!(
                    "The calibrator was last said to be set to {ma:.2} mA; {open:.2} mA was asked for after that, and nobody said that it was set."
                )
            }
            (None, Some(open)) => format!("The calibrator is left where it was, or at {open:.2} mA."),
            (None, None) => "The calibrator was not set: where the set point is, is not known.".to_owned(),
        };
        if !not_back.is_empty() {
            words += &format!(" Nobody said that this was given back: {}.", not_back.join(", "));
        }
        words += " Give the loop back as the permit says.";
        Ok(LeftAt { percent, words })
    }
}
