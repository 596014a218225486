//! Writes the log: appended record by record, each flushed before the next begins [LG-01].

use super::log::{Direction, Header, LOG_VERSION, Record, write_remark};
use super::log_file::{LogFile, LogStore};
use super::signal::SignalRemark;
use crate::frame::{Octet, Receiver, ReceiverConfig};
use crate::time::Instant;
use core::fmt;
use core::time::Duration;
use std::io;
use std::path::{Path, PathBuf};

/// How every log begins.
const HEADER_START: &[u8; 14] = b"{\"looprig_log\"";
/// Octets in which its version stands.
const HEADER_LOOK: u64 = 40;

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

/// What [`LogFileError`] says of records.
const WRITING: &str = "writing the log";

/// What is wrong with a log file.
#[derive(Debug)]
pub enum LogFileFault {
    /// The system said no.
    Io(io::Error),
    /// The file exists and is no log: writing to it would spoil it.
    NotALog,
    /// The file is a log of this newer format, and what we would add to it one of an older.
    Newer(u64),
    /// Another program is writing it: two captures in turn would be read as one.
    InUse,
    /// It is a device, a pipe or the like: what is written there cannot be read back.
    NotAFile,
}

impl fmt::Display for LogFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}: ", self.doing, self.path.display())?;
        match &self.why {
            LogFileFault::Io(e) => f.write_str(&io_words(e))?,
            LogFileFault::NotALog => {
                f.write_str("the file exists and is no looprig log, so it was left alone")?;
            }
            LogFileFault::Newer(version) => write!(
                f,
                "it is a log of format {version}, which is newer than this program's {LOG_VERSION}, so it was left alone"
            )?,
            LogFileFault::InUse => f.write_str("another program is writing this log")?,
            LogFileFault::NotAFile => f.write_str("it is no file that could be read later")?,
        }
        f.write_str("\n  next: ")?;
        f.write_str(match &self.why {
            LogFileFault::Io(_) if self.doing == WRITING => {
                "what was logged so far is kept; make room or name another file, and start again"
            }
            LogFileFault::Io(_) => "check the path and the permissions, or name another file",
            LogFileFault::Newer(_) => "name another file, or continue it with a newer looprig",
            LogFileFault::InUse => "end that program, or name another file",
            LogFileFault::NotALog | LogFileFault::NotAFile => "name another file",
        })
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

/// How long a record may wait for the disk: what a loss of power can take at the most [LG-04].
pub const SYNC_EVERY: Duration = Duration::from_secs(5);

/// An open log. A log that exists is continued with a header of its own; nothing in it is lost.
///
/// A record is handed to the system in one piece before [`LogWriter::write`] returns: it outlives the
/// program, however that ends [LG-04]. So that it outlives a loss of power too, call
/// [`LogWriter::handle_timeout`] when [`LogWriter::deadline`] has come.
#[derive(Debug)]
pub struct LogWriter<W = LogFile> {
    to: W,
    path: PathBuf,
    text: String,
    length: u64,
    /// The last write failed, maybe in the middle of a line.
    torn: bool,
    /// Something was written that may not have reached the disk.
    unsynced: bool,
    /// Not before then is the disk waited for again.
    sync_at: Instant,
}

impl LogWriter {
    /// Opens or creates the file and writes the header. Until this is dropped, nobody else can open it
    /// here (on Unix).
    ///
    /// # Errors
    /// The file cannot be opened or written, or is something else than a log that this version writes
    /// and nobody else writes at present. What is in it stays as it is.
    pub fn open(path: &Path, header: &Header) -> Result<LogWriter, LogFileError> {
        let fail = |why| LogFileError { path: path.to_owned(), doing: "opening the log", why };
        let io = |e| fail(LogFileFault::Io(e));
        // A pipe would block, and a device keeps nothing.
        if std::fs::metadata(path).is_ok_and(|m| !m.is_file() && !m.is_dir()) {
            return Err(fail(LogFileFault::NotAFile));
        }
        let mut file = LogFile::open(path).map_err(io)?.ok_or_else(|| fail(LogFileFault::InUse))?;
        let (length, start, last) = file.look(HEADER_LOOK).map_err(io)?;
        let n = start.len().min(HEADER_START.len());
        if start[..n] != HEADER_START[..n] {
            return Err(fail(LogFileFault::NotALog));
        }
        if let Some(version) = version(&start[n..]).filter(|v| *v > LOG_VERSION.into()) {
            return Err(fail(LogFileFault::Newer(version)));
        }
        let mut writer = LogWriter::empty(file, path);
        writer.length = length;
        // A torn last line must not swallow the header.
        writer.torn = last.is_some_and(|octet| octet != b'\n');
        if let Err(e) = writer.write_header(header) {
            if length == 0 {
                // Nothing is in it that anybody could want.
                let _ = std::fs::remove_file(path);
            }
            return Err(e);
        }
        Ok(writer)
    }
}

