//! How a valve is set up: all its parts, and three examples.

use crate::plant::ConfigError;
use crate::plant::actuator::{Action, Actuator, ActuatorConfig, ChamberSize, ProcessForce, Pushes, Spring};
use crate::plant::air::{Restriction, TEMPERATURE_K};
use crate::plant::air_path::{AirConfig, TankConfig};
use crate::plant::chamber::{ChamberConfig, Grows};
use crate::plant::fail::{FailConfig, StoredAirConfig};
use crate::plant::friction::FrictionConfig;
use crate::plant::linearise::{LeverLaw, Straightened};
use crate::plant::linkage::{Law, LinkageConfig, Sense};
use crate::plant::motion::{MovingConfig, Seat};
use crate::plant::sensor::SensorConfig;
use crate::plant::stage::{StageConfig, StageKind};
use crate::plant::supply::{RegulatorConfig, SupplyConfig};
use crate::plant::transmission::{ShaftLoad, Transmission};

/// The tubing from an output to its chamber.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TubingConfig {
    /// What it passes.
    pub restriction: Restriction,
    /// Volume of fitting and tubing, m3, 1e-6 to 0.01.
    pub volume_m3: f64,
}

/// A whole valve [PL-30]. Default: [`ValveConfig::reference`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ValveConfig {
    /// Header, filter, regulator, line.
    pub supply: SupplyConfig,
    /// I/P converter and output stage, with what it leaks; other faults are injected.
    pub stage: StageConfig,
    /// The tubing, alike for both outputs.
    pub tubing: TubingConfig,
    /// Polytropic exponent of the chambers, 1 (isothermal) to 1.4 (adiabatic).
    pub exponent: f64,
    /// Areas, volumes, spring.
    pub actuator: ActuatorConfig,
    /// Mass, stroke, friction, seat, shaft.
    pub moving: MovingConfig,
    /// Force of the process.
    pub process: ProcessForce,
    /// Lever or coupling.
    pub linkage: LinkageConfig,
    /// The sensor on its shaft.
    pub sensor: SensorConfig,
    /// Trip valve, lock-up valve, stored air.
    pub fail: FailConfig,
    /// Temperature of all air, K, 200 to 400.
    pub temperature_k: f64,
    /// The step, s, 1e-5 to 5e-3. Whole nanoseconds. Usual 1e-3.
    pub step_s: f64,
}

impl Default for ValveConfig {
    fn default() -> Self {
        ValveConfig::reference()
    }
}

impl ValveConfig {
    /// The invented reference actuator, single-acting, air opens, 20 mm, with a supply and tubing so wide that
    /// the stage alone restricts, and a pilot without lag [PL-31].
    pub fn reference() -> ValveConfig {
        let wide = Restriction::usual(2e-7);
        let mut actuator = ActuatorConfig::reference();
        // With the fitting's 1 cm3 the dead volume is the half litre of the figures.
        actuator.chambers[0].dead_volume_m3 = 0.499e-3;
        ValveConfig {
            supply: SupplyConfig {
                header_gauge_pa: 6e5,
                filter: wide,
                filter_blocked_share: 0.0,
                regulator: Some(RegulatorConfig { set_gauge_pa: 1.4e5, band_pa: 2e3, restriction: wide }),
                regulated_volume_m3: 2e-4,
                line: wide,
                inlet_volume_m3: 1e-4,
            },
            stage: StageConfig { lag_s: 0.0, ..StageConfig::default() },
            tubing: TubingConfig { restriction: wide, volume_m3: 1e-6 },
            exponent: 1.0,
            actuator,
            moving: MovingConfig::reference(),
            process: ProcessForce::default(),
            linkage: LinkageConfig::new(Law::tangent_for(0.02, 30f64.to_radians())),
            sensor: SensorConfig::default(),
            fail: FailConfig::default(),
            temperature_k: TEMPERATURE_K,
            step_s: 1e-3,
        }
    }

