//! From a sensed angle back to the share of travel: what electronics can do about a lever's law [PL-25].

#[cfg(test)]
mod tests;

use super::ConfigError;
use core::f64::consts::FRAC_PI_2;

/// The law that electronics take the lever to have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeverLaw {
    /// Pin on the stem, slot in the lever [PL-20].
    Tangent,
    /// Pin on the lever, slot on the stem [PL-20].
    Sine,
    /// None: travel is taken to be linear in the angle, as it is for a shaft [PL-21, PL-22].
    Direct,
}

impl LeverLaw {
    /// Largest angle from square that [`Straightened`] works with, rad; larger ones count as this.
    fn largest_rad(self) -> f64 {
        match self {
            LeverLaw::Tangent => 85f64.to_radians(),
            LeverLaw::Sine => FRAC_PI_2,
            LeverLaw::Direct => 1e3,
        }
    }

    /// Way of the pin in units of distance or radius, at this angle from square.
    fn way(self, rad: f64) -> f64 {
        let rad = rad.clamp(-self.largest_rad(), self.largest_rad());
        match self {
            LeverLaw::Tangent => rad.tan(),
            LeverLaw::Sine => rad.sin(),
            LeverLaw::Direct => rad,
        }
    }

    fn rad(self, way: f64) -> f64 {
        match self {
            LeverLaw::Tangent => way.atan(),
            LeverLaw::Sine => way.clamp(-1.0, 1.0).asin(),
            LeverLaw::Direct => way,
        }
    }
}

/// The way between a sensed angle and the share of travel, fixed by the angles of both end stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Straightened {
    law: LeverLaw,
    square_rad: f64,
    closed_way: f64,
    open_way: f64,
}

impl Straightened {
    /// Between the sensed angles of both end stops; the lever is taken to be square to the stem at the sensed angle `square_rad`,
    /// in the middle or not. Opening may raise the angle or lower it.
    ///
    /// # Errors
    /// The angles are less than 1 degree apart, or more than 80 degrees from square for a tangent law and 85 for a sine law.
    pub fn new(
        law: LeverLaw,
        closed_rad: f64,
        open_rad: f64,
        square_rad: f64,
    ) -> Result<Straightened, ConfigError> {
        let most_rad = match law {
            LeverLaw::Tangent => 80f64.to_radians(),
            LeverLaw::Sine => 85f64.to_radians(),
            LeverLaw::Direct => 7.0,
        };
        ConfigError::unless_in("square_rad", square_rad, -7.0..=7.0)?;
        let around = square_rad - most_rad..=square_rad + most_rad;
        ConfigError::unless_in("closed_rad", closed_rad, around.clone())?;
        ConfigError::unless_in("open_rad", open_rad, around)?;
        if (open_rad - closed_rad).abs() < 1f64.to_radians() {
            let why = format!("{open_rad} is within 1 degree of the closed stop's {closed_rad}");
            return Err(ConfigError { field: "open_rad", why });
        }
        let (closed_way, open_way) = (law.way(closed_rad - square_rad), law.way(open_rad - square_rad));
        Ok(Straightened { law, square_rad, closed_way, open_way })
    }

    /// As [`Straightened::new`], with a lever that is taken to be square in the middle between both angles.
    ///
    /// # Errors
    /// As [`Straightened::new`].
    pub fn centred(law: LeverLaw, closed_rad: f64, open_rad: f64) -> Result<Straightened, ConfigError> {
        Straightened::new(law, closed_rad, open_rad, (closed_rad + open_rad) / 2.0)
    }

    /// Share of travel at a sensed angle: 0 at the closed stop, 1 at the open one, outside of that beyond them.
    pub fn share(&self, sensed_rad: f64) -> f64 {
        (self.law.way(sensed_rad - self.square_rad) - self.closed_way) / (self.open_way - self.closed_way)
    }

    /// Sensed angle, rad, at a share of travel: the inverse of [`Straightened::share`].
    pub fn rad(&self, share: f64) -> f64 {
        self.square_rad + self.law.rad(self.closed_way + share * (self.open_way - self.closed_way))
    }
}
