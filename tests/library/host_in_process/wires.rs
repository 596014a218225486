//! Somebody else on the wires, a host that was interrupted, and a line that is never silent.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::bench;
use looprig::frame::{Capabilities, Master as Role, Octet, PollingAddress};
use looprig::host::{Host, HostError, To};
use looprig::line::{Bus, Error, Event, InProcess, Line, Station};
use looprig::link::MasterConfig;
use looprig::time::{Instant, Pace};
use looprig::transaction::{Kind, Outcome, Passed};
use std::collections::VecDeque;
use std::time::Duration;

/// Says things at their times and hears nothing.
struct Speaker(VecDeque<(Instant, Vec<u8>)>);

impl Station for Speaker {
    fn handle(&mut self, _: Instant, _: &[Octet]) {}
    fn sent(&mut self, _: Instant) {}
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        let due = self.0.front().is_some_and(|(t, _)| *t <= now);
        due.then(|| self.0.pop_front()).flatten().map(|(_, values)| values)
    }
    fn wake_at(&self) -> Option<Instant> {
        self.0.front().map(|(t, _)| *t)
    }
}

type Mixed = Shared<Box<dyn Station + Send>>;

/// The device of [`config`] and a station that speaks at these times, ms.
fn with_speaker(said: impl IntoIterator<Item = (u64, Vec<u8>)>) -> Mixed {
    let plan = plan([config(Revision::R7)]);
    let mut bus: Bus = Bus::new(Pace::Wire);
    let (device, _) = bench::device_station(0, &plan, None, Duration::ZERO, Instant::ZERO);
    bus.add_station(Box::new(device));
    let said = said.into_iter().map(|(ms, values)| (Instant::ZERO + Duration::from_millis(ms), values));
    bus.add_station(Box::new(Speaker(said.collect())));
    Shared::new(InProcess::new(bus, "mock:test"))
}

fn four() -> PollingAddress {
    PollingAddress::new(4).unwrap()
}

/// [LL-09]: another master began between two requests and its answer may still come. Nobody has address 9, so RT1
/// of 41 characters after its request is what the host waits for.
#[test]
fn what_came_between_two_requests_is_heard() {
    let foreign = framed(&[0x02, 0x89, 0x00, 0x00]);
    for late_chars in [0, 3, 20, 40] {
        let line = with_speaker([(5_000, foreign.clone())]);
        let mut host = Host::new(line.clone(), MasterConfig::default());
        assert!(host.poll(four(), None).unwrap().1.is_some());
        let end = Instant::ZERO + Duration::from_millis(5_000) + passing(10);
        let now = line.time();
        line.idle((end - now) + characters(late_chars));
        let (exchange, device) = host.poll(four(), None).unwrap();
        assert!(device.is_some());
        assert_eq!(exchange.transaction.tries.len(), 1);
        // The first octet ends a character after the start.
        let begins = exchange.transaction.started_at().before(passing(1));
        assert_eq!(begins, end + characters(41), "{late_chars} characters after");
        let overheard = host.take_overheard();
        assert!(
            matches!(&overheard[..], [Passed::Transaction(t)] if t.kind == Kind::Asked && t.outcome == Outcome::Silent),
            "{overheard:?}"
        );
    }
    // In the middle of that request: it is let end.
    let line = with_speaker([(5_000, foreign)]);
    let mut host = Host::new(line.clone(), MasterConfig::default());
    host.poll(four(), None).unwrap();
    let end = Instant::ZERO + Duration::from_millis(5_000) + passing(10);
    let now = line.time();
    line.idle((end - now) - characters(4));
    let (exchange, _) = host.poll(four(), None).unwrap();
    assert_eq!(exchange.transaction.started_at().before(passing(1)), end + characters(41));
}

/// [HO-03]: it says what it saw, each time, and what the other role could do.
#[test]
fn a_second_master_with_the_same_bit() {
    for (role, address, other) in [(Role::Secondary, 0x04, "primary"), (Role::Primary, 0x84, "secondary")] {
        let line = with_speaker([5_000, 6_000].map(|ms| (ms, framed(&[0x02, address, 0x00, 0x00]))));
        let mut host = Host::new(line.clone(), MasterConfig { role, ..MasterConfig::default() });
        assert!(host.poll(four(), None).unwrap().1.is_some());
        line.idle(Duration::from_secs(10));
        for _ in 0..3 {
            let before = line.time();
            let Err(HostError::Stopped(v)) = host.poll(four(), None) else { panic!("it went on") };
            assert_eq!(
                (v.requirement, v.evidence.last().map(|e| e.frame.address().master)),
                ("HO-03", Some(role))
            );
            let said = HostError::Stopped(v).to_string();
            assert!(said.contains(&format!("--master {other}")) && said.contains("[HO-03]"), "{said}");
            assert_eq!(line.time(), before);
        }
    }
    // While it waits for an answer of nobody.
    let line = with_speaker([100, 1_000].map(|ms| (ms, framed(&[0x02, 0x04, 0x00, 0x00]))));
    let mut host = Host::new(line, MasterConfig::default());
    assert!(matches!(host.poll(PollingAddress::new(9).unwrap(), None), Err(HostError::Stopped(_))));
}

