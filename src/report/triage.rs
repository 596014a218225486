//! What came of fault finding, as text for a terminal, as a page and as a part of the report that is handed over [TG-07].

use super::handover::OtherCheck;
use super::handover::clean;
use super::plot::plain;
use super::text::{plural, write_wrapped_to};
use crate::commission::triage::{Origin, Told, Triage, Verdict, Weighed};
use core::fmt::Write;

/// Columns of a line: read at arm's length, so no wider than a small terminal.
const WIDTH: usize = 80;
/// No more than these are told for a cause, and against it.
const MOST_EVIDENCE: usize = 5;
/// From how many bits on something speaks strongly, and clearly (own choice): 16 times as likely, 4 times.
const STRONGLY: f64 = 4.0;
const CLEARLY: f64 = 2.0;

/// What it does not prove, a sentence each.
pub const DOES_NOT_PROVE: [&str; 3] = [
    "A rank of causes is a judgement from what was seen, and no measurement: look before you take anything apart.",
    "Two faults at once look like one, or like a third: after mending, do it again.",
    "How likely a cause is rests on likelihoods that somebody has set, not on statistics of plants.",
];

/// What "nothing found" leaves open.
const NOT_EXCLUDED: &str = "What shows little is not excluded by \"nothing found\": a spring that has lost force, a stage that drifts, a tight packing.";

/// How strongly something speaks, in numbers.
const STRENGTHS: &str = "How strongly something seen speaks: a little, it is up to 4 times as likely with this cause as with the others (against: with the others); clearly, up to 16 times; strongly, more.";

/// What goes before all of it.
pub const CAUTION: &str = "Permit, isolation and the rules of the site go first; work on valve, air and loop is for those who may do it. Stored air and springs move \
                           a valve that looks dead.";

/// The first line: the outcome in words.
pub fn headline(triage: &Triage) -> String {
    let Some(first) = triage.causes.first() else { return "Nothing was looked at.".to_owned() };
    let percent = percent(first.share);
    let is_unsure = triage.which_valve.as_ref().is_some_and(|w| w.answer.is_none());
    match triage.verdict {
        Verdict::Unclear if is_unsure => {
            format!(
                "Unclear: it is not sure which valve answers. First so far: {} ({percent}).",
                named(first)
            )
        }
        // Who stopped it has not seen all.
        Verdict::NothingFound if !triage.stopped.is_empty() => {
            let seen = plural(triage.findings.len(), "finding");
            format!(
                "Nothing unusual in {seen} as far as it went ({percent}), and it did not come to its end."
            )
        }
        Verdict::NothingFound => {
            format!("Nothing found: all that was seen is as on a healthy valve ({percent}).")
        }
        Verdict::Likely => format!("Likely: {} ({percent}).", named(first)),
        Verdict::Workshop => format!("Likely, and for the workshop: {} ({percent}).", named(first)),
        Verdict::Unclear
            if first.cause.is_empty() && first.share >= 0.5 && !triage.unexplained.is_empty() =>
        {
            let seen: Vec<String> = triage.unexplained.iter().map(|f| clean(&f.told())).collect();
            let seen = seen.join("; ");
            format!("Unclear: all else is as on a healthy valve ({percent}), but this was seen: {seen}.")
        }
        Verdict::Unclear
            if first.cause.is_empty() && first.share >= 0.5 && hardly_looked_at(triage).is_some() =>
        {
            let (unknown, of) = hardly_looked_at(triage).unwrap_or_default();
            format!(
                "Unclear: what was read is as on a healthy valve ({percent}), and {unknown} of {of} checks at the valve were not done."
            )
        }
        Verdict::Unclear if first.share >= 0.5 && looks_again(triage) => format!(
            "Unclear: by all else {} ({percent}), but its own check was answered as on a healthy valve: look at it again.",
            named(first)
        ),
        Verdict::Unclear if first.workshop && first.share >= 0.5 => {
            format!("Unclear as yet: {} ({percent}), but it is looked at on site first.", named(first))
        }
        Verdict::Unclear if first.cause.is_empty() => {
            format!("Unclear: something may be wrong, and nothing stands out (healthy: {percent}).")
        }
        Verdict::Unclear => {
            format!("Unclear: nothing stands out. First of all: {} ({percent}).", named(first))
        }
    }
}

