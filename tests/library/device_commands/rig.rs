//! A device on a wire that is nothing but arithmetic.

use looprig::app::command::Revision;
use looprig::device::{Device, DeviceConfig, KindName, Restored};
use looprig::frame::{Marks, Octet};
use looprig::time::{Instant, Pace};
use std::time::Duration;

/// 11 bits at 1200 bit/s, ns [LL-01].
const CHARACTER_NS: u64 = 9_166_667;
/// 28 characters, ns [LL-02].
const SLAVE_TIME_OUT_NS: u64 = 256_666_667;

/// Master bit of the primary master [FR-16]; the secondary has none.
pub const PRIMARY: u8 = 0x80;
pub const SECONDARY: u8 = 0x00;
pub const BOTH: [u8; 2] = [PRIMARY, SECONDARY];

pub const REVISIONS: [Revision; 3] = Revision::NEWEST_FIRST;

/// Unique addresses of the mocks with device id 003104 [FR-06]: FD without its two upper bits is 3D.
pub fn unique(revision: Revision) -> [u8; 5] {
    match revision {
        Revision::R5 => [0x3D, 0x51, 0x00, 0x31, 0x04],
        Revision::R6 => [0x3D, 0x61, 0x00, 0x31, 0x04],
        Revision::R7 => [0x3D, 0x71, 0x00, 0x31, 0x04],
    }
}

/// The same by kind: device types of temperature transmitters are 52, 62 and FD72, one above [DV-61].
pub fn unique_of(kind: KindName, revision: Revision) -> [u8; 5] {
    let mut own = unique(revision);
    own[1] += u8::from(kind == KindName::Temperature);
    own
}

/// An answer, taken apart after its frame was found right.
#[derive(Debug, PartialEq, Eq)]
pub struct Reply {
    pub address: Vec<u8>,
    pub command: u8,
    pub status: [u8; 2],
    pub data: Vec<u8>,
    /// From the end of the request to the start of the answer.
    pub after: Duration,
}

/// A burst, taken apart after its frame was found right.
#[derive(Debug, PartialEq, Eq)]
pub struct Burst {
    /// When its first preamble began.
    pub at: Instant,
    /// Silence before it since the last octet on the wire.
    pub after: Duration,
    /// Master bit of the master that it names.
    pub names: u8,
    pub command: u8,
    pub status: [u8; 2],
    pub data: Vec<u8>,
}

pub struct Rig {
    /// What the device has sent in burst mode, until somebody takes it.
    pub bursts: Vec<Burst>,
    /// The end of the last octet.
    spoken_at: Instant,
    pub device: Device,
    pub restored: Restored,
    pub now: Instant,
    pub revision: Revision,
    /// Its unique address.
    pub own: [u8; 5],
    character: Duration,
}

/// A request from preamble to check byte [FR-01] [FR-09].
pub fn request(address: &[u8], command: u8, data: &[u8]) -> Vec<u8> {
    let mut out = vec![if address.len() == 1 { 0x02 } else { 0x82 }];
    out.extend_from_slice(address);
    out.extend_from_slice(&[command, data.len() as u8]);
    out.extend_from_slice(data);
    out.push(out.iter().fold(0, |x, o| x ^ o));
    [vec![0xFF; 5], out].concat()
}

/// A unique address with the master bit.
pub fn from_master(master: u8, mut address: [u8; 5]) -> [u8; 5] {
    address[0] |= master;
    address
}

impl Rig {
    pub fn new(revision: Revision) -> Rig {
        Rig::with(DeviceConfig::new(revision), None)
    }

    pub fn with(config: DeviceConfig, image: Option<&[u8]>) -> Rig {
        Rig::paced(config, image, Pace::Wire)
    }

    pub fn paced(config: DeviceConfig, image: Option<&[u8]>, pace: Pace) -> Rig {
        Rig::powered_up(Instant::from_nanos(1_000_000_000), config, image, pace)
    }

    /// One that powers up at a later time.
    #[allow(dead_code, reason = "single commands need none")]
    pub fn at(now: Instant, config: DeviceConfig, image: Option<&[u8]>) -> Rig {
        Rig::powered_up(now, config, image, Pace::Wire)
    }

    fn powered_up(now: Instant, config: DeviceConfig, image: Option<&[u8]>, pace: Pace) -> Rig {
        let revision = config.identity.revision;
        let own = unique_of(config.kind.name(), revision);
        let character = match pace {
            Pace::Wire => Duration::from_nanos(CHARACTER_NS),
            Pace::Scaled(f) => Duration::from_nanos((CHARACTER_NS as f64 / f) as u64),
            Pace::Fast => Duration::ZERO,
        };
        let (device, restored) = Device::new(config, image, pace, Duration::ZERO, now);
        Rig { device, restored, now, revision, own, character, bursts: Vec::new(), spoken_at: now }
    }

