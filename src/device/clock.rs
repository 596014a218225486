//! The clock of the device [DV-24].

use crate::app::types::{Date, TimeOfDay};
use crate::time::Instant;

/// 1/32 ms in ns [TY-07].
const UNIT_NS: u64 = 31_250;
/// Units of a day: 86 400 s of 32 000.
pub(super) const UNITS_PER_DAY: u32 = 86_400 * 32_000;
/// Years that three octets of a date can tell: 1900 to 2155 [TY-06].
const FIRST_YEAR: u16 = 1900;
const YEARS: u16 = 256;

/// A clock that runs from power-up on the first day that a date can tell, until it is set.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    at: Instant,
    date: Date,
    time: TimeOfDay,
    pub was_set: bool,
}

impl Clock {
    pub fn new(now: Instant) -> Self {
        Clock { at: now, date: Date { day: 1, month: 1, year: 0 }, time: TimeOfDay(0), was_set: false }
    }

    /// Sets it to a day of the calendar and a time before midnight.
    pub fn set(&mut self, now: Instant, date: Date, time: TimeOfDay) {
        *self = Clock { at: now, date, time, was_set: true };
    }

    /// What it shows; the day after the last that a date can tell is the first one.
    pub fn read(&self, now: Instant) -> (Date, TimeOfDay) {
        // Nanoseconds in 64 bits are less than 600 years, so all of it fits.
        let units = u64::from(self.time.0) + now.since(self.at).as_nanos() as u64 / UNIT_NS;
        let days = units / u64::from(UNITS_PER_DAY) + u64::from(days_before(self.date));
        let time = TimeOfDay((units % u64::from(UNITS_PER_DAY)) as u32);
        (date_after(days), time)
    }

    /// When it was set last; as at power-up where it never was.
    pub fn last_set(&self) -> (Date, TimeOfDay) {
        (self.date, self.time)
    }
}

fn is_leap(year: u16) -> bool {
    year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400))
}

fn months(year: u16) -> [u32; 12] {
    [31, if is_leap(year) { 29 } else { 28 }, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
}

fn days_of(year: u16) -> u32 {
    if is_leap(year) { 366 } else { 365 }
}

/// Days from 1 January 1900 to a day of the calendar.
fn days_before(date: Date) -> u32 {
    let year = date.full_year();
    let years: u32 = (FIRST_YEAR..year).map(days_of).sum();
    let before: u32 = months(year).iter().take(usize::from(date.month).saturating_sub(1)).sum();
    years + before + u32::from(date.day).saturating_sub(1)
}

/// The day so many days after 1 January 1900.
fn date_after(days: u64) -> Date {
    let all: u32 = (FIRST_YEAR..FIRST_YEAR + YEARS).map(days_of).sum();
    let mut left = (days % u64::from(all)) as u32;
    let mut year = FIRST_YEAR;
    while left >= days_of(year) {
        left -= days_of(year);
        year += 1;
    }
    let mut month = 1;
    for length in months(year) {
        if left < length {
            break;
        }
        left -= length;
        month += 1;
    }
    Date { day: left as u8 + 1, month, year: (year - FIRST_YEAR) as u8 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::time::Duration;

    fn date(day: u8, month: u8, year: u16) -> Date {
        Date { day, month, year: (year - 1900) as u8 }
    }

    /// 1900 is no leap year, 2000 and 2024 are, 2100 is not.
    #[test]
    fn the_day_after() {
        for (is, next) in [
            (date(28, 2, 1900), date(1, 3, 1900)),
            (date(28, 2, 2000), date(29, 2, 2000)),
            (date(29, 2, 2024), date(1, 3, 2024)),
            (date(28, 2, 2100), date(1, 3, 2100)),
            (date(31, 12, 2026), date(1, 1, 2027)),
            (date(30, 4, 2026), date(1, 5, 2026)),
            (date(31, 12, 2155), date(1, 1, 1900)),
        ] {
            let mut clock = Clock::new(Instant::ZERO);
            // 23:59:59 and a second.
            clock.set(Instant::ZERO, is, TimeOfDay(86_399 * 32_000));
            let read = clock.read(Instant::ZERO + Duration::from_millis(999));
            assert_eq!(read, (is, TimeOfDay(86_399 * 32_000 + 999 * 32)));
            assert_eq!(clock.read(Instant::ZERO + Duration::from_secs(1)), (next, TimeOfDay(0)));
            assert_eq!(clock.last_set(), (is, TimeOfDay(86_399 * 32_000)));
        }
    }

    /// 1 January 1970 is 25567 days after 1 January 1900 (70·365 + 17 leap days, 1904 to 1968), a figure of the
    /// trade; and every day comes back.
    #[test]
    fn every_day() {
        assert_eq!(days_before(date(1, 1, 1970)), 25_567);
        let mut last = None;
        for n in 0..93_502 {
            let d = date_after(n);
            assert!(d.is_calendar());
            assert_eq!(u64::from(days_before(d)), n);
            last = Some(d);
        }
        // 256·365 + 62 leap days: 64 years divisible by four, less 1900 and 2100.
        assert_eq!(last, Some(date(31, 12, 2155)));
        assert_eq!(date_after(93_502), date(1, 1, 1900));
        let _ = Clock::new(Instant::ZERO).read(Instant::from_nanos(u64::MAX));
    }
}
