//! How the lines of a table are taken apart [WV-11].

use super::clock;

/// How the lines are to be taken apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Shape {
    /// A blank stands for any number of blanks.
    pub(super) separator: char,
    pub(super) comma: bool,
    pub(super) columns: usize,
    /// Columns in front that hold no numbers, but words on the settings beside the first rows.
    pub(super) skip: usize,
}

/// How lines may look, the likeliest first.
pub(super) const SHAPES: [(char, bool); 7] =
    [(';', true), (';', false), ('\t', true), ('\t', false), (',', false), (' ', false), (' ', true)];

impl Shape {
    /// Empty cells that a line begins with.
    pub(super) fn leading(self, line: &str) -> usize {
        match self.separator {
            ' ' => 0,
            s => line.split(s).take_while(|c| c.trim().is_empty()).count(),
        }
    }

    /// The cells of a line, without the columns in front that hold no numbers.
    pub(super) fn cells<'a>(self, line: &'a str) -> Vec<&'a str> {
        let clean = |c: &'a str| c.trim().trim_matches('"').trim();
        let mut cells: Vec<&str> = if self.separator == ' ' {
            line.split_whitespace().map(clean).collect()
        } else {
            line.split(self.separator).map(clean).collect()
        };
        cells.drain(..self.skip.min(cells.len()));
        // Many programs put a separator behind the last column.
        while cells.last() == Some(&"") {
            cells.pop();
        }
        cells
    }

    pub(super) fn number(self, cell: &str) -> Option<f64> {
        let plain;
        let text = if self.comma && cell.contains(',') {
            plain = cell.replace(',', ".");
            &plain
        } else {
            cell
        };
        // Words that Rust takes for numbers, inf and nan, are none here.
        let starts =
            text.trim_start_matches(['+', '-']).starts_with(|c: char| c.is_ascii_digit() || c == '.');
        let plain = text.parse().ok().filter(|x: &f64| starts && x.is_finite());
        plain.or_else(|| clock::seconds(text))
    }

    /// All columns, if all are numbers.
    pub(super) fn row(self, line: &str) -> Option<Vec<f64>> {
        let cells = self.cells(line);
        if cells.is_empty() || cells.len() > 64 {
            return None;
        }
        cells.into_iter().map(|c| self.number(c)).collect()
    }
}
