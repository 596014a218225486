//! The whole valve: all parts, stepped together [PL-30].

mod config;
mod faulty;
mod hand;
mod outlook;
mod readings;

pub use config::{TubingConfig, ValveConfig};
pub use faulty::possible;
pub use outlook::Outlook;
pub use readings::{Account, Readings};

use super::ConfigError;
use super::actuator::{Action, Actuator};
use super::air::Restriction;
use super::air_path::{AirPath, Gate};
use super::fail::{Hold, Switches};
use super::fault::{FaultName, Faults};
use super::friction::FrictionConfig;
use super::linearise::Straightened;
use super::linkage::Linkage;
use super::motion::{Energy, Forces, Motion, Moving};
use super::sensor::{Sensed, Sensor, SensorFault};
use super::stage::Stage;
use crate::time::Instant;
use core::time::Duration;

/// Most that the process may push with, as a share of the set-up.
const MOST_PROCESS: f64 = 10.0;

/// A valve at work. A clone is a snapshot: given the same orders it goes on in exactly the same way [PL-30].
#[derive(Clone, Debug)]
pub struct Valve {
    config: ValveConfig,
    step: Duration,
    /// Until when it was asked to run; what is left to the next whole step is carried.
    asked: Instant,
    done: Instant,
    drive: f64,
    powered: bool,
    trip_energised: bool,
    process_share: f64,
    header_gauge_pa: f64,
    /// What makes the sensor read too high besides its faults.
    sensor_drift_rad: f64,
    faults: Faults,
    pilot: faulty::Pilot,
    switches: Switches,
    hold: Hold,
    air: AirPath,
    actuator: Actuator,
    moving: Moving,
    stops_m: (f64, f64),
    hand: Option<hand::Hand>,
    linkage: Linkage,
    sensor: Sensor,
    straightened: Straightened,
    forces: Forces,
    motion: Option<Motion>,
    sensed: Sensed,
    energy: Energy,
    stored_at_start_kg: f64,
}

impl Valve {
    /// A healthy valve at rest at time zero: supply up, no drive, the stem where spring or air at rest hold it. The seed
    /// is that of the sensor's noise.
    ///
    /// # Errors
    /// As [`ValveConfig::check`].
    pub fn new(config: ValveConfig, seed: u64) -> Result<Valve, ConfigError> {
        config.check()?;
        let mut air = AirPath::new(config.air())?;
        air.settle_supply();
        let stroke_m = config.moving.stroke_m;
        let begins_m = if config.actuator.action == Action::AirCloses { stroke_m } else { 0.0 };
        air.step(0.0, -1.0, begins_m);
        if config.actuator.action == Action::Double {
            air.set_chamber_gauge_pa(1, config.supply.at_rest_gauge_pa());
        }
        let mut linkage = Linkage::new(config.linkage, 0.0, config.open_m_or_rad())?;
        let mut sensor = Sensor::new(config.sensor, seed)?;
        let moving = Moving::new(config.moving, begins_m)?;
        let lever = linkage.step(moving.shaft_rad().unwrap_or(begins_m));
        let sensed = sensor.step(0.0, lever.sensor_rad);
        let stored_at_start_kg = air.stored_kg();
        let mut valve = Valve {
            step: Duration::from_nanos((config.step_s * 1e9).round() as u64),
            asked: Instant::ZERO,
            done: Instant::ZERO,
            drive: -1.0,
            powered: true,
            trip_energised: true,
            process_share: 1.0,
            header_gauge_pa: config.supply.header_gauge_pa,
            sensor_drift_rad: 0.0,
            faults: Faults::default(),
            pilot: faulty::Pilot::default(),
            switches: Switches::default(),
            hold: Hold::Stage,
            air,
            actuator: Actuator::new(config.actuator, stroke_m)?,
            moving,
            stops_m: (0.0, stroke_m),
            hand: None,
            linkage,
            sensor,
            straightened: config.straightened()?,
            forces: Forces::default(),
            motion: None,
            sensed,
            energy: Energy::default(),
            stored_at_start_kg,
            config,
        };
        valve.forces = valve.forces_now();
        Ok(valve)
    }

    /// How it was set up.
    pub fn config(&self) -> &ValveConfig {
        &self.config
    }

    /// The time until which it was asked to run.
    pub fn now(&self) -> Instant {
        self.asked
    }

    /// Its faults.
    pub fn faults(&self) -> &Faults {
        &self.faults
    }

