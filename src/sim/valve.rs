//! A computed valve behind a mock device [BA-11] [DV-100].

use super::Change;
use super::site_fault::{spread, water_rad};
use crate::device::Device;
use crate::device::positioner::{PERIOD, Senses};
use crate::plant::ConfigError;
use crate::plant::fault::{FaultName, Faults};
use crate::plant::valve::{Readings, Valve, ValveConfig};
use crate::time::Instant;
use core::time::Duration;

/// So much at most is computed at once, so that nobody waits for it: our choice.
const LOOK: Duration = Duration::from_millis(50);
/// Pascal in a bar.
const PA_PER_BAR: f64 = 1e5;
/// A step of the positioner's own pressure sensors, Pa [DV-100].
const PRESSURE_STEP_PA: f64 = 50.0;

/// A valve on its device's time. Every 10 ms from power-up on the device hears its sensors and drives it; between two periods
/// the drive stays. A clone goes on in exactly the same way.
#[derive(Clone, Debug)]
pub struct StationValve {
    valve: Valve,
    /// What the device's clock showed when the valve's was zero.
    began: Instant,
    /// When the electronics work next, by the device's clock.
    period_at: Instant,
    /// How far it has come, by the device's clock.
    come_to: Instant,
    /// What is wrong with it when, by the valve's clock and in its order.
    faults: Vec<(Instant, FaultName, f64)>,
    faults_done: usize,
    /// Whether the trip input is energised but for a fault, and whether there is one [DV-110].
    trip: (bool, bool),
    /// How bad water in the housing of its sensor is, and since when by the device's clock [DV-110].
    water: Option<(f64, Instant)>,
}

impl StationValve {
    /// A valve at rest when its device's clock shows `began`. What is wrong with it, and how bad, begins at times by its own clock,
    /// which are in order; what it cannot have is left out.
    ///
    /// # Errors
    /// As [`ValveConfig::check`].
    pub fn new(
        config: ValveConfig,
        faults: Vec<(Instant, FaultName, f64)>,
        seed: u64,
        began: Instant,
    ) -> Result<StationValve, ConfigError> {
        Ok(StationValve {
            valve: Valve::new(config, seed)?,
            began,
            period_at: began,
            come_to: began,
            faults,
            faults_done: 0,
            trip: (true, false),
            water: None,
        })
    }

    /// All that can be read of it, as far as it has come: physics, and what its sensor says.
    pub fn readings(&self) -> Readings {
        self.valve.readings()
    }

    /// The valve itself, as far as it has come.
    pub fn valve(&self) -> &Valve {
        &self.valve
    }

    /// Its faults.
    pub fn faults(&self) -> &Faults {
        self.valve.faults()
    }

    /// Where a hand wants its stem, percent of its way; `None`: there is none.
    pub fn hand_percent(&self) -> Option<f64> {
        self.valve.hand_percent()
    }

    /// When it wants to go on at the latest, by the device's clock.
    pub(super) fn wake_at(&self) -> Instant {
        self.come_to + LOOK
    }

    /// When something happens to it next, by the device's clock: a period, or a fault.
    pub(super) fn next_at(&self) -> Instant {
        self.fault_at().map_or(self.period_at, |t| t.min(self.period_at))
    }

    fn fault_at(&self) -> Option<Instant> {
        let own = self.faults.get(self.faults_done)?.0;
        Some(self.began + own.since(Instant::ZERO))
    }

    /// Does what happens to it next: a fault before a period of the same moment. `device` is `None` while it has no power.
    pub(super) fn happens(&mut self, device: Option<&mut Device>) {
        let at = self.next_at();
        self.go_to(at);
        if self.fault_at() == Some(at) {
            let (_, name, severity) = self.faults[self.faults_done];
            let _ = self.valve.inject(name, severity);
            self.faults_done += 1;
            return;
        }
        if let Some((severity, since)) = self.water {
            self.valve.set_sensor_drift_rad(water_rad(severity, spread(at.since(since))));
        }
        if let Some(device) = device {
            let drive = device.sense(at, &senses(&self.valve.readings()));
            self.valve.set_drive(drive.unwrap_or(-1.0));
        }
        self.period_at = at + PERIOD;
    }

    /// Goes on to `now`, where nothing happens to it until then.
    pub(super) fn go_to(&mut self, now: Instant) {
        self.valve.advance(Instant::ZERO + now.since(self.began));
        self.come_to = self.come_to.max(now);
    }

    /// Whether there is power, from `now` on. With it the periods begin anew.
    pub(super) fn set_powered(&mut self, now: Instant, powered: bool) {
        self.go_to(now);
        self.valve.set_powered(powered);
        if powered {
            self.period_at = now;
        }
    }

    /// Takes a change that is one of a valve; what is outside of its range, or cannot be, changes nothing.
    pub(super) fn change(&mut self, change: Change) {
        let _ = match change {
            Change::ValveFault { name, severity } => self.valve.inject(name, severity),
            Change::HeaderPressureBar(bar) | Change::SupplyPressureBar(bar) => {
                self.valve.set_header_gauge_pa(bar * PA_PER_BAR)
            }
            Change::HandPercent(percent) => self.valve.set_hand_percent(Some(percent)),
            Change::HandOff => self.valve.set_hand_percent(None),
            Change::ProcessShare(share) => self.valve.set_process_share(share),
            Change::TripEnergised(on) => {
                self.trip.0 = on;
                self.valve.set_trip_energised(on && !self.trip.1);
                Ok(())
            }
            _ => Ok(()),
        };
    }

    /// The trip input has no power, whatever it is set to, or what it is set to again [DV-110].
    pub(super) fn set_trip_fault(&mut self, is_there: bool) {
        self.trip.1 = is_there;
        self.valve.set_trip_energised(self.trip.0 && !is_there);
    }

    /// Water comes into the housing of its sensor at `now`, is more or less, or is gone [DV-110].
    pub(super) fn set_water(&mut self, now: Instant, severity: f64) {
        let since = self.water.map_or(now, |w| w.1);
        self.water = (severity > 0.0).then_some((severity, since));
        if self.water.is_none() {
            self.valve.set_sensor_drift_rad(0.0);
        }
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
