//! Mocks for the suite, and mocks that are bent: what they hear or say is changed on its way.

use looprig::app::command::Revision;
use looprig::conform::{CaseResult, Results, Suite, Verdict};
use looprig::device::{Device, DeviceConfig, KindName, Slow};
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

/// A positioner whose write protect is on.
pub fn protected(revision: Revision) -> DeviceConfig {
    let mut config = config(revision);
    config.write_protected = true;
    config
}

/// A positioner of revision 7 that puts commands 22 and 71 off, for three seconds.
pub fn slow() -> DeviceConfig {
    let mut config = config(Revision::R7);
    config.slow = [22, 71].map(|command| Slow { command, takes: Duration::from_secs(3) }).into();
    config
}

fn of_kind(kind: KindName, revision: Revision) -> DeviceConfig {
    let mut config = DeviceConfig::of_kind(kind, revision);
    config.factory.polling_address = POLLING;
    config.factory.tag = "FV-3104".into();
    config
}

/// What becomes of the octets of an answer or burst, preambles included; empty is silence.
type Say = Box<dyn FnMut(Vec<u8>) -> RawFrame>;
/// What becomes of the octets that the device hears, all that passed without a pause of five characters; empty is
/// deafness. What it hears then is clean and without pauses.
type Hear = Box<dyn FnMut(&[Octet]) -> Vec<u8>>;

/// One character, 11 bits at 1200 bit/s [LL-01].
pub const CHARACTER: Duration = Duration::from_nanos(9_166_666);

/// A device whose ears or mouth are bad.
pub struct Bent {
    inner: DeviceStation,
    say: Say,
    hear: Option<Hear>,
    heard: Vec<Octet>,
    late: Duration,
    /// So long after its own answer it hears nothing.
    deaf: Duration,
    sent_at: Option<Instant>,
    /// Speaks unasked so often.
    chatter: Option<(Duration, Vec<u8>)>,
    chatter_at: Instant,
    ready: Option<(Instant, RawFrame)>,
    of_its_own: bool,
}

impl Bent {
    pub fn new(config: DeviceConfig) -> Bent {
        let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, Instant::ZERO);
        Bent {
            inner: DeviceStation::new(device, Vec::new()),
            say: Box::new(|octets| raw(&octets)),
            hear: None,
            heard: Vec::new(),
            late: Duration::ZERO,
            deaf: Duration::ZERO,
            sent_at: None,
            chatter: None,
            chatter_at: Instant::ZERO,
            ready: None,
            of_its_own: false,
        }
    }

    pub fn saying(mut self, say: impl FnMut(Vec<u8>) -> RawFrame + 'static) -> Bent {
        self.say = Box::new(say);
        self
    }

    pub fn hearing(mut self, hear: impl FnMut(&[Octet]) -> Vec<u8> + 'static) -> Bent {
        self.hear = Some(Box::new(hear));
        self
    }

    /// Answers so much later.
    pub fn late(mut self, late: Duration) -> Bent {
        self.late = late;
        self
    }

    pub fn deaf_after_answers(mut self, deaf: Duration) -> Bent {
        self.deaf = deaf;
        self
    }

    pub fn chattering(mut self, every: Duration, octets: &[u8]) -> Bent {
        self.chatter = Some((every, octets.to_vec()));
        self.chatter_at = Instant::ZERO + every;
        self
    }

    /// As a line.
    pub fn line(self) -> InProcess<Bent> {
        let mut bus = Bus::new(Pace::Wire);
        bus.add_station(self);
        InProcess::new(bus, "test")
    }

    fn heard_at(&self) -> Option<Instant> {
        self.heard.last().map(|o| o.at + CHARACTER * 5)
    }

    fn hand_over(&mut self, now: Instant) {
        if self.heard_at().is_none_or(|at| at > now) {
            return;
        }
        let heard = std::mem::take(&mut self.heard);
        let Some(hear) = &mut self.hear else { return };
        let values = hear(&heard);
        let mut at = now.before(CHARACTER * values.len() as u32);
        let octets = values.into_iter().map(|value| {
            at += CHARACTER;
            Octet::clean(at, value)
        });
        let octets: Vec<Octet> = octets.collect();
        if !octets.is_empty() {
            self.inner.handle(now, &octets);
        }
    }
}

impl Station for Bent {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        if self.sent_at.is_some_and(|at| now < at + self.deaf) {
            return;
        }
        match self.hear {
            Some(_) => self.heard.extend_from_slice(octets),
            None => self.inner.handle(now, octets),
        }
    }
    fn sent(&mut self, now: Instant) {
        self.sent_at = Some(now);
        match self.of_its_own {
            true => self.of_its_own = false,
            false => self.inner.sent(now),
        }
    }
    fn carrier(&mut self, now: Instant, on: bool) {
        self.inner.carrier(now, on);
    }
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.hand_over(now);
        if let Some((every, octets)) = self.chatter.as_ref().filter(|_| now >= self.chatter_at) {
            self.chatter_at = now + *every;
            self.of_its_own = true;
            return Some(octets.clone());
        }
        if self.ready.is_some() {
            return None;
        }
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
        let chatter = self.chatter.as_ref().map(|_| self.chatter_at);
        [self.inner.wake_at(), self.heard_at(), ready, chatter].into_iter().flatten().min()
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
