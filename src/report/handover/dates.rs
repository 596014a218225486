//! Dates of calibration as they stand on labels of test equipment [TV-100].

/// A test that is so many months behind the last calibration is told (own choice).
const LONG_MONTHS: i64 = 12;

/// A day of the calendar; of two the later one is the greater.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Day {
    year: i64,
    month: i64,
    day: i64,
}

impl Day {
    /// Reads `2026-05-02`; what stands behind a blank or a `T` is a time.
    fn read(text: &str) -> Option<Day> {
        let date = text.trim().split([' ', 'T']).next()?;
        let mut parts = date.split('-');
        let mut next = |digits: usize| {
            let part = parts.next().filter(|p| p.len() == digits && p.bytes().all(|b| b.is_ascii_digit()))?;
            part.parse::<i64>().ok()
        };
        let day = Day { year: next(4)?, month: next(2)?, day: next(2)? };
        let leap = day.year % 4 == 0 && (day.year % 100 != 0 || day.year % 400 == 0);
        let most = match day.month {
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            1..=12 => 31,
            _ => return None,
        };
        (parts.next().is_none() && (1..=most).contains(&day.day) && day.year >= 1900).then_some(day)
    }

    /// Whole months from this day to a later one.
    fn months_to(self, later: Day) -> i64 {
        let begun = i64::from(later.day < self.day);
        (later.year - self.year) * 12 + later.month - self.month - begun
    }
}

/// When an instrument was calibrated, and until when that is good, as it is written: `2026-05-02`, or `2026-05-02 due 2027-05-02`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Calibrated {
    on: Day,
    due: Option<Day>,
}

impl Calibrated {
    /// Reads it.
    ///
    /// # Errors
    /// A sentence that says what is wrong and what would be right.
    pub fn read(text: &str) -> Result<Calibrated, String> {
        let right = || {
            format!(
                "\"{}\" is no date of calibration: give it as 2026-05-02, with its due date as \"2026-05-02 due 2027-05-02\", or leave it empty",
                text.trim()
            )
        };
        let (on, due) = match text.split_once("due") {
            Some((on, due)) => (on, Some(due)),
            None => (text, None),
        };
        let on = Day::read(on).filter(|_| !on.trim().contains(' ')).ok_or_else(right)?;
        let due = due.map(|due| Day::read(due).filter(|d| *d >= on).ok_or_else(right)).transpose()?;
        Ok(Calibrated { on, due })
    }

    /// How old it was on a day, such as that of a test (`2026-11-30 08:15:00 UTC`): a few words; `None` where that day is not known.
    pub fn age(self, on: &str) -> Option<String> {
        let day = Day::read(on)?;
        Some(match self.on.months_to(day) {
            _ if self.on > day => "after the test".to_owned(),
            0 => "less than a month before the test".to_owned(),
            1 => "1 month before the test".to_owned(),
            n if n < 24 => format!("{n} months before the test"),
            n => format!("{} years before the test", n / 12),
        })
    }

    /// What is to be said of it on a day, the end of a sentence; `None`: nothing.
    pub fn wrong(self, on: &str) -> Option<String> {
        let day = Day::read(on)?;
        if self.on > day {
            return Some("its date of calibration lies in the future: look at the label again".to_owned());
        }
        if let Some(due) = self.due.filter(|due| *due < day) {
            let Day { year, month, day } = due;
            return Some(format!("its calibration was due on {year:04}-{month:02}-{day:02}"));
        }
        let months = self.on.months_to(day);
        (self.due.is_none() && months > LONG_MONTHS).then(|| {
            format!("it was calibrated {}, and no due date is noted", self.age(on).unwrap_or_default())
        })
    }
}

/// What is wrong with when a test as left began beside one as found, the end of a sentence; `None`: nothing, or a time is not known [TV-134].
pub fn wrong_order(found: &str, left: &str) -> Option<String> {
    let (day_found, day_left) = (Day::read(found)?, Day::read(left)?);
    // Of one day the time decides.
    if left < found {
        return Some(format!("is older than as found: it began at {left}, and as found at {found}"));
    }
    (day_found.months_to(day_left) >= LONG_MONTHS).then(|| {
        format!("is not of the same job as as found: it began at {left}, and as found at {found}, a year before and more")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From the calendar: a year is twelve months to the day [TV-134].
    #[test]
    fn as_left_comes_after_as_found() {
        let found = "2026-11-30 08:15:00 UTC";
        for (left, says) in [
            ("2025-03-01 10:00:00 UTC", Some("older")),
            ("2026-11-30 08:14:59 UTC", Some("older")),
            ("2026-11-30 08:15:00 UTC", None),
            ("2027-01-02 08:15:00 UTC", None),
            ("2027-11-29 08:15:00 UTC", None),
            ("2027-11-30 08:15:00 UTC", Some("not of the same job")),
            ("", None),
        ] {
            let wrong = wrong_order(found, left);
            assert_eq!(wrong.is_some(), says.is_some(), "{left}");
            assert!(says.is_none_or(|s| wrong.is_some_and(|w| w.contains(s))), "{left}");
        }
        assert_eq!(wrong_order("", found), None);
    }

    /// From the calendar: 2024 is a leap year and 2100 is none; a year and a day are twelve months; 2 May to 30 November are six months and 28 days.
    #[test]
    fn dates_on_labels() {
        for wrong in [
            "soon",
            "2026-13-45",
            "2026-02-29",
            "2100-02-29",
            "02.05.2026",
            "2026-5-2",
            "26-05-02",
            "2026-05-02 x",
            "2026-05-02 due soon",
            "2026-05-02 due 2025-05-02",
        ] {
            assert!(Calibrated::read(wrong).is_err(), "{wrong}");
        }
        let of = |text: &str| Calibrated::read(text).unwrap_or_else(|e| panic!("{e}"));
        let today = "2026-11-30 08:15:00 UTC";
        assert_eq!(of("2026-05-02").age(today).as_deref(), Some("6 months before the test"));
        assert_eq!(of("2026-05-02").wrong(today), None);
        assert_eq!(of("2024-02-29").age(today).as_deref(), Some("2 years before the test"));
        assert_eq!(of("1999-01-01").age(today).as_deref(), Some("27 years before the test"));
        assert!(of("1999-01-01").wrong(today).is_some_and(|w| w.contains("27 years")));
        // 30 November to 30 November is one year, told only when it is longer than that by a month.
        assert_eq!(of("2025-11-30").wrong(today), None);
        assert!(of("2025-10-30").wrong(today).is_some_and(|w| w.contains("13 months")));
        assert!(of("2030-01-01").wrong(today).is_some_and(|w| w.contains("in the future")));
        assert!(
            of("2026-05-02 due 2026-11-29").wrong(today).is_some_and(|w| w.ends_with("due on 2026-11-29"))
        );
        assert_eq!(of("2020-05-02 due 2026-11-30").wrong(today), None);
        assert_eq!(of("2026-05-02").age(""), None);
    }
}
