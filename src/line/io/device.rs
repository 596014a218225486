//! A serial port of a Unix system, as its file descriptor: own settings, modem lines, nothing waits.
//!
//! Opened once and not through a library, because on Linux every opening that does not wait raises
//! request-to-send, and with it a modem's carrier, anew: that is put right at once, and never done
//! again [LI-06]. Input error marking and the low-latency request are Linux only.

use crate::frame::Marks;
use crate::line::hardware::{Hardware, Lines, Unsent};
use crate::line::{Error, ErrorCounts, Fault, ParmrkDecoder};
use std::fs::File;
use std::io::{self, ErrorKind, Read, Write};
use std::os::fd::{AsRawFd, RawFd};
use std::os::unix::fs::{FileTypeExt, OpenOptionsExt};
use std::path::Path;
use std::task::{Context, Poll, ready};
use tokio::io::unix::AsyncFd;

/// An open port. It needs the reactor of the thread that opened it.
pub(super) struct Device {
    fd: AsyncFd<File>,
    pty: bool,
    decoder: ParmrkDecoder,
    /// Errors are marked in what is read.
    marking: bool,
}

fn check(result: libc::c_int) -> io::Result<libc::c_int> {
    if result < 0 { Err(io::Error::last_os_error()) } else { Ok(result) }
}

impl Device {
    /// Opens the port for sole use and leaves it as it is.
    pub(super) fn open(path: &str, name: &str, pty: bool) -> Result<Device, Error> {
        let failed = |e: io::Error| {
            let fault = match (e.kind(), e.raw_os_error()) {
                (ErrorKind::NotFound, _) => Fault::NotFound,
                (ErrorKind::PermissionDenied, _) => Fault::PermissionDenied,
                (ErrorKind::ResourceBusy | ErrorKind::WouldBlock, _) => Fault::Busy,
                (_, Some(libc::ENOTTY)) => Fault::NotATerminal,
                // No driver behind the name.
                (_, Some(libc::ENXIO | libc::ENODEV)) => Fault::NotFound,
                _ => Fault::System,
            };
            Error::new("opening", name, fault, words(&e))
        };
        // Anything else is not even opened: that could have an effect.
        if std::fs::metadata(Path::new(path)).is_ok_and(|m| !m.file_type().is_char_device()) {
            return Err(Error::new("opening", name, Fault::NotATerminal, ""));
        }
        let file = File::options()
            .read(true)
            .write(true)
            .custom_flags(libc::O_NOCTTY | libc::O_NONBLOCK | libc::O_CLOEXEC)
            .open(path)
            .map_err(failed)?;
        let fd = file.as_raw_fd();
        // SAFETY: the descriptor is open; the calls take no pointers.
        unsafe {
            if libc::isatty(fd) == 0 {
                return Err(Error::new("opening", name, Fault::NotATerminal, ""));
            }
            // The mark for sole use does not stop root, the lock does.
            check(libc::flock(fd, libc::LOCK_EX | libc::LOCK_NB)).map_err(failed)?;
            check(libc::ioctl(fd, libc::TIOCEXCL as _)).map_err(failed)?;
        }
        // SAFETY: a `File` owns its descriptor, always gives the same, and closes it only when dropped.
        let fd = unsafe { AsyncFd::register(file) }.map_err(|e| failed(e.into()))?;
        Ok(Device { fd, pty, decoder: ParmrkDecoder::new(), marking: false })
    }

    /// Whether octets have arrived, or will be told to `cx`.
    pub(super) fn poll_octets(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let mut guard = ready!(self.fd.poll_read_ready(cx))?;
        guard.retain_ready();
        Poll::Ready(Ok(()))
    }

    /// Whether there is room to write, or will be told to `cx`.
    pub(super) fn poll_room(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let mut guard = ready!(self.fd.poll_write_ready(cx))?;
        guard.retain_ready();
        Poll::Ready(Ok(()))
    }

    fn raw(&self) -> RawFd {
        self.fd.as_raw_fd()
    }