    /// What the output stage is asked for: -1 vents output 1, 1 fills it, 0 rests. What is outside counts as the nearer
    /// end, no number as -1.
    pub fn set_drive(&mut self, drive: f64) {
        self.drive = if drive.is_nan() { -1.0 } else { drive.clamp(-1.0, 1.0) };
    }

    /// Whether there is current for the I/P converter; without it the drive is -1 [PL-32].
    pub fn set_powered(&mut self, powered: bool) {
        self.powered = powered;
    }

    /// Whether the trip input is energised; without a trip valve it makes no difference [PL-32].
    pub fn set_trip_energised(&mut self, energised: bool) {
        self.trip_energised = energised;
    }

    /// The pressure of the header, Pa gauge, 0 to 2e6. Without a regulator this is the supply.
    ///
    /// # Errors
    /// It is outside; then nothing changes.
    pub fn set_header_gauge_pa(&mut self, pressure_gauge_pa: f64) -> Result<(), ConfigError> {
        let most_pa = super::supply::MOST_HEADER_GAUGE_PA;
        ConfigError::unless_in("header_gauge_pa", pressure_gauge_pa, 0.0..=most_pa)?;
        self.header_gauge_pa = pressure_gauge_pa;
        self.take_faults()
    }

    /// The force of the process as a share of what was set up, 0 to 10.
    ///
    /// # Errors
    /// It is outside; then nothing changes.
    pub fn set_process_share(&mut self, share: f64) -> Result<(), ConfigError> {
        self.process_share = ConfigError::unless_in("process_share", share, 0.0..=MOST_PROCESS)?;
        Ok(())
    }

    /// From now on the sensor reads so much too high, rad, -1 to 1, as of water in its housing [DV-110]; what is outside
    /// changes nothing.
    pub fn set_sensor_drift_rad(&mut self, drift_rad: f64) {
        if drift_rad != self.sensor_drift_rad && (-1.0..=1.0).contains(&drift_rad) {
            let fault = *self.sensor.fault();
            let before_rad = core::mem::replace(&mut self.sensor_drift_rad, drift_rad);
            let own = SensorFault { zero_rad: fault.zero_rad - before_rad, ..fault };
            // Both are far within what a sensor's zero may be wrong by.
            let _ = self.set_sensor(own);
        }
    }

    fn set_sensor(&mut self, own: SensorFault) -> Result<(), ConfigError> {
        self.sensor.set_fault(SensorFault { zero_rad: own.zero_rad + self.sensor_drift_rad, ..own })
    }

    /// Whether a valve of that set-up can have a fault at all.
    ///
    /// # Errors
    /// It has not the part; says which.
    pub fn can_have(config: &ValveConfig, name: FaultName) -> Result<(), ConfigError> {
        faulty::possible(config, name)
    }

    /// Puts a fault in with a severity from 0 (none) to 1, or changes its severity [PL-33].
    ///
    /// # Errors
    /// The severity is outside, or this valve has not the part; then nothing changes.
    pub fn inject(&mut self, name: FaultName, severity: f64) -> Result<(), ConfigError> {
        faulty::possible(&self.config, name)?;
        self.faults.set(name, severity)?;
        self.take_faults()
    }

    /// Repairs a fault: the part is as it was when the valve was set up. What the fault has done to pressures and stem
    /// stays [PL-33].
    ///
    /// # Errors
    /// As [`Valve::inject`].
    pub fn clear(&mut self, name: FaultName) -> Result<(), ConfigError> {
        if self.faults.severity(name) == 0.0 {
            return Ok(());
        }
        self.inject(name, 0.0)
    }

    /// Whether a fault of this severity would change no part of the valve, with the other faults as they are: a line that
    /// is narrower already.
    pub fn is_idle(&self, name: FaultName, severity: f64) -> bool {
        let ages = matches!(name, FaultName::StageStuck | FaultName::StageDrifting);
        let (mut with, mut without) = (self.faults, self.faults);
        if ages || with.set(name, severity).and(without.set(name, 0.0)).is_err() {
            return false;
        }
        let parts = |faults: &Faults| faulty::parts(&self.config, faults, self.header_gauge_pa);
        parts(&with) == parts(&without)
    }

    /// The friction of the stem as its faults have made it; without that of a part-turn valve's shaft.
    pub fn friction_in_force(&self) -> &FrictionConfig {
        &self.moving.config().friction
    }

    /// What its faults have made leak from one chamber of a double-acting actuator to the other.
    pub fn seal_leak_in_force(&self) -> Restriction {
        self.air.across
    }

