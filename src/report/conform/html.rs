//! Results of the conformance suite as a page of its own: nothing is fetched from elsewhere, and it prints on A4.

use super::super::plot::plain;
use super::super::text::plural;
use super::{About, address, sections_table, span_words, traffic};
use crate::conform::{CaseResult, End, Results, Verdict};
use core::fmt::Write;

/// Most pieces of traffic of one case, the newest: a log has the rest.
const MOST_WORDS: usize = 40;

const STYLE: &str = "body{font:16px/1.45 system-ui,sans-serif;max-width:60rem;margin:1.5rem auto;padding:0 1rem;\
color:#1a1a1a;background:#fff}h1{font-size:1.4rem}h2{font-size:1.15rem;margin-top:2rem}h3{font-size:1rem;\
margin:0 0 .4rem;overflow-wrap:anywhere}table{border-collapse:collapse;width:100%;font-size:.9rem}\
th,td{text-align:left;padding:.3rem .6rem;border-bottom:1px solid #ccc;vertical-align:top;overflow-wrap:break-word}\
td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}.facts,.facts td{overflow-wrap:anywhere}.facts th{width:11rem;font-weight:600}\
.verdict{font-size:1.2rem;font-weight:600;border:2px solid;padding:.5rem .8rem}.bad{color:#a40000;font-weight:600}\
.look{color:#7a5200;font-weight:600}.ok{color:#1b6b1b;font-weight:600}.quiet{color:#555}\
.caution{border-left:4px solid #a86400;padding:.4rem .8rem;background:#fff7e6;margin:.6rem 0}\
.case{border:1px solid #ccc;border-left:4px solid #999;padding:.6rem .8rem;margin:.8rem 0}.case.counts{border-left-color:#a40000}\
.wire{font:13px/1.5 ui-monospace,monospace;width:auto}.wire td{border:0;padding:.05rem .8rem .05rem 0}\
.wire td:nth-child(-n+2){white-space:nowrap}ul{margin:.2rem 0;padding-left:1.2rem}\
@media screen and (max-width:45rem){td,th{overflow-wrap:anywhere}td:first-child,.sums td,.sums th,.wire td{overflow-wrap:normal}.wire,.sums{display:block;overflow-x:auto}.facts th{width:auto;overflow-wrap:normal}\
.open td:last-child{min-width:9rem}}\
@page{size:A4;margin:15mm}@media print{body{margin:0;padding:0;max-width:none;font-size:10pt}h2,h3{break-after:avoid}\
tr,.caution,.verdict{break-inside:avoid}thead{display:table-header-group}}";

/// The results as a whole page: verdict, who was judged, counts, each fail with its traffic, what was not judged and why, every case.
/// Whatever comes from the wire means nothing to a browser.
pub fn html(r: &Results, about: &About) -> String {
    let device = format!("Device {}", super::named(r));
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{0}: conformance</title><style>{STYLE}</style></head><body>\n<h1>{0}: does it keep to the protocol?</h1>\n",
        plain(&device)
    );
    let (class, words) = verdict(r);
    let _ = writeln!(out, "<p class=\"verdict {class}\">{}</p>", plain(&words));
    for note in unfinished(r) {
        let _ = writeln!(out, "<p class=\"look\">{}</p>", plain(&note));
    }
    facts(r, about, &mut out);
    cautions(r, &mut out);
    counts(r, &mut out);
    fails(r, about, &mut out);
    unjudged(r, &mut out);
    every_case(r, &mut out);
    out.push_str("</body></html>\n");
    out
}

