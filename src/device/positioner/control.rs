//! The controller: from sensed travel and own pressures to the drive [DV-86] [DV-87].
//!
//! The chamber adds up what flows in, so the drive is a speed. While the valve has a way to go the drive is the speed
//! that this way deserves; once there it does not look at the travel but holds the pressure, so that nothing hunts.

use super::calibrated::Learned;
use core::time::Duration;

/// How often the controller is to be stepped [DV-80].
pub const PERIOD: Duration = Duration::from_millis(10);

/// A deviation at rest that is let be, percent [DV-87].
pub const REST_PERCENT: f64 = 0.22;
/// So near to the target a move ends, percent [DV-87].
pub const NEAR_PERCENT: f64 = 0.06;
/// Speed that a valve which sticks is pushed with when little way is left, percent/s [DV-87].
pub const PUSH_PERCENT_PER_S: f64 = 2.5;
/// For so long the push stays as it is, s; then it doubles every so often.
const PATIENCE_S: f64 = 4.0;
/// Least time in which a way is to be gone, s: it bounds the gain.
const LEAST_APPROACH_S: f64 = 0.2;
/// Readings that are remembered.
const REMEMBERED: usize = 13;
/// After a move the pressures along the tube become equal before one is taken to be held, s.
const SETTLE_S: f64 = 0.1;

/// What the controller looks at, in opening terms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Sensed travel, percent.
    pub travel_percent: f64,
    /// Opening pressure, Pa.
    pub opening_pa: f64,
}

/// Sensed travel of the last moments: place and speed, with the noise taken down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Track {
    last: [f64; REMEMBERED],
    filled: usize,
}

impl Default for Track {
    fn default() -> Track {
        Track { last: [0.0; REMEMBERED], filled: 0 }
    }
}

impl Track {
    /// Takes the next reading.
    pub fn take(&mut self, travel_percent: f64) {
        if self.filled == 0 {
            self.last = [travel_percent; REMEMBERED];
        }
        self.last.rotate_right(1);
        self.last[0] = travel_percent;
        self.filled = (self.filled + 1).min(REMEMBERED);
    }

    /// Place now: the mean of three readings.
    pub fn place(&self) -> f64 {
        self.last[..3].iter().sum::<f64>() / 3.0
    }

    /// Way in 8.5 periods, which is how far the middles of both means are apart.
    pub fn way(&self) -> f64 {
        self.place() - self.last[7..].iter().sum::<f64>() / 6.0
    }

    /// Place, if it stands: the mean of all readings.
    pub fn stands(&self) -> f64 {
        self.last.iter().sum::<f64>() / REMEMBERED as f64
    }

    /// Speed, percent/s.
    pub fn speed(&self) -> f64 {
        self.way() / (8.5 * PERIOD.as_secs_f64())
    }
}

/// What the controller does just now.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Doing {
    /// Rests, and keeps this pressure as soon as it is known.
    Holds { since_s: f64, at_pa: Option<f64> },
    /// Goes to its target; has stuck for so long, has moved since it began, and came from this pressure.
    Goes { stuck_s: f64, moved: bool, from_pa: Option<f64> },
}

/// The controller at work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Controller {
    track: Track,
    doing: Doing,
    target_percent: f64,
    /// Flow that keeps the pressure as it is: share of the full drive.
    balance: f64,
    /// Opening pressure, the noise taken down.
    opening_pa: Option<f64>,
    beyond: u32,
    /// Direction of the last move, and how often it turned since the target changed.
    went: f64,
    turns: u32,
    /// Nothing has moved for this target yet: to turn now is to follow it.
    is_new: bool,
}

impl Default for Controller {
    fn default() -> Controller {
        Controller {
            track: Track::default(),
            doing: Doing::Holds { since_s: 0.0, at_pa: None },
            target_percent: f64::NAN,
            balance: 0.0,
            opening_pa: None,
            beyond: 0,
            went: 0.0,
            turns: 0,
            is_new: true,
        }
    }
}

/// The opening drive for a flow, share of the full one: it steps over what the stage does not answer to.
pub fn drive_for(learned: &Learned, flow: f64) -> f64 {
    let flow = if flow.is_nan() { 0.0 } else { flow.clamp(-1.0, 1.0) };
    let (up, down) = (learned.opening_drive, learned.closing_drive);
    match flow {
        f if f > 0.0 => up + f * (1.0 - up),
        f if f < 0.0 => down + f * (1.0 + down),
        _ => 0.5 * (up + down),
    }
}