    /// Who has the chambers now.
    pub fn hold(&self) -> Hold {
        self.hold
    }

    fn take_faults(&mut self) -> Result<(), ConfigError> {
        let parts = faulty::parts(&self.config, &self.faults, self.header_gauge_pa);
        self.air.reconfigure(parts.air)?;
        self.air.stage.config.faults.dirt_share = parts.dirt_share;
        self.air.across = parts.across;
        self.air.swapped = parts.swapped;
        self.moving.set_friction(parts.friction)?;
        self.actuator.break_spring(parts.spring_gone)?;
        self.linkage.set_fault(parts.linkage)?;
        self.set_sensor(parts.sensor)?;
        self.stops_m = parts.stops_m;
        Ok(())
    }

    /// Runs until `until` in whole steps and carries what is left over: it makes no difference in how many calls a time
    /// is passed. A time that is already past does nothing.
    pub fn advance(&mut self, until: Instant) {
        if until <= self.asked {
            return;
        }
        self.asked = until;
        while self.done + self.step <= until {
            self.one_step();
            self.done += self.step;
        }
    }

    fn one_step(&mut self) {
        let dt_s = self.step.as_nanos() as f64 * 1e-9;
        let inlet_gauge_pa = self.air.inlet_gauge_pa();
        let hold = self.switches.step(&self.config.fail, self.trip_energised, inlet_gauge_pa);
        if hold != self.hold {
            self.hold = hold;
            self.air.gates = self.gates();
        }
        let drive = self.effective_drive();
        self.age_pilot(dt_s, drive, inlet_gauge_pa);
        match self.hand {
            Some(hand) => self.move_by_hand(dt_s, hand),
            None => self.place_stops(),
        }
        self.forces = self.forces_now();
        let motion = self.moving.step(dt_s, &self.forces);
        self.energy += motion.energy;
        self.motion = Some(motion);
        self.air.step(dt_s, drive, motion.stem_m);
        let lever = self.linkage.step(self.moving.shaft_rad().unwrap_or(motion.stem_m));
        self.sensed = self.sensor.step(dt_s, lever.sensor_rad);
    }

    fn effective_drive(&self) -> f64 {
        if self.powered { self.drive } else { -1.0 }
    }

    fn age_pilot(&mut self, dt_s: f64, drive: f64, inlet_gauge_pa: f64) {
        let stage: &mut Stage = &mut self.air.stage;
        let target = stage.target(drive, inlet_gauge_pa);
        let (held, drift) = self.pilot.step(&self.faults, dt_s, target, stage.pilot());
        stage.config.faults.zero_drift = drift;
        stage.config.faults.stuck_at = held.then(|| stage.pilot());
    }

    /// A stop that was moved inwards takes its place once the stem has been beyond it [PL-33].
    fn place_stops(&mut self) {
        let (closed_m, open_m) = self.moving.stops_m();
        if (closed_m, open_m) == self.stops_m {
            return;
        }
        let stem_m = self.moving.stem_m();
        let closed_m = if stem_m >= self.stops_m.0 { self.stops_m.0 } else { closed_m.min(stem_m) };
        let open_m = if stem_m <= self.stops_m.1 { self.stops_m.1 } else { open_m.max(stem_m) };
        // Both lie within the rated stroke around the stem, which is what is asked of them.
        let _ = self.moving.set_stops(closed_m, open_m);
    }

    fn forces_now(&self) -> Forces {
        let stem_m = self.moving.stem_m();
        let pressures_pa = [self.air.chamber_pa(0), self.air.chamber_pa(1)];
        let process = self.config.process.scaled(self.process_share);
        Forces {
            pressure: self.actuator.pressure_force(stem_m, pressures_pa, [self.config.exponent; 2]),
            spring: self.actuator.spring_force(stem_m),
            process: process.force(stem_m, self.config.moving.stroke_m),
        }
    }

