//! The report as a page of its own: nothing is fetched from elsewhere, and it prints on A4.

use super::findings::Finding;
use super::rows::{Group, Row, all, main};
use super::words::{self, clean, headline, number, short};
use super::{Beside, CAUTIONS, Calibrated, Handover, Overall, beside, fails, findings, plots, points};
use crate::commission::travel::figures::View;
use crate::commission::travel::limits::{Judged, Limits, Verdict};
use crate::commission::travel::record::Record;
use crate::report::plot::plain;
use crate::report::worksheet::SIGNED;
use core::fmt::Write;

pub(super) const STYLE: &str = "body{font:16px/1.45 system-ui,sans-serif;max-width:60rem;margin:1.5rem auto;padding:0 1rem;\
color:#1a1a1a;background:#fff}h1{font-size:1.5rem;margin:.2rem 0;overflow-wrap:anywhere}h2{font-size:1.15rem;margin:1.8rem 0 .5rem}\
h3{font-size:1rem;margin:1rem 0 .3rem}table{border-collapse:collapse;width:100%;font-size:.9rem}\
th,td{text-align:left;padding:.3rem .5rem;border-bottom:1px solid #ccc;vertical-align:top;overflow-wrap:anywhere}\
thead th{border-bottom:2px solid #888}td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}td.w,td.n,.plain th.n{white-space:nowrap}\
.facts tbody th{width:11rem;font-weight:600}.tight th,.tight td{padding:.15rem .4rem;overflow-wrap:normal}\
.every td:first-child{width:46%}\
.verdict{font-size:1.3rem;font-weight:700;border:3px solid;padding:.5rem .8rem;margin:.6rem 0}\
.bad{color:#a40000;font-weight:600}.look{color:#7a5200;font-weight:600}.ok{color:#1b6b1b;font-weight:600}.quiet{color:#555;font-size:.88rem}\
.broken{font-size:1.1rem;font-weight:700;color:#7a5200;border:3px double;padding:.4rem .8rem;margin:.6rem 0}\
.caution{border-left:4px solid #a86400;padding:.4rem .8rem;background:#fff7e6;margin:.5rem 0}\
.plots{display:flex;flex-wrap:wrap;gap:1rem}figure{flex:1 1 24rem;max-width:31rem;margin:0;border:1px solid #ddd;padding:.4rem}\
figcaption{font-weight:600;font-size:.92rem}figure p{margin:0}svg{width:100%;height:auto;font:13px system-ui,sans-serif}\
svg .grid{stroke:#e2e2e2;stroke-width:1}svg .halo{stroke:#fff;stroke-width:4px;paint-order:stroke;font-weight:600}\
ul{margin:.3rem 0;padding-left:1.2rem}.scroll{overflow-x:auto}.scroll th,.scroll td{overflow-wrap:break-word}.plain td:first-child{min-width:7.5rem}.signed{table-layout:fixed}.signed td{height:2.8rem}.signed td,.signed th{border:1px solid #888}\
@media screen and (max-width:45rem){body{padding:0 .5rem}.plain td.n,.plain th.n{white-space:normal}.plain th,.plain td{padding:.3rem .25rem}\
.facts tbody th{width:6.5rem}figure{flex-basis:100%}}\
@page{size:A4;margin:15mm;@bottom-right{content:\"page \" counter(page) \" of \" counter(pages);font:9pt sans-serif}}\
@media print{html{font-size:9.5pt}body{margin:0;padding:0;max-width:none;font-size:1rem;print-color-adjust:exact;-webkit-print-color-adjust:exact}\
.plots{display:block;orphans:1;widows:1}figure{display:inline-block;width:47%;margin:.5%;padding:.3%}.scroll{overflow-x:visible}\
.places{font-size:.78rem;line-height:1.2}.places th,.places td{padding:.02rem .35rem}.every{font-size:.8rem;line-height:1.25}.every .quiet{font-size:.76rem}h2{margin:1.1rem 0 .3rem}\
h2,h3,figcaption{break-after:avoid}tr,figure,.caution,.verdict,.broken,.signed,.keep,li{break-inside:avoid}thead{display:table-header-group}}";

