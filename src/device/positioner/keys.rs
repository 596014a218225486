//! Keys and display at the device, of our own design [DV-98] [DV-99].

use super::{Electronics, Ending, Kind};
use crate::device::response::{NotBegun, Response};
use crate::time::Instant;
use core::time::Duration;

/// How long the key that calibrates is to be held [DV-98].
pub const HOLD: Duration = Duration::from_secs(3);
/// For how long the display tells why holding that key came to nothing [DV-99].
pub const REASON: Duration = Duration::from_secs(5);
/// How fast a key moves the set point, percent/s [DV-98].
pub const JOG_PERCENT_PER_S: f64 = 5.0;
/// The drive while a key moves a valve that was never calibrated: open, or the other way [DV-98].
pub const JOG_DRIVE: f64 = 0.3;

/// A key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Key {
    /// Opens while it is pressed.
    Open,
    /// Closes while it is pressed.
    Close,
    /// Starts a calibration when it was held for 3 s.
    Calibrate,
    /// Takes note of a failure, ends a calibration, gives the set point back to the loop.
    Acknowledge,
    /// Arms the device to be found, or disarms it [DV-25].
    Find,
}

impl Key {
    /// Every key.
    pub const ALL: [Key; 5] = [Key::Open, Key::Close, Key::Calibrate, Key::Acknowledge, Key::Find];

    /// The name on it.
    pub const fn words(self) -> &'static str {
        match self {
            Key::Open => "open",
            Key::Close => "close",
            Key::Calibrate => "calibrate",
            Key::Acknowledge => "acknowledge",
            Key::Find => "find",
        }
    }
}

/// What a key wants done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// Move the set point, given by hand from now on, by so much, percent; without a calibration the drive.
    Jog {
        /// 1 opens, -1 closes.
        towards: f64,
        /// Since the last time, s.
        dt_s: f64,
    },
    /// Start a calibration.
    Calibrate(Kind),
    /// Take note, end a calibration, give the set point back.
    Acknowledge,
    /// Arm the device to be found, or disarm it.
    Find,
}

/// The keys at work: which are pressed, since when, and what was done for it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Keys {
    pressed: [Option<Instant>; 5],
    calibrate_done: bool,
    /// What came of it.
    calibrate_made: Option<Response>,
    /// When it last came to nothing, and why.
    refused: Option<(Instant, NotBegun)>,
    /// A press of "open" or "close" has been followed up to here.
    jogged_to: Option<Instant>,
}

impl Keys {
    /// A key goes down or comes up at `now`; what it wants at once.
    pub fn set(&mut self, now: Instant, key: Key, pressed: bool) -> Option<Act> {
        let was = self.pressed[key as usize];
        self.pressed[key as usize] = if pressed { was.or(Some(now)) } else { None };
        if key == Key::Calibrate && !pressed {
            self.calibrate_done = false;
            self.calibrate_made = None;
        }
        match key {
            _ if !pressed || was.is_some() => None,
            Key::Acknowledge => Some(Act::Acknowledge),
            Key::Find => Some(Act::Find),
            Key::Open | Key::Close | Key::Calibrate => None,
        }
    }

    /// What keys that are held want by `now`.
    pub fn step(&mut self, now: Instant) -> Option<Act> {
        if let Some(since) = self.pressed[Key::Calibrate as usize]
            && !self.calibrate_done
            && now.since(since) >= HOLD
        {
            self.calibrate_done = true;
            return Some(Act::Calibrate(Kind::Friction));
        }
        let towards = match (self.pressed[Key::Open as usize], self.pressed[Key::Close as usize]) {
            (Some(_), None) => 1.0,
            (None, Some(_)) => -1.0,
            // Both at once want nothing.
            _ => {
                self.jogged_to = None;
                return None;
            }
        };
        let dt_s = self.jogged_to.map_or(0.0, |t| now.since(t).as_secs_f64());
        self.jogged_to = Some(now);
        Some(Act::Jog { towards, dt_s })
    }