/// The version that stands behind the beginning of a header; `None` if it is torn off before that.
fn version(after: &[u8]) -> Option<u64> {
    let text = String::from_utf8_lossy(after);
    let text = text.trim_start().strip_prefix(':')?.trim_start();
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    text[..digits].parse().ok()
}

impl<W: LogStore> LogWriter<W> {
    /// A log that goes somewhere else than into a file; `path` is its name in messages.
    ///
    /// # Errors
    /// The header cannot be written.
    pub fn new(to: W, path: &Path, header: &Header) -> Result<Self, LogFileError> {
        let mut writer = LogWriter::empty(to, path);
        writer.write_header(header)?;
        Ok(writer)
    }

    fn empty(to: W, path: &Path) -> Self {
        let (path, text) = (path.to_owned(), String::new());
        LogWriter { to, path, text, length: 0, torn: false, unsynced: false, sync_at: Instant::ZERO }
    }

    /// When [`LogWriter::handle_timeout`] wants to be called; `None` while everything is on the disk.
    pub fn deadline(&self) -> Option<Instant> {
        self.unsynced.then_some(self.sync_at)
    }

    /// Waits for the disk if that is due: at once after a pause, else every [`SYNC_EVERY`].
    ///
    /// # Errors
    /// The disk fails.
    pub fn handle_timeout(&mut self, now: Instant) -> Result<(), LogFileError> {
        if self.deadline().is_none_or(|due| due > now) {
            return Ok(());
        }
        self.sync_at = now + SYNC_EVERY;
        self.sync()
    }

    /// Waits until everything has reached the disk, so that it outlives a loss of power as well.
    ///
    /// # Errors
    /// The disk fails.
    pub fn sync(&mut self) -> Result<(), LogFileError> {
        self.to.sync().map_err(|e| self.failed(e))?;
        self.unsynced = false;
        Ok(())
    }

    /// The length of the log, octets.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// The file that is being written.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes one record.
    ///
    /// # Errors
    /// The file cannot be written; what was written before is safe. A part of this record may be
    /// there: whatever is written next begins on a new line, and the reader skips the torn one [LG-02].
    pub fn write(&mut self, record: &Record) -> Result<(), LogFileError> {
        record.write(&mut self.text);
        self.flush()
    }

    /// Writes a remark on the signal [LG-05].
    ///
    /// # Errors
    /// As [`LogWriter::write`].
    pub fn write_remark(&mut self, remark: &SignalRemark) -> Result<(), LogFileError> {
        write_remark(remark, &mut self.text);
        self.flush()
    }

    fn write_header(&mut self, header: &Header) -> Result<(), LogFileError> {
        self.text.push_str(&serde_json::to_string(header).unwrap_or_default());
        self.text.push('\n');
        self.flush()
    }

    fn flush(&mut self) -> Result<(), LogFileError> {
        if self.torn {
            self.text.insert(0, '\n');
        }
        self.unsynced = true;
        let result = self.to.write_all(self.text.as_bytes()).and_then(|()| self.to.flush());
        self.torn = result.is_err();
        self.length += self.text.len() as u64;
        self.text.clear();
        result.map_err(|e| self.failed(e))
    }

    fn failed(&self, e: io::Error) -> LogFileError {
        LogFileError { path: self.path.clone(), doing: WRITING, why: LogFileFault::Io(e) }
    }
}

/// Cuts a stream of octets into the receptions that a log holds.
#[derive(Debug)]
pub struct Recorder {
    receiver: Receiver,
    character: Duration,
    direction: Option<Direction>,
    last: Option<Instant>,
}

