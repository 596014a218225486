//! Dates: day, month and year less 1900, an octet each [TY-06].
//!
//! Devices hold dates that are none (zeros, month 13), and those must survive too: they have a raw
//! text form.

use core::fmt;
use core::str::FromStr;

/// A date as a message carries it [TY-06]. Any octets are allowed; [`Date::is_calendar`] tells
/// whether they name a day.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Date {
    /// Day of the month; 1 to 31 in a calendar date.
    pub day: u8,
    /// Month; 1 to 12 in a calendar date.
    pub month: u8,
    /// Years since 1900: 0 is 1900, 255 is 2155.
    pub year: u8,
}

/// A text that is no date [TY-06].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DateError {
    text: String,
    wrong: &'static str,
}

impl fmt::Display for DateError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "reading a date from {:?}: {}; write it as 2011-01-15, or as raw:0F016F (day, month, \
             year less 1900, in hexadecimal)",
            self.text, self.wrong
        )
    }
}

impl core::error::Error for DateError {}

impl Date {
    /// The date in the three octets of a message [TY-06].
    pub const fn from_bytes(bytes: [u8; 3]) -> Self {
        Date { day: bytes[0], month: bytes[1], year: bytes[2] }
    }

    /// The three octets of a message: day, month, year less 1900 [TY-06].
    pub const fn to_bytes(self) -> [u8; 3] {
        [self.day, self.month, self.year]
    }

    /// The year in full, 1900 to 2155.
    pub const fn full_year(self) -> u16 {
        1900 + self.year as u16
    }

    /// Whether this is a day of the Gregorian calendar, leap years counted.
    pub const fn is_calendar(self) -> bool {
        self.day >= 1 && self.day <= days_in_month(self.full_year(), self.month)
    }
}

/// Days in a month; 0 when `month` is not 1 to 12.
const fn days_in_month(year: u16, month: u8) -> u8 {
    match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 if year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400)) => 29,
        2 => 28,
        _ => 0,
    }
}

impl fmt::Display for Date {
    /// `2011-01-15` for a calendar date, else `raw:` and the three octets.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_calendar() {
            write!(f, "{}-{:02}-{:02}", self.full_year(), self.month, self.day)
        } else {
            write!(f, "raw:{:02X}{:02X}{:02X}", self.day, self.month, self.year)
        }
    }
}

impl FromStr for Date {
    type Err = DateError;

    /// Reads both forms that [`Date`] prints; the years are 1900 to 2155.
    fn from_str(text: &str) -> Result<Self, DateError> {
        let fail = |wrong| DateError { text: text.to_owned(), wrong };
        if let Some(hex) = text.strip_prefix("raw:") {
            if hex.len() != 6 || !hex.bytes().all(|b| b.is_ascii_hexdigit()) {
                return Err(fail("raw: needs six hexadecimal digits after it"));
            }
            let [_, day, month, year] = u32::from_str_radix(hex, 16)
                .map_err(|_| fail("raw: needs six hexadecimal digits after it"))?
                .to_be_bytes();
            return Ok(Date { day, month, year });
        }
        let mut parts = text.split('-').map(|part| {
            // `parse` would let a plus sign through.
            if part.bytes().all(|b| b.is_ascii_digit()) { part.parse::<u16>().ok() } else { None }
        });
        let (Some(Some(year)), Some(Some(month)), Some(Some(day)), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(fail("it is not year-month-day"));
        };
        let year = year
            .checked_sub(1900)
            .and_then(|y| u8::try_from(y).ok())
            .ok_or_else(|| fail("the year is outside 1900 to 2155"))?;
        let (Ok(month), Ok(day)) = (u8::try_from(month), u8::try_from(day)) else {
            return Err(fail("the calendar has no such day"));
        };
        let date = Date { day, month, year };
        if date.is_calendar() { Ok(date) } else { Err(fail("the calendar has no such day")) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn date_of_a_captured_reply() {
        // Command 13 reply [NIT], protocol-2 F: 0F 01 6F is day 15, month 1, year 2011.
        let date = Date::from_bytes([0x0F, 0x01, 0x6F]);
        assert_eq!((date.day, date.month, date.full_year()), (15, 1, 2011));
        assert_eq!(date.to_string(), "2011-01-15");
        assert_eq!("2011-01-15".parse(), Ok(date));
    }

    #[test]
    fn date_that_tshark_decoded() {
        // tshark row 44: 1F 0C 7C is day 31, month 12, year 124 (1900 not added).
        let date = Date::from_bytes([0x1F, 0x0C, 0x7C]);
        assert_eq!((date.day, date.month, date.year), (31, 12, 124));
        assert_eq!(date.to_string(), "2024-12-31");
    }

    #[test]
    fn the_calendar_knows_leap_years() {
        // Gregorian rule: 1900 is common, 2000 and 2024 are leap years.
        assert!("2000-02-29".parse::<Date>().is_ok());
        assert!("2024-02-29".parse::<Date>().is_ok());
        assert!("1900-02-29".parse::<Date>().is_err());
        assert!("2023-02-29".parse::<Date>().is_err());
        assert!("2023-04-31".parse::<Date>().is_err());
    }

    #[test]
    fn what_is_no_date_keeps_its_octets() {
        let odd = Date::from_bytes([0x7B, 0x08, 0x0A]);
        assert!(!odd.is_calendar());
        assert_eq!(odd.to_string(), "raw:7B080A");
        assert_eq!("raw:7b080a".parse(), Ok(odd));
        assert_eq!(Date::default().to_string(), "raw:000000");
    }

    #[test]
    fn refusals() {
        for text in [
            "",
            "2011",
            "2011-01",
            "2011-1-15-2",
            "1899-12-31",
            "2156-01-01",
            "2011-13-01",
            "2011-+1-15",
            "raw:",
            "raw:12",
            "raw:+12345",
            "15.01.2011",
            "2011-256-01",
        ] {
            let error = text.parse::<Date>().unwrap_err().to_string();
            assert!(error.contains("reading a date"), "{text}: {error}");
        }
        assert!("1900-01-01".parse::<Date>().is_ok() && "2155-12-31".parse::<Date>().is_ok());
    }

    proptest! {
        #[test]
        fn any_octets_survive(bytes in any::<[u8; 3]>()) {
            let date = Date::from_bytes(bytes);
            let again: Date = date.to_string().parse().unwrap();
            prop_assert_eq!(again.to_bytes(), bytes);
        }

        #[test]
        fn no_text_panics(text in any::<String>()) {
            let _ = text.parse::<Date>();
        }
    }
}