/// Hum from the start: nothing is sent, and that is told; when it is over the host asks.
#[test]
fn a_line_that_is_never_silent() {
    let line = with_speaker((0..5).map(|i| (i * 9_000, vec![0x55; 1000])));
    let mut host = Host::new(line.clone(), MasterConfig::default());
    let e = host.poll(four(), None).unwrap_err();
    assert!(matches!(e, HostError::NoTurn(_)), "{e}");
    assert!(e.to_string().contains("9.2 s") && e.to_string().contains("next:"), "{e}");
    assert_eq!(host.quality().requests, 0);
    line.idle(Duration::from_secs(60));
    assert!(host.poll(four(), None).unwrap().1.is_some());
    assert!(host.take_overheard().len() <= 1000);
}

/// A line that says at one of its waits that somebody wants to stop, or that it fails.
struct Fails<L: Line> {
    line: L,
    waits_left: usize,
    interrupted: bool,
}

impl<L: Line> Line for Fails<L> {
    fn describe(&self) -> String {
        self.line.describe()
    }
    fn capabilities(&self) -> Capabilities {
        self.line.capabilities()
    }
    fn pace(&self) -> Pace {
        self.line.pace()
    }
    fn now(&mut self) -> Instant {
        self.line.now()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.line.send(octets)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        if self.waits_left > 0 {
            self.waits_left -= 1;
            if self.waits_left == 0 {
                return Ok(if self.interrupted { Event::Interrupted } else { Event::Closed });
            }
        }
        self.line.wait(until)
    }
}

/// At whichever wait it happens: the error is told as what it is, and the next request is answered.
#[test]
fn after_an_interruption_the_next_request_goes_its_way() {
    for interrupted in [true, false] {
        let mut failed = 0;
        for at in 1..60 {
            let line = bench::in_process(&plan([config(Revision::R7)]));
            let mut host = Host::new(Fails { line, waits_left: at, interrupted }, MasterConfig::default());
            match host.poll(four(), None) {
                Err(HostError::Interrupted) => assert!(interrupted),
                Err(HostError::Closed) => assert!(!interrupted),
                Err(e) => panic!("wait {at}: {e}"),
                Ok(_) => continue,
            }
            failed += 1;
            // Another request, so that it cannot be the old one that goes on.
            let found = host.find(&To::Tag("FV-3104".into()));
            let (exchange, device) = found.unwrap_or_else(|e| panic!("after wait {at}: {e}"));
            assert_eq!((exchange.command(), exchange.transaction.tries.len()), (11, 1), "after wait {at}");
            let exchange = ask(&mut host, &device.expect("the device"), 13, &[]);
            assert!(text(&exchange, "tag").contains("FV-3104"));
            assert_eq!(exchange.transaction.tries.len(), 1);
        }
        // The listening, the transmission, and the 33 octets of the answer one by one.
        assert!(failed > 30, "{failed}");
    }
}

/// [HO-03] [LL-22]: a bench's master with the host's bit begins at the same moment as the host, and its requests are longer:
/// 14 octets against 10. The host is talked over, waits 45 characters, hears the other and stops with both requests.
#[test]
fn a_second_master_that_keeps_step_is_found() {
    use looprig::bench::MasterPlan;
    use looprig::frame::{Address, Frame, Target};
    use looprig::sim::Errand;
    let mut plan = plan([config(Revision::R7)]);
    let unique = plan.devices[0].config.identity.unique_address();
    let frame = Frame::request(Address::new(Role::Secondary, Target::Unique(unique)), 3, Vec::new()).unwrap();
    let every = Some(Duration::from_millis(700));
    let errand = Errand { frame: frame.clone(), preambles: Some(5), first_at: Instant::ZERO, every };
    let clock = looprig::line::Clock::default();
    plan.masters.push(MasterPlan {
        config: MasterConfig::default(),
        errands: vec![errand],
        clock,
        faults: Vec::new(),
    });
    let mut host = Host::new(bench::in_process(&plan), MasterConfig::default());
    let stopped = (0..20).find_map(|_| match host.poll(PollingAddress::new(9).unwrap(), None) {
        Err(HostError::Stopped(v)) => Some(v),
        other => other.map(|_| None).unwrap(),
    });
    let v = stopped.expect("it hears the other master");
    assert_eq!(v.requirement, "HO-03");
    let frames: Vec<_> = v.evidence.iter().map(|e| &e.frame).collect();
    assert_eq!((frames.len(), frames[1], frames[2]), (3, &frame, &frame));
    assert_eq!(frames[0].command(), 0);
}