impl Controller {
    /// Flow that was found to keep the pressure as it is.
    pub fn balance(&self) -> f64 {
        self.balance
    }

    /// The track of the sensed travel.
    pub fn track(&self) -> &Track {
        &self.track
    }

    /// Whether it rests.
    pub fn rests(&self) -> bool {
        matches!(self.doing, Doing::Holds { .. })
    }

    /// Looks on while somebody else drives.
    pub fn watch(&mut self, look: &Look) {
        self.track.take(look.travel_percent);
        self.opening_pa = Some(look.opening_pa);
        self.doing = Doing::Holds { since_s: 0.0, at_pa: None };
        self.target_percent = f64::NAN;
        self.beyond = 0;
    }

    /// The opening drive that keeps the pressure, wherever the valve is; `side` is the direction of the last move, 0 for
    /// none.
    pub fn rest(&mut self, learned: &Learned, dt_s: f64, side: f64, look: &Look) -> f64 {
        self.track.take(look.travel_percent);
        let pa = self.smooth(look.opening_pa);
        self.went = side;
        let Doing::Holds { since_s, at_pa } = self.doing else {
            self.doing = Doing::Holds { since_s: 0.0, at_pa: None };
            return drive_for(learned, self.balance);
        };
        drive_for(learned, self.hold(learned, dt_s, since_s, at_pa, pa))
    }

    fn smooth(&mut self, opening_pa: f64) -> f64 {
        let pa = self.opening_pa.map_or(opening_pa, |p| p + 0.4 * (opening_pa - p));
        self.opening_pa = Some(pa);
        pa
    }

    /// The opening drive, -1 to 1, after `dt_s`, for a target, percent.
    pub fn step(&mut self, learned: &Learned, dt_s: f64, target_percent: f64, look: &Look) -> f64 {
        self.track.take(look.travel_percent);
        let pa = self.smooth(look.opening_pa);
        if self.target_percent.is_nan() || (target_percent - self.target_percent).abs() > 0.05 {
            self.target_percent = target_percent;
            (self.turns, self.is_new) = (0, true);
        }
        let error = target_percent - self.track.place();
        // At rest all readings must say so, the last ones too: noise starts nothing, nor does what was before the rest.
        let steady = target_percent - self.track.stands();
        let away = match self.rests() {
            true if steady * error <= 0.0 => 0.0,
            true => steady.abs().min(error.abs()),
            false => error.abs(),
        };
        self.beyond = if away > self.rest_percent(learned) { self.beyond + 1 } else { 0 };
        if let (Doing::Holds { at_pa, .. }, true) = (self.doing, self.beyond >= 3) {
            if self.went * error < 0.0 && !self.is_new {
                self.turns += 1;
            }
            self.went = error.signum();
            self.doing = Doing::Goes { stuck_s: 0.0, moved: false, from_pa: at_pa };
        } else if matches!(self.doing, Doing::Goes { .. }) && self.went * error < 0.0 {
            self.went = error.signum();
            // It went past: that is a turn too, unless it is the target that went; good enough where it would be let be.
            self.turns += u32::from(!self.is_new);
            if error.abs() <= self.rest_percent(learned) {
                self.went = -self.went;
                self.doing = Doing::Holds { since_s: 0.0, at_pa: None };
            }
        }
        self.is_new &= self.rests();
        let flow = match self.doing {
            Doing::Holds { since_s, at_pa } => self.hold(learned, dt_s, since_s, at_pa, pa),
            Doing::Goes { stuck_s, moved, from_pa } => {
                match self.flow_to_go(learned, error, stuck_s, moved, pa) {
                    Some((flow, sticks)) => {
                        let stuck_s = if sticks { stuck_s + dt_s } else { 0.0 };
                        self.doing = Doing::Goes { stuck_s, moved: moved || !sticks, from_pa };
                        self.balance + flow
                    }
                    None => {
                        // Where nothing moved, what held it before holds it still.
                        let at_pa = if moved { None } else { from_pa };
                        self.doing = Doing::Holds { since_s: 0.0, at_pa };
                        self.balance
                    }
                }
            }
        };
        drive_for(learned, flow)
    }

