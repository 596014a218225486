//! Writes the log: appended record by record, each flushed before the next begins [LG-01].

use super::log::{Direction, Header, Record};
use crate::frame::{Octet, Receiver, ReceiverConfig};
use crate::time::Instant;
use core::fmt;
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// A log file that cannot be used.
#[derive(Debug)]
pub struct LogFileError {
    /// The file.
    pub path: PathBuf,
    /// What was being done.
    pub doing: &'static str,
    /// What is wrong.
    pub why: LogFileFault,
}

/// What is wrong with a log file.
#[derive(Debug)]
pub enum LogFileFault {
    /// The system said no.
    Io(io::Error),
    /// The file exists and is no log: writing to it would spoil it.
    NotALog,
}

impl fmt::Display for LogFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let path = self.path.display();
        match &self.why {
            LogFileFault::Io(e) => {
                let next = match e.kind() {
                    io::ErrorKind::StorageFull => "make room, or name a file on another disk",
                    _ => "check the path and the permissions, or name another file",
                };
                write!(f, "{} {path}: {}\n  next: {next}", self.doing, io_words(e))
            }
            LogFileFault::NotALog => write!(
                f,
                "{} {path}: the file exists and is no looprig log, so it was left alone\n  next: name another file",
                self.doing
            ),
        }
    }
}

impl std::error::Error for LogFileError {}

/// An error of the system in words, without its number.
pub fn io_words(e: &io::Error) -> String {
    match e.kind() {
        io::ErrorKind::NotFound => "there is no such file or directory".to_owned(),
        io::ErrorKind::PermissionDenied => "you may not do that: permission denied".to_owned(),
        io::ErrorKind::StorageFull => "the disk is full".to_owned(),
        _ => {
            let text = e.to_string();
            let end = text.find(" (os error").unwrap_or(text.len());
            text[..end].to_owned()
        }
    }
}

/// An open log. A log that exists is continued with a header of its own; nothing in it is lost.
#[derive(Debug)]
pub struct LogWriter {
    file: File,
    path: PathBuf,
    text: String,
}

impl LogWriter {
    /// Opens or creates the file and writes the header.
    ///
    /// # Errors
    /// The file cannot be opened or written, or is something else than a log.
    pub fn open(path: &Path, header: &Header) -> Result<LogWriter, LogFileError> {
        let fail = |doing, why| LogFileError { path: path.to_owned(), doing, why };
        let io = |e| fail("opening the log", LogFileFault::Io(e));
        let mut file = OpenOptions::new().read(true).append(true).create(true).open(path).map_err(io)?;
        let mut start = [0; 14];
        let n = file.read(&mut start).map_err(io)?;
        if n > 0 && !start[..n].starts_with(b"{\"looprig_log\"") {
            return Err(fail("opening the log", LogFileFault::NotALog));
        }
        let mut text = String::new();
        if n > 0 {
            file.seek(SeekFrom::End(-1)).map_err(io)?;
            let mut last = [0];
            file.read_exact(&mut last).map_err(io)?;
            if last != [b'\n'] {
                // A torn last line must not swallow the header.
                text.push('\n');
            }
        }
        text.push_str(&serde_json::to_string(header).unwrap_or_default());
        text.push('\n');
        let mut writer = LogWriter { file, path: path.to_owned(), text };
        writer.flush()?;
        Ok(writer)
    }

    /// Writes one record.
    ///
    /// # Errors
    /// The file cannot be written; what was written before is safe.
    pub fn write(&mut self, record: &Record) -> Result<(), LogFileError> {
        record.write(&mut self.text);
        self.flush()
    }

    fn flush(&mut self) -> Result<(), LogFileError> {
        let result = self.file.write_all(self.text.as_bytes());
        self.text.clear();
        result.map_err(|e| LogFileError {
            path: self.path.clone(),
            doing: "writing the log",
            why: LogFileFault::Io(e),
        })
    }
}

/// Cuts a stream of octets into the receptions that a log holds.
#[derive(Debug)]
pub struct Recorder {
    receiver: Receiver,
    direction: Option<Direction>,
    last: Option<Instant>,
}

impl Recorder {
    /// For octets that went one way.
    pub fn new(config: ReceiverConfig, direction: Option<Direction>) -> Self {
        Recorder { receiver: Receiver::new(config), direction, last: None }
    }

    /// Takes octets in order.
    pub fn push(&mut self, octets: &[Octet]) {
        self.receiver.push(octets);
    }

    /// When [`Recorder::handle_timeout`] wants to be called.
    pub fn deadline(&self) -> Option<Instant> {
        self.receiver.deadline()
    }

    /// Closes a reception after which the line fell silent.
    pub fn handle_timeout(&mut self, now: Instant) {
        self.receiver.handle_timeout(now);
    }

    /// Closes what is open.
    pub fn finish(&mut self) {
        self.receiver.finish();
    }

    /// The next record.
    #[allow(
        clippy::should_implement_trait,
        reason = "an iterator would be over at the first pause of the line"
    )]
    pub fn next(&mut self) -> Option<Record> {
        let reception = self.receiver.next()?;
        let gap_before = self.last.map(|last| reception.first_at().since(last));
        self.last = Some(reception.last_at());
        Some(Record { octets: reception.octets().to_vec(), direction: self.direction, gap_before })
    }
}