/// The verdict as the exit code has it, with the class of its colour.
fn verdict(r: &Results) -> (&'static str, String) {
    let n = r.counts();
    let open = n.inconclusive + n.skipped + n.bench_errors + r.not_run.len();
    let rest = if open > 0 { format!(" {} not judged.", are(open)) } else { String::new() };
    let judged = n.judged();
    match r.exit_code() {
        0 => {
            let besides = match n.known + n.advised {
                0 => "none fails".to_owned(),
                _ => format!("no fail counts ({} accepted beforehand, {} of an advice)", n.known, n.advised),
            };
            ("ok", format!("PASS: {} judged, {besides}.{rest}", plural(judged, "case")))
        }
        1 if n.failed > 0 => ("bad", format!("FAIL: {} of {judged} judged cases.{rest}", n.failed)),
        1 if !r.stale.is_empty() => {
            ("bad", format!("FAIL: the list of known deviations is out of date.{rest}"))
        }
        1 => {
            let cases = plural(n.inconclusive, "inconclusive case");
            ("bad", format!("FAIL: {cases}; in this run (--strict) such cases count as fails."))
        }
        _ if judged == 0 => ("look", "NO VERDICT: no case was judged.".to_owned()),
        _ => (
            "look",
            format!("NO VERDICT: {} judged, but the run is not sound; see below.", plural(judged, "case")),
        ),
    }
}

fn are(n: usize) -> String {
    format!("{} {}", plural(n, "case"), if n == 1 { "was" } else { "were" })
}

/// What a person has to know before anything else: how it ended, what is left changed in the device.
fn unfinished(r: &Results) -> Vec<String> {
    let mut out = Vec::new();
    match &r.end {
        End::Complete => {}
        End::LineLost(why) => {
            let first = why.lines().next().unwrap_or("");
            out.push(format!("The line was lost: {first}; {} not run.", are(r.not_run.len())));
        }
        End::Interrupted => out.push(format!("Interrupted; {} not run.", are(r.not_run.len()))),
    }
    out.extend(
        r.not_put_back().map(|left| format!("NOT PUT BACK: {left}. Look at the device before it is used.")),
    );
    out.extend(r.stale.iter().map(|k| {
        format!(
            "{} is in the list of known deviations, and it passes: take it out of the list ({}).",
            k.id, k.reason
        )
    }));
    out
}

fn row(head: &str, text: &str, out: &mut String) {
    let _ = writeln!(out, "<tr><th>{}</th><td>{}</td></tr>", plain(head), plain(text));
}

fn facts(r: &Results, about: &About, out: &mut String) {
    out.push_str("<table class=\"facts\">\n");
    row("tag", if r.device.tag.is_empty() { "none is told" } else { &r.device.tag }, out);
    row("unique address", &address(r), out);
    let claims = r.device.claims;
    let as_new = r.device.revision.to_string();
    let judged_by =
        if as_new == claims.to_string() { String::new() } else { format!("; judged as revision {as_new}") };
    row("protocol revision", &format!("{claims} by its own words{judged_by}"), out);
    if let Some(polling) = r.device.polling {
        row("polling address", &polling.to_string(), out);
    }
    // Reply to command 0 [CM-000]: what octets 1 and 2 mean depends on the revision.
    if let Some(&[_, a, b, _, _, device, software, ..]) = r.device.identity.first_chunk::<12>() {
        let kind = match claims {
            0..=6 => format!("manufacturer code {a}, device type {b}"),
            _ => format!("expanded device type {a:02X}{b:02X} (hex)"),
        };
        row("kind of device", &kind, out);
        row("revision of device", &device.to_string(), out);
        row("revision of software", &software.to_string(), out);
    }
    row("line", &r.line, out);
    row("log", about.log.as_deref().unwrap_or("none was kept"), out);
    let requests = plural(usize::try_from(r.requests).unwrap_or(usize::MAX), "request");
    let lasted = format!(
        "{:.1} s by the line's clock, {requests}, {} damaged{}",
        r.lasted.as_secs_f64(),
        plural(usize::try_from(r.damaged).unwrap_or(usize::MAX), "frame"),
        if r.damaged > 0 { " (cases provoke some)" } else { "" }
    );
    row("run", &lasted, out);
    if r.strict {
        row("strict", "yes: inconclusive cases and advice count as fails", out);
    }
    let made = about.made.replace('T', " ");
    row("report", &format!("{made} UTC, looprig {}", env!("CARGO_PKG_VERSION")), out);
    out.push_str("</table>\n");
}

