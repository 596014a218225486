//! Strokes while somebody watches a gauge.

use crate::commission::person::{Answer, Kind, Person, Question};
use crate::commission::travel::run::CAUTIONS;
use crate::commission::triage::{Between, Symptom};
use crate::host::stimulus::{SetPoint, Why};
use crate::host::{Ask, Stimulus};
use core::time::Duration;

/// How long the valve is given at each end, s.
const AT_END: Duration = Duration::from_secs(15);
/// From end to end and back.
const WAY: [f64; 3] = [0.0, 100.0, 50.0];

/// Strokes the valve for a check that needs it, where there is leave and a way.
pub struct Stroking<'a> {
    ask: &'a mut dyn Ask,
    stimulus: Option<&'a mut Box<dyn Stimulus>>,
    /// Nobody watches: a file answers, or nothing is real.
    is_alone: bool,
    left: Option<String>,
    /// Leave was asked for and not given.
    refused: bool,
}

impl<'a> Stroking<'a> {
    pub fn new(
        ask: &'a mut dyn Ask,
        stimulus: Option<&'a mut Box<dyn Stimulus>>,
        is_alone: bool,
    ) -> Stroking<'a> {
        Stroking { ask, stimulus, is_alone, left: None, refused: false }
    }

    /// Where the set point was left; `None`: it was not moved here.
    pub fn left(&self) -> Option<String> {
        self.left.clone()
    }
}

impl Between for Stroking<'_> {
    fn stroke(&mut self, person: &mut dyn Person, symptom: &Symptom) -> Option<Why> {
        let stimulus = self.stimulus.as_mut().filter(|_| !self.is_alone && !self.refused)?;
        let words = format!(
            "Now watch for this: {}. The valve goes to 0 %, to 100 % and to 50 %, for {} s. May it move now?",
            symptom.words,
            WAY.len() as u64 * AT_END.as_secs()
        );
        let mut question = Question::new("triage/stroke", words, Kind::YesNo);
        question.cautions.extend(CAUTIONS.map(str::to_owned));
        question.cautions.push(stimulus.will_leave());
        match person.ask(&question) {
            Answer::Yes => {}
            Answer::Stop(why) => return Some(why),
            _ => {
                // A no holds for all of it.
                self.refused = true;
                person.tell("It is not moved: see to it that it strokes, or answer \"?\".");
                return None;
            }
        }
        for percent in WAY {
            let to = match stimulus.capabilities().sets_current {
                true => SetPoint::CurrentMa(SetPoint::Percent(percent).current_ma()),
                false => SetPoint::Percent(percent),
            };
            person.tell(&format!("Set point {percent} %."));
            let moved = stimulus.set(self.ask, to).map(|_| ()).map_err(|e| e.to_string());
            let rested = moved.and_then(|()| self.ask.rest(AT_END).map_err(|e| e.to_string()));
            if let Err(why) = rested {
                person.tell(&format!("It was not stroked to its end: {why}"));
                break;
            }
        }
        let left = match stimulus.leave(self.ask) {
            Ok(left) => left.words,
            Err(e) => {
                let stays = stimulus.stays().map(|at| at.words);
                let stays = stays.unwrap_or("Where the set point was left is not known.".to_owned());
                format!("{stays} It could not be left as it should: {e}")
            }
        };
        person.tell(&left);
        self.left = Some(left);
        None
    }
}