    /// Switches a modem line; false if there is none.
    fn set_line(&mut self, line: libc::c_int, on: bool) -> Result<bool, String> {
        let request = if on { libc::TIOCMBIS } else { libc::TIOCMBIC };
        // SAFETY: the descriptor is open, and the call reads one number.
        match check(unsafe { libc::ioctl(self.raw(), request, &raw const line) }) {
            Ok(_) => Ok(true),
            Err(e) if lacks(&e) => Ok(false),
            Err(e) => Err(words(&e)),
        }
    }

    fn settings(&self) -> io::Result<libc::termios> {
        // SAFETY: `termios` is plain numbers, so all zeroes is a value of it; it lives through the call.
        unsafe {
            let mut settings: libc::termios = std::mem::zeroed();
            check(libc::tcgetattr(self.raw(), &raw mut settings))?;
            Ok(settings)
        }
    }

    fn set(&self, settings: &libc::termios) -> io::Result<()> {
        // SAFETY: as above.
        check(unsafe { libc::tcsetattr(self.raw(), libc::TCSANOW, std::ptr::from_ref(settings)) }).map(drop)
    }
}

/// The system's words without its number.
fn words(e: &io::Error) -> String {
    let text = e.to_string();
    text.split(" (os error").next().unwrap_or_default().to_owned()
}

/// Whether the answer means that the port has nothing of the kind, not that it failed.
fn lacks(e: &io::Error) -> bool {
    matches!(e.raw_os_error(), Some(libc::ENOTTY | libc::EINVAL | libc::ENOSYS | libc::EOPNOTSUPP))
}

impl Drop for Device {
    fn drop(&mut self) {
        // On a pseudo-terminal the mark for sole use would outlive the close.
        // SAFETY: the descriptor is open, the call takes no argument.
        unsafe { libc::ioctl(self.raw(), libc::TIOCNXCL as _) };
    }
}

impl Hardware for Device {
    fn configure(&mut self) -> Result<bool, String> {
        let words = |e: io::Error| words(&e);
        let mut settings = self.settings().map_err(words)?;
        // SAFETY: the calls change one value that lives through them.
        unsafe {
            libc::cfmakeraw(&raw mut settings);
            // macOS has no speeds on pseudo-terminals.
            if !(self.pty && cfg!(target_os = "macos")) {
                check(libc::cfsetspeed(&raw mut settings, libc::B1200)).map_err(words)?;
            }
        }
        settings.c_cflag &= !(libc::CSIZE | libc::CSTOPB | libc::CRTSCTS);
        #[cfg(target_os = "linux")]
        {
            // Left on by another program, odd parity would be a bit that is always 1.
            settings.c_cflag &= !libc::CMSPAR;
        }
        settings.c_cflag |= libc::CS8 | libc::PARENB | libc::PARODD | libc::CREAD | libc::CLOCAL;
        if self.pty {
            // Linux would drop it, and its C library would then call the whole setting refused.
            settings.c_cflag &= !libc::PARENB;
        }
        settings.c_iflag &= !(libc::IXOFF | libc::IXANY | libc::IGNPAR | libc::INPCK);
        // Where nothing is kept of what a wait for octets should be, a read would wait.
        (settings.c_cc[libc::VMIN], settings.c_cc[libc::VTIME]) = (1, 0);
        self.marking = cfg!(target_os = "linux");
        if self.marking {
            settings.c_iflag |= libc::INPCK | libc::PARMRK;
        }
        self.set(&settings).map_err(words)?;
        if !self.pty {
            // What came before was read with other settings.
            // SAFETY: the descriptor is open.
            unsafe { libc::tcflush(self.raw(), libc::TCIFLUSH) };
        }
        // Settings that a port does not take it drops without a word.
        let kept = self.settings().map_err(words)?;
        // SAFETY: reads a value.
        let speed = unsafe { libc::cfgetospeed(std::ptr::from_ref(&kept)) };
        self.marking &= kept.c_iflag & (libc::INPCK | libc::PARMRK) == libc::INPCK | libc::PARMRK;
        let parity = kept.c_cflag & (libc::PARENB | libc::PARODD) == libc::PARENB | libc::PARODD;
        if !self.pty && (speed != libc::B1200 || !parity) {
            let parity = if parity { "odd" } else { "not odd" };
            let speed = if speed == libc::B1200 { "1200 bit/s" } else { "another speed" };
            return Err(format!("it is at {speed}, parity {parity}"));
        }
        Ok(parity && !self.pty && self.marking)
    }

