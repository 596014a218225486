//! A request put together octet by octet, so that any part of it can be wrong.
//!
//! The layout is that of [FR-01], written here on its own: the encoder of `frame` is not asked, since a mock
//! uses that one too.

use crate::frame::{Master, RawFrame, RawOctet};
use core::time::Duration;

/// A part of a request, by which an octet is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// A preamble, the first is 0.
    Preamble(usize),
    /// The delimiter.
    Delimiter,
    /// An octet of the address, the first is 0.
    Address(usize),
    /// The command's number.
    Command,
    /// The byte count.
    ByteCount,
    /// A data octet, the first is 0.
    Data(usize),
    /// The check byte.
    Check,
}

/// A request as it is to be sent: right at first, then changed as a case wants it.
#[derive(Clone, Debug, PartialEq)]
pub struct Request {
    preambles: usize,
    delimiter: u8,
    address: Vec<u8>,
    expansion: Vec<u8>,
    command: u8,
    byte_count: Option<u8>,
    data: Vec<u8>,
    check_flip: u8,
    behind: Vec<u8>,
    cut: usize,
    bad_parity: Vec<Part>,
    gaps: Vec<(Part, f64)>,
}

impl Request {
    /// A request to a unique address, five octets without the two upper bits [FR-06].
    pub fn long(preambles: usize, master: Master, unique: [u8; 5], command: u8, data: &[u8]) -> Request {
        Request::to(preambles, 0x82, &unique, command, data).master(master)
    }

    /// A request to a polling address [FR-05].
    pub fn short(preambles: usize, master: Master, polling: u8, command: u8, data: &[u8]) -> Request {
        Request::to(preambles, 0x02, &[polling], command, data).master(master)
    }

    fn to(preambles: usize, delimiter: u8, address: &[u8], command: u8, data: &[u8]) -> Request {
        Request {
            preambles,
            delimiter,
            address: address.to_vec(),
            expansion: Vec::new(),
            command,
            byte_count: None,
            data: data.to_vec(),
            check_flip: 0,
            behind: Vec::new(),
            cut: 0,
            bad_parity: Vec::new(),
            gaps: Vec::new(),
        }
    }

    /// Its command.
    pub fn command(&self) -> u8 {
        self.command
    }

    /// Whether it names its device by a polling address.
    pub fn is_short(&self) -> bool {
        self.delimiter & 0x80 == 0
    }

    /// So many preambles.
    #[must_use]
    pub fn preambles(mut self, n: usize) -> Request {
        self.preambles = n;
        self
    }

    /// This delimiter, whatever the address is.
    #[must_use]
    pub fn delimiter(mut self, octet: u8) -> Request {
        self.delimiter = octet;
        self
    }

    /// The master bit of the address, mask 80, as this master has it [FR-16].
    #[must_use]
    pub fn master(self, master: Master) -> Request {
        let bit = if master == Master::Primary { 0x80 } else { 0 };
        self.address_top(0x80, bit)
    }

    /// The bits `mask` of the first address octet are `bits`.
    #[must_use]
    pub fn address_top(mut self, mask: u8, bits: u8) -> Request {
        if let Some(first) = self.address.first_mut() {
            *first = *first & !mask | bits & mask;
        }
        self
    }

    /// Bits flipped in an octet of the address, the first is 0.
    #[must_use]
    pub fn flip_address(mut self, at: usize, bits: u8) -> Request {
        if let Some(octet) = self.address.get_mut(at) {
            *octet ^= bits;
        }
        self
    }

    /// Expansion octets behind the address, at most three, told in the delimiter [FR-04].
    #[must_use]
    pub fn expansion(mut self, octets: &[u8]) -> Request {
        self.expansion = octets.iter().copied().take(3).collect();
        self.delimiter = self.delimiter & 0x9F | (self.expansion.len() as u8) << 5;
        self
    }

    /// A byte count that may be a lie.
    #[must_use]
    pub fn byte_count(mut self, n: u8) -> Request {
        self.byte_count = Some(n);
        self
    }

    /// Bits flipped in the check byte.
    #[must_use]
    pub fn flip_check(mut self, bits: u8) -> Request {
        self.check_flip ^= bits;
        self
    }

