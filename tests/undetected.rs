//! Flipped bits that neither parity nor check byte finds: what the receiver lets pass is what arithmetic says that
//! no receiver can find [FR-20] [FR-21].
//!
//! A build without optimisation takes short frames and few flips alone, so that it stays bearable.

#[path = "undetected/measure.rs"]
mod measure;
mod support;
#[path = "undetected/table.rs"]
mod table;
#[path = "undetected/theory.rs"]
mod theory;

use measure::{Bench, Tally, Wire, flips_to_start_elsewhere};
use std::collections::BTreeSet;
use table::{ENUMERATED, markdown, rows};
use theory::{MOST, Theory, choose};

const SLOW: bool = cfg!(debug_assertions);
const WIRES: [Wire; 2] = [Wire::Parity, Wire::Bare];

fn frames() -> Vec<Vec<u8>> {
    support::fixtures().into_iter().filter(|f| f.is_frame()).map(|f| f.octets).collect()
}

/// Different frames of up to `longest` octets, the shortest first.
fn short(longest: usize) -> Vec<Vec<u8>> {
    let all: BTreeSet<(usize, Vec<u8>)> = frames().into_iter().map(|f| (f.len(), f)).collect();
    all.into_iter().map(|(_, f)| f).filter(|f| f.len() <= longest).collect()
}

fn assert_as_reckoned(theory: &Theory, frame: &[u8], weight: usize, tally: &Tally) {
    let due = theory.undetected(frame, weight);
    let what = format!("{weight} flips in {}", support::hex(frame));
    assert_eq!(i128::from(tally.patterns), theory.patterns(frame.len(), weight), "{what}");
    assert_eq!(tally.elsewhere, 0, "{what}");
    let measured = [tally.values, tally.delimiter, tally.length, tally.followed].map(i128::from);
    assert_eq!(measured, [due.values, due.delimiter, due.length, due.followed], "{what}");
}

/// The closed forms of [FR-20]: rectangles and hexagons where parity is seen, pairs in a column where it is not.
#[test]
fn closed_forms() {
    let (parity, bare) = (Theory::new(Wire::Parity, 60), Theory::new(Wire::Bare, 60));
    for m in 0..=60 {
        let found: Vec<i128> = (1..=6).map(|flips| parity.ways(m, 0, flips)).collect();
        let hexagons = 6 * choose(m, 3) * choose(9, 3);
        assert_eq!(found, [0, 0, 0, choose(m, 2) * choose(9, 2), 0, hexagons], "{m} characters");
        let found: Vec<i128> = (1..=5).map(|flips| bare.ways(m, 0, flips)).collect();
        let four = 8 * choose(m, 4) + choose(8, 2) * choose(m, 2) * choose(m, 2);
        assert_eq!(found, [0, 8 * choose(m, 2), 0, four, 0], "{m} characters, parity not seen");
    }
    // 18 m (m - 1) and 84 m (m - 1) (m - 2), m = 7 of the nine characters of a long request without data.
    assert_eq!((parity.ways(7, 0, 4), parity.ways(7, 0, 6)), (756, 17_640));
}

/// The number of ways against counting them, in three characters; without optimisation in two.
#[test]
fn ways_are_what_counting_finds() {
    let characters = if SLOW { 2 } else { 3 };
    for wire in WIRES {
        let theory = Theory::new(wire, characters);
        let bits = wire.bits();
        let mut counted = vec![[0i128; MOST + 1]; 256];
        for pattern in 0u32..1 << (characters * bits) {
            let weight = pattern.count_ones() as usize;
            let rows = || (0..characters).map(|n| pattern >> (n * bits) & ((1 << bits) - 1));
            let unseen = wire == Wire::Bare || rows().all(|r| r.count_ones() % 2 == 0);
            if weight <= MOST && unseen {
                counted[usize::from(rows().fold(0u8, |x, r| x ^ r as u8))][weight] += 1;
            }
        }
        for (columns, counted) in counted.iter().enumerate() {
            let odd = columns.count_ones();
            let ways = core::array::from_fn(|flips| theory.ways(characters, odd, flips));
            assert_eq!(ways, *counted, "odd columns {columns:02X}, parity {}", wire.name());
        }
    }
}

/// Patterns that are not sent one by one are those of which nothing else can come.
#[test]
fn the_short_way_counts_what_the_long_way_counts() {
    let frames = short(if SLOW { 5 } else { 11 });
    assert!(!frames.is_empty());
    // Here three flips make a start elsewhere, so that nothing may be left out.
    let near = short(60).into_iter().find(|f| flips_to_start_elsewhere(f) <= ENUMERATED as u32).expect("one");
    for (frame, most) in frames.iter().map(|f| (f, 3)).chain([(&near, 2)]) {
        for wire in WIRES {
            for weight in 1..=most {
                let mut bench = Bench::new(wire, frame);
                let (short, long) = (bench.all(weight), bench.each(weight));
                assert_eq!(long.runs, long.patterns);
                assert!(short.runs <= long.runs);
                assert_eq!(Tally { runs: 0, ..short }, Tally { runs: 0, ..long }, "{}", support::hex(frame));
            }
        }
    }
}

