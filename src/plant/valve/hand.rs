//! A person who moves the valve by hand, by its handwheel or a jack [PL-37].

use super::Valve;
use crate::plant::ConfigError;

/// How fast, share of the stroke a second: end to end in 20 s (own choice).
const PACE_PER_S: f64 = 0.05;
/// The most that it pushes with, times what the supply's whole pressure pushes with (own choice).
const MOST_OF_THRUST: f64 = 1.5;

/// A hand on the valve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Hand {
    /// Where it wants the stem, share of the stroke, 0 to 1.
    wanted: f64,
    /// How fast it moves the stem, m/s, positive opens.
    pub velocity_m_per_s: f64,
}

impl Valve {
    /// From now on a hand moves the stem to this place, percent of its way between the rated ends, 0 to 100, and holds it there; `None`
    /// lets go [PL-37].
    ///
    /// # Errors
    /// It is outside; then nothing changes.
    pub fn set_hand_percent(&mut self, percent: Option<f64>) -> Result<(), ConfigError> {
        let percent = percent.map(|p| ConfigError::unless_in("hand_percent", p, 0.0..=100.0)).transpose()?;
        self.hand = percent.map(|p| Hand { wanted: p / 100.0, velocity_m_per_s: 0.0 });
        Ok(())
    }

    /// Where a hand wants the stem, percent; `None`: there is none.
    pub fn hand_percent(&self) -> Option<f64> {
        self.hand.map(|h| h.wanted * 100.0)
    }

    /// Moves the stem with the hand for a step, and holds it where it came to.
    pub(super) fn move_by_hand(&mut self, dt_s: f64, hand: Hand) {
        let config = self.moving.config();
        let (from_m, stroke_m) = (self.moving.stem_m(), config.stroke_m);
        // A stop that was moved in is as hard for a hand.
        let (closed_m, open_m) = (self.stops_m.0.min(from_m), self.stops_m.1.max(from_m));
        let wanted_m = (hand.wanted * stroke_m).clamp(closed_m, open_m);
        let most_m = PACE_PER_S * stroke_m * dt_s;
        let mut way_m = (wanted_m - from_m).clamp(-most_m, most_m);
        let pushes_n = self.forces.pressure.n + self.forces.spring.n + self.forces.process.n;
        let wants_n = config.friction_at(from_m).static_n - pushes_n * way_m.signum();
        let thrust_n = self.config.supply.at_rest_gauge_pa() * self.config.actuator.chambers[0].area_m2;
        // What still moves is stopped first: what holds it takes its energy.
        if wants_n > MOST_OF_THRUST * thrust_n || self.moving.velocity_m_per_s() != 0.0 {
            way_m = 0.0;
        }
        let to_m = from_m + way_m;
        // It lies between the stops, which is what is asked of it.
        let _ = self.moving.set_stops(to_m, to_m);
        self.hand = Some(Hand { velocity_m_per_s: if dt_s > 0.0 { way_m / dt_s } else { 0.0 }, ..hand });
    }
}