/// The report as one page that fetches nothing and prints on A4: verdict, findings, figures with limit and uncertainty, plots, what is known
/// of valve, device, loop and equipment, what is not shown, lines to sign on. Whatever comes from a device or a person means nothing to
/// a browser.
pub fn html(records: &[&Record], limits: &Limits, beside_tests: &Beside) -> String {
    let h = Handover::new(records, limits, beside_tests);
    let tag = plain(&clean(&h.title()));
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{tag}: valve test report</title><style>{STYLE}</style></head><body>\n<h1>{tag}: valve test report</h1>\n"
    );
    head(&h, &mut out);
    say_findings(&h, &mut out);
    figures(&h, &mut out);
    fails::table(&h, &mut out);
    plots::points(&h, &mut out);
    plots::motions(&h, &mut out);
    if !h.tests.is_empty() {
        tests(&h, &mut out);
        equipment(&h, &mut out);
        beside::wiring(&h, &mut out);
    }
    beside::checks(&h, &mut out);
    points::tables(&h, &mut out);
    every_figure(&h, &mut out);
    if !h.tests.is_empty() {
        beside::settings(&h, &mut out);
    }
    end(&h, &mut out);
    out.push_str("</body></html>\n");
    out
}

pub(super) fn head(h: &Handover, out: &mut String) {
    let (overall, words, more) = headline(h);
    for line in words::not_whole(h) {
        let _ = writeln!(out, "<p class=\"broken\">{}</p>", plain(&line));
    }
    let class = match overall {
        Overall::Within => "ok",
        Overall::Beyond => "bad",
        Overall::Partial | Overall::NotJudged => "look",
    };
    let _ = writeln!(out, "<p class=\"verdict {class}\">{}</p>", plain(&words));
    if !more.is_empty() {
        let _ = writeln!(out, "<p>{}.</p>", plain(&more));
    }
    if let Some(left) = words::left_last(h) {
        let _ = writeln!(out, "<p><b>Where the set point was left:</b> {}</p>", plain(&left));
    }
    for line in words::compared(h) {
        let _ = writeln!(out, "<p>{}</p>", plain(&line));
    }
    if !h.tests.is_empty() {
        let _ = writeln!(out, "<p class=\"quiet\">Limits: {}.</p>", plain(&clean(&h.limits.whose)));
    }
}

fn say_findings(h: &Handover, out: &mut String) {
    let all = findings::told(h);
    out.push_str("<h2>Findings</h2>\n");
    if all.is_empty() {
        out.push_str("<p>None.</p>\n");
        return;
    }
    out.push_str("<ul>\n");
    for Finding { counts, words, .. } in all {
        let class = if counts { " class=\"bad\"" } else { "" };
        let _ = writeln!(out, "<li{class}>{}</li>", with_code(&words));
    }
    out.push_str("</ul>\n");
}

/// Text for a browser in which what stands between backticks is what somebody types.
fn with_code(text: &str) -> String {
    let pieces = text.split('`').map(plain).enumerate();
    pieces.map(|(n, p)| if n % 2 == 1 { format!("<code>{p}</code>") } else { p }).collect()
}

/// Class of the colour and the word of a verdict.
fn verdict(j: &Judged) -> (&'static str, &'static str) {
    let class = match (&j.verdict, words::verdict(j)) {
        (Verdict::Within, _) => "ok",
        (Verdict::Beyond, _) => "bad",
        (_, "") => "quiet",
        _ => "look",
    };
    (class, words::verdict(j))
}

pub(super) fn head_row(h: &Handover, first: &[&str], last: &[&str], out: &mut String) {
    out.push_str("<thead><tr>");
    out.extend(first.iter().map(|t| format!("<th>{}</th>", plain(t))));
    for head in words::heads(h) {
        let _ = write!(out, "<th class=\"n\">{}</th>", plain(&head));
    }
    out.extend(last.iter().map(|t| format!("<th class=\"n\">{}</th>", plain(t))));
    out.push_str("</tr></thead><tbody>\n");
}

