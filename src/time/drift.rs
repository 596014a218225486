//! A clock that runs fast or slow.

use super::Instant;
use core::time::Duration;

/// Parts in a million.
const MILLION: i64 = 1_000_000;

/// How far a clock runs off true time, in parts per million: above zero it is fast. At most 20 000
/// either way, the 2 % that a receiver of characters still follows [LI-23].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drift(i32);

impl Drift {
    /// A clock that is right.
    pub const NONE: Drift = Drift(0);
    /// The largest, ppm.
    pub const MOST_PPM: i32 = 20_000;

    /// A clock that is fast by `ppm`; what is beyond [`Drift::MOST_PPM`] counts as that.
    pub fn from_ppm(ppm: i32) -> Drift {
        Drift(ppm.clamp(-Drift::MOST_PPM, Drift::MOST_PPM))
    }

    /// Parts per million, above zero for a fast clock.
    pub const fn ppm(self) -> i32 {
        self.0
    }

    /// What the clock shows at the true instant `t`. Later instants never show earlier.
    pub fn shows(self, t: Instant) -> Instant {
        if self.0 == 0 {
            return t;
        }
        let t = t.as_nanos();
        let million = MILLION.unsigned_abs();
        // Whole millions and the rest apart: the product of all would not fit.
        let (whole, rest) = ((t / million) as i64, (t % million) as i64);
        let off = whole.saturating_mul(i64::from(self.0)) + (rest * i64::from(self.0)).div_euclid(MILLION);
        Instant::from_nanos(t.saturating_add_signed(off))
    }

    /// The first true instant at which the clock shows `shown` or later.
    pub fn reaches(self, shown: Instant) -> Instant {
        if self.0 == 0 {
            return shown;
        }
        let mut guess = Instant::ZERO + self.lasts(Duration::from_nanos(shown.as_nanos()));
        while self.shows(guess) < shown && guess.as_nanos() < u64::MAX {
            guess = Instant::from_nanos(guess.as_nanos() + 1);
        }
        guess
    }

    /// How long it truly takes until the clock has gone on by `d`, rounded down.
    pub fn lasts(self, d: Duration) -> Duration {
        if self.0 == 0 {
            return d;
        }
        let ns = u64::try_from(d.as_nanos()).unwrap_or(u64::MAX);
        let per = u128::from((MILLION + i64::from(self.0)).unsigned_abs());
        let all = u128::from(ns) * u128::from(MILLION.unsigned_abs());
        Duration::from_nanos(u64::try_from(all / per).unwrap_or(u64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fast_clock_shows_more_and_takes_less() {
        // 100 ppm of 10 s are 1 ms.
        let ten = Instant::from_nanos(10_000_000_000);
        assert_eq!(Drift::from_ppm(100).shows(ten).as_nanos(), 10_001_000_000);
        assert_eq!(Drift::from_ppm(-100).shows(ten).as_nanos(), 9_999_000_000);
        // 1.01 s by a clock that is 1 % fast are 1 s.
        let fast = Drift::from_ppm(10_000);
        assert_eq!(fast.lasts(Duration::from_millis(1010)), Duration::from_secs(1));
        assert_eq!(fast.reaches(Instant::from_nanos(1_010_000_000)).as_nanos(), 1_000_000_000);
        assert_eq!(Drift::from_ppm(1_000_000).ppm(), 20_000);
    }

    #[test]
    fn reaching_is_the_first_instant_that_shows_it() {
        for ppm in [-20_000, -333, -1, 0, 1, 77, 20_000] {
            let drift = Drift::from_ppm(ppm);
            for shown in (0..2_000).chain((1 << 40)..(1 << 40) + 500).chain([u64::MAX / 2]) {
                let shown = Instant::from_nanos(shown);
                let t = drift.reaches(shown);
                assert!(drift.shows(t) >= shown, "{ppm} {shown:?}");
                if let Some(before) = t.as_nanos().checked_sub(1) {
                    assert!(drift.shows(Instant::from_nanos(before)) < shown, "{ppm} {shown:?}");
                }
            }
        }
    }
}
