//! A log in several files, one after the other [LG-03].

use super::log::{Header, Record, write_remark};
use super::log_file::directory_of;
use super::signal::SignalRemark;
use super::writer::{LogFileError, LogWriter};
use crate::time::Instant;
use core::fmt;
use core::time::Duration;
use jiff::Timestamp;
use std::path::{Path, PathBuf};

/// When the next file begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rotation {
    /// Before a file would grow longer than so many octets.
    Size(u64),
    /// At midnight UTC.
    Day,
    /// At the full hour UTC.
    Hour,
}

impl Rotation {
    /// Reads a size such as `500k`, `10M` or `1G` (steps of 1000 octets; at least `1k`), `day` or `hour`.
    ///
    /// # Errors
    /// Says what was given and what would be right.
    pub fn parse(text: &str) -> Result<Rotation, String> {
        let size = || {
            let (digits, step) = [("k", 1_000), ("K", 1_000), ("M", 1_000_000), ("G", 1_000_000_000)]
                .iter()
                .find_map(|(suffix, step)| Some((text.strip_suffix(suffix)?, *step)))?;
            digits.parse::<u64>().ok()?.checked_mul(step).filter(|n| *n > 0)
        };
        match text {
            "day" => Ok(Rotation::Day),
            "hour" => Ok(Rotation::Hour),
            _ => size().map(Rotation::Size).ok_or_else(|| {
                format!("\"{text}\" is no rotation: give a size such as 500k, 10M or 1G, or `day` or `hour`")
            }),
        }
    }
}

impl fmt::Display for Rotation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Rotation::Size(n) => write!(f, "every {n} octets"),
            Rotation::Day => f.write_str("every day (UTC)"),
            Rotation::Hour => f.write_str("every hour (UTC)"),
        }
    }
}

/// A log that goes on in a new file where a [`Rotation`] says so.
///
/// Time is that of the records: the header's start and their stamps. A record belongs to the file of
/// the moment at which it began, and stands in one file wholly.
#[derive(Debug)]
pub struct LogSeries {
    path: PathBuf,
    rotation: Option<Rotation>,
    header: Header,
    start: Timestamp,
    writer: LogWriter,
    first: PathBuf,
    /// Number of the file, where they are numbered.
    number: u32,
    /// When the file's day or hour is over.
    until: Option<Instant>,
    line: String,
    /// There is something in the file besides our header: a single record that is too long must not
    /// open one file after the other.
    has_record: bool,
}

impl LogSeries {
    /// Opens or creates the first file and writes the header. Without a rotation it is `path` itself;
    /// else the file's number or date stands before the last dot of `path`. The last file that is there
    /// is continued while it has room.
    ///
    /// The header's `start_utc` must be such a time; else it counts as 1970.
    ///
    /// # Errors
    /// The file cannot be opened or written, or is something else than a log.
    pub fn open(path: &Path, rotation: Option<Rotation>, header: Header) -> Result<LogSeries, LogFileError> {
        let start: Timestamp = header.start_utc.parse().unwrap_or_default();
        let mut number = 1;
        let mut is_continued = false;
        if let Some(Rotation::Size(most)) = rotation {
            number = last_number(path).unwrap_or(1);
            let length = std::fs::metadata(numbered(path, number)).map_or(0, |m| m.len());
            // With its line end, and that of a torn line before it.
            let head = serde_json::to_string(&header).map_or(0, |h| h.len() as u64 + 2);
            is_continued = length > 0 && length + head <= most;
            if length > 0 && !is_continued {
                number += 1;
            }
        }
        let (first, until) = place(path, rotation, number, start, Instant::ZERO);
        let writer = LogWriter::open(&first, &header)?;
        let path = path.to_owned();
        Ok(LogSeries {
            path,
            rotation,
            header,
            start,
            writer,
            first,
            number,
            until,
            line: String::new(),
            has_record: is_continued,
        })
    }

    /// Writes one record, into the next file if it is time for that.
    ///
    /// # Errors
    /// The file cannot be written, or the next one not be opened; what was written before is safe.
    pub fn write(&mut self, record: &Record) -> Result<(), LogFileError> {
        let at = record.octets.first().map_or(Instant::ZERO, |o| o.at);
        self.line.clear();
        record.write(&mut self.line);
        if self.is_full() || self.until.is_some_and(|until| at >= until) {
            self.begin_next(at)?;
        }
        self.has_record = true;
        self.writer.write(record)
    }

