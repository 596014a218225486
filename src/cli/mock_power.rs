//! News of power, so told that a device which goes dark and starts again without end does not flood the reader.

use super::mock_loop::given;
use crate::sim::{Power, PowerNews};
use crate::time::Instant;
use crate::wiring::digits;
use core::mem::discriminant;
use core::time::Duration;
use serde_json::{Value as Json, json};

/// So many rounds are told in full.
const ROUNDS: u32 = 3;

/// What has been told of a device.
#[derive(Clone, Debug, Default)]
struct Rounds {
    /// When its power went last, and how.
    last: Option<PowerNews>,
    every: Option<Duration>,
    /// How often it went in the same way and at the same pace.
    count: u32,
    is_silent: bool,
    /// Whether it was silent when something happened, so that it is to be told how that ends.
    owes_end: bool,
}

/// What is to be told of news of power.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Telling {
    /// The news.
    News,
    /// The news, and that it works, which else follows from what was told before.
    Works,
    /// That it goes on in the same way, once in such a time.
    GoesOn(Duration),
    /// Nothing.
    Nothing,
}

/// What has been told of the power of each device.
#[derive(Clone, Debug)]
pub struct PowerTold {
    devices: Vec<Rounds>,
}

impl PowerTold {
    /// Of so many devices nothing yet.
    pub fn new(devices: usize) -> PowerTold {
        PowerTold { devices: vec![Rounds::default(); devices] }
    }

    /// An event has happened: whatever comes now may be new.
    pub fn event(&mut self) {
        for of in &mut self.devices {
            of.owes_end |= of.is_silent;
            (of.is_silent, of.count, of.every) = (false, 0, None);
        }
    }

    /// What is to be told of news of a device.
    pub fn of(&mut self, device: usize, news: &PowerNews) -> Telling {
        let Some(of) = self.devices.get_mut(device) else { return Telling::News };
        match news.supplied.power {
            Power::Off(why) => {
                of.owes_end = false;
                let last = of.last.replace(*news);
                let every = last.map(|l| news.at.since(l.at));
                let is_same_way = last.is_some_and(
                    |l| matches!(l.supplied.power, Power::Off(was) if discriminant(&was) == discriminant(&why)),
                );
                let is_same_pace =
                    of.every.is_none_or(|was| every.is_some_and(|e| e.abs_diff(was) <= was / 5));
                let goes_on = of.count > 0 && is_same_way && is_same_pace;
                if !goes_on {
                    (of.count, of.is_silent) = (1, false);
                    of.every = None;
                    return Telling::News;
                }
                (of.count, of.every) = (of.count + 1, every);
                match every {
                    _ if of.count <= ROUNDS => Telling::News,
                    Some(every) if !of.is_silent => {
                        of.is_silent = true;
                        Telling::GoesOn(every)
                    }
                    _ => Telling::Nothing,
                }
            }
            _ if of.is_silent => Telling::Nothing,
            Power::On if core::mem::take(&mut of.owes_end) => Telling::Works,
            _ => Telling::News,
        }
    }
}

fn seconds(at: Instant) -> f64 {
    at.as_secs_f64()
}

/// Power that has gone or come back, in a line; nothing where the device only has started, for that was told before.
pub fn power_line(news: &PowerNews, telling: Telling, name: &str) -> Option<String> {
    let (at, given) = (digits(seconds(news.at), 3), given(&news.supplied));
    Some(match (telling, news.supplied.power) {
        (Telling::Nothing, _) => return None,
        (Telling::GoesOn(every), _) => {
            let every = digits(every.as_secs_f64(), 3);
            format!(
                "at {at} s: {name} goes on so every {every} s; no more is told of it until an event happens"
            )
        }
        (Telling::Works, _) => format!("at {at} s: {name} works: {given}"),
        (Telling::News, Power::Off(_)) => format!("at {at} s: {name} is {given}"),
        (Telling::News, Power::Starting { .. }) => format!("at {at} s: {name} has power again: {given}"),
        (Telling::News, Power::On) => return None,
    })
}

