//! One stroke with the drive at one end, seen by the positioner's own sensors [DV-91].

use super::outcome::Cause;

/// A move of the lever that is seen, rad: a tenth of a degree [DV-91].
const SEEN_RAD: f64 = 0.1 * core::f64::consts::PI / 180.0;
/// A jump back against the stroke that no valve makes, rad [DV-91].
const JUMP_BACK_RAD: f64 = 0.6 * core::f64::consts::PI / 180.0;
/// So many of them are not chance.
const JUMPS_BACK: u32 = 4;
/// Readings beyond the sensor's range in a row that are believed.
const BEYOND_READINGS: u32 = 5;
/// Without a move for so long, and the pressure settled, the stroke is over, s [DV-91].
const QUIET_S: f64 = 1.0;
/// Most points of the trace that are kept.
const TRACE: usize = 400;

/// What the sensors say, in opening terms.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub rad: f64,
    pub in_range: bool,
    pub opening_pa: f64,
    pub supply_pa: f64,
}

/// A stroke under way.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stroke {
    pub seconds: f64,
    last: [f64; 3],
    start_rad: Option<f64>,
    anchor_rad: f64,
    /// Of the last move that was seen: time, s, and opening pressure, Pa.
    pub moved_s: f64,
    pub moved_pa: f64,
    /// Of the first one.
    pub first: Option<(f64, f64)>,
    /// Where it stands, the noise taken down, rad.
    pub stands_rad: f64,
    noise: (f64, u32),
    slow_pa: f64,
    farthest_rad: f64,
    pub jumps_back: u32,
    beyond: u32,
    trace: Vec<(f64, f64)>,
    /// Of so many moves one is kept, and how many there were.
    kept_of: (u32, u32),
}

impl Stroke {
    /// Jumps that were seen in earlier strokes count on.
    pub fn new(jumps_back: u32) -> Stroke {
        Stroke {
            seconds: 0.0,
            last: [0.0; 3],
            start_rad: None,
            anchor_rad: 0.0,
            moved_s: 0.0,
            moved_pa: 0.0,
            first: None,
            stands_rad: 0.0,
            noise: (0.0, 0),
            slow_pa: 0.0,
            farthest_rad: 0.0,
            jumps_back,
            beyond: 0,
            trace: Vec::new(),
            kept_of: (1, 0),
        }
    }

    /// Takes the next readings. `true` when the stroke is over: no move for a while and the pressure has settled.
    pub fn step(&mut self, dt_s: f64, seen: &Seen) -> Result<bool, Cause> {
        self.beyond = if seen.in_range { 0 } else { self.beyond + 1 };
        if self.beyond >= BEYOND_READINGS {
            return Err(Cause::AngleBeyond);
        }
        self.seconds += dt_s;
        let Some(start) = self.start_rad else {
            self.start_rad = Some(seen.rad);
            self.last = [seen.rad; 3];
            (self.anchor_rad, self.stands_rad, self.farthest_rad) = (seen.rad, seen.rad, 0.0);
            (self.slow_pa, self.moved_pa) = (seen.opening_pa, seen.opening_pa);
            self.trace.push((0.0, seen.rad));
            return Ok(false);
        };
        if self.seconds - self.moved_s > 0.3 {
            let step = seen.rad - self.last[0];
            self.noise = (self.noise.0 + step * step, self.noise.1 + 1);
        } else {
            self.noise = (0.0, 0);
        }
        self.last = [seen.rad, self.last[0], self.last[1]];
        let place = self.last.iter().sum::<f64>() / 3.0;
        self.stands_rad += (seen.rad - self.stands_rad) * (dt_s / (0.2 + dt_s));
        self.slow_pa += (seen.opening_pa - self.slow_pa) * (dt_s / (0.5 + dt_s));
        // It follows slowly, so that noise on a rest just below the threshold is no move later on.
        self.anchor_rad += (place - self.anchor_rad) * dt_s;
        if (place - self.anchor_rad).abs() > SEEN_RAD {
            self.anchor_rad = place;
            (self.moved_s, self.moved_pa) = (self.seconds, seen.opening_pa);
            self.first.get_or_insert((self.seconds, seen.opening_pa));
            self.keep(place);
        }
        self.look_back(seen.rad - start)?;
        let settled = (seen.opening_pa - self.slow_pa).abs() < 4e-3 * seen.supply_pa.max(1e4);
        Ok(settled && self.seconds - self.moved_s >= QUIET_S)
    }

