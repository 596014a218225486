//! How the way of a stem or the turn of a shaft becomes the angle of a lever: geometry alone.

use super::super::ConfigError;
use core::f64::consts::FRAC_PI_2;

/// A lever that turns further than this away from square is refused, rad [PL-20].
pub const LARGEST_LEVER_RAD: f64 = 80.0 * core::f64::consts::PI / 180.0;

/// Law between where the valve stands and the angle of the lever, which is 0 where the lever is square to the stem.
///
/// Where the valve stands is the stem's way in m for `Tangent` and `Sine`, the shaft's angle in rad for `PartTurn`.
/// No function of it returns a number that is not finite for a finite argument and numbers that `check` accepts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Law {
    /// Pin on the stem's straight path, slot in the lever: way = distance x tan(angle) [PL-20].
    Tangent {
        /// From the lever's pivot to the path of the pin, 0.001 to 1 m.
        distance_m: f64,
        /// The stem's way at which the lever is square to it, -2 to 2 m.
        square_at_m: f64,
    },
    /// Pin on the lever, slot on the stem and square to it: way = radius x sin(angle) [PL-20].
    Sine {
        /// From the lever's pivot to the pin, 0.001 to 1 m.
        radius_m: f64,
        /// The stem's way at which the lever is square to it, -2 to 2 m.
        square_at_m: f64,
    },
    /// Sensor on the shaft of a part-turn valve by a coupling [PL-22].
    PartTurn {
        /// The shaft's angle at which the lever's is 0 and both forks of the coupling are square, -7 to 7 rad.
        square_at_rad: f64,
        /// Angle between both shafts, 0 to 0.6 rad; 0 is a coupling without error.
        misaligned_rad: f64,
    },
}

impl Law {
    /// A tangent law that is square at mid travel and turns `half_rad` to each side over `stroke_m`.
    pub fn tangent_for(stroke_m: f64, half_rad: f64) -> Law {
        Law::Tangent { distance_m: stroke_m / 2.0 / half_rad.tan(), square_at_m: stroke_m / 2.0 }
    }

    /// A sine law that is square at mid travel and turns `half_rad` to each side over `stroke_m`.
    pub fn sine_for(stroke_m: f64, half_rad: f64) -> Law {
        Law::Sine { radius_m: stroke_m / 2.0 / half_rad.sin(), square_at_m: stroke_m / 2.0 }
    }

    /// A straight coupling to a shaft that turns from 0 to `turn_rad`; the lever's angle is 0 at half of it.
    pub fn part_turn_for(turn_rad: f64) -> Law {
        Law::PartTurn { square_at_rad: turn_rad / 2.0, misaligned_rad: 0.0 }
    }

    /// Whether where the valve stands is a shaft's angle and not a stem's way.
    pub fn is_part_turn(&self) -> bool {
        matches!(self, Law::PartTurn { .. })
    }

    /// Angle of the lever, rad, where the valve stands at `at_m_or_rad`; opening makes it rise.
    ///
    /// A sine law that is asked for more than its radius answers 90 degrees; see [`Law::saturated`].
    pub fn lever_rad(&self, at_m_or_rad: f64) -> f64 {
        match *self {
            Law::Tangent { distance_m, square_at_m } => ((at_m_or_rad - square_at_m) / distance_m).atan(),
            Law::Sine { radius_m, square_at_m } => {
                ((at_m_or_rad - square_at_m) / radius_m).clamp(-1.0, 1.0).asin()
            }
            Law::PartTurn { square_at_rad, misaligned_rad } => {
                joint_rad(at_m_or_rad - square_at_rad, misaligned_rad.cos())
            }
        }
    }

    /// Where the valve stands, m or rad, when the lever is at `lever_rad`; the inverse of [`Law::lever_rad`].
    ///
    /// Angles beyond 90 degrees are taken for 90 degrees by both laws of a lever.
    pub fn at_m_or_rad(&self, lever_rad: f64) -> f64 {
        match *self {
            Law::Tangent { distance_m, square_at_m } => {
                square_at_m + distance_m * lever_rad.clamp(-FRAC_PI_2, FRAC_PI_2).tan()
            }
            Law::Sine { radius_m, square_at_m } => {
                square_at_m + radius_m * lever_rad.clamp(-FRAC_PI_2, FRAC_PI_2).sin()
            }
            Law::PartTurn { square_at_rad, misaligned_rad } => {
                square_at_rad + joint_rad(lever_rad, 1.0 / misaligned_rad.cos())
            }
        }
    }

