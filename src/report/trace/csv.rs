//! A trace as CSV: a row for each time, a column for each quantity, the unit in its name.

use super::Trace;
use crate::wiring::digits;
use core::fmt::Write;

/// The trace as CSV: `time_s` and the columns of all quantities; times to 0.1 ms, values to six digits behind the
/// point without noughts at the end. A value that is no number is an empty cell.
pub fn csv(trace: &Trace) -> String {
    let mut out = String::from("time_s");
    for series in &trace.series {
        let _ = write!(out, ",{}", series.column);
    }
    out.push('\n');
    for (n, time) in trace.time_s.iter().enumerate() {
        let _ = write!(out, "{time:.4}");
        for series in &trace.series {
            out.push(',');
            match series.values.get(n) {
                Some(value) if value.is_finite() => write_number(*value, &mut out),
                _ => {}
            }
        }
        out.push('\n');
    }
    out
}

fn write_number(value: f64, out: &mut String) {
    out.push_str(&digits(value, 6));
}

#[cfg(test)]
mod tests {
    use super::super::{Series, Stroke};
    use super::*;

    #[test]
    fn rows_and_columns() {
        let series = |column, values| Series { column, name: "", panel: None, stroke: Stroke::Plain, values };
        let trace = Trace {
            time_s: vec![0.0, 0.25],
            series: vec![
                series("travel_percent", vec![-0.000_000_1, 100.0]),
                series("supply_pressure_bar_g", vec![f64::NAN, 1.4]),
            ],
            ..Trace::default()
        };
        let expected = "time_s,travel_percent,supply_pressure_bar_g\n0.0000,0,\n0.2500,100,1.4\n";
        assert_eq!(csv(&trace), expected);
    }
}
