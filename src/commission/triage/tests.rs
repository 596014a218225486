//! Beliefs and choices against arithmetic that is shown.

mod known;
mod origins;
mod which;

use super::*;
use crate::commission::person::{Answer, Person, Question};
use proptest::prelude::*;
use std::path::Path;

/// Two causes, two checks; every number of the tests below is computed from these by hand.
const SMALL: &str = r#"
whose = "a test"
[belief]
healthy = 0.5
wrong_answers = 0.0
wrong_readings = 0.0
sure = 0.95
least_bits = 0.001
[[symptom]]
name = "gauge"
words = "gauge"
seen = "person"
values = [{ name = "right", words = "right" }, { name = "low", words = "low" }]
[symptom.check]
question = "What does the gauge show?"
group = "air"
effort_min = 2
[[symptom]]
name = "stem"
words = "stem"
seen = "person"
values = [{ name = "moves", words = "moves" }, { name = "stands", words = "stands" }]
[symptom.check]
question = "Does the stem move?"
group = "mechanics"
effort_min = 2
[[cause]]
name = "supply"
words = "no air"
group = "air"
text = "x"
remedy = "x"
[cause.expects]
gauge = { low = 0.8 }
[[cause]]
name = "stuck"
words = "stuck"
group = "mechanics"
text = "x"
remedy = "x"
workshop = true
[cause.expects]
stem = { stands = [0.2, 0.5, 0.8] }
"#;

fn small() -> Knowledge {
    Knowledge::from_text(SMALL, Path::new("small.toml")).unwrap_or_else(|e| panic!("{e}"))
}

fn finding(symptom: &str, value: &str) -> Finding {
    Finding { symptom: symptom.into(), value: value.into(), from: Origin::Person, words: String::new() }
}

fn share(session: &Session<'_>, cause: Option<usize>) -> f64 {
    session.ranks().iter().find(|r| r.cause == cause).map_or(f64::NAN, |r| r.share)
}

/// Bayes' rule with every likelihood p as 0.005 + 0.99 p [TG-03]: priors 0.5, 0.25, 0.25. "low" is 0.005 on a healthy valve and on a
/// stuck one, 0.797 with no air: 0.25 x 0.797 / (0.25 x 0.797 + 0.75 x 0.005) = 0.19925 / 0.203 = 0.98153.
#[test]
fn a_finding_is_believed_by_bayes_rule() {
    let known = small();
    let mut session = Session::new(&known, false);
    assert!((share(&session, None) - 0.5).abs() < 1e-12);
    assert!(session.add(finding("gauge", "low")));
    assert!((share(&session, Some(0)) - 0.19925 / 0.203).abs() < 1e-9, "{}", share(&session, Some(0)));
    assert_eq!((session.verdict(), session.next()), (Verdict::Likely, None));
    // It speaks for no air by log2(0.797 / 0.005) = 7.3165 bit.
    let (speaks_for, against) = session.evidence(Some(0));
    assert!(against.is_empty() && (speaks_for[0].bits - 7.3165).abs() < 1e-3, "{speaks_for:?}");
    // What the knowledge has no name for is kept and changes nothing.
    assert!(!session.add(finding("smell", "bad")) && !session.add(finding("stem", "sings")));
    assert!((share(&session, Some(0)) - 0.19925 / 0.203).abs() < 1e-9);
    assert_eq!(session.findings().count(), 3);
}

/// Levels: a stem that stands has 0.203, 0.5 and 0.797 at the three; together (0.203 + 0.5 + 0.797) / 3 = 0.5 of a stuck one:
/// 0.25 x 0.5 / (0.25 x 0.5 + 0.75 x 0.005) = 0.125 / 0.12875.
#[test]
fn a_cause_is_believed_at_three_levels() {
    let known = small();
    let mut session = Session::new(&known, false);
    session.add(finding("stem", "stands"));
    assert!((share(&session, Some(1)) - 0.125 / 0.12875).abs() < 1e-9, "{}", share(&session, Some(1)));
    assert_eq!(session.verdict(), Verdict::Workshop);
}

/// A third of the answers wrong: "low" is told on a healthy valve with (2/3) 0.005 + (1/3) 0.995 = 0.335, with no air with
/// (2/3) 0.797 + (1/3) 0.203 = 0.599: 0.25 x 0.599 / (0.25 x 0.599 + 0.75 x 0.335) = 0.14975 / 0.401.
#[test]
fn answers_may_be_wrong() {
    let text = SMALL.replace("wrong_answers = 0.0", "wrong_answers = 0.3333333333333333");
    let known = Knowledge::from_text(&text, Path::new("small.toml")).unwrap_or_else(|e| panic!("{e}"));
    let mut session = Session::new(&known, false);
    session.add(finding("gauge", "low"));
    assert!((share(&session, Some(0)) - 0.14975 / 0.401).abs() < 1e-9, "{}", share(&session, Some(0)));
    // The same of the bus is never wrong here.
    session.add(Finding { from: Origin::Bus, ..finding("gauge", "low") });
    assert!((share(&session, Some(0)) - 0.19925 / 0.203).abs() < 1e-9);
}

