//! A serial port at 1200 bit/s, 8 data bits, odd parity, 1 stop bit [LI-03].
//!
//! A thread of its own owns the port. It stamps what it reads, and it reads while it writes.
//!
//! The port checks parity, but this plain form does not learn of it: Linux hands over an octet with
//! a wrong parity bit, a missing stop bit or a break as 00.
//!
//! A pseudo-terminal may stand in for a serial port. Linux accepts the setting for parity there and
//! drops it without a word, so the settings are read back and the line says that it keeps no parity.

use super::ports::{Feed, Port, PortEvent, Started, end_of};
use crate::frame::{Capabilities, StampUnit};
use crate::line::{CAPACITY, Error, Fault};
use crate::time::{Instant, Pace};
use std::collections::VecDeque;
use std::future::poll_fn;
use std::io;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::Sender;
use std::task::Poll;
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};
use tokio_serial::{DataBits, FlowControl, Parity, SerialPort, SerialStream, StopBits};

/// Bit rate [FR-13], as the port counts it.
const SPEED: u32 = crate::time::BIT_RATE as u32;

/// USB adapters collect octets for up to 16 ms before they hand them over (the usual setting of the
/// usual chips; common practice, no source), and the scheduler comes on top.
const STAMP_ERROR: Duration = Duration::from_millis(20);

/// A pseudo-terminal has no adapter in between.
const STAMP_ERROR_PTY: Duration = Duration::from_millis(5);

/// How often we look whether the port's buffer has run empty after the octets should have left.
const LOOK_EVERY: Duration = Duration::from_millis(1);

/// After this long a buffer that will not run empty no longer holds up the report: the port counts
/// wrong, or nobody empties it.
const GIVE_UP: Duration = Duration::from_secs(2);

struct Command {
    octets: Vec<u8>,
    /// The end is to be reported.
    report: bool,
}

/// A serial port that is open.
pub(super) struct Serial {
    name: String,
    path: PathBuf,
    /// The path is that of a pseudo-terminal.
    pty: bool,
    commands: Option<UnboundedSender<Command>>,
    /// Octets that the thread has still to write. The queue of commands is bounded by it.
    waiting: Arc<AtomicUsize>,
    thread: Option<JoinHandle<()>>,
}

impl Serial {
    pub(super) fn open(path: &str, pace: Pace, feed: Feed) -> Result<Serial, Error> {
        let name = format!("serial:{path}");
        let (commands, received) = unbounded_channel();
        let waiting = Arc::new(AtomicUsize::new(0));
        let (opened, hear_opened) = std::sync::mpsc::channel();
        let worker = Worker {
            path: path.to_string(),
            name: name.clone(),
            pty: stands_in(path),
            pace,
            feed,
            commands: received,
            waiting: Arc::clone(&waiting),
        };
        let pty = worker.pty;
        let thread = std::thread::Builder::new()
            .name("looprig-serial".to_string())
            .spawn(move || worker.run(&opened))
            .map_err(|e| system(&name, e))?;
        let serial = Serial {
            name,
            path: PathBuf::from(path),
            pty,
            commands: Some(commands),
            waiting,
            thread: Some(thread),
        };
        match hear_opened.recv() {
            Ok(Ok(())) => Ok(serial),
            Ok(Err(e)) => Err(e),
            Err(_) => Err(system(&serial.name, "the port's thread ended")),
        }
    }

    /// Queues octets; false when there is no room.
    fn queue(&self, octets: &[u8], report: bool) -> Result<bool, Error> {
        let waiting = self.waiting.load(Ordering::SeqCst);
        // A single long transmission goes through: the bound is for those who never stop.
        if waiting > 0 && waiting.saturating_add(octets.len()) > CAPACITY {
            return Ok(false);
        }
        self.waiting.fetch_add(octets.len(), Ordering::SeqCst);
        let command = Command { octets: octets.to_vec(), report };
        match self.commands.as_ref().map(|c| c.send(command)) {
            Some(Ok(())) => Ok(true),
            _ => Err(Error::new("writing to", &self.name, Fault::Lost, "")),
        }
    }
}

impl Port for Serial {
    fn describe(&self) -> String {
        if self.pty {
            format!("{}, 1200 8N1 (a pseudo-terminal keeps no parity)", self.name)
        } else {
            format!("{}, 1200 8O1", self.name)
        }
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities {
            unit: StampUnit::Octets,
            stamp_error: if self.pty { STAMP_ERROR_PTY } else { STAMP_ERROR },
            parity_seen: false,
            carrier_seen: false,
            echo: false,
        }
    }

