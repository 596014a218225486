//! What moves: mass, stroke between two stops, seat, friction, shaft [PL-13].

#[cfg(test)]
mod tests;

use super::ConfigError;
use super::friction::{Bristle, BristleConfig, Force, FrictionConfig, Slid};
use super::transmission::{ShaftLoad, Transmission, fading};

/// Set-up of the moving parts. Reference: [`MovingConfig::reference`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MovingConfig {
    /// Rated stroke, m: 0.001 to 10. The stops are there unless [`Moving::set_stops`] moves them.
    pub stroke_m: f64,
    /// Stem, plug, plates and half the spring, kg: 0.01 to 1e5. What turns is in `shaft`.
    pub mass_kg: f64,
    /// Friction of stem, packing and guides.
    pub friction: FrictionConfig,
    /// Bristles of the reference model; `None` is the working model [PL-11]. Default `None`.
    pub bristle: Option<BristleConfig>,
    /// Grip of the seat.
    pub seat: Seat,
    /// How the piston is joined to a shaft. Default a stem.
    pub transmission: Transmission,
    /// Load on the shaft; must be all 0 for a stem.
    pub shaft: ShaftLoad,
}

/// Grip of the seat: friction that is added where the plug or ball sits in it [PL-13].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Seat {
    /// Added to dry friction, static and Coulomb, at the rated closed end, N: 0 to 1e7.
    pub grip_n: f64,
    /// Way over which it fades evenly, m: 0 (only at the end itself) to the stroke.
    pub fade_m: f64,
}

impl MovingConfig {
    /// The invented reference actuator's moving parts: 20 mm, 1.5 kg [PL-18].
    pub const fn reference() -> MovingConfig {
        MovingConfig {
            stroke_m: 0.02,
            mass_kg: 1.5,
            friction: FrictionConfig::reference(),
            bristle: None,
            seat: Seat { grip_n: 0.0, fade_m: 0.0 },
            transmission: Transmission::Stem,
            shaft: ShaftLoad { running_nm: 0.0, break_nm: 0.0, fade_rad: 0.0, inertia_kg_m2: 0.0 },
        }
    }

    /// # Errors
    /// A value outside its range, or a load on a shaft that is not there.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("stroke_m", self.stroke_m, 1e-3..=10.0)?;
        ConfigError::unless_in("mass_kg", self.mass_kg, 0.01..=1e5)?;
        self.friction.check()?;
        if let Some(bristle) = &self.bristle {
            bristle.check()?;
        }
        ConfigError::unless_in("grip_n", self.seat.grip_n, 0.0..=1e7)?;
        ConfigError::unless_in("fade_m", self.seat.fade_m, 0.0..=self.stroke_m)?;
        self.transmission.check(self.stroke_m)?;
        self.shaft.check()?;
        if self.transmission == Transmission::Stem && self.shaft != ShaftLoad::default() {
            let why = "a load on the shaft needs a rack or a yoke: a stem turns nothing".to_string();
            return Err(ConfigError { field: "shaft", why });
        }
        Ok(())
    }

    /// Mass that the piston feels at a place, kg: what turns is reflected to it.
    fn mass_kg_at(&self, stem_m: f64) -> f64 {
        let turn = self.transmission.shaft_rad_per_m(stem_m, self.stroke_m);
        self.mass_kg + self.shaft.inertia_kg_m2 * turn * turn
    }

    /// Friction that the piston feels at a place: the shaft's is reflected to it, the seat's grip added.
    pub fn friction_at(&self, stem_m: f64) -> FrictionConfig {
        let mut more = 0.0;
        if self.seat.grip_n > 0.0 {
            more += fading(self.seat.grip_n, stem_m, self.seat.fade_m);
        }
        if let Some(angle) = self.transmission.shaft_rad(stem_m, self.stroke_m) {
            let turn = self.transmission.shaft_rad_per_m(stem_m, self.stroke_m);
            more += self.shaft.torque_nm(angle) * turn;
        }
        if more > 0.0 { self.friction.plus(more) } else { self.friction }
    }
}

