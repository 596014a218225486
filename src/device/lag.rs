//! How the travel follows its set point until the plant is modelled [DV-13], and the damping before it [DV-18].

use crate::time::Instant;

/// A first-order lag: d(value)/dt = (target − value) / time constant [DV-13].
///
/// Each step is the exact solution of that equation, so asking more often changes nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag {
    time_constant_s: f64,
    value: f64,
    target: f64,
    at: Instant,
}

impl Lag {
    /// At rest at `value` at `now`; with a time constant of 0 the value is where its target is.
    pub fn new(time_constant_s: f64, value: f64, now: Instant) -> Self {
        Lag { time_constant_s, value, target: value, at: now }
    }

    /// The value at `now`. A time before the last one counts as the last one.
    pub fn value(&self, now: Instant) -> f64 {
        self.target
            + (self.value - self.target) * left(now.since(self.at).as_secs_f64(), self.time_constant_s)
    }

    /// From `now` on it heads for `target`.
    pub fn set_target(&mut self, now: Instant, target: f64) {
        // What changes nothing is no step, so that it costs no digits either.
        if self.target != target {
            self.advance(now);
            self.target = target;
        }
    }

    /// From `now` on its time constant is `s` seconds.
    pub fn set_time_constant_s(&mut self, now: Instant, s: f64) {
        if self.time_constant_s != s {
            self.advance(now);
            self.time_constant_s = s;
        }
    }

    fn advance(&mut self, now: Instant) {
        self.value = self.value(now);
        self.at = self.at.max(now);
    }
}

/// The part of a difference that is left after a time.
fn left(passed_s: f64, time_constant_s: f64) -> f64 {
    // exp(-x) keeps its digits for long times, and a time constant of 0 must not divide 0 by 0.
    if time_constant_s > 0.0 { (-passed_s / time_constant_s).exp() } else { 0.0 }
}

/// Two lags in a row: the target is damped, and the travel follows what comes of it [DV-13] [DV-18].
///
/// Each step is the exact solution, as in [`Lag`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Positioner {
    time_constant_s: f64,
    damping_s: f64,
    travel_percent: f64,
    damped_percent: f64,
    target_percent: f64,
    at: Instant,
}

impl Positioner {
    /// A valve that rests at `travel_percent` at `now`, without damping. `time_constant_s` is 0 or more; with 0
    /// the travel is where the damped target is.
    pub fn new(time_constant_s: f64, travel_percent: f64, now: Instant) -> Self {
        Positioner {
            time_constant_s,
            damping_s: 0.0,
            travel_percent,
            damped_percent: travel_percent,
            target_percent: travel_percent,
            at: now,
        }
    }

    /// The travel at `now`, %. A time before the last one counts as the last one.
    pub fn travel_percent(&self, now: Instant) -> f64 {
        let t = now.since(self.at).as_secs_f64();
        if self.time_constant_s <= 0.0 {
            return self.damped_percent(now);
        }
        let own = (self.travel_percent - self.target_percent) * left(t, self.time_constant_s);
        if self.damping_s <= 0.0 {
            return self.target_percent + own;
        }
        // With rates a (damping) and b (travel) and p the damped difference at first, the rest of it adds
        // b·p·(e^(−at) − e^(−bt))/(b − a): the slower exponential is taken out, so that nothing overflows.
        let (a, b) = (1.0 / self.damping_s, 1.0 / self.time_constant_s);
        let apart = (a - b).abs();
        let slower = (-a.min(b) * t).exp();
        let shape = if apart > 0.0 { -slower * (-apart * t).exp_m1() / apart } else { slower * t };
        self.target_percent + own + b * (self.damped_percent - self.target_percent) * shape
    }

    fn damped_percent(&self, now: Instant) -> f64 {
        let rest = left(now.since(self.at).as_secs_f64(), self.damping_s);
        self.target_percent + (self.damped_percent - self.target_percent) * rest
    }

    /// Where the travel is heading, %.
    pub fn target_percent(&self) -> f64 {
        self.target_percent
    }

    /// Lets time pass until `now`.
    pub fn advance(&mut self, now: Instant) {
        (self.travel_percent, self.damped_percent) = (self.travel_percent(now), self.damped_percent(now));
        self.at = self.at.max(now);
    }

    /// From `now` on the travel heads for `target_percent`.
    pub fn set_target(&mut self, now: Instant, target_percent: f64) {
        if self.target_percent != target_percent {
            self.advance(now);
            self.target_percent = target_percent;
        }
    }

    /// From `now` on the target is damped by `s` seconds, 0 or more.
    pub fn set_damping_s(&mut self, now: Instant, s: f64) {
        if self.damping_s != s {
            self.advance(now);
            self.damping_s = s;
        }
    }

    /// As at power-up: the target is `target_percent`, and its damping has nothing left to do.
    pub fn settle(&mut self, now: Instant, target_percent: f64) {
        self.advance(now);
        self.target_percent = target_percent;
        self.damped_percent = target_percent;
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

    /// [DV-18]: two equal lags of 1 s leave (1 + t) e^−t of a step: 2/e = 73.576 % after 1 s. Lags of 1 s and 2 s
    /// leave (2 e^(−t/2) − e^−t): at 1 s 1.21306 − 0.36788 = 84.518 %, whichever is first. Damping alone leaves 1/e.
    #[test]
    fn damping_comes_first() {
        let after = |damping: f64, lag: f64, s: u64| {
            let mut p = Positioner::new(lag, 0.0, Instant::ZERO);
            p.set_damping_s(Instant::ZERO, damping);
            p.set_target(Instant::ZERO, 100.0);
            100.0 - p.travel_percent(at(1000 * s))
        };
        for (damping, lag, expected) in [
            (1.0, 1.0, 73.576),
            (1.0, 2.0, 84.518),
            (2.0, 1.0, 84.518),
            (1.0, 0.0, 36.788),
            (0.0, 1.0, 36.788),
            (1.0, 1.0 + 1e-12, 73.576),
        ] {
            assert!((after(damping, lag, 1) - expected).abs() < 0.001, "{damping} and {lag}");
        }
        assert!(after(60.0, 0.001, 3600 * 24 * 365).abs() < 1e-9);
        let mut lag = Lag::new(1.0, 0.0, Instant::ZERO);
        lag.set_target(Instant::ZERO, 100.0);
        assert!((lag.value(at(1000)) - 63.212).abs() < 0.001);
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
            damping in prop_oneof![Just(0.0), 0.125f64..60.0],
            from in -5.0f64..105.0,
            to in -5.0f64..105.0,
            mut cuts in prop::collection::vec(0u64..20_000_000_000, 0..40),
        ) {
            let end = Instant::from_nanos(20_000_000_000);
            let mut whole = Positioner::new(tau, from, Instant::ZERO);
            whole.set_damping_s(Instant::ZERO, damping);
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
