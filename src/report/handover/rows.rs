//! Figures of several tests beside each other.

use super::Handover;
use super::words;
use crate::commission::travel::figures::{Definition, Figure, Line, Runs, View};
use crate::commission::travel::limits::{Judged, Verdict};
use std::collections::BTreeMap;

/// The same figure of every test.
pub struct Row<'a> {
    pub label: String,
    pub view: View,
    pub group: Group,
    /// One for each test, in their order.
    pub cells: Vec<Option<&'a Judged>>,
    /// Of how many figures the cells are the worst; 1: of themselves.
    pub of: usize,
}

/// What belongs under one heading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    Static,
    Straight,
    Creep,
    Steps,
    Strokes,
    Fails,
    Angles,
}

impl Group {
    pub const ALL: [Group; 7] = [
        Group::Static,
        Group::Straight,
        Group::Creep,
        Group::Steps,
        Group::Strokes,
        Group::Fails,
        Group::Angles,
    ];

    pub fn of(d: Definition) -> Group {
        use Definition::*;
        match d {
            AccuracyAbove | AccuracyBelow | DeviationClosed | DeviationOpen | Hysteresis | Repeatability
            | LeverError => Group::Static,
            NonLinearity(..) => Group::Straight,
            DeadBand | Resolution => Group::Creep,
            DeadTime | T63 | T86 | Overshoot | Settling => Group::Steps,
            StrokeTime => Group::Strokes,
            FailTime | FailPlace => Group::Fails,
            EndAngle | MidAngle => Group::Angles,
        }
    }

    pub fn title(self) -> &'static str {
        match self {
            Group::Static => "Accuracy, hysteresis, repeatability",
            Group::Straight => "Non-linearity by its usual definitions",
            Group::Creep => "Dead band and resolution",
            Group::Steps => "Step responses",
            Group::Strokes => "Stroke times",
            Group::Fails => "Fail action",
            Group::Angles => "Lever angles",
        }
    }
}

impl<'a> Row<'a> {
    /// The figure of the last test that has it.
    pub fn last(&self) -> Option<&'a Judged> {
        self.cells.iter().rev().find_map(|c| *c)
    }

    pub fn unit(&self) -> &'static str {
        self.last().map_or("", |j| words::unit(&j.figure))
    }

    pub fn limit(&self) -> Option<f64> {
        self.last().and_then(|j| j.limit)
    }
}

/// Which of two figures weighs more: a verdict before a value, a larger value before a smaller one.
fn weight(j: &Judged) -> (u8, f64) {
    let rank = match (&j.verdict, j.figure.value, j.limit) {
        (Verdict::Beyond, ..) => 4,
        (Verdict::NotJudged(_), Some(_), Some(_)) => 3,
        (Verdict::Within, ..) => 2,
        (_, Some(_), None) => 1,
        (_, None, _) => 0,
    };
    (rank, j.figure.value.map_or(0.0, f64::abs))
}

/// Rows by a key of each figure; of several with the same key in one test the one that weighs most.
fn collect<'a>(
    h: &'a Handover,
    mut key: impl FnMut(usize, &Figure) -> Option<String>,
    label: fn(&Figure) -> String,
) -> Vec<Row<'a>> {
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    let mut rows: Vec<(Row, Vec<usize>)> = Vec::new();
    for (n, test) in h.tests.iter().enumerate() {
        for j in &test.judged {
            let Some(key) = key(n, &j.figure) else { continue };
            let at = *places.entry(key).or_insert_with(|| {
                let (view, group) = (j.figure.view, Group::of(j.figure.definition));
                let cells = vec![None; h.tests.len()];
                rows.push((
                    Row { label: label(&j.figure), view, group, cells, of: 1 },
                    vec![0; h.tests.len()],
                ));
                rows.len() - 1
            });
            let (row, counts) = &mut rows[at];
            counts[n] += 1;
            row.of = row.of.max(counts[n]);
            let cell = &mut row.cells[n];
            if cell.is_none_or(|old: &Judged| weight(j) > weight(old)) {
                *cell = Some(j);
            }
        }
    }
    let mut rows: Vec<Row> = rows.into_iter().map(|r| r.0).collect();
    rows.sort_by_key(|r| r.group);
    rows
}

/// What identifies a figure in its test, but for its turn.
fn same(f: &Figure) -> String {
    format!("{} {:?} {:?}", f.definition.id(), f.view, f.about)
}

/// Every figure by itself: the second of the same kind of one test beside the second of another.
pub fn all<'a>(h: &'a Handover) -> Vec<Row<'a>> {
    let mut turns: BTreeMap<(usize, String), usize> = BTreeMap::new();
    let key = |n: usize, f: &Figure| {
        let turn = turns.entry((n, same(f))).or_default();
        *turn += 1;
        Some(format!("{} {turn}", same(f)))
    };
    collect(h, key, words::figure)
}

/// Few rows: of steps and places the worst, of non-linearity what has a limit or is the average against the independent line.
pub fn main<'a>(h: &'a Handover) -> Vec<Row<'a>> {
    let about = |f: &Figure| match Group::of(f.definition) {
        Group::Creep | Group::Steps => String::new(),
        _ => words::about(f),
    };
    let key = |_: usize, f: &Figure| {
        let kept = match f.definition {
            Definition::NonLinearity(Line::Independent, Runs::Average) => true,
            Definition::NonLinearity(..) => h.limits.judge(f.clone()).limit.is_some(),
            _ => true,
        };
        kept.then(|| format!("{} {:?} {}", f.definition.id(), f.view, about(f)))
    };
    let label = |f: &Figure| match Group::of(f.definition) {
        Group::Creep | Group::Steps => f.definition.words().to_owned(),
        _ => words::figure(f),
    };
    collect(h, key, label)
}
