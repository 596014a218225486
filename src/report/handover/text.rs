//! The report on the screen, to be read at arm's length: lines of at most 72 columns, the verdict first.

use super::fails::Came;
use super::findings::Finding;
use super::rows::{Row, main};
use super::words::{self, clean, headline, short};
use super::{Beside, CAUTIONS, Handover, One, Overall, fails, findings, points};
use crate::commission::travel::figures::View;
use crate::commission::travel::limits::{Judged, Limits, Verdict};
use crate::commission::travel::record::{Record, Test, Watch};
use crate::report::text::write_wrapped_to;
use core::fmt::Write;

/// Columns of a line.
const WIDTH: usize = 72;
/// Columns of a verdict.
const VERDICT: usize = 7;
/// Columns of a limit.
const LIMIT: usize = 8;
/// Columns of a value at least, and of a figure's name.
const LEAST: usize = 7;
const NAME: usize = 20;
/// Columns that heads may take together.
const HEADS: usize = 27;
/// Most tests beside each other.
const MOST_BESIDE: usize = 3;

const RED: &str = "1;31";
const YELLOW: &str = "1;33";
const GREEN: &str = "1;32";

/// The report for the screen. `colour`: whether escapes may be used.
pub fn text(records: &[&Record], limits: &Limits, beside: &Beside, colour: bool) -> String {
    let h = Handover::new(records, limits, beside);
    let mut out = String::new();
    head(&h, colour, &mut out);
    for (n, test) in h.tests.iter().enumerate() {
        about(&h, n, test, &mut out);
        if test.record.test == Test::LoopCheck && !test.record.points.is_empty() {
            let _ = writeln!(out);
            points::screen(test.record, &mut out);
        }
    }
    say_findings(&h, colour, &mut out);
    say_fails(&h, colour, &mut out);
    let rows = main(&h);
    for view in [View::Sensor, View::External] {
        table(&h, view, &rows, colour, &mut out);
    }
    how_fine(&h, &mut out);
    say_checks(&h, colour, &mut out);
    if !h.tests.is_empty() {
        let _ = writeln!(out);
        let open = match words::reasons(&h) {
            reasons if reasons.is_empty() => "? no value".to_owned(),
            reasons => format!("? not decided ({reasons}), or no value"),
        };
        wrapped("", &format!("! beyond its limit; {open}; +/- uncertainty."), &mut out);
        wrapped("", &format!("Limits: {}.", clean(&h.limits.whose)), &mut out);
    }
    let _ = writeln!(out, "\nNot shown by this:");
    for line in words::does_not_prove(&h) {
        wrapped("- ", &line, &mut out);
    }
    let _ = writeln!(out);
    for line in CAUTIONS {
        wrapped("! ", line, &mut out);
    }
    out
}

fn tinted(text: &str, code: &str, colour: bool) -> String {
    if colour { format!("\x1b[{code}m{text}\x1b[0m") } else { text.to_owned() }
}

fn wrapped(lead: &str, text: &str, out: &mut String) {
    write_wrapped_to(WIDTH, &format!("{lead}{text}"), lead.len(), out);
}

/// Verdict, what hinders it, and where the set point was left.
fn head(h: &Handover, colour: bool, out: &mut String) {
    let (overall, words, more) = headline(h);
    let code = match overall {
        Overall::Within => GREEN,
        Overall::Beyond => RED,
        Overall::Partial | Overall::NotJudged => YELLOW,
    };
    wrapped("", &clean(&h.title()), out);
    for line in words.split("; ") {
        let mut told = String::new();
        wrapped("", line, &mut told);
        out.extend(told.lines().map(|l| format!("{}\n", tinted(l, code, colour))));
    }
    if !more.is_empty() {
        wrapped("", &more, out);
    }
    for line in words::not_whole(h) {
        wrapped("", &line, out);
    }
    for line in words::compared(h) {
        wrapped("", &line, out);
    }
    if let Some(left) = words::left_last(h) {
        wrapped("", &format!("Set point left: {left}"), out);
    }
}