    /// Power has come: a key that is still pressed counts when it is pressed again.
    pub fn forget(&mut self) {
        *self = Keys::default();
    }

    /// Since when a key is pressed; `None` while it is not.
    pub fn since(&self, key: Key) -> Option<Instant> {
        self.pressed[key as usize]
    }

    /// What came of holding the key that calibrates, for as long as it is pressed.
    pub fn calibrate_made(&self) -> Option<Response> {
        self.calibrate_made
    }

    /// That came of holding the key that calibrates, at `now`.
    pub fn has_made(&mut self, now: Instant, response: Response) {
        self.calibrate_made = Some(response);
        self.refused = match response {
            Response::NotBegun(why) => Some((now, why)),
            _ => None,
        };
    }

    /// Why holding the key that calibrates came to nothing, in the words of the display, for as long as it tells.
    fn refused(&self, now: Instant) -> Option<&'static str> {
        self.refused.filter(|(at, _)| now.since(*at) < REASON).map(|(_, why)| why.short())
    }

    /// How long the key that calibrates has been held, while that has done nothing yet.
    fn held(&self, now: Instant) -> Option<Duration> {
        self.pressed[Key::Calibrate as usize].filter(|_| !self.calibrate_done).map(|t| now.since(t))
    }
}

/// What the display goes by besides the electronics.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// Set point, percent.
    pub set_point_percent: f64,
    /// Why it does not follow the loop current, in words; `None` while it does.
    pub given: Option<&'static str>,
    /// Whether the selector stands on local [DV-112].
    pub local: bool,
    /// Whether write protect or a lock keeps the keys from doing anything but "acknowledge" and "find".
    pub locked: bool,
    /// Whether it is armed to be found.
    pub armed: bool,
    /// What is wrong, the worst first; none.
    pub alarm: Option<&'static str>,
}

/// Characters of a line of the display.
pub const LINE: usize = 24;

/// What the device does at `now`, in words: the last line of its display without its numbers [DV-99].
pub fn state(electronics: &Electronics, keys: &Keys, shown: &Shown, now: Instant) -> &'static str {
    match electronics.progress() {
        Some(_) => "calibrating",
        None if keys.held(now).is_some() => "hold to calibrate",
        None if keys.refused(now).is_some() => keys.refused(now).unwrap_or_default(),
        None if shown.alarm.is_some() => shown.alarm.unwrap_or_default(),
        None if electronics.calibrated().is_none() => "not calibrated",
        None if shown.armed => "armed to be found",
        None if shown.local => "on local",
        None if shown.given.is_some() => shown.given.unwrap_or_default(),
        None if shown.locked => "locked",
        None if electronics.result().is_some_and(|o| o.ending == Ending::Aborted) => "calibration aborted",
        None => "follows the loop",
    }
}

