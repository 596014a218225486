//! How travel follows the set point [DV-82].

use super::config::SetUpError;
use serde::{Deserialize, Serialize};

/// Points of a characteristic by points, the ends included.
pub const POINTS: usize = 11;

/// Rangeabilities that equal percentage may have.
pub const RANGEABILITY: core::ops::RangeInclusive<f64> = 2.0..=200.0;

/// A characteristic: share of the set point to share of the travel, both 0 to 1, rising.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub enum Characteristic {
    /// Travel is the set point.
    #[default]
    Linear,
    /// R^(x-1) for a rangeability R, shifted so that it begins at 0: (R^x - 1)/(R - 1) [DV-82].
    EqualPercentage {
        /// Ratio of the flows at 100 % and 0 %, 2 to 200.
        rangeability: f64,
    },
    /// Opens quickly and flattens out: the inverse of equal percentage with rangeability 50 [DV-82].
    QuickOpening,
    /// Straight lines between points (set point, travel), the first at set point 0 and the last at 1, none falling.
    ByPoints([(f64, f64); POINTS]),
}

/// Why points are no characteristic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BadPoints {
    /// A share is outside of 0 to 1, or no number.
    Outside(usize),
    /// This point's set point is not above, or its travel below, that of the point before it.
    NotRising(usize),
    /// The first point is not at set point 0, or the last not at 1.
    Ends,
}

const QUICK: f64 = 50.0;

fn equal(rangeability: f64, x: f64) -> f64 {
    (rangeability.powf(x) - 1.0) / (rangeability - 1.0)
}

fn equal_back(rangeability: f64, y: f64) -> f64 {
    (1.0 + y * (rangeability - 1.0)).ln() / rangeability.ln()
}

/// In straight lines through points whose first coordinates rise. Where two are the same the later one counts.
fn through(points: impl DoubleEndedIterator<Item = (f64, f64)> + Clone, x: f64) -> f64 {
    let Some(before) = points.clone().rev().find(|p| p.0 <= x) else {
        return points.clone().next().map_or(x, |p| p.1);
    };
    match points.clone().find(|p| p.0 > x) {
        Some(after) => before.1 + (after.1 - before.1) * (x - before.0) / (after.0 - before.0),
        None => before.1,
    }
}

impl Characteristic {
    /// A characteristic by points.
    ///
    /// # Errors
    /// What is wrong with the points, and with which.
    pub fn by_points(points: [(f64, f64); POINTS]) -> Result<Characteristic, BadPoints> {
        let share = 0.0..=1.0;
        for (n, (x, y)) in points.iter().enumerate() {
            if !share.contains(x) || !share.contains(y) {
                return Err(BadPoints::Outside(n));
            }
        }
        if points[0].0 != 0.0 || points[POINTS - 1].0 != 1.0 {
            return Err(BadPoints::Ends);
        }
        let falls = |w: &[(f64, f64)]| w[1].0 <= w[0].0 || w[1].1 < w[0].1;
        match points.windows(2).position(falls) {
            Some(n) => Err(BadPoints::NotRising(n + 1)),
            None => Ok(Characteristic::ByPoints(points)),
        }
    }

    /// Whether it is one: read from a memory it may be anything.
    ///
    /// # Errors
    /// A rangeability outside [`RANGEABILITY`], or points that are no characteristic.
    pub fn check(&self) -> Result<(), SetUpError> {
        let bad = |why: String| Err(SetUpError { field: "characteristic", why });
        match self {
            Characteristic::EqualPercentage { rangeability } if !RANGEABILITY.contains(rangeability) => {
                let (least, most) = (RANGEABILITY.start(), RANGEABILITY.end());
                bad(format!("a rangeability of {rangeability} is not within {least} to {most}"))
            }
            Characteristic::ByPoints(points) => match Characteristic::by_points(*points) {
                Ok(_) => Ok(()),
                Err(BadPoints::Outside(n)) => bad(format!("point {n} is not within 0 to 1")),
                Err(BadPoints::NotRising(n)) => bad(format!("point {n} does not rise above the one before")),
                Err(BadPoints::Ends) => bad("the first point must be at 0, the last at 1".to_string()),
            },
            _ => Ok(()),
        }
    }