pub(super) fn cells(row: &Row, out: &mut String) {
    for c in &row.cells {
        match c {
            None => out.push_str("<td class=\"n\">-</td>"),
            Some(j) => {
                let value = words::value(j, "\u{b1} ").unwrap_or_else(|| "no value".to_owned());
                let (class, word) = verdict(j);
                let _ = write!(
                    out,
                    "<td class=\"n\">{} <span class=\"{class}\">{word}</span></td>",
                    plain(&value)
                );
            }
        }
    }
    let limit = row.limit().map_or("-".to_owned(), short);
    let _ = write!(out, "<td class=\"n\">{limit}</td>");
}

/// The main figures, by view.
fn figures(h: &Handover, out: &mut String) {
    let rows = main(h);
    if rows.is_empty() {
        return;
    }
    out.push_str("<h2>Figures</h2>\n");
    for view in [View::Sensor, View::External] {
        let mut of_view = rows.iter().filter(|r| r.view == view).peekable();
        if of_view.peek().is_none() {
            continue;
        }
        let _ = writeln!(
            out,
            "<h3>Seen {}</h3>\n<div class=\"scroll\"><table class=\"plain\">",
            plain(view.words())
        );
        head_row(h, &["figure", "unit"], &["limit"], out);
        for row in of_view {
            let worst = if row.of > 1 { format!(" (worst of {})", row.of) } else { String::new() };
            let _ =
                write!(out, "<tr><td>{}{worst}</td><td class=\"w\">{}</td>", plain(&row.label), row.unit());
            cells(row, out);
            out.push_str("</tr>\n");
        }
        out.push_str("</tbody></table></div>\n");
    }
    let open = match words::reasons(h) {
        reasons if reasons.is_empty() => String::new(),
        reasons => format!("; not decided: {reasons}"),
    };
    let _ = writeln!(
        out,
        "<p class=\"quiet\">A value stands with its uncertainty, either way. Within (ok) and BEYOND hold also if the value is wrong by all \
         of it{open}. The device's own sensor does not see what lies between it and the valve: lever, pin, clamp, coupling.</p>"
    );
}