fn cautions(r: &Results, out: &mut String) {
    let ran = |f: fn(&CaseResult) -> bool| r.cases.iter().any(|c| c.verdict.is_judged() && f(c));
    let mut all = vec![
        "These cases show how one device answered on one day, on one line. They are no certificate, and whether a device may be used \
         in a plant is not for them to say: follow local rules and the people who are licensed for that.",
    ];
    if ran(|c| c.case.needs.writes || c.case.needs.moves) {
        all.push(
            "Cases of this run wrote to the device and put back what they changed. Its counter of configuration changes and its flags \
             stay changed. Compare its settings before it goes back into service.",
        );
    }
    if ran(|c| c.case.needs.moves) {
        all.push(
            "Cases of this run may have moved the valve or changed the loop current. Before it goes back into service, look where it stands \
             and what holds it there; stay clear of stem, lever and linkage.",
        );
    }
    for caution in all {
        let _ = writeln!(out, "<p class=\"caution\">{}</p>", plain(caution));
    }
}

fn counts(r: &Results, out: &mut String) {
    let table = sections_table(r);
    out.push_str("<h2>How many cases, by section</h2>\n<table class=\"sums\"><thead><tr>");
    let cell = |n: usize, text: &str, what: &str| {
        let class = if n > 0 { " class=\"n\"" } else { "" };
        format!("<{what}{class}>{}</{what}>", plain(text))
    };
    out.extend(table.columns.iter().enumerate().map(|(n, c)| cell(n, &c.replace('_', " "), "th")));
    out.push_str("</tr></thead><tbody>\n");
    let n = r.counts();
    let sums = [n.passed, n.failed, n.known, n.advised, n.inconclusive, n.skipped, n.bench_errors];
    let all = core::iter::once("all".to_owned()).chain(sums.iter().map(usize::to_string)).collect::<Vec<_>>();
    for row in table.rows.iter().chain([&all]) {
        out.push_str("<tr>");
        out.extend(row.iter().enumerate().map(|(n, c)| cell(n, c, "td")));
        out.push_str("</tr>\n");
    }
    out.push_str(
        "</tbody></table>\n<p class=\"quiet\">known: a fail that was accepted beforehand, with a reason. advice: a fail that does not \
         count. inconclusive: this line or this device's state allows no judgement. skip: the case does not concern this device, or \
         nobody allowed what it needs. bench error: something besides the device went wrong.</p>\n\
         <p class=\"quiet\">must: a source has published the requirement. should: not published or not certain, but hosts rely on it. \
         advice: good practice. A name in brackets, such as [LL-02], is that of the requirement in looprig's protocol-notes.</p>\n",
    );
}

fn fails(r: &Results, about: &About, out: &mut String) {
    // Those that count stand first.
    let mut all: Vec<&CaseResult> =
        r.cases.iter().filter(|c| matches!(c.verdict, Verdict::Fail { .. })).collect();
    all.sort_by_key(|c| (!c.counts_as_fail(r.strict), c.known.is_some()));
    let spoilt: Vec<&CaseResult> =
        r.cases.iter().filter(|c| matches!(c.verdict, Verdict::BenchError(_))).collect();
    for (title, cases) in [("Fails", all), ("Spoilt by something besides the device", spoilt)] {
        if cases.is_empty() {
            continue;
        }
        let _ = writeln!(out, "<h2>{title}</h2>");
        for c in cases {
            one(r, c, about, out);
        }
    }
}