    /// Share of travel for a share of set point. What is outside of 0 to 1 counts as the nearer end.
    pub fn travel(&self, set_point: f64) -> f64 {
        let x = set_point.clamp(0.0, 1.0);
        match self {
            Characteristic::Linear => x,
            Characteristic::EqualPercentage { rangeability } => equal(*rangeability, x),
            Characteristic::QuickOpening => equal_back(QUICK, x),
            Characteristic::ByPoints(points) => through(points.iter().copied(), x),
        }
    }

    /// Share of set point for a share of travel: the inverse of [`Characteristic::travel`]; of a level stretch its upper end.
    pub fn set_point(&self, travel: f64) -> f64 {
        let y = travel.clamp(0.0, 1.0);
        match self {
            Characteristic::Linear => y,
            Characteristic::EqualPercentage { rangeability } => equal_back(*rangeability, y),
            Characteristic::QuickOpening => equal(QUICK, y),
            Characteristic::ByPoints(points) => through(points.iter().map(|p| (p.1, p.0)), y),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const EQUAL_25: Characteristic = Characteristic::EqualPercentage { rangeability: 25.0 };
    const EQUAL_50: Characteristic = Characteristic::EqualPercentage { rangeability: 50.0 };

    /// [DV-82], arithmetic: at half of the set point (sqrt(R) - 1)/(R - 1) = 1/(sqrt(R) + 1), which is 1/6 for 25.
    #[test]
    fn equal_percentage_at_its_middle_and_ends() {
        assert!((EQUAL_25.travel(0.5) - 1.0 / 6.0).abs() < 1e-12);
        assert!((EQUAL_50.travel(0.5) - 1.0 / (50f64.sqrt() + 1.0)).abs() < 1e-12);
        for c in [EQUAL_25, EQUAL_50, Characteristic::QuickOpening, Characteristic::Linear] {
            assert!(c.travel(0.0).abs() < 1e-12 && (c.travel(1.0) - 1.0).abs() < 1e-12, "{c:?}");
        }
        // Equal steps of the set point multiply what flows by the same: travel and what it is shifted by.
        let flow = |x: f64| EQUAL_25.travel(x) * 24.0 + 1.0;
        for x in [0.0, 0.2, 0.7] {
            assert!((flow(x + 0.1) / flow(x) - 25f64.powf(0.1)).abs() < 1e-12);
        }
    }

    #[test]
    fn points_that_are_none() {
        let mut points = core::array::from_fn(|n| (n as f64 / 10.0, n as f64 / 10.0));
        assert!(Characteristic::by_points(points).is_ok());
        points[4].1 = 0.2;
        assert_eq!(Characteristic::by_points(points), Err(BadPoints::NotRising(4)));
        points[4] = (0.3, 0.4);
        assert_eq!(Characteristic::by_points(points), Err(BadPoints::NotRising(4)));
        points[4] = (f64::NAN, 0.4);
        assert_eq!(Characteristic::by_points(points), Err(BadPoints::Outside(4)));
        points[4] = (0.4, 0.4);
        points[10].0 = 0.95;
        assert_eq!(Characteristic::by_points(points), Err(BadPoints::Ends));
        assert!(Characteristic::ByPoints(points).check().is_err() && EQUAL_25.check().is_ok());
        assert!(Characteristic::EqualPercentage { rangeability: f64::NAN }.check().is_err());
    }

    /// Straight between (0.2, 0.5) and (0.3, 0.6): half way 0.55.
    #[test]
    fn straight_lines_between_points() {
        let mut points = core::array::from_fn(|n| (n as f64 / 10.0, (0.3 + n as f64 / 10.0).min(1.0)));
        points[0].1 = 0.0;
        let Ok(c) = Characteristic::by_points(points) else { panic!("the points rise") };
        assert!((c.travel(0.25) - 0.55).abs() < 1e-12);
        assert!((c.set_point(0.55) - 0.25).abs() < 1e-12);
        assert_eq!(c.set_point(1.0), 1.0, "the upper end of the level stretch");
    }

    proptest! {
        #[test]
        fn rises_within_its_bounds_and_back(
            x in 0.0..=1.0f64,
            y in 0.0..=1.0f64,
            rangeability in RANGEABILITY,
        ) {
            for c in
                [Characteristic::Linear, Characteristic::EqualPercentage { rangeability }, Characteristic::QuickOpening]
            {
                prop_assert!((0.0..=1.0 + 1e-12).contains(&c.travel(x)));
                prop_assert!((c.set_point(c.travel(x)) - x).abs() < 1e-9);
                prop_assert!(x >= y || c.travel(x) <= c.travel(y));
            }
        }
    }
}
