//! Octets with their errors, out of what a terminal with input error marking hands over [LI-09].

use crate::frame::Marks;

/// Undoes the marking that POSIX terminals do under `PARMRK`, across any division into reads.
///
/// `FF 00 XX` is the octet XX, received with a wrong parity bit or without stop bit (the system does
/// not tell which; it counts as parity error); `FF 00 00` is a break, or 00 with one of those errors;
/// `FF FF` is the octet FF; everything else is itself. FF before anything else cannot come from a
/// terminal that marks; it is taken for itself.
#[derive(Clone, Debug, Default)]
pub struct ParmrkDecoder {
    state: State,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum State {
    #[default]
    Plain,
    /// After FF.
    Escape,
    /// After FF 00.
    Error,
}

impl ParmrkDecoder {
    /// Nothing read yet.
    pub fn new() -> Self {
        ParmrkDecoder::default()
    }

    /// Takes what was read and appends the octets that it completes, each with its marks.
    pub fn push(&mut self, read: &[u8], octets: &mut Vec<(u8, Marks)>) {
        for &byte in read {
            self.state = match (self.state, byte) {
                (State::Plain, 0xFF) => State::Escape,
                (State::Plain, _) => {
                    octets.push((byte, Marks::NONE));
                    State::Plain
                }
                (State::Escape, 0x00) => State::Error,
                (State::Escape, _) => {
                    octets.push((0xFF, Marks::NONE));
                    if byte != 0xFF {
                        octets.push((byte, Marks::NONE));
                    }
                    State::Plain
                }
                (State::Error, _) => {
                    // All bits zero, parity and stop bit too: odd parity of 00 would be 1.
                    let marks = if byte == 0 { Marks::PARITY | Marks::FRAMING } else { Marks::PARITY };
                    octets.push((byte, marks));
                    State::Plain
                }
            };
        }
    }

    /// Whether an octet has begun whose rest was not read yet.
    pub fn is_within(&self) -> bool {
        self.state != State::Plain
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// What a terminal makes of octets, by the description of `PARMRK` in POSIX, chapter "General
    /// Terminal Interface".
    fn mark(octets: &[(u8, bool)]) -> Vec<u8> {
        let mut out = Vec::new();
        for &(value, spoilt) in octets {
            match (value, spoilt) {
                (v, true) => out.extend([0xFF, 0x00, v]),
                (0xFF, false) => out.extend([0xFF, 0xFF]),
                (v, false) => out.push(v),
            }
        }
        out
    }

    fn decode(parts: &[&[u8]]) -> Vec<(u8, Marks)> {
        let (mut decoder, mut out) = (ParmrkDecoder::new(), Vec::new());
        parts.iter().for_each(|p| decoder.push(p, &mut out));
        out
    }

    #[test]
    fn every_form() {
        const CLEAN: Marks = Marks::NONE;
        assert_eq!(decode(&[&[0x82, 0x00]]), [(0x82, CLEAN), (0x00, CLEAN)]);
        assert_eq!(decode(&[&[0xFF, 0xFF]]), [(0xFF, CLEAN)]);
        assert_eq!(decode(&[&[0xFF, 0x00, 0x86]]), [(0x86, Marks::PARITY)]);
        assert_eq!(decode(&[&[0xFF, 0x00, 0xFF, 0x01]]), [(0xFF, Marks::PARITY), (0x01, CLEAN)]);
        assert_eq!(decode(&[&[0xFF, 0x00, 0x00]]), [(0x00, Marks::PARITY | Marks::FRAMING)]);
        // No terminal says this; nothing of it is lost.
        assert_eq!(decode(&[&[0xFF, 0x07]]), [(0xFF, CLEAN), (0x07, CLEAN)]);
    }

    #[test]
    fn a_read_ends_within_a_mark() {
        let mut decoder = ParmrkDecoder::new();
        let mut out = Vec::new();
        decoder.push(&[0xFF], &mut out);
        assert!(out.is_empty() && decoder.is_within());
        decoder.push(&[0x00], &mut out);
        assert!(out.is_empty() && decoder.is_within());
        decoder.push(&[0x86], &mut out);
        assert_eq!(out, [(0x86, Marks::PARITY)]);
        assert!(!decoder.is_within());
    }

    proptest! {
        #[test]
        fn what_was_marked_comes_back(
            octets in prop::collection::vec(
                (prop_oneof![any::<u8>(), Just(0xFF), Just(0x00)], any::<bool>()), 0..200),
            cut in any::<prop::sample::Index>(),
        ) {
            let marked = mark(&octets);
            let cut = cut.index(marked.len() + 1);
            let got = decode(&[&marked[..cut], &marked[cut..]]);
            prop_assert_eq!(got.len(), octets.len());
            for (got, sent) in got.iter().zip(&octets) {
                prop_assert_eq!((got.0, !got.1.is_empty()), *sent);
            }
        }
    }
}