    pub fn wait(&mut self, d: Duration) {
        let until = self.now + d;
        self.device.handle_timeout(self.now);
        loop {
            if let Some(octets) = self.device.poll_transmit(self.now) {
                self.burst(&octets);
            }
            match self.device.wake_at() {
                Some(t) if t <= until => {
                    self.now = self.now.max(t);
                    self.device.handle_timeout(self.now);
                }
                _ => break,
            }
        }
        // A burst may last longer.
        self.now = self.now.max(until);
    }

    /// The device sends these unasked from now on: a whole burst of a device in burst mode [FR-03] [FR-06].
    fn burst(&mut self, octets: &[u8]) {
        assert!(self.device.bursts(), "spoke unasked");
        let (at, after) = (self.now, self.now.since(self.spoken_at));
        self.leaves(octets.len());
        let preambles = usize::from(self.device.preambles_reply());
        let (filling, frame) = octets.split_at(preambles);
        assert!(filling.iter().all(|&o| o == 0xFF), "{octets:02X?}");
        let (address, rest) = frame[1..].split_at(5);
        let own = self.own;
        let names = address[0] & 0x80;
        // The burst bit, 40, is set [FR-16].
        assert_eq!((frame[0], &address[1..], address[0]), (0x81, &own[1..], own[0] | names | 0x40));
        assert_eq!(frame.iter().fold(0, |x, o| x ^ o), 0, "check byte of {frame:02X?}");
        assert_eq!(usize::from(rest[1]), rest.len() - 3, "byte count of {frame:02X?}");
        let (command, status) = (rest[0], [rest[2], rest[3]]);
        let data = rest[4..rest.len() - 1].to_vec();
        self.bursts.push(Burst { at, after, names, command, status, data });
    }

    /// So many octets leave.
    fn leaves(&mut self, octets: usize) {
        self.now += self.character * octets as u32;
        self.spoken_at = self.now;
        self.device.sent(self.now);
    }

    /// Sends octets at the wire's pace, with marks where given, and waits for an answer until none may come
    /// any more.
    pub fn send(&mut self, octets: &[u8], marked: Option<(usize, Marks)>) -> Option<Reply> {
        for (i, &value) in octets.iter().enumerate() {
            self.now += self.character;
            let marks = marked.filter(|m| m.0 == i).map_or(Marks::NONE, |m| m.1);
            self.device.handle(self.now, &[Octet { at: self.now, value, marks }]);
        }
        self.spoken_at = self.now;
        let end = self.now;
        let last = end + Duration::from_nanos(SLAVE_TIME_OUT_NS);
        let mut answer = None;
        loop {
            if let Some(octets) = self.device.poll_transmit(self.now) {
                if octets.iter().find(|&&o| o != 0xFF) == Some(&0x81) {
                    self.burst(&octets);
                    continue;
                }
                let after = self.now.since(end);
                self.leaves(octets.len());
                let preambles = self.device.preambles_reply();
                answer = Some(taken_apart(&octets, preambles.into(), after));
            }
            match self.device.wake_at() {
                Some(t) if t <= last => {
                    self.now = self.now.max(t);
                    self.device.handle_timeout(self.now);
                }
                _ => break,
            }
        }
        self.now = self.now.max(last);
        self.wait(Duration::from_millis(400));
        answer
    }

    /// Asks at the device's unique address; there has to be an answer, and it has to fit the request.
    pub fn ask(&mut self, master: u8, command: u8, data: &[u8]) -> Reply {
        let address = from_master(master, self.own);
        let reply = self
            .send(&request(&address, command, data), None)
            .unwrap_or_else(|| panic!("no answer to command {command}"));
        // Mask 40 of the first octet tells that it is in burst mode [FR-16].
        let mut own = reply.address.clone();
        assert_eq!(own[0] & 0x40 != 0, self.device.bursts(), "burst bit of command {command}");
        own[0] &= !0x40;
        assert_eq!(own, address, "command {command}");
        assert_eq!(reply.command, command);
        reply
    }

    /// Both masters ask once, so that cold start is over.
    pub fn warm(mut self) -> Rig {
        for master in BOTH {
            self.ask(master, 0, &[]);
        }
        self
    }
}

/// Checks an answer's frame [FR-01] [FR-09] [FR-12] and takes it apart.
fn taken_apart(octets: &[u8], wanted: usize, after: Duration) -> Reply {
    let preambles = octets.iter().take_while(|&&o| o == 0xFF).count();
    assert_eq!(preambles, wanted);
    let frame = &octets[preambles..];
    assert_eq!(frame.iter().fold(0, |x, o| x ^ o), 0, "check byte of {frame:02X?}");
    let address_len = match frame[0] {
        0x06 => 1,
        0x86 => 5,
        other => panic!("delimiter {other:02X}"),
    };
    let (address, rest) = frame[1..].split_at(address_len);
    let (command, count) = (rest[0], usize::from(rest[1]));
    assert_eq!(count, rest.len() - 3, "byte count of {frame:02X?}");
    Reply {
        address: address.to_vec(),
        command,
        status: [rest[2], rest[3]],
        data: rest[4..rest.len() - 1].to_vec(),
        after,
    }
}