/// What belongs to each test, a column each.
fn tests(h: &Handover, out: &mut String) {
    out.push_str("<h2>Valve, device and test</h2>\n<table class=\"facts\"><thead><tr><th></th>");
    out.extend(words::heads(h).iter().map(|head| format!("<th>{}</th>", plain(head))));
    out.push_str("</tr></thead><tbody>\n");
    for (name, of) in words::FACTS {
        let values: Vec<String> = h.tests.iter().map(|t| of(t.record)).collect();
        if values.iter().all(String::is_empty) {
            continue;
        }
        let told = |v: &String| plain(&if v.is_empty() { "not noted".to_owned() } else { clean(v) });
        let _ = write!(out, "<tr><th>{name}</th>");
        if values.iter().all(|v| *v == values[0]) {
            let _ = write!(out, "<td colspan=\"{}\">{}</td>", values.len(), told(&values[0]));
        } else {
            out.extend(values.iter().map(|v| format!("<td>{}</td>", told(v))));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>\n");
}

/// Test equipment of all tests, each piece once.
fn equipment(h: &Handover, out: &mut String) {
    let mut all: Vec<[String; 4]> = Vec::new();
    for (i, started) in
        h.tests.iter().flat_map(|t| t.record.instruments.iter().map(|i| (i, &t.record.started)))
    {
        let mut row = [&i.name, &i.serial, &i.calibrated, &i.limit].map(|t| clean(t.trim()));
        if let Some(age) = Calibrated::read(&i.calibrated).ok().and_then(|c| c.age(started)) {
            row[2] += &format!(" ({age})");
        }
        if !all.contains(&row) {
            all.push(row);
        }
    }
    out.push_str("<h2>Test equipment</h2>\n");
    if all.is_empty() {
        out.push_str("<p>None was noted.</p>\n");
        return;
    }
    out.push_str("<table><thead><tr><th>instrument</th><th>serial number</th><th>calibrated</th><th>error limit</th></tr></thead><tbody>\n");
    for row in all {
        out.push_str("<tr>");
        for text in row {
            let text = if text.is_empty() { "not noted" } else { &text };
            let _ = write!(out, "<td>{}</td>", plain(text));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>\n");
}

/// Every figure by itself, with where it was found and what is to be said of it.
fn every_figure(h: &Handover, out: &mut String) {
    let rows = all(h);
    if rows.is_empty() {
        return;
    }
    out.push_str("<h2>Every figure</h2>\n<div class=\"scroll\"><table class=\"tight every\">\n");
    head_row(h, &["figure", "view", "unit"], &["limit"], out);
    for group in Group::ALL {
        let mut of_group = rows.iter().filter(|r| r.group == group).peekable();
        if of_group.peek().is_some() {
            let columns = 4 + h.tests.len();
            let _ = writeln!(out, "<tr><th colspan=\"{columns}\">{}</th></tr>", group.title());
        }
        for row in of_group {
            let note = row.last().map_or("", |j| j.figure.definition.note());
            let _ = write!(out, "<tr><td>{} <span class=\"quiet\">[{note}]", plain(&row.label));
            let remark = |j: &&Judged| {
                let at = j.figure.at_percent.map_or(String::new(), |p| format!("at {} %. ", number(p, 1)));
                let doubt = match j.figure.doubt.as_str() {
                    "" => String::new(),
                    why => format!(" Not judged: {}.", clean(why)),
                };
                format!("{at}{}{doubt}", clean(&j.figure.remark)).trim().to_owned()
            };
            let remarks: Vec<String> =
                row.cells.iter().map(|c| c.as_ref().map_or(String::new(), remark)).collect();
            // What is the same of all tests is said once.
            let is_one = remarks.iter().all(|r| *r == remarks[0]);
            for (remark, head) in
                remarks.iter().zip(words::heads(h)).take(if is_one { 1 } else { remarks.len() })
            {
                let lead = if is_one { String::new() } else { format!("{head}: ") };
                if !remark.is_empty() {
                    let _ = write!(out, "<br>{}", plain(&format!("{lead}{remark}")));
                }
            }
            let _ = write!(
                out,
                "</span></td><td>{}</td><td class=\"w\">{}</td>",
                words::view(row.view),
                row.unit()
            );
            cells(row, out);
            out.push_str("</tr>\n");
        }
    }
    out.push_str(
        "</tbody></table></div>\n<p class=\"quiet\">A name in brackets, such as [TV-08], is that of the definition in looprig's protocol-notes.</p>\n",
    );
}

/// Cautions, what is not shown, signatures.
fn end(h: &Handover, out: &mut String) {
    out.push_str("<h2>Cautions</h2>\n");
    for caution in CAUTIONS {
        let _ = writeln!(out, "<p class=\"caution\">{}</p>", plain(caution));
    }
    out.push_str("<h2>What this report does not prove</h2>\n<ul>\n");
    for line in words::does_not_prove(h) {
        let _ = writeln!(out, "<li>{}</li>", plain(&line));
    }
    out.push_str("</ul>\n");
    signatures(h, out);
}

/// Lines to sign on, and what made the page.
pub(super) fn signatures(h: &Handover, out: &mut String) {
    out.push_str(
        "<div class=\"keep\"><h2>Signed</h2>\n<table class=\"signed\"><thead><tr><th></th><th>name</th><th>date and time</th>\
         <th>signature</th></tr></thead><tbody>\n",
    );
    for who in SIGNED {
        let _ = writeln!(out, "<tr><td>{}</td><td></td><td></td><td></td></tr>", plain(who));
    }
    out.push_str("</tbody></table></div>\n");
    let made =
        if h.beside.made.is_empty() { String::new() } else { format!(", made {}", clean(h.beside.made)) };
    let _ = writeln!(
        out,
        "<p class=\"quiet\">Report by looprig {}{}</p>",
        env!("CARGO_PKG_VERSION"),
        plain(&made)
    );
}
