//! The sensor of travel, looked at while a person moves the valve by hand [TV-40].

use super::judge::{END_PERCENT, STILL_PERCENT};
use super::{Guide, Hand, mean_of};
use crate::commission::person::{Answer, Kind, Question};
use crate::commission::travel::record::Sample;
use crate::commission::travel::run::{self, CAUTIONS};
use crate::commission::travel::sensing::{Halt, Until, in_bar};

/// What the ends read, percent.
const CLOSED_PERCENT: f64 = 0.0;
const OPEN_PERCENT: f64 = 100.0;
/// A hand that rests so long has come to the end, s (own choice).
const HAND_RESTS_S: f64 = 3.0;
/// A hand is watched no longer one way, s (own choice).
const HAND_MOST_S: f64 = 120.0;
/// From this on a pressure is no gauge at 0, bar [TV-155].
const STILL_ON_BAR: f64 = 0.2;
/// What is vented is given so long to be gone, s [TV-155].
const VENTS_S: f64 = 15.0;

impl Guide<'_> {
    pub(super) fn sensor(&mut self) -> Result<(), Halt> {
        self.during("asking for leave to move the valve by hand");
        let words = "The sensor is looked at while you move the valve, or the lever, by hand, from closed to open and back. \
                     It moves only by your hand, for as long as you take. Is that allowed, and do you want it?";
        let mut question = Question::new("device_check/sensor", words, Kind::YesNo);
        question.cautions.extend(CAUTIONS.map(str::to_owned));
        question.cautions.push(
            "A spring and air that is shut in move the valve when something lets go: vent first, and hold against it.".into(),
        );
        if self.ask(&question)? != Answer::Yes {
            self.remark("The sensor was not looked at: it was not wanted.");
            return Ok(());
        }
        self.during("shutting the air");
        // It may be shut before the key is pressed.
        self.air_off = true;
        self.keep();
        if !self.done("air_off", "Shut the air, vent it, and see the gauge at 0. Enter when it is.")? {
            self.remark("The sensor was not looked at: the air could not be shut.");
            self.air_off = false;
            return Ok(());
        }
        if !self.air_is_off()? {
            self.remark("The sensor was not looked at: the air is not off.");
            return self.air_on();
        }
        self.during("the sensor at the closed end");
        if !self.done("closed", "Move it to the closed end by hand and hold it. Enter when it is there.")? {
            self.remark("The sensor was not looked at: the valve could not be moved by hand.");
            return self.air_on();
        }
        self.check.hand = Some(Hand::default());
        let closed = self.held(CLOSED_PERCENT, None)?;
        let angle = self.angle()?;
        let at_closed = mean_of(&closed);
        self.hand(|h| (h.closed, h.angles_deg.0) = (closed, angle));
        self.during("the sensor on the way to open");
        let way = "After Enter move it slowly and evenly to the open end, in about 20 s, and hold it there.";
        self.done("opening", way)?;
        let opening = self.moved()?;
        self.hand(|h| h.opening = opening);
        self.during("the sensor at the open end");
        self.done("open", "Is it at the open end? Move it there, hold it, Enter.")?;
        let open = self.held(OPEN_PERCENT, at_closed)?;
        let angle = self.angle()?;
        let at_open = mean_of(&open);
        self.hand(|h| (h.open, h.angles_deg.1) = (open, angle));
        self.during("the sensor on the way back");
        self.done("closing", "After Enter move it slowly back to the closed end, and hold it there.")?;
        let closing = self.moved()?;
        self.hand(|h| h.closing = closing);
        self.during("the sensor back at the closed end");
        self.done("back", "Is it at the closed end again? Move it there, hold it, Enter.")?;
        let back = self.held(CLOSED_PERCENT, at_open)?;
        self.hand(|h| h.back = back);
        self.air_on()
    }

    fn hand(&mut self, set: impl FnOnce(&mut Hand)) {
        if let Some(hand) = &mut self.check.hand {
            set(hand);
        }
    }

    /// Asks the device whether it still has air, before anybody is to put a hand on the valve [TV-155]; whether the air is off as far as is known.
    fn air_is_off(&mut self) -> Result<bool, Halt> {
        self.during("asking the device for its air");
        let from_s = self.sensing.now_s();
        let (told, unit) = loop {
            let Some((told, unit)) = self.sensing.highest_pressure()?.flatten() else {
                self.person
                    .tell("The device tells no pressure: the gauge alone tells whether the air is off.");
                return Ok(true);
            };
            if in_bar(told, &unit).is_none_or(|bar| bar < STILL_ON_BAR) {
                return Ok(true);
            }
            // What is vented takes a moment.
            if self.sensing.now_s() - from_s >= VENTS_S {
                break (told, unit);
            }
            self.sensing.ask.rest(core::time::Duration::from_secs(1))?;
        };
        let still = format!("The device still tells {told:.2} {unit} of air");
        let words = format!("{still}. Look at the gauge again: is the air shut and vented?");
        let question = Question::new("device_check/air_still_on", words, Kind::YesNo).with_caution(format!(
            "{still}: the valve may move with its full force. No hand on stem, lever or coupling until the gauge stands at 0."
        ));
        if self.ask(&question)? != Answer::Yes {
            return Ok(false);
        }
        self.remark(&format!("{still} where it was said to be shut and vented."));
        Ok(true)
    }

    /// Reads where the valve is held at an end, and says at once where that is none [TV-156]; `before`: where it was held before.
    fn held(&mut self, end: f64, before: Option<f64>) -> Result<Vec<Sample>, Halt> {
        let now_s = self.sensing.now_s();
        let rest = self.check.rest;
        let until = Until { most_s: rest.most_s, ..Until::default() };
        let held = self.sensing.settle(now_s, &rest, until)?;
        let words = run::told(held.travel());
        let name = if end == OPEN_PERCENT { "open" } else { "closed" };
        let at = mean_of(&held.at_rest);
        let is_still = at.zip(before).is_some_and(|(at, before)| (at - before).abs() < STILL_PERCENT);
        let odd = match at {
            Some(_) if is_still => {
                " It has not moved since it was held at the other end: was it moved?".to_owned()
            }
            Some(at) if (at - end).abs() > END_PERCENT => {
                format!(" The {name} end ought to read {end:.0} %: is that the end?")
            }
            _ => String::new(),
        };
        self.person.tell(&format!("Held: {words}.{odd}"));
        Ok(held.at_rest)
    }

    /// Reads while a hand moves the valve, until it has rested for a while.
    fn moved(&mut self) -> Result<Vec<Sample>, Halt> {
        let now = self.sensing.travel(false)?;
        let mut rest = self.check.rest;
        rest.for_s = rest.for_s.max(HAND_RESTS_S);
        let until = Until { left: now.percent, most_s: HAND_MOST_S, ..Until::default() };
        self.person.tell(&format!(
            "Now. It is read for {HAND_MOST_S:.0} s at most, until it has rested for {:.0} s.",
            rest.for_s
        ));
        let mut samples = vec![now];
        samples.extend(self.sensing.settle(now.at_s, &rest, until)?.samples);
        Ok(samples)
    }

    fn angle(&mut self) -> Result<Option<f64>, Halt> {
        let angle = self.sensing.readings.angle.clone();
        self.sensing.number(angle.as_ref())
    }

    fn air_on(&mut self) -> Result<(), Halt> {
        self.during("opening the air again");
        let words = "Take your hands off stem and lever. Open the air again: the valve goes to its set point. Enter when it is there.";
        if !self.done("air_on", words)? {
            return Err(Halt::Failed("the air is not on\n  next: open the air and begin again".into()));
        }
        self.air_off = false;
        self.keep();
        Ok(())
    }
}
