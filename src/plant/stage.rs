//! I/P converter and pneumatic output stage: from the drive to openings towards supply and exhaust [PL-06].

use super::ConfigError;
use super::air::Restriction;

/// What the output stage does while nothing is asked of it [PL-06].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StageKind {
    /// Both outputs are blocked: the air that is in the actuator stays there.
    BlockedAtRest {
        /// Share of the drive within which nothing opens, 0 to 0.9.
        dead_band: f64,
    },
    /// A spool or nozzles that leave every output a little open to supply and to exhaust: both outputs stand
    /// under pressure and air is used all the time.
    PressurisedAtRest {
        /// Opening of each way at rest, 0.001 to 0.5 of the full one.
        rest_opening: f64,
    },
}

/// How a stage is built, and what is wrong with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StageConfig {
    /// What it does at rest.
    pub kind: StageKind,
    /// Time constant of the I/P converter, s, 0 to 10; 0 follows at once.
    pub lag_s: f64,
    /// From the inlet to an output, fully open.
    pub fill: Restriction,
    /// From an output to the atmosphere, fully open.
    pub exhaust: Restriction,
    /// What the I/P converter bleeds from the inlet, always.
    pub bleed: Restriction,
    /// Pressure at the inlet that the pilot needs to be moved in full, Pa gauge, 0 to 1e6. Below it the
    /// pilot falls towards venting output 1.
    pub pilot_gauge_pa: f64,
    /// Its faults.
    pub faults: StageFaults,
}

/// What may be wrong with a stage; [`Default`] is a sound one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StageFaults {
    /// The pilot stands here, whatever the drive, -1 to 1.
    pub stuck_at: Option<f64>,
    /// The pilot's zero has drifted by this share of the drive, -1 to 1; positive fills output 1.
    pub zero_drift: f64,
    /// Share of every opening that dirt has taken, 0 to 1.
    pub dirt_share: f64,
    /// What dirt adds to the dead band, 0 to 0.9.
    pub dirt_dead_band: f64,
    /// Leak past the seats: from the inlet to each output, and from each output to the atmosphere.
    pub leak: Restriction,
}

impl Default for StageFaults {
    fn default() -> StageFaults {
        StageFaults {
            stuck_at: None,
            zero_drift: 0.0,
            dirt_share: 0.0,
            dirt_dead_band: 0.0,
            leak: Restriction::SHUT,
        }
    }
}

impl Default for StageConfig {
    /// Outputs blocked at rest, 0.5 dm3/(s bar) both ways, the invented reference actuator's [PL-06].
    fn default() -> StageConfig {
        StageConfig {
            kind: StageKind::BlockedAtRest { dead_band: 0.02 },
            lag_s: 0.02,
            fill: Restriction::usual(0.5e-8),
            exhaust: Restriction::usual(0.5e-8),
            bleed: Restriction::usual(5e-11),
            pilot_gauge_pa: 0.5e5,
            faults: StageFaults::default(),
        }
    }
}

impl StageConfig {
    /// What is wrong with it.
    ///
    /// # Errors
    /// The first value outside its range.
    pub fn check(&self) -> Result<(), ConfigError> {
        match self.kind {
            StageKind::BlockedAtRest { dead_band } => {
                ConfigError::unless_in("dead_band", dead_band, 0.0..=0.9)?
            }
            StageKind::PressurisedAtRest { rest_opening } => {
                ConfigError::unless_in("rest_opening", rest_opening, 0.001..=0.5)?
            }
        };
        ConfigError::unless_in("lag_s", self.lag_s, 0.0..=10.0)?;
        self.fill.check("fill")?;
        self.exhaust.check("exhaust")?;
        self.bleed.check("bleed")?;
        ConfigError::unless_in("pilot_gauge_pa", self.pilot_gauge_pa, 0.0..=1e6)?;
        let faults = &self.faults;
        ConfigError::unless_in("stuck_at", faults.stuck_at.unwrap_or(0.0), -1.0..=1.0)?;
        ConfigError::unless_in("zero_drift", faults.zero_drift, -1.0..=1.0)?;
        ConfigError::unless_in("dirt_share", faults.dirt_share, 0.0..=1.0)?;
        ConfigError::unless_in("dirt_dead_band", faults.dirt_dead_band, 0.0..=0.9)?;
        faults.leak.check("leak")
    }
}

