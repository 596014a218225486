//! Tables of time and voltage, as oscilloscopes and loggers export them, to samples [WV-11].

mod clock;
mod columns;
mod shape;

use columns::{
    counted_rate, increment, name_of, other_unit, rate, time_column, time_unit, time_unit_of, unit_of,
    voltage_unit, written_rate,
};
use core::fmt;
use shape::{SHAPES, Shape};

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
/// Rows that may have the same time where times have few digits.
const MOST_REPEATED: f64 = 1000.0;
/// Half a day: a clock's time that goes back by more has passed midnight.
const HALF_DAY_S: f64 = 43_200.0;
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
    /// Whether it could be read if the rate of samples were given.
    pub needs_rate: bool,
    /// How many columns of voltages there are, where one is wanted that is not among them.
    pub channels: Option<usize>,
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
    /// Volts that one of the table's units is: 1 without any header; `None` where the header names the column and no volts, whose numbers are
    /// then taken as they are.
    pub volts: Option<f64>,
    /// Unit of the column as the header has it, if it has one.
    pub unit: Option<String>,
    /// Name of the column as the header has it, if it has one.
    pub name: Option<String>,
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
    /// Rows whose time is that of the row before, because times have too few digits: they were counted instead.
    pub repeated: u64,
    /// Whether the rate of samples was given, and not taken from the times.
    pub rate_is_given: bool,
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
                "{} rows were skipped, the first in line {}: their time goes back, or a cell of theirs is no number (1,050.0 is none, 1050.0 is one)",
                self.skipped, self.first_skipped
            ));
        }
        if self.repeated > 0 {
            let rate = if self.rate_is_given {
                ""
            } else {
                ", and their rate was taken from the times: better give it (--rate HZ, `rate=HZ` of a line)"
            };
            parts.push(format!(
                "times have too few digits ({} rows repeat that of the row before): rows were counted instead{rate}",
                self.repeated
            ));
        }
        f.write_str(&parts.join("; "))
    }
}

/// Whether text begins like a table of numbers and like nothing else: three lines of two columns or more. The last line may be cut off and is left aside.
pub fn looks_like_table(start: &str) -> bool {
    has_rows(start, &|shape, rows| {
        let point = if shape.comma { ',' } else { '.' };
        let two = rows.iter().all(|l| shape.row(l).is_some_and(|r| r.len() >= 2));
        // Blanks alone stand between octets of hex text too, and those may all look like numbers; but they have no point.
        let plain = match shape.separator {
            ' ' => !shape.comma && rows.iter().all(|l| l.contains('.')),
            _ => rows.iter().any(|l| l.contains([point, '-'])),
        };
        two && plain
    })
}

/// Whether text holds three lines of numbers together, be it of one column. Hex text may.
pub fn holds_numbers(start: &str) -> bool {
    has_rows(start, &|shape, rows| rows.iter().all(|l| shape.row(l).is_some()))
}

fn has_rows(start: &str, good: &dyn Fn(Shape, &[&str]) -> bool) -> bool {
    let lines: Vec<&str> = start.lines().map(str::trim).filter(|l| !l.is_empty()).take(MOST_HEADER).collect();
    let lines = &lines[..lines.len().saturating_sub(1)];
    SHAPES.iter().any(|&(separator, comma)| {
        let plain = Shape { separator, comma, columns: 0, skip: 0 };
        let beside = lines.last().map_or(0, |l| plain.leading(l));
        [0, beside].into_iter().take(1 + usize::from(beside > 0)).any(|skip| {
            let shape = Shape { skip, ..plain };
            lines.windows(TOGETHER).any(|w| good(shape, w))
        })
    })
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
    /// Where times have too few digits.
    coarse: Option<Coarse>,
    /// Times are those of a day, and so many seconds of days before are over.
    days_s: f64,
    clock: bool,
}

