//! Mocks for the suite, and mocks that are bent: what they hear or say is changed on its way.

use looprig::app::command::Revision;
use looprig::conform::{CaseResult, Results, Suite, Verdict};
use looprig::device::{Device, DeviceConfig, KindName};
use looprig::frame::{Octet, PollingAddress, RawFrame, RawOctet};
use looprig::host::To;
use looprig::line::{Bus, InProcess, Station};
use looprig::sim::DeviceStation;
use looprig::time::{Instant, Pace};
use std::time::Duration;

pub const REVISIONS: [Revision; 3] = Revision::NEWEST_FIRST;

/// The polling address of the mocks.
pub const POLLING: u8 = 4;

/// A positioner as it is delivered, at polling address 4.
pub fn config(revision: Revision) -> DeviceConfig {
    of_kind(KindName::Positioner, revision)
}

/// A temperature transmitter.
pub fn transmitter(revision: Revision) -> DeviceConfig {
    of_kind(KindName::Temperature, revision)
}

fn of_kind(kind: KindName, revision: Revision) -> DeviceConfig {
    let mut config = DeviceConfig::of_kind(kind, revision);
    config.factory.polling_address = POLLING;
    config.factory.tag = "FV-3104".into();
    config
}

/// What becomes of the octets of an answer or burst, preambles included; empty is silence.
type Say = Box<dyn FnMut(Vec<u8>) -> RawFrame>;
/// What becomes of an octet that the device hears; `None` if it does not hear it.
type Hear = Box<dyn FnMut(Octet) -> Option<Octet>>;

/// A device whose ears or mouth are bad.
pub struct Bent {
    inner: DeviceStation,
    say: Say,
    hear: Hear,
    late: Duration,
    ready: Option<(Instant, RawFrame)>,
}

impl Bent {
    pub fn new(config: DeviceConfig) -> Bent {
        let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, Instant::ZERO);
        Bent {
            inner: DeviceStation::new(device, Vec::new()),
            say: Box::new(|octets| raw(&octets)),
            hear: Box::new(Some),
            late: Duration::ZERO,
            ready: None,
        }
    }

    pub fn saying(mut self, say: impl FnMut(Vec<u8>) -> RawFrame + 'static) -> Bent {
        self.say = Box::new(say);
        self
    }

    pub fn hearing(mut self, hear: impl FnMut(Octet) -> Option<Octet> + 'static) -> Bent {
        self.hear = Box::new(hear);
        self
    }

    /// Answers so much later.
    pub fn late(mut self, late: Duration) -> Bent {
        self.late = late;
        self
    }

    /// As a line.
    pub fn line(self) -> InProcess<Bent> {
        let mut bus = Bus::new(Pace::Wire);
        bus.add_station(self);
        InProcess::new(bus, "test")
    }
}

impl Station for Bent {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        let heard: Vec<Octet> = octets.iter().filter_map(|o| (self.hear)(*o)).collect();
        self.inner.handle(now, &heard);
    }
    fn sent(&mut self, now: Instant) {
        self.inner.sent(now);
    }
    fn carrier(&mut self, now: Instant, on: bool) {
        self.inner.carrier(now, on);
    }
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        let octets = self.inner.poll_transmit(now)?;
        let said = (self.say)(octets);
        match said.octets.is_empty() {
            true => self.inner.sent(now),
            false => self.ready = Some((now + self.late, said)),
        }
        None
    }
    fn poll_raw(&mut self, now: Instant) -> Option<RawFrame> {
        self.ready.take_if(|(at, _)| *at <= now).map(|(_, said)| said)
    }
    fn wake_at(&self) -> Option<Instant> {
        let ready = self.ready.as_ref().map(|(at, _)| *at);
        [self.inner.wake_at(), ready].into_iter().flatten().min()
    }
}

/// Clean octets.
pub fn raw(octets: &[u8]) -> RawFrame {
    RawFrame { octets: octets.iter().map(|&v| RawOctet::from(v)).collect() }
}

/// An answer taken apart: preambles, then the frame without its check byte.
pub fn split(octets: &[u8]) -> (usize, Vec<u8>) {
    let preambles = octets.iter().take_while(|&&o| o == 0xFF).count();
    (preambles, octets[preambles..octets.len() - 1].to_vec())
}

/// A whole frame again, with the check byte that fits [FR-09].
pub fn join(preambles: usize, frame: &[u8]) -> RawFrame {
    let check = frame.iter().fold(0, |x, o| x ^ o);
    raw(&[&vec![0xFF; preambles], frame, &[check]].concat())
}

/// A bend of the frame behind the preambles, check byte made anew.
pub fn framed(mut bend: impl FnMut(&mut Vec<u8>) + 'static) -> impl FnMut(Vec<u8>) -> RawFrame {
    move |octets| {
        let (preambles, mut frame) = split(&octets);
        bend(&mut frame);
        join(preambles, &frame)
    }
}

pub fn to() -> To {
    To::Polling(PollingAddress::new(POLLING).expect("at most 63"))
}

/// A run of these cases on a device, with everything allowed.
pub fn judge(device: Bent, only: &str) -> Results {
    let suite = Suite::new().only(only).writing(true).moving(true);
    suite.run(&mut device.line(), &to()).unwrap_or_else(|e| panic!("{only}: {e}"))
}

/// The result of one case on a device.
pub fn one(device: Bent, id: &str) -> CaseResult {
    let mut results = judge(device, id);
    assert_eq!(results.cases.len(), 1, "{id}");
    results.cases.remove(0)
}

/// The case passes on the healthy mock of revision 7 and fails on the bad one.
pub fn fails(id: &str, device: Bent) -> String {
    let healthy = one(Bent::new(config(Revision::R7)), id);
    assert_eq!(healthy.verdict, Verdict::Pass, "{id} on a healthy mock");
    match one(device, id).verdict {
        Verdict::Fail { expected, observed } => format!("{expected}; {observed}"),
        other => panic!("{id}: {other:?}"),
    }
}
