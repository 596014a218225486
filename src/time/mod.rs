//! Points in time and lengths of time, as numbers that somebody hands in.
//!
//! Nothing here reads a clock. A length is a [`core::time::Duration`]; a length that the wire
//! dictates is a [`BitTimes`], which becomes a duration only at the nominal 1200 bit/s.

mod drift;

pub use drift::Drift;

use core::fmt;
use core::ops::{Add, AddAssign, Mul, Sub};
use core::time::Duration;

/// Nominal bit rate of the FSK line, bit/s [FR-13].
pub const BIT_RATE: u64 = 1200;

/// Bits in one character on the line: start, eight data bits, odd parity, stop [FR-13].
pub const BITS_PER_CHARACTER: u64 = 11;

/// A point in time: nanoseconds since the zero of whoever keeps the clock (a log's start, a bench's
/// start). Range 0 to about 584 years.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(u64);

impl Instant {
    /// The zero of the clock.
    pub const ZERO: Instant = Instant(0);

    /// The instant `ns` nanoseconds after zero.
    pub const fn from_nanos(ns: u64) -> Self {
        Instant(ns)
    }

    /// Nanoseconds since zero.
    pub const fn as_nanos(self) -> u64 {
        self.0
    }

    /// Seconds since zero, for display.
    pub fn as_secs_f64(self) -> f64 {
        self.0 as f64 / 1e9
    }

    /// The time from `earlier` to this instant; zero when `earlier` is the later one.
    pub const fn since(self, earlier: Instant) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0))
    }

    /// This instant moved back by `d`, but not before zero.
    pub fn before(self, d: Duration) -> Instant {
        Instant(self.0.saturating_sub(nanos(d)))
    }
}

fn nanos(d: Duration) -> u64 {
    u64::try_from(d.as_nanos()).unwrap_or(u64::MAX)
}

impl Add<Duration> for Instant {
    type Output = Instant;
    fn add(self, d: Duration) -> Instant {
        Instant(self.0.saturating_add(nanos(d)))
    }
}

impl AddAssign<Duration> for Instant {
    fn add_assign(&mut self, d: Duration) {
        *self = *self + d;
    }
}

impl Sub for Instant {
    type Output = Duration;
    fn sub(self, earlier: Instant) -> Duration {
        self.since(earlier)
    }
}

impl fmt::Display for Instant {
    /// Seconds with microseconds, as the text output prints them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let us = self.0 / 1_000;
        write!(f, "{}.{:06}", us / 1_000_000, us % 1_000_000)
    }
}

/// A length of time counted in bits of the line; one bit lasts 1/1200 s [FR-13].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct BitTimes(pub u64);

impl BitTimes {
    /// The length of `n` characters of eleven bits [LL-01].
    pub const fn characters(n: u64) -> Self {
        BitTimes(n.saturating_mul(BITS_PER_CHARACTER))
    }

    /// The length at the nominal bit rate, rounded down to whole nanoseconds.
    pub const fn duration(self) -> Duration {
        Duration::from_nanos(self.0.saturating_mul(1_000_000_000) / BIT_RATE)
    }
}

impl Mul<u64> for BitTimes {
    type Output = BitTimes;
    fn mul(self, n: u64) -> BitTimes {
        BitTimes(self.0.saturating_mul(n))
    }
}

/// How fast a line's time runs against the true wire: every character and every timer is divided
/// by the same factor [LI-01].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pace {
    /// Nominal wire speed, factor 1.
    Wire,
    /// Every time divided by the factor; above 1 is faster than the wire. Finite and above zero.
    Scaled(f64),
    /// Octets are handed on at once and nobody judges times.
    Fast,
}

impl Pace {
    /// A wire time as it lasts at this pace; zero for [`Pace::Fast`].
    pub fn scale(self, d: Duration) -> Duration {
        match self {
            Pace::Wire => d,
            Pace::Scaled(f) => Duration::from_nanos((nanos(d) as f64 / f) as u64),
            Pace::Fast => Duration::ZERO,
        }
    }

    /// The length of one character at this pace [LL-01].
    pub fn character(self) -> Duration {
        self.scale(BitTimes::characters(1).duration())
    }

    /// Reads `wire`, `fast` or a factor such as `8`, 0.01 to 1000.
    ///
    /// # Errors
    /// Says what was given and what would be right.
    pub fn parse(text: &str) -> Result<Pace, String> {
        match text {
            "wire" => Ok(Pace::Wire),
            "fast" => Ok(Pace::Fast),
            other => match other.parse::<f64>() {
                Ok(1.0) => Ok(Pace::Wire),
                Ok(f) if (0.01..=1000.0).contains(&f) => Ok(Pace::Scaled(f)),
                _ => Err(format!(
                    "\"{other}\" is no pace: give `wire`, `fast`, or how many times faster than the wire (0.01 to 1000)"
                )),
            },
        }
    }
}

impl fmt::Display for Pace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Pace::Wire => f.write_str("wire"),
            Pace::Scaled(x) => write!(f, "{x}"),
            Pace::Fast => f.write_str("fast"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// [LL-01]: the source prints 9.167 ms for one character, 256.667 ms for 28 [F40648].
    #[test]
    fn character_times_as_published() {
        let ms = |n| BitTimes::characters(n).duration().as_secs_f64() * 1e3;
        assert!((ms(1) - 9.167).abs() < 0.001);
        assert!((ms(28) - 256.667).abs() < 0.001);
        assert!((ms(33) - 302.5).abs() < 0.001);
        assert!((ms(41) - 375.833).abs() < 0.001);
    }

    #[test]
    fn scaled_time_is_divided() {
        // 11 bits / 1200 bit/s / 4 = 2.291666 ms
        let d = Pace::Scaled(4.0).character();
        assert_eq!(d.as_nanos(), 2_291_666);
        assert_eq!(Pace::Fast.character(), Duration::ZERO);
        assert!(Pace::parse("0").is_err() && Pace::parse("-1").is_err());
        assert_eq!(Pace::parse("1"), Ok(Pace::Wire));
    }
}