    /// What stands at each chamber for who has the chambers now [PL-32].
    fn gates(&self) -> [Gate; 2] {
        let fail = &self.config.fail;
        let cut_off = |vent: bool, vent_by: Restriction| Gate {
            tubing_opening: 0.0,
            vent: if vent { vent_by } else { Restriction::SHUT },
            ..Gate::default()
        };
        let double = self.config.actuator.action == Action::Double;
        let opening = [Gate::default(); 2];
        match self.hold {
            Hold::Stage => opening,
            Hold::Locked => match fail.lock_up {
                Some(lock_up) => {
                    let tube = self.config.tubing.restriction.conductance_m3_per_s_pa;
                    let leaks = share(lock_up.leak.conductance_m3_per_s_pa, tube).min(1.0);
                    [Gate { tubing_opening: leaks, ..Gate::default() }; 2]
                }
                None => opening,
            },
            Hold::Tripped => match fail.trip {
                Some(trip) => {
                    let gate = |i: usize| {
                        let fed = double && (i == 0) == trip.opens;
                        let mut gate = cut_off(!fed, trip.vent);
                        if fed {
                            gate.inlet_feed = trip.feed;
                            gate.tank_feed = fail.stored_air.map_or(Restriction::SHUT, |s| s.feed);
                        }
                        gate
                    };
                    [gate(0), gate(1)]
                }
                None => opening,
            },
            Hold::Stored => match fail.stored_air {
                Some(stored) => {
                    let gate = |i: usize| {
                        let fed = (i == 0) == stored.opens;
                        let mut gate = cut_off(!fed, stored.vent);
                        if fed {
                            gate.tank_feed = stored.feed;
                        }
                        gate
                    };
                    [gate(0), gate(1)]
                }
                None => opening,
            },
        }
    }

    /// All that can be read of it now: at the end of the last whole step.
    pub fn readings(&self) -> Readings {
        let moving = &self.moving;
        let (tube, casing) = (self.air.tubing_leak_kg_per_s(), self.air.casing_leak_kg_per_s());
        let chambers = self.actuator.fed_chambers();
        let pressed = self.motion.filter(|_| self.hand.is_none());
        let each = |of: &dyn Fn(usize) -> f64| [of(0), if chambers == 2 { of(1) } else { 0.0 }];
        Readings {
            at: self.done,
            drive: self.effective_drive(),
            pilot: self.air.stage.pilot(),
            stem_m: moving.stem_m(),
            travel_percent: self.travel_percent(),
            velocity_m_per_s: self.hand.map_or(moving.velocity_m_per_s(), |h| h.velocity_m_per_s),
            shaft_rad: moving.shaft_rad(),
            lever_rad: self.linkage.lever().lever_rad,
            sensed_rad: self.sensed.rad,
            sensed_travel_percent: self.sensed_travel_percent(),
            sensor_in_range: self.sensed.at_end.is_none(),
            header_gauge_pa: self.air.config().supply.header_gauge_pa,
            regulator_gauge_pa: self.air.regulated_gauge_pa(),
            supply_gauge_pa: self.air.inlet_gauge_pa(),
            output_gauge_pa: each(&|i| self.air.output_gauge_pa(i)),
            chamber_gauge_pa: each(&|i| self.air.chamber_gauge_pa(i)),
            tank_gauge_pa: self.air.tank_gauge_pa(),
            actuator_n: self.forces.pressure.n,
            spring_n: self.forces.spring.n,
            process_n: self.forces.process.n,
            friction_n: self.motion.map_or(0.0, |m| m.friction_n),
            // What a hand holds stands at no stop.
            stop: pressed.and_then(|m| m.stop),
            stop_n: pressed.map_or(0.0, |m| m.stop_n),
            stuck: self.motion.is_some_and(|m| m.stuck),
            hold: self.hold,
            air_used_kg: self.air.taken_kg(),
            supply_flow_kg_per_s: self.air.taken_kg_per_s(),
            exhaust_flow_kg_per_s: self.air.exhaust_kg_per_s(),
            casing_leak_kg_per_s: casing,
            tube_leak_kg_per_s: tube,
        }
    }

    /// True travel, percent: of the stroke, or of the shaft's turn.
    pub fn travel_percent(&self) -> f64 {
        match self.moving.shaft_rad() {
            Some(rad) => rad / self.config.open_m_or_rad() * 100.0,
            None => self.moving.travel_percent(),
        }
    }

    /// What the sensor makes of the travel, percent.
    pub fn sensed_travel_percent(&self) -> f64 {
        self.straightened.share(self.sensed.rad) * 100.0
    }

    /// What the sensor tells: the angle, and whether it is believable.
    pub fn sensed(&self) -> Sensed {
        self.sensed
    }

    /// Where air and energy went.
    pub fn account(&self) -> Account {
        Account {
            taken_kg: self.air.taken_kg(),
            vented_kg: self.air.vented_kg(),
            stored_kg: self.air.stored_kg(),
            stored_at_start_kg: self.stored_at_start_kg,
            energy: self.energy,
        }
    }
}

/// `part / whole`, 0 where there is no whole.
fn share(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { part / whole } else { 0.0 }
}
