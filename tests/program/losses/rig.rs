//! A pseudo-terminal that the test talks into, numbers that look random, frames by hand, and logs as
//! they were written.

use looprig::capture::{Captured, Problem, Reader};
use std::fs::{self, File};
use std::io::Write;
use std::os::fd::{AsRawFd, FromRawFd};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

/// Both ends of a pseudo-terminal. The test keeps the far end open, so that a listener which is
/// killed does not hang it up.
pub struct Wire {
    near: File,
    far: File,
    pub path: String,
}

impl Wire {
    pub fn new() -> Wire {
        // Closed in the programs that other tests start meanwhile: they would keep the wire alive.
        let options = libc::O_RDWR | libc::O_NOCTTY | libc::O_CLOEXEC;
        // SAFETY: plain calls; the name's room suffices for Linux, where it is /dev/pts/ and a number.
        let (near, name) = unsafe {
            let near = libc::posix_openpt(options);
            let mut name = [0; 128];
            assert!(near >= 0 && libc::grantpt(near) == 0 && libc::unlockpt(near) == 0, "no pseudo-terminal");
            assert_eq!(libc::ptsname_r(near, name.as_mut_ptr(), name.len()), 0);
            (File::from_raw_fd(near), name)
        };
        let path: String = name.iter().take_while(|&&c| c != 0).map(|&c| c.cast_unsigned() as char).collect();
        let far = File::options().read(true).write(true).custom_flags(libc::O_NOCTTY).open(&path).unwrap();
        // SAFETY: the settings are written by the first call before the others read them.
        unsafe {
            let mut settings = std::mem::zeroed();
            assert_eq!(libc::tcgetattr(far.as_raw_fd(), &mut settings), 0);
            libc::cfmakeraw(&mut settings);
            assert_eq!(libc::tcsetattr(far.as_raw_fd(), libc::TCSANOW, &settings), 0);
        }
        Wire { near, far, path }
    }

    pub fn talk(&self, octets: &[u8]) {
        (&self.near).write_all(octets).unwrap();
    }

    /// Like `talk`; false once nobody is there to read: the listener may end at any moment.
    pub fn talk_or_leave(&self, octets: &[u8]) -> bool {
        let mut room = libc::pollfd { fd: self.near.as_raw_fd(), events: libc::POLLOUT, revents: 0 };
        // SAFETY: one entry, which lives as long as the call.
        let ready = unsafe { libc::poll(&mut room, 1, 2_000) };
        ready == 1 && (&self.near).write_all(octets).is_ok()
    }

    /// Throws away what nobody has read.
    pub fn empty(&self) {
        // SAFETY: the descriptor is open.
        unsafe { libc::tcflush(self.far.as_raw_fd(), libc::TCIFLUSH) };
    }

    /// A second handle, for a thread.
    pub fn near(&self) -> File {
        self.near.try_clone().unwrap()
    }
}

/// Numbers of a fixed sequence (the multiplier is Knuth's for 64 bits).
pub struct Numbers(pub u64);

impl Numbers {
    pub fn below(&mut self, limit: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }
}

/// A frame of the primary master with its preamble and check byte, the exclusive or of all octets
/// from the delimiter on [FR-02] [FR-09].
pub fn request(unique: [u8; 5], command: u8, data: &[u8]) -> Vec<u8> {
    let mut frame = vec![0x82];
    frame.extend(unique);
    // The top bit of the first octet of the address is the primary master's [FR-16].
    frame[1] = frame[1] & 0x3F | 0x80;
    frame.extend([command, data.len() as u8]);
    frame.extend(data);
    frame.push(frame.iter().fold(0, |a, b| a ^ b));
    [&[0xFF; 5][..], &frame].concat()
}

/// A log as the reader gives it back.
pub struct Log {
    pub headers: usize,
    /// Records behind each header.
    pub sessions: Vec<Vec<Vec<u8>>>,
    pub problems: Vec<Problem>,
}

impl Log {
    /// The octets of a session one after the other. A machine that is busy leaves pauses in the middle of a request,
    /// which cut it into several records.
    pub fn octets(&self, session: usize) -> Vec<u8> {
        self.sessions[session].concat()
    }
}

pub fn read_log(path: &Path) -> Log {
    let octets = fs::read(path).unwrap();
    let mut reader = Reader::new(&octets[..]).unwrap();
    let mut log = Log { headers: 0, sessions: Vec::new(), problems: Vec::new() };
    while let Some(captured) = reader.next().unwrap() {
        match captured {
            Captured::Start(_) => {
                log.headers += 1;
                log.sessions.push(Vec::new());
            }
            Captured::Octets(o) => {
                log.sessions.last_mut().unwrap().push(o.iter().map(|o| o.value).collect());
            }
            Captured::Problem(p) => log.problems.push(p),
            Captured::Break | Captured::Messages(_) | Captured::Remark(_) => {
                panic!("a log has neither breaks nor packets")
            }
        }
    }
    log
}
