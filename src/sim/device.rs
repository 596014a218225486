//! A mock device as a participant, with what changes around it.

use super::device_faults::DeviceFaults;
use super::power::{Power, PowerNews, Supplied};
use super::site_fault::{SiteFault, SiteFaults};
use super::valve::StationValve;
use crate::device::positioner::{Key, Kind as Learns};
use crate::device::{Device, Response};
use crate::frame::{Octet, RawFrame};
use crate::line::Station;
use crate::plant::fault::FaultName;
use crate::time::Instant;
use core::fmt;

/// Most news of its power that are kept for whoever asks.
const MOST_NEWS: usize = 1000;

/// From this on a leak is none, ohm [WI-14].
pub(super) const NO_LEAK_OHM: f64 = 1e12;

/// A change of the loop, of what devices measure, of a key or switch in them, of their power or their health.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// The current in the loop, mA; on a loop that is computed, what its card is told to drive [WI-14].
    LoopCurrentMa(f64),
    /// The volts of the loop's supply, or the most that its card can give [WI-14].
    LoopSupplyV(f64),
    /// Whether the loop is open at its source [WI-14].
    LoopOpen(bool),
    /// Resistance that has come into the wires behind the source, ohm, such as of a corroded terminal [WI-14].
    LoopExtraOhm(f64),
    /// Resistance of a leak across the wires at the first device of the sheet, ohm; 1e12 and more is none [WI-14].
    LoopLeakOhm(f64),
    /// The supply pressure, bar.
    SupplyPressureBar(f64),
    /// The process temperature, degC.
    ProcessTemperatureDegc(f64),
    /// Whether the sensor of the process temperature is broken.
    SensorBroken(bool),
    /// The key in the field: whether a device answers command 73.
    Armed(bool),
    /// The switch in a device: whether its configuration cannot be written.
    WriteProtect(bool),
    /// Whether it answers "busy" where it may [DV-09].
    Busy(bool),
    /// Whether it says that its electronics are broken; it works on all the same [DV-50].
    Malfunction(bool),
    /// Its power is lost for a moment [DV-50].
    PowerCycle,
    /// Something is wrong with its computed valve, or no longer [PL-33].
    ValveFault {
        /// What.
        name: FaultName,
        /// How bad, 0 (repaired) to 1.
        severity: f64,
    },
    /// Something is wrong with the loop, with a device's settings or with who else is on the wires, or no longer [DV-110].
    SiteFault {
        /// What.
        name: SiteFault,
        /// How bad, 0 (mended) to 1.
        severity: f64,
    },
    /// The pressure of the header before its computed valve's regulator, bar gauge [PL-32].
    HeaderPressureBar(f64),
    /// The force of the process on its computed valve as a share of what was set up, 0 to 10.
    ProcessShare(f64),
    /// Whether the trip input of its computed valve is energised [PL-32].
    TripEnergised(bool),
    /// Somebody moves its computed valve by hand to this place, percent of the stem's way, and holds it there [PL-37].
    HandPercent(f64),
    /// The hand lets go of its computed valve [PL-37].
    HandOff,
    /// Whether the process allows a calibration [DV-91].
    CalibrationAllowed(bool),
    /// Somebody at the device starts a calibration, the whole one [DV-100].
    Calibrate,
    /// A key at the device goes down, or comes up [DV-98].
    KeyPressed(Key, bool),
}

impl Change {
    /// Whether it is one of a computed valve or of its positioner [BA-11] [DV-100].
    pub fn is_of_a_valve(self) -> bool {
        matches!(
            self,
            Change::ValveFault { .. }
                | Change::HeaderPressureBar(_)
                | Change::ProcessShare(_)
                | Change::TripEnergised(_)
                | Change::HandPercent(_)
                | Change::HandOff
                | Change::CalibrationAllowed(_)
                | Change::Calibrate
                | Change::KeyPressed(..)
                | Change::SiteFault { name: SiteFault::TripNotEnergised | SiteFault::SelectorLocal, .. }
        )
    }

    /// Whether it is one of the loop, or of how a device hangs on it, where the loop is computed.
    pub fn reaches_the_loop(self) -> bool {
        self.is_of_the_loop() || matches!(self, Change::SiteFault { name, .. } if name.is_in_the_loop())
    }

