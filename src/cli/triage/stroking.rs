//! Strokes while somebody watches a gauge.

use crate::commission::person::{Answer, Kind, Person, Question};
use crate::commission::travel::run::CAUTIONS;
use crate::commission::triage::watch::Watched;
use crate::commission::triage::{Between, Symptom};
use crate::host::stimulus::{SetPoint, Why};
use crate::host::{Ask, Stimulus};
use core::time::Duration;

/// The least time for a way, s.
const LEAST_S: f64 = 15.0;
/// The most, as strokes that are read have it [TG-09]; a valve of which no time is known gets it, too.
const MOST_S: f64 = 60.0;
/// For the reading of a gauge behind the stroke, and for strokes that are slower than they were, s and times.
const READS_S: f64 = 5.0;
const SLOWER: f64 = 1.5;

/// How long the valve is given for each way: by its calibrated times, or by how long its strokes took before, the longer.
pub fn time_at_end(watched: &Watched) -> Duration {
    let calibrated = watched.calibration.iter().flat_map(|c| [c.stroke_s.0, c.stroke_s.1]).flatten();
    let of = watched.strokes.iter().filter(|s| s.settled && matches!(s.to_percent, 0.0 | 100.0));
    let stroked = of.filter_map(|s| Some(s.at_rest.first()?.at_s - s.asked_at_s));
    let longest = calibrated.chain(stroked).filter(|s| s.is_finite() && *s > 0.0).reduce(f64::max);
    let s = longest.map_or(MOST_S, |s| (SLOWER * s + READS_S).clamp(LEAST_S, MOST_S.max(s + READS_S)));
    Duration::from_secs_f64(s.min(LONGEST_S).ceil())
}

/// Nobody waits longer at a gauge, s.
const LONGEST_S: f64 = 300.0;
/// From end to end and back.
const WAY: [f64; 3] = [0.0, 100.0, 50.0];

/// Strokes the valve for a check that needs it, where there is leave and a way.
pub struct Stroking<'a> {
    ask: &'a mut dyn Ask,
    stimulus: Option<&'a mut Box<dyn Stimulus>>,
    /// Nobody watches: a file answers, or nothing is real.
    is_alone: bool,
    at_end: Duration,
    left: Option<String>,
    /// Leave was asked for and not given.
    refused: bool,
}

impl<'a> Stroking<'a> {
    pub fn new(
        ask: &'a mut dyn Ask,
        stimulus: Option<&'a mut Box<dyn Stimulus>>,
        is_alone: bool,
        at_end: Duration,
    ) -> Stroking<'a> {
        Stroking { ask, stimulus, is_alone, at_end, left: None, refused: false }
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
            WAY.len() as u64 * self.at_end.as_secs()
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
            let rested = moved.and_then(|()| self.ask.rest(self.at_end).map_err(|e| e.to_string()));
            if let Err(why) = rested {
                person.tell(&format!("It was not stroked to its end: {why}"));
                break;
            }
        }
        let left = match stimulus.leave(self.ask) {
            Ok(left) => left.words,
            Err(e) => {
                format!("Where the set point was left is not known. It could not be left as it should: {e}")
            }
        };
        person.tell(&left);
        self.left = Some(left);
        None
    }
}