    /// Deviation that is let be: wider where a single move is long, and after each turn at the same target, so that
    /// no valve hunts for ever [DV-87].
    fn rest_percent(&self, learned: &Learned) -> f64 {
        // Once it has rested, noise at the very limit is no reason to go again.
        let steady =
            if matches!(self.doing, Doing::Holds { since_s, .. } if since_s > 2.0) { 0.06 } else { 0.0 };
        let wider = [1.0, 1.2, 1.7, 2.5, 4.0, 8.0][self.turns.min(5) as usize];
        REST_PERCENT.max(0.5 * learned.jump_percent + 0.03).min(0.38) * wider + steady
    }

    fn hold(&mut self, learned: &Learned, dt_s: f64, since_s: f64, at_pa: Option<f64>, pa: f64) -> f64 {
        let since_s = since_s + dt_s;
        let Some(at) = at_pa else {
            // In the middle of what friction holds, not at its edge, where a little drift would set it creeping.
            let middle = pa - self.went * 0.5 * learned.friction_pa;
            self.doing = Doing::Holds { since_s, at_pa: (since_s >= SETTLE_S).then_some(middle) };
            return self.balance;
        };
        self.doing = Doing::Holds { since_s, at_pa };
        let short = at - pa;
        let rest_pa = (1.5e-3 * learned.span_pa).min(0.1 * learned.friction_pa).max(100.0);
        if short.abs() <= rest_pa {
            return self.balance;
        }
        let short = short - rest_pa * short.signum();
        let rise = learned.rise_pa_per_s.max(1.0);
        // Only near to its pressure it learns what keeps it there; on the way it would learn the way.
        let near_pa = 4.0 * rest_pa;
        self.balance = (self.balance + dt_s * short.clamp(-near_pa, near_pa) / (0.7 * rise)).clamp(-0.4, 0.4);
        self.balance + short / (0.3 * rise)
    }

    /// Flow towards the target, share of the full drive, and whether the valve sticks; `None`: it is there.
    fn flow_to_go(
        &self,
        learned: &Learned,
        error: f64,
        stuck_s: f64,
        moved: bool,
        pa: f64,
    ) -> Option<(f64, bool)> {
        let side = if error < 0.0 { -1.0 } else { 1.0 };
        let full = if side > 0.0 { learned.opening_percent_per_s } else { learned.closing_percent_per_s };
        let (full, run_on_s) = (full.max(0.1), learned.run_on_s.clamp(0.0, 1.0));
        let approach_s = LEAST_APPROACH_S.max(3.0 * run_on_s);
        let way = self.track.way();
        let left = side * error;
        // Half of a single move away the next one would only take it as far to the other side.
        let half = if moved { 0.48 * learned.jump_percent.min(0.75) } else { 0.0 };
        let near = NEAR_PERCENT.max(half);
        if left <= near {
            return None;
        }
        let sticks = way.abs() <= 0.06f64.max(3.5 * learned.noise_percent);
        let speed = if sticks {
            // With little way left the push is gentle, so that it does not shoot past when it gives.
            let push = PUSH_PERCENT_PER_S * 2f64.powf((stuck_s / PATIENCE_S).floor().min(8.0));
            push.max((left - 1.5) / approach_s)
        } else {
            let comes = (side * self.track.speed() * run_on_s.min(0.15)).max(0.0);
            if side * way > 0.0 && left - comes <= NEAR_PERCENT.max(0.5 * near) {
                return None;
            }
            (left - comes) / approach_s
        };
        let more = if sticks { self.far_off(learned, side, pa) } else { 0.0 };
        Some((side * (speed / full + more).clamp(0.0, 1.0), sticks))
    }