    /// How bad a second master is from then on, if it is that fault.
    pub fn second_master(self) -> Option<f64> {
        match self {
            Change::SiteFault { name: SiteFault::SecondMaster, severity } => Some(severity),
            _ => None,
        }
    }

    /// Whether it is one of the loop, which concerns whoever hangs on it.
    pub fn is_of_the_loop(self) -> bool {
        if let Change::SiteFault { name, .. } = self {
            return name.is_of_the_loop();
        }
        matches!(
            self,
            Change::LoopCurrentMa(_)
                | Change::LoopSupplyV(_)
                | Change::LoopOpen(_)
                | Change::LoopExtraOhm(_)
                | Change::LoopLeakOhm(_)
        )
    }
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Change::LoopCurrentMa(ma) => write!(f, "loop current {ma} mA"),
            Change::LoopSupplyV(v) => write!(f, "what feeds the loop has {v} V"),
            Change::LoopOpen(true) => f.write_str("the loop is opened"),
            Change::LoopOpen(false) => f.write_str("the loop is closed"),
            Change::LoopExtraOhm(0.0) => f.write_str("the wires are as on the sheet again"),
            Change::LoopExtraOhm(ohm) => write!(f, "{ohm} ohm in all have come into the wires"),
            Change::LoopLeakOhm(ohm) if *ohm >= NO_LEAK_OHM => f.write_str("the leak is gone"),
            Change::LoopLeakOhm(ohm) => write!(f, "a leak of {ohm} ohm across the loop"),
            Change::SupplyPressureBar(bar) => write!(f, "supply pressure {bar} bar"),
            Change::ProcessTemperatureDegc(degc) => write!(f, "process temperature {degc} degC"),
            Change::SensorBroken(true) => f.write_str("sensor broken"),
            Change::SensorBroken(false) => f.write_str("sensor mended"),
            Change::Armed(true) => f.write_str("armed to be found"),
            Change::Armed(false) => f.write_str("no longer armed to be found"),
            Change::WriteProtect(true) => f.write_str("write protect is on"),
            Change::WriteProtect(false) => f.write_str("write protect is off"),
            Change::Busy(true) => f.write_str("busy"),
            Change::Busy(false) => f.write_str("no longer busy"),
            Change::Malfunction(true) => {
                f.write_str("malfunction: the device says that its electronics are broken, and works on")
            }
            Change::Malfunction(false) => f.write_str("malfunction over, the electronics are mended"),
            Change::PowerCycle => f.write_str("power lost and back"),
            Change::ValveFault { name, severity } if *severity == 0.0 => write!(f, "valve repaired: {name}"),
            Change::ValveFault { name, severity } => write!(f, "valve: {name}, severity {severity}"),
            Change::SiteFault { name, severity } if *severity == 0.0 => write!(f, "mended: {name}"),
            Change::SiteFault { name, severity } => write!(f, "{name}, severity {severity}"),
            Change::HeaderPressureBar(bar) => write!(f, "header pressure {bar} bar"),
            Change::ProcessShare(share) => write!(f, "force of the process {share} times what was set up"),
            Change::TripEnergised(true) => f.write_str("trip input energised"),
            Change::TripEnergised(false) => f.write_str("trip input not energised"),
            Change::HandPercent(percent) => {
                write!(f, "somebody moves the valve by hand to {percent} % and holds it")
            }
            Change::HandOff => f.write_str("the hand lets go of the valve"),
            Change::CalibrationAllowed(true) => f.write_str("the process allows a calibration"),
            Change::CalibrationAllowed(false) => f.write_str("the process allows no calibration"),
            Change::Calibrate => f.write_str("a calibration is asked for at the device"),
            Change::KeyPressed(key, true) => write!(f, "key \"{}\" pressed", key.words()),
            Change::KeyPressed(key, false) => write!(f, "key \"{}\" released", key.words()),
        }
    }
}