/// What pushes the stem during a step; friction and stops are the moving parts' own.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Forces {
    /// Of the pressures in the chambers.
    pub pressure: Force,
    /// Of the actuator's spring.
    pub spring: Force,
    /// Of the process on the plug.
    pub process: Force,
}

/// One of the two stops.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// The seat, or what keeps the stem from reaching it.
    Closed,
    /// The open end.
    Open,
}

/// Where the energy of a step came from and went, J. Works are positive where they drive the stem.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Energy {
    /// Work of the pressures.
    pub pressure_j: f64,
    /// Work of the spring: what it gave up of its store.
    pub spring_j: f64,
    /// Work of the process.
    pub process_j: f64,
    /// What friction took; with bristles it may give a little back.
    pub friction_j: f64,
    /// What the stops took: 0 or more.
    pub stop_j: f64,
    /// What the step itself lost, because it holds the end's forces for the whole of it: 0 or more, and half for half
    /// the step [PL-14].
    pub step_j: f64,
    /// Rise of the kinetic energy.
    pub kinetic_j: f64,
}

impl Energy {
    /// What does not add up: rounding alone.
    pub fn residue_j(&self) -> f64 {
        let driven = self.pressure_j + self.spring_j + self.process_j;
        driven - self.friction_j - self.stop_j - self.step_j - self.kinetic_j
    }
}

impl core::ops::AddAssign for Energy {
    fn add_assign(&mut self, other: Energy) {
        self.pressure_j += other.pressure_j;
        self.spring_j += other.spring_j;
        self.process_j += other.process_j;
        self.friction_j += other.friction_j;
        self.stop_j += other.stop_j;
        self.step_j += other.step_j;
        self.kinetic_j += other.kinetic_j;
    }
}

/// What a step came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motion {
    /// Way of the stem, m: 0 the rated closed end, the stroke the rated open one.
    pub stem_m: f64,
    /// Speed, m/s, positive opens; exactly 0 while it sticks or stands at a stop.
    pub velocity_m_per_s: f64,
    /// Mean force with which friction held against opening, N; negative against closing. With the shaft's torque and
    /// the grip of the seat.
    pub friction_n: f64,
    /// The stop at which the stem stands.
    pub stop: Option<Stop>,
    /// Force with which it presses on that stop, N, 0 or more: at the seat what shuts off.
    pub stop_n: f64,
    /// It is not at a stop and friction, or seizing, keeps it from moving.
    pub stuck: bool,
    /// The account of the step.
    pub energy: Energy,
}

/// The moving parts: where they are and how fast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moving {
    config: MovingConfig,
    bristle: Option<Bristle>,
    stem_m: f64,
    velocity_m_per_s: f64,
    closed_stop_m: f64,
    open_stop_m: f64,
    seized: bool,
}

impl Moving {
    /// At rest at `stem_m`, or at the stop that is nearest to it.
    ///
    /// # Errors
    /// As [`MovingConfig::check`], or a place that is no number.
    pub fn new(config: MovingConfig, stem_m: f64) -> Result<Moving, ConfigError> {
        config.check()?;
        ConfigError::unless_in("stem_m", stem_m, f64::MIN..=f64::MAX)?;
        let bristle = config.bristle.map(Bristle::new).transpose()?;
        Ok(Moving {
            config,
            bristle,
            stem_m: stem_m.clamp(0.0, config.stroke_m),
            velocity_m_per_s: 0.0,
            closed_stop_m: 0.0,
            open_stop_m: config.stroke_m,
            seized: false,
        })
    }

    /// The set-up.
    pub fn config(&self) -> &MovingConfig {
        &self.config
    }

    /// Way of the stem, m.
    pub fn stem_m(&self) -> f64 {
        self.stem_m
    }

    /// Way of the stem, percent of the rated stroke; beyond 0 to 100 only where a stop was moved out.
    pub fn travel_percent(&self) -> f64 {
        self.stem_m / self.config.stroke_m * 100.0
    }

    /// Speed, m/s.
    pub fn velocity_m_per_s(&self) -> f64 {
        self.velocity_m_per_s
    }

    /// Angle of the shaft, rad, 0 at the rated closed end; `None` of a stem.
    pub fn shaft_rad(&self) -> Option<f64> {
        self.config.transmission.shaft_rad(self.stem_m, self.config.stroke_m)
    }

