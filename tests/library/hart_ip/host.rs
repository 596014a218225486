//! A host on a line of whole messages: what the line tells of a missing answer ends the request [IP-12].

use looprig::frame::{Capabilities, Octet, PollingAddress, StampUnit};
use looprig::host::Host;
use looprig::line::{Error, Event, Line};
use looprig::link::MasterConfig;
use looprig::time::{Instant, Pace};
use looprig::transaction::Outcome;
use std::collections::VecDeque;
use std::time::Duration;

/// Each thing that is sent is told as sent at once; then comes what the script has for it, so long after it.
struct Script {
    now: Instant,
    sent: usize,
    script: VecDeque<(Duration, Vec<u8>)>,
    waiting: VecDeque<(Instant, Event)>,
}

impl Line for Script {
    fn describe(&self) -> String {
        "script".to_owned()
    }
    fn capabilities(&self) -> Capabilities {
        Capabilities {
            unit: StampUnit::Frames,
            stamp_error: Duration::from_secs(3),
            parity_seen: false,
            carrier_seen: false,
            echo: false,
        }
    }
    fn pace(&self) -> Pace {
        Pace::Fast
    }
    fn now(&mut self) -> Instant {
        self.now
    }
    fn send(&mut self, _: &[u8]) -> Result<(), Error> {
        self.sent += 1;
        self.waiting.push_back((self.now, Event::Sent { at: self.now }));
        let Some((after, values)) = self.script.pop_front() else { return Ok(()) };
        let at = self.now + after;
        let event = match values.is_empty() {
            true => Event::NoAnswer { at },
            false => Event::Octets(values.iter().map(|&v| Octet::clean(at, v)).collect()),
        };
        self.waiting.push_back((at, event));
        Ok(())
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        let due = self.waiting.front().map(|w| w.0).filter(|at| until.is_none_or(|u| *at <= u));
        match due {
            Some(at) => {
                self.now = self.now.max(at);
                Ok(self.waiting.pop_front().map_or(Event::TimeOut, |w| w.1))
            }
            None => {
                self.now = self.now.max(until.unwrap_or(self.now));
                Ok(if until.is_some() { Event::TimeOut } else { Event::Closed })
            }
        }
    }
}

fn host(script: &[(u64, &str)]) -> Host<Script> {
    let step = |(ms, hex): &(u64, &str)| (Duration::from_millis(*ms), super::bytes(hex).to_vec());
    let script = script.iter().map(step).collect();
    let line = Script { now: Instant::ZERO, sent: 0, script, waiting: VecDeque::new() };
    Host::new(line, MasterConfig::default())
}

/// Told after 2 s that nobody answers, the host repeats nothing, although it may repeat three times and would wait for more
/// than 12 s each time (slave time-out and four times the stamp error); the next request is a new one.
#[test]
fn no_answer_ends_the_request() {
    // Command 0 as revision 5 answers it, twelve octets behind the status; the check byte makes the sum zero [FR-09].
    let mut reply = super::octets("06 00 00 0e 00 00 fe fd 51 05 05 01 01 08 00 00 00 07");
    reply.push(reply.iter().fold(0, |x, o| x ^ o));
    let hex: String = [0xFF; 5].iter().chain(&reply).map(|o| format!("{o:02x}")).collect();
    let mut host = host(&[(2000, ""), (50, &hex)]);
    let (exchange, device) = host.poll(PollingAddress::default(), None).expect("the line works");
    assert_eq!((exchange.transaction.outcome, exchange.transaction.retries()), (Outcome::Silent, 0));
    assert_eq!((device, host.line_mut().sent), (None, 1));
    assert_eq!(host.line_mut().now, Instant::ZERO + Duration::from_secs(2));
    let (exchange, device) = host.poll(PollingAddress::default(), None).expect("the line works");
    assert_eq!((exchange.transaction.outcome, host.line_mut().sent), (Outcome::Answered, 2));
    assert_eq!(device.map(|d| d.unique.octets()), Some([0x3D, 0x51, 0, 0, 7]));
}

/// Bursts between a request and its answer are no sign that none comes: nothing is sent twice, which might write twice. They
/// are overheard all the same.
#[test]
fn bursts_do_not_end_a_request() {
    let mut reply = super::octets("06 00 00 0e 00 00 fe fd 51 05 05 01 01 08 00 00 00 07");
    reply.push(reply.iter().fold(0, |x, o| x ^ o));
    let burst = super::octets("01 00 01 02 00 00 02");
    let all = [&[0xFF; 5][..], &burst, &[0xFF; 5], &burst, &[0xFF; 5], &reply].concat();
    let hex: String = all.iter().map(|o| format!("{o:02x}")).collect();
    let mut host = host(&[(500, &hex)]);
    let (exchange, device) = host.poll(PollingAddress::default(), None).expect("the line works");
    assert_eq!((exchange.transaction.retries(), device.is_some(), host.line_mut().sent), (0, true, 1));
    host.rest(Duration::from_secs(1)).expect("the line works");
    assert_eq!(host.take_overheard().len(), 2);
}

/// Without that word it waits, and repeats.
#[test]
fn silence_is_repeated() {
    let mut host = host(&[]);
    let (exchange, _) = host.poll(PollingAddress::default(), None).expect("the line works");
    assert_eq!((exchange.transaction.outcome, exchange.transaction.retries()), (Outcome::Silent, 3));
    assert!(host.line_mut().now >= Instant::ZERO + Duration::from_secs(48));
}