/// Doubt before: priors 1/2, 1/4, 1/4 are 1.5 bit. The gauge leaves, by the numbers above, with P(low) = 0.203:
/// 0.203 H(0.0123, 0.9815, 0.0062) + 0.797 H(0.6242, 0.0637, 0.3121), H in bit.
#[test]
fn the_check_that_tells_more_is_asked_first() {
    let known = small();
    let session = Session::new(&known, false);
    let h = |parts: [f64; 3]| -> f64 { parts.iter().map(|p| -p * p.log2()).sum() };
    let low = [0.5 * 0.005, 0.25 * 0.797, 0.25 * 0.005];
    let right = [0.5 * 0.995, 0.25 * 0.203, 0.25 * 0.995];
    let after: f64 = [low, right]
        .map(|joint| {
            let p: f64 = joint.iter().sum();
            p * h(joint.map(|x| x / p))
        })
        .iter()
        .sum();
    let next = session.next().expect("something is to be asked");
    assert_eq!(next.symptom, 0, "the gauge tells more: 0.8 against 0.5 on average");
    assert!((next.bits - (1.5 - after)).abs() < 1e-9, "{} is not {}", next.bits, 1.5 - after);
    // Five times the effort, and the stem goes first.
    let text = SMALL.replacen("effort_min = 2", "effort_min = 10", 1);
    let dear = Knowledge::from_text(&text, Path::new("small.toml")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(Session::new(&dear, false).next().map(|n| n.symptom), Some(1));
    // Both alike: air goes before mechanics, in whichever order the file has them.
    let text = SMALL.replace("[0.2, 0.5, 0.8]", "0.8");
    let (alike, swapped) =
        (text.clone(), text.replace("group = \"air\"\neffort", "group = \"output_stage\"\neffort"));
    for (text, first) in [(alike, 0), (swapped, 1)] {
        let known = Knowledge::from_text(&text, Path::new("small.toml")).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(Session::new(&known, false).next().map(|n| n.symptom), Some(first));
    }
}

/// The workshop goes last, and only for what is mended there [TG-05]. Stuck is: with the gauge right it has, by the numbers above, 0.25 x 0.995 of
/// 0.5 x 0.995 + 0.25 x 0.203 + 0.25 x 0.995 = 0.312, with the gauge low 0.00125 of 0.203, below 0.2.
#[test]
fn no_workshop_for_what_is_mended_on_site() {
    let text = SMALL
        .replace("group = \"mechanics\"\neffort_min", "workshop = true\ngroup = \"mechanics\"\neffort_min");
    let known = Knowledge::from_text(&text, Path::new("small.toml")).unwrap_or_else(|e| panic!("{e}"));
    let best = |gauge: Option<&str>| {
        let mut session = Session::new(&known, false);
        gauge.map(|value| session.add(finding("gauge", value)));
        session.best().map(|n| n.symptom)
    };
    assert_eq!([best(None), best(Some("right")), best(Some("low"))], [Some(0), Some(1), None]);
}

/// What the bus told and no cause explains is never "nothing found": a current above what was sent is no fault that the knowledge has.
#[test]
fn what_nothing_explains_is_told() {
    let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    let mut session = Session::new(&known, false);
    for symptom in &known.symptoms {
        session.add(Finding { from: Origin::Bus, ..finding(&symptom.name, &symptom.values[0].name) });
    }
    assert_eq!(session.verdict(), Verdict::NothingFound);
    let words = "the device reads 13.00 mA where 12.00 mA were sent".to_owned();
    session.add(Finding { from: Origin::Stroke, words, ..finding("current", "more") });
    assert_eq!(session.verdict(), Verdict::Unclear);
    let triage = Triage::of(&session, Vec::new(), String::new());
    assert!(
        triage.remarks[0].contains("no cause explains it: the device reads 13.00 mA"),
        "{:?}",
        triage.remarks
    );
}

/// A value that the knowledge has no name for counts for nothing, and that is told; of the symptom it knows, there is no clean bill [TG-21].
#[test]
fn what_has_no_name_is_told() {
    let known = small();
    let told = |findings: &[(&str, &str)]| {
        let mut session = Session::new(&known, false);
        for (symptom, value) in [("gauge", "right"), ("stem", "moves")].iter().chain(findings) {
            session.add(Finding { from: Origin::Bus, ..finding(symptom, value) });
        }
        Triage::of(&session, Vec::new(), String::new())
    };
    let whole = told(&[]);
    assert_eq!((whole.verdict, whole.remarks.len()), (Verdict::NothingFound, 0));
    let value = told(&[("stem", "sings")]);
    assert_eq!(value.verdict, Verdict::Unclear);
    assert_eq!(
        value.remarks,
        ["The knowledge has no value \"sings\" of \"stem\", so this counts for nothing: stem: sings."]
    );
    // What is no symptom of it at all is told, too: all of it once.
    let symptom = told(&[("smell", "bad"), ("noise", "loud")]);
    assert_eq!(symptom.verdict, Verdict::NothingFound);
    assert_eq!(
        symptom.remarks,
        ["The knowledge has no such symptoms, so these count for nothing: smell (bad), noise (loud)."]
    );
}

/// Somebody who answers from a list, by the names of the symptoms.
struct Says(Vec<(&'static str, Answer)>, Vec<String>);

impl Person for Says {
    fn ask(&mut self, question: &Question) -> Answer {
        self.1.push(question.id.clone());
        let found = self.0.iter().find(|(name, _)| question.id == format!("triage/{name}"));
        found.map_or(Answer::DontKnow, |(_, answer)| answer.clone())
    }
    fn tell(&mut self, _: &str) {}
}

#[test]
fn a_person_is_led_through() {
    let known = small();
    let mut person = Says(vec![("stem", Answer::Choice("stands".into()))], Vec::new());
    let mut session = Session::new(&known, false);
    let triage = ask(&mut session, &mut person, &mut ());
    // The gauge is not known and not asked again.
    assert_eq!(person.1, ["triage/gauge", "triage/stem"]);
    assert_eq!(triage.asked[0].answer, None);
    assert_eq!((triage.causes[0].cause.as_str(), triage.verdict), ("stuck", Verdict::Workshop));
    assert_eq!(triage.next, None, "the gauge was asked for");
    assert_eq!(Triage::from_json(&triage.to_json()), Ok(triage.clone()));
    let kept = triage.answers();
    assert!(kept.contains("\"triage/stem\" = \"stands\"") && kept.contains("\"triage/gauge\" = \"?\""));
    // Healthy as far as can be seen: right and moves. 0.5 x 0.995 x 0.995 / (.. + 0.25 x 0.203 x 0.995 + 0.25 x 0.5 x 0.995).
    let mut person = Says(
        vec![("gauge", Answer::Choice("right".into())), ("stem", Answer::Choice("moves".into()))],
        Vec::new(),
    );
    let triage = ask(&mut Session::new(&known, false), &mut person, &mut ());
    assert_eq!((triage.causes[0].cause.as_str(), triage.verdict), ("", Verdict::NothingFound));
    let right = 0.5 * 0.995 * 0.995;
    let all = right + 0.25 * 0.203 * 0.995 + 0.25 * 0.5 * 0.995;
    assert!((triage.causes[0].share - right / all).abs() < 1e-9);
    // Whoever stops it has what was found so far.
    let mut person = Says(vec![("gauge", Answer::Stop(crate::host::stimulus::Why::Said))], Vec::new());
    let triage = ask(&mut Session::new(&known, false), &mut person, &mut ());
    assert!(!triage.stopped.is_empty() && triage.asked.is_empty());
}

proptest! {
    /// Whatever is told, in whatever order: shares stay shares, the order does not matter, nothing is asked twice.
    #[test]
    fn shares_are_shares(told in proptest::collection::vec((0usize..60, 0usize..4, any::<bool>()), 0..20), swap in any::<u64>()) {
        let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
        let mut all: Vec<Finding> = told
            .iter()
            .map(|&(s, v, by_person)| {
                let symptom = &known.symptoms[s % known.symptoms.len()];
                let from = if by_person { Origin::Person } else { Origin::Bus };
                Finding { from, ..finding(&symptom.name, &symptom.values[v % symptom.values.len()].name) }
            })
            .collect();
        // Of the same symptom the last counts: kept once, so that an order does not change which.
        let mut seen = std::collections::BTreeSet::new();
        all.retain(|f| seen.insert(f.symptom.clone()));
        let mut session = Session::new(&known, false);
        all.iter().for_each(|f| { session.add(f.clone()); });
        let ranks = session.ranks();
        prop_assert!((ranks.iter().map(|r| r.share).sum::<f64>() - 1.0).abs() < 1e-9);
        prop_assert!(ranks.iter().all(|r| (0.0..=1.0 + 1e-12).contains(&r.share)));
        let mut other = Session::new(&known, false);
        let at = swap as usize % (all.len() + 1);
        all[at..].iter().chain(&all[..at]).for_each(|f| { other.add(f.clone()); });
        for (a, b) in ranks.iter().zip(other.ranks()) {
            prop_assert!((a.share - b.share).abs() < 1e-9);
        }
        if let Some(next) = session.next() {
            prop_assert!(all.iter().all(|f| f.symptom != known.symptoms[next.symptom].name));
        }
    }
}
