//! Results of the conformance suite as JUnit XML, which systems that build and test software read.
//!
//! No standard defines that format. This is what the schemas in circulation have in common: the order of elements and the attributes
//! of the strict one, which is Ant's, and those of `tests/support/junit-10.xsd`. A suite is a section; a case's class is its section and
//! requirement, its name the slug. The last suite, `run`, tells what concerns no single case, so that a file without failures and
//! errors means exit code 0 and the other way round.

use super::super::plot::plain;
use super::{About, span_words, traffic};
use crate::conform::{Case, CaseResult, End, Results, Verdict};
use core::fmt::Write;
use core::time::Duration;

/// Most pieces of traffic behind a failure, the newest: a log has the rest.
const MOST_WORDS: usize = 60;

/// What becomes of a case in this format.
enum Outcome {
    Passed,
    /// A message, its kind in a word, and a text of lines.
    Failure(String, &'static str, String),
    Error(String, &'static str, String),
    Skipped(String),
}

/// One `testcase`.
struct Entry {
    class: String,
    name: String,
    lasted: Duration,
    outcome: Outcome,
}

/// The results as a whole JUnit XML file.
///
/// A fail that counts is a `failure`, so are a known deviation that passes and, where that counts, an inconclusive case. Skipped and
/// inconclusive cases, known deviations, advice that does not count and cases that were not begun are `skipped` with the reason. What
/// was spoilt by something besides the device is an `error`.
pub fn junit(r: &Results, about: &About) -> String {
    let mut sections: Vec<&str> = Vec::new();
    for case in r.cases.iter().map(|c| &c.case).chain(&r.not_run) {
        if !sections.contains(&case.section()) {
            sections.push(case.section());
        }
    }
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites>\n");
    for (id, section) in sections.iter().enumerate() {
        let begun = r.cases.iter().filter(|c| c.case.section() == *section);
        let mut entries: Vec<Entry> = begun.map(|c| entry(r, c)).collect();
        entries.extend(r.not_run.iter().filter(|c| c.section() == *section).map(|c| not_begun(r, c)));
        suite(section, id, &entries, r, about, &mut out);
    }
    suite("run", sections.len(), &of_the_run(r), r, about, &mut out);
    out.push_str("</testsuites>\n");
    out
}

/// Sections as the packages of a class, as those who show such files take them apart.
fn class(case: &Case) -> String {
    format!("{}.{}", case.section().replace('/', "."), case.requirement)
}

fn slug(case: &Case) -> String {
    case.id.rsplit('/').next().unwrap_or_default().to_owned()
}

fn entry(r: &Results, c: &CaseResult) -> Entry {
    let stale = r.stale.iter().find(|k| k.id == c.case.id);
    let outcome = match &c.verdict {
        Verdict::Pass => match stale {
            None => Outcome::Passed,
            Some(known) => Outcome::Failure(
                "it is in the list of known deviations, and it passes: take it out of the list".into(),
                "known deviation that passes",
                format!("reason in the list: {}\n", known.reason),
            ),
        },
        Verdict::Fail { expected, observed } => {
            let said = format!("expected {expected}; observed {observed}");
            match &c.known {
                _ if c.counts_as_fail(r.strict) => {
                    Outcome::Failure(said, c.case.strength.name(), details(c, expected, observed))
                }
                Some(reason) => Outcome::Skipped(format!("known deviation ({reason}): {said}")),
                None => Outcome::Skipped(format!("fails, but is an advice alone: {said}")),
            }
        }
        Verdict::Skip(why) => Outcome::Skipped(why.clone()),
        Verdict::Inconclusive(why) if r.strict => {
            Outcome::Failure(format!("inconclusive: {why}"), "inconclusive", why.clone())
        }
        Verdict::Inconclusive(why) => Outcome::Skipped(format!("inconclusive: {why}")),
        Verdict::BenchError(why) => Outcome::Error(why.clone(), "bench error", shown(c)),
    };
    Entry { class: class(&c.case), name: slug(&c.case), lasted: c.span.1 - c.span.0, outcome }
}

fn not_begun(r: &Results, case: &Case) -> Entry {
    let why = match r.end {
        End::LineLost(_) => "not run: the line was lost before",
        End::Interrupted | End::Complete => "not run: interrupted before",
    };
    Entry {
        class: class(case),
        name: slug(case),
        lasted: Duration::ZERO,
        outcome: Outcome::Skipped(why.into()),
    }
}

/// What concerns the run as a whole.
fn of_the_run(r: &Results) -> Vec<Entry> {
    let error = |wrong: Option<String>, kind| match wrong {
        None => Outcome::Passed,
        Some(wrong) => Outcome::Error(wrong.clone(), kind, wrong),
    };
    let ended = match &r.end {
        End::Complete => None,
        End::LineLost(why) => Some(format!("the line was lost: {why}")),
        End::Interrupted => Some("interrupted".to_owned()),
    };
    let left: Vec<&str> = r.not_put_back().map(String::as_str).collect();
    let left = (!left.is_empty()).then(|| left.join("\n"));
    let judged = (r.counts().judged() == 0).then(|| "no case was judged".to_owned());
    [
        ("every-selected-case-is-run", error(ended, "run ended early")),
        ("something-is-judged", error(judged, "nothing judged")),
        ("what-was-changed-is-put-back", error(left, "not put back")),
    ]
    .map(|(name, outcome)| Entry { class: "run".into(), name: name.into(), lasted: Duration::ZERO, outcome })
    .into()
}

/// The text behind a failure.
fn details(c: &CaseResult, expected: &str, observed: &str) -> String {
    let otherwise =
        c.otherwise.as_ref().map_or(String::new(), |o| format!("known deviation only with: {o}\n"));
    let runs = c.times.words().map_or(String::new(), |w| format!("runs: {w}\n"));
    format!(
        "{}\nshows: {}\nrequirement: {}, {}\nexpected: {expected}\nobserved: {observed}\n{otherwise}{runs}log: {}\n{}",
        c.case.id,
        c.case.title,
        c.case.requirement,
        c.case.strength.name(),
        span_words(c),
        shown(c)
    )
}

/// The newest traffic, a line each.
fn shown(c: &CaseResult) -> String {
    let (before, rows) = traffic(c, MOST_WORDS);
    let mut out = if before > 0 { format!("({before} more before)\n") } else { String::new() };
    for [at, way, octets] in rows {
        let _ = writeln!(out, "{at} {way} {octets}");
    }
    out
}

fn suite(name: &str, id: usize, entries: &[Entry], r: &Results, about: &About, out: &mut String) {
    let count = |f: fn(&Outcome) -> bool| entries.iter().filter(|e| f(&e.outcome)).count();
    let _ = writeln!(
        out,
        " <testsuite name=\"{}\" id=\"{id}\" package=\"looprig\" tests=\"{}\" failures=\"{}\" errors=\"{}\" skipped=\"{}\" \
         time=\"{}\" timestamp=\"{}\" hostname=\"{}\">",
        plain(name),
        entries.len(),
        count(|o| matches!(o, Outcome::Failure(..))),
        count(|o| matches!(o, Outcome::Error(..))),
        count(|o| matches!(o, Outcome::Skipped(_))),
        seconds(entries.iter().map(|e| e.lasted).sum()),
        plain(&about.made),
        attribute(about.host.as_deref().unwrap_or("localhost")),
    );
    out.push_str("  <properties>\n");
    let strict = if r.strict { "yes" } else { "no" };
    for (key, value) in [
        ("device", super::address(r)),
        ("tag", r.device.tag.clone()),
        ("revision", r.device.claims.to_string()),
        ("line", r.line.clone()),
        ("log", about.log.clone().unwrap_or_default()),
        ("strict", strict.to_owned()),
        ("looprig", env!("CARGO_PKG_VERSION").to_owned()),
    ] {
        let _ = writeln!(out, "   <property name=\"{key}\" value=\"{}\"/>", attribute(&value));
    }
    out.push_str("  </properties>\n");
    for e in entries {
        one(e, out);
    }
    out.push_str("  <system-out></system-out>\n  <system-err></system-err>\n </testsuite>\n");
}

fn one(e: &Entry, out: &mut String) {
    let _ = write!(
        out,
        "  <testcase name=\"{}\" classname=\"{}\" time=\"{}\"",
        plain(&e.name),
        plain(&e.class),
        seconds(e.lasted)
    );
    let (what, message, kind, text) = match &e.outcome {
        Outcome::Passed => return out.push_str("/>\n"),
        Outcome::Skipped(why) => {
            let _ = writeln!(out, ">\n   <skipped message=\"{}\"/>\n  </testcase>", attribute(why));
            return;
        }
        Outcome::Failure(message, kind, text) => ("failure", message, kind, text),
        Outcome::Error(message, kind, text) => ("error", message, kind, text),
    };
    let _ = writeln!(
        out,
        ">\n   <{what} message=\"{}\" type=\"{kind}\">{}</{what}>\n  </testcase>",
        attribute(message),
        plain(text)
    );
}

/// Text of an attribute: line ends and tabs, which a reader would turn into spaces, as references.
fn attribute(text: &str) -> String {
    plain(text).replace('\n', "&#10;").replace('\t', "&#9;")
}

/// Seconds with three decimals, the most that the schema allows.
fn seconds(d: Duration) -> String {
    format!("{:.3}", d.as_secs_f64())
}
