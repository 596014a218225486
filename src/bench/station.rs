//! A mock device as a station on the bus, with the events that happen to it.

use super::plan::{BenchPlan, Change, DevicePlan, EventPlan};
use crate::device::{Device, Restored};
use crate::frame::Octet;
use crate::line::Station;
use crate::time::Instant;
use core::time::Duration;

/// A device on the bus of a bench. Events reach it at their own times, however seldom the bus is
/// asked, so a run does not depend on that.
#[derive(Debug)]
pub struct BenchStation {
    device: Device,
    events: Vec<EventPlan>,
    /// How many of them have happened.
    done: usize,
}

impl BenchStation {
    /// Powers the device up at `now` with its memory as in `image`, on wires whose stamps are off by
    /// at most `stamp_error`.
    ///
    /// # Panics
    /// [`crate::device::DeviceConfig::check`] finds a fault, which it does not in a plan that was
    /// read from a bench file.
    pub fn new(
        plan: &DevicePlan,
        bench: &BenchPlan,
        image: Option<&[u8]>,
        stamp_error: Duration,
        now: Instant,
    ) -> (BenchStation, Restored) {
        let (device, restored) = Device::new(plan.config.clone(), image, bench.pace, stamp_error, now);
        (BenchStation { device, events: bench.events.clone(), done: 0 }, restored)
    }

    /// The device.
    pub fn device(&self) -> &Device {
        &self.device
    }

    /// The device, to change what it measures.
    pub fn device_mut(&mut self) -> &mut Device {
        &mut self.device
    }

    /// How many of the plan's events have happened here.
    pub fn events_done(&self) -> usize {
        self.done
    }

    fn catch_up(&mut self, now: Instant) {
        while let Some(event) = self.events.get(self.done).filter(|e| e.at <= now) {
            match event.change {
                Change::LoopCurrentMa(ma) => self.device.set_loop_current_ma(event.at, ma),
                Change::SupplyPressureBar(bar) => self.device.set_supply_pressure_bar(bar),
            }
            self.done += 1;
        }
    }
}

impl Station for BenchStation {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.catch_up(now);
        self.device.handle(now, octets);
    }

    fn sent(&mut self, now: Instant) {
        self.device.sent(now);
    }

    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.catch_up(now);
        self.device.handle_timeout(now);
        self.device.poll_transmit(now).map(|octets| octets.to_vec())
    }

    fn wake_at(&self) -> Option<Instant> {
        let event = self.events.get(self.done).map(|e| e.at);
        self.device.wake_at().into_iter().chain(event).min()
    }
}
