//! What was found about a host, for people and for programs.

use super::Format;
use super::table::Table;
use super::text::{plural, write_wrapped};
use crate::conform::host_check::{Evidence, Finding, Report, Strength, Verdict};
use core::fmt::Write;
use serde_json::{Value as Json, json};
use std::collections::BTreeSet;

/// Octets of one frame that are shown in text; JSON has all.
const MOST_OCTETS: usize = 24;

/// Appends the report; `files` are the names of the inputs, by the numbers of [`Evidence::place`].
pub fn write(report: &Report, files: &[String], format: Format, out: &mut String) {
    match format {
        Format::Text => text(report, files, out),
        Format::Json => json(report, files, out),
        Format::Csv => table(report, files).write(Format::Csv, out),
    }
}

/// The outcome in a word, for programs.
fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Nothing => "nothing found",
        Verdict::Advice => "advice",
        Verdict::Broken => "broken",
        Verdict::NothingJudged => "nothing judged",
    }
}

/// Rules of must grade and of advice that were broken.
fn counts(report: &Report) -> (usize, usize) {
    let of = |must: bool| {
        let all = report.findings.iter().filter(|f| (f.rule.strength == Strength::Must) == must);
        // One that is found with several commands or devices is one all the same.
        all.map(|f| (f.rule.requirement, f.rule.slug)).collect::<BTreeSet<_>>().len()
    };
    (of(true), of(false))
}

fn text(report: &Report, files: &[String], out: &mut String) {
    let (must, advice) = counts(report);
    let heard = heard(report);
    let first = match report.verdict() {
        Verdict::Nothing => format!("Nothing found against the host in {heard}."),
        Verdict::Advice => format!("No requirement is broken; {} in {heard}.", plural(advice, "advice")),
        Verdict::Broken => {
            let more = if advice > 0 { format!(", {advice} as advice") } else { String::new() };
            format!("{} broken{more}, in {heard}.", requirements(must))
        }
        Verdict::NothingJudged => "Nothing judged: no request of such a host was heard.".to_owned(),
    };
    write_wrapped(&first.replace("advices", "times advice"), 2, out);
    for f in &report.findings {
        out.push('\n');
        finding(f, files, out);
    }
    if !report.unjudged.is_empty() {
        out.push_str("\nCould not be judged\n");
        for u in &report.unjudged {
            write_wrapped(&format!("  {} [{}]: {}", u.rule.slug, u.rule.requirement, u.why), 4, out);
        }
    }
}

fn requirements(n: usize) -> String {
    if n == 1 { "1 requirement is".into() } else { format!("{n} requirements are") }
}

/// Who has sent how much.
fn heard(report: &Report) -> String {
    let of = ["primary", "secondary"].iter().zip(report.sent).filter(|(_, s)| s.requests > 0);
    let parts: Vec<String> = of
        .map(|(name, s)| {
            let n = usize::try_from(s.requests).unwrap_or(usize::MAX);
            let repeats =
                if s.repeats > 0 { format!(", {} of them repeats", s.repeats) } else { String::new() };
            format!("{} of the {name} master{repeats}", plural(n, "request"))
        })
        .collect();
    if parts.is_empty() { "no request".into() } else { parts.join(" and ") }
}

/// How often, in words.
fn often(f: &Finding) -> String {
    match f.of {
        Some(of) => format!("{} of {of} times", f.times),
        None if f.times == 1 => "once".into(),
        None => format!("{} times", f.times),
    }
}

