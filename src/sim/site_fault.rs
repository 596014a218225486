//! Named faults between control room and positioner, and of its settings [DV-110]. What each changes is where its part of
//! the model is: the loop, the device's station, a second master.

use core::fmt;
use core::time::Duration;

/// How long water takes to spread in a housing [DV-110].
const SPREADS: Duration = Duration::from_secs(60);
/// The longest pause of a second master, s [DV-110].
const LONGEST_PAUSE_S: f64 = 60.0;

/// A fault of the loop, of a device's settings, or of who else is on the wires [DV-110].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SiteFault {
    /// What feeds the loop has too few volts.
    LoopVoltsLow,
    /// Of the current of the loop a part is missing, or all of it.
    CurrentMissing,
    /// Plus and minus have changed places at the device.
    WiresReversed,
    /// Water in the cable: it leaks, and its capacitance is larger.
    WetCable,
    /// The trip input of the valve has no power.
    TripNotEnergised,
    /// The selector at the positioner stands on local [DV-112].
    SelectorLocal,
    /// The switch in the device protects its configuration.
    WriteProtectOn,
    /// Somebody has written another polling address.
    PollingAddressChanged,
    /// Somebody has left burst mode on.
    BurstLeftOn,
    /// Another master with the same role is at work.
    SecondMaster,
    /// Water in the housing of the device: across its terminals, and at its sensor.
    WaterInHousing,
}

/// How many faults have a name.
const COUNT: usize = SiteFault::ALL.len();

impl SiteFault {
    /// Every fault, in the order of [DV-110].
    pub const ALL: [SiteFault; 11] = [
        SiteFault::LoopVoltsLow,
        SiteFault::CurrentMissing,
        SiteFault::WiresReversed,
        SiteFault::WetCable,
        SiteFault::TripNotEnergised,
        SiteFault::SelectorLocal,
        SiteFault::WriteProtectOn,
        SiteFault::PollingAddressChanged,
        SiteFault::BurstLeftOn,
        SiteFault::SecondMaster,
        SiteFault::WaterInHousing,
    ];

    /// The name as it stands in bench files, such as `wet_cable`.
    pub const fn word(self) -> &'static str {
        self.texts().0
    }

    /// The name of the quantity that tells its severity, such as `fault_wet_cable` [BA-04].
    pub const fn quantity(self) -> &'static str {
        self.texts().1
    }

    /// The name for people, such as "wet cable".
    pub const fn words(self) -> &'static str {
        self.texts().2
    }

    /// What severities 0.3, 0.6 and 1 mean, for people [DV-110].
    pub const fn meaning(self) -> &'static str {
        self.texts().3
    }

    /// The fault that is called `word`.
    pub fn from_word(word: &str) -> Option<SiteFault> {
        SiteFault::ALL.into_iter().find(|name| name.word() == word)
    }

    /// Whether it is one of the loop, which concerns whoever hangs on it and names no device.
    pub const fn is_of_the_loop(self) -> bool {
        matches!(self, SiteFault::LoopVoltsLow | SiteFault::CurrentMissing | SiteFault::WetCable)
    }

    /// Whether it is of one device and changes the loop all the same.
    pub const fn is_in_the_loop(self) -> bool {
        matches!(self, SiteFault::WiresReversed | SiteFault::WaterInHousing)
    }

    /// Whether it changes nothing where no loop is computed [WI-14].
    pub const fn wants_a_loop(self) -> bool {
        matches!(
            self,
            SiteFault::LoopVoltsLow
                | SiteFault::WiresReversed
                | SiteFault::WetCable
                | SiteFault::WaterInHousing
        )
    }

    const fn texts(self) -> (&'static str, &'static str, &'static str, &'static str) {
        match self {
            SiteFault::LoopVoltsLow => (
                "loop_volts_low",
                "fault_loop_volts_low",
                "loop volts low",
                "the supply, or the most that the card can give, falls to 79, 58, 30 %",
            ),
            SiteFault::CurrentMissing => (
                "current_missing",
                "fault_current_missing",
                "current missing",
                "70, 40, 0 % of the current that somebody makes are left",
            ),
            SiteFault::WiresReversed => (
                "wires_reversed",
                "fault_wires_reversed",
                "wires reversed",
                "plus and minus change places at the device at any severity above 0",
            ),
            SiteFault::WetCable => (
                "wet_cable",
                "fault_wet_cable",
                "wet cable",
                "56, 10, 1 kohm and 40, 158, 1000 nF across the wires",
            ),
            SiteFault::TripNotEnergised => (
                "trip_not_energised",
                "fault_trip_not_energised",
                "trip input not energised",
                "without power at any severity above 0",
            ),
            SiteFault::SelectorLocal => (
                "selector_local",
                "fault_selector_local",
                "selector on local",
                "on local at any severity above 0: the keys move the valve and the loop does not",
            ),
            SiteFault::WriteProtectOn => (
                "write_protect_on",
                "fault_write_protect_on",
                "write protect on",
                "protected at any severity above 0",
            ),
            SiteFault::PollingAddressChanged => (
                "polling_address_changed",
                "fault_polling_address_changed",
                "polling address changed",
                "the highest address that is free at any severity above 0",
            ),
            SiteFault::BurstLeftOn => (
                "burst_left_on",
                "fault_burst_left_on",
                "burst left on",
                "command 3 every 2, 1, 0.25 s, or as often as the wires allow",
            ),
            SiteFault::SecondMaster => (
                "second_master",
                "fault_second_master",
                "second master present",
                "one with the same role asks every 1.2, 0.3 s, without a pause",
            ),
            SiteFault::WaterInHousing => (
                "water_in_housing",
                "fault_water_in_housing",
                "water in the housing",
                "within a minute 63, 4, 0.1 kohm across the terminals, and the angle reads 1.8, 3.6, 6 degrees too high",
            ),
        }
    }
}

