//! A device on a wire that is nothing but arithmetic, which says whatever it says: nothing here wants it to be right.

use looprig::app::command::Revision;
use looprig::device::{Device, DeviceConfig, KindName, ProtocolFault, Slow};
use looprig::frame::{Marks, Octet, RawFrame};
use looprig::time::{Instant, Pace};
use std::time::Duration;

/// 11 bits at 1200 bit/s, ns [LL-01].
const CHARACTER_NS: u64 = 9_166_667;
const CHARACTER: Duration = Duration::from_nanos(CHARACTER_NS);
/// So many characters after a request whatever comes is taken for its answer.
const PATIENCE: u32 = 110;

/// What the device said, with what can be said of it.
#[derive(Clone, Debug)]
pub struct Said {
    pub at: Instant,
    /// Since the last octet of a request.
    pub after: Duration,
    pub raw: RawFrame,
}

impl Said {
    pub fn values(&self) -> Vec<u8> {
        self.raw.values()
    }

    /// From the first octet that is none of the preambles on.
    pub fn frame(&self) -> Vec<u8> {
        self.values().into_iter().skip_while(|&o| o == 0xFF).collect()
    }
}

pub struct Stage {
    pub device: Device,
    pub now: Instant,
    heard_at: Instant,
    pub said: Vec<Said>,
    /// When the last thing that was said has ended.
    ended_at: Instant,
}

/// The set-up of every scene: invented names of our own scenario.
pub fn config(kind: KindName, revision: Revision) -> DeviceConfig {
    let mut config = DeviceConfig::of_kind(kind, revision);
    let stored = &mut config.factory;
    stored.tag = "FV-3104".into();
    stored.descriptor = "FILTER 4".into();
    // 15 January 2011, the date of a published frame [TY-06].
    stored.date = [0x0F, 0x01, 0x6F];
    stored.message = "BRACKENMOOR WATER WORKS".into();
    stored.long_tag = "Brackenmoor filter 4".into();
    stored.final_assembly_number = 0x12_3456;
    config
}

impl Stage {
    pub fn new(mut config: DeviceConfig, faults: &[&'static ProtocolFault]) -> Stage {
        config.faults = faults.to_vec();
        let now = Instant::from_nanos(1_000_000_000);
        let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, now);
        Stage { device, now, heard_at: now, said: Vec::new(), ended_at: now }
    }

    fn speaks(&mut self) {
        while let Some(raw) = self.spoken() {
            let gaps: Duration = raw.octets.iter().map(|o| o.gap_before).sum();
            let lasts = CHARACTER * raw.octets.len() as u32 + gaps;
            self.said.push(Said { at: self.now, after: self.now.since(self.heard_at), raw });
            self.now += lasts;
            self.ended_at = self.now;
            self.device.sent(self.now);
        }
    }

    fn spoken(&mut self) -> Option<RawFrame> {
        match self.device.poll_transmit(self.now) {
            Some(octets) => Some(RawFrame { octets: octets.iter().map(|&o| o.into()).collect() }),
            None => self.device.poll_raw(self.now),
        }
    }

    pub fn wait(&mut self, d: Duration) {
        let until = self.now + d;
        self.device.handle_timeout(self.now);
        self.speaks();
        while let Some(t) = self.device.wake_at().filter(|t| *t <= until) {
            self.now = self.now.max(t);
            self.device.handle_timeout(self.now);
            self.speaks();
        }
        self.now = self.now.max(until);
    }

    /// Sends octets with their marks, each so many characters later than it could; gives the first thing that is said
    /// then.
    pub fn send(
        &mut self,
        octets: &[u8],
        marked: Option<(usize, Marks)>,
        pause: Option<(usize, f64)>,
    ) -> Option<Said> {
        for (i, &value) in octets.iter().enumerate() {
            self.now += CHARACTER.mul_f64(pause.filter(|p| p.0 == i).map_or(1.0, |p| p.1));
            let marks = marked.filter(|m| m.0 == i).map_or(Marks::NONE, |m| m.1);
            self.device.handle_timeout(self.now);
            self.device.handle(self.now, &[Octet { at: self.now, value, marks }]);
        }
        self.heard_at = self.now;
        let from = self.said.len();
        self.wait(CHARACTER * PATIENCE);
        self.said.get(from).cloned()
    }

    /// Silence between two things that were said, the last two.
    pub fn slow(mut config: DeviceConfig, command: u8, takes_ms: u64) -> DeviceConfig {
        config.slow.push(Slow { command, takes: Duration::from_millis(takes_ms) });
        config
    }
}
