//! The actuator: areas and volumes of its chambers, its spring, and the force of the process [PL-15].

#[cfg(test)]
mod tests;

use super::ConfigError;
use super::friction::Force;

/// Pressure of the air around, Pa absolute [PL-01].
const ATMOSPHERE_PA: f64 = 101_325.0;

/// What air in the chambers does. Output 1 of the positioner feeds chamber 1, output 2 chamber 2.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// Single-acting: air in chamber 1 opens. Chamber 2 is open to the air around.
    AirOpens,
    /// Single-acting: air in chamber 1 closes. Chamber 2 is open to the air around.
    AirCloses,
    /// Double-acting: air in chamber 1 opens, air in chamber 2 closes.
    Double,
}

/// One chamber.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChamberSize {
    /// Area on which the pressure acts, m²: 1e-5 to 10, the same along the whole stroke.
    pub area_m2: f64,
    /// Volume that is left where it is smallest, with the tubing unless that is modelled apart, m³: 1e-7 to 10.
    pub dead_volume_m3: f64,
}

/// A spring, or several beside each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spring {
    /// Which way it pushes.
    pub pushes: Pushes,
    /// Force at the end of the rated stroke to which it pushes, where it is least compressed, N: 0 to 1e7.
    pub preload_n: f64,
    /// Rise for each metre of compression, N/m: 0 to 1e9.
    pub rate_n_per_m: f64,
}

/// Direction of a force.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pushes {
    /// Towards open.
    Open,
    /// Towards closed.
    Closed,
}

/// Force of the process on the plug along the stem, even from the one value to the other along the rated stroke
/// [PL-19].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ProcessForce {
    /// At the closed end, N: -1e7 to 1e7. Positive opens, as flow to open does; negative closes.
    pub shut_n: f64,
    /// At the open end, N: -1e7 to 1e7.
    pub open_n: f64,
}

impl ProcessForce {
    /// # Errors
    /// A value outside its range.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("shut_n", self.shut_n, -1e7..=1e7)?;
        ConfigError::unless_in("open_n", self.open_n, -1e7..=1e7)?;
        Ok(())
    }

    /// The force at a place; beyond the rated stroke as at its end.
    pub fn force(&self, stem_m: f64, stroke_m: f64) -> Force {
        let n_per_m = (self.open_n - self.shut_n) / stroke_m;
        match stem_m {
            s if s < 0.0 => Force::steady(self.shut_n),
            s if s > stroke_m => Force::steady(self.open_n),
            s => Force { n: self.shut_n + n_per_m * s, n_per_m },
        }
    }

    /// With the process at `share` of its pressure.
    #[must_use]
    pub fn scaled(mut self, share: f64) -> ProcessForce {
        self.shut_n *= share;
        self.open_n *= share;
        self
    }
}

/// Set-up of an actuator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ActuatorConfig {
    /// What air does.
    pub action: Action,
    /// Chamber 1 and chamber 2; the second of a single-acting one holds air of the surroundings and pushes nothing.
    pub chambers: [ChamberSize; 2],
    /// The spring; a single-acting actuator must have one that pushes against the air.
    pub spring: Option<Spring>,
}

impl ActuatorConfig {
    /// The invented reference actuator [PL-18]: air opens, 350 cm², 0.5 L, 700 N and 140 kN/m (0.2 to 1.0 bar over 20 mm).
    pub const fn reference() -> ActuatorConfig {
        let chamber = ChamberSize { area_m2: 0.035, dead_volume_m3: 0.5e-3 };
        ActuatorConfig {
            action: Action::AirOpens,
            chambers: [chamber, chamber],
            spring: Some(Spring { pushes: Pushes::Closed, preload_n: 700.0, rate_n_per_m: 140e3 }),
        }
    }

    /// # Errors
    /// A value outside its range, or a single-acting actuator without a spring against the air.
    pub fn check(&self) -> Result<(), ConfigError> {
        for chamber in &self.chambers {
            ConfigError::unless_in("area_m2", chamber.area_m2, 1e-5..=10.0)?;
            ConfigError::unless_in("dead_volume_m3", chamber.dead_volume_m3, 1e-7..=10.0)?;
        }
        if let Some(spring) = &self.spring {
            ConfigError::unless_in("preload_n", spring.preload_n, 0.0..=1e7)?;
            ConfigError::unless_in("rate_n_per_m", spring.rate_n_per_m, 0.0..=1e9)?;
        }
        let needs = match self.action {
            Action::AirOpens => Some((Pushes::Closed, "closed")),
            Action::AirCloses => Some((Pushes::Open, "open")),
            Action::Double => None,
        };
        match (needs, self.spring.map(|s| s.pushes)) {
            (Some((wanted, words)), has) if has != Some(wanted) => {
                let why = format!(
                    "a single-acting actuator needs a spring against its air, one that pushes {words}"
                );
                Err(ConfigError { field: "spring", why })
            }
            _ => Ok(()),
        }
    }
}