/// Whether the next check is one that a person has answered: that of the first cause, as on a healthy valve [TG-57].
fn looks_again(triage: &Triage) -> bool {
    let next = triage.next.as_ref().filter(|_| triage.causes.first().is_some_and(|c| !c.cause.is_empty()));
    next.is_some_and(|n| triage.findings.iter().any(|f| f.symptom == n.symptom && f.from == Origin::Person))
}

/// How many checks were asked for and not done, and of how many, where that is most of them [TG-29].
fn hardly_looked_at(triage: &Triage) -> Option<(usize, usize)> {
    let unknown = triage.asked.iter().filter(|a| a.answer.is_none()).count();
    Some((unknown, triage.asked.len())).filter(|(unknown, of)| 2 * unknown > *of)
}

/// What is not proved by this outcome.
fn does_not_prove(triage: &Triage) -> impl Iterator<Item = &'static str> {
    let more = (triage.verdict == Verdict::NothingFound).then_some(NOT_EXCLUDED);
    more.into_iter().chain(DOES_NOT_PROVE)
}

/// What is to be done for a cause, and by whom.
fn remedy(told: &Told) -> String {
    let whose = if told.workshop { "A workshop's job. " } else { "" };
    format!("{whose}{}", told.remedy)
}

/// A cause with those that cannot be told apart from it.
fn named(told: &Told) -> String {
    let others: Vec<String> = told.same_class.iter().map(|c| c.replace('_', " ")).collect();
    match others.is_empty() {
        true => told.words.clone(),
        false => format!("{} (or: {}; they look alike)", told.words, others.join(", ")),
    }
}

fn percent(share: f64) -> String {
    let p = share * 100.0;
    if p >= 99.5 { "over 99 %".to_owned() } else { format!("{p:.0} %") }
}

/// How strongly something speaks.
fn strength(bits: f64) -> &'static str {
    match bits.abs() {
        b if b >= STRONGLY => "strongly",
        b if b >= CLEARLY => "clearly",
        _ => "a little",
    }
}

fn said(w: &Weighed) -> String {
    let f = &w.finding;
    format!("{} ({}; {})", clean(&f.told()), f.from.words(), strength(w.bits))
}

fn wrapped(lead: &str, text: &str, out: &mut String) {
    write_wrapped_to(WIDTH, &format!("{lead}{}", clean(text)), lead.len(), out);
}

/// Who goes on where nothing stands out and no check tells more: the workshop, if most of what may be wrong is mended there.
fn no_check_left(triage: &Triage) -> &'static str {
    let share = |workshop: bool| -> f64 {
        triage.causes.iter().filter(|c| !c.cause.is_empty() && c.workshop == workshop).map(|c| c.share).sum()
    };
    match share(true) > share(false) {
        true => "No check is left that would tell more: the positioner goes to a workshop, with this sheet.",
        false => {
            "No check is left that would tell more: somebody who knows this loop and this valve goes on from here, with this sheet."
        }
    }
}

/// Whether what is done for a cause is worth telling: it is likely, or the first.
fn is_told_whole(place: usize, told: &Told) -> bool {
    !told.cause.is_empty() && (place == 0 || told.share >= 0.2)
}

/// The outcome for a terminal, 80 columns.
pub fn text(triage: &Triage) -> String {
    let mut out = String::new();
    if !triage.stopped.is_empty() {
        wrapped("", &format!("NOT WHOLE: {}.", triage.stopped), &mut out);
    }
    wrapped("", &headline(triage), &mut out);
    for (place, told) in triage.causes.iter().enumerate() {
        let words = if told.cause.is_empty() { told.words.clone() } else { named(told) };
        out.push('\n');
        wrapped(&format!("{}. ", place + 1), &format!("{words}, {}", percent(told.share)), &mut out);
        for (lead, list) in [("   for      ", &told.speaks_for), ("   against  ", &told.speaks_against)] {
            for w in list.iter().take(MOST_EVIDENCE) {
                wrapped(lead, &said(w), &mut out);
            }
        }
        if is_told_whole(place, told) {
            wrapped("   to do    ", &remedy(told), &mut out);
            for caution in &told.cautions {
                wrapped("   ! ", caution, &mut out);
            }
        }
    }
    if let Some(next) = &triage.next {
        out.push('\n');
        wrapped(&format!("Next check ({:.0} min): ", next.effort_min), &next.question, &mut out);
        for caution in &next.cautions {
            wrapped("   ! ", caution, &mut out);
        }
    } else if triage.verdict == Verdict::Unclear {
        out.push('\n');
        wrapped("", no_check_left(triage), &mut out);
    }
    out.push('\n');
    for line in triage.all_remarks() {
        wrapped("", line, &mut out);
    }
    wrapped("! ", CAUTION, &mut out);
    wrapped("", &format!("Likelihoods: {}.", triage.whose.trim_end_matches('.')), &mut out);
    wrapped("", STRENGTHS, &mut out);
    for line in does_not_prove(triage) {
        wrapped("- ", line, &mut out);
    }
    out
}

