//! Tables of time and voltage, as oscilloscopes and loggers export them, to samples [WV-11].

use core::fmt;

/// A longer line is no row of numbers.
const LONGEST_LINE: usize = 4096;
/// Lines that are looked at for the first numbers.
const MOST_HEADER: usize = 2000;
/// Rows by which separator, columns and rate are told.
const FIRST_ROWS: usize = 1000;
/// Rows of equal shape that must stand together to be the beginning of the numbers.
const TOGETHER: usize = 3;
/// Longest pause that is filled in, s.
const LONGEST_PAUSE_S: f64 = 10.0;
/// Samples that are filled in at most where one pause is, and beyond as many as there were rows: a table of holes is none.
const MOST_FILLED: u64 = 1 << 16;
/// A step that differs by more than this share from the mean is told.
const UNEVEN: f64 = 0.1;

/// What the reader is told about a table.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TableOptions {
    /// Which column of voltages is read, from 0, the column of times left out.
    pub channel: usize,
    /// Samples a second, where the table has no times.
    pub rate_hz: Option<f64>,
}

/// Why a table cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableError {
    /// Its line, from 1.
    pub line: u64,
    /// What is wrong.
    pub what: String,
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.what)
    }
}

impl core::error::Error for TableError {}

/// What is known of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct TableSpec {
    /// Samples a second.
    pub rate_hz: f64,
    /// Columns besides that of times.
    pub channels: usize,
    /// Separator of columns.
    pub separator: char,
    /// Whether the decimal sign is a comma.
    pub decimal_comma: bool,
    /// Time of the first row, s.
    pub begin_s: f64,
    /// Volts that one of the table's units is; `None` where the header names another unit, which is then taken as it is.
    pub volts: Option<f64>,
    /// Unit of the column as the header has it, if it has one.
    pub unit: Option<String>,
}

/// What was not as it should be in a table that was read.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TableNotes {
    /// Steps that are off by more than a tenth, and the first line with one.
    pub uneven: u64,
    /// The first such line, from 1.
    pub first_uneven: u64,
    /// Samples that were filled in where steps were missing.
    pub filled: u64,
    /// Rows that were skipped: their time goes back, or they are no numbers.
    pub skipped: u64,
    /// The first such line, from 1.
    pub first_skipped: u64,
}

impl fmt::Display for TableNotes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = Vec::new();
        if self.uneven > 0 {
            parts.push(format!(
                "{} steps of time are off by more than a tenth, the first in line {}",
                self.uneven, self.first_uneven
            ));
        }
        if self.filled > 0 {
            parts.push(format!("{} missing samples were filled in", self.filled));
        }
        if self.skipped > 0 {
            parts.push(format!(
                "{} rows were skipped, the first in line {}",
                self.skipped, self.first_skipped
            ));
        }
        f.write_str(&parts.join("; "))
    }
}

/// Whether text begins like a table of numbers: three lines of two columns or more. The last line may be cut off and is left aside.
pub fn looks_like_table(start: &str) -> bool {
    let lines: Vec<&str> = start.lines().map(str::trim).filter(|l| !l.is_empty()).take(MOST_HEADER).collect();
    let lines = &lines[..lines.len().saturating_sub(1)];
    SHAPES.iter().any(|&(separator, comma)| {
        let shape = Shape { separator, comma, columns: 0 };
        // Blanks alone stand between octets of hex text too, and those may all look like numbers; but they have no sign and no point.
        let row = |line: &&str| separator != ' ' && shape.row(line).is_some_and(|r| r.len() >= 2);
        let point = if comma { ',' } else { '.' };
        lines.windows(TOGETHER).any(|w| w.iter().all(row) && w.iter().any(|l| l.contains([point, '-'])))
    })
}

/// How the lines are to be taken apart.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Shape {
    /// A blank stands for any number of blanks.
    separator: char,
    comma: bool,
    columns: usize,
}

/// How lines may look, the likeliest first.
const SHAPES: [(char, bool); 7] =
    [(';', true), (';', false), ('\t', true), ('\t', false), (',', false), (' ', false), (' ', true)];

impl Shape {
    fn cells<'a>(self, line: &'a str) -> Vec<&'a str> {
        let clean = |c: &'a str| c.trim().trim_matches('"').trim();
        let mut cells: Vec<&str> = if self.separator == ' ' {
            line.split_whitespace().map(clean).collect()
        } else {
            line.split(self.separator).map(clean).collect()
        };
        // Many programs put a separator behind the last column.
        while cells.last() == Some(&"") {
            cells.pop();
        }
        cells
    }

    fn number(self, cell: &str) -> Option<f64> {
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
        text.parse().ok().filter(|x: &f64| starts && x.is_finite())
    }

    /// All columns, if all are numbers.
    fn row(self, line: &str) -> Option<Vec<f64>> {
        let cells = self.cells(line);
        if cells.is_empty() || cells.len() > 64 {
            return None;
        }
        cells.into_iter().map(|c| self.number(c)).collect()
    }
}

