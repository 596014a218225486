//! What the valve has done in its life, as its sensor sees it [DV-84].

use serde::{Deserialize, Serialize};

/// A change of direction counts after this much travel the other way, percent [DV-84].
pub const STROKE_PERCENT: f64 = 1.0;
/// Below this travel the valve counts as near closed, percent [DV-84].
pub const NEAR_CLOSED_PERCENT: f64 = 5.0;
/// Smaller moves than this are the sensor's noise and not added up, percent [DV-84].
pub const LEAST_MOVE_PERCENT: f64 = 0.2;

/// Counters that are kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Counters {
    /// Changes of direction after at least 1 % of travel.
    pub strokes: u32,
    /// Sum of all ways, in strokes of 100 %.
    pub travel_strokes: f64,
    /// Time below 5 % travel, s.
    pub near_closed_s: f64,
    /// Time in service, s.
    pub in_service_s: f64,
}

/// Counters at work.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Counting {
    counters: Counters,
    /// The farthest place in the direction gone, and the direction.
    turn_percent: Option<f64>,
    direction: f64,
    added_to_percent: f64,
}

impl Counting {
    /// Goes on from counters that were kept.
    pub fn from(counters: Counters) -> Counting {
        Counting { counters, ..Counting::default() }
    }

    /// As they stand.
    pub fn counters(&self) -> Counters {
        self.counters
    }

    /// A clock tick of `dt_s` with the sensed travel, percent; without one (never calibrated) time in service alone counts.
    pub fn step(&mut self, dt_s: f64, travel_percent: Option<f64>) {
        self.counters.in_service_s += dt_s;
        let Some(x) = travel_percent.filter(|x| x.is_finite()) else { return };
        if x < NEAR_CLOSED_PERCENT {
            self.counters.near_closed_s += dt_s;
        }
        let Some(turn) = self.turn_percent else {
            (self.turn_percent, self.added_to_percent) = (Some(x), x);
            return;
        };
        let way = (x - self.added_to_percent).abs();
        if way >= LEAST_MOVE_PERCENT {
            self.counters.travel_strokes += way / 100.0;
            self.added_to_percent = x;
        }
        let gone = x - turn;
        if gone * self.direction > 0.0 {
            self.turn_percent = Some(x);
        } else if gone.abs() >= STROKE_PERCENT {
            if self.direction != 0.0 {
                self.counters.strokes = self.counters.strokes.saturating_add(1);
            }
            (self.turn_percent, self.direction) = (Some(x), gone.signum());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn walk(counting: &mut Counting, to: &[f64]) {
        for &x in to {
            counting.step(1.0, Some(x));
        }
    }

    /// [DV-84]: 0 to 50, back to 48, on to 60: the way is 50 + 2 + 12 = 64 %, with two changes of direction.
    #[test]
    fn strokes_and_way() {
        let mut c = Counting::default();
        walk(&mut c, &[0.0, 50.0, 48.0, 60.0]);
        assert_eq!(c.counters().strokes, 2);
        assert!((c.counters().travel_strokes - 0.64).abs() < 1e-12);
        assert_eq!((c.counters().near_closed_s, c.counters().in_service_s), (1.0, 4.0));
    }

    /// Noise of 0.1 % and a creeping 0.9 % back are neither.
    #[test]
    fn little_moves_are_no_strokes() {
        let mut c = Counting::default();
        walk(&mut c, &[20.0, 30.0]);
        for n in 0..1000 {
            walk(&mut c, &[30.0 + if n % 2 == 0 { 0.1 } else { -0.05 }]);
        }
        assert_eq!(c.counters().strokes, 0);
        assert!((c.counters().travel_strokes - 0.1).abs() < 1e-12);
        walk(&mut c, &[29.15]);
        assert_eq!(c.counters().strokes, 0);
        walk(&mut c, &[29.05]);
        assert_eq!(c.counters().strokes, 1);
        let again = Counting::from(c.counters());
        assert_eq!(again.counters(), c.counters());
    }

    #[test]
    fn without_a_travel_only_service_counts() {
        let mut c = Counting::default();
        c.step(0.5, None);
        c.step(0.5, Some(f64::NAN));
        assert_eq!(c.counters(), Counters { in_service_s: 1.0, ..Counters::default() });
    }
}
