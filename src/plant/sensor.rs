//! The sensor on the lever's shaft: what its electronics read, which is not what is true [PL-24].

#[cfg(test)]
mod tests;

use super::ConfigError;
use oorandom::Rand32;

/// A sensor of an angle. The defaults are our own choices [PL-24].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorConfig {
    /// Smallest angle that it can tell, rad, -7 to 7.
    pub min_rad: f64,
    /// Largest one, rad: at least 0.01 more.
    pub max_rad: f64,
    /// One step of its converter, rad; 0 for none, at most an eighth of the range.
    pub resolution_rad: f64,
    /// Noise of a single reading, rms, rad, 0 to 1. Readings are independent of each other.
    pub noise_rms_rad: f64,
    /// Time from reading to reading, s, 0 to 10; in between the last one is held. 0 or less than the step: one reading a step.
    pub interval_s: f64,
    /// Fastest turn of a lever that the electronics believe, rad/s, 0.01 to 1000.
    pub fastest_rad_per_s: f64,
}

impl Default for SensorConfig {
    fn default() -> SensorConfig {
        let half_rad = 60f64.to_radians();
        SensorConfig {
            min_rad: -half_rad,
            max_rad: half_rad,
            resolution_rad: 2.0 * half_rad / 16_384.0,
            noise_rms_rad: 1e-4,
            interval_s: 0.005,
            fastest_rad_per_s: 20.0,
        }
    }
}

impl SensorConfig {
    /// Whether all numbers are within their ranges.
    ///
    /// # Errors
    /// One is not.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("min_rad", self.min_rad, -7.0..=7.0)?;
        ConfigError::unless_in("max_rad", self.max_rad, self.min_rad + 0.01..=7.01)?;
        ConfigError::unless_in(
            "resolution_rad",
            self.resolution_rad,
            0.0..=(self.max_rad - self.min_rad) / 8.0,
        )?;
        ConfigError::unless_in("noise_rms_rad", self.noise_rms_rad, 0.0..=1.0)?;
        ConfigError::unless_in("interval_s", self.interval_s, 0.0..=10.0)?;
        ConfigError::unless_in("fastest_rad_per_s", self.fastest_rad_per_s, 0.01..=1000.0)?;
        Ok(())
    }
}

/// What a worn spot does to a reading that it hits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum WearKind {
    /// It jumps to either side by up to this times the severity, rad, 0 to 7.
    Jumps {
        /// Largest jump at severity 1, rad.
        up_to_rad: f64,
    },
    /// Contact is lost: the reading shows the lower end of the range.
    DropsOut,
}

/// A worn spot between two true angles of the sensor's shaft [PL-24].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wear {
    /// Where it begins, rad.
    pub from_rad: f64,
    /// Where it ends, rad, not below its begin.
    pub to_rad: f64,
    /// Chance of a reading there to be hit, 0 to 1; it also scales jumps.
    pub severity: f64,
    /// What happens then.
    pub kind: WearKind,
}

/// What is wrong with the sensor at present; the default is nothing.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct SensorFault {
    /// Error of its zero, rad, -7 to 7.
    pub zero_rad: f64,
    /// How fast its zero drifts, rad/s, -1 to 1. What has gathered, 7 rad at most, is lost when this is set
    /// back to 0.
    pub drift_rad_per_s: f64,
    /// A worn spot.
    pub wear: Option<Wear>,
    /// Another range than it was made for, least and largest angle, rad, -7 to 7: mounted turned, or track broken off.
    pub range_rad: Option<(f64, f64)>,
}

impl SensorFault {
    /// Whether all numbers are within their ranges.
    ///
    /// # Errors
    /// One is not.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("zero_rad", self.zero_rad, -7.0..=7.0)?;
        ConfigError::unless_in("drift_rad_per_s", self.drift_rad_per_s, -1.0..=1.0)?;
        if let Some((min_rad, max_rad)) = self.range_rad {
            ConfigError::unless_in("range_rad", min_rad, -7.0..=7.0)?;
            ConfigError::unless_in("range_rad", max_rad, min_rad..=7.0)?;
        }
        if let Some(wear) = self.wear {
            ConfigError::unless_in("from_rad", wear.from_rad, -7.0..=7.0)?;
            ConfigError::unless_in("to_rad", wear.to_rad, wear.from_rad..=7.0)?;
            ConfigError::unless_in("severity", wear.severity, 0.0..=1.0)?;
            if let WearKind::Jumps { up_to_rad } = wear.kind {
                ConfigError::unless_in("up_to_rad", up_to_rad, 0.0..=7.0)?;
            }
        }
        Ok(())
    }
}

/// An end of the sensor's range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The smallest angle.
    Low,
    /// The largest one.
    High,
}

/// What the electronics get from the sensor: nothing in it knows the truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sensed {
    /// The last reading, rad, within the sensor's range.
    pub rad: f64,
    /// The end of the range at which it stands: the angle may be beyond it.
    pub at_end: Option<End>,
    /// Whether it differs from the reading before by more than a lever can turn in that time, with noise and
    /// steps of both allowed for.
    pub jumped: bool,
    /// Whether it was taken in this step and not held from an earlier one.
    pub fresh: bool,
}

/// What the bench knows about the last reading and the electronics do not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorTruth {
    /// Angle of the shaft when it was taken, rad.
    pub sensor_rad: f64,
    /// Reading less that angle, rad.
    pub error_rad: f64,
    /// Whether a worn spot hit it.
    pub hit_by_wear: bool,
}