    /// A double-acting piston without a spring, 40 mm, 5 bar, whose outputs both stand under pressure at rest; a tank of
    /// stored air closes it when the supply is gone. Invented.
    pub fn double_acting() -> ValveConfig {
        let chamber = ChamberSize { area_m2: 0.012, dead_volume_m3: 0.2e-3 };
        let mut config = ValveConfig::field(5e5);
        config.stage.kind = StageKind::PressurisedAtRest { rest_opening: 0.03 };
        config.actuator =
            ActuatorConfig { action: Action::Double, chambers: [chamber, chamber], spring: None };
        config.moving = MovingConfig {
            stroke_m: 0.04,
            mass_kg: 6.0,
            friction: FrictionConfig { coulomb_n: 250.0, static_n: 320.0, ..FrictionConfig::reference() },
            ..MovingConfig::reference()
        };
        config.linkage = LinkageConfig::new(Law::sine_for(0.04, 30f64.to_radians()));
        config.fail.stored_air = Some(StoredAirConfig {
            tank: TankConfig { volume_m3: 10e-3, check_valve: Restriction::usual(1e-8) },
            feed: Restriction::usual(1e-8),
            vent: Restriction::usual(1e-8),
            switches_below_gauge_pa: 3e5,
            difference_pa: 0.3e5,
            opens: false,
        });
        config
    }

    /// A part-turn ball valve on a rack and pinion with a spring that closes it, 90 degrees, 5 bar. Invented.
    pub fn part_turn() -> ValveConfig {
        let (stroke_m, turn_rad) = (0.06, 90f64.to_radians());
        let chamber = ChamberSize { area_m2: 0.01, dead_volume_m3: 0.15e-3 };
        let mut config = ValveConfig::field(5e5);
        config.actuator = ActuatorConfig {
            action: Action::AirOpens,
            chambers: [chamber, chamber],
            spring: Some(Spring { pushes: Pushes::Closed, preload_n: 1500.0, rate_n_per_m: 20e3 }),
        };
        config.moving = MovingConfig {
            stroke_m,
            mass_kg: 3.0,
            friction: FrictionConfig { coulomb_n: 80.0, static_n: 110.0, ..FrictionConfig::reference() },
            bristle: None,
            seat: Seat { grip_n: 0.0, fade_m: 0.0 },
            transmission: Transmission::Rack { radius_m: stroke_m / turn_rad },
            shaft: ShaftLoad { running_nm: 8.0, break_nm: 20.0, fade_rad: 0.1, inertia_kg_m2: 0.02 },
        };
        config.linkage = LinkageConfig::new(Law::part_turn_for(turn_rad));
        config
    }

    /// Supply, stage and tubing as in the field, around the reference actuator.
    fn field(set_gauge_pa: f64) -> ValveConfig {
        let mut config = ValveConfig::reference();
        config.supply = SupplyConfig::default();
        config.supply.header_gauge_pa = 7e5;
        if let Some(regulator) = &mut config.supply.regulator {
            regulator.set_gauge_pa = set_gauge_pa;
        }
        config.stage = StageConfig::default();
        let chamber = ChamberConfig::default();
        config.tubing = TubingConfig { restriction: chamber.tubing, volume_m3: chamber.tubing_volume_m3 };
        config
    }

