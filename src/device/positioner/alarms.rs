//! What is wrong with a positioner or its valve, as its own sensors tell it [DV-89].

use serde::{Deserialize, Serialize};

/// Something that is wrong; its code is that of command 143 [DV-89].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Alarm {
    /// The travel stays away from where it should be [DV-85].
    TravelDeviation = 1,
    /// The supply pressure is too low.
    SupplyLow = 2,
    /// The supply pressure is too high.
    SupplyHigh = 3,
    /// The lever is outside of what its sensor can tell.
    LeverOutside = 4,
    /// The travel deviates, and the valve has not moved meanwhile.
    DoesNotMove = 5,
    /// The loop current is outside of its limits.
    CurrentOutside = 6,
    /// The memory image could not be read [DV-04].
    MemoryDefect = 7,
    /// The last calibration failed, and nobody has taken note.
    CalibrationFailed = 8,
}

impl Alarm {
    /// Every one, by code.
    pub const ALL: [Alarm; 8] = [
        Alarm::TravelDeviation,
        Alarm::SupplyLow,
        Alarm::SupplyHigh,
        Alarm::LeverOutside,
        Alarm::DoesNotMove,
        Alarm::CurrentOutside,
        Alarm::MemoryDefect,
        Alarm::CalibrationFailed,
    ];

    /// The code of command 143, 1 to 8.
    pub const fn code(self) -> u8 {
        self as u8
    }

    /// Its mask in the first octet that is the device's own [DV-89].
    pub const fn mask(self) -> u8 {
        1 << (self as u8 - 1)
    }

    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Alarm::TravelDeviation => "travel deviation",
            Alarm::SupplyLow => "supply pressure too low",
            Alarm::SupplyHigh => "supply pressure too high",
            Alarm::LeverOutside => "lever outside its angles",
            Alarm::DoesNotMove => "valve does not move",
            Alarm::CurrentOutside => "loop current outside its limits",
            Alarm::MemoryDefect => "memory defect",
            Alarm::CalibrationFailed => "calibration failed",
        }
    }
}

/// A set of alarms, by their masks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AlarmSet(pub u8);

impl AlarmSet {
    /// Whether it is in.
    pub const fn has(self, alarm: Alarm) -> bool {
        self.0 & alarm.mask() != 0
    }

    /// Those in this and not in the other.
    pub const fn without(self, other: AlarmSet) -> AlarmSet {
        AlarmSet(self.0 & !other.0)
    }

    /// Each that is in, by code.
    pub fn each(self) -> impl Iterator<Item = Alarm> {
        Alarm::ALL.into_iter().filter(move |a| self.has(*a))
    }
}

/// What the alarms look at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Whether the deviation is one to be told [DV-85].
    pub deviates: bool,
    /// The deviation, percent, while the controller has a target.
    pub deviation_percent: Option<f64>,
    /// Sensed travel, percent.
    pub travel_percent: Option<f64>,
    /// How large a deviation may be, percent.
    pub deviation_limit_percent: f64,
    /// Supply pressure as it is told, bar, and its limits.
    pub supply_bar: f64,
    /// Least and largest supply pressure, bar.
    pub supply_limits_bar: (f64, f64),
    /// Loop current, mA.
    pub current_ma: f64,
    /// Least and largest loop current, mA.
    pub current_limits_ma: (f64, f64),
    /// Whether the lever is within its sensor's range.
    pub lever_in_range: bool,
    /// Whether the last calibration failed and nobody has taken note.
    pub calibration_failed: bool,
}

/// How far inside of its limit a value must come before its alarm goes: of the supply pressure, bar [DV-89].
const SUPPLY_BACK_BAR: f64 = 0.05;
/// The same of the loop current, mA.
const CURRENT_BACK_MA: f64 = 0.05;
/// A valve that moves less than this while it deviates does not move, percent [DV-89].
const LEAST_MOVE_PERCENT: f64 = 0.5;

/// The alarms at work.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Alarms {
    now: AlarmSet,
    /// Sensed travel when the deviation became too large; it has not moved away from there since.
    rests_percent: Option<f64>,
    moved: bool,
}

impl Alarms {
    /// Which there are now.
    pub fn now(&self) -> AlarmSet {
        self.now
    }