/// Volume of a chamber at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Volume {
    /// Volume, m³.
    pub m3: f64,
    /// Change for each metre towards open, m³/m: the area with its sign.
    pub m3_per_m: f64,
}

/// An actuator on a valve of a certain stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Actuator {
    config: ActuatorConfig,
    stroke_m: f64,
    /// Share of the spring that still pushes, 0 to 1.
    spring_share: f64,
}

impl Actuator {
    /// # Errors
    /// As [`ActuatorConfig::check`], or a stroke outside 0.001 to 10 m.
    pub fn new(config: ActuatorConfig, stroke_m: f64) -> Result<Actuator, ConfigError> {
        config.check()?;
        ConfigError::unless_in("stroke_m", stroke_m, 1e-3..=10.0)?;
        Ok(Actuator { config, stroke_m, spring_share: 1.0 })
    }

    /// The set-up.
    pub fn config(&self) -> &ActuatorConfig {
        &self.config
    }

    /// Breaks a share of the spring, 0 to 1: of several springs beside each other so much pushes no more.
    ///
    /// # Errors
    /// A share outside 0 to 1.
    pub fn break_spring(&mut self, share: f64) -> Result<(), ConfigError> {
        self.spring_share = 1.0 - ConfigError::unless_in("share", share, 0.0..=1.0)?;
        Ok(())
    }

    /// How many chambers get air: 1 or 2.
    pub fn fed_chambers(&self) -> usize {
        if self.config.action == Action::Double { 2 } else { 1 }
    }

    /// +1 where air in a chamber opens, -1 where it closes.
    fn sides(&self) -> [f64; 2] {
        if self.config.action == Action::AirCloses { [-1.0, 1.0] } else { [1.0, -1.0] }
    }

    /// Volumes of both chambers at a place. Never below a tenth of the dead volume: a stop that was moved beyond the rated
    /// stroke takes away room that has to be there (own choice).
    pub fn volumes(&self, stem_m: f64) -> [Volume; 2] {
        let sides = self.sides();
        core::array::from_fn(|i| {
            let ChamberSize { area_m2, dead_volume_m3 } = self.config.chambers[i];
            let way = if sides[i] > 0.0 { stem_m } else { self.stroke_m - stem_m };
            Volume {
                m3: (dead_volume_m3 + area_m2 * way).max(0.1 * dead_volume_m3),
                m3_per_m: sides[i] * area_m2,
            }
        })
    }

    /// Force of the chambers' pressures, Pa absolute. The second pressure counts only where two chambers are fed.
    ///
    /// Each exponent says how much the air resists when its room changes during the step: that of the chamber, 1 to
    /// 1.4, or 0 for pressures that do not change.
    pub fn pressure_force(&self, stem_m: f64, pressures_pa: [f64; 2], exponents: [f64; 2]) -> Force {
        let (sides, volumes) = (self.sides(), self.volumes(stem_m));
        let mut sum = Force::default();
        for i in 0..self.fed_chambers() {
            let area = self.config.chambers[i].area_m2;
            sum.n += sides[i] * area * (pressures_pa[i] - ATMOSPHERE_PA);
            sum.n_per_m -= exponents[i] * pressures_pa[i] * area * area / volumes[i].m3;
        }
        sum
    }

    /// Force of the spring at a place; a spring pulls nowhere.
    pub fn spring_force(&self, stem_m: f64) -> Force {
        let Some(spring) = &self.config.spring else {
            return Force::default();
        };
        let (side, compressed) = match spring.pushes {
            Pushes::Open => (1.0, self.stroke_m - stem_m),
            Pushes::Closed => (-1.0, stem_m),
        };
        let n = spring.preload_n + spring.rate_n_per_m * compressed;
        if n <= 0.0 {
            return Force::default();
        }
        Force { n: side * n * self.spring_share, n_per_m: -spring.rate_n_per_m * self.spring_share }
    }

    /// Energy that the spring holds at a place, J, counted from the end of the rated stroke to which it pushes.
    pub fn spring_store_j(&self, stem_m: f64) -> f64 {
        let Some(spring) = &self.config.spring else {
            return 0.0;
        };
        let compressed = if spring.pushes == Pushes::Open { self.stroke_m - stem_m } else { stem_m };
        (spring.preload_n + 0.5 * spring.rate_n_per_m * compressed) * compressed * self.spring_share
    }

    /// Gauge pressure in chamber 1 that holds the spring alone at a place, Pa: single-acting only, no friction, no
    /// process. `None` of a double-acting actuator.
    pub fn balance_gauge_pa(&self, stem_m: f64) -> Option<f64> {
        let single = self.config.action != Action::Double;
        single.then(|| self.spring_force(stem_m).n.abs() / self.config.chambers[0].area_m2)
    }
}
