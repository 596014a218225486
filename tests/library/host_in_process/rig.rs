//! Benches of one device, and a line that several hosts share in turn.

use looprig::app::command::{Catalogue, Revision};
use looprig::bench::{self, BenchPlan, DevicePlan};
use looprig::device::DeviceConfig;
use looprig::exchange::Exchange;
use looprig::frame::{Capabilities, PollingAddress};
use looprig::host::{Device, Host, HostError};
use looprig::line::{Clock, Error, Event, InProcess, Line, Station};
use looprig::sim::Participant;
use looprig::time::{Instant, Pace};
use std::cell::{RefCell, RefMut};
use std::collections::VecDeque;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::Duration;

pub const REVISIONS: [Revision; 3] = Revision::NEWEST_FIRST;

/// `n` characters, ns: 11 bits at 1200 bit/s each [LL-01], rounded down as one length.
pub fn characters(n: u64) -> Duration {
    Duration::from_nanos(n * 11 * 1_000_000_000 / 1200)
}

/// `n` characters that pass one by one, each of 9 166 666 ns.
pub fn passing(n: u32) -> Duration {
    Duration::from_nanos(9_166_666) * n
}

/// A frame from preamble to check byte [FR-01] [FR-09]; `rest` begins with the delimiter.
pub fn framed(rest: &[u8]) -> Vec<u8> {
    let check = rest.iter().fold(0, |x, o| x ^ o);
    [&[0xFF; 5], rest, &[check]].concat()
}

/// A device with everything set that a device stores.
pub fn config(revision: Revision) -> DeviceConfig {
    let mut config = DeviceConfig::new(revision);
    config.factory.polling_address = 4;
    config.factory.tag = "FV-3104".into();
    config.factory.descriptor = "FILTER 4 INLET".into();
    config.factory.message = "BRACKENMOOR".into();
    config.factory.long_tag = "Brackenmoor FV-3104".into();
    config.factory.date = [25, 11, 126];
    config.factory.final_assembly_number = 3104;
    config
}

pub fn plan(configs: impl IntoIterator<Item = DeviceConfig>) -> BenchPlan {
    BenchPlan {
        fleet: None,
        path: PathBuf::from("test.toml"),
        pace: Pace::Wire,
        seed: Some(0),
        masters: Vec::new(),
        wire_faults: Vec::new(),
        devices: configs
            .into_iter()
            .map(|config| DevicePlan {
                config,
                memory: None,
                clock: Clock::default(),
                startup: Duration::from_secs(3),
                valve: None,
            })
            .collect(),
        lines: Vec::new(),
        events: Vec::new(),
        wires: None,
        api: None,
        gateway: None,
        catalogue: Catalogue::default(),
    }
}

pub type Bench = Shared<Participant>;

pub fn bench(revision: Revision) -> Bench {
    Shared::new(bench::in_process(&plan([config(revision)])))
}

/// A line in several hands. What comes while nobody asks is kept for the next one who does.
pub struct Shared<S: Station> {
    line: Rc<RefCell<InProcess<S>>>,
    queue: Rc<RefCell<VecDeque<Event>>>,
}

impl<S: Station> Clone for Shared<S> {
    fn clone(&self) -> Self {
        Shared { line: self.line.clone(), queue: self.queue.clone() }
    }
}

impl<S: Station> Shared<S> {
    pub fn new(line: InProcess<S>) -> Self {
        Shared { line: Rc::new(RefCell::new(line)), queue: Rc::default() }
    }

    pub fn line(&self) -> RefMut<'_, InProcess<S>> {
        self.line.borrow_mut()
    }

    pub fn time(&self) -> Instant {
        self.line().now()
    }

    /// Time passes on the wires and nobody drives the host.
    pub fn idle(&self, d: Duration) {
        let until = self.line().now() + d;
        loop {
            let event = self.line().wait(Some(until)).unwrap();
            if event == Event::TimeOut {
                break;
            }
            self.queue.borrow_mut().push_back(event);
        }
    }

    /// The only station.
    pub fn with_station<T>(&self, f: impl FnOnce(&mut S) -> T) -> T {
        f(self.line().bus_mut().station_mut(0).expect("a station"))
    }
}

impl<S: Station> Line for Shared<S> {
    fn describe(&self) -> String {
        self.line().describe()
    }
    fn capabilities(&self) -> Capabilities {
        self.line().capabilities()
    }
    fn pace(&self) -> Pace {
        self.line().pace()
    }
    fn now(&mut self) -> Instant {
        self.line().now()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.line().send(octets)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        let kept = self.queue.borrow_mut().pop_front();
        kept.map_or_else(|| self.line().wait(until), Ok)
    }
}

/// The device at polling address 4.
pub fn find<L: Line>(host: &mut Host<L>) -> Device {
    let (_, device) = host.poll(PollingAddress::new(4).unwrap(), None).unwrap();
    device.expect("the device answers")
}

pub fn ask<L: Line>(host: &mut Host<L>, device: &Device, command: u8, values: &[(&str, &str)]) -> Exchange {
    try_ask(host, device, command, values).unwrap_or_else(|e| panic!("command {command}: {e}"))
}

pub fn try_ask<L: Line>(
    host: &mut Host<L>,
    device: &Device,
    command: u8,
    values: &[(&str, &str)],
) -> Result<Exchange, HostError> {
    host.ask(device, command, &owned(values))
}

pub fn owned(values: &[(&str, &str)]) -> Vec<(String, String)> {
    values.iter().map(|&(n, v)| (n.to_owned(), v.to_owned())).collect()
}

/// Response code and field device status [ST-02] [ST-03].
pub fn status(exchange: &Exchange) -> [u8; 2] {
    exchange.transaction.reply_frame().expect("an answer").status().expect("status octets")
}

pub fn text(exchange: &Exchange, name: &str) -> String {
    exchange.value(name).unwrap_or_else(|| panic!("no {name}")).text()
}

pub fn data(exchange: &Exchange) -> Vec<u8> {
    exchange.transaction.reply_frame().expect("an answer").data().to_vec()
}
