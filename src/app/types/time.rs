//! Times and spans in units of 1/32 ms [TY-07].

use core::fmt;
use core::str::FromStr;

/// Units of 1/32 ms in a second.
const UNITS_PER_SECOND: u32 = 32_000;

/// One unit, 1/32 ms, is this many times 10 ns; so eight decimals of a second are exact.
const TEN_NS_PER_UNIT: u64 = 3_125;

/// A time of day or a span, in 1/32 ms; from midnight when it is a time of day. Range 0 to a little
/// over 37 hours [TY-07].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TimeOfDay(pub u32);

/// A text that is no time [TY-07].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TimeError {
    text: String,
    wrong: &'static str,
}

impl fmt::Display for TimeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "reading a time from {:?}: {}; write it as 01:01:01.001, up to 37:16:57.727",
            self.text, self.wrong
        )
    }
}

impl core::error::Error for TimeError {}

impl TimeOfDay {
    /// The time in the four octets of a message, most significant first [TY-07].
    pub const fn from_bytes(bytes: [u8; 4]) -> Self {
        TimeOfDay(u32::from_be_bytes(bytes))
    }

    /// The four octets of a message, most significant first [TY-07].
    pub const fn to_bytes(self) -> [u8; 4] {
        self.0.to_be_bytes()
    }

    /// Milliseconds; exact, for 32 is a power of two.
    pub fn as_ms(self) -> f64 {
        f64::from(self.0) / 32.0
    }

    /// The time nearest to `ms` milliseconds; `None` when `ms` is no number, below 0 or above what
    /// 32 bits hold (134 217 727.968 75 ms).
    pub fn from_ms(ms: f64) -> Option<Self> {
        let units = (ms * 32.0).round();
        // A not-a-number is in no range. The cast is exact: the value is whole and in range.
        (0.0..=f64::from(u32::MAX)).contains(&units).then_some(TimeOfDay(units as u32))
    }
}

impl fmt::Display for TimeOfDay {
    /// `hh:mm:ss.mmm`, cut to whole milliseconds; the hours may pass 24. With `{:#}` eight decimals,
    /// which read back to the same value.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let seconds = self.0 / UNITS_PER_SECOND;
        let rest = self.0 % UNITS_PER_SECOND;
        let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
        write!(f, "{h:02}:{m:02}:{s:02}.")?;
        if f.alternate() {
            write!(f, "{:08}", u64::from(rest) * TEN_NS_PER_UNIT)
        } else {
            write!(f, "{:03}", rest / 32)
        }
    }
}

impl FromStr for TimeOfDay {
    type Err = TimeError;

    /// Reads `hh:mm:ss` with up to eight decimals, to the nearest 1/32 ms.
    fn from_str(text: &str) -> Result<Self, TimeError> {
        let fail = |wrong| TimeError { text: text.to_owned(), wrong };
        let number = |part: &str, digits: usize| {
            let sound = (1..=digits).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
            sound.then(|| part.parse::<u64>().ok()).flatten()
        };
        let (clock, decimals) = text.split_once('.').unwrap_or((text, "0"));
        let mut parts = clock.split(':').map(|part| number(part, 2));
        let (Some(Some(h)), Some(Some(m)), Some(Some(s)), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(fail("it is not hours:minutes:seconds"));
        };
        if m > 59 || s > 59 {
            return Err(fail("minutes and seconds go to 59"));
        }
        let Some(fraction) = number(decimals, 8) else {
            return Err(fail("the seconds need one to eight decimals"));
        };
        let scale = 10u64.pow(8 - decimals.len() as u32);
        let ten_ns = (h * 3600 + m * 60 + s) * 100_000_000 + fraction * scale;
        let units = (ten_ns + TEN_NS_PER_UNIT / 2) / TEN_NS_PER_UNIT;
        u32::try_from(units).map(TimeOfDay).map_err(|_| fail("it is longer than 32 bits of 1/32 ms hold"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn time_that_tshark_decoded() {
        // tshark: 06 FB 99 20 is 01:01:01.001; 117152032 / 32 = 3661001 ms.
        let time = TimeOfDay::from_bytes([0x06, 0xFB, 0x99, 0x20]);
        assert_eq!(time.0, 117_152_032);
        assert_eq!(time.as_ms(), 3_661_001.0);
        assert_eq!(time.to_string(), "01:01:01.001");
        assert_eq!("01:01:01.001".parse(), Ok(time));
        assert_eq!(TimeOfDay::from_ms(3_661_001.0), Some(time));
    }

    #[test]
    fn hours_pass_24() {
        // (2^32 - 1) / 32 = 134 217 727.968 75 ms = 37 h 16 min 57.727 968 75 s.
        let last = TimeOfDay(u32::MAX);
        assert_eq!(last.as_ms(), 134_217_727.968_75);
        assert_eq!(last.to_string(), "37:16:57.727");
        assert_eq!(format!("{last:#}"), "37:16:57.72796875");
        assert_eq!(TimeOfDay::from_ms(last.as_ms()), Some(last));
    }

    #[test]
    fn refusals() {
        assert_eq!(TimeOfDay::from_ms(-1.0), None);
        assert_eq!(TimeOfDay::from_ms(f64::NAN), None);
        assert_eq!(TimeOfDay::from_ms(f64::INFINITY), None);
        assert_eq!(TimeOfDay::from_ms(134_217_728.0), None);
        for text in [
            "",
            "1",
            "01:60:00",
            "01:00:60",
            "37:16:57.728",
            "1:2:3:4",
            "+1:00:00",
            "01:00:00.",
            "01:00:00.123456789",
            "99:59:59",
        ] {
            assert!(text.parse::<TimeOfDay>().is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn any_value_survives(units in any::<u32>()) {
            let time = TimeOfDay(units);
            prop_assert_eq!(TimeOfDay::from_bytes(time.to_bytes()), time);
            prop_assert_eq!(TimeOfDay::from_ms(time.as_ms()), Some(time));
            prop_assert_eq!(format!("{time:#}").parse(), Ok(time));
            // The short form is cut, so it reads back to the start of the same millisecond.
            let short: TimeOfDay = time.to_string().parse().unwrap();
            prop_assert_eq!(short.0, units / 32 * 32);
        }

        #[test]
        fn no_text_panics(text in "[0-9:.+x]{0,24}") {
            let _ = text.parse::<TimeOfDay>();
        }
    }
}