    /// Where the stops are, closed and open, m.
    pub fn stops_m(&self) -> (f64, f64) {
        (self.closed_stop_m, self.open_stop_m)
    }

    /// Moves the stops: a screw that was turned, a handwheel, a thing in the seat. A stop that comes to where the stem is
    /// takes it along, so move it in small steps for a hand's pace.
    ///
    /// # Errors
    /// A stop further than a quarter of the stroke beyond the rated ends, or the closed stop not below the open one.
    pub fn set_stops(&mut self, closed_stop_m: f64, open_stop_m: f64) -> Result<(), ConfigError> {
        let (low, high) = (-0.25 * self.config.stroke_m, 1.25 * self.config.stroke_m);
        ConfigError::unless_in("closed_stop_m", closed_stop_m, low..=high)?;
        ConfigError::unless_in("open_stop_m", open_stop_m, closed_stop_m..=high)?;
        (self.closed_stop_m, self.open_stop_m) = (closed_stop_m, open_stop_m);
        if !(closed_stop_m..=open_stop_m).contains(&self.stem_m) {
            self.stem_m = self.stem_m.clamp(closed_stop_m, open_stop_m);
            self.velocity_m_per_s = 0.0;
        }
        Ok(())
    }

    /// Whether the stem is seized where it is: nothing moves it.
    pub fn set_seized(&mut self, seized: bool) {
        self.seized = seized;
    }

    /// Another friction from now on: packing tightened, dried out, worn.
    ///
    /// # Errors
    /// As [`FrictionConfig::check`].
    pub fn set_friction(&mut self, friction: FrictionConfig) -> Result<(), ConfigError> {
        friction.check()?;
        self.config.friction = friction;
        Ok(())
    }

    /// One step of `dt_s`, 1e-6 to 0.01 s (outside it the nearest of these; usual 1 ms). Any finite forces will do.
    pub fn step(&mut self, dt_s: f64, forces: &Forces) -> Motion {
        let dt_s = if dt_s.is_nan() { 1e-6 } else { dt_s.clamp(1e-6, 1e-2) };
        let forces = Forces {
            pressure: forces.pressure.bounded(),
            spring: forces.spring.bounded(),
            process: forces.process.bounded(),
        };
        match self.bristle {
            Some(bristle) if !self.seized => self.step_divided(dt_s, bristle.config().step_s, &forces),
            _ => self.step_once(dt_s, &forces),
        }
    }

    /// The reference model: steps of its own, and the mean of their friction.
    fn step_divided(&mut self, dt_s: f64, longest_s: f64, forces: &Forces) -> Motion {
        let n = (dt_s / longest_s).ceil().max(1.0);
        let (from_m, mut friction, mut stop_n, mut energy) = (self.stem_m, 0.0, 0.0, Energy::default());
        let moved = |force: Force, way: f64| Force { n: force.n + force.n_per_m * way, ..force };
        let mut last = None;
        for _ in 0..n as u32 {
            let way = self.stem_m - from_m;
            let here = Forces {
                pressure: moved(forces.pressure, way),
                spring: moved(forces.spring, way),
                process: moved(forces.process, way),
            };
            let motion = self.step_once(dt_s / n, &here);
            friction += motion.friction_n / n;
            stop_n += motion.stop_n / n;
            energy += motion.energy;
            last = Some(motion);
        }
        match last {
            Some(motion) => Motion { friction_n: friction, stop_n, energy, ..motion },
            None => self.step_once(dt_s, forces),
        }
    }