impl Recorder {
    /// For octets that went one way, on a line whose characters last `character`.
    pub fn new(config: ReceiverConfig, character: Duration, direction: Option<Direction>) -> Self {
        Recorder { receiver: Receiver::new(config), character, direction, last: None }
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
        // A stamp is the end of a character: the line was idle until this one began.
        let began = reception.first_at().before(self.character);
        let gap_before = self.last.map(|last| began.since(last));
        self.last = Some(reception.last_at());
        Some(Record { octets: reception.octets().to_vec(), direction: self.direction, gap_before })
    }
}

#[cfg(test)]
mod tests {
    use super::super::reader::{Captured, Fault, Reader};
    use super::*;
    use crate::time::Pace;
    use std::io::Write;

    fn record(n: u8) -> Record {
        let octets = vec![Octet::clean(Instant::from_nanos(u64::from(n) * 10), n)];
        Record { octets, direction: None, gap_before: None }
    }

    fn read(log: &[u8]) -> (Vec<u8>, usize, Vec<Fault>) {
        let mut reader = Reader::new(log).unwrap();
        let (mut values, mut headers, mut faults) = (Vec::new(), 0, Vec::new());
        while let Some(captured) = reader.next().unwrap() {
            match captured {
                Captured::Start(_) => headers += 1,
                Captured::Octets(o) => values.extend(o.iter().map(|o| o.value)),
                Captured::Problem(p) => faults.push(p.fault),
                Captured::Break | Captured::Messages(_) | Captured::Remark(_) => {}
            }
        }
        (values, headers, faults)
    }

    /// A disk that takes so many octets and no more, a few at a time.
    #[derive(Clone, Default)]
    struct Small {
        holds: Vec<u8>,
        room: usize,
    }

