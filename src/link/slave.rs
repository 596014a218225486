//! Whether a device is called, and how it may answer.

use crate::frame::{
    Address, Damage, Frame, FrameType, Header, Marks, PollingAddress, Reception, Target, UniqueAddress,
};

/// The addresses to which a device listens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slave {
    /// Its polling address.
    pub polling: PollingAddress,
    /// Its unique address.
    pub unique: UniqueAddress,
    /// Highest polling address that its revision knows: 15 or 63 [FR-05].
    pub highest_polling: u8,
    /// Whether a damaged request is answered with the communication error octets, as the notes
    /// recall, or ignored [LL-08].
    pub answers_damaged: bool,
}

/// What a reception means to a device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Call {
    /// A request to this device alone.
    Request(Frame),
    /// A request to all devices: only the one that it describes may answer [DV-07].
    Broadcast(Frame),
    /// A request to this device whose header arrived and whose rest is damaged: the answer carries
    /// this communication error octet [LL-08] [ST-01].
    Damaged(Header, u8),
    /// Nothing that this device may answer [DV-12].
    NotForUs,
}

/// Communication error flag.
const ERROR: u8 = 0x80;
const PARITY: u8 = 0x40;
const FRAMING: u8 = 0x10;
const CHECK: u8 = 0x08;

impl Slave {
    /// Judges a reception.
    pub fn judge(&self, reception: &Reception) -> Call {
        match reception {
            Reception::Good(g) => {
                let f = &g.frame;
                // Octets whose meaning is unknown may change all that follows [FR-04].
                if f.frame_type() != FrameType::Stx || !f.expansion().as_slice().is_empty() {
                    return Call::NotForUs;
                }
                match f.address().target {
                    // From revision 5 on a short address only serves to ask who is there [FR-14].
                    Target::Polling(p) if self.hears(p) && f.command() == 0 => Call::Request(f.clone()),
                    Target::Unique(u) if u == self.unique => Call::Request(f.clone()),
                    Target::Unique(u) if u.is_broadcast() => Call::Broadcast(f.clone()),
                    _ => Call::NotForUs,
                }
            }
            Reception::Damaged(d) if self.answers_damaged => {
                let bits = match d.damage {
                    Damage::Check { .. } => CHECK,
                    // Octets lost break the frame off instead [FR-11].
                    Damage::Character { marks, .. } => {
                        let has = |m, bit| if marks.contains(m) { bit } else { 0 };
                        has(Marks::PARITY, PARITY) | has(Marks::FRAMING, FRAMING)
                    }
                    _ => return Call::NotForUs,
                };
                match d.header() {
                    Some(h) if self.is_called(&h) => Call::Damaged(h, ERROR | bits),
                    _ => Call::NotForUs,
                }
            }
            _ => Call::NotForUs,
        }
    }

    /// The address field of an answer: the request's master bit, this device's own address where
    /// all devices were asked, the burst bit as told [FR-16].
    pub fn reply_address(&self, request: &Address, burst: bool) -> Address {
        let target = if request.is_broadcast() { Target::Unique(self.unique) } else { request.target };
        Address { master: request.master, burst, target }
    }

    fn hears(&self, p: PollingAddress) -> bool {
        p == self.polling && p.get() <= self.highest_polling
    }

    fn is_called(&self, h: &Header) -> bool {
        h.delimiter.frame_type == FrameType::Stx
            && h.delimiter.expansion == 0
            && match h.address.target {
                Target::Polling(p) => self.hears(p) && h.command == 0,
                Target::Unique(u) => u == self.unique,
            }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Octet, Receiver, ReceiverConfig};
    use crate::time::{BitTimes, Instant};

    /// A device at this polling address, of a revision that ends at `highest_polling`.
    fn slave(polling: u8, highest_polling: u8) -> Slave {
        Slave {
            polling: PollingAddress::new(polling).expect("at most 63"),
            unique: UniqueAddress::from_octets([0x26, 0x0D, 0x00, 0x15, 0x11]),
            highest_polling,
            answers_damaged: true,
        }
    }

    /// What the slave makes of octets after two preambles, with a check byte to which `flip` is done.
    fn judge(slave: &Slave, octets: &[u8], flip: u8) -> Call {
        let check = octets.iter().fold(flip, |x, o| x ^ o);
        let values = [&[0xFF, 0xFF], octets, &[check]].concat();
        let step = BitTimes::characters(1).duration();
        let stamped: Vec<Octet> =
            (1..).zip(values).map(|(i, v)| Octet::clean(Instant::ZERO + step * i, v)).collect();
        let mut receiver = Receiver::new(ReceiverConfig::UNTIMED);
        receiver.push(&stamped);
        receiver.finish();
        slave.judge(&receiver.next().expect("a frame"))
    }

    /// [FR-05]: revision 5 ends at 15, whatever its memory says.
    #[test]
    fn polling_addresses_above_the_revisions_are_not_heard() {
        assert!(matches!(judge(&slave(15, 15), &[0x02, 0x8F, 0, 0], 0), Call::Request(_)));
        assert_eq!(judge(&slave(16, 15), &[0x02, 0x90, 0, 0], 0), Call::NotForUs);
        assert!(matches!(judge(&slave(16, 63), &[0x02, 0x90, 0, 0], 0), Call::Request(_)));
    }

    /// [LL-08] [ST-01]: a wrong check byte is answered with 88; not where the rest could mean anything [FR-04], not to
    /// a short frame of another command than 0 [FR-14], and not to all.
    #[test]
    fn damaged_requests_that_are_answered() {
        let slave = slave(0, 63);
        let unique = [0x26 | 0x80, 0x0D, 0x00, 0x15, 0x11];
        let long = |delimiter: u8, rest: &[u8]| [&[delimiter], &unique[..], rest].concat();
        match judge(&slave, &long(0x82, &[1, 0]), 0x01) {
            Call::Damaged(header, bits) => assert_eq!((header.command, bits), (1, 0x88)),
            other => panic!("{other:?}"),
        }
        assert!(matches!(judge(&slave, &[0x02, 0x80, 0, 0], 0x01), Call::Damaged(_, 0x88)));
        for silent in [
            // One expansion octet.
            long(0xA2, &[0x99, 1, 0]),
            vec![0x02, 0x80, 3, 0],
            vec![0x02, 0x81, 0, 0],
            // A reply, and a request to all.
            long(0x86, &[1, 2, 0, 0]),
            vec![0x82, 0x80, 0, 0, 0, 0, 11, 0],
        ] {
            assert_eq!(judge(&slave, &silent, 0x01), Call::NotForUs, "{silent:02X?}");
        }
    }
}
