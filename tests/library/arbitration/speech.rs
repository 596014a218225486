//! What is said on the stage: requests, and what a legal station would never say.

use super::timeline::Who;
use looprig::device::DeviceConfig;
use looprig::frame::{
    Address, Frame, Master as Role, PollingAddress, RawFrame, RawOctet, Target, UniqueAddress,
};
use looprig::time::BitTimes;
use std::time::Duration;

/// One bit of the line in characters [LL-01].
pub const BIT: f64 = 1.0 / 11.0;

/// A length in characters of 11 bits at 1200 bit/s, to the nanosecond [LL-01].
pub fn characters(n: f64) -> Duration {
    Duration::from_nanos((n * 11e9 / 1200.0).round() as u64)
}

/// The unique address of the device at this polling address.
pub fn unique(device: u8) -> UniqueAddress {
    let mut config = DeviceConfig::new(looprig::app::command::Revision::R7);
    config.identity.device_id = device_id(device);
    config.identity.unique_address()
}

/// The id of the device at this polling address.
pub fn device_id(device: u8) -> u32 {
    0x00_3100 + u32::from(device)
}

/// Something to ask of a device.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ask {
    pub command: u8,
    pub device: u8,
    long: bool,
}

/// Command 0 with a short address: 5 preambles, delimiter, address, command, count, check byte: 10 characters.
pub fn poll(device: u8) -> Ask {
    Ask { command: 0, device, long: false }
}

/// A command without data with a long address: 4 characters more, 14.
pub fn read(command: u8, device: u8) -> Ask {
    Ask { command, device, long: true }
}

impl Ask {
    pub fn target(self) -> Target {
        match self.long {
            true => Target::Unique(unique(self.device)),
            false => Target::Polling(PollingAddress::new(self.device).expect("at most 63")),
        }
    }

    /// A short address, whatever the command [FR-14].
    pub fn shortly(self) -> Ask {
        Ask { long: false, ..self }
    }

    pub fn frame(self, role: Role) -> Frame {
        Frame::request(Address::new(role, self.target()), self.command, Vec::new()).expect("no data")
    }
}

/// Ten octets in which no frame begins.
const DATA: [u8; 10] = [0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x12, 0x34, 0x56];

/// A device's answer as a script gives it, after 5 preambles: to `poll` delimiter, address, command, count, 2 of status,
/// 10 of data and the check byte, 22 characters.
pub fn answer(to: Who, ask: Ask) -> RawFrame {
    let address = Address::new(to.role(), ask.target());
    RawFrame::of(&Frame::reply(false, address, ask.command, [0, 0], DATA.to_vec()).expect("short"), 5)
}

/// A request as a script gives it, after 5 preambles.
pub fn request(by: Who, ask: Ask) -> RawFrame {
    RawFrame::of(&ask.frame(by.role()), 5)
}

/// A burst of command 1 by the device, after which this master may speak: 5 preambles, 1 + 5 + 1 + 1 + 2 + 5 + 1: 21.
pub fn burst(naming: Who, device: u8) -> RawFrame {
    let address = Address { master: naming.role(), burst: true, target: Target::Unique(unique(device)) };
    RawFrame::of(&Frame::reply(true, address, 1, [0, 0], DATA[..5].to_vec()).expect("short"), 5)
}

/// So many octets that are no part of a frame.
pub fn noise(octets: usize) -> RawFrame {
    RawFrame { octets: vec![RawOctet::from(0x55); octets] }
}

/// A carrier for so many characters on which only the first and the last octet are to be heard.
pub fn carrier(long: f64) -> RawFrame {
    pause(noise(2), 1, long - 2.0)
}

/// The same with a pause of so many characters before the octet `at`.
pub fn pause(mut raw: RawFrame, at: usize, long: f64) -> RawFrame {
    raw.octets[at].gap_before = characters(long);
    raw
}

/// Only its first octets.
pub fn cut(mut raw: RawFrame, octets: usize) -> RawFrame {
    assert!(octets < raw.octets.len(), "nothing to cut");
    raw.octets.truncate(octets);
    raw
}

/// One right after the other.
pub fn joined(first: RawFrame, second: RawFrame) -> RawFrame {
    RawFrame { octets: [first.octets, second.octets].concat() }
}

/// So many octets without a pause at nominal speed.
pub fn lasting(n: usize) -> Duration {
    BitTimes::characters(n as u64).duration()
}