    fn step_once(&mut self, dt_s: f64, forces: &Forces) -> Motion {
        let force = (forces.pressure + forces.spring + forces.process).bounded();
        let (from_m, from_v) = (self.stem_m, self.velocity_m_per_s);
        let mass_kg = self.config.mass_kg_at(from_m);
        let before = Before { mass_kg, velocity_m_per_s: from_v, force };
        if self.seized {
            self.velocity_m_per_s = 0.0;
            return self.settled(
                dt_s,
                before,
                Taken { friction_n: force.n, mean_v: 0.0, stop_n: 0.0 },
                forces,
            );
        }
        if from_v == 0.0 && self.is_pressed_on(force.n) {
            // At a stop friction may be anything up to its own limit; what it may hold is not counted for the seat.
            let coulomb_n = self.config.friction.coulomb_n;
            let friction_n = force.n.clamp(-coulomb_n, coulomb_n);
            let stop_n = (force.n - friction_n).abs();
            return self.settled(dt_s, before, Taken { friction_n, mean_v: 0.0, stop_n }, forces);
        }
        let friction = self.config.friction_at(from_m);
        let Slid { velocity_m_per_s: v, friction_n } = match &mut self.bristle {
            Some(bristle) => bristle.step(&friction, dt_s, mass_kg, from_v, force),
            None => friction.step(dt_s, mass_kg, from_v, force),
        };
        let to_m = from_m + v * dt_s;
        self.stem_m = to_m.clamp(self.closed_stop_m, self.open_stop_m);
        if self.stem_m == to_m {
            self.velocity_m_per_s = v;
            return self.settled(dt_s, before, Taken { friction_n, mean_v: v, stop_n: 0.0 }, forces);
        }
        // It comes no further than the stop: the stop takes what would have carried it on, then all of its speed.
        self.velocity_m_per_s = 0.0;
        let mean_v = (self.stem_m - from_m) / dt_s;
        let drag_n = if self.bristle.is_some() { 0.0 } else { friction.viscous_n_s_per_m * (v - mean_v) };
        let carried = mass_kg / dt_s - force.n_per_m.min(0.0) * dt_s;
        let stop_n = (carried * (v - mean_v) + drag_n).abs();
        self.settled(dt_s, before, Taken { friction_n: friction_n - drag_n, mean_v, stop_n }, forces)
    }

    /// Whether a stem at rest stands at a stop and `force_n` presses it on.
    fn is_pressed_on(&self, force_n: f64) -> bool {
        self.stem_m <= self.closed_stop_m && force_n <= 0.0
            || self.stem_m >= self.open_stop_m && force_n >= 0.0
    }

    /// Settles the account of a step [PL-14]; where the stem came to is set already.
    fn settled(&mut self, dt_s: f64, before: Before, taken: Taken, forces: &Forces) -> Motion {
        let (mass, from_v, mean_v) = (before.mass_kg, before.velocity_m_per_s, taken.mean_v);
        let way = mean_v * dt_s;
        let energy = Energy {
            pressure_j: forces.pressure.work_j(way),
            spring_j: forces.spring.work_j(way),
            process_j: forces.process.work_j(way),
            friction_j: taken.friction_n * way,
            stop_j: taken.stop_n * way.abs() + 0.5 * mass * (mean_v * mean_v - self.velocity_m_per_s.powi(2)),
            step_j: 0.5 * mass * (mean_v - from_v).powi(2) + 0.5 * before.force.n_per_m.abs() * way * way,
            kinetic_j: 0.5 * mass * (self.velocity_m_per_s.powi(2) - from_v * from_v),
        };
        if self.config.shaft.inertia_kg_m2 > 0.0 && self.velocity_m_per_s != 0.0 {
            // The kinetic energy goes on with the stem, not the speed: a yoke's arm changes the mass that it feels.
            self.velocity_m_per_s *= (mass / self.config.mass_kg_at(self.stem_m)).sqrt();
        }
        let stop = match self.stem_m {
            s if s <= self.closed_stop_m => Some(Stop::Closed),
            s if s >= self.open_stop_m => Some(Stop::Open),
            _ => None,
        };
        Motion {
            stem_m: self.stem_m,
            velocity_m_per_s: self.velocity_m_per_s,
            friction_n: taken.friction_n,
            stop,
            stop_n: taken.stop_n,
            stuck: stop.is_none() && self.velocity_m_per_s == 0.0,
            energy,
        }
    }
}

/// How a step began.
#[derive(Clone, Copy)]
struct Before {
    mass_kg: f64,
    velocity_m_per_s: f64,
    force: Force,
}

/// What friction and stop took in a step.
struct Taken {
    friction_n: f64,
    /// Way over time of the step: the speed at its end, but for a stop.
    mean_v: f64,
    stop_n: f64,
}
