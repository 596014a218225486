//! A recording, a file that grows or a pipe of samples as a line that only listens [WV-12].

use crate::frame::{Capabilities, Octet, StampUnit};
use crate::line::{Error, Event, Fault, Line};
use crate::time::{Instant, Pace};
use crate::wave::{Heard, Recording, RecordingError, RecordingOptions, Remark, Remarks};
use core::time::Duration;
use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};

/// Bytes read at once.
const CHUNK: usize = 1 << 14;
/// Chunks that wait for whoever listens.
const WAITING: usize = 8;
/// How often a file that grows is looked at.
const LOOK: Duration = Duration::from_millis(50);
/// How late an octet may come out behind the samples: a character, and the filters.
const LATE: Duration = Duration::from_millis(25);
/// Silence behind the end of a recording.
const SILENCE: Duration = Duration::from_secs(1);
/// Error of a stamp [WV-05].
const STAMP_ERROR: Duration = Duration::from_micros(100);

/// Where the samples come from.
#[derive(Clone, Debug, PartialEq)]
pub struct SampledSource {
    /// A file, or `-` for standard input.
    pub path: std::path::PathBuf,
    /// Whether to wait for more at the file's end.
    pub follow: bool,
    /// What is known of the recording.
    pub options: RecordingOptions,
}

impl SampledSource {
    /// What comes behind `wav:`, with `follow`, `channel=`, `rate=` and `volts=` behind a question mark if wanted.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn parse(address: &str, options: &str) -> Result<SampledSource, String> {
        if address.is_empty() {
            return Err("wav: needs a file, such as wav:loop.wav, or - for standard input".into());
        }
        let mut source =
            SampledSource { path: address.into(), follow: false, options: RecordingOptions::default() };
        for option in options.split('&').filter(|o| !o.is_empty()) {
            let positive = |v: &str| v.parse().ok().filter(|x: &f64| x.is_finite() && *x > 0.0);
            match option.split_once('=') {
                None if option == "follow" => source.follow = true,
                Some(("channel", v)) => {
                    let n: Option<u16> = v.parse().ok().filter(|n| (1..=64).contains(n));
                    source.options.channel = n.ok_or(format!("channel={v}: give 1 to 64"))? - 1;
                }
                Some(("rate", v)) => {
                    let rate =
                        positive(v).ok_or(format!("rate={v}: give samples a second, such as 48000"))?;
                    source.options.rate_hz = Some(rate);
                }
                Some(("volts", v)) => {
                    let volts =
                        positive(v).ok_or(format!("volts={v}: give the volts of full scale, such as 1.4"))?;
                    source.options.full_scale_v = Some(volts);
                }
                _ => {
                    return Err(format!(
                        "\"{option}\" is no option of this line: there are follow, channel=, rate= and volts="
                    ));
                }
            }
        }
        Ok(source)
    }

    fn is_standard_input(&self) -> bool {
        self.path == Path::new("-")
    }
}

/// Samples as a line; its clock is theirs.
pub struct SampledLine {
    name: String,
    chunks: Receiver<io::Result<Vec<u8>>>,
    recording: Recording,
    octets: VecDeque<Octet>,
    remarks: Remarks,
    now: Instant,
    over: bool,
    note: Option<String>,
    interrupted: Arc<AtomicBool>,
}

impl SampledLine {
    /// What octets read from samples can tell [WV-12].
    pub const CAPABILITIES: Capabilities = Capabilities {
        unit: StampUnit::Octets,
        stamp_error: STAMP_ERROR,
        parity_seen: true,
        carrier_seen: true,
        echo: false,
    };

    /// Opens it and begins to read.
    ///
    /// # Errors
    /// The file cannot be opened.
    pub fn open(source: &SampledSource) -> Result<SampledLine, Error> {
        let name = format!("wav:{}", source.path.display());
        let follow = source.follow && !source.is_standard_input();
        let mut grows = None;
        let input: Box<dyn Read + Send> = if source.is_standard_input() {
            Box::new(io::stdin())
        } else {
            let failed = |e: io::Error| {
                let fault = match e.kind() {
                    io::ErrorKind::NotFound => Fault::NoFile,
                    io::ErrorKind::PermissionDenied => Fault::FileForbidden,
                    _ => Fault::System,
                };
                Error::new("opening", &name, fault, e)
            };
            let file = File::open(&source.path).map_err(failed)?;
            if file.metadata().is_ok_and(|m| m.is_dir()) {
                return Err(Error::new("opening", &name, Fault::Directory, ""));
            }
            grows = file.try_clone().ok().filter(|_| follow);
            Box::new(file)
        };
        let (sender, chunks) = sync_channel(WAITING);
        let interrupted = Arc::new(AtomicBool::new(false));
        let asked = interrupted.clone();
        // A thread, because a read of a pipe cannot be interrupted. It ends with its input, or when nobody takes any more.
        std::thread::Builder::new()
            .name("samples".into())
            .spawn(move || {
                let (mut input, mut taken) = (input, 0);
                loop {
                    let mut chunk = vec![0; CHUNK];
                    let sent = match input.read(&mut chunk) {
                        Ok(0) if is_shorter(grows.as_ref(), taken) => {
                            let cut = "the file has become shorter: it was begun anew; listen to it again";
                            let _ = sender.send(Err(io::Error::other(cut)));
                            return;
                        }
                        Ok(0) if follow && !asked.load(Ordering::SeqCst) => {
                            std::thread::park_timeout(LOOK);
                            continue;
                        }
                        Ok(0) => return,
                        Ok(n) => {
                            taken += n as u64;
                            chunk.truncate(n);
                            sender.send(Ok(chunk))
                        }
                        Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                        Err(e) => {
                            let _ = sender.send(Err(e));
                            return;
                        }
                    };
                    if sent.is_err() {
                        return;
                    }
                }
            })
            .map_err(|e| Error::new("opening", &name, Fault::System, e))?;
        Ok(SampledLine {
            name,
            chunks,
            recording: Recording::new(source.options),
            octets: VecDeque::new(),
            remarks: Remarks::default(),
            now: Instant::ZERO,
            over: false,
            note: None,
            interrupted,
        })
    }

