//! How the program at the other end of a pseudo-terminal has set it [LI-11].

use std::fmt;
use std::fs::File;
use std::os::fd::AsRawFd;

/// Settings of a pseudo-terminal that another program has made, as far as they can be seen from our
/// end. The system drops data bits and parity there without a word, so those cannot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PeerSettings {
    /// Speed, bit/s; `None` for one that has no name here.
    pub speed_bit_s: Option<u32>,
    /// Two stop bits instead of one.
    pub two_stop_bits: bool,
    /// Flow control by characters or lines is on.
    pub flow_control: bool,
    /// The terminal works on lines of text, translates or echoes: octets do not pass unaltered.
    pub text_mode: bool,
}

impl PeerSettings {
    /// Whether nothing that can be seen differs from 1200 8O1 without flow control [LI-03].
    pub fn fits(&self) -> bool {
        self.wrong().is_empty()
    }

    /// What differs, in words.
    pub fn wrong(&self) -> Vec<String> {
        let mut wrong = Vec::new();
        match self.speed_bit_s {
            Some(1200) => {}
            Some(speed) => wrong.push(format!("{speed} bit/s instead of 1200")),
            None => wrong.push("not 1200 bit/s".to_owned()),
        }
        if self.two_stop_bits {
            wrong.push("2 stop bits instead of 1".to_owned());
        }
        if self.flow_control {
            wrong.push("flow control is on".to_owned());
        }
        if self.text_mode {
            wrong.push("text mode: octets are altered, swallowed or echoed".to_owned());
        }
        wrong
    }

    /// Reads them at our end.
    pub(super) fn read(master: &File) -> Option<PeerSettings> {
        // SAFETY: `termios` is plain numbers, so all zeroes is a value of it; it lives through the calls
        // and the descriptor is open.
        let (settings, speed) = unsafe {
            let mut settings: libc::termios = std::mem::zeroed();
            if libc::tcgetattr(master.as_raw_fd(), &raw mut settings) != 0 {
                return None;
            }
            let speed = libc::cfgetospeed(&raw const settings);
            (settings, speed)
        };
        let named = SPEEDS.iter().find(|(code, _)| *code == speed).map(|(_, speed)| *speed);
        let text_in = libc::ISTRIP | libc::INLCR | libc::IGNCR | libc::ICRNL;
        let text_out = libc::OPOST;
        let text_lines = libc::ICANON | libc::ECHO | libc::ISIG;
        Some(PeerSettings {
            speed_bit_s: named,
            two_stop_bits: settings.c_cflag & libc::CSTOPB != 0,
            flow_control: settings.c_iflag & (libc::IXON | libc::IXOFF) != 0
                || settings.c_cflag & libc::CRTSCTS != 0,
            text_mode: settings.c_iflag & text_in != 0
                || settings.c_oflag & text_out != 0
                || settings.c_lflag & text_lines != 0,
        })
    }
}

impl fmt::Display for PeerSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.wrong() {
            wrong if wrong.is_empty() => f.write_str("1200 bit/s, 1 stop bit, no flow control"),
            wrong => f.write_str(&wrong.join("; ")),
        }
    }
}

/// Speeds by the system's code for them.
const SPEEDS: [(libc::speed_t, u32); 12] = [
    (libc::B300, 300),
    (libc::B600, 600),
    (libc::B1200, 1200),
    (libc::B1800, 1800),
    (libc::B2400, 2400),
    (libc::B4800, 4800),
    (libc::B9600, 9600),
    (libc::B19200, 19_200),
    (libc::B38400, 38_400),
    (libc::B57600, 57_600),
    (libc::B115200, 115_200),
    (libc::B230400, 230_400),
];
