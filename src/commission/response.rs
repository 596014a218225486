//! What a quantity did after something was asked of it: dead time, 63 and 86 %, overshoot, settling [PL-44].
//!
//! Samples are pairs of time, s, and value, times rising. Between two samples the value is taken to run straight.

/// The shares of the final change that T63 and T86 mean, as they stand; the travel test's figures mean the same [TV-62].
pub const T63_SHARE: f64 = 0.632;
/// As [`T63_SHARE`].
pub const T86_SHARE: f64 = 0.865;

/// The answer to a step, in the terms of the standards for step responses [PL-44].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// The value when the step came.
    pub from: f64,
    /// The value at the last sample: the final one, if it had come to rest.
    pub to: f64,
    /// From the step to the first response that is seen, s; `None`: there was none.
    pub dead_time_s: Option<f64>,
    /// From the step to 28.3 % of the final change, s: where a lag has a third of its time constant behind it.
    pub t28_s: Option<f64>,
    /// From the step to [`T63_SHARE`] of the final change, s.
    pub t63_s: Option<f64>,
    /// From the step to [`T86_SHARE`] of the final change, s.
    pub t86_s: Option<f64>,
    /// How far it went beyond its final value, % of the final change, 0 or more.
    pub overshoot_percent: f64,
    /// From the step to the moment from which on it stays as near to its final value as was asked, s; `None` where it did
    /// not leave its place.
    pub settled_s: Option<f64>,
    /// From the step to 1 - 1/e of the final change, s: where a lag has its whole time constant behind it.
    lag_s: Option<f64>,
}

impl Response {
    /// The response in `samples` to a step at `step_s`, s. `seen` is the least change that counts as one, `within` how
    /// near to the final value is settled; both in the unit of the values, above 0. `None` without a sample from the
    /// step on.
    pub fn of(samples: &[(f64, f64)], step_s: f64, seen: f64, within: f64) -> Option<Response> {
        let first = samples.iter().position(|s| s.0 >= step_s)?;
        // What was before the step counts as the value at it.
        let from = samples[first.saturating_sub(usize::from(samples[first].0 > step_s))].1;
        let after: Vec<(f64, f64)> =
            core::iter::once((step_s, from)).chain(samples[first..].iter().copied()).collect();
        let after = &after[..];
        let to = after.last()?.1;
        let change = to - from;
        let since = |t: f64| (t - step_s).max(0.0);
        let moved = change.abs() >= seen;
        let at =
            |share: f64| moved.then(|| first_crossing(after, from + share * change)).flatten().map(since);
        let beyond = after.iter().map(|s| (s.1 - to) * change.signum()).fold(0.0, f64::max);
        Some(Response {
            from,
            to,
            dead_time_s: first_departure(after, from, seen).map(since),
            t28_s: at(1.0 - (-1f64 / 3.0).exp()),
            t63_s: at(T63_SHARE),
            t86_s: at(T86_SHARE),
            overshoot_percent: if moved { beyond / change.abs() * 100.0 } else { 0.0 },
            settled_s: moved.then(|| settled(after, to, within)).flatten().map(since),
            lag_s: at(1.0 - (-1f64).exp()),
        })
    }

    /// Time constant and dead time, s, of the lag that passes 1 - e^(-1/3) and 1 - 1/e at the same times as this response [PL-44]; `None`
    /// where it has no such times. Of a response that is no lag the dead time may come out below 0.
    pub fn as_lag(&self) -> Option<(f64, f64)> {
        let (third, whole) = self.t28_s.zip(self.lag_s)?;
        let lag_s = 1.5 * (whole - third);
        Some((lag_s, whole - lag_s))
    }
}

/// The time at which the value is first `level`, s, between samples where it passes it.
pub fn first_crossing(samples: &[(f64, f64)], level: f64) -> Option<f64> {
    if samples.first()?.1 == level {
        return Some(samples[0].0);
    }
    samples
        .windows(2)
        .find(|w| (w[0].1 < level) != (w[1].1 < level) || w[1].1 == level)
        .map(|w| between(w, level))
}

/// The time at which the value first differs from `from` by `seen`, s.
pub fn first_departure(samples: &[(f64, f64)], from: f64, seen: f64) -> Option<f64> {
    let at = samples.iter().position(|s| (s.1 - from).abs() >= seen)?;
    let level = if samples[at].1 > from { from + seen } else { from - seen };
    Some(if at == 0 { samples[0].0 } else { between(&samples[at - 1..=at], level) })
}

/// The time from which on the value stays within `within` of `to`, s; `None` where the last sample does not.
pub fn settled(samples: &[(f64, f64)], to: f64, within: f64) -> Option<f64> {
    let (last, rest) = samples.split_last()?;
    if (last.1 - to).abs() > within {
        return None;
    }
    let Some(out) = rest.iter().rposition(|s| (s.1 - to).abs() > within) else { return Some(samples[0].0) };
    let level = if samples[out].1 > to { to + within } else { to - within };
    Some(between(&samples[out..=out + 1], level))
}

