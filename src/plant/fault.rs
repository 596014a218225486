//! Named faults of a valve and how bad they are [PL-33]. What each changes is in `valve::faulty`.

use super::ConfigError;
use core::fmt;

/// A fault that a valve in the field may have [PL-33].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FaultName {
    /// The regulator is set too low.
    SupplyLow,
    /// The filter before the regulator lets little through.
    FilterBlocked,
    /// The line from the regulator to the positioner is too narrow or too long.
    SupplyLineUndersized,
    /// The diaphragm or the piston's seal leaks.
    DiaphragmLeak,
    /// The tube to the actuator leaks.
    TubingLeak,
    /// The tubes of outputs 1 and 2 are on each other's place.
    OutputsSwapped,
    /// The pilot of the output stage sticks.
    StageStuck,
    /// The pilot's zero drifts.
    StageDrifting,
    /// Dirt in the nozzles and passages of the output stage.
    StageContaminated,
    /// The packing is over-tight.
    PackingTight,
    /// The stem is seized: it sticks wherever it rests.
    StemSeized,
    /// The spring is broken.
    SpringBroken,
    /// The lever's clamp has slipped on the sensor's shaft.
    ClampSlipped,
    /// The follower pin is in the wrong hole.
    PinMisplaced,
    /// The coupling that carries the pin sits in another place than when the valve was set up.
    CouplingTurned,
    /// The sensor's track is worn around the middle of the travel.
    SensorWorn,
    /// The upper part of the travel is beyond the sensor's range.
    SensorBeyondRange,
    /// Play between stem and sensor.
    LinkageSlack,
    /// The hand-wheel is engaged and keeps the valve from closing.
    HandwheelEngaged,
    /// The open stop has been moved inwards.
    StopMoved,
}

/// How many faults have a name.
pub(super) const COUNT: usize = FaultName::ALL.len();

impl FaultName {
    /// Every fault, in the order of [PL-33].
    pub const ALL: [FaultName; 20] = [
        FaultName::SupplyLow,
        FaultName::FilterBlocked,
        FaultName::SupplyLineUndersized,
        FaultName::DiaphragmLeak,
        FaultName::TubingLeak,
        FaultName::OutputsSwapped,
        FaultName::StageStuck,
        FaultName::StageDrifting,
        FaultName::StageContaminated,
        FaultName::PackingTight,
        FaultName::StemSeized,
        FaultName::SpringBroken,
        FaultName::ClampSlipped,
        FaultName::PinMisplaced,
        FaultName::CouplingTurned,
        FaultName::SensorWorn,
        FaultName::SensorBeyondRange,
        FaultName::LinkageSlack,
        FaultName::HandwheelEngaged,
        FaultName::StopMoved,
    ];

