//! The rules and the notes say the same.

use looprig::conform::host_check::{RULES, Strength};
use std::collections::BTreeSet;

fn notes(file: &str) -> String {
    let path = format!("{}/protocol-notes/{file}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// Name, requirement and strength of every row of [HC-02] to [HC-05].
fn rows() -> Vec<[String; 3]> {
    let text = notes("host-check.md");
    let cells = |line: &str| -> Vec<String> { line.split('|').map(|c| c.trim().to_owned()).collect() };
    text.lines()
        .map(cells)
        .filter(|c| c.len() == 6 && ["must", "advice"].contains(&&c[3][..]))
        .map(|c| [c[1].clone(), c[2].clone(), c[3].clone()])
        .collect()
}

#[test]
fn rules_are_those_of_the_notes() {
    let rules: Vec<[String; 3]> =
        RULES.iter().map(|r| [r.slug, r.requirement, r.strength.name()].map(str::to_owned)).collect();
    assert_eq!(rules, rows());
    let names: BTreeSet<&str> = RULES.iter().map(|r| r.slug).collect();
    assert_eq!(names.len(), RULES.len());
}

/// What is from memory, in conflict or ours is no must [HC-01].
#[test]
fn a_must_rests_on_a_source() {
    let all: String = ["frame.md", "link.md", "device.md", "status.md"].map(notes).concat();
    for rule in RULES.iter().filter(|r| r.strength == Strength::Must) {
        let heading = format!("## [{}] ", rule.requirement);
        let behind = all.split(&heading).nth(1).unwrap_or_else(|| panic!("no {}", rule.requirement));
        let grade = behind.lines().nth(1).expect("a grade");
        assert!(grade.starts_with("Grade: H") || grade.starts_with("Grade: M"), "{}: {grade}", rule.slug);
    }
}
