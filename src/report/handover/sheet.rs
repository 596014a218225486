//! One sheet to sign on: what a signature is about, on one page of A4 [TV-74].

use super::html::{STYLE, cells, head, head_row, signatures};
use super::rows::{Row, main};
use super::words::{self, clean};
use super::{Beside, CAUTIONS, Handover, fails, findings};
use crate::commission::travel::limits::{Limits, Verdict};
use crate::commission::travel::record::Record;
use crate::report::plot::plain;
use crate::report::text::plural;
use core::fmt::Write;

/// Most tests whose values stand beside each other.
const MOST_TESTS: usize = 3;
/// Most figures, findings and fail actions that stand on it.
const MOST_FIGURES: usize = 14;
const MOST_FIGURES_BESIDE: usize = 10;
const MOST_FINDINGS: usize = 3;
const MOST_FAILS: usize = 3;
/// Most pieces of test equipment.
const MOST_INSTRUMENTS: usize = 2;
/// Most characters of a fact, of a finding, and of all that is not proved.
const FACT: usize = 90;
const FINDING: usize = 160;
const NOT_PROVED: usize = 600;

/// Beside the page's own: less air, so that it is one sheet.
const TIGHT: &str = ".sheet h1{font-size:1.3rem;margin:0}.sheet h2{font-size:1rem;margin:.4rem 0 .1rem}.sheet p,.sheet ul{margin:.1rem 0}\
.sheet .verdict{font-size:1.1rem;padding:.2rem .6rem;margin:.3rem 0}.sheet .broken{font-size:1rem;padding:.2rem .6rem;margin:.3rem 0}\
.sheet .caution{margin:.15rem 0;padding:.05rem .5rem;font-size:.85rem}.sheet table{font-size:.85rem}.sheet .signed td{height:1.9rem}\
.pairs{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(17rem,100%),1fr));gap:0 1rem;font-size:.85rem;margin:.3rem 0}\
.pairs div{border-bottom:1px solid #ccc;overflow-wrap:anywhere}\
@page{margin:12mm}@media print{.sheet{font-size:.9rem;line-height:1.25}.sheet .tight td,.sheet .tight th{padding:.05rem .3rem}}";

/// One page of A4 to sign on: who valve, device and technician are, verdict, findings that count, the figures that have a limit, fail
/// actions, cautions, lines to sign on. It says what else the whole report has. Of more than three tests only their verdict stands on it.
pub fn sheet(records: &[&Record], limits: &Limits, beside_tests: &Beside) -> String {
    let h = Handover::new(records, limits, beside_tests);
    let tag = plain(&clip(&clean(&h.title()), FACT));
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{tag}: valve test, sheet to sign</title><style>{STYLE}{TIGHT}</style></head><body class=\"sheet\">\n<h1>{tag}: valve test</h1>\n"
    );
    head(&h, &mut out);
    counting(&h, &mut out);
    facts(&h, &mut out);
    figures(&h, &mut out);
    actions(&h, &mut out);
    for check in h.beside.checks.iter().take(1) {
        let word = match check.is_good {
            Some(true) => "in order",
            Some(false) => "NOT IN ORDER",
            None => "no verdict",
        };
        let _ = writeln!(out, "<p><b>{}:</b> {word}</p>", plain(&clip(&clean(&check.title), FACT)));
    }
    out.push_str("<h2>Cautions</h2>\n");
    for caution in CAUTIONS {
        let _ = writeln!(out, "<p class=\"caution\">{}</p>", plain(caution));
    }
    let not = clip(&words::does_not_prove(&h).join(" "), NOT_PROVED);
    let _ = writeln!(out, "<p class=\"quiet\"><b>Not proved by this:</b> {}</p>", plain(&not));
    signatures(&h, &mut out);
    out.push_str("</body></html>\n");
    out
}

/// As much of a text as there is room for.
fn clip(text: &str, most: usize) -> String {
    match text.chars().count() <= most {
        true => text.to_owned(),
        false => text.chars().take(most).chain("\u{2026}".chars()).collect(),
    }
}

