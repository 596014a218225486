//! The table of undetected errors over the published frames [FR-21].

use super::measure::{Bench, Dice, Tally, Wire};
use super::theory::{MOST, Theory, Undetected};
use std::fmt::Write;

/// Up to this number of flips every pattern is judged; above it patterns are drawn.
pub const ENUMERATED: usize = 3;
/// Patterns drawn for each frame and each number of flips.
pub const DRAWN: u64 = 50_000;
/// Seed of the draw.
pub const SEED: u64 = 1200;

/// One frame's share of a line of the table.
pub struct Part {
    /// What was measured.
    pub tally: Tally,
    /// How many of all patterns no check can find.
    pub due: Undetected,
    /// All patterns.
    pub patterns: i128,
}

impl Part {
    /// What was measured and what was due of the patterns judged: mean and variance, which is zero where every
    /// pattern was judged. In the order values, delimiter, length, octets follow.
    pub fn compared(&self) -> [(u64, f64, f64); 4] {
        let (t, d) = (&self.tally, &self.due);
        let pairs = [
            (t.values, d.values),
            (t.delimiter, d.delimiter),
            (t.length, d.length),
            (t.followed, d.followed),
        ];
        pairs.map(|(measured, due)| {
            if i128::from(t.patterns) == self.patterns {
                return (measured, due as f64, 0.0);
            }
            let share = due as f64 / self.patterns as f64;
            let mean = share * t.patterns as f64;
            (measured, mean, mean * (1.0 - share))
        })
    }
}

/// One line of the table: a kind of line and a number of flipped bits, over all frames.
pub struct Row {
    /// What the line tells.
    pub wire: Wire,
    /// Flipped bits.
    pub weight: usize,
    /// Frame by frame.
    pub parts: Vec<Part>,
}

impl Row {
    /// What was measured over all frames.
    pub fn tally(&self) -> Tally {
        let mut sum = Tally::default();
        self.parts.iter().for_each(|p| sum.add(&p.tally));
        sum
    }

    /// [`Part::compared`] over all frames.
    pub fn compared(&self) -> [(u64, f64, f64); 4] {
        let mut sum = [(0, 0.0, 0.0); 4];
        for part in self.parts.iter().map(Part::compared) {
            for (s, p) in sum.iter_mut().zip(part) {
                *s = (s.0 + p.0, s.1 + p.1, s.2 + p.2);
            }
        }
        sum
    }
}

/// Judges every pattern of few flips by `few` and draws those of many.
pub fn rows(frames: &[Vec<u8>], few: fn(&mut Bench, usize) -> Tally) -> Vec<Row> {
    let longest = frames.iter().map(Vec::len).max().unwrap_or(0);
    let mut dice = Dice(SEED);
    let mut out = Vec::new();
    for wire in [Wire::Parity, Wire::Bare] {
        let theory = Theory::new(wire, longest);
        for weight in 1..=MOST {
            let mut part = |frame: &Vec<u8>| {
                let mut bench = Bench::new(wire, frame);
                let tally = match weight {
                    1..=ENUMERATED => few(&mut bench, weight),
                    _ => bench.sample(weight, DRAWN, &mut dice),
                };
                let patterns = theory.patterns(frame.len(), weight);
                Part { tally, due: theory.undetected(frame, weight), patterns }
            };
            let parts = frames.iter().map(&mut part).collect();
            out.push(Row { wire, weight, parts });
        }
    }
    out
}

/// Markdown.
pub fn markdown(rows: &[Row]) -> String {
    let mut out = String::from(
        "| parity | flips | patterns | sent | values | delimiter | length | octets follow | due | share | share left |\n\
         |---|---|---|---|---|---|---|---|---|---|---|\n",
    );
    for row in rows {
        let tally = row.tally();
        let compared = row.compared();
        let due = compared.map(|(_, mean, variance)| match variance == 0.0 {
            true => format!("{mean:.0}"),
            false => format!("{mean:.1}"),
        });
        let [values, delimiter, length, followed] = compared.map(|(_, mean, _)| mean);
        let share = |mean: f64| match mean == 0.0 {
            true => "0".to_owned(),
            false => format!("{:.1e}", mean / tally.patterns as f64),
        };
        let cells = [
            row.wire.name().to_owned(),
            row.weight.to_string(),
            tally.patterns.to_string(),
            tally.runs.to_string(),
            tally.values.to_string(),
            tally.delimiter.to_string(),
            (tally.length + tally.elsewhere).to_string(),
            tally.followed.to_string(),
            due.join(", "),
            share(values + delimiter + length),
            // Where everything is followed the difference of the two sums need not be zero to the last bit.
            share(values + delimiter + if length == followed { 0.0 } else { length - followed }),
        ];
        let _ = writeln!(out, "| {} |", cells.join(" | "));
    }
    out
}