fn about(h: &Handover, n: usize, test: &One, out: &mut String) {
    let r = test.record;
    let _ = writeln!(out);
    let started = if r.started.is_empty() { "time not known" } else { &r.started };
    let decides = if test.decides { "" } else { " (for comparison)" };
    let head = match (&words::heads(h)[n], words::test(r.test)) {
        (head, kind) if head == "test" || head.starts_with(kind) => kind.to_owned(),
        (head, kind) => format!("{head}: {kind}"),
    };
    wrapped("", &format!("{head}, {}{decides}", clean(started)), out);
    wrapped("  ", &words::valve(r), out);
    wrapped("  ", &words::surroundings(r), out);
    wrapped("  ", &words::link(r), out);
    if let Some(log) = &r.log {
        wrapped("  ", &format!("log {}, {}", clean(&log.name), clean(&log.hash)), out);
    }
    for remark in &r.remarks {
        wrapped("  ", &clean(remark), out);
    }
}

fn say_findings(h: &Handover, colour: bool, out: &mut String) {
    let all = findings::told(h);
    if all.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nFindings:");
    for Finding { counts, words, .. } in all {
        let start = out.len();
        wrapped(if counts { "!! " } else { "-  " }, &words, out);
        if counts {
            // The colour goes in last: escapes have no width.
            out.replace_range(start..start + 2, &tinted("!!", RED, colour));
        }
    }
}

/// Whether the valve went where it is said to go when something was taken away.
fn say_fails(h: &Handover, colour: bool, out: &mut String) {
    let all = fails::screen(h);
    if !all.is_empty() {
        let _ = writeln!(out, "\nFail action:");
    }
    for (came, words) in all {
        let (word, code) = match came {
            Came::AsSaid => ("ok", GREEN),
            Came::Otherwise(_) => ("!!", RED),
            Came::NotJudged(_) | Came::NotTested(_) => ("?", YELLOW),
        };
        let start = out.len();
        wrapped(&format!("{word:3}"), &words, out);
        out.replace_range(start..start + word.len(), &tinted(word, code, colour));
    }
}

/// Checks that are no travel tests.
fn say_checks(h: &Handover, colour: bool, out: &mut String) {
    for check in &h.beside.checks {
        let (word, code) = match check.is_good {
            Some(true) => ("in order", GREEN),
            Some(false) => ("NOT IN ORDER", RED),
            None => ("no verdict", YELLOW),
        };
        let _ = writeln!(out, "\n{}: {}", clean(&check.title), tinted(word, code, colour));
        for line in &check.lines {
            wrapped("- ", &clean(line), out);
        }
    }
}

/// How close the readings stand of which times are made; nothing where nothing was timed.
fn how_fine(h: &Handover, out: &mut String) {
    let heads = words::heads(h);
    let mut lines = Vec::new();
    for (test, head) in h.tests.iter().zip(&heads) {
        let r = test.record;
        let lead = if h.tests.len() > 1 { format!("{head}: ") } else { String::new() };
        let fails: Vec<&Watch> = r.fails.iter().map(|f| &f.watch).collect();
        let of = |steps: &'static str, all: Vec<&Watch>| Some(format!("{steps}, {}", words::every(&all)?));
        let told = [
            of("steps", r.steps.iter().map(|s| &s.watch).collect()),
            of("strokes", r.strokes.iter().map(|s| &s.watch).collect()),
            of("fail actions", fails),
        ];
        let told: Vec<String> = told.into_iter().flatten().collect();
        if !told.is_empty() {
            lines.push(format!("Time resolution: {lead}{}.", told.join("; ")));
        }
    }
    if !lines.is_empty() {
        let _ = writeln!(out);
    }
    lines.iter().for_each(|l| wrapped("", l, out));
}

/// The figures of a view, a row each; nothing where it has none.
fn table(h: &Handover, view: View, rows: &[Row], colour: bool, out: &mut String) {
    let mut rows = rows.iter().filter(|r| r.view == view).peekable();
    if rows.peek().is_none() {
        return;
    }
    let rows: Vec<&Row> = rows.collect();
    let heads = words::heads(h);
    let all: Vec<usize> = (0..h.tests.len()).collect();
    let _ = writeln!(out, "\nSeen {}:", view.words());
    for tests in all.chunks(MOST_BESIDE) {
        columns(&rows, &heads, tests, colour, out);
    }
}