    fn keep_lines_on_close(&mut self) -> Result<(), String> {
        let words = |e: io::Error| words(&e);
        let mut settings = self.settings().map_err(words)?;
        settings.c_cflag &= !libc::HUPCL;
        self.set(&settings).map_err(words)
    }

    fn set_rts(&mut self, on: bool) -> Result<bool, String> {
        self.set_line(libc::TIOCM_RTS, on)
    }

    fn set_dtr(&mut self, on: bool) -> Result<bool, String> {
        self.set_line(libc::TIOCM_DTR, on)
    }

    fn ask_low_latency(&mut self) -> bool {
        if self.pty {
            return true;
        }
        #[cfg(target_os = "linux")]
        return linux::ask_low_latency(self.raw());
        #[cfg(not(target_os = "linux"))]
        false
    }

    fn write(&mut self, octets: &[u8]) -> Result<usize, String> {
        loop {
            let result = self.fd.try_io(tokio::io::Interest::WRITABLE, |mut file| file.write(octets));
            match result {
                Ok(0) => return Err("it takes no octets".into()),
                Ok(n) => return Ok(n),
                Err(e) if e.kind() == ErrorKind::WouldBlock => return Ok(0),
                Err(e) if e.kind() == ErrorKind::Interrupted => {}
                Err(e) => return Err(words(&e)),
            }
        }
    }

    fn unsent(&mut self) -> Unsent {
        if self.pty {
            // It holds what the other end has not read, which says nothing about the wire.
            return Unsent::default();
        }
        let mut count: libc::c_int = 0;
        // SAFETY: the call writes one number.
        let queued = check(unsafe { libc::ioctl(self.raw(), libc::TIOCOUTQ, &raw mut count) });
        let queued = queued.is_ok().then(|| usize::try_from(count).unwrap_or(0));
        #[cfg(target_os = "linux")]
        let shift_register_empty = linux::shift_register_empty(self.raw());
        #[cfg(not(target_os = "linux"))]
        let shift_register_empty = None;
        Unsent { queued, shift_register_empty }
    }

    fn discard_unsent(&mut self) {
        // SAFETY: the descriptor is open. To close the port would wait for what cannot be discarded.
        unsafe { libc::tcflush(self.raw(), libc::TCOFLUSH) };
    }

    fn read(&mut self, octets: &mut Vec<(u8, Marks)>) -> Result<(), String> {
        let mut buffer = [0u8; 4096];
        let n = loop {
            let result = self.fd.try_io(tokio::io::Interest::READABLE, |mut file| file.read(&mut buffer));
            match result {
                // The other end is closed.
                Ok(0) => return Err(String::new()),
                Ok(n) => break n,
                Err(e) if e.kind() == ErrorKind::WouldBlock => return Ok(()),
                Err(e) if e.kind() == ErrorKind::Interrupted => {}
                Err(e) => return Err(words(&e)),
            }
        };
        let read = &buffer[..n];
        if self.marking {
            self.decoder.push(read, octets);
        } else {
            octets.extend(read.iter().map(|&v| (v, Marks::NONE)));
        }
        Ok(())
    }

    fn error_counts(&mut self) -> Option<ErrorCounts> {
        #[cfg(target_os = "linux")]
        return linux::error_counts(self.raw());
        #[cfg(not(target_os = "linux"))]
        None
    }