/// The tag by which the device is known; may be empty.
fn tag(triage: &Triage) -> String {
    let tags = triage.device.as_ref().map(|d| [d.tag.trim(), d.long_tag.trim()]);
    tags.into_iter().flatten().find(|t| !t.is_empty()).unwrap_or_default().to_owned()
}

/// As a part of a report [TV-60].
pub fn as_check(triage: &Triage) -> OtherCheck {
    let mut lines = vec![headline(triage)];
    if !triage.stopped.is_empty() {
        lines.push(format!("It did not come to its end: {}.", triage.stopped));
    }
    for (place, told) in triage.causes.iter().enumerate().filter(|(_, t)| !t.cause.is_empty()) {
        lines.push(format!("{}: {}.", named(told), percent(told.share)));
        // In a report only what is likely has what speaks for it; its own page has that of all.
        if !is_told_whole(place, told) {
            continue;
        }
        for (lead, list) in [("speaks for it", &told.speaks_for), ("speaks against it", &told.speaks_against)]
        {
            for w in list.iter().take(MOST_EVIDENCE) {
                lines.push(format!("{lead}: {}.", said(w)));
            }
        }
        lines.push(format!("to do: {}", remedy(told)));
        lines.extend(told.cautions.iter().map(|c| format!("caution: {c}")));
    }
    if let Some(next) = &triage.next {
        lines.push(format!("next check: {}", next.question));
        lines.extend(next.cautions.iter().map(|c| format!("caution: {c}")));
    }
    lines.extend(triage.all_remarks().map(clean));
    OtherCheck {
        title: "Fault finding".to_owned(),
        is_good: match triage.verdict {
            Verdict::NothingFound if triage.stopped.is_empty() => Some(true),
            Verdict::Likely | Verdict::Workshop => Some(false),
            _ => None,
        },
        lines,
        bad: Vec::new(),
        does_not_prove: does_not_prove(triage).map(str::to_owned).collect(),
        ended_early: !triage.stopped.is_empty(),
        about: vec![
            ("started".to_owned(), triage.started.clone()),
            ("line".to_owned(), triage.line.clone()),
            (
                "unique address".to_owned(),
                triage.device.as_ref().map_or(String::new(), |d| d.unique_address.clone()),
            ),
        ],
        tag: tag(triage),
    }
}

const STYLE: &str = "body{font:17px/1.45 system-ui,sans-serif;max-width:52rem;margin:1.5rem auto;padding:0 1rem;color:#1a1a1a;background:#fff}\
h1{font-size:1.5rem}h2{font-size:1.2rem;margin:1.6rem 0 .4rem}.verdict{font-size:1.3rem;font-weight:700;border:3px solid;padding:.5rem .8rem}\
.bad{color:#a40000}.look{color:#7a5200}.ok{color:#1b6b1b}.quiet{color:#555;font-size:.9rem}ul{margin:.3rem 0;padding-left:1.3rem}\
.caution{border-left:4px solid #a86400;padding:.3rem .8rem;background:#fff7e6;margin:.4rem 0}\
table{border-collapse:collapse;width:100%;font-size:.92rem}th,td{text-align:left;padding:.3rem .5rem;border-bottom:1px solid #ccc;vertical-align:top;overflow-wrap:anywhere}\
@page{size:A4;margin:15mm}@media print{body{margin:0;padding:0;max-width:none;font-size:10.5pt}h2{break-after:avoid}tr,li,.caution,.verdict{break-inside:avoid}}";

