//! Times as a clock shows them: `10:15:30.000125`, `2026-11-30T10:15:30.000125Z`, with a blank for the T.

/// Days after which the count begins anew, so that a number has digits left for microseconds.
const DAYS: i64 = 1000;
const DAY_S: f64 = 86_400.0;

/// Seconds since a midnight that is the same for all times of a table; a difference to universal time is left out.
pub(super) fn seconds(text: &str) -> Option<f64> {
    if let Some(day) = date(text) {
        return Some(day as f64 * DAY_S);
    }
    if let Some(s) = time_of_day(text) {
        return Some(s);
    }
    let (day, rest) = (text.get(..10)?, text.get(11..)?);
    let between = text.as_bytes().get(10)?;
    if !matches!(between, b'T' | b't' | b' ') {
        return None;
    }
    // Behind the time the zone.
    let rest = rest.trim_end_matches(['Z', 'z']);
    let rest = rest.split(['+', '-']).next()?;
    Some(date(day)? as f64 * DAY_S + time_of_day(rest.trim())?)
}

/// Whether it is a date alone.
pub(super) fn is_date(text: &str) -> bool {
    date(text).is_some()
}

/// Whether it is a time without a date.
pub(super) fn is_time_of_day(text: &str) -> bool {
    time_of_day(text).is_some()
}

/// `YYYY-MM-DD` or `YYYY/MM/DD` as a day.
fn date(text: &str) -> Option<i64> {
    let digits = |from: usize, to: usize| {
        let part = text.get(from..to)?;
        part.bytes().all(|b| b.is_ascii_digit()).then(|| part.parse::<i64>().ok())?
    };
    let b = text.as_bytes();
    let separated = b.len() == 10 && b[4] == b[7] && matches!(b[4], b'-' | b'/');
    let (y, m, d) = (digits(0, 4)?, digits(5, 7)?, digits(8, 10)?);
    if !separated || !(1..=12).contains(&m) || !(1..=31).contains(&d) {
        return None;
    }
    // Days since a first of March, by the months' lengths from March on.
    let (y, m) = if m > 2 { (y, m - 3) } else { (y - 1, m + 9) };
    let day = 365 * y + y.div_euclid(4) - y.div_euclid(100) + y.div_euclid(400) + (153 * m + 2) / 5 + d;
    Some(day.rem_euclid(DAYS))
}

/// `HH:MM:SS` with a fraction if there is one.
fn time_of_day(text: &str) -> Option<f64> {
    let mut parts = text.splitn(3, ':');
    let mut whole = |most: u32| {
        let part = parts.next()?;
        let good = (1..=2).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
        part.parse::<u32>().ok().filter(|n| good && *n <= most)
    };
    let (h, m) = (whole(23)?, whole(59)?);
    let s = parts.next()?;
    let plain =
        s.bytes().all(|b| b.is_ascii_digit() || b == b'.') && s.starts_with(|c: char| c.is_ascii_digit());
    let s: f64 = s.parse().ok().filter(|s| plain && *s < 61.0)?;
    Some(f64::from(h * 3600 + m * 60) + s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_and_dates() {
        assert_eq!(seconds("10:15:30.5"), Some(36_930.5));
        assert_eq!(seconds("0:00:00"), Some(0.0));
        // Across a leap day, a year's end and midnight; 0.1 us of rounding at most.
        for (a, b, s) in [
            ("2024-02-28T23:59:59.999", "2024-02-29T00:00:00.000", 0.001),
            ("2024-02-29 00:00:00", "2024-03-01 00:00:00", 86_400.0),
            ("2025-12-31T23:59:59Z", "2026-01-01T00:00:01Z", 2.0),
            ("2026/11/30 10:00:00.000125+01:00", "2026/11/30 10:00:00.000250+01:00", 125e-6),
        ] {
            let apart = seconds(b).unwrap() - seconds(a).unwrap();
            assert!((apart - s).abs() < 1e-7, "{a} {b}: {apart}");
        }
        assert!(is_date("2026-11-30") && !is_date("10:00:00") && is_time_of_day("10:00:00"));
        for bad in [
            "",
            "02:80:00",
            "24:00:00",
            "1:2",
            "2026-13-01",
            "2026-11-30X10:00:00",
            "00:00:-1",
            "00:00:1e1",
            "é0:00:00",
        ] {
            assert_eq!(seconds(bad), None, "{bad}");
        }
    }
}