/// The display at `now`: travel, set point, angle, and what the device does; each line at most 24 characters [DV-99].
pub fn display(electronics: &Electronics, keys: &Keys, shown: &Shown, now: Instant) -> [String; 4] {
    let percent = |x: Option<f64>| x.map_or("  ---.-".to_owned(), |x| format!("{x:7.1}"));
    let angle = electronics.lever_rad().map(f64::to_degrees);
    let state = match (electronics.progress(), keys.held(now)) {
        (Some(p), _) => format!("{:3} % {}", p.percent, p.stage.words()),
        (None, Some(held)) => format!("hold {} s to calibrate", HOLD.saturating_sub(held).as_secs() + 1),
        (None, None) => state(electronics, keys, shown, now).to_owned(),
    };
    [
        format!("travel    {} %", percent(electronics.travel_percent())),
        format!("set point {} %", percent(Some(shown.set_point_percent))),
        format!("lever     {} deg", percent(angle)),
        state,
    ]
    .map(|line| line.chars().take(LINE).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: u64) -> Instant {
        Instant::ZERO + Duration::from_millis(ms)
    }

    /// [DV-98]: 3 s, not less; once for each press; released before is nothing.
    #[test]
    fn calibrating_wants_to_be_held() {
        let mut keys = Keys::default();
        assert_eq!(keys.set(at(0), Key::Calibrate, true), None);
        assert_eq!(keys.step(at(2999)), None);
        assert_eq!(keys.step(at(3000)), Some(Act::Calibrate(Kind::Friction)));
        assert_eq!(keys.step(at(9000)), None);
        // Another key that comes up meanwhile is no new press of this one.
        keys.set(at(9010), Key::Find, true);
        keys.set(at(9020), Key::Find, false);
        assert_eq!(keys.step(at(9030)), None);
        keys.set(at(9100), Key::Calibrate, false);
        keys.set(at(9200), Key::Calibrate, true);
        keys.set(at(12_000), Key::Calibrate, false);
        assert_eq!(keys.step(at(12_300)), None);
    }

    #[test]
    fn jogging_follows_the_time_that_a_key_is_held() {
        let mut keys = Keys::default();
        keys.set(at(0), Key::Open, true);
        let mut way = 0.0;
        for ms in (0..=2000).step_by(10) {
            if let Some(Act::Jog { towards, dt_s }) = keys.step(at(ms)) {
                way += towards * dt_s;
            }
        }
        assert!((way - 2.0).abs() < 1e-9);
        keys.set(at(2010), Key::Close, true);
        assert_eq!(keys.step(at(2010)), None, "both at once");
        keys.set(at(2020), Key::Open, false);
        assert_eq!(keys.step(at(2020)), Some(Act::Jog { towards: -1.0, dt_s: 0.0 }));
    }

    #[test]
    fn keys_that_act_at_once_act_once() {
        let mut keys = Keys::default();
        assert_eq!(keys.set(at(0), Key::Acknowledge, true), Some(Act::Acknowledge));
        assert_eq!(keys.set(at(10), Key::Acknowledge, true), None, "it is down already");
        assert_eq!(keys.set(at(20), Key::Acknowledge, false), None);
        assert_eq!(keys.set(at(30), Key::Find, true), Some(Act::Find));
    }

    /// [DV-99]: why nothing came of it is told for 5 s, and fits into the line.
    #[test]
    fn a_refused_start_tells_its_reason() {
        let electronics = Electronics::new(super::super::Kept::default()).expect("the default");
        let shown = Shown {
            set_point_percent: 50.0,
            given: None,
            local: false,
            locked: false,
            armed: false,
            alarm: Some("valve does not move"),
        };
        let mut keys = Keys::default();
        keys.set(at(0), Key::Calibrate, true);
        keys.step(at(3000));
        keys.has_made(at(3000), Response::NotBegun(NotBegun::NotAllowed));
        let line = |ms| display(&electronics, &keys, &shown, at(ms))[3].clone();
        assert_eq!(line(3000), "no: process forbids it");
        assert_eq!(line(7999), "no: process forbids it");
        assert_eq!(line(8000), "valve does not move");
        for why in NotBegun::ALL {
            assert!(why.short().starts_with("no: ") && why.short().chars().count() <= LINE, "{why:?}");
        }
    }

    #[test]
    fn the_display_of_a_new_device() {
        let electronics = Electronics::new(super::super::Kept::default()).expect("the default");
        let shown = Shown {
            set_point_percent: 50.0,
            given: None,
            local: false,
            locked: false,
            armed: false,
            alarm: None,
        };
        let mut keys = Keys::default();
        let lines = display(&electronics, &keys, &shown, at(0));
        assert_eq!(lines[0], "travel      ---.- %");
        assert_eq!(lines[1], "set point    50.0 %");
        assert_eq!(lines[3], "not calibrated");
        keys.set(at(0), Key::Calibrate, true);
        assert_eq!(display(&electronics, &keys, &shown, at(1500))[3], "hold 2 s to calibrate");
        assert!(lines.iter().all(|l| l.chars().count() <= LINE));
    }
}