/// A sensor at work. The same config, seed and inputs give the same readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensor {
    config: SensorConfig,
    fault: SensorFault,
    // Wear has dice of its own, so that a fault does not change the noise of a run.
    noise: Rand32,
    wear: Rand32,
    drifted_rad: f64,
    /// Since the last reading.
    since_s: f64,
    /// Until the next one; what a step overshot is carried.
    due_s: f64,
    now: Option<(Sensed, SensorTruth)>,
}

impl Sensor {
    /// A healthy sensor; its first step takes a reading.
    ///
    /// # Errors
    /// As [`SensorConfig::check`].
    pub fn new(config: SensorConfig, seed: u64) -> Result<Sensor, ConfigError> {
        config.check()?;
        Ok(Sensor {
            config,
            fault: SensorFault::default(),
            noise: Rand32::new(seed),
            wear: Rand32::new(!seed),
            drifted_rad: 0.0,
            since_s: 0.0,
            due_s: config.interval_s,
            now: None,
        })
    }

    /// How it was set up.
    pub fn config(&self) -> &SensorConfig {
        &self.config
    }

    /// What is wrong with it.
    pub fn fault(&self) -> &SensorFault {
        &self.fault
    }

    /// From the next reading on this is wrong with it.
    ///
    /// # Errors
    /// As [`SensorFault::check`]; then nothing changes.
    pub fn set_fault(&mut self, fault: SensorFault) -> Result<(), ConfigError> {
        fault.check()?;
        if fault.drift_rad_per_s == 0.0 {
            self.drifted_rad = 0.0;
        }
        self.fault = fault;
        Ok(())
    }

    /// The last reading; None before the first step.
    pub fn sensed(&self) -> Option<Sensed> {
        self.now.map(|(sensed, _)| sensed)
    }

    /// The truth about the last reading; None before the first step.
    pub fn truth(&self) -> Option<SensorTruth> {
        self.now.map(|(_, truth)| truth)
    }

    /// A step of `dt_s` with the sensor's shaft truly at `sensor_rad` at its end. Takes a reading if it is the first
    /// step or time for one. Steps that are shorter than the interval and divide it all give readings at the same
    /// times with the same noise.
    ///
    /// An angle that is no number is read as the one before, or as 0.
    pub fn step(&mut self, dt_s: f64, sensor_rad: f64) -> Sensed {
        let dt_s = if dt_s.is_finite() { dt_s.max(0.0) } else { 0.0 };
        self.since_s += dt_s;
        self.due_s -= dt_s;
        // Sums of steps miss the interval by a rounding; a reading must not wait a whole step for that.
        let due = self.due_s <= self.config.interval_s * 1e-9;
        if due {
            self.due_s = (self.due_s + self.config.interval_s).max(0.0);
        }
        self.drifted_rad = (self.drifted_rad + self.fault.drift_rad_per_s * dt_s).clamp(-7.0, 7.0);
        match self.now {
            Some((sensed, truth)) if !due => {
                let held = Sensed { fresh: false, ..sensed };
                self.now = Some((held, truth));
                held
            }
            before => self.read(before, sensor_rad),
        }
    }

    fn read(&mut self, before: Option<(Sensed, SensorTruth)>, sensor_rad: f64) -> Sensed {
        let c = &self.config;
        let (min_rad, max_rad) = self.fault.range_rad.unwrap_or((c.min_rad, c.max_rad));
        let known_rad = before.map_or(0.0, |(_, truth)| truth.sensor_rad);
        let sensor_rad = if sensor_rad.is_finite() { sensor_rad.clamp(-1e6, 1e6) } else { known_rad };
        let mut rad = sensor_rad
            + self.fault.zero_rad
            + self.drifted_rad
            + c.noise_rms_rad * nearly_normal(&mut self.noise);
        let mut hit_by_wear = false;
        if let Some(wear) = self.fault.wear
            && (wear.from_rad..=wear.to_rad).contains(&sensor_rad)
        {
            // Both dice fall for each reading there, so that a hit does not move later ones.
            let chance = f64::from(self.wear.rand_float());
            let to_side = 2.0 * f64::from(self.wear.rand_float()) - 1.0;
            hit_by_wear = chance < wear.severity;
            if hit_by_wear {
                match wear.kind {
                    WearKind::Jumps { up_to_rad } => rad += to_side * up_to_rad * wear.severity,
                    WearKind::DropsOut => rad = min_rad,
                }
            }
        }
        if c.resolution_rad > 0.0 && rad < max_rad {
            let steps = ((rad - min_rad) / c.resolution_rad).round();
            // The last step is the end of the range, not a rounding below it.
            let last = (max_rad - min_rad) / c.resolution_rad * (1.0 - 1e-12);
            rad = if steps < last { min_rad + steps * c.resolution_rad } else { max_rad };
        }
        rad = rad.clamp(min_rad, max_rad);
        let at_end = match rad {
            _ if rad <= min_rad => Some(End::Low),
            _ if rad >= max_rad => Some(End::High),
            _ => None,
        };
        let most_rad = c.fastest_rad_per_s * self.since_s + 12.0 * c.noise_rms_rad + c.resolution_rad;
        let jumped = before.is_some_and(|(sensed, _)| (rad - sensed.rad).abs() > most_rad * (1.0 + 1e-9));
        let sensed = Sensed { rad, at_end, jumped, fresh: true };
        self.now = Some((sensed, SensorTruth { sensor_rad, error_rad: rad - sensor_rad, hit_by_wear }));
        self.since_s = 0.0;
        sensed
    }
}

/// A number of mean 0 and rms 1 that never exceeds 6: no function of a library is in it, so every machine agrees.
fn nearly_normal(dice: &mut Rand32) -> f64 {
    let mut sum = -6.0;
    for _ in 0..12 {
        sum += f64::from(dice.rand_float());
    }
    sum
}