/// The figures of these tests beside each other.
fn columns(rows: &[&Row], heads: &[String], tests: &[usize], colour: bool, out: &mut String) {
    // Wide enough for whatever stands in it, with two blanks in front; where that leaves no room for names, without uncertainties.
    let wide = |whole: bool| {
        let all = rows.iter().flat_map(|r| tests.iter().filter_map(|n| r.cells[*n]));
        2 + all.map(|j| value(j, whole).chars().count()).max().unwrap_or(0).max(LEAST)
    };
    let room = WIDTH - VERDICT - LIMIT - NAME;
    let whole = wide(true) * tests.len() <= room;
    // A head that has room beside the names stands as it is.
    let longest = 2 + tests.iter().map(|n| heads[*n].chars().count()).max().unwrap_or(0);
    let cell = if longest * tests.len() <= HEADS { longest.max(wide(whole)) } else { wide(whole) };
    let label = WIDTH.saturating_sub(VERDICT + LIMIT + cell * tests.len()).max(NAME);
    let told: Vec<(usize, &String)> = tests.iter().map(|n| (*n, &heads[*n])).collect();
    let is_short = |head: &str| head.chars().count() + 2 <= cell;
    let legend: Vec<String> = told
        .iter()
        .filter(|(_, head)| !is_short(head))
        .map(|(n, head)| format!("({}) {head}", n + 1))
        .collect();
    if !legend.is_empty() {
        wrapped("  ", &legend.join("; "), out);
    }
    let mut line = format!("{:VERDICT$}{:label$}", "", "");
    for (n, head) in told {
        let head = if is_short(head) { head.clone() } else { format!("({})", n + 1) };
        let _ = write!(line, "{head:>cell$}");
    }
    let _ = writeln!(out, "{line}{:>LIMIT$}", "limit");
    for row in rows {
        one_row(row, tests, (label, cell, whole), colour, out);
    }
}

fn one_row(row: &Row, tests: &[usize], widths: (usize, usize, bool), colour: bool, out: &mut String) {
    let (label, cell, whole) = widths;
    let word = tests.iter().rev().find_map(|n| row.cells[*n]).map_or("", words::verdict);
    let (short_word, code) = match word {
        "ok" => ("ok", GREEN),
        "BEYOND" => ("BEYOND", RED),
        "" => ("", ""),
        _ => ("?", YELLOW),
    };
    let name = match row.of {
        1 => format!("{}, {}", row.label, row.unit()),
        n => format!("{}, {} (worst of {n})", row.label, row.unit()),
    };
    let mut lines = String::new();
    write_wrapped_to(label - 1, &name, 1, &mut lines);
    for (n, part) in lines.lines().enumerate() {
        if n > 0 {
            let _ = writeln!(out, "{:VERDICT$}{part}", "");
            continue;
        }
        let lead = format!("{short_word:VERDICT$}");
        out.push_str(&if short_word.is_empty() { lead } else { tinted(&lead, code, colour) });
        let _ = write!(out, "{part:label$}");
        for n in tests {
            let _ = write!(out, "{:>cell$}", row.cells[*n].map_or("-".to_owned(), |j| value(j, whole)));
        }
        let limit = row.limit().map_or(String::new(), short);
        let start = out.trim_end().len();
        let _ = writeln!(out, "{limit:>LIMIT$}");
        if limit.is_empty() {
            out.truncate(start);
            out.push('\n');
        }
    }
}

/// A value with its uncertainty in a column; `!` behind one that is beyond its limit.
fn value(j: &Judged, whole: bool) -> String {
    let mark = if j.verdict == Verdict::Beyond { "!" } else { "" };
    let told =
        words::value(j, "+/-").map(|t| if whole { t } else { t.split(' ').next().unwrap_or("").to_owned() });
    told.map_or("none".to_owned(), |t| format!("{t}{mark}"))
}
