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
