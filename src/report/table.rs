//! A small table with a title, in every format.

use super::Format;
use super::text::{WIDTH, write_wrapped};
use crate::exchange::json::write_string;
use core::fmt::Write;

/// A last column with less room than this is no column.
const NARROW: usize = 24;

/// Rows under named columns.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    /// What it shows, one line.
    pub title: String,
    /// Names of the columns, lower case with `_`.
    pub columns: Vec<&'static str>,
    /// The rows; each has as many cells as there are columns.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// An empty table.
    pub fn new(title: impl Into<String>, columns: &[&'static str]) -> Self {
        Table { title: title.into(), columns: columns.to_vec(), rows: Vec::new() }
    }

    /// Adds a row; missing cells are empty.
    pub fn row<S: Into<String>>(&mut self, cells: impl IntoIterator<Item = S>) {
        let mut cells: Vec<String> = cells.into_iter().map(Into::into).collect();
        cells.resize(self.columns.len(), String::new());
        self.rows.push(cells);
    }

    /// Appends several tables: as text one under the other; as JSON and CSV as one table with a column
    /// `about` for the titles and every other column that one of them has.
    pub fn write_all(tables: &[Table], format: Format, out: &mut String) {
        if format == Format::Text {
            for (i, table) in tables.iter().enumerate() {
                if i > 0 {
                    out.push('\n');
                }
                table.write_text(out);
            }
            return;
        }
        let mut all = Table::new("", &["about"]);
        for column in tables.iter().flat_map(|t| &t.columns) {
            if !all.columns.contains(column) {
                all.columns.push(column);
            }
        }
        for table in tables {
            for row in &table.rows {
                let cell = |column: &&'static str| {
                    let at = table.columns.iter().position(|c| c == column);
                    at.map_or(String::new(), |i| row[i].clone())
                };
                let cells: Vec<String> = all.columns[1..].iter().map(cell).collect();
                all.row([table.title.clone()].into_iter().chain(cells));
            }
        }
        all.write(format, out);
    }

    /// Appends the table: text with aligned columns, one JSON object a row, or CSV.
    pub fn write(&self, format: Format, out: &mut String) {
        match format {
            Format::Text => self.write_text(out),
            Format::Json => self.write_json(out),
            Format::Csv => {
                let _ = writeln!(out, "{}", self.columns.join(","));
                for row in &self.rows {
                    for (i, cell) in row.iter().enumerate() {
                        if i > 0 {
                            out.push(',');
                        }
                        super::csv::write_text(cell, out);
                    }
                    out.push('\n');
                }
            }
        }
    }

    fn write_text(&self, out: &mut String) {
        if !self.title.is_empty() {
            write_wrapped(&self.title, 4, out);
        }
        let Some(last) = self.columns.len().checked_sub(1) else { return };
        let cells = |i: usize| self.rows.iter().map(move |r| r[i].chars().count()).max().unwrap_or(0);
        let plain: Vec<usize> = (0..=last).map(|i| cells(i).max(self.columns[i].len())).collect();
        // Where the lines would be too long, names of several words stand one word above the other.
        let stacked = plain.iter().map(|w| w + 2).sum::<usize>() > WIDTH;
        let words = |i: usize| self.columns[i].split('_').map(str::len).max().unwrap_or(0);
        let widths: Vec<usize> =
            if stacked { (0..=last).map(|i| cells(i).max(words(i))).collect() } else { plain };
        let indent = 2 + widths[..last].iter().map(|w| w + 2).sum::<usize>();
        let line = |cells: &[&str], out: &mut String| {
            let mut line = String::new();
            for (cell, width) in cells.iter().zip(&widths) {
                let _ = write!(line, "  {cell:<width$}");
            }
            // Too narrow a last column is no column: its text begins under the others.
            let indent = if indent + NARROW > WIDTH { 6 } else { indent };
            write_wrapped(&line, indent, out);
        };
        if stacked {
            let names: Vec<Vec<&str>> = self.columns.iter().map(|c| c.split('_').collect()).collect();
            let height = names.iter().map(Vec::len).max().unwrap_or(0);
            for level in (0..height).rev() {
                let at = |n: &Vec<&'static str>| n.len().checked_sub(level + 1).map_or("", |i| n[i]);
                line(&names.iter().map(at).collect::<Vec<_>>(), out);
            }
        } else {
            let names: Vec<String> = self.columns.iter().map(|c| c.replace('_', " ")).collect();
            line(&names.iter().map(String::as_str).collect::<Vec<_>>(), out);
        }
        for row in &self.rows {
            line(&row.iter().map(String::as_str).collect::<Vec<_>>(), out);
        }
    }

    fn write_json(&self, out: &mut String) {
        for row in &self.rows {
            out.push('{');
            for (i, (column, cell)) in self.columns.iter().zip(row).enumerate() {
                let _ = write!(out, "{}\"{column}\":", if i > 0 { "," } else { "" });
                write_string(cell, out);
            }
            out.push_str("}\n");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wide() -> Table {
        let mut t = Table::new("Title", &["polling_address", "tag", "reports"]);
        t.row(["0".to_owned(), "T".repeat(32), "cold start, ".repeat(8)]);
        t
    }

    #[test]
    fn text_keeps_to_the_width_and_loses_no_word() {
        let mut out = String::new();
        wide().write(Format::Text, &mut out);
        assert!(out.lines().all(|l| l.chars().count() <= WIDTH), "{out}");
        assert_eq!(out.matches("cold").count(), 8);
        // Two words of a name stand one above the other.
        assert!(out.starts_with("Title\n  polling\n  address  tag"), "{out}");
    }

    #[test]
    fn several_tables_become_one_for_programs() {
        let mut b = Table::new("B", &["tag", "code"]);
        b.row(["x", "7"]);
        let mut out = String::new();
        Table::write_all(&[wide(), b], Format::Csv, &mut out);
        let mut lines = out.lines();
        assert_eq!(lines.next(), Some("about,polling_address,tag,reports,code"));
        assert_eq!(lines.last(), Some("B,,x,,7"));
    }
}
