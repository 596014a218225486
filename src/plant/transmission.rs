//! From the way of the piston to the angle of a shaft, and what hangs on the shaft [PL-16].

use super::ConfigError;
use core::f64::consts::TAU;

/// How the stem or piston is joined to what turns.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Transmission {
    /// Nothing turns: a stem. The default.
    #[default]
    Stem,
    /// Rack and pinion: the angle is way over radius.
    Rack {
        /// Of the pinion, m: 0.001 to 1.
        radius_m: f64,
    },
    /// Scotch yoke, symmetric about half the stroke: the pin's line passes the shaft at a distance, so that
    /// tan(angle from the middle) = way from the middle / distance, and the arm is longest at both ends.
    Yoke {
        /// From the shaft to the pin's line, m: 0.001 to 1. Half the stroke for 90 degrees.
        distance_m: f64,
    },
}

impl Transmission {
    /// # Errors
    /// A value outside its range, or more than half a turn for the stroke.
    pub fn check(&self, stroke_m: f64) -> Result<(), ConfigError> {
        match *self {
            Transmission::Stem => return Ok(()),
            Transmission::Rack { radius_m } => ConfigError::unless_in("radius_m", radius_m, 1e-3..=1.0)?,
            Transmission::Yoke { distance_m } => {
                ConfigError::unless_in("distance_m", distance_m, 1e-3..=1.0)?
            }
        };
        let turn_rad = self.shaft_rad(stroke_m, stroke_m).unwrap_or(0.0);
        if turn_rad > TAU / 2.0 {
            let why =
                format!("{:.0} degrees for the stroke are more than half a turn", turn_rad.to_degrees());
            return Err(ConfigError { field: "transmission", why });
        }
        Ok(())
    }

    /// Angle of the shaft, rad, 0 at the closed stop of the rated stroke and positive towards open; `None` of a stem.
    pub fn shaft_rad(&self, stem_m: f64, stroke_m: f64) -> Option<f64> {
        match *self {
            Transmission::Stem => None,
            Transmission::Rack { radius_m } => Some(stem_m / radius_m),
            Transmission::Yoke { distance_m } => {
                let half = 0.5 * stroke_m;
                Some(((stem_m - half) / distance_m).atan() + (half / distance_m).atan())
            }
        }
    }

    /// The way that belongs to an angle, m; `None` of a stem, and of an angle that a yoke cannot reach.
    pub fn stem_m(&self, shaft_rad: f64, stroke_m: f64) -> Option<f64> {
        match *self {
            Transmission::Stem => None,
            Transmission::Rack { radius_m } => Some(shaft_rad * radius_m),
            Transmission::Yoke { distance_m } => {
                let half = 0.5 * stroke_m;
                let from_middle = shaft_rad - (half / distance_m).atan();
                (from_middle.abs() < TAU / 4.0).then(|| half + distance_m * from_middle.tan())
            }
        }
    }

    /// Angle for each metre, rad/m: torque times this is the force at the piston. 0 of a stem.
    pub fn shaft_rad_per_m(&self, stem_m: f64, stroke_m: f64) -> f64 {
        match *self {
            Transmission::Stem => 0.0,
            Transmission::Rack { radius_m } => 1.0 / radius_m,
            Transmission::Yoke { distance_m } => {
                let x = stem_m - 0.5 * stroke_m;
                distance_m / (distance_m * distance_m + x * x)
            }
        }
    }
}

/// What the shaft of a part-turn valve asks for. Both torques rub: they hold against turning either way.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ShaftLoad {
    /// Torque while it turns, N m: 0 to 1e6.
    pub running_nm: f64,
    /// Torque to break it away from shut, N m: `running_nm` to 1e6. It fades to `running_nm` as it opens.
    pub break_nm: f64,
    /// Angle over which it fades, rad: 0 (only at the seat) to 1.6.
    pub fade_rad: f64,
    /// Of what turns, kg m²: 0 to 1e5.
    pub inertia_kg_m2: f64,
}

impl ShaftLoad {
    /// # Errors
    /// A value outside its range.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("running_nm", self.running_nm, 0.0..=1e6)?;
        ConfigError::unless_in("break_nm", self.break_nm, self.running_nm..=1e6)?;
        ConfigError::unless_in("fade_rad", self.fade_rad, 0.0..=1.6)?;
        ConfigError::unless_in("inertia_kg_m2", self.inertia_kg_m2, 0.0..=1e5)?;
        Ok(())
    }

    /// Torque that rubs at an angle from shut, N m.
    pub fn torque_nm(&self, shaft_rad: f64) -> f64 {
        self.running_nm + fading(self.break_nm - self.running_nm, shaft_rad, self.fade_rad)
    }
}

/// What is left of `whole` at `at`, if it fades evenly to nothing at `over`.
pub(super) fn fading(whole: f64, at: f64, over: f64) -> f64 {
    if at <= 0.0 {
        whole
    } else if at >= over {
        0.0
    } else {
        whole * (1.0 - at / over)
    }
}
