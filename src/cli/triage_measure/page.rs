//! What was measured as a page of Markdown, as JSON and as CSV.

use super::measure::{Measured, Score, Share};
use super::scene::SEVERITIES;
use crate::report::text::plural;
use core::fmt::Write;
use serde_json::{Value as Json, json};
use std::collections::BTreeMap;

fn percent(of: Share) -> String {
    if of.of == 0 {
        "-".to_owned()
    } else {
        format!("{:.1} % ({} of {})", 100.0 * of.share(), of.hits, of.of)
    }
}

fn name(class: &str) -> &str {
    if class.is_empty() { "nothing found" } else { class }
}

/// The page; `made` says by which command.
pub fn page(m: &Measured, made: &str) -> String {
    let mut out = String::new();
    let _ = write!(
        out,
        "# Fault finding, measured\n\n\
         Made by `{made}`: {}, {} in front of each scene, who answers from the physics, of 100 questions 10\nwrongly and 20 with \"don't \
         know\" [TG-08]. Everything in it is a mock: what real valves do to these shares nobody has measured.\n\n",
        plural(m.valves, "generated valve"),
        plural(m.personas as usize, "person"),
    );
    let row = |what: &str, asked: &str, of: &dyn Fn(&Score) -> String| {
        let own = [of(&m.own), of(&m.alone)].join(" | ");
        format!("| {what} | {asked} | {own} | {} | {} |\n", of(&m.rival), of(&m.rival_sure))
    };
    out += "| | asked for | looprig | looprig, answers only | fixed order of the trade, to the first odd answer | fixed order, stopping as looprig does |\n\
            |---|---|---|---|---|---|\n";
    out += &row("the true class first", "80 %", &|s| percent(s.first));
    out += &row("among the first three", "95 %", &|s| percent(s.three));
    out += &row("questions on a fault, mean", "6", &|s| format!("{:.2}", s.mean_questions()));
    out += &row("false alarm on a healthy valve", "5 %", &|s| percent(s.alarms));
    out += &row("\"nothing found\" told of a healthy valve", "-", &|s| percent(s.told_healthy));
    out += &row("\"nothing found\" told of a valve with a fault", "-", &|s| percent(s.missed));
    out += &row("questions on a healthy valve, mean", "-", &|s| match s.alarms.of {
        0 => "-".to_owned(),
        of => format!("{:.2}", s.healthy_questions as f64 / of as f64),
    });
    out += &row("a cause first on a healthy valve, likely or not", "-", &|s| percent(s.cause_first));
    if m.one_of_two.of > 0 {
        let _ = write!(
            out,
            "\nTwo faults at once: the first named is one of them in {}; it is mended, all is read again, and then\nthe other one is named in {} \
             of all (asked for: 70 %).\n",
            percent(m.one_of_two),
            percent(m.both_of_two)
        );
    }
    by_fault(m, &mut out);
    confused(m, &mut out);
    below(m, &mut out);
    out
}

/// The same for programs.
pub fn object(m: &Measured, made: &str) -> Json {
    let share = |s: Share| json!({ "hits": s.hits, "of": s.of });
    let score = |s: &Score| {
        json!({
            "first": share(s.first), "three": share(s.three), "questions_mean": s.mean_questions(),
            "false_alarms": share(s.alarms), "cause_first_on_healthy": share(s.cause_first),
            "told_healthy": share(s.told_healthy), "missed": share(s.missed),
        })
    };
    let by_fault = m.by_fault.iter().map(|((fault, x), s)| {
        json!({ "fault": fault, "severity_percent": x, "first": share(s.first), "three": share(s.three),
            "questions_mean": s.mean_questions() })
    });
    let below = m
        .below
        .iter()
        .map(|((fault, x), s)| json!({ "fault": fault, "severity_percent": x, "below": share(*s) }));
    let confused =
        m.confused.iter().map(|((truth, first), n)| json!({ "true": truth, "first": first, "sessions": n }));
    json!({
        "made": made, "valves": m.valves, "persons": m.personas, "is_enough": m.is_enough(),
        "looprig": score(&m.own), "looprig_alone": score(&m.alone), "fixed_order": score(&m.rival), "fixed_order_until_sure": score(&m.rival_sure),
        "two_faults": { "one_named": share(m.one_of_two), "both_named": share(m.both_of_two) },
        "by_fault": by_fault.collect::<Vec<_>>(), "below_any_symptom": below.collect::<Vec<_>>(),
        "confused": confused.collect::<Vec<_>>(),
    })
}

