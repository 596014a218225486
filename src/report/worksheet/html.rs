//! A worksheet as a page of its own: nothing is fetched from elsewhere, and it prints on A4.

use super::{DEFERS, SIGNED, label, remarks, title, value};
use crate::commission::worksheet::{Entry, HEAD, Values, Worksheet};
use crate::report::plot::plain;
use core::fmt::Write;

const STYLE: &str = "body{font:16px/1.45 system-ui,sans-serif;max-width:52rem;margin:1.5rem auto;padding:0 1rem;color:#1a1a1a;background:#fff}\
h1{font-size:1.5rem;margin-bottom:.3rem}h2{font-size:1.15rem;margin-top:1.6rem}table{border-collapse:collapse;width:100%}\
th,td{text-align:left;padding:.4rem .5rem;border:1px solid #888;vertical-align:top;overflow-wrap:anywhere}td.n{width:2rem;text-align:right}\
th:last-child{white-space:nowrap}td.box{width:2.6rem;text-align:center;font-size:1.4rem;line-height:1}.entry{display:flex;flex-wrap:wrap;gap:0 .6rem;margin:.35rem 0 0}\
.entry span:first-child{flex:0 1 auto}.line{flex:1 1 6rem;border-bottom:1px solid #333;min-height:1.3em}.filled{font-weight:600}\
.from{color:#555;font-size:.85rem;font-weight:400}.caution{border-left:4px solid #a86400;padding:.3rem .8rem;background:#fff7e6;margin:.5rem 0}\
.signed td{height:2.6rem}.valve{display:grid;grid-template-columns:repeat(auto-fit,minmax(15rem,1fr));align-items:start;gap:.1rem 1.2rem;border:1px solid #888;padding:.3rem .6rem .6rem}.valve .entry{align-content:flex-start}.valve .filled{overflow-wrap:anywhere}@page{size:A4;margin:15mm}@media print{body{margin:0;padding:0;max-width:none;font-size:10.5pt}h2{break-after:avoid}\
tr,.caution,.signed{break-inside:avoid}thead{display:table-header-group}}";

/// The sheet as a page, with boxes to tick, lines to write on, values that are known filled in with where they come from, and lines to sign on.
pub fn html(sheet: &Worksheet, values: &Values) -> String {
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{0}</title><style>{STYLE}</style></head><body>\n<h1>{1}</h1>\n<p>{2}</p>\n<p>{3}</p>\n",
        plain(&title(sheet, values)),
        plain(sheet.title),
        plain(sheet.purpose),
        plain(DEFERS)
    );
    head(sheet, values, &mut out);
    out.push_str("<h2>Before the work</h2>\n");
    for caution in sheet.cautions {
        let _ = writeln!(
            out,
            "<p class=\"caution\"><b>{}.</b> {}</p>",
            plain(caution.title()),
            plain(caution.words())
        );
    }
    let _ = writeln!(out, "<p>At hand: {}.</p>", with_code(&sheet.tools.join("; ")));
    let mut n = 0;
    for part in sheet.parts {
        let _ = writeln!(
            out,
            "<h2>{}</h2>\n<table><thead><tr><th>no.</th><th>step</th><th>done</th></tr></thead><tbody>",
            plain(part.title)
        );
        for step in part.steps {
            n += 1;
            let _ = write!(out, "<tr><td class=\"n\">{n}</td><td>{}", with_code(step.words));
            for entry in step.entries {
                let _ = write!(out, "<div class=\"entry\"><span>{}:</span>", plain(&label(entry)));
                out.push_str(&filled(sheet, entry, values));
                out.push_str("</div>");
            }
            out.push_str("</td><td class=\"box\">&#9744;</td></tr>\n");
        }
        out.push_str("</tbody></table>\n");
    }
    out.push_str("<h2>What this sheet does not prove</h2>\n<ul>\n");
    for line in sheet.does_not_prove {
        let _ = writeln!(out, "<li>{}</li>", plain(line));
    }
    out.push_str(
        "</ul>\n<h2>Signed</h2>\n<table class=\"signed\"><thead><tr><th></th><th>name</th><th>date and time</th><th>signature</th></tr></thead><tbody>\n",
    );
    for who in SIGNED {
        let _ = writeln!(out, "<tr><td>{}</td><td></td><td></td><td></td></tr>", plain(who));
    }
    out.push_str("</tbody></table>\n</body></html>\n");
    out
}

/// Which valve it is, two to a row, and where values come from.
fn head(sheet: &Worksheet, values: &Values, out: &mut String) {
    out.push_str("<div class=\"valve\">\n");
    for entry in HEAD {
        let _ = writeln!(
            out,
            "<div class=\"entry\"><span>{}:</span>{}</div>",
            plain(&label(entry)),
            filled(sheet, entry, values)
        );
    }
    out.push_str("</div>\n");
    let (from, odd) = remarks(sheet, values);
    if let Some(line) = from {
        let _ = writeln!(out, "<p class=\"from\">{}</p>", plain(&line));
    }
    for line in odd {
        let _ = writeln!(out, "<p class=\"caution\"><b>Look:</b> {}</p>", plain(&line));
    }
}

/// A value with where it comes from, or a line to write on.
fn filled(sheet: &Worksheet, entry: &Entry, values: &Values) -> String {
    match value(sheet, entry, values) {
        Some((value, from)) => {
            format!(
                "<span class=\"filled\">{} <span class=\"from\">{}</span></span>",
                plain(value),
                plain(from)
            )
        }
        None => "<span class=\"line\"></span>".to_owned(),
    }
}

/// Text for a browser in which what stands between backticks is what somebody types.
fn with_code(text: &str) -> String {
    let mut out = String::new();
    for (n, piece) in text.split('`').enumerate() {
        let piece = plain(piece);
        let _ = if n % 2 == 1 { write!(out, "<code>{piece}</code>") } else { write!(out, "{piece}") };
    }
    out
}
