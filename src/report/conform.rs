//! Results of the conformance suite as text, JSON and CSV, as a page and as JUnit XML.

mod html;
mod junit;

pub use html::html;
pub use junit::junit;

use super::table::Table;
use super::text::{plural, write_wrapped};
use super::{Format, Options};
use crate::conform::{Case, CaseResult, End, Results, Verdict, Way};
use core::fmt::Write;
use serde_json::{Value as Json, json};

/// Pieces of traffic that text shows of a fail, unless more is asked for.
const FEW: usize = 6;

/// What a report says of itself, besides the results.
#[derive(Clone, Debug, Default)]
pub struct About {
    /// When it is made, UTC to the second, such as `2026-11-30T02:40:00`.
    pub made: String,
    /// Name of the log that was kept meanwhile.
    pub log: Option<String>,
    /// Name of the computer, if it is known.
    pub host: Option<String>,
}

/// The unique address in hex.
fn address(r: &Results) -> String {
    r.device.unique.iter().map(|o| format!("{o:02X}")).collect()
}

/// The device by tag, if it has one, unique address and revision.
fn named(r: &Results) -> String {
    match r.device.tag.as_str() {
        "" => r.device.to_string(),
        tag => format!("{tag}, {}", r.device),
    }
}

/// The part of a log in which a case was.
fn span_words(c: &CaseResult) -> String {
    format!("{} s to {} s", c.span.0, c.span.1)
}

/// The newest `most` pieces of traffic, each with time, way and octets, and how many stand before.
fn traffic(c: &CaseResult, most: usize) -> (usize, Vec<[String; 3]>) {
    let before = c.words.len().saturating_sub(most);
    let row = |w: &crate::conform::Words| [w.at().to_string(), way(w.way).to_owned(), w.hex()];
    (before, c.words[before..].iter().map(row).collect())
}

/// Which way octets went.
fn way(way: Way) -> &'static str {
    if way == Way::Sent { "sent" } else { "came" }
}

/// Appends the list of cases.
pub fn write_list(cases: &[Case], options: Options, out: &mut String) {
    let title = match options.format {
        Format::Text => plural(cases.len(), "case"),
        Format::Json | Format::Csv => String::new(),
    };
    let mut table = Table::new(title, &["case", "requirement", "strength", "needs", "shows"]);
    for c in cases {
        table.row([c.id, c.requirement, c.strength.name(), &c.needs.words(), c.title]);
    }
    if options.format != Format::Text {
        return table.write(options.format, out);
    }
    let _ = writeln!(out, "{}", table.title);
    for c in cases {
        let needs = c.needs.words();
        let needs = if needs.is_empty() { needs } else { format!(" ({needs})") };
        let _ = writeln!(out, "{} [{}] {}", c.id, c.requirement, c.strength.name());
        write_wrapped(&format!("  {}{needs}", c.title), 2, out);
    }
}

/// Appends the results of a run.
pub fn write(results: &Results, options: Options, out: &mut String) {
    match options.format {
        Format::Text => write_text(results, options, out),
        Format::Json => write_json(results, out),
        Format::Csv => write_csv(results, out),
    }
}

fn write_text(r: &Results, options: Options, out: &mut String) {
    let judged = r.cases.len();
    let device = format!("Device {} on {}", named(r), r.line);
    write_wrapped(&device, 2, out);
    let _ = writeln!(
        out,
        "{}, {}, {:.1} s by the line's clock\n",
        plural(judged, "case"),
        plural(usize::try_from(r.requests).unwrap_or(usize::MAX), "request"),
        r.lasted.as_secs_f64()
    );
    sections_table(r).write(Format::Text, out);
    for c in &r.cases {
        if options.verbosity > 0 && c.verdict == Verdict::Pass {
            let _ = writeln!(out, "pass {} [{}]", c.case.id, c.case.requirement);
        }
    }
    for c in &r.cases {
        if let Verdict::Fail { expected, observed } = &c.verdict {
            write_fail(r, c, expected, observed, options, out);
        }
    }
    let reason = |c: &CaseResult| match &c.verdict {
        Verdict::BenchError(why) => Some(("spoilt by something besides the device", why.clone())),
        Verdict::Inconclusive(why) => Some(("inconclusive", why.clone())),
        Verdict::Skip(why) => Some(("skipped", why.clone())),
        _ => None,
    };
    for kind in ["spoilt by something besides the device", "inconclusive", "skipped"] {
        let mut groups: Vec<(String, Vec<&str>)> = Vec::new();
        for c in &r.cases {
            let Some((_, why)) = reason(c).filter(|(k, _)| *k == kind) else { continue };
            match groups.iter_mut().find(|(w, _)| *w == why) {
                Some((_, ids)) => ids.push(c.case.id),
                None => groups.push((why, vec![c.case.id])),
            }
        }
        for (why, ids) in groups {
            let _ = writeln!(out);
            write_wrapped(&format!("{kind}: {why}"), 2, out);
            for id in ids {
                let _ = writeln!(out, "  {id}");
            }
        }
    }
    write_end(r, out);
}