    /// The name as it stands in bench files, such as `supply_low`.
    pub const fn word(self) -> &'static str {
        self.texts().0
    }

    /// The name for people, such as "supply low".
    pub const fn words(self) -> &'static str {
        self.texts().1
    }

    /// What a severity means: what grows with it from 0 to 1, for people [PL-33].
    pub const fn meaning(self) -> &'static str {
        self.texts().2
    }

    /// The fault that is called `word`.
    pub fn from_word(word: &str) -> Option<FaultName> {
        FaultName::ALL.into_iter().find(|name| name.word() == word)
    }

    const fn texts(self) -> (&'static str, &'static str, &'static str) {
        match self {
            FaultName::SupplyLow => {
                ("supply_low", "supply low", "the regulator's set point falls to 82, 64, 40 % at 0.3, 0.6, 1")
            }
            FaultName::FilterBlocked => (
                "filter_blocked",
                "filter blocked",
                "the filter lets 58, 19, 4.4 % of the air through that a full stroke wants",
            ),
            FaultName::SupplyLineUndersized => (
                "supply_line_undersized",
                "supply line undersized",
                "the line passes 58, 19, 4.4 % of what the output stage can fill with",
            ),
            FaultName::DiaphragmLeak => (
                "diaphragm_leak",
                "diaphragm leak",
                "a pinhole, a tear, torn: 2, 19, 300 % of what the output stage can fill with",
            ),
            FaultName::TubingLeak => (
                "tubing_leak",
                "tubing leak",
                "a loose fitting, a crack, the tube off: 2, 19, 300 % of what the output stage can fill with",
            ),
            FaultName::OutputsSwapped => {
                ("outputs_swapped", "outputs swapped", "swapped at any severity above 0")
            }
            FaultName::StageStuck => (
                "stage_stuck",
                "output stage stuck",
                "the pilot moves only when it should be 30, 60 % of full opening elsewhere; at 1 not at all",
            ),
            FaultName::StageDrifting => (
                "stage_drifting",
                "output stage drifting",
                "within 20 s the pilot's zero drifts by 12, 24, 40 % of full opening",
            ),
            FaultName::StageContaminated => {
                ("stage_contaminated", "output stage contaminated", "the passages are open to 54, 29, 13 %")
            }
            FaultName::PackingTight => {
                ("packing_tight", "packing over-tight", "friction is 2.5, 4, 6 times what it was")
            }
            FaultName::StemSeized => (
                "stem_seized",
                "stem seized",
                "breaking away takes 45, 90, 150 % of the actuator's full thrust more",
            ),
            FaultName::SpringBroken => {
                ("spring_broken", "spring broken", "30, 60, 100 % of the spring's force are gone")
            }
            FaultName::ClampSlipped => {
                ("clamp_slipped", "clamp slipped", "the lever is turned on its shaft by 6, 12, 20 degrees")
            }
            FaultName::PinMisplaced => (
                "pin_misplaced",
                "pin in the wrong place",
                "the pin's distance is 1.3, 1.6, 2 times what it should be",
            ),
            FaultName::CouplingTurned => (
                "coupling_turned",
                "coupling turned",
                "the pin sits 12, 24, 40 % of the stroke lower on the stem (part-turn: 6, 12, 20 degrees)",
            ),
            FaultName::SensorWorn => (
                "sensor_worn",
                "sensor worn",
                "around the middle 30, 60, 100 % of the readings are wrong by up to 3.6, 7.2, 12 % of the stroke",
            ),
            FaultName::SensorBeyondRange => (
                "sensor_beyond_range",
                "sensor beyond its range",
                "the sensor's range ends at 82, 64, 40 % of the travel",
            ),
            FaultName::LinkageSlack => (
                "linkage_slack",
                "linkage slack",
                "play between stem and sensor of 4.5, 9, 15 % of the stroke",
            ),
            FaultName::HandwheelEngaged => {
                ("handwheel_engaged", "handwheel engaged", "the valve closes no further than 18, 36, 60 %")
            }
            FaultName::StopMoved => {
                ("stop_moved", "stop moved", "the valve opens no further than 82, 64, 40 %")
            }
        }
    }
}

impl fmt::Display for FaultName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// Which faults a valve has now, and how bad each is: 0 is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Faults([f64; COUNT]);

impl Default for Faults {
    fn default() -> Self {
        Faults([0.0; COUNT])
    }
}

impl Faults {
    /// The severity of a fault, 0 to 1.
    pub const fn severity(&self, name: FaultName) -> f64 {
        self.0[name as usize]
    }

    /// The faults that are there, with their severities, in the order of [PL-33].
    pub fn present(&self) -> impl Iterator<Item = (FaultName, f64)> + '_ {
        FaultName::ALL.into_iter().map(|n| (n, self.severity(n))).filter(|(_, x)| *x > 0.0)
    }

    /// Sets a severity anew.
    ///
    /// # Errors
    /// It is not within 0 to 1.
    pub(super) fn set(&mut self, name: FaultName, severity: f64) -> Result<(), ConfigError> {
        self.0[name as usize] = ConfigError::unless_in("severity", severity, 0.0..=1.0)?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The words are those of the tables [PL-33] and [PL-35], in their order.
    #[test]
    fn words_are_those_of_the_notes() {
        let notes = include_str!("../../protocol-notes/plant.md");
        let words: Vec<&str> = FaultName::ALL.iter().map(|n| n.word()).collect();
        for heading in ["## [PL-33]", "## [PL-35]"] {
            let table = notes.split(heading).nth(1).and_then(|t| t.split("\n## ").next()).unwrap_or("");
            let rows = table.lines().filter_map(|l| l.strip_prefix("| `")?.split('`').next());
            assert_eq!(rows.collect::<Vec<_>>(), words, "{heading}");
        }
        for (i, name) in FaultName::ALL.into_iter().enumerate() {
            assert_eq!(name as usize, i);
            assert_eq!(FaultName::from_word(name.word()), Some(name));
        }
    }

    #[test]
    fn severities_outside_are_refused() {
        let mut faults = Faults::default();
        for bad in [-0.1, 1.1, f64::NAN] {
            assert!(faults.set(FaultName::SupplyLow, bad).is_err());
        }
        faults.set(FaultName::StopMoved, 0.3).expect("within 0 to 1");
        assert_eq!(faults.present().collect::<Vec<_>>(), [(FaultName::StopMoved, 0.3)]);
    }
}
