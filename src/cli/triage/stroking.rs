//! Strokes while somebody watches a gauge.

use crate::commission::person::{Answer, Kind, Person, Question};
use crate::commission::travel::run::CAUTIONS;
use crate::commission::triage::watch::Watched;
use crate::commission::triage::{Between, Symptom};
use crate::host::stimulus::{SetPoint, Why};
use crate::host::{Ask, Stimulus};
use core::time::Duration;

/// Least and most time for a way, s.
const LEAST_S: f64 = 15.0;
const MOST_S: f64 = 300.0;
/// That of a valve of which no time is known, as long as strokes that are read wait for rest [TG-09], s.
const UNKNOWN_S: f64 = 60.0;
/// A stroke may be slower than it was, and then a gauge is read, times and s.
const SLOWER: f64 = 1.5;
const READS_S: f64 = 5.0;

/// How long the valve is given for each way: by its calibrated times, or by how long its strokes took before, the longer.
pub fn time_at_end(watched: &Watched) -> Duration {
    let calibrated = watched.calibration.iter().flat_map(|c| [c.stroke_s.0, c.stroke_s.1]).flatten();
    let ends = watched.strokes.iter().filter(|s| s.settled && matches!(s.to_percent, 0.0 | 100.0));
    let stroked = ends.filter_map(|s| Some(s.at_rest.first()?.at_s - s.asked_at_s));
    let longest = calibrated.chain(stroked).filter(|s| s.is_finite() && *s > 0.0).reduce(f64::max);
    let s = longest.map_or(UNKNOWN_S, |s| (SLOWER * s + READS_S).clamp(LEAST_S, MOST_S));
    Duration::from_secs_f64(s.ceil())
}

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

    /// Leave was asked for before, and not given: it is not asked for again.
    pub fn refuse(&mut self) {
        self.refused = true;
    }

    /// Where the set point was left; `None`: it was not moved here.
    pub fn left(&self) -> Option<String> {
        self.left.clone()
    }
}

impl Between for Stroking<'_> {
    fn stroke(&mut self, person: &mut dyn Person, symptom: &Symptom) -> Result<bool, Why> {
        let Some(stimulus) = self.stimulus.as_mut().filter(|_| !self.is_alone && !self.refused) else {
            return Ok(false);
        };
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
            Answer::Stop(why) => return Err(why),
            _ => {
                // A no holds for all of it.
                self.refused = true;
                return Ok(false);
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
                let stays = stimulus.stays().map(|at| at.words);
                let stays = stays.unwrap_or("Where the set point was left is not known.".to_owned());
                format!("{stays} It could not be left as it should: {e}")
            }
        };
        person.tell(&left);
        self.left = Some(left);
        Ok(true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commission::travel::record::Sample;
    use crate::commission::triage::watch::{Calibration, Stroke};
    use crate::exchange::Exchange;
    use crate::host::stimulus::{Act, Capabilities, Given, LeftAt, StimulusError};
    use crate::host::{Device, HostError};
    use crate::time::Instant;

    /// A line and a source that nobody uses.
    struct Nothing;

    impl Ask for Nothing {
        fn ask_octets(&mut self, _: &Device, _: u8, _: Vec<u8>) -> Result<Exchange, HostError> {
            panic!("it was asked")
        }
        fn rest(&mut self, _: Duration) -> Result<(), HostError> {
            panic!("it was waited for")
        }
        fn now(&mut self) -> Instant {
            Instant::default()
        }
    }

    impl Stimulus for Nothing {
        fn describe(&self) -> String {
            "nobody".to_owned()
        }
        fn capabilities(&self) -> Capabilities {
            Capabilities { sets_current: true, current: false, air: false, trip: false, is_person: false }
        }
        fn set(&mut self, _: &mut dyn Ask, _: SetPoint) -> Result<Given, StimulusError> {
            panic!("it was moved")
        }
        fn act(&mut self, _: &mut dyn Ask, _: Act) -> Result<Given, StimulusError> {
            panic!("it was taken away")
        }
        fn leave(&mut self, _: &mut dyn Ask) -> Result<LeftAt, StimulusError> {
            panic!("it was never moved")
        }
    }

    struct Nobody(usize);

    impl Person for Nobody {
        fn ask(&mut self, _: &Question) -> Answer {
            self.0 += 1;
            Answer::No
        }
        fn tell(&mut self, _: &str) {}
    }

    /// Whoever did not let the valve move at first is not asked again [TG-30].
    #[test]
    fn a_no_is_a_no() {
        let known = crate::commission::triage::Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
        for (refused, asked) in [(false, 1), (true, 0)] {
            let mut line = Nothing;
            let mut stimulus: Box<dyn Stimulus> = Box::new(Nothing);
            let mut between = Stroking::new(&mut line, Some(&mut stimulus), false, Duration::from_secs(15));
            if refused {
                between.refuse();
            }
            let mut person = Nobody(0);
            for _ in 0..2 {
                assert_eq!(between.stroke(&mut person, &known.symptoms[0]), Ok(false));
            }
            assert_eq!(person.0, asked);
        }
    }

    /// Of a valve calibrated at 31 and 49 s each way has 1.5 x 49 + 5 = 78.5, 79 s; a quick one 15; a stroke that took 60 s before has
    /// 95; one of which nothing is known 60 [TG-15].
    #[test]
    fn a_slow_valve_has_its_time() {
        let calibrated = |a, b| Watched {
            calibration: Some(Calibration { stroke_s: (Some(a), Some(b)), ..Calibration::default() }),
            ..Watched::default()
        };
        let mut stroked = calibrated(3.0, 4.0);
        stroked.strokes = vec![Stroke {
            to_percent: 100.0,
            asked_at_s: 10.0,
            at_rest: vec![Sample::new(70.0, 99.0)],
            settled: true,
            ..Stroke::default()
        }];
        let s = |w: &Watched| time_at_end(w).as_secs();
        assert_eq!([s(&calibrated(31.0, 49.0)), s(&calibrated(3.0, 4.0)), s(&stroked)], [79, 15, 95]);
        assert_eq!([s(&Watched::default()), s(&calibrated(f64::NAN, 1e9))], [60, 300]);
    }
}