    fn lines(&mut self) -> Option<Lines> {
        let mut lines: libc::c_int = 0;
        // SAFETY: the call writes one number.
        check(unsafe { libc::ioctl(self.raw(), libc::TIOCMGET, &raw mut lines) }).ok()?;
        let on = |line| lines & line != 0;
        Some(Lines { rts: on(libc::TIOCM_RTS), dtr: on(libc::TIOCM_DTR), carrier: on(libc::TIOCM_CD) })
    }
}

#[cfg(target_os = "linux")]
mod linux {
    use super::check;
    use crate::line::ErrorCounts;
    use std::os::fd::RawFd;

    /// `ASYNC_LOW_LATENCY` of linux/tty_flags.h.
    const LOW_LATENCY: libc::c_int = 1 << 13;
    /// `TIOCSER_TEMT` of linux/serial.h.
    const TRANSMITTER_EMPTY: libc::c_int = 1;

    /// `struct serial_struct` of linux/serial.h; only the flags are looked at.
    #[repr(C)]
    struct SerialStruct {
        kind: libc::c_int,
        line: libc::c_int,
        port: libc::c_uint,
        irq: libc::c_int,
        flags: libc::c_int,
        xmit_fifo_size: libc::c_int,
        custom_divisor: libc::c_int,
        baud_base: libc::c_int,
        close_delay: libc::c_ushort,
        io_type: libc::c_char,
        reserved_char: [libc::c_char; 1],
        hub6: libc::c_int,
        closing_wait: libc::c_ushort,
        closing_wait2: libc::c_ushort,
        iomem_base: *mut libc::c_uchar,
        iomem_reg_shift: libc::c_ushort,
        port_high: libc::c_uint,
        iomap_base: libc::c_ulong,
    }

    pub(super) fn ask_low_latency(fd: RawFd) -> bool {
        // SAFETY: plain numbers and a pointer that only the kernel looks at, so all zeroes is a value;
        // the calls fill or read one of them.
        unsafe {
            let mut port: SerialStruct = std::mem::zeroed();
            if check(libc::ioctl(fd, libc::TIOCGSERIAL, &raw mut port)).is_err() {
                return false;
            }
            port.flags |= LOW_LATENCY;
            // A driver may refuse, or say yes and forget it: what counts is what it says afterwards.
            let _ = libc::ioctl(fd, libc::TIOCSSERIAL, &raw const port);
            let mut after: SerialStruct = std::mem::zeroed();
            check(libc::ioctl(fd, libc::TIOCGSERIAL, &raw mut after)).is_ok()
                && after.flags & LOW_LATENCY != 0
        }
    }

    /// `struct serial_icounter_struct` of linux/serial.h.
    #[repr(C)]
    #[derive(Default)]
    struct SerialCounters {
        cts: libc::c_int,
        dsr: libc::c_int,
        rng: libc::c_int,
        dcd: libc::c_int,
        rx: libc::c_int,
        tx: libc::c_int,
        frame: libc::c_int,
        overrun: libc::c_int,
        parity: libc::c_int,
        brk: libc::c_int,
        buf_overrun: libc::c_int,
        reserved: [libc::c_int; 9],
    }

    pub(super) fn error_counts(fd: RawFd) -> Option<ErrorCounts> {
        let mut c = SerialCounters::default();
        // SAFETY: the call writes one such record.
        check(unsafe { libc::ioctl(fd, libc::TIOCGICOUNT, &raw mut c) }).ok()?;
        Some(ErrorCounts {
            parity: c.parity.cast_unsigned(),
            framing: c.frame.cast_unsigned(),
            // Lost in the port, and lost behind it because nobody read.
            overrun: c.overrun.wrapping_add(c.buf_overrun).cast_unsigned(),
            breaks: c.brk.cast_unsigned(),
        })
    }

    pub(super) fn shift_register_empty(fd: RawFd) -> Option<bool> {
        let mut state: libc::c_int = 0;
        // SAFETY: the call writes one number.
        check(unsafe { libc::ioctl(fd, libc::TIOCSERGETLSR, &raw mut state) }).ok()?;
        Some(state & TRANSMITTER_EMPTY != 0)
    }
}