    impl Write for Small {
        fn write(&mut self, octets: &[u8]) -> io::Result<usize> {
            let n = octets.len().min(self.room - self.holds.len()).min(7);
            if n == 0 {
                return Err(io::ErrorKind::StorageFull.into());
            }
            self.holds.extend(&octets[..n]);
            Ok(n)
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    impl LogStore for Small {
        fn sync(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    /// A disk that has only what was synchronised when the power goes.
    #[derive(Default)]
    struct Forgetful {
        holds: Vec<u8>,
        /// So much of it for certain.
        certain: usize,
        syncs: usize,
        /// Says that it has synchronised, and has not.
        lies: bool,
        fails: bool,
    }

    impl Write for Forgetful {
        fn write(&mut self, octets: &[u8]) -> io::Result<usize> {
            self.holds.extend(octets);
            Ok(octets.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    impl LogStore for Forgetful {
        fn sync(&mut self) -> io::Result<()> {
            self.syncs += 1;
            if self.fails {
                return Err(io::Error::other("the disk is gone"));
            }
            if !self.lies {
                self.certain = self.holds.len();
            }
            Ok(())
        }
    }

    /// Ten minutes in which the power may go at any moment: records a fraction of a second apart, and a
    /// silent minute after each minute. Whether all that is older than [`SYNC_EVERY`] was on the disk at
    /// every moment, and how often the disk was waited for.
    fn powered(disk: Forgetful) -> (bool, usize) {
        let mut log =
            LogWriter::new(disk, Path::new("x.log"), &Header::of_test("2026-11-25T13:00:00Z")).unwrap();
        let mut written: Vec<(Instant, usize)> = vec![(Instant::ZERO, log.to.holds.len())];
        let mut kept = true;
        let mut now = Instant::ZERO;
        for n in 0..2_000u64 {
            let pause = if n % 200 == 199 { 60_000 } else { 1 + n * 7_919 % 600 };
            let next = now + Duration::from_millis(pause);
            while let Some(due) = log.deadline().filter(|due| *due <= next) {
                now = now.max(due);
                let mut ends = written.iter().filter(|(at, _)| now.since(*at) > SYNC_EVERY);
                kept &= ends.all(|(_, end)| *end <= log.to.certain);
                log.handle_timeout(now).unwrap();
            }
            now = next;
            log.write(&record(n as u8)).unwrap();
            written.push((now, log.to.holds.len()));
        }
        let (values, headers, faults) = read(&log.to.holds[..log.to.certain]);
        let whole = written.iter().filter(|(_, end)| *end <= log.to.certain).count();
        kept &= (values.len() + headers, faults.len()) == (whole, 0);
        (kept, log.to.syncs)
    }

    /// [LG-04]: a loss of power takes no more than the last seconds, and a silent line costs nothing.
    #[test]
    fn a_record_waits_for_the_disk_no_longer_than_it_may() {
        let (kept, syncs) = powered(Forgetful::default());
        assert!(kept);
        // Ten minutes of records of 0.3 s on average, 12 times a minute, and one more behind each pause.
        assert!((100..=140).contains(&syncs), "{syncs}");
        let (kept, _) = powered(Forgetful { lies: true, ..Forgetful::default() });
        assert!(!kept, "it would go unnoticed if nothing were synchronised");
        let mut log = LogWriter::new(
            Forgetful::default(),
            Path::new("x.log"),
            &Header::of_test("2026-11-25T13:00:00Z"),
        )
        .unwrap();
        log.handle_timeout(Instant::ZERO).unwrap();
        assert_eq!((log.deadline(), log.to.syncs), (None, 1));
        log.write(&record(1)).unwrap();
        assert_eq!(log.deadline(), Some(Instant::ZERO + SYNC_EVERY));
        log.to.fails = true;
        let told = log.handle_timeout(Instant::ZERO + SYNC_EVERY).unwrap_err().to_string();
        assert!(told.starts_with("writing the log x.log: the disk is gone"), "{told}");
        assert!(log.deadline().is_some(), "it is not on the disk");
    }

    /// [LG-04]: wherever the disk becomes full, every record before is there, the error is told, and
    /// what is written once there is room again can be read.
    #[test]
    fn a_full_disk_loses_nothing_that_was_written() {
        let all = Small { holds: Vec::new(), room: 100_000 };
        let mut whole =
            LogWriter::new(all, Path::new("x.log"), &Header::of_test("2026-11-25T13:00:00Z")).unwrap();
        let head = whole.length() as usize;
        let mut ends = vec![head];
        for n in 1..=4 {
            whole.write(&record(n)).unwrap();
            ends.push(whole.length() as usize);
        }
        assert_eq!(whole.to.holds.len(), ends[4]);
        for room in head..ends[4] {
            let to = Small { holds: Vec::new(), room };
            let mut log =
                LogWriter::new(to, Path::new("x.log"), &Header::of_test("2026-11-25T13:00:00Z")).unwrap();
            let fits = ends[1..].iter().filter(|&&end| end <= room).count() as u8;
            for n in 1..=fits {
                log.write(&record(n)).unwrap();
            }
            let told = log.write(&record(fits + 1)).unwrap_err().to_string();
            assert!(told.starts_with("writing the log x.log: ") && told.contains("is kept"), "{told}");
            let (values, _, faults) = read(&log.to.holds);
            // Where only the line's end is missing, the record is whole all the same.
            let there = fits + u8::from(room + 1 == ends[usize::from(fits) + 1]);
            assert_eq!(values, (1..=there).collect::<Vec<_>>(), "room {room}");
            let torn = room > ends[usize::from(fits)] && there == fits;
            assert_eq!(faults, if torn { vec![Fault::Torn] } else { vec![] }, "room {room}");
            log.to.room = 100_000;
            log.write(&record(9)).unwrap();
            let (values, headers, faults) = read(&log.to.holds);
            assert_eq!((values.last(), headers), (Some(&9), 1));
            assert!(faults.len() <= 1 && faults.iter().all(|f| *f == Fault::CutOff), "{faults:?}");
        }
        let small = Small { holds: Vec::new(), room: head - 1 };
        assert!(LogWriter::new(small, Path::new("x.log"), &Header::of_test("2026-11-25T13:00:00Z")).is_err());
    }

    /// [LG-02]: a log whose last line is torn anywhere, the header included, is continued on a new
    /// line; what stood there stays as it was.
    #[test]
    fn a_torn_log_is_continued() {
        let dir = std::env::temp_dir().join(format!("looprig-writer-{}", std::process::id()));
        std::fs::create_dir_all(&dir).unwrap();
        let path = dir.join("x.log");
        let mut log = LogWriter::open(&path, &Header::of_test("2026-11-25T13:00:00Z")).unwrap();
        log.write(&record(1)).unwrap();
        drop(log);
        let whole = std::fs::read(&path).unwrap();
        for cut in 1..=whole.len() {
            std::fs::write(&path, &whole[..cut]).unwrap();
            let mut log = LogWriter::open(&path, &Header::of_test("2026-11-25T13:00:00Z")).unwrap();
            log.write(&record(2)).unwrap();
            log.sync().unwrap();
            let now = std::fs::read(&path).unwrap();
            assert!(now.starts_with(&whole[..cut]));
            assert_eq!(now.len() as u64, log.length());
            let (values, headers, faults) = read(&now);
            assert_eq!(values.last(), Some(&2), "cut {cut}");
            assert!(headers >= 1 && faults.iter().all(|f| *f == Fault::CutOff), "cut {cut}: {faults:?}");
        }
        std::fs::remove_dir_all(dir).unwrap();
    }

    /// Not an octet is added to what is no log of ours, and a file that nothing could be written into is
    /// not left behind.
    #[test]
    fn what_is_no_log_of_ours_is_left_alone() {
        let dir = std::env::temp_dir().join(format!("looprig-writer-alone-{}", std::process::id()));
        std::fs::create_dir_all(&dir).unwrap();
        let path = dir.join("x.log");
        for (content, told, next) in [
            ("{\"other\":1}\n", "no looprig log", "name another file"),
            ("{\"looprig_log\":2,\"line\":\"ä\",\"new\":0}\n", "a log of format 2", "a newer looprig"),
            ("{\"looprig_log\" : 12}", "a log of format 12", "a newer looprig"),
        ] {
            std::fs::write(&path, content).unwrap();
            let said =
                LogWriter::open(&path, &Header::of_test("2026-11-25T13:00:00Z")).unwrap_err().to_string();
            assert!(said.contains(told) && said.contains("next: ") && said.contains(next), "{said}");
            assert_eq!(std::fs::read_to_string(&path).unwrap(), content);
        }
        assert!(LogWriter::open(&dir, &Header::of_test("2026-11-25T13:00:00Z")).is_err());
        std::fs::remove_dir_all(dir).unwrap();
    }

    /// Two captures in turn would be read as one: the second is refused as long as the first goes on.
    #[cfg(unix)]
    #[test]
    fn a_log_has_one_writer() {
        let dir = std::env::temp_dir().join(format!("looprig-writer-one-{}", std::process::id()));
        std::fs::create_dir_all(&dir).unwrap();
        let path = dir.join("x.log");
        let mut first = LogWriter::open(&path, &Header::of_test("2026-11-25T13:00:00Z")).unwrap();
        let told = LogWriter::open(&path, &Header::of_test("2026-11-25T13:00:00Z")).unwrap_err().to_string();
        assert!(told.contains("another program is writing this log\n  next: end that program"), "{told}");
        first.write(&record(1)).unwrap();
        drop(first);
        LogWriter::open(&path, &Header::of_test("2026-11-25T13:00:00Z")).unwrap().write(&record(2)).unwrap();
        assert_eq!(read(&std::fs::read(&path).unwrap()), (vec![1, 2], 2, vec![]));
        std::fs::remove_dir_all(dir).unwrap();
    }

    #[cfg(unix)]
    #[test]
    fn a_device_keeps_no_log() {
        let told = LogWriter::open(Path::new("/dev/full"), &Header::of_test("2026-11-25T13:00:00Z"))
            .unwrap_err()
            .to_string();
        assert!(told.contains("/dev/full: it is no file") && told.contains("next: "), "{told}");
    }

    /// [LG-01]: `g` is idle time. A character is 11 / 1200 s = 9.166 ms, and the second frame begins 50 ms after the
    /// end of the first.
    #[test]
    fn the_gap_before_a_record_is_idle_time() {
        let character = Pace::Wire.character();
        let mut recorder =
            Recorder::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO), character, None);
        let mut at = Instant::ZERO;
        for _ in 0..2 {
            // [1770]: command 0 of the primary master to polling address 0.
            for value in [0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82] {
                at += character;
                recorder.push(&[Octet::clean(at, value)]);
            }
            at += Duration::from_millis(50);
            recorder.handle_timeout(at);
        }
        let gaps: Vec<_> = std::iter::from_fn(|| recorder.next()).map(|r| r.gap_before).collect();
        assert_eq!(gaps, [None, Some(Duration::from_millis(50))]);
    }
}