    /// Writes a remark on the signal of records before it [LG-05]: where size decides, into the next file if this one is full.
    ///
    /// # Errors
    /// As [`LogSeries::write`].
    pub fn write_remark(&mut self, remark: &SignalRemark) -> Result<(), LogFileError> {
        self.line.clear();
        write_remark(remark, &mut self.line);
        if self.is_full() {
            self.begin_next(remark.until)?;
        }
        self.has_record = true;
        self.writer.write_remark(remark)
    }

    /// Whether the line that is to be written would make the file longer than it may become.
    fn is_full(&self) -> bool {
        let Some(Rotation::Size(most)) = self.rotation else { return false };
        self.has_record && self.writer.length() + self.line.len() as u64 > most
    }

    /// When [`LogSeries::handle_timeout`] wants to be called; `None` while everything is on the disk.
    pub fn deadline(&self) -> Option<Instant> {
        self.writer.deadline()
    }

    /// Waits for the disk if that is due; see [`LogWriter::handle_timeout`].
    ///
    /// # Errors
    /// The disk fails.
    pub fn handle_timeout(&mut self, now: Instant) -> Result<(), LogFileError> {
        self.writer.handle_timeout(now)
    }

    /// Waits until everything has reached the disk.
    ///
    /// # Errors
    /// The disk fails.
    pub fn sync(&mut self) -> Result<(), LogFileError> {
        self.writer.sync()
    }

    /// The first file of this capture and the one that is being written.
    pub fn files(&self) -> (&Path, &Path) {
        (&self.first, self.writer.path())
    }

    fn begin_next(&mut self, at: Instant) -> Result<(), LogFileError> {
        // Nobody looks at this file again: the power may go.
        self.writer.sync()?;
        self.number = self.number.saturating_add(1);
        let (path, until) = place(&self.path, self.rotation, self.number, self.start, at);
        self.header.part = Some(self.header.part.unwrap_or(1).saturating_add(1));
        self.writer = LogWriter::open(&path, &self.header)?;
        self.until = until;
        self.has_record = false;
        Ok(())
    }
}

/// The file for a moment of the capture, and when it is over.
fn place(
    path: &Path,
    rotation: Option<Rotation>,
    number: u32,
    start: Timestamp,
    at: Instant,
) -> (PathBuf, Option<Instant>) {
    let (seconds, form) = match rotation {
        None => return (path.to_owned(), None),
        Some(Rotation::Size(_)) => return (numbered(path, number), None),
        Some(Rotation::Day) => (86_400, "%Y-%m-%d"),
        Some(Rotation::Hour) => (3_600, "%Y-%m-%dT%H"),
    };
    // Far beyond any calendar the files no longer change.
    let now = start.checked_add(Duration::from_nanos(at.as_nanos())).unwrap_or(Timestamp::MAX);
    let over = (now.as_second().div_euclid(seconds) + 1) * seconds;
    let left = Timestamp::from_second(over).ok().map(|over| over.duration_since(start));
    let until = left.and_then(|d| Duration::try_from(d).ok()).map(|d| Instant::ZERO + d);
    (inserted(path, &now.strftime(form).to_string()), until)
}

fn numbered(path: &Path, number: u32) -> PathBuf {
    inserted(path, &format!("{number:06}"))
}

/// `loop.log` with `word` becomes `loop.WORD.log`.
fn inserted(path: &Path, word: &str) -> PathBuf {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(".");
    name.push(word);
    if let Some(extension) = path.extension() {
        name.push(".");
        name.push(extension);
    }
    path.with_file_name(name)
}