/// The outcome as a page of its own that fetches nothing and prints on A4. Whatever comes from a device or a person means nothing to a
/// browser.
pub fn html(triage: &Triage) -> String {
    let title = match tag(triage).as_str() {
        "" => "Fault finding".to_owned(),
        tag => format!("{}: fault finding", clean(tag)),
    };
    let title = plain(&title);
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{title}</title><style>{STYLE}</style></head><body>\n<h1>{title}</h1>\n"
    );
    let class = match triage.verdict {
        Verdict::NothingFound if triage.stopped.is_empty() => "ok",
        Verdict::Likely | Verdict::Workshop => "bad",
        // Who stopped it has not seen all.
        Verdict::NothingFound | Verdict::Unclear => "look",
    };
    if !triage.stopped.is_empty() {
        let _ = writeln!(out, "<p class=\"look\"><b>Not whole: {}.</b></p>", plain(&clean(&triage.stopped)));
    }
    let _ = writeln!(out, "<p class=\"verdict {class}\">{}</p>", plain(&headline(triage)));
    cautions(&[CAUTION.to_owned()], &mut out);
    let unique = triage.device.as_ref().map_or("", |d| d.unique_address.as_str());
    for (name, value) in
        [("Begun", triage.started.as_str()), ("Line", &triage.line), ("Unique address", unique)]
    {
        if !value.is_empty() {
            let _ = writeln!(out, "<p>{name}: {}</p>", plain(&clean(value)));
        }
    }
    for (place, told) in triage.causes.iter().enumerate() {
        let _ = writeln!(out, "<h2>{}. {}: {}</h2>", place + 1, plain(&named(told)), percent(told.share));
        for (lead, list) in [("Speaks for it", &told.speaks_for), ("Speaks against it", &told.speaks_against)]
        {
            if list.is_empty() {
                continue;
            }
            let _ = writeln!(out, "<p>{lead}:</p><ul>");
            for w in list.iter().take(MOST_EVIDENCE) {
                let _ = writeln!(out, "<li>{}</li>", plain(&said(w)));
            }
            out.push_str("</ul>\n");
        }
        if is_told_whole(place, told) {
            let _ = writeln!(out, "<p><b>To do:</b> {}</p>", plain(&remedy(told)));
            cautions(&told.cautions, &mut out);
        }
    }
    if let Some(next) = &triage.next {
        let _ = writeln!(
            out,
            "<h2>Next check</h2>\n<p>{} (about {:.0} min)</p>",
            plain(&next.question),
            next.effort_min
        );
        cautions(&next.cautions, &mut out);
    }
    if triage.all_remarks().next().is_some() {
        out.push_str("<h2>Remarks</h2>\n<ul>\n");
        for line in triage.all_remarks() {
            let _ = writeln!(out, "<li>{}</li>", plain(&clean(line)));
        }
        out.push_str("</ul>\n");
    }
    out.push_str("<h2>What was seen</h2>\n<table><thead><tr><th>what</th><th>how</th></tr></thead><tbody>\n");
    for f in &triage.findings {
        let _ = writeln!(out, "<tr><td>{}</td><td>{}</td></tr>", plain(&clean(&f.told())), f.from.words());
    }
    for a in triage.asked.iter().filter(|a| a.answer.is_none()) {
        let _ = writeln!(out, "<tr><td>{}</td><td>not known</td></tr>", plain(&a.question));
    }
    out.push_str("</tbody></table>\n<h2>What this does not prove</h2>\n<ul>\n");
    for line in does_not_prove(triage) {
        let _ = writeln!(out, "<li>{}</li>", plain(line));
    }
    let whose = plain(triage.whose.trim_end_matches('.'));
    let _ = writeln!(
        out,
        "</ul>\n<p class=\"quiet\">{}</p>\n<p class=\"quiet\">Likelihoods: {whose}.</p>\n</body></html>",
        plain(STRENGTHS)
    );
    out
}

fn cautions(list: &[String], out: &mut String) {
    for caution in list {
        let _ = writeln!(out, "<p class=\"caution\">{}</p>", plain(caution));
    }
}

#[cfg(all(test, feature = "bench-file"))]
mod tests {
    use super::*;
    use crate::commission::triage::{Finding, Knowledge, Origin, Session};

    fn triage(findings: &[(&str, &str, Origin)]) -> Triage {
        let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
        let mut session = Session::new(&known, false);
        for (symptom, value, from) in findings {
            let words = format!("<b>{symptom}</b>");
            session.add(Finding { symptom: (*symptom).into(), value: (*value).into(), from: *from, words });
        }
        Triage::of(&session, Vec::new(), String::new())
    }

