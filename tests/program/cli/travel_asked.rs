//! `travel` where less was judged than it looks: limits that leave accuracy out, a set point that was named as travel.

use super::travel::{BENCH, MOCK, bench, travel};
use crate::process::{Ended, run};
use std::fs;
use std::path::Path;

fn with_fault(dir: &Path, name: &str, severity: f64) {
    let fault =
        format!("[[device.valve.fault]]\nname = \"{name}\"\nseverity = {severity}\nfrom_s = 1\n[[line]]\n");
    fs::write(dir.join("bench.toml"), BENCH.replacen("[[line]]\n", &fault, 1)).unwrap();
}

fn head(ended: &Ended) -> String {
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    words.split_once("Set point left").map_or(words.clone(), |(head, _)| head.to_owned())
}

/// [TV-131]: the readme's own file of limits has none for accuracy. A healthy valve is within it; one whose stop has moved rests far below 100 %
/// and is in order nowhere, in a test and in a loop check.
#[test]
fn the_limits_of_the_readme() {
    let readme = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).unwrap();
    let limits =
        readme.split("```toml\n").find(|t| t.starts_with("whose = ")).expect("the readme has limits");
    let limits = limits.split("```").next().unwrap_or("");
    assert!(!limits.contains("accuracy_percent"), "{limits}");
    let dir = bench("travel-readme-limits", "", "a = 1");
    fs::write(dir.join("limits.toml"), limits).unwrap();
    let tested = |test: &[&str]| travel(&dir, &[test, &["--limits", "limits.toml"]].concat());
    let healthy = tested(&["--cycles", "1"]);
    assert_eq!(healthy.code, 0, "{}{}", healthy.err, healthy.out);
    assert!(head(&healthy).contains("no limit, so not judged: accuracy"), "{}", healthy.out);
    with_fault(&dir, "stop_moved", 0.6);
    for test in [&["--cycles", "1"][..], &["--check"]] {
        let ended = tested(test);
        assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
        assert!(head(&ended).contains("NOT IN ORDER"), "{}", ended.out);
        assert!(ended.out.contains("!! Told to go to 100 %"), "{}", ended.out);
    }
}

/// [TV-132]: the primary variable of this device is its set point. Named as travel of a valve that sits fast it is at once wherever it is asked, in one
/// step, in a creep and in a loss alike; of a valve that moves, swapped with its travel, it leads.
#[test]
fn a_set_point_that_was_named_as_travel() {
    let dir = bench("travel-named", "", "a = 1");
    let tested = |test: &[&str]| run(&dir, &[&["travel", MOCK, "--travel", "3:pv"], test].concat());
    let swapped = ["--set-point", "3:sv", "--cycles", "1"];
    let no_verdict = |ended: Ended| {
        assert_eq!(ended.code, 2, "{}{}", ended.err, ended.out);
        assert!(head(&ended).contains("NO VERDICT"), "{}", ended.out);
    };
    no_verdict(tested(&swapped));
    with_fault(&dir, "stem_seized", 1.0);
    for test in [&["--steps=40..60"][..], &["--creep=50"], &["--loss", "air", "--fails-to", "stays"]] {
        no_verdict(tested(&[&["--cycles", "0"], test].concat()));
    }
    // The right way round it is a valve.
    let dir = bench("travel-named-right", "", "a = 1");
    let right =
        ["travel", MOCK, "--travel", "3:sv", "--set-point", "3:pv", "--cycles", "0", "--steps=40..60"];
    let ended = run(&dir, &right);
    assert_eq!(ended.code, 0, "{}{}", ended.err, ended.out);
}
