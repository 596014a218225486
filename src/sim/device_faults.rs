//! Faults of a device's settings and surroundings [DV-110], and what was set before they changed it.

use super::site_fault::{SiteFault, SiteFaults, burst_period, current_left};
use super::valve::StationValve;
use crate::device::{BurstMessage, Device};
use crate::time::Instant;

/// The faults of a device but those of its valve. What belongs to the loop is changed there, where one is computed.
#[derive(Clone, Debug)]
pub(super) struct DeviceFaults {
    in_force: SiteFaults,
    /// The switch in it, as it is set.
    write_protected: bool,
    /// The current as it is set where no loop is computed, mA.
    current_ma: f64,
    /// The address that somebody writes.
    spare_address: u8,
    /// The address before that, while it is changed.
    address_before: Option<u8>,
    /// Burst message 0 before it was left on.
    burst_before: Option<BurstMessage>,
}

impl DeviceFaults {
    /// None, at this device.
    pub fn none(device: &Device) -> DeviceFaults {
        DeviceFaults {
            in_force: SiteFaults::default(),
            write_protected: device.config().write_protected,
            current_ma: device.loop_current_ma(),
            spare_address: device.config().identity.highest_polling(),
            address_before: None,
            burst_before: None,
        }
    }

    /// The address that somebody writes.
    pub fn set_spare_address(&mut self, address: u8) {
        self.spare_address = address;
    }

    /// Those that there are.
    pub fn in_force(&self) -> &SiteFaults {
        &self.in_force
    }

    /// The current is set, where no loop is computed.
    pub fn current(&mut self, device: &mut Device, at: Instant, ma: f64) {
        self.current_ma = ma;
        let left = current_left(self.in_force.severity(SiteFault::CurrentMissing));
        device.set_loop_current_ma(at, ma * left);
    }

    /// The switch in the device is moved.
    pub fn write_protect(&mut self, device: &mut Device, protected: bool) {
        self.write_protected = protected;
        device.set_write_protected(protected || self.in_force.has(SiteFault::WriteProtectOn));
    }

    /// A fault comes, changes or goes; the device and its valve have come to `at`.
    pub fn put_in(
        &mut self,
        device: &mut Device,
        valve: Option<&mut StationValve>,
        at: Instant,
        (name, severity): (SiteFault, f64),
    ) {
        self.in_force.set(name, severity);
        let severity = self.in_force.severity(name);
        let is_there = severity > 0.0;
        match name {
            SiteFault::CurrentMissing => self.current(device, at, self.current_ma),
            SiteFault::TripNotEnergised => {
                if let Some(valve) = valve {
                    valve.set_trip_fault(is_there);
                }
            }
            SiteFault::SelectorLocal => device.set_local(at, is_there),
            SiteFault::WriteProtectOn => self.write_protect(device, self.write_protected),
            SiteFault::PollingAddressChanged => self.address(device, at, is_there),
            SiteFault::BurstLeftOn => self.burst(device, at, severity),
            SiteFault::WaterInHousing => {
                if let Some(valve) = valve {
                    valve.set_water(at, severity);
                }
            }
            // They are not of a device, or the loop has them.
            SiteFault::LoopVoltsLow
            | SiteFault::WetCable
            | SiteFault::SecondMaster
            | SiteFault::WiresReversed => {}
        }
    }

    fn address(&mut self, device: &mut Device, at: Instant, is_there: bool) {
        match (is_there, self.address_before) {
            (true, None) => {
                self.address_before = Some(device.polling_address());
                device.write_polling_address(at, self.spare_address);
            }
            (false, Some(before)) => {
                self.address_before = None;
                // Somebody may have put it right, or wrote another one.
                if device.polling_address() == self.spare_address {
                    device.write_polling_address(at, before);
                }
            }
            _ => {}
        }
    }

    fn burst(&mut self, device: &mut Device, at: Instant, severity: f64) {
        if severity > 0.0 {
            let was = device.leave_burst_on(at, burst_period(severity));
            self.burst_before = self.burst_before.or(was);
        } else if let Some(before) = self.burst_before.take() {
            device.write_burst_message(at, before);
        }
    }
}
