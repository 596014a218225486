//! A bench with one computed valve, a secondary master, and the true state behind it.

use looprig::app::command::{Catalogue, Described};
use looprig::bench::{self, BenchPlan, read_description};
use looprig::device::positioner::{Calibrated, Electronics};
use looprig::exchange::Exchange;
use looprig::frame::PollingAddress;
use looprig::host::{Device, Host};
use looprig::line::{Event, InProcess, Line};
use looprig::link::MasterConfig;
use looprig::plant::valve::Readings;
use looprig::sim::{DeviceStation, Participant};
use looprig::time::Instant;
use std::path::Path;
use std::sync::OnceLock;
use std::time::Duration;

/// The description of the positioner's own commands.
pub fn description() -> &'static Described {
    static DESCRIBED: OnceLock<&'static Described> = OnceLock::new();
    DESCRIBED.get_or_init(|| {
        let path = Path::new("protocol-notes/positioner.toml");
        let described = read_description(path).unwrap_or_else(|e| panic!("{e}"));
        Described::load(described, "positioner.toml")
    })
}

/// A bench file with a small quick valve, so that a calibration takes little time, and these lines besides.
pub fn file(device: &str, rest: &str) -> String {
    format!(
        "[loop]\ncurrent_ma = 12\n[[device]]\ntag = \"FV-3104\"\n{device}\n[device.air]\nsupply_pressure_bar = 1.4\n\
         [device.valve]\nstroke_mm = 20\n[[line]]\nat = \"pty:\"\n{rest}"
    )
}

pub fn plan(device: &str, rest: &str) -> BenchPlan {
    bench::check(&file(device, rest), Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"))
}

pub struct Rig {
    pub host: Host<InProcess<Participant>>,
    pub device: Device,
}

impl Rig {
    pub fn new(device: &str, rest: &str) -> Rig {
        Rig::of(bench::in_process(&plan(device, rest)))
    }

    /// A bench whose positioner was calibrated before its faults came.
    pub fn calibrated(rest: &str) -> Rig {
        Rig::new("", &format!("{rest}\n")).having(|r| r.calibrate())
    }

    fn having(mut self, f: impl FnOnce(&mut Rig)) -> Rig {
        f(&mut self);
        self
    }

    pub fn of(line: InProcess<Participant>) -> Rig {
        let mut catalogue = Catalogue::default();
        catalogue.add(description()).expect("one description");
        let mut host = Host::new(line, MasterConfig::default()).with_catalogue(catalogue);
        let (_, device) = host.poll(PollingAddress::default(), None).expect("a line");
        Rig { device: device.expect("the device answers"), host }
    }

    pub fn ask(&mut self, command: u8, values: &[(&str, &str)]) -> Exchange {
        let owned: Vec<_> = values.iter().map(|&(n, v)| (n.to_owned(), v.to_owned())).collect();
        self.host.ask(&self.device, command, &owned).unwrap_or_else(|e| panic!("command {command}: {e}"))
    }

    /// The response code of an answer.
    pub fn code(&mut self, command: u8, values: &[(&str, &str)]) -> u8 {
        let exchange = self.ask(command, values);
        exchange.transaction.reply_frame().expect("an answer").status().expect("status octets")[0]
    }

    /// A value of an answer as people read it.
    pub fn told(&mut self, command: u8, name: &str) -> String {
        let exchange = self.ask(command, &[]);
        exchange.value(name).unwrap_or_else(|| panic!("no {name} in {command}")).text()
    }

    pub fn number(&mut self, command: u8, name: &str) -> f64 {
        let text = self.told(command, name);
        let digits = text.split([' ', '(']).next().unwrap_or_default();
        digits.parse().unwrap_or_else(|e| panic!("{name} of {command} is {text}: {e}"))
    }

    /// Data of an answer, octet by octet.
    pub fn data(&mut self, command: u8) -> Vec<u8> {
        self.ask(command, &[]).transaction.reply_frame().expect("an answer").data().to_vec()
    }

    pub fn now(&mut self) -> Instant {
        self.host.line_mut().now()
    }

    /// Time passes and nobody asks.
    pub fn idle(&mut self, s: f64) {
        let until = self.now() + Duration::from_secs_f64(s);
        while self.host.line_mut().wait(Some(until)).expect("a line") != Event::TimeOut {}
    }

    pub fn station(&mut self) -> &mut DeviceStation {
        let station = self.host.line_mut().bus_mut().station_mut(0);
        station.and_then(Participant::device_mut).expect("a device")
    }

    /// What is true.
    pub fn truth(&mut self) -> Readings {
        let now = self.now();
        self.station().come_to(now);
        self.station().valve().expect("a computed valve").readings()
    }

    pub fn electronics(&mut self) -> &Electronics {
        let now = self.now();
        self.station().come_to(now);
        self.station().device().electronics().expect("electronics")
    }

    pub fn in_force(&mut self) -> Option<Calibrated> {
        self.electronics().calibrated().copied()
    }

    pub fn set_current_ma(&mut self, ma: f64) {
        let now = self.now();
        self.station().change(now, looprig::sim::Change::LoopCurrentMa(ma));
    }

    /// A change happens now, as by an order.
    pub fn change(&mut self, change: looprig::sim::Change) {
        let now = self.now();
        self.station().change(now, change);
    }

    /// The quickest calibration, to its end.
    pub fn calibrate(&mut self) {
        assert_eq!(self.code(131, &[("calibration", "1")]), 0);
        for _ in 0..240 {
            self.idle(1.0);
            if self.electronics().progress().is_none() {
                return;
            }
        }
        panic!("a calibration takes four minutes at most");
    }
}