impl fmt::Display for SiteFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// Which faults there are now, and how bad each is: 0 is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SiteFaults([f64; COUNT]);

impl SiteFaults {
    /// How bad a fault is, 0 (none) to 1.
    pub fn severity(&self, name: SiteFault) -> f64 {
        self.0[name as usize]
    }

    /// Whether there is such a fault.
    pub fn has(&self, name: SiteFault) -> bool {
        self.severity(name) > 0.0
    }

    /// Puts it in, changes or mends it; what is no number mends it, what is above 1 counts as 1.
    pub(super) fn set(&mut self, name: SiteFault, severity: f64) {
        self.0[name as usize] = if severity > 0.0 { severity.min(1.0) } else { 0.0 };
    }
}

/// The share of the volts that is left [DV-110].
pub(super) fn volts_left(severity: f64) -> f64 {
    1.0 - 0.7 * severity
}

/// The share of the current that is left [DV-110].
pub(super) fn current_left(severity: f64) -> f64 {
    1.0 - severity
}

/// Resistance, ohm, and capacitance, F, of a wet cable; `None` of a dry one [DV-110].
pub(super) fn wet_cable(severity: f64) -> Option<(f64, f64)> {
    let dry = 1.0 - severity;
    (severity > 0.0).then(|| (10f64.powf(3.0 + 2.5 * dry), 10f64.powf(-6.0 - 2.0 * dry)))
}

/// How far water has spread after a time, 0 to 1 [DV-110].
pub(super) fn spread(since: Duration) -> f64 {
    (since.as_secs_f64() / SPREADS.as_secs_f64()).min(1.0)
}

/// Resistance of water across the terminals, ohm, spread so far; `None` for none [DV-110].
pub(super) fn water_ohm(severity: f64, spread: f64) -> Option<f64> {
    (severity > 0.0 && spread > 0.0).then(|| 10f64.powf(2.0 + 4.0 * (1.0 - severity)) / spread)
}

/// How much too high an angle reads for water that has spread so far, rad [DV-110].
pub(super) fn water_rad(severity: f64, spread: f64) -> f64 {
    (6.0 * severity * spread).to_radians()
}

/// The update period that is asked for, in 1/32 ms [DV-110] [TY-07].
pub(super) fn burst_period(severity: f64) -> u32 {
    (0.25 * 16f64.powf(1.0 - severity) * 32_000.0).round() as u32
}

/// From due to due of a second master [DV-110].
pub(super) fn asks_every(severity: f64) -> Duration {
    Duration::from_secs_f64(((1.0 - severity) / (2.0 * severity)).clamp(0.0, LONGEST_PAUSE_S))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// [DV-110], its third column.
    #[test]
    fn severities() {
        let near = |is: f64, right: f64| assert!((is / right - 1.0).abs() < 0.01, "{is} is not {right}");
        for (x, ohm, farad, water, pause_s) in
            [(0.3, 56.2e3, 39.8e-9, 63.1e3, 1.167), (0.6, 10e3, 158e-9, 3.98e3, 0.3333)]
        {
            near(wet_cable(x).expect("wet").0, ohm);
            near(wet_cable(x).expect("wet").1, farad);
            near(water_ohm(x, 1.0).expect("water"), water);
            near(asks_every(x).as_secs_f64(), pause_s);
        }
        assert_eq!(wet_cable(1.0), Some((1e3, 1e-6)));
        assert_eq!((water_ohm(1.0, 1.0), water_ohm(1.0, 0.5)), (Some(100.0), Some(200.0)));
        assert_eq!((wet_cable(0.0), water_ohm(0.0, 1.0), water_ohm(1.0, 0.0)), (None, None, None));
        assert_eq!((asks_every(1.0), asks_every(1e-9).as_secs()), (Duration::ZERO, 60));
    }

    #[test]
    fn words_are_all_different_and_found() {
        for name in SiteFault::ALL {
            assert_eq!(SiteFault::from_word(name.word()), Some(name));
            assert_eq!(name.quantity(), format!("fault_{}", name.word()));
            assert!(crate::plant::fault::FaultName::from_word(name.word()).is_none());
        }
    }
}
