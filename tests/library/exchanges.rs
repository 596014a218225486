//! Every row against data put together by hand from the notes, `fixtures/exchanges`; and which layouts are
//! shown by whose data, `protocol-notes/coverage.md`.
#![cfg(feature = "bench-file")]

use crate::support::coverage::{Content, Line, coverage, page};
use crate::support::exchanges::{ByHand, by_hand};
use crate::support::{fixtures, hex};
use looprig::app::command::{Decoded, Direction, Grade, Layout, Missing, Value, layout, spec};
use serde_json::Value as Json;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// Numbers alike by value, whether written with a point or not; everything else exactly.
fn same(ours: &Json, want: &Json) -> bool {
    match (ours.as_f64(), want.as_f64()) {
        (Some(a), Some(b)) => a == b,
        _ => ours == want,
    }
}

/// What is wrong with a layout's reading of data made by hand, and with making them again.
fn faults(layout: Layout, e: &ByHand) -> Result<(), String> {
    let mut found = Decoded::default();
    layout::decode(layout, &e.data, &mut found);
    if !found.complete || usize::from(found.surplus_from) != e.data.len() {
        return Err(format!("not laid out whole: {found:?}"));
    }
    let got: BTreeMap<String, Json> =
        found.fields.iter().map(|f| (f.name().to_string(), f.value(&e.data).to_json())).collect();
    if !got.keys().eq(e.values.keys()) {
        return Err(format!("the values are {:?}, wanted {:?}", got.keys(), e.values.keys()));
    }
    for (name, want) in &e.values {
        if !same(&got[name], want) {
            return Err(format!("{name} is {}, wanted {want}", got[name]));
        }
    }
    // Made again from what the file says, as a request is: every value must be asked for, none is left over.
    let mut unused: BTreeSet<&str> = e.values.keys().map(String::as_str).collect();
    let again = layout::encode(layout, Missing::Error, &mut |name, kind| {
        unused.remove(name);
        e.values.get(name).map(|json| Value::from_json(kind, json)).transpose()
    });
    match again {
        Ok(octets) if octets != e.data => Err(format!("made again: {}", hex(&octets))),
        Ok(_) if !unused.is_empty() => Err(format!("never asked for: {unused:?}")),
        Ok(_) => Ok(()),
        Err(e) => Err(format!("made again: {e}")),
    }
}

#[test]
fn data_made_by_hand() {
    let all = by_hand();
    let mut wrong = Vec::new();
    for e in &all {
        for &revision in &e.revisions {
            let what = format!("{}: command {}, revision {revision}, {:?}", e.file, e.command, e.direction);
            let Some(form) = spec(e.command).and_then(|s| s.form(revision)) else {
                wrong.push(format!("{what}: no form"));
                continue;
            };
            if let Err(fault) = faults(form.layout(e.direction), e) {
                wrong.push(format!("{what}: {fault}"));
            }
        }
        // The exchange cites the notes of its own command.
        let cites = spec(e.command).map(|s| s.cites);
        assert_eq!(cites, Some(e.cites.as_str()), "{}: command {}", e.file, e.command);
    }
    assert!(wrong.is_empty(), "{} differences:\n{}", wrong.len(), wrong.join("\n"));
    assert!(all.len() > 200, "{} exchanges were read", all.len());
}

/// No exchange has a value twice: fields that changed places would not be noticed.
#[test]
fn values_tell_fields_apart() {
    for e in by_hand() {
        let once: BTreeSet<String> = e.values.values().map(Json::to_string).collect();
        assert_eq!(once.len(), e.values.len(), "{}: command {}, {:?}", e.file, e.command, e.values);
    }
}

/// What is wrong is seen: another value, another name, an octet too many or too few.
#[test]
fn the_check_bites() {
    let mut e = by_hand().into_iter().find(|e| e.command == 35).expect("an exchange of command 35");
    let layout = spec(35).expect("a row").forms[0].layout(e.direction);
    assert_eq!(faults(layout, &e), Ok(()));
    let upper = e.values.insert("upper_range_value".into(), 99.0.into()).expect("there");
    assert!(faults(layout, &e).unwrap_err().contains("upper_range_value"));
    e.values.insert("upper_range_value".into(), upper);
    e.values.insert("damping".into(), 1.0.into());
    assert!(faults(layout, &e).is_err());
    e.values.remove("damping");
    e.data.push(0);
    assert!(faults(layout, &e).is_err());
    e.data.truncate(8);
    assert!(faults(layout, &e).is_err());
}

fn all() -> Vec<Line> {
    coverage(&fixtures(), &crate::support::vectors::rows(), &by_hand())
}

fn names(lines: &[Line], wanted: impl Fn(&Line) -> bool) -> Vec<(u16, Direction)> {
    lines.iter().filter(|l| wanted(l)).map(|l| (l.row.number, l.direction)).collect()
}

/// No layout of grade H or M is without data that show it; all have data made by hand.
#[test]
fn every_layout_is_shown() {
    let lines = all();
    let sure = |l: &Line| l.row.grade != Grade::Recalled && l.content != Content::Unknown;
    assert_eq!(names(&lines, |l| sure(l) && l.is_open()), []);
    assert_eq!(names(&lines, |l| sure(l) && l.by_hand.is_empty()), []);
    // What two sources explain has a layout.
    assert_eq!(names(&lines, |l| l.row.grade == Grade::High && l.content == Content::Unknown), []);
}

/// Without sources everything is open, and one exchange shows one layout.
#[test]
fn coverage_bites() {
    let nothing = coverage(&[], &[], &[]);
    assert!(nothing.iter().all(Line::is_open) && page(&nothing).contains("**open**"));
    let one: Vec<ByHand> = by_hand().into_iter().filter(|e| e.command == 35).take(1).collect();
    let direction = one[0].direction;
    let lines = coverage(&[], &[], &one);
    assert_eq!(names(&lines, |l| !l.is_open()), [(35, direction)]);
}

#[test]
fn the_page_is_up_to_date() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocol-notes/coverage.md");
    let there = fs::read_to_string(path).unwrap_or_default();
    let ours = page(&all());
    let first = there.lines().zip(ours.lines()).find(|(a, b)| a != b);
    assert!(
        there == ours,
        "protocol-notes/coverage.md differs, first in {first:?}: look at the difference, then make it again with \
         `cargo run --example coverage > protocol-notes/coverage.md`"
    );
}