/// The part that has found out what the table is.
#[derive(Clone, Debug)]
struct Known {
    spec: TableSpec,
    shape: Shape,
    time: Option<usize>,
    value: usize,
    time_scale: f64,
    value_scale: f64,
    last: Option<(f64, f64)>,
}

/// Takes the bytes of a table as they come.
#[derive(Clone, Debug)]
pub struct TableReader {
    options: TableOptions,
    held: Vec<u8>,
    line: u64,
    /// Lines before it is known what they are.
    first: Vec<(u64, String)>,
    known: Option<Known>,
    notes: TableNotes,
    /// Rows with a step before them.
    rows: u64,
    after_return: bool,
}

impl TableReader {
    /// A reader with nothing read.
    pub fn new(options: TableOptions) -> TableReader {
        TableReader {
            options,
            held: Vec::new(),
            line: 0,
            first: Vec::new(),
            known: None,
            notes: TableNotes::default(),
            rows: 0,
            after_return: false,
        }
    }

    /// What the table is, once that is known.
    pub fn spec(&self) -> Option<&TableSpec> {
        self.known.as_ref().map(|k| &k.spec)
    }

    /// What was not as it should be so far.
    pub fn notes(&self) -> TableNotes {
        self.notes
    }

    /// Takes all of `bytes` and appends samples; in volts, where the unit is known.
    ///
    /// # Errors
    /// It is no table, or one without what is needed.
    pub fn run(&mut self, bytes: &[u8], out: &mut Vec<f32>) -> Result<(), TableError> {
        for &b in bytes {
            let ends = b == b'\n' || b == b'\r';
            if ends && !(b == b'\n' && core::mem::take(&mut self.after_return)) {
                let line = core::mem::take(&mut self.held);
                self.end_of_line(&line, out)?;
            } else if !ends {
                if self.held.len() >= LONGEST_LINE {
                    return Err(
                        self.error("a line is longer than any row of numbers: this is no table".into())
                    );
                }
                self.held.push(b);
            }
            self.after_return = b == b'\r';
        }
        Ok(())
    }

    /// The stream is over: what waited for more is read now.
    ///
    /// # Errors
    /// There were no numbers, or too few to tell the rate.
    pub fn finish(&mut self, out: &mut Vec<f32>) -> Result<TableNotes, TableError> {
        if !self.held.is_empty() {
            let line = core::mem::take(&mut self.held);
            self.end_of_line(&line, out)?;
        }
        if self.known.is_none() {
            self.find_out(true, out)?;
        }
        Ok(self.notes)
    }

    fn error(&self, what: String) -> TableError {
        TableError { line: self.line, what }
    }

    fn end_of_line(&mut self, line: &[u8], out: &mut Vec<f32>) -> Result<(), TableError> {
        self.line += 1;
        if line.contains(&0) {
            return Err(
                self.error("it holds bytes that no text has: save the table as plain text (UTF-8)".into())
            );
        }
        let text = String::from_utf8_lossy(line);
        let text = text.trim_start_matches('\u{FEFF}').trim();
        if text.is_empty() {
            return Ok(());
        }
        if self.known.is_some() {
            let text = text.to_string();
            return self.row(self.line, &text, out);
        }
        self.first.push((self.line, text.into()));
        if self.first.len() >= MOST_HEADER + FIRST_ROWS
            || self.first.len() >= FIRST_ROWS && self.first.len().is_multiple_of(FIRST_ROWS / 4)
        {
            self.find_out(false, out)?;
        }
        Ok(())
    }

