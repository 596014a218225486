//! What follows from what was collected: symptoms with their values. Thresholds are our own [TG-10].

mod moved;
mod read;
mod times;

use super::{Stroke, Watched};
use crate::commission::travel::record::Sample;
use crate::commission::triage::{Finding, Origin};

/// The symptoms of a [`Watched`], in the order in which they are known. What the line does not tell gives none.
pub fn findings(watched: &Watched) -> Vec<Finding> {
    let mut out = Found(Vec::new());
    read::from_the_bus(watched, &mut out);
    moved::from_strokes(watched, &mut out);
    times::from_strokes(watched, &mut out);
    out.0
}

struct Found(Vec<Finding>);

impl Found {
    fn add(&mut self, from: Origin, symptom: &str, value: &str, words: String) {
        self.0.push(Finding { symptom: symptom.to_owned(), value: value.to_owned(), from, words });
    }

    fn bus(&mut self, symptom: &str, value: &str, words: String) {
        self.add(Origin::Bus, symptom, value, words);
    }

    fn stroke(&mut self, symptom: &str, value: &str, words: String) {
        self.add(Origin::Stroke, symptom, value, words);
    }
}

/// Numbers with their times that are finite, in order of time.
fn numbers(samples: &[Sample]) -> Vec<(f64, f64)> {
    let finite = |s: &Sample| Some((s.at_s, s.percent?)).filter(|(t, p)| t.is_finite() && p.is_finite());
    samples.iter().filter_map(finite).collect()
}

fn finite(x: Option<f64>) -> Option<f64> {
    x.filter(|x| x.is_finite())
}

fn mean(of: &[f64]) -> Option<f64> {
    (!of.is_empty()).then(|| of.iter().sum::<f64>() / of.len() as f64).filter(|x| x.is_finite())
}

/// The one in the middle.
fn median(mut of: Vec<f64>) -> Option<f64> {
    of.retain(|x| x.is_finite());
    of.sort_by(f64::total_cmp);
    of.get(of.len() / 2).copied()
}

/// Where a stroke ended, percent.
fn rest(stroke: &Stroke) -> Option<f64> {
    mean(&numbers(&stroke.at_rest).iter().map(|s| s.1).collect::<Vec<_>>())
}

/// Largest less smallest.
fn span(of: &[(f64, f64)]) -> f64 {
    let (least, most) = of.iter().fold((f64::MAX, f64::MIN), |a, s| (a.0.min(s.1), a.1.max(s.1)));
    (most - least).max(0.0)
}

#[cfg(test)]
mod tests;