/// A row a fault and severity, for spreadsheets.
pub fn rows(m: &Measured) -> String {
    let mut out = String::from("fault,severity_percent,first,three,sessions,questions_mean,below,valves\n");
    for ((fault, x), below) in &m.below {
        let of = m.by_fault.get(&(fault.clone(), *x)).cloned().unwrap_or_default();
        let (first, three) = (of.first, of.three);
        let _ = writeln!(
            out,
            "{fault},{x},{},{},{},{:.3},{},{}",
            first.hits,
            three.hits,
            first.of,
            of.mean_questions(),
            below.hits,
            below.of
        );
    }
    out
}

fn columns() -> [u32; 3] {
    SEVERITIES.map(|x| (100.0 * x).round() as u32)
}

fn faults<T>(of: &BTreeMap<(String, u32), T>) -> Vec<&'static str> {
    let words = crate::bench::fault_words().map(|(word, _)| word);
    words.filter(|w| of.keys().any(|(f, _)| f == w)).collect()
}

fn by_fault(m: &Measured, out: &mut String) {
    *out += "\n## By fault and severity\n\nFirst / among the first three, of so many sessions; mean of the questions. Without the cases below \
             any symptom.\n\n| fault | 0.3 | 0.6 | 1.0 |\n|---|---|---|---|\n";
    for fault in faults(&m.by_fault) {
        let cells = columns().map(|x| match m.by_fault.get(&(fault.to_owned(), x)) {
            Some(s) => {
                format!("{} / {} of {}; {:.1}", s.first.hits, s.three.hits, s.first.of, s.mean_questions())
            }
            None => "-".to_owned(),
        });
        let _ = writeln!(out, "| `{fault}` | {} |", cells.join(" | "));
    }
}

fn confused(m: &Measured, out: &mut String) {
    *out += "\n## What was first where something else is true\n\n| true | first | others first |\n|---|---|---|\n";
    let mut truths: Vec<&String> = m.confused.keys().map(|(truth, _)| truth).collect();
    truths.dedup();
    for truth in truths {
        let of = m.confused.iter().filter(|((t, _), _)| t == truth);
        let mut others: Vec<(&str, usize)> = of.map(|((_, first), n)| (first.as_str(), *n)).collect();
        let all: usize = others.iter().map(|o| o.1).sum();
        let right = others.iter().find(|o| o.0 == truth).map_or(0, |o| o.1);
        others.retain(|o| o.0 != truth);
        others.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
        let words: Vec<String> = others.iter().map(|(first, n)| format!("{} {n}", name(first))).collect();
        let others = if words.is_empty() { "-".to_owned() } else { words.join(", ") };
        let _ = writeln!(out, "| {} | {right} of {all} | {others} |", name(truth));
    }
}

fn below(m: &Measured, out: &mut String) {
    *out += "\n## Below any symptom\n\nLeft out of all shares: on how many of the valves that can have it nothing shows without searching.\n\n\
             | fault | 0.3 | 0.6 | 1.0 |\n|---|---|---|---|\n";
    for fault in faults(&m.below) {
        let of = columns().map(|x| m.below.get(&(fault.to_owned(), x)).copied().unwrap_or_default());
        if of.iter().any(|s| s.hits > 0) {
            let cells =
                of.map(|s| if s.of == 0 { "-".to_owned() } else { format!("{} of {}", s.hits, s.of) });
            let _ = writeln!(out, "| `{fault}` | {} |", cells.join(" | "));
        }
    }
}