    /// Whether a valve can be built like this.
    ///
    /// # Errors
    /// Names the first field that is wrong, and says why.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("step_s", self.step_s, 1e-5..=5e-3)?;
        self.actuator.check()?;
        self.moving.check()?;
        self.process.check()?;
        self.air().check()?;
        let faults = &self.stage.faults;
        if faults.stuck_at.is_some() || faults.zero_drift != 0.0 || faults.dirt_share != 0.0 {
            let why = "a valve is set up sound: inject a fault by its name instead";
            return Err(ConfigError { field: "stage_faults", why: why.to_string() });
        }
        Actuator::new(self.actuator, self.moving.stroke_m)?;
        let turns = self.moving.transmission != Transmission::Stem;
        if self.linkage.law.is_part_turn() != turns {
            let (has, wants) = match turns {
                true => ("turns a shaft", "a coupling (part-turn law)"),
                false => ("moves a stem", "a lever (tangent or sine law)"),
            };
            return Err(ConfigError { field: "linkage", why: format!("a valve that {has} needs {wants}") });
        }
        self.linkage.check(0.0, self.open_m_or_rad())?;
        self.sensor.check()?;
        for (end, at) in [("closed", 0.0), ("open", self.open_m_or_rad())] {
            let rad = self.healthy_rad(at);
            if !(self.sensor.min_rad..=self.sensor.max_rad).contains(&rad) {
                let why = format!(
                    "at the {end} stop the lever is at {:.1} degrees, outside the sensor's {:.1} to {:.1}",
                    rad.to_degrees(),
                    self.sensor.min_rad.to_degrees(),
                    self.sensor.max_rad.to_degrees()
                );
                return Err(ConfigError { field: "sensor", why });
            }
        }
        self.straightened()?;
        self.fail.check(self.actuator.action == Action::Double)
    }

    /// Where the valve stands when it is open, in the linkage's coordinate: m of a stem, rad of a shaft.
    pub fn open_m_or_rad(&self) -> f64 {
        let stroke_m = self.moving.stroke_m;
        self.moving.transmission.shaft_rad(stroke_m, stroke_m).unwrap_or(stroke_m)
    }

    /// Angle of the sensor's shaft with a healthy linkage, rad, at a place in the linkage's coordinate.
    pub fn healthy_rad(&self, at_m_or_rad: f64) -> f64 {
        let sign = if self.linkage.sense == Sense::Falling { -1.0 } else { 1.0 };
        sign * self.linkage.law.lever_rad(at_m_or_rad)
    }

    /// What makes of a sensed angle a share of the travel: the linkage as it was set up [PL-25] [PL-30].
    ///
    /// # Errors
    /// The angles of both stops are too close together or too far from square.
    pub fn straightened(&self) -> Result<Straightened, ConfigError> {
        let law = match self.linkage.law {
            Law::Tangent { .. } => LeverLaw::Tangent,
            Law::Sine { .. } => LeverLaw::Sine,
            Law::PartTurn { .. } => LeverLaw::Direct,
        };
        Straightened::new(law, self.healthy_rad(0.0), self.healthy_rad(self.open_m_or_rad()), 0.0)
    }

    /// The air's share of the set-up.
    pub(super) fn air(&self) -> AirConfig {
        let chamber = |i: usize| {
            let ChamberSize { area_m2, dead_volume_m3 } = self.actuator.chambers[i];
            let opens = (i == 0) != (self.actuator.action == Action::AirCloses);
            ChamberConfig {
                dead_volume_m3,
                area_m2,
                grows: if opens { Grows::Opening } else { Grows::Closing },
                exponent: self.exponent,
                tubing: self.tubing.restriction,
                tubing_volume_m3: self.tubing.volume_m3,
                tubing_leak: Restriction::SHUT,
                leak: Restriction::SHUT,
            }
        };
        AirConfig {
            supply: self.supply,
            stage: self.stage,
            first: chamber(0),
            second: (self.actuator.action == Action::Double).then(|| chamber(1)),
            tank: self.fail.stored_air.map(|stored| stored.tank),
            stroke_m: self.moving.stroke_m,
            temperature_k: self.temperature_k,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(change: fn(&mut ValveConfig)) -> &'static str {
        let mut config = ValveConfig::reference();
        change(&mut config);
        config.check().map_or_else(|e| e.field, |()| "nothing")
    }

    #[test]
    fn what_cannot_be_built_is_refused() {
        for config in [ValveConfig::reference(), ValveConfig::double_acting(), ValveConfig::part_turn()] {
            assert_eq!(config.check(), Ok(()));
        }
        assert_eq!(refused(|c| c.step_s = 0.0), "step_s");
        assert_eq!(refused(|c| c.step_s = f64::NAN), "step_s");
        assert_eq!(refused(|c| c.exponent = 2.0), "exponent");
        assert_eq!(refused(|c| c.temperature_k = 20.0), "temperature_k");
        assert_eq!(refused(|c| c.stage.faults.dirt_share = 0.5), "stage_faults");
        assert_eq!(refused(|c| c.linkage.law = Law::part_turn_for(1.5)), "linkage");
        assert_eq!(refused(|c| c.sensor.max_rad = 0.4), "sensor");
        assert_eq!(refused(|c| c.actuator.spring = None), "spring");
        assert_eq!(refused(|c| c.fail = ValveConfig::double_acting().fail), "stored_air");
        assert_eq!(refused(|c| c.moving.stroke_m = -1.0), "stroke_m");
    }

    /// 20 mm at 30 degrees to each side: from -0.5236 to 0.5236 rad, and the share of travel follows the law.
    #[test]
    fn the_sensor_is_read_as_the_linkage_was_set_up() {
        let mut config = ValveConfig::reference();
        for sense in [Sense::Rising, Sense::Falling] {
            config.linkage.sense = sense;
            let sign = if sense == Sense::Rising { 1.0 } else { -1.0 };
            let straightened = config.straightened().expect("usable");
            assert!((config.healthy_rad(0.02) - sign * 30f64.to_radians()).abs() < 1e-12);
            for share in [0.0, 0.3, 0.5, 1.0] {
                assert!((straightened.share(config.healthy_rad(0.02 * share)) - share).abs() < 1e-12);
            }
        }
    }
}
