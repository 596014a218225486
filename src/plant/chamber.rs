//! An actuator's chamber with its tubing, and what leaks [PL-07].

use super::ConfigError;
use super::air::Restriction;

/// Which way of the stem makes a chamber larger.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grows {
    /// Opening: air in it opens the valve.
    Opening,
    /// Closing: air in it closes the valve.
    Closing,
}

/// A chamber and the tubing that leads to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChamberConfig {
    /// Volume when it is smallest, m3, 1e-6 to 1.
    pub dead_volume_m3: f64,
    /// Area of the piston or diaphragm on this side, m2, 0 to 2.
    pub area_m2: f64,
    /// When it grows.
    pub grows: Grows,
    /// Polytropic exponent, 1 (isothermal) to 1.4 (adiabatic).
    pub exponent: f64,
    /// The tubing from the stage's output.
    pub tubing: Restriction,
    /// Volume of fitting and tubing at the stage's output, m3, 1e-6 to 0.01.
    pub tubing_volume_m3: f64,
    /// Leak of the tubing, between the stage's output and the tubing's restriction.
    pub tubing_leak: Restriction,
    /// Leak of the diaphragm or the piston to the atmosphere.
    pub leak: Restriction,
}

impl Default for ChamberConfig {
    /// The invented reference actuator's: 350 cm2, 0.5 dm3 at the closed stop, isothermal [PL-07].
    fn default() -> ChamberConfig {
        ChamberConfig {
            dead_volume_m3: 0.5e-3,
            area_m2: 350e-4,
            grows: Grows::Opening,
            exponent: 1.0,
            tubing: Restriction::line(6e-3, 0.5),
            tubing_volume_m3: 15e-6,
            tubing_leak: Restriction::SHUT,
            leak: Restriction::SHUT,
        }
    }
}

impl ChamberConfig {
    /// What is wrong with it.
    ///
    /// # Errors
    /// The first value outside its range.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("dead_volume_m3", self.dead_volume_m3, 1e-6..=1.0)?;
        ConfigError::unless_in("area_m2", self.area_m2, 0.0..=2.0)?;
        ConfigError::unless_in("exponent", self.exponent, 1.0..=1.4)?;
        self.tubing.check("tubing")?;
        ConfigError::unless_in("tubing_volume_m3", self.tubing_volume_m3, 1e-6..=0.01)?;
        self.tubing_leak.check("tubing_leak")?;
        self.leak.check("leak")
    }

    /// Its volume with the stem at `stem_m`, m, of a stroke `stroke_m`, m; beyond the stops as at the stops.
    pub fn volume_m3(&self, stem_m: f64, stroke_m: f64) -> f64 {
        let way_m = stem_m.max(0.0).min(stroke_m);
        let way_m = match self.grows {
            Grows::Opening => way_m,
            Grows::Closing => stroke_m - way_m,
        };
        self.dead_volume_m3 + self.area_m2 * way_m
    }

    /// Rise of its pressure, Pa, for each metre that the stem opens, no air coming or going: -n p dV/V.
    pub fn air_spring_pa_per_m(&self, pressure_pa: f64, stem_m: f64, stroke_m: f64) -> f64 {
        let stiff = self.exponent * pressure_pa * self.area_m2 / self.volume_m3(stem_m, stroke_m);
        match self.grows {
            Grows::Opening => -stiff,
            Grows::Closing => stiff,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // 0.5 dm3 and 350 cm2: 0.85 dm3 at 10 mm, 1.2 dm3 at 20 mm.
    #[test]
    fn volume_follows_the_stem() {
        let one = ChamberConfig::default();
        let two = ChamberConfig { grows: Grows::Closing, ..one };
        for (stem_m, first, second) in
            [(0.0, 0.5e-3, 1.2e-3), (0.01, 0.85e-3, 0.85e-3), (0.03, 1.2e-3, 0.5e-3)]
        {
            assert!((one.volume_m3(stem_m, 0.02) - first).abs() < 1e-12);
            assert!((two.volume_m3(stem_m, 0.02) - second).abs() < 1e-12);
        }
        assert!((one.volume_m3(f64::NAN, 0.02) - 0.5e-3).abs() < 1e-12);
    }

    // 1.4 x 2e5 Pa x 0.035 m2/0.85e-3 m3 = 11.529 MPa/m.
    #[test]
    fn the_air_spring() {
        let one = ChamberConfig { exponent: 1.4, ..ChamberConfig::default() };
        let two = ChamberConfig { grows: Grows::Closing, ..one };
        assert!((one.air_spring_pa_per_m(2e5, 0.01, 0.02) + 11.529e6).abs() < 1e3);
        assert!((two.air_spring_pa_per_m(2e5, 0.01, 0.02) - 11.529e6).abs() < 1e3);
    }
}
