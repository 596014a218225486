//! Steps and strokes, read as fast as the line allows [TV-13] [TV-15] [TV-21].

use super::{Run, counted, told};
use crate::commission::travel::figures::View;
use crate::commission::travel::record::{Direction, End, Sample, Step, Watch};
use crate::commission::travel::sensing::{Halt, Rested, Until};

/// Set points of a stroke, percent: 3.8 and 20.5 mA, so that the valve is pressed against its stop [TV-21].
const STOPS: (f64, f64) = (-1.25, 103.125);

impl Run<'_> {
    pub(super) fn steps(&mut self) -> Result<(), Halt> {
        let steps = self.record.plan.steps_percent.clone();
        if steps.is_empty() {
            return Ok(());
        }
        if self.stimulus.capabilities().is_person {
            // Nobody can read a device while a question waits for its answer.
            self.remark(
                "Steps were left out: a person moved the set point, and when is not known well enough."
                    .to_owned(),
            );
            return Ok(());
        }
        let (usual_s, most_s) = (self.record.plan.steps_usual_s(), self.record.plan.steps_s());
        self.announce(&counted(steps.len(), "step"), usual_s, most_s);
        for (from, to) in steps {
            self.during = format!("step from {from} to {to} %");
            let watched = self.watched(from, to)?;
            self.record.steps.push(watched.0);
            self.look(&watched.1)?;
            self.person.tell(&format!("Step from {from} to {to} %: {} readings.", watched.1.samples.len()));
            self.keep();
        }
        Ok(())
    }

    pub(super) fn strokes(&mut self) -> Result<(), Halt> {
        let strokes = self.record.plan.strokes;
        if strokes == 0 {
            return Ok(());
        }
        let part = format!("{} each way, stop to stop", counted(strokes as usize, "stroke"));
        let (usual_s, most_s) = (self.record.plan.strokes_usual_s(), self.record.plan.strokes_s());
        self.announce(&part, usual_s, most_s);
        let stops = match self.stimulus.capabilities().sets_current {
            true => STOPS,
            // What a command takes ends with the set point's range.
            false => (0.0, 100.0),
        };
        self.during = "going to the closed stop".to_owned();
        let (asked_at_s, rested) = self.go(stops.0)?;
        self.driven(asked_at_s, stops.0)?;
        self.at_end(false, rested.at_rest)?;
        for n in 0..strokes {
            self.stroke(2 * n + 1, stops.0, stops.1)?;
            self.stroke(2 * n + 2, stops.1, stops.0)?;
        }
        Ok(())
    }

    fn stroke(&mut self, number: u32, from: f64, to: f64) -> Result<(), Halt> {
        let direction = if to > from { Direction::Up } else { Direction::Down };
        self.during = format!("stroke {}", direction.words());
        let (mut step, rested) = self.watched(from, to)?;
        if self.stimulus.capabilities().is_person {
            let words = format!(
                "Stroke {}: how long did it take by a stop watch, in s? ? if nobody took it",
                direction.words()
            );
            let most = self.record.plan.step_watch_s.max(60.0) * 10.0;
            step.watch.by_hand_s =
                self.ask_number(format!("travel/stroke/{number}"), words, "s", (0.0, most))?;
            // What was read began when the key was pressed, which is no stroke.
            step.watch.samples.clear();
        }
        let counts = !step.watch.samples.is_empty() || step.watch.by_hand_s.is_some();
        if counts {
            self.record.strokes.push(step);
        } else {
            self.remark("A stroke was not timed: a person moved the set point and took no time.".to_owned());
        }
        self.look(&rested)?;
        let is_timed = self.stimulus.capabilities().is_person;
        let told = match rested.settled || is_timed {
            true => "done".to_owned(),
            false => format!(
                "not at rest after {:.0} s, {}: watch longer, by --watch",
                rested.dwell_s,
                told(rested.samples.iter().rev().find_map(|s| s.percent))
            ),
        };
        self.person.tell(&format!("Stroke {}: {told}.", direction.words()));
        if number == 1 && rested.settled {
            self.at_end(true, rested.at_rest)?;
        }
        self.keep();
        Ok(())
    }

    /// Keeps what is read at a stop.
    fn at_end(&mut self, open: bool, readings: Vec<Sample>) -> Result<(), Halt> {
        let angle = self.sensing.readings.angle.clone();
        let angle_deg = self.sensing.number(angle.as_ref())?;
        self.record.ends.push(End { open, readings, angle_deg, external: None });
        let place = if open { "Open stop" } else { "Closed stop" };
        let external = self.external(place)?;
        if let Some(end) = self.record.ends.last_mut() {
            end.external = external;
        }
        Ok(())
    }

    /// Goes to a place, rests there, moves the set point and watches until the valve rests or is given up.
    fn watched(&mut self, from: f64, to: f64) -> Result<(Step, Rested), Halt> {
        let mut head = match self.input {
            Some(input) if input == from => self.rest_here()?,
            _ => self.go(from)?.1.at_rest,
        };
        let before = self.travel;
        self.sensing.take_uncertain_s();
        let (asked_at_s, asked_uncertain_s) = self.set(to)?;
        let plan = &self.record.plan;
        let (rest, most_s) = (plan.rest, plan.step_watch_s);
        // A valve that does not answer is watched to the end; one that has come is not.
        let until = Until { left: before, most_s, ..Until::default() };
        let rested = self.sensing.settle(asked_at_s, &rest, until)?;
        self.look_for_lag(Some((to - from).abs()), to, &rested);
        head.extend(rested.samples.iter().copied());
        let watch = Watch {
            asked_at_s,
            asked_uncertain_s,
            samples_uncertain_s: self.sensing.take_uncertain_s(),
            view: View::Sensor,
            samples: head,
            by_hand_s: None,
        };
        self.driven(asked_at_s, to)?;
        Ok((Step { from_percent: from, to_percent: to, watch }, rested))
    }

    /// Reads where the valve rests, for as long as rest lasts.
    pub(super) fn rest_here(&mut self) -> Result<Vec<Sample>, Halt> {
        let now_s = self.sensing.now_s();
        let rest = self.record.plan.rest;
        let until = Until { most_s: rest.most_s, ..Until::default() };
        let rested = self.sensing.settle(now_s, &rest, until)?;
        self.travel = rested.travel().or(self.travel);
        Ok(rested.at_rest)
    }

    fn look(&mut self, rested: &Rested) -> Result<(), Halt> {
        self.came(rested)
    }
}