/// The highest number of a file that is there.
fn last_number(path: &Path) -> Option<u32> {
    let numbers = std::fs::read_dir(directory_of(path)).ok()?.filter_map(|entry| {
        let name = PathBuf::from(entry.ok()?.file_name());
        // Before the extension, or, where `path` has none, at the end.
        let mut words = name.to_str()?.rsplit('.').take(2);
        let number = words.find_map(|word| word.parse().ok())?;
        (numbered(path, number).file_name()? == name.as_os_str()).then_some(number)
    });
    numbers.max()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{Captured, Reader};
    use crate::frame::Octet;
    use std::fs;

    fn scratch(name: &str) -> PathBuf {
        let dir = std::env::temp_dir().join(format!("looprig-rotate-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&dir);
        fs::create_dir_all(&dir).unwrap();
        dir
    }

    /// A record of so many octets that begins so many seconds after the start.
    fn record(seconds: f64, value: u8, count: usize) -> Record {
        let at = Instant::ZERO + Duration::from_secs_f64(seconds);
        Record { octets: vec![Octet::clean(at, value); count], direction: None, gap_before: None }
    }

    /// Names in order with the first octet of every record, and the parts that the headers name.
    fn contents(dir: &Path) -> Vec<(String, Vec<u8>, Vec<Option<u32>>)> {
        let mut out = Vec::new();
        for entry in fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            let log = fs::read(&path).unwrap();
            let mut reader = Reader::new(&log[..]).unwrap();
            let (mut values, mut parts) = (Vec::new(), Vec::new());
            while let Some(captured) = reader.next().unwrap() {
                match captured {
                    Captured::Start(h) => parts.push(h.part),
                    Captured::Octets(o) => values.push(o[0].value),
                    other => panic!("{other:?}"),
                }
            }
            out.push((path.file_name().unwrap().to_str().unwrap().to_owned(), values, parts));
        }
        out.sort();
        out
    }

    fn file(name: &str, values: &[u8], parts: &[Option<u32>]) -> (String, Vec<u8>, Vec<Option<u32>>) {
        (name.to_owned(), values.to_vec(), parts.to_vec())
    }

    #[test]
    fn rotations_are_read() {
        assert_eq!(Rotation::parse("10M"), Ok(Rotation::Size(10_000_000)));
        for thousand in ["1k", "1K"] {
            assert_eq!(Rotation::parse(thousand), Ok(Rotation::Size(1_000)));
        }
        assert_eq!(Rotation::parse("2G"), Ok(Rotation::Size(2_000_000_000)));
        assert_eq!(Rotation::parse("day"), Ok(Rotation::Day));
        assert_eq!(Rotation::parse("hour"), Ok(Rotation::Hour));
        for bad in
            ["", "0k", "10", "M", "-1M", "1.5M", "10m", "week", "99999999999999999999G", "999999999999G"]
        {
            assert!(Rotation::parse(bad).unwrap_err().contains("10M"), "{bad}");
        }
    }

    /// [LG-03]: 23:59:58 and two seconds are midnight; the record of that very moment belongs to the
    /// new day, the one before it, however long it lasts, to the old one.
    #[test]
    fn a_day_ends_at_midnight() {
        let dir = scratch("day");
        let head = Header::of_test("2026-12-31T23:59:58Z");
        let mut log = LogSeries::open(&dir.join("loop.log"), Some(Rotation::Day), head).unwrap();
        log.write(&record(0.5, 1, 3)).unwrap();
        log.write(&record(1.999_999_999, 2, 300)).unwrap();
        log.write(&record(2.0, 3, 3)).unwrap();
        // Two silent days have no file.
        log.write(&record(3.0 * 86_400.0 + 1.5, 4, 3)).unwrap();
        log.write(&record(3.0 * 86_400.0 + 2.5, 5, 3)).unwrap();
        assert!(
            log.files().0.ends_with("loop.2026-12-31.log") && log.files().1.ends_with("loop.2027-01-04.log")
        );
        assert_eq!(
            contents(&dir),
            [
                file("loop.2026-12-31.log", &[1, 2], &[None]),
                file("loop.2027-01-01.log", &[3], &[Some(2)]),
                file("loop.2027-01-03.log", &[4], &[Some(3)]),
                file("loop.2027-01-04.log", &[5], &[Some(4)]),
            ]
        );
        fs::remove_dir_all(dir).unwrap();
    }

    #[test]
    fn an_hour_ends_at_the_full_hour() {
        let dir = scratch("hour");
        let open =
            |start| LogSeries::open(&dir.join("loop"), Some(Rotation::Hour), Header::of_test(start)).unwrap();
        let mut log = open("2026-11-25T13:30:00Z");
        log.write(&record(1_799.9, 1, 3)).unwrap();
        log.write(&record(1_800.0, 2, 3)).unwrap();
        // Started anew within the hour: the file is continued, with a header of its own.
        drop(log);
        let mut log = open("2026-11-25T14:59:59.5Z");
        log.write(&record(0.4, 3, 3)).unwrap();
        log.write(&record(0.5, 4, 3)).unwrap();
        assert_eq!(
            contents(&dir),
            [
                file("loop.2026-11-25T13", &[1], &[None]),
                file("loop.2026-11-25T14", &[2, 3], &[Some(2), None]),
                file("loop.2026-11-25T15", &[4], &[Some(2)]),
            ]
        );
        fs::remove_dir_all(dir).unwrap();
    }

    #[test]
    fn a_size_is_not_exceeded_and_nothing_is_lost() {
        let dir = scratch("size");
        let path = dir.join("loop.log");
        let (head, most) = (Header::of_test("2026-11-25T13:30:00Z"), 1_000);
        let mut written = Vec::new();
        // Three sessions: the last file is continued while it has room.
        for session in 0..3 {
            let mut log = LogSeries::open(&path, Some(Rotation::Size(most)), head.clone()).unwrap();
            for n in 0..20u8 {
                log.write(&record(f64::from(n), session * 20 + n, 40)).unwrap();
                written.push(session * 20 + n);
            }
        }
        let files = contents(&dir);
        assert_eq!(files.iter().flat_map(|(_, v, _)| v.clone()).collect::<Vec<_>>(), written);
        for (i, (name, values, parts)) in files.iter().enumerate() {
            assert_eq!(*name, format!("loop.{:06}.log", i + 1));
            assert!(!parts.is_empty() && !values.is_empty());
            assert!(fs::metadata(dir.join(name)).unwrap().len() <= most, "{name}");
        }
        // 60 records of more than 80 octets, and a header of more than 200 in each file of 1000.
        assert!(files.len() >= 7, "{}", files.len());
        // A record that is longer than a file gets one of its own, and no empty file is left.
        let mut log = LogSeries::open(&path, Some(Rotation::Size(most)), head).unwrap();
        for n in 0..3 {
            log.write(&record(f64::from(n), 200 + n, 2_000)).unwrap();
        }
        let now = contents(&dir);
        let last: Vec<u8> = now.iter().skip(files.len()).flat_map(|(_, v, _)| v.clone()).collect();
        assert!(last.ends_with(&[201, 202]), "{last:?}");
        assert!(now.iter().all(|(_, values, _)| !values.is_empty()));
        fs::remove_dir_all(dir).unwrap();
    }

    /// However much room the last file has: a record that does not fit into it goes into the next one.
    #[test]
    fn a_continued_file_stays_within_its_size() {
        let head = Header::of_test("2026-11-25T13:30:00Z");
        let most = 1_000;
        let mut continued = 0;
        for room in (0..600).step_by(7) {
            let dir = scratch("continued");
            let path = dir.join("loop.log");
            let mut first = LogSeries::open(&path, Some(Rotation::Size(most)), head.clone()).unwrap();
            first.write(&record(0.0, 1, 40)).unwrap();
            drop(first);
            let file = dir.join("loop.000001.log");
            let length = fs::metadata(&file).unwrap().len();
            let more = (most - room).saturating_sub(length + 1) as usize;
            // Blank lines are none of a log's, and are read as if they were not there.
            let log = [fs::read(&file).unwrap(), vec![b' '; more], vec![b'\n']].concat();
            fs::write(&file, log).unwrap();
            let mut log = LogSeries::open(&path, Some(Rotation::Size(most)), head.clone()).unwrap();
            log.write(&record(0.0, 2, 40)).unwrap();
            let files = contents(&dir);
            for (name, ..) in &files {
                let length = fs::metadata(dir.join(name)).unwrap().len();
                assert!(length <= most, "{name} has {length} octets after {room} were left");
            }
            assert_eq!(files.iter().flat_map(|(_, v, _)| v.clone()).collect::<Vec<_>>(), [1, 2]);
            continued += usize::from(files.len() == 1);
            fs::remove_dir_all(dir).unwrap();
        }
        assert!(continued > 10, "{continued}");
    }

    /// A header continues another one only with the same clock and as the next part.
    #[test]
    fn parts_are_told_from_new_captures() {
        let first = Header::of_test("2026-11-25T13:30:00Z");
        let part = |n| Header { part: Some(n), ..first.clone() };
        assert!(part(2).continues(&first) && part(3).continues(&part(2)));
        assert!(!part(3).continues(&first) && !first.continues(&first) && !part(2).continues(&part(2)));
        let other = Header { part: Some(2), ..Header::of_test("2026-11-25T13:30:01Z") };
        assert!(!other.continues(&first));
    }
}