/// The two ways at one output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Openings {
    /// Between inlet and output.
    pub fill: Restriction,
    /// Between output and atmosphere.
    pub exhaust: Restriction,
}

/// A stage at work.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// How it is built and what is wrong with it; faults may be changed while it runs.
    pub config: StageConfig,
    pilot: f64,
}

impl Stage {
    /// A stage at rest without current: output 1 vents.
    ///
    /// # Errors
    /// Those of [`StageConfig::check`].
    pub fn new(config: StageConfig) -> Result<Stage, ConfigError> {
        config.check()?;
        Ok(Stage { config, pilot: -1.0 })
    }

    /// Moves the pilot by `dt_s`, s. `drive` is what the electronics ask for, -1 (vent output 1, fill output
    /// 2) to 1; what is outside counts as the nearer end, no number as -1. `inlet_gauge_pa` is the pressure
    /// that moves the pilot, Pa gauge.
    pub fn step(&mut self, dt_s: f64, drive: f64, inlet_gauge_pa: f64) {
        let drive = if drive.is_nan() { -1.0 } else { drive.clamp(-1.0, 1.0) };
        let needs_pa = self.config.pilot_gauge_pa;
        let force = if needs_pa > 0.0 { (inlet_gauge_pa / needs_pa).clamp(0.0, 1.0) } else { 1.0 };
        let target = (drive + 1.0) * force - 1.0;
        match self.config.faults.stuck_at {
            Some(at) => self.pilot = at.clamp(-1.0, 1.0),
            // Implicit, so that a lag far below the step does no harm.
            None if dt_s > 0.0 => self.pilot += (target - self.pilot) * (dt_s / (self.config.lag_s + dt_s)),
            None => {}
        }
    }

    /// Where the pilot stands, -1 to 1, before drift and dead band.
    pub fn pilot(&self) -> f64 {
        self.pilot
    }