    /// What makes its wait return [`Event::Interrupted`].
    pub fn interrupt_flag(&self) -> Arc<AtomicBool> {
        self.interrupted.clone()
    }

    /// What was not as it should be with the recording, once it is over; told once.
    pub fn take_notes(&mut self) -> Vec<String> {
        let mut notes: Vec<String> = self.note.take().into_iter().collect();
        notes.append(&mut self.remarks.sum());
        self.remarks = Remarks::default();
        notes
    }

    fn take(&mut self, heard: Vec<Heard>) {
        let volts = self.recording.spec().is_some_and(|s| s.volts.is_some());
        for h in heard {
            if let Heard::Character(c) = h {
                self.octets.push_back(c.octet);
            }
            self.remarks.take(&h, volts);
        }
    }

    fn error(&self, what: &RecordingError) -> Error {
        let fault = if what.channels().is_some() { Fault::NoChannel } else { Fault::NoRecording };
        Error::new("reading", &self.name, fault, what)
    }
}

/// Whether a file that grows has less in it than was read.
fn is_shorter(file: Option<&File>, taken: u64) -> bool {
    file.and_then(|f| f.metadata().ok()).is_some_and(|m| m.len() < taken)
}

impl Line for SampledLine {
    fn describe(&self) -> String {
        match self.recording.spec() {
            Some(s) => format!("{}, {} samples/s", self.name, s.rate_hz),
            None => self.name.clone(),
        }
    }

    fn capabilities(&self) -> Capabilities {
        SampledLine::CAPABILITIES
    }

    fn pace(&self) -> Pace {
        Pace::Wire
    }

    fn now(&mut self) -> Instant {
        self.now
    }

    fn is_recording(&self) -> bool {
        true
    }

    fn take_remarks(&mut self) -> Vec<Remark> {
        // Not before the octets that they are about.
        let until = self.octets.front().map_or(Instant::from_nanos(u64::MAX), |o| o.at);
        core::iter::from_fn(|| self.remarks.next_before(until)).collect()
    }

    fn send(&mut self, _: &[u8]) -> Result<(), Error> {
        Err(Error::new("sending", &self.name, Fault::ListensOnly, ""))
    }

    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        loop {
            if self.interrupted.swap(false, Ordering::SeqCst) {
                return Ok(Event::Interrupted);
            }
            if let Some(first) = self.octets.front() {
                if let Some(until) = until.filter(|u| *u < first.at) {
                    self.now = self.now.max(until);
                    return Ok(Event::TimeOut);
                }
                let due = |o: &Octet| until.is_none_or(|u| o.at <= u);
                let n = self.octets.iter().take_while(|o| due(o)).count();
                let octets: Vec<Octet> = self.octets.drain(..n).collect();
                self.now = octets.last().map_or(self.now, |o| self.now.max(o.at));
                return Ok(Event::Octets(octets));
            }
            let known = Instant::from_nanos((self.recording.seconds() * 1e9) as u64).before(LATE);
            // At its end silence goes on for a while, so that what is pending is given up in its own time.
            let known = if self.over { known + LATE + SILENCE } else { known };
            if let Some(until) = until.filter(|u| *u <= known) {
                self.now = self.now.max(until);
                return Ok(Event::TimeOut);
            }
            if self.over {
                return Ok(Event::Closed);
            }
            self.now = self.now.max(known);
            let mut heard = Vec::new();
            match self.chunks.recv_timeout(LOOK) {
                Ok(Ok(chunk)) => {
                    let read = self.recording.run(&chunk, &mut heard, &mut |_, _| {});
                    self.take(heard);
                    read.map_err(|e| self.error(&e))?;
                }
                Ok(Err(e)) => return Err(Error::new("reading", &self.name, Fault::System, e)),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => {
                    let read = self.recording.finish(&mut heard, &mut |_, _| {});
                    self.take(heard);
                    self.over = true;
                    self.note = read.map_err(|e| self.error(&e))?;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file that is followed is there for as long as it grows; where it has less than was read, it was begun anew.
    #[test]
    fn a_file_that_became_shorter() {
        let file = File::open(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml")).unwrap();
        let length = file.metadata().unwrap().len();
        assert!(!is_shorter(Some(&file), length) && is_shorter(Some(&file), length + 1));
        assert!(!is_shorter(None, u64::MAX));
    }
}