    /// Looks at the first lines for what the table is, and reads them.
    fn find_out(&mut self, end: bool, out: &mut Vec<f32>) -> Result<(), TableError> {
        let Some((shape, begin)) = self.shape() else {
            if end || self.first.len() >= MOST_HEADER {
                return Err(self.error(format!(
                    "the first {} lines hold no {TOGETHER} rows of numbers",
                    self.first.len()
                )));
            }
            return Ok(());
        };
        let rows: Vec<(u64, Vec<f64>)> = self.first[begin..]
            .iter()
            .filter_map(|(n, l)| Some((*n, shape.row(l)?)))
            // A row that is cut tells nothing of the columns.
            .filter(|(_, row)| row.len() == shape.columns)
            .take(FIRST_ROWS)
            .collect();
        if !end && rows.len() < FIRST_ROWS && self.first.len() < MOST_HEADER + FIRST_ROWS {
            return Ok(());
        }
        let header = &self.first[..begin];
        let names: Vec<Vec<&str>> = header.iter().map(|(_, l)| shape.cells(l)).collect();
        let time = time_column(&names, &rows, shape.columns);
        let columns: Vec<usize> = (0..shape.columns).filter(|c| Some(*c) != time).collect();
        let Some(&value) = columns.get(self.options.channel) else {
            return Err(self.error(format!(
                "column {} of voltages is wanted, and it has {}",
                self.options.channel + 1,
                columns.len()
            )));
        };
        let time_scale = time.and_then(|c| unit_of(&names, c, time_unit)).map_or(1.0, |u| u.1);
        let named = unit_of(&names, value, voltage_unit);
        let foreign = unit_of(&names, value, other_unit);
        let rate_hz = match time {
            Some(c) => rate(&rows, c).map(|r| r / time_scale),
            None => self.options.rate_hz.or_else(|| written_rate(header)),
        };
        let Some(rate_hz) = rate_hz.filter(|r| r.is_finite() && *r > 0.0) else {
            let what = "it has no column of times that go on, and says no rate of samples: give the rate";
            return Err(self.error(what.into()));
        };
        let begin_s = time.and_then(|c| rows.first()?.1.get(c).copied()).unwrap_or(0.0) * time_scale;
        let volts = match (&named, &foreign) {
            (Some(u), _) => Some(u.1),
            (None, Some(_)) => None,
            (None, None) => Some(1.0),
        };
        let spec = TableSpec {
            rate_hz,
            channels: columns.len(),
            separator: shape.separator,
            decimal_comma: shape.comma,
            begin_s,
            volts,
            unit: named.or(foreign).map(|u| u.0),
        };
        let value_scale = volts.unwrap_or(1.0);
        self.known = Some(Known { spec, shape, time, value, time_scale, value_scale, last: None });
        let first = core::mem::take(&mut self.first);
        for (n, line) in &first[begin..] {
            self.row(*n, line, out)?;
        }
        Ok(())
    }

    /// How the numbers are written, and the first line of them.
    fn shape(&self) -> Option<(Shape, usize)> {
        let mut best: Option<(Shape, usize)> = None;
        for (separator, comma) in SHAPES {
            let shape = Shape { separator, comma, columns: 0 };
            let mut run: Option<(usize, usize, usize)> = None;
            for (n, (_, line)) in self.first.iter().enumerate() {
                run = match (shape.row(line).map(|r| r.len()), run) {
                    (Some(c), Some((from, columns, count))) if c == columns => {
                        Some((from, columns, count + 1))
                    }
                    (Some(c), _) => Some((n, c, 1)),
                    (None, _) => None,
                };
                let Some((from, columns, count)) = run else { continue };
                if count >= TOGETHER {
                    // More columns are a better reading; of equals the earlier kind.
                    if best.is_none_or(|(b, _)| columns > b.columns) {
                        best = Some((Shape { columns, ..shape }, from));
                    }
                    break;
                }
            }
        }
        best
    }

    fn row(&mut self, number: u64, line: &str, out: &mut Vec<f32>) -> Result<(), TableError> {
        let Some(known) = &mut self.known else { return Ok(()) };
        let row = known.shape.row(line).filter(|r| r.len() > known.value.max(known.time.unwrap_or(0)));
        let Some(row) = row else {
            skip(&mut self.notes, number);
            return Ok(());
        };
        let value = row[known.value] * known.value_scale;
        let Some(column) = known.time else {
            out.push(value as f32);
            return Ok(());
        };
        let time = row[column] * known.time_scale;
        if let Some((last_time, last_value)) = known.last {
            let steps = (time - last_time) * known.spec.rate_hz;
            if steps <= 0.0 {
                skip(&mut self.notes, number);
                return Ok(());
            }
            if (steps - 1.0).abs() > UNEVEN {
                self.notes.uneven += 1;
                if self.notes.uneven == 1 {
                    self.notes.first_uneven = number;
                }
            }
            if time - last_time > LONGEST_PAUSE_S {
                return Err(TableError {
                    line: number,
                    what: format!("{:.1} s are missing before it: split the table there", time - last_time),
                });
            }
            let missing = steps.round() as u64;
            self.rows += 1;
            if missing > MOST_FILLED || self.notes.filled + missing > self.rows + MOST_FILLED {
                let what = "more samples are missing than there are: split the table at its pauses";
                return Err(TableError { line: number, what: what.into() });
            }
            for k in 1..missing {
                out.push((last_value + (value - last_value) * k as f64 / missing as f64) as f32);
                self.notes.filled += 1;
            }
        }
        known.last = Some((time, value));
        out.push(value as f32);
        Ok(())
    }
}