    /// What is open at output 1 and at output 2.
    pub fn openings(&self) -> [Openings; 2] {
        let faults = &self.config.faults;
        let at = if faults.stuck_at.is_some() { self.pilot } else { self.pilot + faults.zero_drift };
        let at = at.clamp(-1.0, 1.0);
        let (rest, dead_band) = match self.config.kind {
            StageKind::BlockedAtRest { dead_band } => (0.0, dead_band),
            StageKind::PressurisedAtRest { rest_opening } => (rest_opening, 0.0),
        };
        let dead_band = (dead_band + faults.dirt_dead_band).min(0.95);
        let beyond = (at.abs() - dead_band).max(0.0) / (1.0 - dead_band) * at.signum();
        let clean = 1.0 - faults.dirt_share;
        let open = |share: f64| clean * (rest + share * (1.0 - rest)).clamp(0.0, 1.0);
        let ways = |share: f64| Openings {
            fill: self.config.fill.scaled(open(share)).beside(&faults.leak),
            exhaust: self.config.exhaust.scaled(open(-share)).beside(&faults.leak),
        };
        [ways(beyond), ways(-beyond)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stage(kind: StageKind, faults: StageFaults) -> Stage {
        let full = Restriction::usual(1e-8);
        let config =
            StageConfig { kind, lag_s: 0.0, fill: full, exhaust: full, faults, ..StageConfig::default() };
        Stage::new(config).expect("sound")
    }

    /// Openings of fill 1, exhaust 1, fill 2, exhaust 2 as shares, at a drive.
    fn open(mut stage: Stage, drive: f64) -> [f64; 4] {
        stage.step(1e-3, drive, 1e5);
        let [one, two] = stage.openings();
        [one.fill, one.exhaust, two.fill, two.exhaust].map(|way| way.conductance_m3_per_s_pa * 1e8)
    }

    fn opens(found: [f64; 4], wanted: [f64; 4]) {
        let close = found.iter().zip(wanted).all(|(f, w)| (f - w).abs() < 1e-12);
        assert!(close, "{found:?} {wanted:?}");
    }

    #[test]
    fn blocked_at_rest_opens_beyond_its_dead_band() {
        let kind = StageKind::BlockedAtRest { dead_band: 0.2 };
        let at = |drive| open(stage(kind, StageFaults::default()), drive);
        opens(at(0.0), [0.0; 4]);
        opens(at(0.2), [0.0; 4]);
        opens(at(-0.2), [0.0; 4]);
        // (0.6 - 0.2)/(1 - 0.2) = 0.5.
        opens(at(0.6), [0.5, 0.0, 0.0, 0.5]);
        opens(at(-0.6), [0.0, 0.5, 0.5, 0.0]);
        opens(at(1.0), [1.0, 0.0, 0.0, 1.0]);
        opens(at(9.0), [1.0, 0.0, 0.0, 1.0]);
        opens(at(f64::NAN), [0.0, 1.0, 1.0, 0.0]);
    }

    #[test]
    fn pressurised_at_rest_is_open_both_ways() {
        let kind = StageKind::PressurisedAtRest { rest_opening: 0.2 };
        let at = |drive| open(stage(kind, StageFaults::default()), drive);
        opens(at(0.0), [0.2; 4]);
        // 0.2 + 0.1 x 0.8 and 0.2 - 0.1 x 0.8.
        opens(at(0.1), [0.28, 0.12, 0.12, 0.28]);
        opens(at(1.0), [1.0, 0.0, 0.0, 1.0]);
        opens(at(-1.0), [0.0, 1.0, 1.0, 0.0]);
    }

    #[test]
    fn faults_of_a_stage() {
        let kind = StageKind::BlockedAtRest { dead_band: 0.0 };
        let sound = StageFaults::default();
        let at = |faults, drive| open(stage(kind, faults), drive);
        opens(
            at(StageFaults { stuck_at: Some(0.25), zero_drift: 0.5, ..sound }, -1.0),
            [0.25, 0.0, 0.0, 0.25],
        );
        opens(at(StageFaults { zero_drift: 0.1, ..sound }, 0.0), [0.1, 0.0, 0.0, 0.1]);
        opens(at(StageFaults { dirt_share: 0.75, ..sound }, 1.0), [0.25, 0.0, 0.0, 0.25]);
        opens(at(StageFaults { dirt_dead_band: 0.5, ..sound }, 0.5), [0.0; 4]);
        opens(at(StageFaults { leak: Restriction::usual(1e-10), ..sound }, 0.0), [0.01; 4]);
        let beyond = StageFaults { zero_drift: 2.0, ..sound };
        let config = StageConfig { faults: beyond, ..StageConfig::default() };
        assert_eq!(Stage::new(config).map_err(|e| e.field), Err("zero_drift"));
    }

    // First order: after one time constant 1 - 1/e of the way; the implicit step of 1 ms is 0.2 % off at 0.1 s.
    #[test]
    fn the_converter_lags_and_needs_air() {
        let config = StageConfig { lag_s: 0.1, ..StageConfig::default() };
        let mut stage = Stage::new(config).expect("sound");
        for _ in 0..100 {
            stage.step(1e-3, 1.0, 1e5);
        }
        let wanted = 1.0 - 2.0 * (-1.0f64).exp();
        assert!((stage.pilot() - wanted).abs() < 0.005, "{} {wanted}", stage.pilot());
        // Half of the pressure it needs: half of the way from -1 to the drive.
        for _ in 0..2000 {
            stage.step(1e-3, 1.0, 0.25e5);
        }
        assert!(stage.pilot().abs() < 1e-6, "{}", stage.pilot());
        stage.step(0.0, 1.0, 1e5);
        stage.step(f64::NAN, 1.0, 1e5);
        assert!(stage.pilot().abs() < 1e-6);
    }
}
