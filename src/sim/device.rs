//! A mock device as a participant, with what changes around it.

use crate::device::Device;
use crate::frame::Octet;
use crate::line::Station;
use crate::time::Instant;
use core::fmt;

/// A change of what devices measure, of a key or switch in them, of their power or their health.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// The current in the loop, mA.
    LoopCurrentMa(f64),
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
    /// Whether its electronics are broken [DV-50].
    Malfunction(bool),
    /// Its power is lost for a moment [DV-50].
    PowerCycle,
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Change::LoopCurrentMa(ma) => write!(f, "loop current {ma} mA"),
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
            Change::Malfunction(true) => f.write_str("malfunction, the electronics are broken"),
            Change::Malfunction(false) => f.write_str("malfunction over, the electronics are mended"),
            Change::PowerCycle => f.write_str("power lost and back"),
        }
    }
}

/// A device on the bus. Changes reach it at their own times, however seldom the bus is asked, so a run
/// does not depend on that.
#[derive(Debug)]
pub struct DeviceStation {
    device: Device,
    changes: Vec<(Instant, Change)>,
    /// How many of them have happened.
    done: usize,
}

impl DeviceStation {
    /// A device to which these changes happen, which are in order of time.
    pub fn new(device: Device, changes: Vec<(Instant, Change)>) -> DeviceStation {
        DeviceStation { device, changes, done: 0 }
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

    fn catch_up(&mut self, now: Instant) {
        while let Some(&(at, change)) = self.changes.get(self.done).filter(|c| c.0 <= now) {
            self.device.come_to(at);
            match change {
                Change::LoopCurrentMa(ma) => self.device.set_loop_current_ma(at, ma),
                Change::SupplyPressureBar(bar) => self.device.set_supply_pressure_bar(bar),
                Change::ProcessTemperatureDegc(degc) => self.device.set_process_temperature_degc(at, degc),
                Change::SensorBroken(broken) => self.device.set_sensor_broken(at, broken),
                Change::Armed(armed) => self.device.set_armed(armed),
                Change::WriteProtect(protected) => self.device.set_write_protected(protected),
                Change::Busy(busy) => self.device.set_busy(busy),
                Change::Malfunction(broken) => self.device.set_malfunction(broken),
                Change::PowerCycle => self.device.power_cycle(at),
            }
            self.done += 1;
        }
    }
}

impl Station for DeviceStation {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.catch_up(now);
        self.device.handle(now, octets);
    }

    fn sent(&mut self, now: Instant) {
        self.device.sent(now);
    }

    fn carrier(&mut self, now: Instant, on: bool) {
        self.catch_up(now);
        self.device.carrier(now, on);
    }

    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.catch_up(now);
        self.device.handle_timeout(now);
        self.device.poll_transmit(now).map(|octets| octets.to_vec())
    }

    fn wake_at(&self) -> Option<Instant> {
        let change = self.changes.get(self.done).map(|c| c.0);
        self.device.wake_at().into_iter().chain(change).min()
    }
}
