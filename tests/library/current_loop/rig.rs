//! A bench from a text, with a host at one of its lines.

use looprig::bench::{self, BenchPlan};
use looprig::exchange::Exchange;
use looprig::frame::{Master, PollingAddress};
use looprig::host::{Device, Host};
use looprig::line::{InProcess, Line};
use looprig::link::MasterConfig;
use looprig::sim::{DeviceStation, Participant, Power, PowerNews, Supplied};
use looprig::time::Instant;
use std::path::Path;
use std::time::Duration;

pub fn plan(text: &str) -> BenchPlan {
    bench::check(text, Path::new("loop.toml")).unwrap_or_else(|e| panic!("{e}"))
}

pub fn at(s: f64) -> Instant {
    Instant::ZERO + Duration::from_secs_f64(s)
}

pub struct Rig {
    pub host: Host<InProcess<Participant>>,
}

impl Rig {
    pub fn new(text: &str) -> Rig {
        Rig::of(text, Master::Secondary)
    }

    pub fn of(text: &str, role: Master) -> Rig {
        let config = MasterConfig { role, ..MasterConfig::default() };
        Rig { host: Host::new(bench::in_process(&plan(text)), config) }
    }

    /// Time passes to `s` seconds after the beginning.
    pub fn to(&mut self, s: f64) -> &mut Rig {
        let line = self.host.line_mut();
        while line.now() < at(s) {
            line.wait(Some(at(s))).expect("a simulated line works");
        }
        self
    }

    pub fn station(&mut self, index: usize) -> &mut DeviceStation {
        let station = self.host.line_mut().bus_mut().station_mut(index);
        station.and_then(Participant::device_mut).expect("a device")
    }

    pub fn supplied(&mut self, index: usize) -> Supplied {
        self.station(index).supplied().expect("the loop is computed")
    }

    pub fn is_on(&mut self, index: usize) -> bool {
        self.supplied(index).power == Power::On
    }

    /// Seconds and words: what became of the power of a device since the last call.
    pub fn news(&mut self, index: usize) -> Vec<(f64, &'static str)> {
        let word = |n: &PowerNews| match n.supplied.power {
            Power::On => "on",
            Power::Starting { .. } => "starts",
            Power::Off(_) => "off",
        };
        self.station(index).take_power_news().iter().map(|n| (n.at.as_secs_f64(), word(n))).collect()
    }

    /// Command 0 at a polling address; `None` where nobody answers.
    pub fn poll(&mut self, address: u8) -> Option<(Exchange, Device)> {
        let (exchange, device) = self.host.poll(PollingAddress::new(address).unwrap(), None).unwrap();
        Some((exchange, device?))
    }
}

/// The second status octet of an answer: the field device status [ST-02].
pub fn status(exchange: &Exchange) -> u8 {
    exchange.transaction.reply_frame().expect("an answer").status().expect("status octets")[1]
}

pub fn near(is: f64, right: f64, within: f64) {
    assert!((is - right).abs() <= within, "{is} is not {right} within {within}");
}
