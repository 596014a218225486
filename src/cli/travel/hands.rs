//! A bench that plays the hands of a person at the valve, in a device check [TV-82].

use super::by_bench::Way;
use super::person::Asked;
use crate::bench::Gauges;
use crate::commission::device_check::WATCH;
use crate::commission::person::{Answer, Person, Question};
use serde_json::json;

/// A valve that the hand has moved is within this of where it was to go, percent (own choice).
const CAME_PERCENT: f64 = 5.0;
/// A change of the gauge that somebody sees, bar (own choice).
const SEEN_BAR: f64 = 0.005;
/// Air that somebody hears blow off, g/s (own choice).
const HEARD_G_PER_S: f64 = 0.001;

/// What does on a bench what a person says was done by hand at the valve: shuts its air, moves it, opens the air again.
pub struct Hands {
    /// How the bench is told.
    pub way: Way,
    /// Pressure of the header, bar; `None`: there is none to shut.
    pub header_bar: Option<f64>,
    /// Whether the air was shut and not opened again.
    pub air_is_off: bool,
    /// Where a hand holds the valve, percent; `None`: none does.
    pub holds: Option<f64>,
}

type Done = Result<(), (String, String)>;

impl Hands {
    fn air(&mut self, on: bool) -> Done {
        let Some(bar) = self.header_bar else {
            let next = "describe the valve in [device.valve] of the bench file";
            return Err(("the bench computes no valve for this device".to_owned(), next.to_owned()));
        };
        self.way.change("header_pressure_bar", json!(if on { bar } else { 0.0 }))?;
        self.air_is_off = !on;
        Ok(())
    }

    fn hold(&mut self, percent: f64) -> Done {
        self.way.change("hand_percent", json!(percent))?;
        self.holds = Some(percent);
        Ok(())
    }

    /// Takes the hand off and opens the air, as far as they are not so already.
    pub fn give_back(&mut self) -> Done {
        let off = if self.holds.is_some() { self.way.change("hand_off", json!(true)) } else { Ok(()) };
        self.holds = self.holds.filter(|_| off.is_err());
        let on = if self.air_is_off { self.air(true) } else { Ok(()) };
        off.and(on)
    }
}

/// A person whose hands at the valve are played by a bench, where there is one.
pub struct AtTheValve {
    person: Asked,
    hands: Option<Hands>,
    /// What the gauges showed when the person was told to watch them.
    watched: Option<Gauges>,
}

impl AtTheValve {
    /// This person, whose hands are the bench's.
    pub fn new(person: Asked, mut hands: Option<Hands>) -> AtTheValve {
        // From now on somebody looks.
        let watched = hands.as_mut().and_then(|h| h.way.gauges());
        AtTheValve { person, hands, watched }
    }

    /// Gives back what the hands have taken, however the check ended.
    pub fn end(&mut self) {
        let Some(hands) = self.hands.as_mut().filter(|h| h.holds.is_some() || h.air_is_off) else { return };
        match hands.give_back() {
            Ok(()) => {
                self.person.tell("The bench has taken its hand off the valve and opened its air again.")
            }
            Err((wrong, _)) => {
                self.person.tell(&format!("The bench could not take its hand off and open its air: {wrong}"));
            }
        }
    }

    /// What somebody at the bench's gauges would see, before it is asked for.
    fn look(&mut self, id: &str) {
        let Some(now) = self.hands.as_mut().and_then(|h| h.way.gauges()) else { return };
        if let (
            "device_check/opening" | "device_check/open" | "device_check/closing" | "device_check/back",
            Some(wanted),
        ) = (id, self.hands.as_ref().and_then(|h| h.holds))
        {
            let away = now.travel_percent.filter(|at| (at - wanted).abs() > CAME_PERCENT);
            if let Some(at) = away {
                self.person.tell(&format!(
                    "On the bench the hand cannot move it to {wanted:.0} %: it stands at {at:.1} % and does not give way."
                ));
            }
            return;
        }
        let which = match id.rsplit('/').next() {
            Some("first") => 0,
            Some("second") => 1,
            Some("blows") => {
                let blows = now.exhaust_g_per_s;
                let does = if blows > HEARD_G_PER_S { "air blows off" } else { "no air blows off" };
                return self.person.tell(&format!("On the bench {does} at the vent: {blows:.4} g/s."));
            }
            _ => return,
        };
        let Some(before) = self.watched else { return };
        let (from, to) = (before.outputs_bar[which], now.outputs_bar[which]);
        let does = match to - from {
            d if d > SEEN_BAR => "rose",
            d if d < -SEEN_BAR => "fell",
            _ => "stayed",
        };
        self.person.tell(&format!("On the bench this gauge {does}: {from:.3} bar before, {to:.3} bar now."));
    }
}

impl Person for AtTheValve {
    fn ask(&mut self, question: &Question) -> Answer {
        self.look(&question.id);
        let answer = self.person.ask(question);
        let (Some(hands), Answer::Done) = (&mut self.hands, &answer) else { return answer };
        let done = match question.id.strip_prefix("device_check/") {
            Some("air_off") => hands.air(false),
            Some("closed" | "closing" | "back") => hands.hold(0.0),
            Some("opening" | "open") => hands.hold(100.0),
            Some("air_on") => hands.give_back(),
            _ => Ok(()),
        };
        match done {
            Ok(()) => answer,
            Err((wrong, next)) => {
                self.person.tell(&format!("The bench cannot do this by hand: {wrong}\n  next: {next}"));
                Answer::DontKnow
            }
        }
    }

    fn tell(&mut self, words: &str) {
        if words.contains(WATCH)
            && let Some(now) = self.hands.as_mut().and_then(|h| h.way.gauges())
        {
            self.watched = Some(now);
        }
        self.person.tell(words);
    }
}