/// Rows are counted; their times only say where some are missing.
#[derive(Clone, Copy, Debug, Default)]
struct Coarse {
    /// Time of the last row by count, s.
    at: f64,
    /// Least step of the times, s; where they lose digits on the way, the last one.
    quantum: f64,
    /// Rows just before that repeat a time.
    repeated: f64,
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
        TableError { line: self.line, what, needs_rate: false, channels: None }
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
        let dates = |c: &usize| {
            // A date in a column of its own says nothing within a day.
            self.first
                .get(begin)
                .is_some_and(|(_, l)| shape.cells(l).get(*c).is_some_and(|c| clock::is_date(c)))
        };
        let clocks = |c: &usize| {
            self.first
                .get(begin)
                .is_some_and(|(_, l)| shape.cells(l).get(*c).is_some_and(|c| clock::is_time_of_day(c)))
        };
        let time = match (0..shape.columns).find(clocks) {
            Some(c) => Some(c),
            None => time_column(&names, &rows, shape.columns),
        };
        let clock = time.is_some_and(|c| clocks(&c));
        let columns: Vec<usize> = (0..shape.columns).filter(|c| Some(*c) != time && !dates(c)).collect();
        let Some(&value) = columns.get(self.options.channel) else {
            let (wanted, there) = (self.options.channel + 1, columns.len());
            let what = format!("column {wanted} of voltages is wanted, and it has {there}");
            return Err(TableError { channels: Some(there), ..self.error(what) });
        };
        let named_unit = time.and_then(|c| unit_of(&names, c, time_unit)).map(|u| u.1);
        // Rows that are counted from a header that says how long a step is.
        let counted = time.filter(|&c| rows.windows(2).all(|w| w[1].1[c] - w[0].1[c] == 1.0));
        let increment = counted.filter(|_| named_unit.is_none()).and_then(|_| increment(&names));
        let time_scale = increment.or(named_unit).or_else(|| time_unit_of(&names)).unwrap_or(1.0);
        // What is written as a clock's time is in seconds, whatever the header says.
        let written = |c: usize| {
            self.first.get(begin).and_then(|(_, l)| shape.cells(l).get(c).map(|c| c.contains(':')))
        };
        let time_scale = if time.and_then(written) == Some(true) { 1.0 } else { time_scale };
        let named = unit_of(&names, value, voltage_unit);
        let foreign = unit_of(&names, value, other_unit);
        let name = name_of(&names, value, shape.columns);
        let repeats = time.is_some_and(|c| rows.windows(2).any(|w| w[1].1[c] == w[0].1[c]));
        let (rate_hz, quantum) = match time {
            Some(c) if repeats => {
                match counted_rate(&rows, c, self.options.rate_hz.map(|r| r * time_scale)) {
                    Some((rate, quantum)) => (Some(rate / time_scale), Some(quantum * time_scale)),
                    None => {
                        let what = "times repeat: they have too few digits to tell how many samples a second there are: give the rate";
                        return Err(TableError { needs_rate: true, ..self.error(what.into()) });
                    }
                }
            }
            // Whoever gives a rate wants the rows to be counted.
            Some(_) if self.options.rate_hz.is_some() => (self.options.rate_hz, None),
            Some(c) => (rate(&rows, c).map(|r| r / time_scale), None),
            None => (self.options.rate_hz.or_else(|| written_rate(header)), None),
        };
        let Some(rate_hz) = rate_hz.filter(|r| r.is_finite() && *r > 0.0) else {
            let what = "it has no column of times that go on, and says no rate of samples: give the rate";
            return Err(TableError { needs_rate: true, ..self.error(what.into()) });
        };
        let begin_s = time.and_then(|c| rows.first()?.1.get(c).copied()).unwrap_or(0.0) * time_scale;
        let volts = match (&named, &foreign, &name) {
            (Some(u), ..) => Some(u.1),
            (None, None, None) => Some(1.0),
            (None, ..) => None,
        };
        let spec = TableSpec {
            rate_hz,
            channels: columns.len(),
            separator: shape.separator,
            decimal_comma: shape.comma,
            begin_s,
            volts,
            unit: named.or(foreign).map(|u| u.0),
            name,
        };
        let value_scale = volts.unwrap_or(1.0);
        self.known = Some(Known {
            spec,
            shape,
            time: time.filter(|_| repeats || self.options.rate_hz.is_none()),
            value,
            time_scale,
            value_scale,
            last: None,
            coarse: quantum.map(|quantum| Coarse { at: f64::NAN, quantum, repeated: 0.0 }),
            days_s: 0.0,
            clock,
        });
        self.notes.rate_is_given = self.options.rate_hz.is_some();
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
            let plain = Shape { separator, comma, columns: 0, skip: 0 };
            // Words on the settings may stand in columns beside the first rows, and nothing beside the later ones.
            let skip = self.first.last().map_or(0, |(_, l)| plain.leading(l));
            let shape = Shape { skip, ..plain };
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
        let mut time = row[column] * known.time_scale + known.days_s;
        if let Some((last_time, last_value)) = known.last {
            if known.clock && time < last_time - HALF_DAY_S {
                known.days_s += 2.0 * HALF_DAY_S;
                time += 2.0 * HALF_DAY_S;
            }
            let step_s = 1.0 / known.spec.rate_hz;
            let steps = (time - last_time) * known.spec.rate_hz;
            if steps < 0.0 {
                skip(&mut self.notes, number);
                return Ok(());
            }
            if steps == 0.0 {
                self.notes.repeated += 1;
                let coarse = Coarse { at: last_time, ..Coarse::default() };
                known.coarse.get_or_insert(coarse).repeated += 1.0;
            }
            let missing = match &mut known.coarse {
                None => {
                    if (steps - 1.0).abs() > UNEVEN {
                        self.notes.uneven += 1;
                        if self.notes.uneven == 1 {
                            self.notes.first_uneven = number;
                        }
                    }
                    steps.round()
                }
                Some(c) => {
                    let by_count = if c.at.is_nan() { last_time } else { c.at } + step_s;
                    if c.quantum == 0.0 && steps > 0.0 && steps < MOST_REPEATED {
                        c.quantum = time - last_time;
                    }
                    if steps > 0.0 {
                        // A longer step behind rows that repeat a time is one with fewer digits: those rows are there.
                        let there = (core::mem::take(&mut c.repeated) + 1.5) * step_s;
                        c.quantum = c.quantum.max(there.min(time - last_time));
                    }
                    let late = time - by_count;
                    if late > 2.0 * c.quantum + step_s {
                        c.at = time;
                        (late * known.spec.rate_hz).round() + 1.0
                    } else {
                        // The clock of the count follows that of the times slowly: neither the steps of the times nor a rate that is not quite right
                        // is to look like missing rows.
                        c.at = by_count + late * 0.01;
                        1.0
                    }
                }
            };
            if time - last_time > LONGEST_PAUSE_S {
                return Err(TableError {
                    line: number,
                    what: match time - last_time {
                        s if s < 1e6 => format!("{s:.1} s are missing before it: split the table there"),
                        s => format!("{s:.1e} s are missing before it: is its time right?"),
                    },
                    needs_rate: false,
                    channels: None,
                });
            }
            let missing = missing as u64;
            self.rows += 1;
            if missing > MOST_FILLED || self.notes.filled + missing > self.rows + MOST_FILLED {
                let what = "more samples are missing than there are: split the table at its pauses";
                return Err(TableError {
                    line: number,
                    what: what.into(),
                    needs_rate: false,
                    channels: None,
                });
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

#[cfg(test)]
mod tests;
