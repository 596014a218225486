//! A worksheet as Markdown.

use super::{DEFERS, SIGNED, label, remarks, value};
use crate::commission::worksheet::{Entry, HEAD, Values, Worksheet};
use core::fmt::Write;

/// The sheet as Markdown: a table to tick off for each part. Values that are known are filled in with where they come from.
pub fn markdown(sheet: &Worksheet, values: &Values) -> String {
    let mut out = format!("# {}\n\n{}\n\n{DEFERS}\n", sheet.title, sheet.purpose);
    out.push_str("\n| which valve | |\n|---|---|\n");
    for entry in HEAD {
        let _ = writeln!(out, "| {} | {} |", label(entry), filled(sheet, entry, values));
    }
    let (from, odd) = remarks(sheet, values);
    if let Some(line) = from {
        let _ = writeln!(out, "\n{}", escaped(&line));
    }
    for line in odd {
        let _ = writeln!(out, "\n**Look: {}**", escaped(&line));
    }
    out.push_str("\n## Before the work\n\n");
    for caution in sheet.cautions {
        let _ = writeln!(out, "- **{}.** {}", caution.title(), caution.words());
    }
    let _ = writeln!(out, "\nAt hand: {}.", sheet.tools.join("; "));
    let mut n = 0;
    for part in sheet.parts {
        let _ = writeln!(out, "\n## {}\n\n| no. | step | done |\n|---|---|---|", part.title);
        for step in part.steps {
            n += 1;
            let mut cell = step.words.to_owned();
            for entry in step.entries {
                let _ = write!(cell, "<br>{}: {}", label(entry), filled(sheet, entry, values));
            }
            let _ = writeln!(out, "| {n} | {cell} | [ ] |");
        }
    }
    out.push_str("\n## What this sheet does not prove\n\n");
    for line in sheet.does_not_prove {
        let _ = writeln!(out, "- {line}");
    }
    out.push_str("\n## Signed\n\n| | name | date and time | signature |\n|---|---|---|---|\n");
    for who in SIGNED {
        let _ = writeln!(out, "| {who} | | | |");
    }
    out
}

/// A value with where it comes from, or a line to write on.
fn filled(sheet: &Worksheet, entry: &Entry, values: &Values) -> String {
    match value(sheet, entry, values) {
        Some((value, from)) => format!("**{}** ({})", escaped(value), escaped(from)),
        None => "____________".to_owned(),
    }
}

/// Text from a device or a file name, so that it means nothing to a reader of Markdown.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '#' | '~' => {
                out.push('\\');
                out.push(c);
            }
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
