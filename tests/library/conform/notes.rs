//! What cases cite, against the notes.

use looprig::conform::{Strength, all};
use std::collections::{BTreeMap, BTreeSet};

/// Grade of every requirement in `protocol-notes/`.
fn grades() -> BTreeMap<String, String> {
    let mut grades = BTreeMap::new();
    let directory = concat!(env!("CARGO_MANIFEST_DIR"), "/protocol-notes");
    for entry in std::fs::read_dir(directory).expect("the notes") {
        let path = entry.expect("an entry").path();
        let text = std::fs::read_to_string(&path).unwrap_or_default();
        let mut id = String::new();
        for line in text.lines() {
            if let Some((heading, _)) = line.strip_prefix("## [").and_then(|l| l.split_once(']')) {
                id = heading.to_owned();
            }
            if let Some((grade, _)) = line.strip_prefix("Grade: ").and_then(|l| l.split_once(" · ")) {
                grades.entry(id.clone()).or_insert_with(|| grade.to_owned());
            }
        }
    }
    grades
}

/// A must cites a published requirement: H or M. What is recalled, or our own decision, is never a must.
#[test]
fn a_must_is_published() {
    let grades = grades();
    for case in all() {
        let grade = grades.get(case.requirement).map(String::as_str);
        assert!(grade.is_some(), "{}: [{}] has no grade", case.id, case.requirement);
        let published = matches!(grade, Some("H" | "M"));
        assert!(published || case.strength != Strength::Must, "{}: {grade:?} is no must", case.id);
    }
}

#[test]
fn ids_are_sections_and_slugs() {
    let mut seen = BTreeSet::new();
    for case in all() {
        assert!(seen.insert(case.id), "{} twice", case.id);
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        let parts: Vec<&str> = case.id.split('/').collect();
        assert!(
            parts.len() >= 2 && parts.iter().all(|p| !p.is_empty() && p.chars().all(plain)),
            "{}",
            case.id
        );
        assert!(!case.title.ends_with('.') && !case.title.is_empty(), "{}", case.id);
    }
}
