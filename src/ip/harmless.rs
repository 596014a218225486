//! Which requests may be done twice.

use super::direct::DirectCommand;
use super::server::Request;
use crate::frame::Frame;

/// Commands that change nothing, as a set of numbers from 0 to 255: who asks one of them twice gets two answers, and that is
/// all [IP-12]. This room knows no commands, so whoever sets a client or a server up says which they are; without a word it is
/// none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Harmless([u64; 4]);

impl Harmless {
    /// None.
    pub const NONE: Harmless = Harmless([0; 4]);

    /// Those for which `reads` says so.
    pub fn those(reads: impl Fn(u8) -> bool) -> Harmless {
        let mut bits = [0; 4];
        for command in (0..=255_u8).filter(|c| reads(*c)) {
            bits[usize::from(command >> 6)] |= 1 << (command & 63);
        }
        Harmless(bits)
    }

    /// Whether this command is one of them.
    pub const fn has(self, command: u8) -> bool {
        self.0[(command >> 6) as usize] & 1 << (command & 63) != 0
    }

    /// Whether a frame is a request of one of them; octets that are no frame do nothing, but are not known to.
    pub(super) fn has_frame(self, octets: &bytes::Bytes) -> bool {
        Frame::parse(octets).is_ok_and(|f| self.has(f.command()))
    }

    /// Whether all that a client wants is among them. A number above 255 is not.
    pub(super) fn has_all(self, request: &Request) -> bool {
        let one = |c: &DirectCommand| u8::try_from(c.number).is_ok_and(|n| self.has(n));
        match request {
            Request::Frame(frame) => self.has(frame.command()),
            Request::Direct { commands, .. } => commands.iter().all(one),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_of_numbers() {
        let odd = Harmless::those(|c| c % 2 == 1);
        assert!((0..=255).all(|c| odd.has(c) == (c % 2 == 1) && !Harmless::NONE.has(c)));
        assert!(!odd.has_frame(&bytes::Bytes::from_static(&[1, 2, 3])));
        // Command 3 to polling address 0, and command 0.
        assert!(odd.has_frame(&bytes::Bytes::from_static(&[2, 0, 3, 0, 1])));
        assert!(!odd.has_frame(&bytes::Bytes::from_static(&[2, 0, 0, 0, 2])));
    }
}