/// The same for programs, where it is to be told.
pub fn power_json(news: &PowerNews, telling: Telling, device: usize) -> Option<Json> {
    let mut of = super::mock_loop::supplied_json(&news.supplied);
    let Json::Object(map) = &mut of else { return None };
    match telling {
        Telling::Nothing => return None,
        Telling::GoesOn(every) => {
            return Some(json!({
                "notice": "power_goes_on_so", "at_s": seconds(news.at), "device": device,
                "every_s": every.as_secs_f64(),
            }));
        }
        Telling::News | Telling::Works => {}
    }
    let until = match news.supplied.power {
        Power::Starting { until } => Some(seconds(until)),
        _ => None,
    };
    map.insert("notice".to_owned(), json!("power"));
    map.insert("at_s".to_owned(), json!(seconds(news.at)));
    map.insert("device".to_owned(), json!(device));
    map.insert("works_from_s".to_owned(), json!(until));
    Some(of)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::{Dark, Supplied};

    fn news(ms: u64, power: Power) -> PowerNews {
        let supplied = Supplied { power, volts_v: 14.2, current_a: 0.004, margin_v: 2.0, card: None };
        PowerNews { at: Instant::from_nanos(ms * 1_000_000), supplied }
    }

    fn off(ms: u64) -> PowerNews {
        news(ms, Power::Off(Dark::Open))
    }

    #[test]
    fn power_in_words() {
        let told = |news: PowerNews| power_line(&news, Telling::News, "FV-3104");
        let dark = Dark::Volts { volts_v: 9.8004, peak_v: 0.071, current_a: 0.02, needs_v: 10.5 };
        // 10.5 V, 0.07 V and the 0.5 V of [WI-14].
        assert_eq!(
            told(news(1500, Power::Off(dark))).as_deref(),
            Some(
                "at 1.5 s: FV-3104 is without power: 9.8 V at 20 mA, it needs 10.5 V and 0.07 V for the signal; \
                 it starts again from 11.07 V"
            )
        );
        let starts = news(1500, Power::Starting { until: Instant::from_nanos(4_500_000_000) });
        assert_eq!(
            told(starts).as_deref(),
            Some(
                "at 1.5 s: FV-3104 has power again: 14.2 V at 4 mA, 2 V to spare; it starts and works from 4.5 s on"
            )
        );
        assert_eq!(told(news(4500, Power::On)), None);
    }

    /// Three rounds are told, that it goes on is told once, then nothing until an event; how that ends is told.
    #[test]
    fn whoever_starves_himself_does_not_flood() {
        let mut told = PowerTold::new(1);
        let until = Instant::from_nanos(0);
        for round in 0..20 {
            let ms = 100 * round;
            let is = told.of(0, &off(ms));
            match round {
                0..3 => assert_eq!(is, Telling::News, "{round}"),
                3 => assert_eq!(is, Telling::GoesOn(Duration::from_millis(100))),
                _ => assert_eq!(is, Telling::Nothing, "{round}"),
            }
            let rest = if round < 3 { Telling::News } else { Telling::Nothing };
            assert_eq!(told.of(0, &news(ms, Power::Starting { until })), rest, "{round}");
            assert_eq!(told.of(0, &news(ms + 100, Power::On)), rest, "{round}");
        }
        let line = power_line(&off(300), Telling::GoesOn(Duration::from_millis(100)), "TT-3104");
        assert_eq!(
            line.as_deref(),
            Some("at 0.3 s: TT-3104 goes on so every 0.1 s; no more is told of it until an event happens")
        );
        told.event();
        assert_eq!(told.of(0, &news(2000, Power::On)), Telling::Works);
        assert_eq!(told.of(0, &news(2100, Power::On)), Telling::News);
        assert_eq!(told.of(0, &off(2200)), Telling::News);
    }

    /// Another cause, or another pace, is news.
    #[test]
    fn what_is_different_is_told() {
        let mut told = PowerTold::new(1);
        let all = [0, 100, 200, 300].map(|ms| told.of(0, &off(ms)));
        assert_eq!(all[3], Telling::GoesOn(Duration::from_millis(100)));
        assert_eq!(told.of(0, &news(400, Power::Off(Dark::Reversed))), Telling::News);
        let mut told = PowerTold::new(1);
        let all = [0, 100, 200, 300, 5000].map(|ms| told.of(0, &off(ms)));
        assert_eq!(all[4], Telling::News);
        // One of two devices says nothing of the other.
        let mut told = PowerTold::new(2);
        let all = [0, 1, 0, 1, 0, 1].map(|device| told.of(device, &off(100)));
        assert_eq!(all, [Telling::News; 6]);
    }
}