/// One case with all that is known about it.
fn one(r: &Results, c: &CaseResult, about: &About, out: &mut String) {
    let counts = c.counts_as_fail(r.strict);
    let (class, word) = verdict_word(r, c);
    let _ = writeln!(
        out,
        "<div class=\"case{}\"><h3><span class=\"{class}\">{word}</span> {} [{}] {}</h3><table class=\"facts\">",
        if counts { " counts" } else { "" },
        plain(c.case.id),
        plain(c.case.requirement),
        c.case.strength.name()
    );
    row("what is checked", c.case.title, out);
    match &c.verdict {
        Verdict::Fail { expected, observed } => {
            row("expected", expected, out);
            row("observed", observed, out);
        }
        Verdict::Skip(why) | Verdict::Inconclusive(why) | Verdict::BenchError(why) => row("reason", why, out),
        Verdict::Pass => {}
    }
    if let Some(reason) = &c.known {
        row("accepted, since", reason, out);
    }
    if let Some(otherwise) = &c.otherwise {
        row("accepted was only", otherwise, out);
    }
    if let Some(times) = c.times.words() {
        row("runs", &times, out);
    }
    row(if about.log.is_some() { "in the log" } else { "when" }, &span_words(c), out);
    out.push_str("</table>\n");
    let (before, rows) = traffic(c, MOST_WORDS);
    if !rows.is_empty() {
        let more = if before > 0 { format!(" ({before} more before)") } else { String::new() };
        let _ = writeln!(
            out,
            "<p class=\"quiet\">On the wire{more}: seconds, way, octets in hex; \"5 x FF\" is five preambles.</p><table class=\"wire\">"
        );
        for row in rows {
            out.push_str("<tr>");
            out.extend(row.iter().map(|text| format!("<td>{}</td>", plain(text))));
            out.push_str("</tr>\n");
        }
        out.push_str("</table>\n");
    }
    out.push_str("</div>\n");
}

/// Class of the colour and the word for a verdict.
fn verdict_word(r: &Results, c: &CaseResult) -> (&'static str, &'static str) {
    match &c.verdict {
        Verdict::Pass => ("ok", "pass"),
        Verdict::Fail { .. } => match (&c.known, c.counts_as_fail(r.strict)) {
            (Some(_), _) => ("look", "known fail"),
            (None, true) => ("bad", "FAIL"),
            (None, false) => ("look", "fail of an advice"),
        },
        Verdict::Skip(_) => ("quiet", "skip"),
        Verdict::Inconclusive(_) if r.strict => ("bad", "inconclusive"),
        Verdict::Inconclusive(_) => ("quiet", "inconclusive"),
        Verdict::BenchError(_) => ("look", "bench error"),
    }
}

/// What was not judged, by reason.
fn unjudged(r: &Results, out: &mut String) {
    let mut groups: Vec<(&str, &str, Vec<&str>)> = Vec::new();
    let mut put = |kind, why, id| match groups.iter_mut().find(|(k, w, _)| (*k, *w) == (kind, why)) {
        Some((_, _, ids)) => ids.push(id),
        None => groups.push((kind, why, vec![id])),
    };
    for c in &r.cases {
        match &c.verdict {
            Verdict::Inconclusive(why) => put("inconclusive", why.as_str(), c.case.id),
            Verdict::Skip(why) => put("skip", why.as_str(), c.case.id),
            _ => {}
        }
    }
    for case in &r.not_run {
        put("not run", "the run ended before", case.id);
    }
    if groups.is_empty() {
        return;
    }
    out.push_str(
        "<h2>Not judged, and why</h2>\n<table class=\"open\"><thead><tr><th></th><th>reason</th><th>cases</th></tr></thead><tbody>\n",
    );
    for (kind, why, ids) in groups {
        let ids: Vec<String> = ids.into_iter().map(plain).collect();
        let _ = writeln!(out, "<tr><td>{kind}</td><td>{}</td><td>{}</td></tr>", plain(why), ids.join("<br>"));
    }
    out.push_str("</tbody></table>\n");
}

fn every_case(r: &Results, out: &mut String) {
    out.push_str(
        "<h2>Every case</h2>\n<table><thead><tr><th></th><th>case</th><th>requirement</th><th>what is checked</th></tr></thead><tbody>\n",
    );
    for c in &r.cases {
        let (class, word) = verdict_word(r, c);
        let strength = c.case.strength.name();
        let _ = writeln!(
            out,
            "<tr><td class=\"{class}\">{word}</td><td>{}</td><td>[{}] {strength}</td><td>{}</td></tr>",
            plain(c.case.id),
            plain(c.case.requirement),
            plain(c.case.title)
        );
    }
    out.push_str("</tbody></table>\n");
}
