//! Wrong bits on the wires, against arithmetic and the table in the notes [LL-20].

#[path = "noise/measure.rs"]
mod measure;

use measure::{Due, RATES, REQUESTS, Row, markdown, row};

/// Within five standard deviations of what the rate makes due; the notes hold the very table.
#[test]
fn requests_on_noisy_wires() {
    // A build without optimisation takes one rate alone.
    let rates: &[f64] = if cfg!(debug_assertions) { &[1e-3] } else { &RATES };
    let rows: Vec<Row> = rates.iter().map(|&r| row(r)).collect();
    for row in &rows {
        let due = Due::new(row.rate);
        let n = REQUESTS as f64;
        let near = |what: &str, count: u64, mean: f64, deviation: f64| {
            let off = (count as f64 - mean * n).abs();
            assert!(
                off <= 5.0 * deviation * n.sqrt() + 0.5,
                "{what} at {}: {count}, due {}",
                row.rate,
                mean * n
            );
        };
        assert_eq!(row.answered + row.lost, REQUESTS);
        let p = due.answered();
        near("answered", row.answered, p, (p * (1.0 - p)).sqrt());
        // Repeats of one request are 0 to 3: f, f^2 and f^3 are the chances of at least 1, 2, 3, so the mean
        // square is f + 3 f^2 + 5 f^3.
        let f = 1.0 - due.try_succeeds;
        let square = f + 3.0 * f.powi(2) + 5.0 * f.powi(3);
        near("repeats", row.repeats, due.repeats(), (square - due.repeats().powi(2)).max(0.0).sqrt());
        if row.rate == 0.0 {
            assert_eq!((row.answered, row.repeats, row.wrong), (REQUESTS, 0, 0));
        }
    }
    let notes = include_str!("../protocol-notes/link.md");
    let table = markdown(&rows);
    for line in table.lines() {
        assert!(notes.contains(line), "the table of [LL-20] lacks this line; all of it is now:\n{table}");
    }
}