/// How many cases ended how, a row a section.
fn sections_table(r: &Results) -> Table {
    let mut table = Table::new(
        "",
        &["section", "pass", "fail", "known", "advice", "inconclusive", "skip", "bench_error"],
    );
    let mut sections: Vec<&str> = Vec::new();
    for c in &r.cases {
        if !sections.contains(&c.case.section()) {
            sections.push(c.case.section());
        }
    }
    for section in sections {
        let of = |f: &dyn Fn(&CaseResult) -> bool| match r
            .cases
            .iter()
            .filter(|c| c.case.section() == section && f(c))
            .count()
        {
            0 => String::new(),
            n => n.to_string(),
        };
        let fails = |c: &CaseResult| matches!(c.verdict, Verdict::Fail { .. });
        table.row([
            section.to_owned(),
            of(&|c| c.verdict == Verdict::Pass),
            of(&|c| c.counts_as_fail(r.strict)),
            of(&|c| fails(c) && c.known.is_some()),
            of(&|c| fails(c) && c.known.is_none() && !c.counts_as_fail(r.strict)),
            of(&|c| matches!(c.verdict, Verdict::Inconclusive(_))),
            of(&|c| matches!(c.verdict, Verdict::Skip(_))),
            of(&|c| matches!(c.verdict, Verdict::BenchError(_))),
        ]);
    }
    table
}

/// The word for a fail: one that counts, one that was known, one that is an advice alone.
fn fail_word(r: &Results, c: &CaseResult) -> &'static str {
    match (&c.known, c.counts_as_fail(r.strict)) {
        (Some(_), _) => "known",
        (None, true) => "FAIL",
        (None, false) => "advice",
    }
}

fn write_fail(
    r: &Results,
    c: &CaseResult,
    expected: &str,
    observed: &str,
    options: Options,
    out: &mut String,
) {
    let word = fail_word(r, c);
    let (red, plain) = if options.colour && word == "FAIL" { ("\x1b[31m", "\x1b[0m") } else { ("", "") };
    let _ = writeln!(
        out,
        "\n{red}{word}{plain} {} [{}] {}",
        c.case.id,
        c.case.requirement,
        c.case.strength.name()
    );
    let mut line = |name: &str, text: &str| write_wrapped(&format!("  {name:<9} {text}"), 12, out);
    line("shows", c.case.title);
    line("expected", expected);
    line("observed", observed);
    if let Some(reason) = &c.known {
        line("known", reason);
    }
    if let Some(otherwise) = &c.otherwise {
        line("list", &format!("it is a known deviation, but with another observation: {otherwise}"));
    }
    if let Some(times) = c.times.words() {
        line("runs", &times);
    }
    line("log", &span_words(c));
    if c.known.is_some() && options.verbosity == 0 {
        return;
    }
    let few = if options.verbosity == 0 { FEW } else { c.words.len() };
    let skip = c.words.len().saturating_sub(few);
    if skip > 0 {
        let _ = writeln!(out, "    ({skip} more before; -v shows them)");
    }
    for w in &c.words[skip..] {
        let way = way(w.way);
        let at = if options.times { format!("{} ", w.at()) } else { String::new() };
        write_wrapped(&format!("    {at}{way} {}", w.hex()), 8, out);
    }
}

fn write_end(r: &Results, out: &mut String) {
    let c = r.counts();
    for known in &r.stale {
        let _ = writeln!(out);
        write_wrapped(
            &format!(
                "FAIL {} is a known deviation, and it passes: take it out of the list ({})",
                known.id, known.reason
            ),
            2,
            out,
        );
    }
    for left in r.not_put_back() {
        let _ = writeln!(out);
        write_wrapped(&format!("NOT PUT BACK: {left}; look at the device before it is used"), 2, out);
    }
    match &r.end {
        End::Complete => {}
        End::LineLost(why) => {
            let _ = writeln!(out);
            let first = why.lines().next().unwrap_or("");
            write_wrapped(
                &format!("The line was lost: {first}; {} not run", plural(r.not_run.len(), "case")),
                2,
                out,
            );
        }
        End::Interrupted => {
            let _ = writeln!(out, "\nInterrupted; {} not run", plural(r.not_run.len(), "case"));
        }
    }
    let mut parts = vec![format!("{} passed", c.passed), format!("{} failed", c.failed + r.stale.len())];
    for (n, what) in [
        (c.known, "known"),
        (c.advised, "advised"),
        (c.inconclusive, "inconclusive"),
        (c.skipped, "skipped"),
        (c.bench_errors, "spoilt"),
    ] {
        if n > 0 {
            parts.push(format!("{n} {what}"));
        }
    }
    let nothing = if c.judged() == 0 { "; nothing was judged" } else { "" };
    let _ = writeln!(out, "\n{}{nothing}.", parts.join(", "));
    if r.strict && c.inconclusive + c.advised > 0 {
        let _ = writeln!(out, "In this run (--strict) inconclusive cases and advice count as fails.");
    } else if c.advised > 0 {
        let _ = writeln!(out, "Advice is good practice: it counts as a fail with --strict alone.");
    }
}

