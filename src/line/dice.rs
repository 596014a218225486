//! Chance that a seed decides.

use core::time::Duration;
use oorandom::Rand32;

/// A source of numbers that look random and are fixed by a seed and a stream: streams of one seed are
/// independent of each other, so that what one draws does not move another. The same on every machine:
/// nothing in it is a floating-point function.
#[derive(Clone, Copy, Debug)]
pub struct Dice(Rand32);

impl Dice {
    /// The numbers of `stream` under `seed`.
    pub fn new(seed: u64, stream: u64) -> Dice {
        Dice(Rand32::new_inc(seed, stream))
    }

    /// 0 to `n` - 1; 0 if `n` is 0.
    pub fn below(&mut self, n: u32) -> u32 {
        match n {
            0 => 0,
            n => self.0.rand_range(0..n),
        }
    }

    /// Any octet.
    pub fn octet(&mut self) -> u8 {
        (self.0.rand_u32() >> 24) as u8
    }

    /// True with probability `p`: 0 and less is never, 1 and more always. Resolution 2^-32.
    pub fn chance(&mut self, p: f64) -> bool {
        self.hits(threshold(p))
    }

    /// True in `threshold` of 2^32 cases.
    pub fn hits(&mut self, threshold: u64) -> bool {
        u64::from(self.0.rand_u32()) < threshold
    }

    /// Zero to `most`, all alike; no longer than about 4.3 s in steps of a nanosecond, in coarser steps
    /// above.
    pub fn up_to(&mut self, most: Duration) -> Duration {
        let ns = u64::try_from(most.as_nanos()).unwrap_or(u64::MAX);
        let drawn = u128::from(self.0.rand_u32()) * (u128::from(ns) + 1);
        Duration::from_nanos((drawn >> 32) as u64)
    }
}

/// A probability for [`Dice::hits`].
pub fn threshold(p: f64) -> u64 {
    const ALL: f64 = (1_u64 << 32) as f64;
    // The cast saturates at zero, and makes zero of what is no number.
    ((p * ALL) as u64).min(1 << 32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_and_another_stream_something_else() {
        let draw = |seed, stream| {
            let mut d = Dice::new(seed, stream);
            (0..8).map(|_| d.below(1000)).collect::<Vec<_>>()
        };
        assert_eq!(draw(1, 0), draw(1, 0));
        assert_ne!(draw(1, 0), draw(1, 1));
        assert_ne!(draw(1, 0), draw(2, 0));
    }

    /// 100 000 draws at p = 0.25: standard deviation sqrt(100 000 * 0.25 * 0.75) = 137; five of them are 685.
    #[test]
    fn chances_are_met() {
        let mut d = Dice::new(7, 7);
        let hits = (0..100_000).filter(|_| d.chance(0.25)).count();
        assert!((24_315..=25_685).contains(&hits), "{hits}");
        assert!(!(0..1000).any(|_| d.chance(0.0)) && (0..1000).all(|_| d.chance(1.0)));
        assert!(!(0..1000).any(|_| d.chance(f64::NAN)));
        assert!((0..1000).all(|_| d.up_to(Duration::from_nanos(3)) <= Duration::from_nanos(3)));
        let most = (0..1000).map(|_| d.up_to(Duration::from_secs(100))).max();
        assert!(most > Some(Duration::from_secs(95)) && most <= Some(Duration::from_secs(100)));
        assert_eq!(d.below(0), 0);
    }
}
