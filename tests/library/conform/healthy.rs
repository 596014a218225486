//! Healthy mocks: no case fails on them.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::conform::{Results, Verdict};
use looprig::device::DeviceConfig;

fn no_fail(results: &Results) {
    assert!(results.passed(), "{results}");
    for c in &results.cases {
        assert!(!matches!(c.verdict, Verdict::Inconclusive(_)), "{}: {:?}", c.case.id, c.verdict);
    }
    let advised = results.counts().advised;
    assert_eq!(advised, 0, "{results}");
}

#[test]
fn positioners() {
    for revision in REVISIONS {
        no_fail(&judge(Bent::new(config(revision)), "*"));
    }
}

#[test]
fn transmitters() {
    for revision in REVISIONS {
        no_fail(&judge(Bent::new(transmitter(revision)), "*"));
    }
}

/// Healthy devices that are set up so that what is seldom can be seen: write protect on, writes that take their time.
#[test]
fn protected_and_slow_ones() {
    for revision in REVISIONS {
        let results = judge(Bent::new(protected(revision)), "*");
        no_fail(&results);
        assert!(results.cases.iter().all(|c| c.not_put_back.is_empty()), "{results}");
    }
    no_fail(&judge(Bent::new(slow()), "*"));
}

fn devices(revision: Revision) -> Vec<DeviceConfig> {
    let mut all = vec![config(revision), transmitter(revision), protected(revision)];
    if revision == Revision::R7 {
        all.push(slow());
    }
    all
}

/// In burst mode, as fast as the wires allow: bursts stand between all requests and answers.
#[cfg(feature = "bench-file")]
#[test]
fn one_in_burst_mode() {
    use looprig::conform::Suite;
    let text = std::fs::read_to_string("fixtures/benches/bursting.toml").expect("the bench");
    let text = text.replace("pace = \"fast\"", "pace = \"wire\"");
    let plan = looprig::bench::check(&text, "bursting.toml".as_ref()).expect("a bench");
    let mut line = looprig::bench::in_process(&plan);
    assert_eq!(looprig::line::Line::pace(&line), looprig::time::Pace::Wire);
    let to = looprig::host::To::parse("0").expect("a polling address");
    let results = Suite::new().writing(true).moving(true).run(&mut line, &to).expect("it answers");
    assert!(results.passed() && results.counts().advised == 0, "{results}");
    assert!(results.counts().passed > 150, "{results}");
}

/// Every case passes on one healthy mock at least: one that is always skipped shows nothing.
#[test]
fn every_case_passes_somewhere() {
    let mut open: Vec<&str> = looprig::conform::all().iter().map(|c| c.id).collect();
    for revision in REVISIONS {
        for device in devices(revision) {
            let results = judge(Bent::new(device), "*");
            open.retain(|id| !results.cases.iter().any(|c| c.case.id == *id && c.verdict == Verdict::Pass));
        }
    }
    assert!(open.is_empty(), "{open:#?}");
}

#[test]
fn revision_is_that_of_the_mock() {
    assert_eq!(judge(Bent::new(config(Revision::R6)), "link/framing").device.claims, 6);
}
