//! A computed valve behind a positioner's electronics [DV-80].

use crate::device::Device;
use crate::device::positioner::{PERIOD, Senses};
use crate::plant::fault::FaultName;
use crate::plant::valve::{Readings, Valve};
use crate::time::Instant;

/// A step of the positioner's own pressure sensors, Pa [DV-80].
const PRESSURE_STEP_PA: f64 = 50.0;

/// A valve on the clock of its device. Every 10 ms from power-up on the device hears its sensors and drives it; between two
/// periods the drive stays.
#[derive(Clone, Debug)]
pub(super) struct Seat {
    valve: Valve,
    /// When the valve's own time was zero.
    begins: Instant,
    /// When the electronics work next.
    next: Instant,
    /// Faults of the set-up with their severities, 0 for one that goes, in order of time; which comes next.
    faults: Vec<(Instant, FaultName, f64)>,
    faults_done: usize,
}

impl Seat {
    pub fn new(valve: Valve, faults: Vec<(Instant, FaultName, f64)>, now: Instant) -> Seat {
        Seat { valve, begins: now, next: now, faults, faults_done: 0 }
    }

    pub fn valve(&self) -> &Valve {
        &self.valve
    }

    /// When something is due next: a period of the electronics, or a fault that comes or goes.
    pub fn next(&self) -> Instant {
        self.faults.get(self.faults_done).map_or(self.next, |f| f.0.min(self.next))
    }

    /// Does what is due next: a fault before a period of the same moment. `device` is `None` while it has no power.
    pub fn go_on(&mut self, device: Option<&mut Device>) {
        match self.faults.get(self.faults_done).copied().filter(|f| f.0 <= self.next) {
            Some((at, name, severity)) => {
                self.faults_done += 1;
                self.set_fault(at, name, severity);
            }
            None => self.period(device),
        }
    }

    /// The valve comes to `now`, so that something may change there.
    pub fn come_to(&mut self, now: Instant) {
        self.valve.advance(Instant::ZERO + now.since(self.begins));
    }

    /// Whether there is power, from `now` on. With it the periods begin anew.
    pub fn set_powered(&mut self, now: Instant, powered: bool) {
        self.come_to(now);
        self.valve.set_powered(powered);
        if powered {
            self.next = now;
        }
    }

    fn period(&mut self, device: Option<&mut Device>) {
        let at = self.next;
        self.come_to(at);
        if let Some(device) = device {
            let drive = device.sense(at, &senses(&self.valve.readings()));
            self.valve.set_drive(drive.unwrap_or(-1.0));
        }
        self.next = at + PERIOD;
    }

    pub fn set_fault(&mut self, now: Instant, name: FaultName, severity: f64) {
        self.come_to(now);
        // A fault of a part that this valve has not changes nothing: who takes it from people says so before.
        let _ = match severity > 0.0 {
            true => self.valve.inject(name, severity),
            false => self.valve.clear(name),
        };
    }

    pub fn set_header_bar(&mut self, now: Instant, bar: f64) {
        self.come_to(now);
        let _ = self.valve.set_header_gauge_pa(bar * 1e5);
    }

    pub fn set_trip_energised(&mut self, now: Instant, energised: bool) {
        self.come_to(now);
        self.valve.set_trip_energised(energised);
    }
}

/// What a positioner's own sensors make of a valve; of the loop current they know nothing [DV-80].
pub fn senses(r: &Readings) -> Senses {
    let step = |pa: f64| (pa / PRESSURE_STEP_PA).round() * PRESSURE_STEP_PA;
    Senses {
        lever_rad: r.sensed_rad,
        lever_in_range: r.sensor_in_range,
        supply_gauge_pa: step(r.supply_gauge_pa),
        output_gauge_pa: r.output_gauge_pa.map(step),
        loop_current_a: 0.0,
    }
}