    /// Flow for a pressure that is still far from where the valve can move, as it is behind a stop: 0 within friction.
    fn far_off(&self, learned: &Learned, side: f64, pa: f64) -> f64 {
        let (closed, open) = learned.balance_pa;
        let balance = closed + (open - closed) * (self.track.stands() / 100.0).clamp(0.0, 1.0);
        let far_pa = side * (balance - pa) - 3.0 * learned.friction_pa - 0.12 * learned.span_pa;
        far_pa.max(0.0) / (0.3 * learned.rise_pa_per_s.max(1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Full drive both ways, and a step over what the stage does not answer to [DV-86].
    #[test]
    fn the_drive_steps_over_the_dead_band() {
        let learned = Learned { opening_drive: 0.05, closing_drive: -0.03, ..Learned::default() };
        let near =
            |flow: f64, drive: f64| assert!((drive_for(&learned, flow) - drive).abs() < 1e-12, "{flow}");
        near(1.0, 1.0);
        near(-1.0, -1.0);
        near(0.0, 0.01);
        near(f64::NAN, 0.01);
        // Half of the way from 0.05 to 1.
        near(0.5, 0.525);
        near(7.0, 1.0);
    }

    /// The slope of a ramp: 20 %/s for 0.2 s [DV-86].
    #[test]
    fn the_track_tells_speed() {
        let mut track = Track::default();
        for n in 0..20 {
            track.take(0.2 * f64::from(n));
        }
        assert!((track.speed() - 20.0).abs() < 1e-9, "{}", track.speed());
        assert!((track.place() - 3.6).abs() < 1e-9);
    }

    /// [DV-86]: 1.5 % to go is pushed for at 2.5 %/s, which is 0.25 of a valve of 10 %/s and 0.265 of a drive that begins at 0.02. Behind a
    /// stop, 0.5 bar from what holds the valve there, the flow is larger, both ways.
    #[test]
    fn behind_a_stop_it_goes_faster() {
        let learned = Learned { balance_pa: (5e4, 1.5e5), ..Learned::default() };
        let drive = |travel_percent: f64, opening_pa: f64, target: f64| {
            let mut controller = Controller::default();
            let look = Look { travel_percent, opening_pa };
            for _ in 0..200 {
                controller.step(&learned, 0.01, travel_percent, &look);
            }
            (0..10).map(|_| controller.step(&learned, 0.01, target, &look)).last().expect("ten steps")
        };
        let near = drive(0.0, 5e4, 1.5);
        assert!((near - 0.265).abs() < 1e-9, "{near}");
        assert!(drive(0.0, 0.0, 1.5) > 2.0 * near);
        let near = drive(100.0, 1.5e5, 98.5);
        assert!((near + 0.265).abs() < 1e-9, "{near}");
        assert!(drive(100.0, 2e5, 98.5) < 2.0 * near);
    }

    /// [DV-87]: to follow a new target the other way is no turn: what is let be is as wide as on the way up, 0.38 % where a
    /// single move is 0.7 % or more.
    #[test]
    fn a_new_target_is_no_turn() {
        let learned = Learned { jump_percent: 0.72, ..Learned::default() };
        let mut controller = Controller::default();
        let mut look = Look { travel_percent: 50.0, opening_pa: 5e4 };
        let settle = |controller: &mut Controller, look: &Look, target: f64| {
            for _ in 0..100 {
                controller.step(&learned, 0.01, target, look);
            }
            controller.rests()
        };
        // Up, where it rests; then down: it must go, and short by 0.42 % it goes on.
        assert!(!settle(&mut controller, &look, 51.0));
        look.travel_percent = 51.0;
        assert!(settle(&mut controller, &look, 51.0));
        assert!(!settle(&mut controller, &look, 50.0));
        look.travel_percent = 50.0;
        assert!(settle(&mut controller, &look, 50.0));
        for _ in 0..15 {
            // The move ends while it still runs, and it stops short.
            look.travel_percent += 0.58 / 15.0;
            controller.step(&learned, 0.01, 51.0, &look);
        }
        assert!(!settle(&mut controller, &look, 51.0), "0.42 % short is not let be");
    }

    /// [DV-87]: each turn at the same target widens what is let be; a new target begins anew.
    #[test]
    fn turns_widen_what_is_let_be() {
        let learned = Learned { jump_percent: 0.0, ..Learned::default() };
        let mut controller = Controller::default();
        let mut look = Look { travel_percent: 50.0, opening_pa: 5e4 };
        let mut goes = Vec::new();
        let mut pushed = 0.0;
        // A valve that slips by 1 % whenever it was pushed for long enough.
        for _ in 0..60_000 {
            let drive = controller.step(&learned, 0.01, 50.4, &look);
            pushed = if controller.rests() { 0.0 } else { pushed + 0.01 * drive };
            if pushed.abs() > 0.1 {
                goes.push(pushed.signum());
                look.travel_percent += pushed.signum();
                pushed = 0.0;
            }
        }
        assert!(goes.len() < 12, "it hunts: {} moves", goes.len());
        assert!(goes.contains(&-1.0) && goes.contains(&1.0));
    }
}
