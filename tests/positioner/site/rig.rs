//! The benches of [DV-111]: a supply of 24 V behind 250 ohm, a card of 20 V, one calibrated positioner at 12 mA.

use looprig::bench;
use looprig::frame::{Master, PollingAddress};
use looprig::host::{Device, Host, HostError};
use looprig::line::{InProcess, Line};
use looprig::link::MasterConfig;
use looprig::plant::valve::Readings;
use looprig::sim::{Dark, DeviceStation, Loop, Participant, Power, Supplied};
use looprig::time::Instant;
use std::path::Path;
use std::time::Duration;

/// Severities of the table.
pub const SEVERITIES: [f64; 3] = [0.3, 0.6, 1.0];
/// When the fault comes, s: the valve has come to 50 % by then.
pub const COMES_S: f64 = 12.0;

pub const SUPPLY: &str = "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n";
pub const CARD: &str = "[loop.card]\ncompliance_v = 20\nimpedance_ohm = 5000\n";

/// A bench with what feeds it, more lines of its device, and events.
pub fn text(feeds: &str, device: &str, events: &str) -> String {
    format!(
        "[loop]\ncurrent_ma = 12\n{feeds}[loop.master]\nimpedance_ohm = 5000\n[[loop.device]]\ntag = \"FV-3104\"\n\
         min_voltage_v = 9\nmin_current_ma = 3.6\ncapacitance_nf = 0\ntransmit_ma_pp = 1\n[[device]]\ntag = \"FV-3104\"\n{device}\n\
         [device.air]\nsupply_pressure_bar = 1.4\n[device.valve]\nstroke_mm = 20\n[device.valve.fail]\ntrip_dm3_per_s_bar = 2\n\
         [device.positioner]\ncalibrated = true\n[[line]]\nat = \"pty:\"\n{events}"
    )
}

/// A fault at a time, as an event.
pub fn fault(at_s: f64, name: &str, severity: f64) -> String {
    format!("[[event]]\nat_s = {at_s}\nfault = \"{name}\"\nseverity = {severity}\n")
}

/// Another change at a time.
pub fn event(at_s: f64, change: &str) -> String {
    format!("[[event]]\nat_s = {at_s}\n{change}\n")
}

pub fn at(s: f64) -> Instant {
    Instant::ZERO + Duration::from_secs_f64(s)
}

pub fn near(what: &str, is: f64, right: f64, within: f64) {
    assert!((is - right).abs() <= within, "{what}: {is} is not {right} within {within}");
}

pub struct Rig {
    pub host: Host<InProcess<Participant>>,
}

impl Rig {
    pub fn new(text: &str) -> Rig {
        Rig::of(text, Master::Secondary)
    }

    pub fn of(text: &str, role: Master) -> Rig {
        let plan = bench::check(text, Path::new("site.toml")).unwrap_or_else(|e| panic!("{e}\n{text}"));
        let config = MasterConfig { role, retries: 0, ..MasterConfig::default() };
        Rig { host: Host::new(bench::in_process(&plan), config) }
    }

    /// A bench on which a fault comes, and is mended at a time, with other events.
    pub fn with(feeds: &str, name: &str, severity: f64, mended_s: f64, more: &str) -> Rig {
        let events = [fault(COMES_S, name, severity), fault(mended_s, name, 0.0)].concat();
        let mut rig = Rig::new(&text(feeds, "", &format!("{events}{more}")));
        // From then on no answer to this master tells the cold start of the beginning.
        assert!(rig.poll(0).is_some());
        rig
    }

    /// Time passes to `s` seconds after the beginning, and nobody asks.
    pub fn to(&mut self, s: f64) -> &mut Rig {
        let line = self.host.line_mut();
        assert!(line.now() <= at(s), "{:?} is later than {s} s", line.now());
        while line.now() < at(s) {
            line.wait(Some(at(s))).expect("a simulated line works");
        }
        self
    }

    pub fn station(&mut self) -> &mut DeviceStation {
        let line = self.host.line_mut();
        let now = line.now();
        let station = line.bus_mut().station_mut(0).and_then(Participant::device_mut).expect("a device");
        station.come_to(now);
        station
    }

    pub fn truth(&mut self) -> Readings {
        self.station().valve().expect("a computed valve").readings()
    }

    pub fn travel(&mut self) -> f64 {
        self.truth().travel_percent
    }

    pub fn supplied(&mut self) -> Supplied {
        self.station().supplied().expect("the loop is computed")
    }

    /// Why the device is without power; `None` where it has some.
    pub fn dark(&mut self) -> Option<Dark> {
        match self.supplied().power {
            Power::Off(why) => Some(why),
            _ => None,
        }
    }

    pub fn wires(&mut self) -> &Loop {
        self.host.line_mut().bus_mut().around::<Loop>().expect("the loop is computed")
    }

    pub fn octets_sent(&mut self) -> u64 {
        self.host.line_mut().bus_mut().traffic().sent
    }

    /// Command 0 at a polling address; `None` where nobody answers.
    pub fn poll(&mut self, address: u8) -> Option<Device> {
        self.host.poll(PollingAddress::new(address).expect("an address"), None).expect("a line").1
    }

    /// Code, field device status and data of an answer.
    pub fn ask(&mut self, to: &Device, command: u8, values: &[(&str, &str)]) -> (u8, u8, Vec<u8>) {
        let owned: Vec<_> = values.iter().map(|&(n, v)| (n.to_owned(), v.to_owned())).collect();
        let exchange = self.host.ask(to, command, &owned).unwrap_or_else(|e| panic!("{command}: {e}"));
        let reply = exchange.transaction.reply_frame().expect("an answer").clone();
        let [code, status] = reply.status().expect("status octets");
        (code, status, reply.data().to_vec())
    }

    /// The response code to these octets.
    pub fn code(&mut self, to: &Device, command: u8, data: &[u8]) -> u8 {
        let exchange = self.host.ask_octets(to, command, data.to_vec()).unwrap_or_else(|e| panic!("{e}"));
        exchange.transaction.reply_frame().expect("an answer").status().expect("status octets")[0]
    }

    /// What the positioner's display says that it does [DV-99].
    pub fn display(&mut self) -> &'static str {
        let now = self.host.line_mut().now();
        self.station().device().display_state(now).expect("a display")
    }

    /// What a host is told that asks at an address.
    pub fn tries(&mut self, address: u8) -> Result<Option<Device>, HostError> {
        Ok(self.host.poll(PollingAddress::new(address).expect("an address"), None)?.1)
    }

    /// All is as before the fault: it answers, and holds 50 %; a cold start if it was dark [DV-111].
    pub fn is_back(&mut self, was_dark: bool) {
        near("travel", self.travel(), 50.0, 0.5);
        let exchange = self.host.poll(PollingAddress::default(), None).expect("a line").0;
        let reply = exchange.transaction.reply_frame().expect("it answers again");
        let status = reply.status().expect("status octets")[1];
        assert_eq!(status & 0x20 != 0, was_dark, "cold start: {status:02x}");
    }
}