/// One case as an object; `words` of the traffic where it was kept.
fn case_json(r: &Results, c: &CaseResult) -> Json {
    let mut o = json!({
        "case": c.case.id,
        "requirement": c.case.requirement,
        "strength": c.case.strength.name(),
        "shows": c.case.title,
        "verdict": c.verdict.name(),
        "counts": c.counts_as_fail(r.strict),
        "from_ns": c.span.0.as_nanos(),
        "to_ns": c.span.1.as_nanos(),
    });
    let Some(map) = o.as_object_mut() else { return o };
    match &c.verdict {
        Verdict::Pass => {}
        Verdict::Fail { expected, observed } => {
            map.insert("expected".into(), json!(expected));
            map.insert("observed".into(), json!(observed));
        }
        Verdict::Skip(why) | Verdict::Inconclusive(why) | Verdict::BenchError(why) => {
            map.insert("reason".into(), json!(why));
        }
    }
    if let Some(known) = &c.known {
        map.insert("known".into(), json!(known));
    }
    if let Some(otherwise) = &c.otherwise {
        map.insert("known_otherwise".into(), json!(otherwise));
    }
    if c.times.run > 1 {
        map.insert("runs".into(), json!({ "failed": c.times.failed, "run": c.times.run }));
    }
    if !c.words.is_empty() {
        let words = c.words.iter().map(|w| {
            json!({
                "t_ns": w.at().as_nanos(),
                "way": if w.way == Way::Sent { "sent" } else { "received" },
                "octets": w.hex(),
            })
        });
        map.insert("traffic".into(), words.collect());
    }
    if !c.not_put_back.is_empty() {
        map.insert("not_put_back".into(), json!(c.not_put_back));
    }
    o
}

fn write_json(r: &Results, out: &mut String) {
    for c in &r.cases {
        let _ = writeln!(out, "{}", case_json(r, c));
    }
    let n = r.counts();
    let (ended, why) = match &r.end {
        End::Complete => ("complete", None),
        End::LineLost(why) => ("line lost", Some(why)),
        End::Interrupted => ("interrupted", None),
    };
    let end = json!({
        "ended": ended,
        "why": why,
        "line": r.line,
        "device": address(r),
        "tag": r.device.tag,
        "revision": r.device.claims,
        "passed": n.passed,
        "failed": n.failed,
        "known": n.known,
        "advised": n.advised,
        "inconclusive": n.inconclusive,
        "skipped": n.skipped,
        "bench_errors": n.bench_errors,
        "stale_known": r.stale.iter().map(|k| k.id.as_str()).collect::<Vec<_>>(),
        "not_run": r.not_run.iter().map(|c| c.id).collect::<Vec<_>>(),
        "requests": r.requests,
        "lasted_s": r.lasted.as_secs_f64(),
        "exit_code": r.exit_code(),
    });
    let _ = writeln!(out, "{end}");
}

fn write_csv(r: &Results, out: &mut String) {
    let columns =
        ["case", "requirement", "strength", "verdict", "expected", "observed", "reason", "from_s", "to_s"];
    let mut table = Table::new("", &columns);
    for c in &r.cases {
        let (expected, observed, reason) = match &c.verdict {
            Verdict::Pass => ("", "", ""),
            Verdict::Fail { expected, observed } => {
                (expected.as_str(), observed.as_str(), c.known.as_deref().unwrap_or(""))
            }
            Verdict::Skip(why) | Verdict::Inconclusive(why) | Verdict::BenchError(why) => {
                ("", "", why.as_str())
            }
        };
        let (from, to) = (c.span.0.to_string(), c.span.1.to_string());
        table.row([
            c.case.id,
            c.case.requirement,
            c.case.strength.name(),
            c.verdict.name(),
            expected,
            observed,
            reason,
            &from,
            &to,
        ]);
    }
    table.write(Format::Csv, out);
}