    /// A slow stroke has more moves than there is room for: then every second one is enough, from its begin on.
    fn keep(&mut self, place: f64) {
        self.kept_of.1 += 1;
        if !self.kept_of.1.is_multiple_of(self.kept_of.0) {
            return;
        }
        if self.trace.len() >= TRACE {
            let mut even = false;
            self.trace.retain(|_| {
                even = !even;
                even
            });
            self.kept_of.0 *= 2;
        }
        self.trace.push((self.seconds, place));
    }

    fn look_back(&mut self, gone_rad: f64) -> Result<(), Cause> {
        // Which way the stroke goes is not known before it has gone some way.
        if gone_rad.abs() > self.farthest_rad.abs() {
            self.farthest_rad = gone_rad;
        } else if (self.farthest_rad - gone_rad) * self.farthest_rad.signum() > JUMP_BACK_RAD {
            self.farthest_rad = gone_rad;
            self.jumps_back += 1;
            if self.jumps_back >= JUMPS_BACK {
                return Err(Cause::SensorImplausible);
            }
        }
        Ok(())
    }

    /// Noise of the readings where it stands, rms, rad: each differs from the one before by its noise twice.
    pub fn noise_rad(&self) -> f64 {
        (self.noise.0 / f64::from(2 * self.noise.1.max(1))).sqrt()
    }

    /// Whether the pressure stands still, and not only almost.
    pub fn still(&self, seen: &Seen) -> bool {
        (seen.opening_pa - self.slow_pa).abs() < 1e-3 * seen.supply_pa.max(1e5)
    }

    /// Way of the whole stroke so far, rad.
    pub fn gone_rad(&self) -> f64 {
        self.start_rad.map_or(0.0, |start| self.stands_rad - start)
    }

    /// Speed between 10 and 90 % of the travel, percent/s; `share` makes travel of an angle. `None` where it was not seen to
    /// pass both.
    pub fn speed_percent_per_s(&self, share: impl Fn(f64) -> f64) -> Option<f64> {
        let at = |level: f64| {
            let crossed = |w: &&[(f64, f64)]| (share(w[0].1) < level) != (share(w[1].1) < level);
            let w = self.trace.windows(2).find(crossed)?;
            let (a, b) = (share(w[0].1), share(w[1].1));
            Some(w[0].0 + (level - a) / (b - a) * (w[1].0 - w[0].0))
        };
        let took_s = (at(0.9)? - at(0.1)?).abs();
        (took_s > 0.0).then(|| 80.0 / took_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stroke at constant speed over `span_deg` in `took_s`, as far as `end_share` of it; it is looked at every 10 ms.
    fn stroke(span_deg: f64, took_s: f64, end_share: f64) -> Stroke {
        let mut stroke = Stroke::new(0);
        let mut at_s = 0.0;
        loop {
            let rad = (span_deg * (at_s / took_s).min(end_share)).to_radians();
            let seen = Seen { rad, in_range: true, opening_pa: 1e5, supply_pa: 1.4e5 };
            match stroke.step(0.01, &seen) {
                Ok(true) => return stroke,
                Ok(false) => at_s += 0.01,
                Err(cause) => panic!("{cause:?}"),
            }
        }
    }

    /// [DV-86] [DV-91]: 100 % in T s are 100/T %/s, however long it takes: 90 degrees in 30 s are 900 moves of a tenth of
    /// a degree, far more than are kept.
    #[test]
    fn the_speed_of_slow_strokes() {
        for (span_deg, took_s) in [
            (90.0, 1.0),
            (90.0, 4.0),
            (90.0, 8.1),
            (90.0, 16.2),
            (90.0, 30.0),
            (60.0, 32.0),
            (105.0, 60.0),
            (25.0, 60.0),
        ] {
            let stroke = stroke(span_deg, took_s, 1.0);
            let speed = stroke.speed_percent_per_s(|rad| rad / span_deg.to_radians());
            let (speed, right) = (speed.unwrap_or(f64::NAN), 100.0 / took_s);
            assert!(
                (speed / right - 1.0).abs() < 0.02,
                "{span_deg} degrees in {took_s} s: {speed}, not {right}"
            );
            assert!(stroke.trace.len() <= TRACE);
        }
    }

    #[test]
    fn a_stroke_that_is_not_seen_to_pass_has_no_speed() {
        let speed = stroke(90.0, 5.0, 0.85).speed_percent_per_s(|rad| rad / 90f64.to_radians());
        assert_eq!(speed, None);
    }
}
