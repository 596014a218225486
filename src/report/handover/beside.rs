//! What a report shows beside the tests: the loop as computed, other checks, settings.

use super::Handover;
use super::words::clean;
use crate::commission::settings::Content;
use crate::report::plot::plain;
use crate::report::text::plural;
use crate::report::wiring::{against, worst_of_each};
use core::fmt::Write;

/// The verdict of the loop as it stands in a sheet, and its checks.
pub fn wiring(h: &Handover, out: &mut String) {
    out.push_str("<h2>Wiring</h2>\n");
    let Some((report, sheet)) = h.beside.wiring else {
        out.push_str("<p>No wiring sheet was given.</p>\n");
        return;
    };
    let checks = &report.judged.checks;
    let failing = checks.iter().filter(|c| c.is_bad()).count();
    let (class, words) = match failing {
        0 => ("ok", "This loop carries current and signal, as computed.".to_owned()),
        n => ("bad", format!("Not good, as computed: {n} of {} fail.", plural(checks.len(), "check"))),
    };
    let _ = writeln!(
        out,
        "<p><span class=\"{class}\">{words}</span> From the sheet {}; computed, not measured.</p>",
        plain(&clean(sheet))
    );
    out.push_str("<table class=\"tight\"><thead><tr><th></th><th>check</th><th>value and limit</th></tr></thead><tbody>\n");
    let mut shown = worst_of_each(checks);
    shown.retain(|(c, _)| c.kind.must_hold() || !c.holds());
    shown.sort_by_key(|(c, _)| (!c.is_bad(), c.holds()));
    for (c, n) in shown {
        let (class, word) = match c {
            c if c.holds() => ("ok", "ok"),
            c if c.is_bad() => ("bad", "FAIL"),
            _ => ("look", "look"),
        };
        let of = if n > 1 { format!(" (worst of {n})") } else { String::new() };
        let _ = writeln!(
            out,
            "<tr><td class=\"{class}\">{word}</td><td>{}: {}{of}</td><td>{}</td></tr>",
            plain(c.kind.title()),
            plain(&clean(&c.subject)),
            plain(&against(c))
        );
    }
    out.push_str("</tbody></table>\n");
}

/// Checks that are no travel tests.
pub fn checks(h: &Handover, out: &mut String) {
    for check in &h.beside.checks {
        let (class, word) = match check.is_good {
            Some(true) => ("ok", "in order"),
            Some(false) => ("bad", "NOT IN ORDER"),
            None => ("look", "no verdict"),
        };
        let title = plain(&clean(&check.title));
        let _ = writeln!(out, "<h2>{title}: <span class=\"{class}\">{word}</span></h2>\n<ul>");
        for line in &check.lines {
            let _ = writeln!(out, "<li>{}</li>", plain(&clean(line)));
        }
        out.push_str("</ul>\n");
        if !check.about.is_empty() {
            out.push_str("<table class=\"facts\"><tbody>\n");
            for (name, words) in &check.about {
                let _ = writeln!(
                    out,
                    "<tr><th>{}</th><td>{}</td></tr>",
                    plain(&clean(name)),
                    plain(&clean(words))
                );
            }
            out.push_str("</tbody></table>\n");
        }
    }
}

/// What the device is set to, part by part.
pub fn settings(h: &Handover, out: &mut String) {
    out.push_str("<h2>Settings of the device</h2>\n");
    let Some((settings, from)) = h.beside.settings else {
        out.push_str("<p>No settings were given.</p>\n");
        return;
    };
    let _ = writeln!(out, "<p>From: {}.</p>\n<table class=\"tight\"><tbody>", plain(&clean(from)));
    for section in &settings.sections {
        let said = match section.content {
            Content::Values(_) => String::new(),
            Content::CutShort(_) => ": the answer ended too early".to_owned(),
            // What a device does not have is no setting.
            Content::Refused(64) => continue,
            Content::Refused(code) => format!(": refused, response code {code}"),
            Content::Unread(code) => format!(": not read, response code {code}"),
        };
        let name = section.name().replace('_', " ");
        let _ = writeln!(out, "<tr><th colspan=\"2\">{}{said}</th></tr>", plain(&name));
        for e in section.entries() {
            let value = section.text(e, settings.revision);
            let _ =
                writeln!(out, "<tr><td>{}</td><td>{}</td></tr>", plain(e.field.label), plain(&clean(&value)));
        }
    }
    out.push_str("</tbody></table>\n");
}
