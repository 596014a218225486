//! What a mock master can do wrong with the octets of its requests [HC-08].

use crate::frame::{Delimiter, check_byte};

/// A fault of a master; it is in every request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HostFault {
    /// Three preambles, which is too few [FR-02].
    FewPreambles,
    /// A check byte with one bit wrong [FR-09].
    WrongCheckByte,
    /// A byte count that is too large by one, the check byte computed with it [FR-08].
    WrongByteCount,
    /// The burst bit is set [FR-16].
    BurstBit,
    /// One octet behind the check byte [FR-01].
    OctetBehind,
}

impl HostFault {
    /// Every one with its name in bench files.
    pub const ALL: [(HostFault, &'static str); 5] = [
        (HostFault::FewPreambles, "few_preambles"),
        (HostFault::WrongCheckByte, "wrong_check_byte"),
        (HostFault::WrongByteCount, "wrong_byte_count"),
        (HostFault::BurstBit, "burst_bit"),
        (HostFault::OctetBehind, "octet_behind"),
    ];

    /// Its name in bench files.
    pub fn name(self) -> &'static str {
        HostFault::ALL.iter().find(|(f, _)| *f == self).map_or("", |(_, name)| name)
    }

    /// Spoils the octets of a legal request, preambles included.
    pub(super) fn spoil(self, octets: &mut Vec<u8>) {
        let Some(start) = octets.iter().position(|&o| o != 0xFF) else { return };
        let Some(delimiter) = Delimiter::parse(octets[start]) else { return };
        let count = start + delimiter.header_len() - 1;
        if octets.len() < count + 2 {
            return;
        }
        match self {
            HostFault::FewPreambles => {
                octets.drain(..start.saturating_sub(3));
            }
            HostFault::WrongCheckByte => {
                if let Some(last) = octets.last_mut() {
                    *last ^= 0x10;
                }
            }
            HostFault::WrongByteCount => octets[count] = octets[count].wrapping_add(1),
            HostFault::BurstBit => octets[start + 1] |= 0x40,
            HostFault::OctetBehind => octets.push(0x00),
        }
        if matches!(self, HostFault::WrongByteCount | HostFault::BurstBit) {
            octets.pop();
            let check = check_byte(&octets[start..]);
            octets.push(check);
        }
    }
}
