//! The catalogue of all commands as Markdown: `protocol-notes/commands.md`.

use super::layout_rows::{class_text, effect_text, layout_rows, revisions_of, revisions_text};
use crate::app::command::{self, CommandSpec, Layout, Revision};
use crate::app::status;
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
    for form in row.forms {
        let revisions = capital(&revisions_text(form.from, form.to));
        if !form.request.is_empty() && layout_rows(form.request) == layout_rows(form.reply) {
            write_layout(&format!("{revisions}, request and reply"), form.request, out);
        } else {
            write_layout(&format!("{revisions}, request"), form.request, out);
            write_layout(&format!("{revisions}, reply"), form.reply, out);
        }
    }
    write_codes(row, out);
}

fn write_layout(title: &str, layout: Layout, out: &mut String) {
    if layout.is_empty() {
        let _ = writeln!(out, "\n{title}: no data.");
        return;
    }
    let _ = writeln!(out, "\n{title}:\n\n| octet | name | type | what |\n|---|---|---|---|");
    for [octet, name, kind, what] in layout_rows(layout) {
        let name = if name.is_empty() { name } else { format!("`{name}`") };
        let _ = writeln!(out, "| {octet} | {name} | {kind} | {what} |");
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

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}
