//! A computed valve behind a mock device [BA-11].

use super::Change;
use crate::plant::ConfigError;
use crate::plant::actuator::Action;
use crate::plant::fault::{FaultName, Faults};
use crate::plant::follower::Follower;
use crate::plant::valve::{Readings, Valve, ValveConfig};
use crate::time::Instant;
use core::time::Duration;

/// How often whatever holds the set point looks at the sensor, from power-up on: our choice.
const CONTROL: Duration = Duration::from_millis(10);
/// So much at most is computed at once, so that nobody waits for it: our choice.
const LOOK: Duration = Duration::from_millis(50);
/// Pascal in a bar.
const PA_PER_BAR: f64 = 1e5;

/// A valve on its device's time. A clone goes on in exactly the same way.
#[derive(Clone, Debug)]
pub struct StationValve {
    valve: Valve,
    follower: Follower,
    /// Which way the drive goes that opens.
    opens: f64,
    /// What the device's clock showed when the valve's was zero.
    began: Instant,
    /// By the valve's clock.
    control_at: Instant,
    come_to: Instant,
    /// What is wrong with it when, by the valve's clock and in its order.
    faults: Vec<(Instant, FaultName, f64)>,
    faults_done: usize,
}

impl StationValve {
    /// A valve at rest when its device's clock shows `began`. What is wrong with it, and how bad, begins at times by its own clock,
    /// which are in order; what it cannot have is left out.
    ///
    /// # Errors
    /// As [`ValveConfig::check`].
    pub fn new(
        config: ValveConfig,
        follower: Follower,
        faults: Vec<(Instant, FaultName, f64)>,
        seed: u64,
        began: Instant,
    ) -> Result<StationValve, ConfigError> {
        Ok(StationValve {
            // The stage fills output 1 for a drive above 0, which closes a valve whose air closes.
            opens: if config.actuator.action == Action::AirCloses { -1.0 } else { 1.0 },
            valve: Valve::new(config, seed)?,
            follower,
            began,
            control_at: Instant::ZERO,
            come_to: Instant::ZERO,
            faults,
            faults_done: 0,
        })
    }

    /// All that can be read of it, as far as it has come: physics, and what its sensor says.
    pub fn readings(&self) -> Readings {
        self.valve.readings()
    }

    /// Its faults.
    pub fn faults(&self) -> &Faults {
        self.valve.faults()
    }

    /// When it wants to go on at the latest, by the device's clock.
    pub(super) fn wake_at(&self) -> Instant {
        self.began + self.come_to.since(Instant::ZERO) + LOOK
    }

    /// Goes on to `now` by the device's clock, with the set point and the power that have been there since the last call.
    pub(super) fn come_to(&mut self, now: Instant, set_point_percent: f64, is_on: bool) {
        let now = Instant::ZERO + now.since(self.began);
        loop {
            let fault = self.faults.get(self.faults_done).map(|f| f.0);
            let at = fault.into_iter().fold(self.control_at, Instant::min);
            if at > now {
                break;
            }
            self.valve.advance(at);
            if fault == Some(at) {
                let (_, name, severity) = self.faults[self.faults_done];
                let _ = self.valve.inject(name, severity);
                self.faults_done += 1;
                continue;
            }
            let drive = self.follower.drive(set_point_percent, self.valve.sensed_travel_percent());
            self.valve.set_powered(is_on);
            self.valve.set_drive(self.opens * drive);
            self.control_at += CONTROL;
        }
        self.valve.advance(now);
        self.come_to = self.come_to.max(now);
    }

    /// Takes a change that is one of a valve; what is outside of its range, or cannot be, changes nothing.
    pub(super) fn change(&mut self, change: Change) {
        let _ = match change {
            Change::ValveFault { name, severity } => self.valve.inject(name, severity),
            Change::HeaderPressureBar(bar) => self.valve.set_header_gauge_pa(bar * PA_PER_BAR),
            Change::ProcessShare(share) => self.valve.set_process_share(share),
            Change::TripEnergised(on) => {
                self.valve.set_trip_energised(on);
                Ok(())
            }
            _ => Ok(()),
        };
    }
}