/// Every pattern of up to three flips; optimised, the table's test does so for all frames.
#[test]
fn few_flips_on_short_frames() {
    for wire in WIRES {
        let theory = Theory::new(wire, 60);
        for frame in short(60) {
            let three = if SLOW && wire == Wire::Bare { 5 } else { 12 };
            let most = if frame.len() <= three { 3 } else { 2 };
            for weight in 1..=most {
                let tally = Bench::new(wire, &frame).all(weight);
                assert_as_reckoned(&theory, &frame, weight, &tally);
                assert!(
                    wire == Wire::Bare || tally.values + tally.delimiter == 0,
                    "{}",
                    support::hex(&frame)
                );
            }
        }
    }
}

/// Every pattern of four flips on short frames, and of up to six on the shortest: rectangles and hexagons.
#[test]
#[cfg_attr(debug_assertions, ignore = "takes long without optimisation")]
fn more_flips_on_short_frames() {
    for (wire, longest, most) in [(Wire::Parity, 12, 4), (Wire::Parity, 5, 6), (Wire::Bare, 5, 5)] {
        let theory = Theory::new(wire, longest);
        let frames = short(longest);
        assert!(!frames.is_empty());
        for frame in frames {
            for weight in 4..=most {
                let tally = Bench::new(wire, &frame).all(weight);
                assert_as_reckoned(&theory, &frame, weight, &tally);
                assert!((tally.values > 0) == (weight % 2 == 0), "{}", support::hex(&frame));
            }
        }
    }
}

/// The part of `frame.md` below the heading [FR-21].
fn notes() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/protocol-notes/frame.md");
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let (_, part) = text.split_once("\n## [FR-21] ").expect("the heading");
    part.split("\n## [").next().expect("a part").to_owned()
}

/// The figures of the notes for up to three flips, by arithmetic alone.
#[test]
fn the_notes_say_what_is_due() {
    let frames = frames();
    let table: Vec<String> = notes().lines().filter(|l| l.starts_with('|')).map(str::to_owned).collect();
    assert_eq!(table.len(), 2 + 2 * MOST);
    for wire in WIRES {
        let theory = Theory::new(wire, 60);
        for weight in 1..=ENUMERATED {
            let mut due = [0i128; 5];
            for f in &frames {
                let u = theory.undetected(f, weight);
                let all = theory.patterns(f.len(), weight);
                let of_frame = [all, u.values, u.delimiter, u.length, u.followed];
                due.iter_mut().zip(of_frame).for_each(|(sum, n)| *sum += n);
            }
            let begin = format!("| {} | {weight} | {} | ", wire.name(), due[0]);
            let row = table.iter().find(|l| l.starts_with(&begin)).expect(&begin);
            let cells: Vec<i128> = row.split(" | ").skip(4).take(4).map(|c| c.parse().expect(c)).collect();
            assert_eq!(cells, due[1..], "{row}");
        }
    }
}

/// The table of [FR-21]: measured anew, as arithmetic says, and as it stands in the notes.
#[test]
#[cfg_attr(debug_assertions, ignore = "takes long without optimisation")]
fn the_table_of_the_notes() {
    let frames = frames();
    let rows = rows(&frames, Bench::all);
    let longest = frames.iter().map(Vec::len).max().expect("frames");
    for row in &rows {
        let what = format!("{} flips, parity {}", row.weight, row.wire.name());
        if row.weight <= ENUMERATED {
            let theory = Theory::new(row.wire, longest);
            for (frame, part) in frames.iter().zip(&row.parts) {
                assert_as_reckoned(&theory, frame, row.weight, &part.tally);
            }
            continue;
        }
        assert!(row.tally().patterns >= 2_000_000, "{what}");
        // Of these arithmetic knows nothing; they are too rare to be drawn.
        assert_eq!(row.tally().elsewhere, 0, "{what}");
        let by_frame = row.parts.iter().map(|p| p.compared());
        for (measured, mean, variance) in by_frame.chain([row.compared()]).flatten() {
            // Five standard deviations; of what is rarer than one a draw five may come.
            let far = 5.0 * variance.sqrt().max(1.0);
            assert!((measured as f64 - mean).abs() <= far, "{what}: {measured} where {mean:.2} are due");
        }
    }
    let rectangles = rows[3].compared()[0];
    assert!(rectangles.1 > 1000.0, "enough rectangles are drawn to tell: {rectangles:?}");
    let table = markdown(&rows);
    assert!(notes().contains(&table), "the table in the notes is not the one measured:\n{table}");
}
