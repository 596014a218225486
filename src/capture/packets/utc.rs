//! The start of a log as a number, which packets have their times by.

/// Nanoseconds from 1970 to a time such as `2026-11-25T13:00:00.5Z`; `None` where it is none from 1970 to 2553.
pub fn utc_ns(text: &str) -> Option<u64> {
    let (date, time) = text.strip_suffix('Z')?.split_once('T')?;
    let [year, month, day] = numbers(date, '-', [4, 2, 2])?;
    let (time, fraction) = time.split_once('.').unwrap_or((time, "0"));
    let [hour, minute, second] = numbers(time, ':', [2, 2, 2])?;
    if !(1..=12).contains(&month) || !(1..=31).contains(&day) || hour > 23 || minute > 59 || second > 60 {
        return None;
    }
    if fraction.is_empty() || fraction.len() > 9 || !fraction.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let nanos: u64 = format!("{fraction:0<9}").parse().ok()?;
    // Days up to a year's first of March, so that a leap day is the last of its year.
    let (y, m) = if month > 2 { (year, month - 3) } else { (year.checked_sub(1)?, month + 9) };
    let days = y * 365 + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 1;
    // 719468 of them are before 1970.
    let seconds = days.checked_sub(719_468)? * 86_400 + hour * 3600 + minute * 60 + second;
    seconds.checked_mul(1_000_000_000)?.checked_add(nanos)
}

fn numbers(text: &str, between: char, digits: [usize; 3]) -> Option<[u64; 3]> {
    let mut parts = text.split(between);
    let mut out = [0; 3];
    for (out, digits) in out.iter_mut().zip(digits) {
        let part = parts.next()?;
        if part.len() != digits || !part.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        *out = part.parse().ok()?;
    }
    parts.next().is_none().then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_time() {
        assert_eq!(utc_ns("1970-01-01T00:00:00Z"), Some(0));
        for bad in [
            "",
            "2026-11-25",
            "2026-11-25T13:00:00",
            "2026-13-25T13:00:00Z",
            "2026-11-25T24:00:00Z",
            "1969-12-31T23:59:59Z",
            "0000-01-01T00:00:00Z",
            "2600-01-01T00:00:00Z",
            "2026-11-25T13:00:00.Z",
            "2026-11-25T13:00:00.1234567890Z",
            "+026-11-25T13:00:00Z",
        ] {
            assert_eq!(utc_ns(bad), None, "{bad}");
        }
    }

    /// Another library's calendar says the same.
    #[cfg(feature = "io")]
    #[test]
    fn the_calendar_is_right() {
        let mut ns: i128 = 0;
        while ns < 18_400_000_000_000_000_000 {
            let stamp = jiff::Timestamp::from_nanosecond(ns).expect("a time");
            assert_eq!(utc_ns(&stamp.to_string()), u64::try_from(ns).ok(), "{stamp}");
            // 13 days and some odd nanoseconds, so that every kind of day comes.
            ns += 1_123_456_789_012_347;
        }
    }
}
