//! Where a valve goes when something is lost: trip valve, lock-up valve, stored air [PL-32].

use super::ConfigError;
use super::air::Restriction;
use super::air_path::TankConfig;

/// A trip valve between the output stage and the actuator [PL-32].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TripConfig {
    /// Through which a chamber vents while the trip input is not energised.
    pub vent: Restriction,
    /// Through which the other chamber of a double-acting actuator is fed meanwhile, from the supply's inlet.
    pub feed: Restriction,
    /// Whether a trip opens a double-acting valve; a single-acting one goes where its spring takes it.
    pub opens: bool,
}

/// A lock-up valve in the tube to each chamber: it keeps the air in while there is too little supply [PL-32].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LockUpConfig {
    /// Gauge pressure at the inlet below which it closes, Pa, 1e3 to 1e6.
    pub closes_below_gauge_pa: f64,
    /// How much more it needs to open again, Pa, 0 to 5e5.
    pub difference_pa: f64,
    /// What it leaks while it is closed, 0 for tight.
    pub leak: Restriction,
}

/// Stored air that moves a double-acting valve once the supply is gone [PL-32].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StoredAirConfig {
    /// The tank, and the check valve that fills it from the inlet.
    pub tank: TankConfig,
    /// From the tank to the chamber of the fail direction.
    pub feed: Restriction,
    /// From the other chamber to the atmosphere.
    pub vent: Restriction,
    /// Gauge pressure at the inlet below which it takes over, Pa, 1e3 to 1e6.
    pub switches_below_gauge_pa: f64,
    /// How much more it needs to switch back, Pa, 0 to 5e5.
    pub difference_pa: f64,
    /// Whether it opens the valve; it closes it otherwise.
    pub opens: bool,
}

/// What takes the valve to its place when something is lost [PL-32]. The default has none of it: the stage alone decides.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FailConfig {
    /// A trip valve.
    pub trip: Option<TripConfig>,
    /// A lock-up valve.
    pub lock_up: Option<LockUpConfig>,
    /// Stored air.
    pub stored_air: Option<StoredAirConfig>,
}

impl FailConfig {
    /// Whether it can be built around an actuator that is double-acting or not.
    ///
    /// # Errors
    /// Names the field that cannot be so.
    pub fn check(&self, double_acting: bool) -> Result<(), ConfigError> {
        if let Some(trip) = self.trip {
            trip.vent.check("trip_vent")?;
            trip.feed.check("trip_feed")?;
        }
        if let Some(lock_up) = self.lock_up {
            ConfigError::unless_in("closes_below_gauge_pa", lock_up.closes_below_gauge_pa, 1e3..=1e6)?;
            ConfigError::unless_in("lock_up_difference_pa", lock_up.difference_pa, 0.0..=5e5)?;
            lock_up.leak.check("lock_up_leak")?;
        }
        if let Some(stored) = self.stored_air {
            if !double_acting {
                let why = "stored air is for a double-acting actuator: a single-acting one has a spring";
                return Err(ConfigError { field: "stored_air", why: why.to_string() });
            }
            ConfigError::unless_in("switches_below_gauge_pa", stored.switches_below_gauge_pa, 1e3..=1e6)?;
            ConfigError::unless_in("stored_air_difference_pa", stored.difference_pa, 0.0..=5e5)?;
            stored.feed.check("stored_air_feed")?;
            stored.vent.check("stored_air_vent")?;
        }
        Ok(())
    }
}

/// Who has the chambers now [PL-32].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hold {
    /// The output stage.
    Stage,
    /// The trip valve: it has come out of its energised state.
    Tripped,
    /// Stored air: the supply is too low.
    Stored,
    /// The lock-up valve: the supply is too low, the air stays in.
    Locked,
}

/// The switches that stand by the pressure at the inlet.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Switches {
    locked: bool,
    on_stored: bool,
}

impl Switches {
    /// Lets the switches follow the inlet's gauge pressure and says who has the chambers: a trip goes before
    /// stored air, stored air before locking up.
    pub fn step(&mut self, config: &FailConfig, trip_energised: bool, inlet_gauge_pa: f64) -> Hold {
        if let Some(c) = config.lock_up {
            let limit_pa = c.closes_below_gauge_pa + if self.locked { c.difference_pa } else { 0.0 };
            self.locked = inlet_gauge_pa < limit_pa;
        }
        if let Some(c) = config.stored_air {
            let limit_pa = c.switches_below_gauge_pa + if self.on_stored { c.difference_pa } else { 0.0 };
            self.on_stored = inlet_gauge_pa < limit_pa;
        }
        match () {
            () if config.trip.is_some() && !trip_energised => Hold::Tripped,
            () if self.on_stored => Hold::Stored,
            () if self.locked => Hold::Locked,
            () => Hold::Stage,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// [PL-32]: closed below 3 bar, open again at 3.5, and a trip goes before.
    #[test]
    fn a_lock_up_valve_opens_later_than_it_closes() {
        let lock_up =
            LockUpConfig { closes_below_gauge_pa: 3e5, difference_pa: 0.5e5, leak: Restriction::SHUT };
        let trip = TripConfig { vent: Restriction::SHUT, feed: Restriction::SHUT, opens: false };
        let config = FailConfig { lock_up: Some(lock_up), trip: Some(trip), ..FailConfig::default() };
        let mut s = Switches::default();
        let mut at = |bar: f64, energised| s.step(&config, energised, bar * 1e5);
        assert_eq!([at(3.2, true), at(2.9, true), at(3.2, true)], [Hold::Stage, Hold::Locked, Hold::Locked]);
        assert_eq!([at(2.9, false), at(3.6, true)], [Hold::Tripped, Hold::Stage]);
    }
}