/// A device on the bus. Changes reach it at their own times, however seldom the bus is asked, so a run
/// does not depend on that.
#[derive(Clone, Debug)]
pub struct DeviceStation {
    device: Device,
    changes: Vec<(Instant, Change)>,
    /// How many of them have happened.
    done: usize,
    /// What the loop gives it; `None` where no loop is computed, and it has power.
    supplied: Option<Supplied>,
    news: Vec<PowerNews>,
    valve: Option<Box<StationValve>>,
    faults: DeviceFaults,
}

impl DeviceStation {
    /// A device to which these changes happen, which are in order of time.
    pub fn new(device: Device, changes: Vec<(Instant, Change)>) -> DeviceStation {
        let faults = DeviceFaults::none(&device);
        DeviceStation { device, changes, done: 0, supplied: None, news: Vec::new(), valve: None, faults }
    }

    /// The same that gets this polling address where somebody changes it [DV-110]; else it is the highest of its revision.
    #[must_use]
    pub fn with_spare_address(mut self, address: u8) -> DeviceStation {
        self.faults.set_spare_address(address);
        self
    }

    /// What is wrong with it besides its valve [DV-110].
    pub fn faults(&self) -> &SiteFaults {
        self.faults.in_force()
    }

    /// The same with a valve that is computed [BA-11].
    #[must_use]
    pub fn with_valve(mut self, valve: StationValve) -> DeviceStation {
        self.valve = Some(Box::new(valve));
        self
    }

    /// Its computed valve, as far as it has come.
    pub fn valve(&self) -> Option<&StationValve> {
        self.valve.as_deref()
    }

    /// Goes on to the moment that its clock shows as `now`, for whoever reads it then.
    pub fn come_to(&mut self, now: Instant) {
        self.catch_up(now);
    }

    /// The device.
    pub fn device(&self) -> &Device {
        &self.device
    }

    /// The device, to change what it measures.
    pub fn device_mut(&mut self) -> &mut Device {
        &mut self.device
    }

    /// How many of the changes have happened here.
    pub fn changes_done(&self) -> usize {
        self.done
    }

    /// What the loop gives it now; `None` where no loop is computed [DV-51].
    pub fn supplied(&self) -> Option<Supplied> {
        self.supplied
    }

    /// Whether it works: it has power and has started [DV-51].
    pub fn is_on(&self) -> bool {
        self.supplied.is_none_or(|s| s.power == Power::On)
    }

    /// What became of its power since the last call, in order, the oldest 1000 of it.
    pub fn take_power_news(&mut self) -> Vec<PowerNews> {
        core::mem::take(&mut self.news)
    }

    /// From `at` on, which the device's clock shows as `shown`, the loop gives it this [DV-51].
    pub(super) fn set_supplied(&mut self, at: Instant, shown: Instant, supplied: Supplied) {
        let was_on = self.is_on();
        let before = self.supplied.map(|s| core::mem::discriminant(&s.power));
        self.catch_up(shown);
        self.supplied = Some(supplied);
        match (was_on, self.is_on()) {
            (true, false) => {
                self.device.come_to(shown);
                self.device.power_lost(shown);
            }
            (false, true) => self.device.power_cycle(shown),
            _ => {}
        }
        let is_on = self.is_on();
        if let Some(valve) = self.valve.as_mut().filter(|_| was_on != is_on || before.is_none()) {
            valve.set_powered(shown, is_on);
        }
        let is_news = match before {
            Some(before) => before != core::mem::discriminant(&supplied.power),
            None => false,
        };
        if is_news && self.news.len() < MOST_NEWS {
            self.news.push(PowerNews { at, supplied });
        }
    }

    /// A change happens to it now, which its clock shows as `now`, behind what was due until then. One of the loop is left
    /// alone but for the current, which a device measures where no loop is computed. Gives what the device makes of it where
    /// that is its own affair: a key, or a calibration that is asked for; nothing without electronics.
    pub fn change(&mut self, now: Instant, change: Change) -> Option<Response> {
        self.catch_up(now);
        self.happens(now, change)
    }

