//! Whether the set point was where it was asked for, as the device itself reads it [TV-22].

use super::Point;
use serde::{Deserialize, Serialize};

/// Current that the device may read beside what was asked for, mA: 1 % of 16 mA [TV-22].
const CURRENT_MA: f64 = 0.16;
/// The same of its set point, percent [TV-22].
const SET_POINT_PERCENT: f64 = 1.0;
/// Rounding is no difference.
const HAIR: f64 = 1e-6;

/// What was asked for, and what the device reads of it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drive {
    /// Set point that was asked for, percent.
    pub asked_percent: f64,
    /// Current that was asked for, mA; `None`: the set point was given otherwise.
    pub asked_ma: Option<f64>,
    /// Loop current that the device read, mA.
    pub read_ma: Option<f64>,
    /// Set point that the device read, percent.
    pub set_point_percent: Option<f64>,
}

impl Drive {
    /// What the device reads elsewhere than asked, a few words; `None`: it reads what was asked, or cannot tell.
    pub fn wrong(&self) -> Option<String> {
        if let Some((asked, read)) = self.asked_ma.zip(self.read_ma)
            && (read - asked).abs() > CURRENT_MA + HAIR
        {
            return Some(format!("the device reads {read:.2} mA where {asked:.2} mA were asked"));
        }
        // Beyond its ends a device may hold its set point where it likes.
        let asked = self.asked_percent.clamp(0.0, 100.0);
        let read = self.set_point_percent?.clamp(0.0, 100.0);
        ((read - asked).abs() > SET_POINT_PERCENT + HAIR)
            .then(|| format!("the device's set point is {read:.2} % where {asked:.2} % were asked"))
    }
}

/// A move of the set point that the device read elsewhere.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Elsewhere {
    /// When it was asked for, s: the same as in the watch of a step or stroke, in the move of a creep, in the tail of a way to a stop.
    pub asked_at_s: f64,
    /// What was asked for and read.
    pub drive: Drive,
}

impl Point {
    /// What was asked for, and what the device read of it.
    pub fn drive(&self) -> Drive {
        Drive {
            asked_percent: self.asked_percent,
            asked_ma: self.asked_ma,
            read_ma: self.read_ma,
            set_point_percent: self.set_point_percent,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wrong(percent: f64, ma: Option<f64>, read: Option<f64>, set_point: Option<f64>) -> Option<String> {
        Drive { asked_percent: percent, asked_ma: ma, read_ma: read, set_point_percent: set_point }.wrong()
    }

    /// 1 % of 16 mA is 0.16 mA: 4.16 mA for 4 are right, 4.17 are not.
    #[test]
    fn what_is_elsewhere() {
        assert_eq!(wrong(0.0, Some(4.0), Some(4.16), None), None);
        assert!(wrong(0.0, Some(4.0), Some(4.17), None).is_some());
        let said = wrong(0.0, Some(4.0), Some(12.0), Some(50.0));
        assert_eq!(said.as_deref(), Some("the device reads 12.00 mA where 4.00 mA were asked"));
        let said = wrong(100.0, Some(20.0), Some(20.0), Some(50.0));
        assert_eq!(said.as_deref(), Some("the device's set point is 50.00 % where 100.00 % were asked"));
        // By a command the current is anywhere; at a stop the set point may be held at its end.
        assert_eq!(wrong(25.0, None, Some(12.0), Some(25.9)), None);
        assert_eq!(wrong(103.125, Some(20.5), Some(20.5), Some(100.0)), None);
        assert_eq!(wrong(25.0, None, None, None), None);
    }
}