    /// Looks again; gives those that have come.
    pub fn step(&mut self, seen: &Seen) -> AlarmSet {
        let before = self.now;
        let beyond =
            seen.deviation_percent.is_some_and(|d| d.is_nan() || d.abs() > seen.deviation_limit_percent);
        match (beyond, seen.travel_percent, self.rests_percent) {
            (true, Some(x), None) => (self.rests_percent, self.moved) = (Some(x), false),
            (true, Some(x), Some(from)) => self.moved |= (x - from).abs() > LEAST_MOVE_PERCENT,
            (false, ..) => self.rests_percent = None,
            (true, None, _) => {}
        }
        let (low, high) = seen.supply_limits_bar;
        let (least, most) = seen.current_limits_ma;
        let inside = |alarm: Alarm, by: f64| if before.has(alarm) { by } else { 0.0 };
        let current_back = inside(Alarm::CurrentOutside, CURRENT_BACK_MA);
        let current_in = (least + current_back..=most - current_back).contains(&seen.current_ma);
        let all = [
            (seen.deviates, Alarm::TravelDeviation),
            (seen.supply_bar < low + inside(Alarm::SupplyLow, SUPPLY_BACK_BAR), Alarm::SupplyLow),
            (seen.supply_bar > high - inside(Alarm::SupplyHigh, SUPPLY_BACK_BAR), Alarm::SupplyHigh),
            (!seen.lever_in_range, Alarm::LeverOutside),
            (seen.deviates && self.rests_percent.is_some() && !self.moved, Alarm::DoesNotMove),
            (!current_in, Alarm::CurrentOutside),
            (seen.calibration_failed, Alarm::CalibrationFailed),
        ];
        self.now = AlarmSet(all.iter().filter(|a| a.0).fold(0, |set, a| set | a.1.mask()));
        self.now.without(before)
    }

    /// Those that are there are to be told again as if they had just come.
    pub fn tell_again(&mut self) {
        self.now = AlarmSet::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn healthy() -> Seen {
        Seen {
            deviates: false,
            deviation_percent: Some(0.0),
            travel_percent: Some(50.0),
            deviation_limit_percent: 2.0,
            supply_bar: 1.4,
            supply_limits_bar: (1.4, 7.0),
            current_ma: 12.0,
            current_limits_ma: (3.8, 20.5),
            lever_in_range: true,
            calibration_failed: false,
        }
    }

    /// [DV-89]: each alarm comes by itself, once, and those with a margin go with it.
    #[test]
    fn each_comes_and_goes() {
        type Spoil = fn(&mut Seen);
        let cases: &[(Alarm, Spoil)] = &[
            (Alarm::TravelDeviation, |s| s.deviates = true),
            (Alarm::SupplyLow, |s| s.supply_bar = 1.39),
            (Alarm::SupplyHigh, |s| s.supply_bar = 7.01),
            (Alarm::LeverOutside, |s| s.lever_in_range = false),
            (Alarm::CurrentOutside, |s| s.current_ma = 3.79),
            (Alarm::CurrentOutside, |s| s.current_ma = 20.51),
            (Alarm::CalibrationFailed, |s| s.calibration_failed = true),
        ];
        for &(alarm, spoil) in cases {
            let (mut alarms, mut seen) = (Alarms::default(), healthy());
            assert_eq!(alarms.step(&seen), AlarmSet::default());
            spoil(&mut seen);
            assert_eq!(alarms.step(&seen), AlarmSet(alarm.mask()), "{alarm:?}");
            assert_eq!(alarms.step(&seen), AlarmSet::default(), "told once");
            assert!(alarms.now().has(alarm));
            let well = Seen { supply_bar: 4.0, ..healthy() };
            alarms.step(&well);
            assert_eq!(alarms.now(), AlarmSet::default(), "{alarm:?}");
        }
        let mut alarms = Alarms::default();
        alarms.step(&Seen { supply_bar: 1.39, ..healthy() });
        alarms.step(&Seen { supply_bar: 1.44, ..healthy() });
        assert!(alarms.now().has(Alarm::SupplyLow), "0.05 bar must be there");
    }

    #[test]
    fn a_valve_that_moves_is_no_valve_that_does_not() {
        let (mut alarms, mut moving) = (Alarms::default(), Alarms::default());
        let beyond = Seen { deviation_percent: Some(20.0), travel_percent: Some(30.0), ..healthy() };
        alarms.step(&beyond);
        moving.step(&beyond);
        moving.step(&Seen { travel_percent: Some(30.6), ..beyond });
        let told = Seen { deviates: true, travel_percent: Some(30.2), ..beyond };
        alarms.step(&told);
        moving.step(&told);
        assert!(alarms.now().has(Alarm::DoesNotMove) && alarms.now().has(Alarm::TravelDeviation));
        assert!(!moving.now().has(Alarm::DoesNotMove) && moving.now().has(Alarm::TravelDeviation));
    }
}
