//! A pseudo-terminal with us at the end that no program can open [LI-02].
//!
//! What Linux (6.18) does, found by trying, and what follows from it:
//!
//! - A new terminal is in line mode with echo, and stays so until somebody sets it. What we write
//!   would come back to us as if the other program had sent it. So it is set raw here, before its
//!   path is known to anybody.
//! - The settings outlive every close of the other end, for as long as our end is open: raw once is
//!   raw for the next program, but echo once is echo too. So they are put right after each program.
//!   While a program has the terminal open its settings are its own affair; to change them then
//!   would also undo what it has just set.
//! - Hang-up is shown only after the other end has been open once, so it is opened and closed first.
//! - Octets that nobody has read outlive the close, and so do octets written while nobody is there:
//!   the next program would get them. So none are written then, and after each program what it left
//!   is thrown away. Flushing from our end empties only one of the two buffers between us; the other
//!   one can be emptied only from the other end.
//! - The mark for sole use (`TIOCEXCL`) outlives the close as well, cannot be lifted from our end,
//!   and shuts out everybody but root. A program that leaves without lifting it has locked the
//!   terminal; that is reported.

use super::peer::PeerSettings;
use super::ports::{Feed, Port, PortEvent, Started, end_of};
use crate::frame::{Capabilities, StampUnit};
use crate::line::{Error, Fault};
use crate::time::{Instant, Pace};
use std::ffi::CStr;
use std::fs::File;
use std::io::{self, ErrorKind, PipeReader, PipeWriter, Read, Write};
use std::os::fd::{AsFd, AsRawFd, BorrowedFd, FromRawFd, OwnedFd};
use std::os::unix::fs::{OpenOptionsExt, symlink};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// How long we look away while nobody has the terminal open: the system reports that state at once
/// and for ever, so waiting for its end means looking again and again. The first octets of a program
/// that has just come are stamped that much late, so it has to stay below [`STAMP_ERROR`].
const LOOK_EVERY_MS: i32 = 4;

/// How long after it has come a program has set the terminal, as a rule; ms. One that sends earlier has
/// set it before.
const SETTLED_MS: i32 = 300;

/// How late a stamp can be: the scheduler, and half-hearted writers at the other end.
const STAMP_ERROR: Duration = Duration::from_millis(5);

/// What the reader's thread and the writer share.
struct Shared {
    master: File,
    /// Somebody has the terminal open. Held while writing, so that nothing is written between the
    /// last program's going and the tidying after it.
    present: Mutex<bool>,
}

impl Shared {
    fn present(&self) -> MutexGuard<'_, bool> {
        self.present.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A pseudo-terminal that is open at our end.
pub(super) struct Pty {
    shared: Arc<Shared>,
    slave: PathBuf,
    link: Option<PathBuf>,
    pace: Pace,
    last_end: Instant,
    feed: Feed,
    stop: Option<PipeWriter>,
    reader: Option<JoinHandle<()>>,
}

impl Pty {
    pub(super) fn open(link: Option<&Path>, pace: Pace, feed: Feed) -> Result<Pty, Error> {
        let name = line_name(link);
        let system = |e: io::Error| Error::new("opening", &name, Fault::System, e);
        let (master, slave) = open_master().map_err(system)?;
        tidy(&master, &slave).map_err(system)?;
        let (hear_stop, stop) = io::pipe().map_err(system)?;
        let shared = Arc::new(Shared { master, present: Mutex::new(false) });
        let reader = {
            let (shared, slave, feed) = (Arc::clone(&shared), slave.clone(), feed.clone());
            let name = name.clone();
            std::thread::Builder::new()
                .name("looprig-pty".to_string())
                .spawn(move || read_on(&shared, &slave, &feed, &hear_stop, &name))
                .map_err(system)?
        };
        // From here on dropping ends the thread.
        let mut pty = Pty {
            shared,
            slave,
            link: None,
            pace,
            last_end: Instant::ZERO,
            feed,
            stop: Some(stop),
            reader: Some(reader),
        };
        if let Some(link) = link {
            place_link(link, &pty.slave, &name)?;
            pty.link = Some(link.to_path_buf());
        }
        Ok(pty)
    }
}

impl Port for Pty {
    fn describe(&self) -> String {
        match &self.link {
            Some(link) => format!("pty:{} at {}", link.display(), self.slave.display()),
            None => format!("pty: at {}", self.slave.display()),
        }
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities {
            unit: StampUnit::Octets,
            stamp_error: STAMP_ERROR,
            parity_seen: false,
            carrier_seen: false,
            echo: false,
        }
    }