    /// How fast the lever turns for the way: rad/m, or rad/rad of the shaft. 0 where the sine law is saturated.
    pub fn lever_rad_per_m_or_rad(&self, at_m_or_rad: f64) -> f64 {
        match *self {
            Law::Tangent { distance_m, square_at_m } => {
                let x = (at_m_or_rad - square_at_m) / distance_m;
                1.0 / (distance_m * (1.0 + x * x))
            }
            Law::Sine { radius_m, square_at_m } => {
                let x = (at_m_or_rad - square_at_m) / radius_m;
                if x.abs() < 1.0 { 1.0 / (radius_m * (1.0 - x * x).sqrt()) } else { 0.0 }
            }
            Law::PartTurn { square_at_rad, misaligned_rad } => {
                let (sin, cos) = (at_m_or_rad - square_at_rad).sin_cos();
                let c = misaligned_rad.cos();
                c / (cos * cos + c * c * sin * sin)
            }
        }
    }

    /// Whether the valve stands beyond what the law can follow: further from square than the sine law's radius.
    pub fn saturated(&self, at_m_or_rad: f64) -> bool {
        match *self {
            Law::Sine { radius_m, square_at_m } => (at_m_or_rad - square_at_m).abs() > radius_m,
            Law::Tangent { .. } | Law::PartTurn { .. } => false,
        }
    }

    /// How far along its slot the pin is from the line through the pivot (sine law) or from the pivot (tangent law), m.
    ///
    /// None for a coupling, which has no slot.
    pub fn along_slot_m(&self, at_m_or_rad: f64) -> Option<f64> {
        match *self {
            Law::Tangent { distance_m, square_at_m } => Some(distance_m.hypot(at_m_or_rad - square_at_m)),
            Law::Sine { radius_m, square_at_m } => {
                let x = at_m_or_rad - square_at_m;
                Some((radius_m * radius_m - x * x).max(0.0).sqrt())
            }
            Law::PartTurn { .. } => None,
        }
    }

    /// The law with its distance or radius times `ratio`: a pin in another hole [PL-23]. A coupling stays as it is.
    pub fn with_length_times(self, ratio: f64) -> Law {
        match self {
            Law::Tangent { distance_m, square_at_m } => {
                Law::Tangent { distance_m: distance_m * ratio, square_at_m }
            }
            Law::Sine { radius_m, square_at_m } => Law::Sine { radius_m: radius_m * ratio, square_at_m },
            Law::PartTurn { .. } => self,
        }
    }

    /// Whether the numbers are usable for a valve that goes from `closed_m_or_rad` to `open_m_or_rad`.
    ///
    /// # Errors
    /// A number is out of its range, or the lever would turn more than 80 degrees from square [PL-20].
    pub fn check(&self, closed_m_or_rad: f64, open_m_or_rad: f64) -> Result<(), ConfigError> {
        match *self {
            Law::Tangent { distance_m: length_m, square_at_m }
            | Law::Sine { radius_m: length_m, square_at_m } => {
                let sine = matches!(self, Law::Sine { .. });
                let field = if sine { "radius_m" } else { "distance_m" };
                ConfigError::unless_in(field, length_m, 0.001..=1.0)?;
                ConfigError::unless_in("square_at_m", square_at_m, -2.0..=2.0)?;
                for end_m in [closed_m_or_rad, open_m_or_rad] {
                    ConfigError::unless_in("stroke_m", end_m, -2.0..=2.0)?;
                    let way_m = (end_m - square_at_m).abs();
                    let needed_m =
                        way_m / if sine { LARGEST_LEVER_RAD.sin() } else { LARGEST_LEVER_RAD.tan() };
                    if length_m < needed_m {
                        let why = format!(
                            "{length_m} m is too short: the stem goes {way_m:.4} m from where the lever is square, \
                             which takes {needed_m:.4} m at least (80 degrees)"
                        );
                        return Err(ConfigError { field, why });
                    }
                }
            }
            Law::PartTurn { square_at_rad, misaligned_rad } => {
                ConfigError::unless_in("square_at_rad", square_at_rad, -7.0..=7.0)?;
                ConfigError::unless_in("misaligned_rad", misaligned_rad, 0.0..=0.6)?;
                ConfigError::unless_in("turn_rad", closed_m_or_rad, -7.0..=7.0)?;
                ConfigError::unless_in("turn_rad", open_m_or_rad, -7.0..=7.0)?;
            }
        }
        Ok(())
    }
}

/// Angle behind one cross joint whose shafts enclose an angle of cosine `c`: tan(out) = c tan(in), over any turn.
fn joint_rad(in_rad: f64, c: f64) -> f64 {
    // The difference of both angles stays within 90 degrees, so it needs no count of turns.
    let (sin, cos) = in_rad.sin_cos();
    in_rad + ((c - 1.0) * sin * cos).atan2(cos * cos + c * sin * sin)
}