fn finding(f: &Finding, files: &[String], out: &mut String) {
    let rule = f.rule;
    let device = f.device.map_or(String::new(), |d| format!(", device {d}"));
    let head = format!(
        "{:<7} {} [{}]: the {} master{device}, {}",
        rule.strength.name(),
        rule.slug,
        rule.requirement,
        f.master,
        often(f)
    );
    write_wrapped(&head, 8, out);
    write_wrapped(&format!("        It {}.", rule.title), 8, out);
    let first = if f.times > 1 { "First: " } else { "" };
    write_wrapped(&format!("        {first}{}.", f.says), 8, out);
    for e in &f.evidence {
        let mut line = format!("        {}: ", e.part);
        place(e, files, &mut line);
        for o in e.octets.iter().take(MOST_OCTETS) {
            let _ = write!(line, " {o:02X}");
        }
        if e.octets.len() > MOST_OCTETS {
            let _ = write!(line, " ... ({} octets)", e.octets.len());
        }
        write_wrapped(&line, 10, out);
    }
}

fn place(e: &Evidence, files: &[String], out: &mut String) {
    let (from, to) = (e.from.as_secs_f64(), e.to.as_secs_f64());
    let _ = write!(out, "{from:.4} to {to:.4} s");
    if let Some(p) = e.place {
        let file = files.get(p.file).map_or("", String::as_str);
        let _ = write!(out, ", {file} line {}", p.line);
    }
    out.push(':');
}

fn json(report: &Report, files: &[String], out: &mut String) {
    let (must, advice) = counts(report);
    let sent =
        report.sent.map(|s| json!({"requests": s.requests, "repeats": s.repeats, "answered": s.answered}));
    let [primary, secondary] = sent;
    let verdict = json!({
        "verdict": word(report.verdict()), "must": must, "advice": advice, "unjudged": report.unjudged.len(),
        "master": report.judged.master.map(|m| m.name()), "alone": report.judged.alone,
        "primary": primary, "secondary": secondary,
    });
    let _ = writeln!(out, "{verdict}");
    for f in &report.findings {
        let _ = writeln!(out, "{}", finding_json(f, files));
    }
    for u in &report.unjudged {
        let told = json!({"unjudged": u.rule.slug, "requirement": u.rule.requirement, "why": u.why});
        let _ = writeln!(out, "{told}");
    }
}

fn finding_json(f: &Finding, files: &[String]) -> Json {
    let evidence: Vec<Json> = f
        .evidence
        .iter()
        .map(|e| {
            let octets: String = e.octets.iter().map(|o| format!("{o:02X}")).collect();
            json!({
                "part": e.part, "from_ns": e.from.as_nanos(), "to_ns": e.to.as_nanos(),
                "file": e.place.and_then(|p| files.get(p.file)), "line": e.place.map(|p| p.line), "octets": octets,
            })
        })
        .collect();
    json!({
        "finding": f.rule.slug, "requirement": f.rule.requirement, "strength": f.rule.strength.name(),
        "master": f.master.name(), "device": f.device.map(|d| d.to_string()), "command": f.command,
        "times": f.times, "of": f.of, "title": f.rule.title, "says": f.says, "evidence": evidence,
    })
}

fn table(report: &Report, files: &[String]) -> Table {
    let mut t = Table::new(
        "",
        &[
            "strength",
            "finding",
            "requirement",
            "master",
            "device",
            "command",
            "times",
            "of",
            "says",
            "from_s",
            "file",
            "line",
        ],
    );
    for f in &report.findings {
        let e = f.evidence.first();
        let place = e.and_then(|e| e.place);
        let number = |n: Option<u64>| n.map_or(String::new(), |n| n.to_string());
        t.row([
            f.rule.strength.name().to_owned(),
            f.rule.slug.to_owned(),
            f.rule.requirement.to_owned(),
            f.master.to_string(),
            f.device.map_or(String::new(), |d| d.to_string()),
            number(f.command.map(u64::from)),
            f.times.to_string(),
            number(f.of),
            f.says.clone(),
            e.map_or(String::new(), |e| format!("{:.6}", e.from.as_secs_f64())),
            place.and_then(|p| files.get(p.file)).cloned().unwrap_or_default(),
            number(place.map(|p| p.line)),
        ]);
    }
    for u in &report.unjudged {
        t.row(["unjudged", u.rule.slug, u.rule.requirement, "", "", "", "", "", &u.why]);
    }
    t
}