fn skip(notes: &mut TableNotes, line: u64) {
    notes.skipped += 1;
    if notes.skipped == 1 {
        notes.first_skipped = line;
    }
}

/// The column whose header says time, or else the first that always goes on in nearly equal steps.
fn time_column(names: &[Vec<&str>], rows: &[(u64, Vec<f64>)], columns: usize) -> Option<usize> {
    let goes_on =
        |c: usize| rows.windows(2).filter(|w| w[1].1[c] <= w[0].1[c]).count() <= (rows.len() / 10).max(1);
    let says = |c: usize| {
        names.iter().filter_map(|n| n.get(c)).any(|name| {
            let name = name.to_lowercase();
            name.contains("time") || name == "t" || name == "x" || name == "second" || name == "s"
        })
    };
    (0..columns).find(|c| says(*c) && goes_on(*c)).or_else(|| (columns > 1 && goes_on(0)).then_some(0))
}

/// Rows a unit of time: over all first rows, so that times written with few digits do no harm.
fn rate(rows: &[(u64, Vec<f64>)], column: usize) -> Option<f64> {
    // Of all steps the middle one; those near it make the mean, so that a pause among them does no harm either.
    let mut steps: Vec<f64> =
        rows.windows(2).map(|w| w[1].1[column] - w[0].1[column]).filter(|s| *s > 0.0).collect();
    steps.sort_by(f64::total_cmp);
    let middle = *steps.get(steps.len() / 2)?;
    let usual: Vec<f64> = steps.into_iter().filter(|s| (s / middle - 1.0).abs() < 0.5).collect();
    let mean = usual.iter().sum::<f64>() / usual.len() as f64;
    Some(1.0 / mean)
}

/// The unit that the header has for a column, as a pure cell or in brackets behind a name, the last such line.
fn unit_of(names: &[Vec<&str>], column: usize, known: fn(&str) -> Option<f64>) -> Option<(String, f64)> {
    names.iter().rev().filter_map(|n| n.get(column)).find_map(|cell| {
        let inner = cell.rsplit_once(['(', '[']).map(|(_, u)| u.trim_end_matches([')', ']']));
        let last = cell.rsplit([' ', '_', '/']).next();
        [inner, Some(*cell), last]
            .into_iter()
            .flatten()
            .find_map(|u| Some((u.trim().to_string(), known(u.trim())?)))
    })
}

fn time_unit(u: &str) -> Option<f64> {
    match u.to_lowercase().as_str() {
        "s" | "sec" | "second" | "seconds" => Some(1.0),
        "ms" | "msec" | "milliseconds" => Some(1e-3),
        "us" | "µs" | "μs" | "usec" | "microseconds" => Some(1e-6),
        "ns" => Some(1e-9),
        "min" => Some(60.0),
        _ => None,
    }
}

fn voltage_unit(u: &str) -> Option<f64> {
    match u {
        "V" | "v" | "Volt" | "volt" | "VOLT" | "Volts" | "volts" => Some(1.0),
        "mV" | "mv" => Some(1e-3),
        "uV" | "µV" | "μV" => Some(1e-6),
        "kV" => Some(1e3),
        _ => None,
    }
}

fn other_unit(u: &str) -> Option<f64> {
    matches!(u, "A" | "mA" | "uA" | "µA" | "%" | "dB" | "W" | "Pa" | "bar" | "°C").then_some(1.0)
}

/// A rate that the header writes out: `Sample Interval, 2e-5` or `Sampling Rate; 48000`.
fn written_rate(header: &[(u64, String)]) -> Option<f64> {
    header.iter().find_map(|(_, line)| {
        let lower = line.to_lowercase();
        let number = lower
            .split([',', ';', '\t', ':', '=', ' '])
            .filter_map(|c| c.trim().trim_matches('"').parse::<f64>().ok())
            .find(|x| *x > 0.0)?;
        if lower.contains("interval") || lower.contains("increment") {
            Some(1.0 / number)
        } else if lower.contains("sample rate")
            || lower.contains("sampling rate")
            || lower.contains("samplerate")
        {
            Some(number)
        } else {
            None
        }
    })
}

#[cfg(test)]
mod tests;