    fn path(&self) -> &Path {
        &self.path
    }

    fn write(&mut self, octets: &[u8]) -> Result<bool, Error> {
        self.queue(octets, false)
    }

    fn send(&mut self, octets: &[u8]) -> Result<Started, Error> {
        if self.queue(octets, true)? {
            Ok(Started::Reports)
        } else {
            Err(Error::new("sending on", &self.name, Fault::Stuck, ""))
        }
    }
}

impl Drop for Serial {
    fn drop(&mut self) {
        // The end of the commands ends the thread, and with it goes the port. The port's own drop
        // lifts the mark for sole use: on a pseudo-terminal it would outlive the close.
        drop(self.commands.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// What the thread owns.
struct Worker {
    path: String,
    name: String,
    pty: bool,
    pace: Pace,
    feed: Feed,
    commands: UnboundedReceiver<Command>,
    waiting: Arc<AtomicUsize>,
}

/// What the thread woke up for.
enum Step {
    Read(io::Result<usize>),
    Wrote(io::Result<usize>),
    Command(Option<Command>),
    Look,
}

/// A transmission that is written and has still to leave.
struct Leaving {
    /// When its last octet ends at the line's pace.
    end: Instant,
    /// The port's buffer still held octets at that time.
    late: bool,
}

impl Worker {
    fn run(self, opened: &Sender<Result<(), Error>>) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        match runtime {
            Err(e) => {
                let _ = opened.send(Err(system(&self.name, e)));
            }
            Ok(runtime) => runtime.block_on(async {
                match open_port(&self.path, &self.name, self.pty) {
                    Err(e) => {
                        let _ = opened.send(Err(e));
                    }
                    Ok(port) => {
                        let _ = opened.send(Ok(()));
                        let (feed, name) = (self.feed.clone(), self.name.clone());
                        if let Err((doing, said)) = self.serve(port).await {
                            let error = Error::new(doing, &name, Fault::Lost, said);
                            let port = feed.port;
                            feed.put(PortEvent::Closed { port, error });
                        }
                    }
                }
            }),
        }
    }

    /// Reads and writes until nobody is left to do it for; the error says that the port is lost.
    async fn serve(mut self, mut port: SerialStream) -> Result<(), (&'static str, String)> {
        let clock = self.feed.clock;
        let number = self.feed.port;
        let mut buffer = [0u8; 4096];
        let mut jobs: VecDeque<Command> = VecDeque::new();
        let mut written = 0;
        let mut begun = Instant::ZERO;
        let mut last_end = Instant::ZERO;
        let mut leaving: Option<Leaving> = None;
        let mut timer = Box::pin(tokio::time::sleep(Duration::ZERO));
        loop {
            if let Some(l) = &mut leaving {
                let now = clock.now();
                if now < l.end {
                    timer = Box::pin(tokio::time::sleep(l.end.since(now)));
                } else if now < l.end + GIVE_UP && self.still_full(&port) {
                    l.late = true;
                    timer = Box::pin(tokio::time::sleep(LOOK_EVERY));
                } else {
                    let at = if l.late { now } else { l.end };
                    last_end = at;
                    leaving = None;
                    jobs.pop_front();
                    (written, begun) = (0, now);
                    if !self.feed.put(PortEvent::Sent { port: number, at }) {
                        return Ok(());
                    }
                }
            }
            let step = poll_fn(|cx| {
                let mut space = ReadBuf::new(&mut buffer);
                if let Poll::Ready(r) = Pin::new(&mut port).poll_read(cx, &mut space) {
                    let count = space.filled().len();
                    return Poll::Ready(Step::Read(r.map(|()| count)));
                }
                if leaving.is_some() {
                    if timer.as_mut().poll(cx).is_ready() {
                        return Poll::Ready(Step::Look);
                    }
                } else if let Some(job) = jobs.front() {
                    let rest = &job.octets[written..];
                    if rest.is_empty() {
                        return Poll::Ready(Step::Wrote(Ok(0)));
                    }
                    match Pin::new(&mut port).poll_write(cx, rest) {
                        Poll::Ready(Ok(0)) => {
                            let e = io::Error::from(io::ErrorKind::WriteZero);
                            return Poll::Ready(Step::Wrote(Err(e)));
                        }
                        Poll::Ready(r) => return Poll::Ready(Step::Wrote(r)),
                        Poll::Pending => {}
                    }
                }
                self.commands.poll_recv(cx).map(Step::Command)
            })
            .await;
            match step {
                Step::Look => {}
                Step::Read(Ok(0)) => return Err(("reading from", String::new())),
                Step::Read(Err(e)) => return Err(("reading from", e.to_string())),
                Step::Read(Ok(n)) => {
                    let event =
                        PortEvent::Octets { port: number, values: buffer[..n].to_vec(), at: clock.now() };
                    if !self.feed.put(event) {
                        return Ok(());
                    }
                }
                Step::Command(None) => return Ok(()),
                Step::Command(Some(command)) => {
                    if jobs.is_empty() {
                        (written, begun) = (0, clock.now());
                    }
                    jobs.push_back(command);
                }
                Step::Wrote(Err(e)) => return Err(("writing to", e.to_string())),
                Step::Wrote(Ok(n)) => {
                    self.waiting.fetch_sub(n, Ordering::SeqCst);
                    written += n;
                    if let Some(job) = jobs.front().filter(|j| written == j.octets.len()) {
                        last_end = end_of(begun, last_end, written, self.pace);
                        if job.report {
                            leaving = Some(Leaving { end: last_end, late: false });
                        } else {
                            jobs.pop_front();
                            (written, begun) = (0, clock.now());
                        }
                    }
                }
            }
        }
    }

    /// Whether the port's buffer still holds octets. Asked instead of waiting for it to run empty,
    /// because that would hold up the reading. A pseudo-terminal holds what the other end has not
    /// read, which says nothing about the wire.
    fn still_full(&self, port: &SerialStream) -> bool {
        !self.pty && port.bytes_to_write().is_ok_and(|n| n > 0)
    }
}

fn system(name: &str, said: impl std::fmt::Display) -> Error {
    Error::new("opening", name, Fault::System, said)
}

/// Opens the port for sole use and makes sure that it took the settings.
fn open_port(path: &str, name: &str, pty: bool) -> Result<SerialStream, Error> {
    if is_no_terminal(Path::new(path)) {
        return Err(Error::new("opening", name, Fault::NotATerminal, ""));
    }
    // macOS has no speeds on pseudo-terminals and takes 0 for "leave it".
    let speed = if pty && cfg!(target_os = "macos") { 0 } else { SPEED };
    let builder = tokio_serial::new(path, speed)
        .data_bits(DataBits::Eight)
        .parity(Parity::Odd)
        .stop_bits(StopBits::One)
        .flow_control(FlowControl::None);
    let port = SerialStream::open(&builder).map_err(|e| {
        let fault = match e.kind() {
            tokio_serial::ErrorKind::Io(io::ErrorKind::NotFound) => Fault::NotFound,
            tokio_serial::ErrorKind::Io(io::ErrorKind::PermissionDenied) => Fault::PermissionDenied,
            // What the crate makes of EBUSY and of a lock that another program holds.
            tokio_serial::ErrorKind::NoDevice if cfg!(unix) => Fault::Busy,
            tokio_serial::ErrorKind::NoDevice => Fault::NotFound,
            _ => Fault::System,
        };
        Error::new("opening", name, fault, e)
    })?;
    let kept = |said: String| Error::new("setting up", name, Fault::SettingsRefused, said);
    let parity = port.parity().map_err(|e| kept(e.to_string()))?;
    let speed = port.baud_rate().map_err(|e| kept(e.to_string()))?;
    if !pty && (parity != Parity::Odd || speed != SPEED) {
        return Err(kept(format!("it is at {speed} bit/s, parity {parity}")));
    }
    Ok(port)
}

#[cfg(unix)]
fn stands_in(path: &str) -> bool {
    std::fs::canonicalize(path).is_ok_and(|p| super::pty::is_pty(&p))
}

#[cfg(not(unix))]
fn stands_in(_: &str) -> bool {
    false
}

/// Whether the path certainly leads to something else than a terminal. What cannot be found or
/// opened is left to the opening, which knows why.
#[cfg(unix)]
fn is_no_terminal(path: &Path) -> bool {
    use std::os::fd::AsRawFd;
    use std::os::unix::fs::{FileTypeExt, OpenOptionsExt};
    match std::fs::metadata(path) {
        Ok(m) if !m.file_type().is_char_device() => return true,
        Ok(_) => {}
        Err(_) => return false,
    }
    let opened =
        std::fs::File::options().read(true).custom_flags(libc::O_NOCTTY | libc::O_NONBLOCK).open(path);
    opened.is_ok_and(|file| {
        // SAFETY: the descriptor is open.
        let no = unsafe { libc::isatty(file.as_raw_fd()) } == 0;
        no && io::Error::last_os_error().raw_os_error() == Some(libc::ENOTTY)
    })
}

#[cfg(not(unix))]
fn is_no_terminal(_: &Path) -> bool {
    false
}