    /// Octets behind the check byte, without a pause.
    #[must_use]
    pub fn behind(mut self, octets: &[u8]) -> Request {
        self.behind = octets.to_vec();
        self
    }

    /// The last `n` octets are not sent.
    #[must_use]
    pub fn cut(mut self, n: usize) -> Request {
        self.cut = n;
        self
    }

    /// Wrong parity in this octet.
    #[must_use]
    pub fn bad_parity(mut self, part: Part) -> Request {
        self.bad_parity.push(part);
        self
    }

    /// A pause of so many characters before this octet.
    #[must_use]
    pub fn gap(mut self, part: Part, characters: f64) -> Request {
        self.gaps.push((part, characters));
        self
    }

    /// The octets from the delimiter to the check byte and what stands behind it; the check byte is that of
    /// [FR-09] before bits of it are flipped.
    pub fn octets(&self) -> Vec<u8> {
        let mut out = vec![self.delimiter];
        out.extend(&self.address);
        out.extend(&self.expansion);
        out.push(self.command);
        out.push(self.byte_count.unwrap_or(u8::try_from(self.data.len()).unwrap_or(u8::MAX)));
        out.extend(&self.data);
        let check = out.iter().fold(0, |x, o| x ^ o);
        out.push(check ^ self.check_flip);
        out.extend(&self.behind);
        out
    }

    fn at(&self, part: Part) -> usize {
        let command = self.preambles + 1 + self.address.len() + self.expansion.len();
        match part {
            Part::Preamble(i) => i,
            Part::Delimiter => self.preambles,
            Part::Address(i) => self.preambles + 1 + i,
            Part::Command => command,
            Part::ByteCount => command + 1,
            Part::Data(i) => command + 2 + i,
            Part::Check => command + 2 + self.data.len(),
        }
    }

    /// As a line sends it, whose characters last so long.
    pub fn raw(&self, character: Duration) -> RawFrame {
        let mut octets: Vec<RawOctet> =
            core::iter::repeat_n(0xFF, self.preambles).chain(self.octets()).map(RawOctet::from).collect();
        for &part in &self.bad_parity {
            if let Some(octet) = octets.get_mut(self.at(part)) {
                octet.bad_parity = true;
            }
        }
        for &(part, characters) in &self.gaps {
            if let Some(octet) = octets.get_mut(self.at(part)) {
                octet.gap_before = character.mul_f64(characters);
            }
        }
        octets.truncate(octets.len().saturating_sub(self.cut));
        RawFrame { octets }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Command 0 to polling address 0 by the primary master, as published [1770]: 02 80 00 00 82.
    #[test]
    fn a_published_request() {
        let request = Request::short(5, Master::Primary, 0, 0, &[]);
        assert_eq!(request.octets(), [0x02, 0x80, 0x00, 0x00, 0x82]);
        assert_eq!(request.raw(Duration::ZERO).values()[..6], [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02]);
    }

    #[test]
    fn parts_are_found() {
        let character = Duration::from_millis(9);
        let request = Request::long(3, Master::Secondary, [1, 2, 3, 4, 5], 6, &[7, 8])
            .expansion(&[9])
            .gap(Part::Data(1), 2.0)
            .bad_parity(Part::Check)
            .cut(0);
        let raw = request.raw(character);
        // FF FF FF, A2 (one expansion octet), address, 09, command 06, count 02, data, check.
        let check = [0xA2_u8, 1, 2, 3, 4, 5, 9, 6, 2, 7, 8].iter().fold(0, |x, o| x ^ o);
        assert_eq!(raw.values(), [0xFF, 0xFF, 0xFF, 0xA2, 1, 2, 3, 4, 5, 9, 6, 2, 7, 8, check]);
        let gaps: Vec<usize> = (0..15).filter(|&i| !raw.octets[i].gap_before.is_zero()).collect();
        assert_eq!((gaps, raw.octets[13].gap_before), (vec![13], character * 2));
        assert!(raw.octets[14].bad_parity && !raw.octets[13].bad_parity);
        assert_eq!(request.cut(2).raw(character).octets.len(), 13);
    }
}