    /// Where nothing stands out and no check is left, the positioner is sent away only if most of what may be wrong is mended there.
    #[test]
    fn who_goes_on_from_here() {
        let mut of = triage(&[("answers", "silent", Origin::Bus)]);
        (of.verdict, of.next) = (Verdict::Unclear, None);
        for (shares, sent_away) in [([0.4, 0.1], true), ([0.1, 0.4], false)] {
            of.causes.truncate(2);
            for (cause, (share, workshop)) in of.causes.iter_mut().zip(shares.into_iter().zip([true, false]))
            {
                (cause.share, cause.workshop) = (share, workshop);
            }
            assert!(of.causes.iter().all(|c| !c.cause.is_empty()), "{of:?}");
            let text = text(&of);
            assert_eq!(text.contains("goes to a workshop"), sent_away, "{text}");
            assert_eq!(text.contains("goes on from here"), !sent_away, "{text}");
        }
    }

    /// What was stopped is not green, though nothing unusual was seen.
    #[test]
    fn what_did_not_come_to_its_end_is_not_in_order() {
        let mut of = triage(&[("answers", "yes", Origin::Bus)]);
        (of.verdict, of.stopped) = (Verdict::NothingFound, String::new());
        assert!(html(&of).contains("class=\"verdict ok\""));
        of.stopped = "the person stopped it".to_owned();
        let page = html(&of);
        assert!(page.contains("class=\"verdict look\"") && page.contains("as far as it went"), "{page}");
    }

    /// A device that is dark with plus on minus: told as such with what to do, in lines of a small terminal, and nothing of what was typed is
    /// taken for markup.
    #[test]
    fn wires_the_wrong_way_round_are_told() {
        let triage = triage(&[
            ("answers", "silent", Origin::Bus),
            ("display", "dark", Origin::Person),
            ("terminal_volts", "reversed", Origin::Person),
        ]);
        let text = text(&triage);
        assert!(text.starts_with("Likely: plus and minus have changed places"), "{text}");
        assert!(text.contains("for      <b>terminal_volts</b> (seen at the valve; strongly)"), "{text}");
        assert!(text.contains("to do    Set the wires right") && text.contains("   ! Loop dead"), "{text}");
        assert!(text.lines().all(|l| l.chars().count() <= WIDTH), "{text}");
        let page = html(&triage);
        assert!(!page.contains("<b>terminal") && page.contains("&lt;b&gt;terminal"), "{page}");
        let part = as_check(&triage);
        assert_eq!(part.is_good, Some(false));
    }

    /// Where something comes from is told by the finding itself, whatever its symptom is called and whether or not there was a line [TG-32].
    #[test]
    fn where_it_comes_from_is_told() {
        for from in Origin::ALL {
            for symptom in ["signal_level", "terminal_volts"] {
                let mut triage = triage(&[(symptom, "low", from)]);
                for line in ["", "serial:/dev/ttyUSB0"] {
                    line.clone_into(&mut triage.line);
                    let told = format!("{symptom}</b> ({}; ", from.words());
                    let part = as_check(&triage).lines.join(" ");
                    let all = [text(&triage).replace('\n', " "), part];
                    let all = all.map(|t| t.split_whitespace().collect::<Vec<_>>().join(" "));
                    assert!(all.iter().all(|t| t.contains(&told)), "{from:?}: {all:?}");
                    assert!(html(&triage).contains(&format!("<td>{}</td>", from.words())), "{from:?}");
                    assert!(triage.to_json().contains(&format!("\"from\": \"{}\"", from.key())));
                }
            }
        }
    }

    /// Every remark is in every output: what was read and has no name, what was not read, where the set point was left.
    #[test]
    fn remarks_are_told_everywhere() {
        let mut triage = triage(&[("opens", "halfway", Origin::Stroke)]);
        triage.on_the_line = vec![
            "Not all was read: leave to move it was not given.".to_owned(),
            "The loop current is 12.00 mA again <as before>.".to_owned(),
        ];
        let said = [
            "no value \"halfway\" of \"opens\"",
            "leave to move it was not given",
            "12.00 mA again <as before>",
        ];
        let part = as_check(&triage).lines.join("\n");
        let page = html(&triage).replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">");
        for all in [text(&triage).replace('\n', " "), part, page] {
            assert!(said.iter().all(|s| all.contains(s)), "{all}");
        }
        assert!(text(&triage).lines().all(|l| l.chars().count() <= WIDTH));
    }

    #[test]
    fn a_healthy_valve_is_told() {
        let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
        let usual: Vec<(&str, &str, Origin)> = known
            .symptoms
            .iter()
            .map(|s| (s.name.as_str(), s.values[0].name.as_str(), Origin::Person))
            .collect();
        let triage = triage(&usual);
        assert!(text(&triage).starts_with("Nothing found"), "{}", text(&triage));
        assert_eq!(as_check(&triage).is_good, Some(true));
    }
}