/// Where a straight line through two samples has the value `level`, s, no further than the samples.
fn between(pair: &[(f64, f64)], level: f64) -> f64 {
    let [(t0, v0), (t1, v1)] = [pair[0], pair[1]];
    if v1 == v0 { t1 } else { t0 + (t1 - t0) * ((level - v0) / (v1 - v0)).clamp(0.0, 1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sampled(seconds: f64, of: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
        (0..=(seconds * 1000.0) as u32).map(|n| f64::from(n) * 1e-3).map(|t| (t, of(t))).collect()
    }

    fn near(found: Option<f64>, expected: f64) {
        let found = found.expect("a time");
        assert!((found - expected).abs() < 1e-3, "{found} is not {expected}");
    }

    /// Near enough to tell 0.632 from 1 - 1/e, which a lag of 1.5 s passes 0.49 ms later.
    fn nearer(found: Option<f64>, expected: f64) {
        assert!(found.is_some_and(|f| (f - expected).abs() < 1e-5), "{found:?} is not {expected}");
    }

    /// First order with dead time, Td = 0.4 s, tau = 1.5 s. By hand [TV-13]: 63.2 % at
    /// Td - tau ln 0.368 = 1.899509 s, 86.5 % at Td - tau ln 0.135 = 3.403721 s, within 2 % from Td + tau ln 50 = 6.26803 s on.
    #[test]
    fn first_order_with_dead_time() {
        let samples =
            sampled(60.0, |t| if t < 0.4 { 20.0 } else { 20.0 + 60.0 * (1.0 - (-(t - 0.4) / 1.5).exp()) });
        let r = Response::of(&samples, 0.0, 0.01, 1.2).unwrap();
        // 0.01 of 60 are gone after another -1.5 ln(1 - 1/6000) = 0.25 ms.
        near(r.dead_time_s, 0.400_25);
        nearer(r.t63_s, 1.899_509);
        nearer(r.t86_s, 3.403_721);
        near(r.settled_s, 6.268_03);
        assert!(r.overshoot_percent < 1e-9);
        // tau/3 after the dead time, and both come out again.
        near(r.t28_s, 0.9);
        near(r.as_lag().map(|l| l.0), 1.5);
        near(r.as_lag().map(|l| l.1), 0.4);
    }

    /// A rate of 12.5 %/s over 20 %, 1.6 s: 28.347 % at 0.45355 s, 63.212 % at 1.01139 s; by hand tau = 0.83676 s, L = 0.17463 s. Nothing
    /// moves: no lag.
    #[test]
    fn what_is_no_lag() {
        let samples = sampled(4.0, |t| 40.0 + (12.5 * t).min(20.0));
        let lag = Response::of(&samples, 0.0, 0.1, 0.1).unwrap().as_lag();
        near(lag.map(|l| l.0), 0.836_76);
        near(lag.map(|l| l.1), 0.174_63);
        assert_eq!(Response::of(&[(0.0, 5.0), (1.0, 5.0)], 0.5, 0.1, 0.1).unwrap().as_lag(), None);
    }

    /// Second order, wn = 2, zeta = 0.5: overshoot exp(-pi zeta / sqrt(1 - zeta^2)) = 16.3034 %; the same downwards.
    #[test]
    fn second_order_overshoots() {
        let wd = 2.0 * 0.75f64.sqrt();
        let step = |t: f64| 1.0 - (-t).exp() * ((wd * t).cos() + (wd * t).sin() / wd);
        for sign in [1.0, -1.0] {
            let samples: Vec<_> = sampled(40.0, |t| if t < 1.0 { 0.0 } else { sign * 10.0 * step(t - 1.0) });
            let r = Response::of(&samples, 1.0, 1e-3, 0.2).unwrap();
            assert!((r.overshoot_percent - 16.3034).abs() < 1e-3, "{}", r.overshoot_percent);
            // Python's control package: settled within 2 % at 4.0382 s.
            near(r.settled_s, 4.0382);
        }
    }

    /// A rate of 12.5 %/s over 20 %: 63.2 % after 1.0112 s, 86.5 % after 1.3840 s.
    #[test]
    fn a_rate_limit() {
        let samples = sampled(4.0, |t| 40.0 + (12.5 * t).min(20.0));
        let r = Response::of(&samples, 0.0, 0.1, 0.1).unwrap();
        near(r.t63_s, 20.0 * 0.632 / 12.5);
        near(r.t86_s, 20.0 * 0.865 / 12.5);
        near(r.dead_time_s, 0.1 / 12.5);
        near(r.settled_s, 19.9 / 12.5);
    }

    #[test]
    fn nothing_happens() {
        let r = Response::of(&[(0.0, 5.0), (1.0, 5.0)], 0.5, 0.1, 0.1).unwrap();
        assert_eq!((r.dead_time_s, r.t63_s, r.overshoot_percent), (None, None, 0.0));
        assert_eq!(r.settled_s, None);
        assert_eq!(Response::of(&[(0.0, 5.0)], 0.5, 0.1, 0.1), None);
        assert_eq!(Response::of(&[], 0.0, 0.1, 0.1), None);
    }

    proptest! {
        #[test]
        fn times_are_in_order(values in prop::collection::vec(-100.0f64..100.0, 3..100), step_s in 0.0f64..1.5) {
            let samples: Vec<_> = values.iter().enumerate().map(|(n, v)| (n as f64, *v)).collect();
            let r = Response::of(&samples, step_s, 1.0, 1.0).unwrap();
            if let (Some(a), Some(b)) = (r.t63_s, r.t86_s) {
                prop_assert!(0.0 <= a && a <= b && b <= samples.len() as f64);
            }
            prop_assert!(r.overshoot_percent >= 0.0);
            prop_assert_eq!(r.settled_s.is_some(), (r.to - r.from).abs() >= 1.0);
        }
    }
}
