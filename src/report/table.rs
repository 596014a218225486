//! A small table with a title, in every format.

use super::Format;
use crate::exchange::json::write_string;
use core::fmt::Write;

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
            let _ = writeln!(out, "{}", self.title);
        }
        let width = |i: usize| {
            let cells = self.rows.iter().map(|r| r[i].chars().count());
            cells.chain([self.columns[i].len()]).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..self.columns.len()).map(width).collect();
        let mut line = |cells: &mut dyn Iterator<Item = String>| {
            let from = out.len();
            for (cell, width) in cells.zip(&widths) {
                let _ = write!(out, "  {cell:<width$}");
            }
            out.truncate(from + out[from..].trim_end().len());
            out.push('\n');
        };
        line(&mut self.columns.iter().map(|c| c.replace('_', " ")));
        for row in &self.rows {
            line(&mut row.iter().cloned());
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
