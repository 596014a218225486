//! The catalogue of all commands as Markdown: `protocol-notes/commands.md`.

use super::layout_rows::{class_text, effect_text, layout_rows, revisions_of, revisions_text, word_tables};
use crate::app::command::described::Description;
use crate::app::command::{self, CommandSpec, Described, Layout, Revision};
use crate::app::status;
use crate::commission::person::capital;
use crate::report::text::plural;
use core::fmt::Write;

/// Appends the catalogue. The first line says how it is made.
pub fn write(out: &mut String) {
    let rows = command::all();
    out.push_str(
        "<!-- Made by `looprig explain --all > protocol-notes/commands.md`; do not edit. -->\n\
         # Catalogue of commands\n\n",
    );
    let _ = writeln!(
        out,
        "{} as looprig has them. Octets count from 0 within the data; the two status octets of a reply are not \
         counted.\nWhere the layouts come from stands in command-facts.md under the id of each command: H two \
         sources or more, M one, R from memory.",
        plural(rows.len(), "command")
    );
    for row in rows {
        write_row(row, out);
    }
}

/// Appends the catalogue of a described device type: its introduction, its commands, its tables.
pub fn write_described(d: &Described, out: &mut String) {
    let description = d.description();
    let _ = writeln!(
        out,
        "<!-- Made by `looprig explain --all --description {}`; do not edit. -->\n# {}\n",
        d.file(),
        capital(&description.name)
    );
    if !description.text.is_empty() {
        let _ = writeln!(out, "{}\n", description.text);
    }
    let types: Vec<String> = description.types.iter().map(ToString::to_string).collect();
    let _ = writeln!(
        out,
        "{} of the device type with {}. Octets count from 0 within the data; the two status octets of a reply are not \
         counted.\nCodes and bits are explained at the end.",
        plural(d.rows().len(), "command"),
        types.join("; with ")
    );
    let mut tables: Vec<(String, Vec<[String; 2]>)> = Vec::new();
    for row in d.rows() {
        let text = u8::try_from(row.number).ok().and_then(|n| description.command(n)).map_or("", |c| &c.text);
        let _ = writeln!(out, "\n## {} {}\n\n{}.", row.number, row.name, capital(effect_text(row.effect)));
        if !text.is_empty() {
            let _ = writeln!(out, "\n{text}");
        }
        write_forms(row, out);
        if !row.codes.is_empty() {
            out.push_str("\nResponse codes besides those that mean the same for every command [ST-03]:\n\n");
            out.push_str("| code | class | meaning |\n|---|---|---|\n");
            for c in row.codes {
                let _ = writeln!(out, "| {} | {} | {} |", c.code, class_text(c.code, c.class), cell(c.text));
            }
        }
        for table in word_tables(row) {
            if !tables.contains(&table) {
                tables.push(table);
            }
        }
    }
    tables.sort();
    for (heading, rows) in tables {
        let _ = writeln!(out, "\n## {heading}\n\n| code | meaning |\n|---|---|");
        for [code, words] in rows {
            let _ = writeln!(out, "| {code} | {} |", cell(&words));
        }
    }
    write_status_octets(description, out);
    if !description.settings.is_empty() {
        out.push_str("\n## Settings\n\n| heading | read by | written by | values |\n|---|---|---|---|\n");
        for pair in &description.settings {
            let each = match &pair.each {
                Some((name, last)) => format!(", for `{name}` 0 to {last}"),
                None => String::new(),
            };
            let values: Vec<String> = pair.values.iter().map(|v| format!("`{v}`")).collect();
            let _ = writeln!(
                out,
                "| {} | {} | {} | {}{each} |",
                pair.heading,
                pair.read,
                pair.write,
                values.join(", ")
            );
        }
    }
}

/// The octets of command 48 that are the device's own.
fn write_status_octets(description: &Description, out: &mut String) {
    for status in &description.status {
        let _ = writeln!(
            out,
            "\n## Octets of its own in command 48, {}\n\n| octet | mask | meaning |\n|---|---|---|",
            revisions_text(status.from, status.to)
        );
        for (octet, name) in status.tables.iter().enumerate() {
            let table = description.bits.iter().find(|table| table.name == *name);
            for (mask, words) in table.map_or(&[][..], |table| &table.rows) {
                let _ = writeln!(out, "| {octet} | 0x{mask:02X} | {} |", cell(words));
            }
        }
    }
}

/// A text as a cell of a table: what has a meaning in Markdown is taken as it is written.
fn cell(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if matches!(c, '\\' | '|' | '*' | '`' | '<') {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

fn write_row(row: &CommandSpec, out: &mut String) {
    let _ = writeln!(
        out,
        "\n## {} {}\n\n{}; {}; {} [{}], grade {}.",
        row.number,
        row.name,
        capital(command::range_name(row.number)),
        effect_text(row.effect),
        if row.grade == command::Grade::Recalled { "from memory" } else { "requirement" },
        row.cites,
        row.grade.letter()
    );
    write_forms(row, out);
    write_codes(row, out);
}

fn write_forms(row: &CommandSpec, out: &mut String) {
    for form in row.forms {
        let revisions = capital(&revisions_text(form.from, form.to));
        if !form.request.is_empty() && layout_rows(form.request) == layout_rows(form.reply) {
            write_layout(&format!("{revisions}, request and reply"), form.request, out);
        } else {
            write_layout(&format!("{revisions}, request"), form.request, out);
            write_layout(&format!("{revisions}, reply"), form.reply, out);
        }
    }
}

fn write_layout(title: &str, layout: Layout, out: &mut String) {
    if layout.is_empty() {
        let _ = writeln!(out, "\n{title}: no data.");
        return;
    }
    let _ = writeln!(out, "\n{title}:\n\n| octet | name | type | what |\n|---|---|---|---|");
    for [octet, name, kind, what] in layout_rows(layout) {
        let name = if name.is_empty() { name } else { format!("`{name}`") };
        let _ = writeln!(out, "| {octet} | {name} | {kind} | {} |", cell(&what));
    }
}

fn write_codes(row: &CommandSpec, out: &mut String) {
    let Some(list) = status::list(row.number) else {
        out.push_str("\nResponse codes: no list was found; each has its general meaning [ST-03].\n");
        return;
    };
    let has: Vec<Revision> = Revision::NEWEST_FIRST.into_iter().filter(|r| row.form(*r).is_some()).collect();
    let grades: Vec<String> =
        has.iter().map(|r| format!("revision {r} grade {}", list.grade_of(*r))).collect();
    let _ = writeln!(
        out,
        "\nResponse codes [ST-04], {}:\n\n| code | class | meaning | revisions |\n|---|---|---|---|",
        grades.join(", ")
    );
    for code in list.codes {
        let _ = writeln!(
            out,
            "| {} | {} | {} | {} |",
            code.code,
            class_text(code.code, code.class),
            code.text,
            revisions_of(row, code)
        );
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn labels_mean_nothing_in_markdown() {
        assert_eq!(super::cell("*y* | `z` <b> a_b"), "\\*y\\* \\| \\`z\\` \\<b> a_b");
    }
}
