//! What the columns of a table are: times, volts, by header and numbers [WV-11].

/// Steps of times that repeat which there must be among the first rows for the rate to be told from them.
const LEAST_STEPS: usize = 20;
/// The column whose header says time, or else the first, if it hardly ever falls and goes on in the end; times with few digits repeat.
pub(super) fn time_column(names: &[Vec<&str>], rows: &[(u64, Vec<f64>)], columns: usize) -> Option<usize> {
    let goes_on = |c: usize| {
        let falls = rows.windows(2).filter(|w| w[1].1[c] < w[0].1[c]).count();
        let ends = rows.first().zip(rows.last()).is_some_and(|(a, b)| b.1[c] > a.1[c]);
        falls <= (rows.len() / 10).max(1) && ends
    };
    let says = |c: usize| {
        names.iter().filter_map(|n| n.get(c)).any(|name| {
            let name = name.to_lowercase();
            name.contains("time") || name == "t" || name == "x" || name == "second" || name == "s"
        })
    };
    (0..columns).find(|c| says(*c) && goes_on(*c)).or_else(|| (columns > 1 && goes_on(0)).then_some(0))
}

/// Rows a unit of time where times repeat, and the least step of those: the slope of the straight line that fits them best, which is far better than a
/// step. `None` where there are too few steps for that and nobody gave the rate.
pub(super) fn counted_rate(
    rows: &[(u64, Vec<f64>)],
    column: usize,
    given: Option<f64>,
) -> Option<(f64, f64)> {
    let steps = || rows.windows(2).map(|w| w[1].1[column] - w[0].1[column]).filter(|s| *s > 0.0);
    let quantum = steps().fold(f64::INFINITY, f64::min);
    if let Some(rate) = given {
        return Some((rate, quantum));
    }
    if steps().count() < LEAST_STEPS || steps().any(|s| s > 10.0 * quantum) {
        return None;
    }
    let n = rows.len() as f64;
    let (mean_k, mean_t) = ((n - 1.0) / 2.0, rows.iter().map(|r| r.1[column]).sum::<f64>() / n);
    let (mut kk, mut kt) = (0.0, 0.0);
    for (k, row) in rows.iter().enumerate() {
        kk += (k as f64 - mean_k).powi(2);
        kt += (k as f64 - mean_k) * (row.1[column] - mean_t);
    }
    (kt > 0.0).then(|| (kk / kt, quantum))
}

/// Rows a unit of time.
pub(super) fn rate(rows: &[(u64, Vec<f64>)], column: usize) -> Option<f64> {
    // Of all steps the middle one; those near it make the mean, so that a pause among them does no harm either.
    let mut steps: Vec<f64> =
        rows.windows(2).map(|w| w[1].1[column] - w[0].1[column]).filter(|s| *s > 0.0).collect();
    steps.sort_by(f64::total_cmp);
    let middle = *steps.get(steps.len() / 2)?;
    let usual: Vec<f64> = steps.into_iter().filter(|s| (s / middle - 1.0).abs() < 0.5).collect();
    let mean = usual.iter().sum::<f64>() / usual.len() as f64;
    Some(1.0 / mean)
}

/// The unit that the header has for a column, as a pure cell or in brackets behind a name, the last such line.
pub(super) fn unit_of(
    names: &[Vec<&str>],
    column: usize,
    known: fn(&str) -> Option<f64>,
) -> Option<(String, f64)> {
    names.iter().rev().filter_map(|n| n.get(column)).find_map(|cell| {
        let inner = cell.rsplit_once(['(', '[']).map(|(_, u)| u.trim_end_matches([')', ']']));
        let last = cell.rsplit([' ', '_', '/']).next();
        [inner, Some(*cell), last]
            .into_iter()
            .flatten()
            .find_map(|u| Some((u.trim().to_string(), known(u.trim())?)))
    })
}

/// What the last line of a header that has all columns calls this one.
pub(super) fn name_of(names: &[Vec<&str>], column: usize, columns: usize) -> Option<String> {
    let last = names.iter().rev().find(|n| n.len() == columns)?;
    last.get(column).filter(|n| !n.is_empty()).map(|n| (*n).to_string())
}

pub(super) fn time_unit(u: &str) -> Option<f64> {
    match u.to_lowercase().as_str() {
        "s" | "sec" | "second" | "seconds" => Some(1.0),
        "ms" | "msec" | "milliseconds" => Some(1e-3),
        "us" | "µs" | "μs" | "\u{FFFD}s" | "usec" | "microseconds" => Some(1e-6),
        "ns" => Some(1e-9),
        "min" => Some(60.0),
        _ => None,
    }
}

pub(super) fn voltage_unit(u: &str) -> Option<f64> {
    match u {
        "V" | "v" | "Volt" | "volt" | "VOLT" | "Volts" | "volts" | "Voltage" | "voltage" | "VOLTAGE" => {
            Some(1.0)
        }
        "mV" | "mv" => Some(1e-3),
        "uV" | "µV" | "μV" | "\u{FFFD}V" => Some(1e-6),
        "kV" => Some(1e3),
        _ => None,
    }
}

pub(super) fn other_unit(u: &str) -> Option<f64> {
    matches!(u, "A" | "mA" | "uA" | "µA" | "%" | "dB" | "W" | "Pa" | "bar" | "°C").then_some(1.0)
}

/// The unit of times that a header says in a line of its own: `Time Units,ms`.
pub(super) fn time_unit_of(names: &[Vec<&str>]) -> Option<f64> {
    names.iter().find_map(|line| {
        let says = line.first()?.to_lowercase();
        let about_time = ["time unit", "horizontal unit", "x unit"].iter().any(|w| says.contains(w));
        about_time.then(|| line.iter().skip(1).find_map(|c| time_unit(c)))?
    })
}

/// The step of the rows, s, that stands in a later line below a cell that says so: `X,CH1,Start,Increment`, then `Sequence,Volt,-0.1,2e-5`.
pub(super) fn increment(names: &[Vec<&str>]) -> Option<f64> {
    names.iter().enumerate().find_map(|(n, line)| {
        let column = line.iter().position(|c| {
            let c = c.to_lowercase();
            c.contains("increment") || c.contains("interval")
        })?;
        let below = names[n + 1..].iter().filter_map(|l| l.get(column)?.parse::<f64>().ok());
        below.into_iter().find(|x| *x > 0.0 && x.is_finite())
    })
}

/// A rate that the header writes out: `Sample Interval, 2e-5` or `Sampling Rate; 48000`.
pub(super) fn written_rate(header: &[(u64, String)]) -> Option<f64> {
    header.iter().find_map(|(_, line)| {
        let lower = line.to_lowercase();
        let number = lower
            .split([',', ';', '\t', ':', '=', ' '])
            .filter_map(|c| c.trim().trim_matches('"').parse::<f64>().ok())
            .find(|x| *x > 0.0)?;
        if lower.contains("interval") || lower.contains("increment") {
            Some(1.0 / number)
        } else if lower.contains("sample rate")
            || lower.contains("sampling rate")
            || lower.contains("samplerate")
        {
            Some(number)
        } else {
            None
        }
    })
}
