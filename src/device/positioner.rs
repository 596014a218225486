//! How the travel follows its set point until the plant is modelled [DV-13].

use crate::time::Instant;

/// A first-order lag: d(travel)/dt = (target − travel) / time constant [DV-13].
///
/// Each step is the exact solution of that equation, so asking more often changes nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Positioner {
    time_constant_s: f64,
    travel_percent: f64,
    target_percent: f64,
    at: Instant,
}

impl Positioner {
    /// A valve that rests at `travel_percent` at `now`. `time_constant_s` is 0 or more; with 0 the
    /// travel is where its target is.
    pub fn new(time_constant_s: f64, travel_percent: f64, now: Instant) -> Self {
        Positioner { time_constant_s, travel_percent, target_percent: travel_percent, at: now }
    }

    /// The travel at `now`, %. A time before the last one counts as the last one.
    pub fn travel_percent(&self, now: Instant) -> f64 {
        let passed_s = now.since(self.at).as_secs_f64();
        // exp(-x) keeps its digits for long times, and a time constant of 0 must not divide 0 by 0.
        let left = if self.time_constant_s > 0.0 { (-passed_s / self.time_constant_s).exp() } else { 0.0 };
        self.target_percent + (self.travel_percent - self.target_percent) * left
    }

    /// Where the travel is heading, %.
    pub fn target_percent(&self) -> f64 {
        self.target_percent
    }

    /// Lets time pass until `now`.
    pub fn advance(&mut self, now: Instant) {
        self.travel_percent = self.travel_percent(now);
        self.at = self.at.max(now);
    }

    /// From `now` on the travel heads for `target_percent`.
    pub fn set_target(&mut self, now: Instant, target_percent: f64) {
        self.advance(now);
        self.target_percent = target_percent;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::time::Duration;
    use proptest::prelude::*;

    fn at(ms: u64) -> Instant {
        Instant::ZERO + Duration::from_millis(ms)
    }

    /// [DV-13]: 1 − 1/e = 63.212 % of a step after one time constant, 1 − 1/e³ = 95.021 % after three.
    #[test]
    fn a_step_of_100_percent() {
        let mut p = Positioner::new(1.5, 0.0, Instant::ZERO);
        p.set_target(Instant::ZERO, 100.0);
        assert!((p.travel_percent(at(1500)) - 63.212).abs() < 0.001);
        assert!((p.travel_percent(at(4500)) - 95.021).abs() < 0.001);
        assert_eq!(p.travel_percent(Instant::ZERO), 0.0);
    }

    #[test]
    fn without_a_lag_it_is_there() {
        let mut p = Positioner::new(0.0, 20.0, at(5));
        p.set_target(at(5), 80.0);
        assert_eq!(p.travel_percent(at(5)), 80.0);
    }

    #[test]
    fn time_does_not_run_back() {
        let mut p = Positioner::new(1.5, 0.0, Instant::ZERO);
        p.set_target(at(100), 100.0);
        p.advance(at(2000));
        let there = p.travel_percent(at(2000));
        p.advance(at(50));
        assert_eq!(p.travel_percent(at(2000)), there);
    }

    proptest! {
        #[test]
        fn how_often_it_is_asked_changes_nothing(
            tau in 0.01f64..60.0,
            from in -5.0f64..105.0,
            to in -5.0f64..105.0,
            mut cuts in prop::collection::vec(0u64..20_000_000_000, 0..40),
        ) {
            let end = Instant::from_nanos(20_000_000_000);
            let mut whole = Positioner::new(tau, from, Instant::ZERO);
            whole.set_target(Instant::ZERO, to);
            let mut cut = whole;
            cuts.sort_unstable();
            for c in cuts {
                cut.advance(Instant::from_nanos(c));
            }
            prop_assert!((whole.travel_percent(end) - cut.travel_percent(end)).abs() < 1e-9);
        }

        #[test]
        fn it_never_passes_its_target(to in 0.0f64..100.0, ns in any::<u64>()) {
            let mut p = Positioner::new(1.5, 50.0, Instant::ZERO);
            p.set_target(Instant::ZERO, to);
            let travel = p.travel_percent(Instant::from_nanos(ns));
            prop_assert!(travel >= to.min(50.0) && travel <= to.max(50.0));
        }
    }
}