/// Findings that count; the others are counted.
fn counting(h: &Handover, out: &mut String) {
    let all = findings::told(h);
    // What is beyond its limit stands in the table.
    let counts: Vec<&String> = all.iter().filter(|f| f.counts && !f.is_figure).map(|f| &f.words).collect();
    let others = all.iter().filter(|f| !f.counts).count();
    if !counts.is_empty() {
        out.push_str("<ul>\n");
        for words in counts.iter().take(MOST_FINDINGS) {
            let words = clip(&words.replace('`', ""), FINDING);
            let _ = writeln!(out, "<li class=\"bad\">{}</li>", plain(&words));
        }
        out.push_str("</ul>\n");
    }
    let more = counts.len().saturating_sub(MOST_FINDINGS);
    if more + others > 0 {
        let told = plural(more + others, "more finding");
        let _ = writeln!(out, "<p>{told} in the whole report: read it before you sign.</p>");
    }
}

/// Who it is about: of the test that decides and is the last.
fn facts(h: &Handover, out: &mut String) {
    let Some(last) = h.deciding().last() else { return };
    const WANTED: [&str; 13] = [
        "test",
        "started",
        "by",
        "where",
        "valve",
        "its motion",
        "device's tag",
        "device",
        "unique address",
        "who moved the set point",
        "air supply",
        "ambient",
        "log",
    ];
    out.push_str("<div class=\"pairs\">\n");
    let mut tell = |name: &str, words: &str| {
        let words = clip(&clean(words.trim()), FACT);
        if !words.is_empty() {
            let _ = writeln!(out, "<div><b>{name}:</b> {}</div>", plain(&words));
        }
    };
    for (name, of) in words::FACTS.iter().filter(|(name, _)| WANTED.contains(name)) {
        tell(name, &of(last.record));
    }
    for i in last.record.instruments.iter().take(MOST_INSTRUMENTS) {
        let parts = [&i.name, &i.serial, &i.calibrated, &i.limit].map(|t| t.trim());
        tell("test equipment", &parts.into_iter().filter(|t| !t.is_empty()).collect::<Vec<_>>().join(", "));
    }
    out.push_str("</div>\n");
}

/// The figures that have a limit, those beyond it first.
fn figures(h: &Handover, out: &mut String) {
    if h.tests.len() > MOST_TESTS {
        let _ = writeln!(
            out,
            "<p>The figures of {} stand in the whole report.</p>",
            plural(h.tests.len(), "test")
        );
        return;
    }
    let all = main(h);
    let mut rows: Vec<&Row> = all.iter().filter(|r| r.limit().is_some()).collect();
    if rows.is_empty() {
        return;
    }
    let weight = |row: &&Row| match row.last().map(|j| (&j.verdict, j.figure.value)) {
        Some((Verdict::Beyond, _)) => 0,
        Some((Verdict::NotJudged(_), Some(_))) => 1,
        Some((Verdict::NotJudged(_), None)) => 3,
        _ => 2,
    };
    rows.sort_by_key(weight);
    // Beside each other names have less room, and take more lines.
    let most = if h.tests.len() > 1 { MOST_FIGURES_BESIDE } else { MOST_FIGURES };
    let more = rows.len().saturating_sub(most);
    out.push_str("<h2>Figures that have a limit</h2>\n<div class=\"scroll\"><table class=\"tight plain\">\n");
    head_row(h, &["figure, by the device's own sensor or measured at stem or shaft"], &["limit"], out);
    for row in rows.iter().take(most) {
        let worst = if row.of > 1 { format!(" (worst of {})", row.of) } else { String::new() };
        let label = row.label.replace(", average of up and down", "");
        let _ =
            write!(out, "<tr><td>{}, {}{worst}, {}</td>", plain(&label), row.unit(), words::view(row.view));
        cells(row, out);
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
    if more > 0 {
        let _ = writeln!(out, "<p>{} in the whole report.</p>", plural(more, "more figure"));
    }
}

fn actions(h: &Handover, out: &mut String) {
    let all = fails::screen(h);
    for (came, words) in all.iter().take(MOST_FAILS) {
        let class = match came {
            fails::Came::AsSaid => "ok",
            fails::Came::Otherwise(_) => "bad",
            fails::Came::NotJudged(_) | fails::Came::NotTested(_) => "look",
        };
        let _ = writeln!(
            out,
            "<p><span class=\"{class}\">Fail action:</span> {}</p>",
            plain(&clip(words, FINDING))
        );
    }
    if all.len() > MOST_FAILS {
        let _ = writeln!(
            out,
            "<p>{} in the whole report.</p>",
            plural(all.len() - MOST_FAILS, "more fail action")
        );
    }
}