    fn path(&self) -> &Path {
        self.link.as_deref().unwrap_or(&self.slave)
    }

    fn is_pty(&self) -> bool {
        true
    }

    fn write(&mut self, octets: &[u8]) -> Result<bool, Error> {
        let present = self.shared.present();
        if !*present {
            return Ok(false);
        }
        let mut rest = octets;
        while !rest.is_empty() {
            match (&self.shared.master).write(rest) {
                Ok(n) if n > 0 => rest = &rest[n..],
                Err(e) if e.kind() == ErrorKind::Interrupted => {}
                // Full: the program does not read. Or it has just gone.
                _ => return Ok(false),
            }
        }
        Ok(true)
    }

    fn send(&mut self, octets: &[u8]) -> Result<Started, Error> {
        let begun = self.feed.clock.now();
        self.write(octets)?;
        self.last_end = end_of(begun, self.last_end, octets.len(), self.pace);
        Ok(Started::EndsAt(self.last_end))
    }
}

impl Drop for Pty {
    fn drop(&mut self) {
        // Closing the pipe is what the reader waits for.
        drop(self.stop.take());
        if let Some(reader) = self.reader.take() {
            let _ = reader.join();
        }
        if let Some(link) = &self.link
            && std::fs::read_link(link).is_ok_and(|to| to == self.slave)
        {
            let _ = std::fs::remove_file(link);
        }
    }
}

fn line_name(link: Option<&Path>) -> String {
    format!("pty:{}", link.unwrap_or(Path::new("")).display())
}

/// The reader's thread: reports who comes, what he sends, and that he goes.
fn read_on(shared: &Shared, slave: &Path, feed: &Feed, stop: &PipeReader, name: &str) {
    let port = feed.port;
    let mut buffer = [0u8; 4096];
    let mut told: Option<PeerSettings> = None;
    loop {
        let here = *shared.present();
        let patience = match (here, told) {
            (false, _) => 0,
            (true, None) => SETTLED_MS,
            (true, Some(_)) => -1,
        };
        let seen = match look(&shared.master, stop, patience) {
            Ok(seen) => seen,
            Err(e) => {
                let error = Error::new("reading", name, Fault::System, e);
                feed.put(PortEvent::Closed { port, error });
                return;
            }
        };
        if seen.stopped {
            return;
        }
        if !here {
            // Octets of somebody who came and went between two looks count as well.
            if seen.hung_up && !seen.readable {
                match look_away(stop) {
                    Ok(false) => continue,
                    _ => return,
                }
            }
            *shared.present() = true;
            if !feed.put(PortEvent::PeerCame { port }) {
                return;
            }
            continue;
        }
        if !seen.hung_up || seen.readable {
            // Its first octets, or the time to look.
            let settings = PeerSettings::read(&shared.master);
            if let Some(settings) = settings.filter(|s| told != Some(*s)) {
                told = Some(settings);
                if !feed.put(PortEvent::PeerSettings { port, settings }) {
                    return;
                }
            }
        }
        if seen.readable {
            match (&shared.master).read(&mut buffer) {
                Ok(n) if n > 0 => {
                    let at = feed.clock.now();
                    let values = buffer[..n].to_vec();
                    if !feed.put(PortEvent::Octets { port, values, marks: Vec::new(), at }) {
                        return;
                    }
                    continue;
                }
                Err(e) if matches!(e.kind(), ErrorKind::Interrupted | ErrorKind::WouldBlock) => {
                    continue;
                }
                // Linux says EIO when the last program has gone, others say end of file.
                _ => {}
            }
        } else if !seen.hung_up {
            continue;
        }
        let refused = {
            told = None;
            let mut present = shared.present();
            *present = false;
            tidy(&shared.master, slave).is_err_and(|e| e.kind() == ErrorKind::ResourceBusy)
        };
        // Refused because the next program is already there is no lock.
        let locked = refused && look(&shared.master, stop, 0).is_ok_and(|seen| seen.hung_up);
        if !feed.put(PortEvent::PeerGone { port, locked }) {
            return;
        }
    }
}

/// Makes the terminal ready for the next program: raw, without echo, open to all, and empty.
fn tidy(master: &File, slave: &Path) -> io::Result<()> {
    let other_end = File::options()
        .read(true)
        .write(true)
        .custom_flags(libc::O_NOCTTY | libc::O_NONBLOCK | libc::O_CLOEXEC)
        .open(slave)?;
    // SAFETY: both are open descriptors of ours, and TIOCNXCL takes no argument. The results do not
    // matter: what cannot be flushed or lifted was not there.
    unsafe {
        libc::ioctl(other_end.as_raw_fd(), libc::TIOCNXCL as _);
        libc::tcflush(master.as_raw_fd(), libc::TCOFLUSH);
        libc::tcflush(other_end.as_raw_fd(), libc::TCIFLUSH);
    }
    set_raw(&other_end)
}

/// Sets raw mode: eight bits through both ways, unaltered, nothing echoed, no key that signals. Speed
/// and parity mean nothing here, but they go back to what a new terminal has: a program that asks for
/// parity, which no pseudo-terminal keeps, is refused by the C library (EINVAL) where its settings
/// change nothing, as they would after a program that set the same.
fn set_raw(terminal: &File) -> io::Result<()> {
    let fd = terminal.as_raw_fd();
    // SAFETY: `termios` is plain numbers, so all zeroes is a value of it.
    let mut settings: libc::termios = unsafe { std::mem::zeroed() };
    // SAFETY: `fd` is open, `settings` lives through the calls.
    unsafe {
        check(libc::tcgetattr(fd, &raw mut settings))?;
        libc::cfmakeraw(&raw mut settings);
        // Speed and format that a new one has: else those of the program before would pass for the next
        // one's, and a program that sets them again would be told that nothing changed.
        settings.c_cflag &= !(libc::PARENB | libc::PARODD | libc::CSTOPB);
        check(libc::cfsetspeed(&raw mut settings, libc::B38400))?;
        check(libc::tcsetattr(fd, libc::TCSANOW, &raw const settings))?;
    }
    Ok(())
}

/// A new terminal: our end, which does not block, and the path of the other.
fn open_master() -> io::Result<(File, PathBuf)> {
    // SAFETY: no pointers are passed; the descriptor is new and nobody else's.
    let master = unsafe {
        let fd = check(libc::posix_openpt(libc::O_RDWR | libc::O_NOCTTY))?;
        OwnedFd::from_raw_fd(fd)
    };
    let fd = master.as_raw_fd();
    // SAFETY: `fd` is an open pseudo-terminal of ours.
    unsafe {
        check(libc::grantpt(fd))?;
        check(libc::unlockpt(fd))?;
        check(libc::fcntl(fd, libc::F_SETFD, libc::FD_CLOEXEC))?;
        let flags = check(libc::fcntl(fd, libc::F_GETFL))?;
        check(libc::fcntl(fd, libc::F_SETFL, flags | libc::O_NONBLOCK))?;
    }
    let path = slave_path(master.as_fd())?;
    Ok((File::from(master), path))
}

#[cfg(any(target_os = "linux", target_os = "android"))]
fn slave_path(master: BorrowedFd<'_>) -> io::Result<PathBuf> {
    let mut name = [0u8; 128];
    // SAFETY: the length is that of the buffer, and the call ends what it writes with a zero.
    let failed = unsafe { libc::ptsname_r(master.as_raw_fd(), name.as_mut_ptr().cast(), name.len()) };
    if failed != 0 {
        return Err(io::Error::from_raw_os_error(failed));
    }
    let name = CStr::from_bytes_until_nul(&name).map_err(io::Error::other)?;
    Ok(path_of(name))
}

#[cfg(not(any(target_os = "linux", target_os = "android")))]
fn slave_path(master: BorrowedFd<'_>) -> io::Result<PathBuf> {
    // SAFETY: the pointer is null or to a string that stays until the next call, and it is copied
    // at once. Ports are opened from one thread.
    unsafe {
        let name = libc::ptsname(master.as_raw_fd());
        if name.is_null() {
            return Err(io::Error::last_os_error());
        }
        Ok(path_of(CStr::from_ptr(name)))
    }
}

fn path_of(name: &CStr) -> PathBuf {
    use std::os::unix::ffi::OsStrExt;
    PathBuf::from(std::ffi::OsStr::from_bytes(name.to_bytes()))
}

fn check(result: libc::c_int) -> io::Result<libc::c_int> {
    if result < 0 { Err(io::Error::last_os_error()) } else { Ok(result) }
}

struct Seen {
    readable: bool,
    hung_up: bool,
    stopped: bool,
}

/// Waits until the terminal has something or the pipe is closed, at most `timeout_ms`; -1: for ever.
fn look(master: &File, stop: &PipeReader, timeout_ms: i32) -> io::Result<Seen> {
    let mut fds = [pollfd(master.as_fd()), pollfd(stop.as_fd())];
    poll(&mut fds, timeout_ms)?;
    Ok(Seen {
        readable: fds[0].revents & libc::POLLIN != 0,
        hung_up: fds[0].revents & (libc::POLLHUP | libc::POLLERR) != 0,
        stopped: fds[1].revents != 0,
    })
}

/// Waits [`LOOK_EVERY_MS`]; true when told to stop.
fn look_away(stop: &PipeReader) -> io::Result<bool> {
    let mut fds = [pollfd(stop.as_fd())];
    poll(&mut fds, LOOK_EVERY_MS)?;
    Ok(fds[0].revents != 0)
}

fn pollfd(fd: BorrowedFd<'_>) -> libc::pollfd {
    libc::pollfd { fd: fd.as_raw_fd(), events: libc::POLLIN, revents: 0 }
}

fn poll(fds: &mut [libc::pollfd], timeout_ms: i32) -> io::Result<()> {
    // SAFETY: the pointer and the count are those of one slice.
    let result = unsafe { libc::poll(fds.as_mut_ptr(), fds.len() as libc::nfds_t, timeout_ms) };
    match check(result) {
        // A signal: nothing is known, look again.
        Err(e) if e.kind() == ErrorKind::Interrupted => {
            for fd in fds {
                fd.revents = 0;
            }
            Ok(())
        }
        other => other.map(drop),
    }
}

/// Whether `path` names the end of a pseudo-terminal that programs open.
pub(super) fn is_pty(path: &Path) -> bool {
    // Linux, then macOS.
    path.starts_with("/dev/pts")
        || path.to_str().is_some_and(|p| p.strip_prefix("/dev/ttys").is_some_and(|n| n.len() == 3))
}

fn place_link(link: &Path, target: &Path, name: &str) -> Result<(), Error> {
    const DOING: &str = "making the link of";
    let taken = |what: &str| Error::new(DOING, name, Fault::LinkTaken, what);
    let system = |e: io::Error| {
        let folder = match link.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let fault = match e.kind() {
            ErrorKind::AlreadyExists => Fault::LinkTaken,
            ErrorKind::NotFound | ErrorKind::NotADirectory => {
                let said = format!("there is no folder {}", folder.display());
                return Error::new(DOING, name, Fault::LinkFolder, said);
            }
            ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
                let said = format!("you may not write to the folder {}", folder.display());
                return Error::new(DOING, name, Fault::LinkFolder, said);
            }
            _ => Fault::System,
        };
        Error::new(DOING, name, fault, e)
    };
    match std::fs::symlink_metadata(link) {
        Err(e) if e.kind() == ErrorKind::NotFound => {}
        Err(e) => return Err(system(e)),
        Ok(m) if m.file_type().is_symlink() => {
            let to = std::fs::read_link(link).map_err(system)?;
            if !is_pty(&to) && link.exists() {
                return Err(taken("it is a link to something that is no pseudo-terminal"));
            }
            std::fs::remove_file(link).map_err(system)?;
        }
        Ok(m) if m.is_dir() => return Err(taken("it is a directory")),
        Ok(_) => return Err(taken("it is a file")),
    }
    symlink(target, link).map_err(system)
}