    pub(super) fn catch_up(&mut self, now: Instant) {
        loop {
            let change = self.changes.get(self.done).copied().filter(|c| c.0 <= now);
            let valve = self.valve.as_ref().map(|valve| valve.next_at()).filter(|t| *t <= now);
            match (change, valve) {
                // What changes at the moment of a period changes before it.
                (Some((at, change)), valve) if valve.is_none_or(|t| at <= t) => {
                    self.happens(at, change);
                    self.done += 1;
                }
                (_, Some(_)) => {
                    let is_on = self.is_on();
                    if let Some(valve) = &mut self.valve {
                        valve.happens(is_on.then_some(&mut self.device));
                    }
                }
                _ => break,
            }
        }
        if let Some(valve) = &mut self.valve {
            valve.go_to(now);
        }
    }

    fn happens(&mut self, at: Instant, change: Change) -> Option<Response> {
        if let Some(valve) = &mut self.valve {
            valve.go_to(at);
        }
        self.device.come_to(at);
        match change {
            Change::LoopCurrentMa(ma) => self.faults.current(&mut self.device, at, ma),
            Change::SiteFault { name, severity } => {
                self.faults.put_in(&mut self.device, self.valve.as_deref_mut(), at, (name, severity));
            }
            // Somebody else sees to them.
            Change::LoopSupplyV(_)
            | Change::LoopOpen(_)
            | Change::LoopExtraOhm(_)
            | Change::LoopLeakOhm(_) => {}
            Change::SupplyPressureBar(bar) => match &mut self.valve {
                Some(valve) => valve.change(change),
                None => self.device.set_supply_pressure_bar(bar),
            },
            Change::ProcessTemperatureDegc(degc) => self.device.set_process_temperature_degc(at, degc),
            Change::SensorBroken(broken) => self.device.set_sensor_broken(at, broken),
            Change::Armed(armed) => self.device.set_armed(armed),
            Change::WriteProtect(protected) => self.faults.write_protect(&mut self.device, protected),
            Change::Busy(busy) => self.device.set_busy(busy),
            Change::Malfunction(broken) => self.device.set_malfunction(broken),
            // Without power there is none to lose.
            Change::PowerCycle if self.is_on() => {
                self.device.power_cycle(at);
                if let Some(valve) = &mut self.valve {
                    valve.set_powered(at, true);
                }
            }
            Change::PowerCycle => {}
            Change::CalibrationAllowed(allowed) => self.device.allow_calibration(at, allowed),
            // It has no keys, and nobody there to ask.
            Change::Calibrate | Change::KeyPressed(..) if self.device.electronics().is_none() => {}
            Change::Calibrate if self.is_on() => {
                return Some(self.device.begin_calibration(at, Learns::Friction));
            }
            Change::Calibrate => return Some(self.device.begin_calibration_dark(at)),
            Change::KeyPressed(key, pressed) if self.is_on() => {
                return Some(self.device.press(at, key, pressed));
            }
            Change::KeyPressed(key, _) => return Some(self.device.press_dark(at, key)),
            Change::ValveFault { .. }
            | Change::HeaderPressureBar(_)
            | Change::ProcessShare(_)
            | Change::TripEnergised(_)
            | Change::HandPercent(_)
            | Change::HandOff => {
                if let Some(valve) = &mut self.valve {
                    valve.change(change);
                }
            }
        }
        None
    }
}

impl Station for DeviceStation {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.catch_up(now);
        if self.is_on() {
            self.device.handle(now, octets);
        }
    }

    fn sent(&mut self, now: Instant) {
        if self.is_on() {
            self.device.sent(now);
        }
    }

    /// What the detector says is kept also without power: it says so again at once when there is some.
    fn carrier(&mut self, now: Instant, on: bool) {
        self.catch_up(now);
        self.device.carrier(now, on);
    }

    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.catch_up(now);
        if !self.is_on() {
            return None;
        }
        self.device.handle_timeout(now);
        self.device.poll_transmit(now).map(|octets| octets.to_vec())
    }

    fn poll_raw(&mut self, now: Instant) -> Option<RawFrame> {
        if self.is_on() { self.device.poll_raw(now) } else { None }
    }

    fn wake_at(&self) -> Option<Instant> {
        let change = self.changes.get(self.done).map(|c| c.0);
        let own = if self.is_on() { self.device.wake_at() } else { None };
        let valve = self.valve.as_ref().map(|v| v.wake_at());
        own.into_iter().chain(change).chain(valve).min()
    }
}
