//! From the stem to the sensor's shaft: lever, pin, slot, clamp, coupling, and what goes wrong with them.
//!
//! What comes out is the angle that the sensor's shaft really has; what a sensor makes of it is [`super::sensor`].

mod law;
#[cfg(test)]
mod tests;

use super::ConfigError;
pub use law::{LARGEST_LEVER_RAD, Law};

/// Which way opening turns the lever.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Sense {
    /// Opening makes the angle rise.
    #[default]
    Rising,
    /// Opening makes the angle fall: positioner on the other side, or lever turned over.
    Falling,
}

impl Sense {
    fn sign(self) -> f64 {
        match self {
            Sense::Rising => 1.0,
            Sense::Falling => -1.0,
        }
    }
}

/// From where to where the slot holds the pin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slot {
    /// Inner end, m: from the pivot along the lever (tangent law), or from the pivot square to the stem (sine law).
    pub from_m: f64,
    /// Outer end, m, counted in the same way.
    pub to_m: f64,
}

impl Slot {
    fn holds(&self, along_m: f64) -> bool {
        (self.from_m..=self.to_m).contains(&along_m)
    }
}

/// How the valve turns the sensor's shaft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkageConfig {
    /// The law; it also says whether the valve's place is a stem's way in m or a shaft's angle in rad.
    pub law: Law,
    /// Which way opening turns the lever.
    pub sense: Sense,
    /// Play of the pin in its slot along the stem, m, or of the coupling, rad: whole width, 0 to 0.05 [PL-23].
    pub play_m_or_rad: f64,
    /// The slot's ends; None: it is long enough.
    pub slot: Option<Slot>,
    /// Angle to which the lever's weight turns it once its pin is out, rad, -3.2 to 3.2; None: friction holds it.
    pub falls_to_rad: Option<f64>,
    /// How fast it turns there, rad/s, 0.01 to 100.
    pub fall_rad_per_s: f64,
}

impl LinkageConfig {
    /// A healthy linkage by this law: opening raises the angle, no play, a slot that is long enough, a lever that stays where
    /// it is without its pin (own choices).
    pub fn new(law: Law) -> LinkageConfig {
        LinkageConfig {
            law,
            sense: Sense::Rising,
            play_m_or_rad: 0.0,
            slot: None,
            falls_to_rad: None,
            fall_rad_per_s: 5.0,
        }
    }

    /// Whether this can be built for a valve that goes from `closed_m_or_rad` to `open_m_or_rad`.
    ///
    /// # Errors
    /// A number is out of its range, the law cannot follow that far, or the pin would leave its slot.
    pub fn check(&self, closed_m_or_rad: f64, open_m_or_rad: f64) -> Result<(), ConfigError> {
        self.law.check(closed_m_or_rad, open_m_or_rad)?;
        ConfigError::unless_in("play_m_or_rad", self.play_m_or_rad, 0.0..=0.05)?;
        ConfigError::unless_in("fall_rad_per_s", self.fall_rad_per_s, 0.01..=100.0)?;
        if let Some(rest_rad) = self.falls_to_rad {
            ConfigError::unless_in("falls_to_rad", rest_rad, -3.2..=3.2)?;
        }
        let Some(slot) = self.slot else {
            return Ok(());
        };
        let wrong = |why: String| Err(ConfigError { field: "slot", why });
        ConfigError::unless_in("slot", slot.from_m, 0.0..=2.0)?;
        ConfigError::unless_in("slot", slot.to_m, slot.from_m..=2.0)?;
        // Along the slot the pin is nearest or farthest at an end of travel or where the lever is square.
        let (low, high) = (closed_m_or_rad.min(open_m_or_rad), closed_m_or_rad.max(open_m_or_rad));
        let square = match self.law {
            Law::Tangent { square_at_m, .. } | Law::Sine { square_at_m, .. } => square_at_m.clamp(low, high),
            Law::PartTurn { .. } => {
                return wrong("a coupling on a shaft has no slot: leave it out".to_string());
            }
        };
        for at_m in [low, square, high] {
            match self.law.along_slot_m(at_m) {
                Some(along_m) if !slot.holds(along_m) => {
                    return wrong(format!(
                        "with the stem at {at_m} m the pin is {along_m:.4} m along the slot, which holds it from {} to {} m",
                        slot.from_m, slot.to_m
                    ));
                }
                _ => {}
            }
        }
        Ok(())
    }
}

/// What is wrong with the linkage at present; the default is nothing [PL-23].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkageFault {
    /// Pin in a wrong hole: distance or radius times this, 0.1 to 10; 1 is right. No effect on a coupling.
    pub length_ratio: f64,
    /// Pin carrier moved along the stem, m, or coupling turned on the shaft, rad, -7 to 7.
    pub shifted_m_or_rad: f64,
    /// Lever's clamp slipped on the sensor's shaft, rad, -7 to 7: added to what the sensor sees.
    pub slipped_rad: f64,
    /// Play besides what the linkage has when healthy, m or rad, 0 to 1.
    pub more_play_m_or_rad: f64,
    /// The pin is out of its slot, or the coupling's key is lost.
    pub pin_out: bool,
}

impl Default for LinkageFault {
    fn default() -> LinkageFault {
        LinkageFault {
            length_ratio: 1.0,
            shifted_m_or_rad: 0.0,
            slipped_rad: 0.0,
            more_play_m_or_rad: 0.0,
            pin_out: false,
        }
    }
}

impl LinkageFault {
    /// Whether all numbers are within their ranges.
    ///
    /// # Errors
    /// One is not.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("length_ratio", self.length_ratio, 0.1..=10.0)?;
        ConfigError::unless_in("shifted_m_or_rad", self.shifted_m_or_rad, -7.0..=7.0)?;
        ConfigError::unless_in("slipped_rad", self.slipped_rad, -7.0..=7.0)?;
        ConfigError::unless_in("more_play_m_or_rad", self.more_play_m_or_rad, 0.0..=1.0)?;
        Ok(())
    }
}

/// Play between two parts: the follower moves only when the leader has crossed the gap [PL-23].
///
/// What comes out depends on the way of the leader alone, not on its speed or on how it is cut into steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Play {
    follower: f64,
}

impl Play {
    /// A follower in the middle of the gap around a leader at `leader`.
    pub fn at(leader: f64) -> Play {
        Play { follower: if leader.is_finite() { leader } else { 0.0 } }
    }

    /// Where the follower is once the leader is at `leader`, with a gap of `width` in all, both in one unit.
    ///
    /// A leader or a width that is no number changes nothing.
    pub fn follow(&mut self, leader: f64, width: f64) -> f64 {
        let half = width.max(0.0) / 2.0;
        if leader.is_finite() && half.is_finite() {
            self.follower = self.follower.clamp(leader - half, leader + half);
        }
        self.follower
    }
}

/// What the linkage does after a step: the truth, which no electronics see.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lever {
    /// Angle of the lever, rad, 0 where it is square to the stem.
    pub lever_rad: f64,
    /// Angle of the sensor's shaft, rad: the lever's with what its clamp slipped.
    pub sensor_rad: f64,
    /// Whether the lever still follows the valve: false while its pin is out of the slot.
    pub follows: bool,
    /// Whether the valve stands beyond what a sine law can follow, so that the lever stays at 90 degrees.
    pub saturated: bool,
}

/// A linkage at work.
#[derive(Clone, Debug, PartialEq)]
pub struct Linkage {
    config: LinkageConfig,
    fault: LinkageFault,
    law: Law,
    width: f64,
    play: Play,
    out: bool,
    now: Lever,
}

impl Linkage {
    /// A linkage of a valve that goes from `closed_m_or_rad` to `open_m_or_rad` and stands closed.
    ///
    /// # Errors
    /// As [`LinkageConfig::check`].
    pub fn new(
        config: LinkageConfig,
        closed_m_or_rad: f64,
        open_m_or_rad: f64,
    ) -> Result<Linkage, ConfigError> {
        config.check(closed_m_or_rad, open_m_or_rad)?;
        let lever_rad = config.sense.sign() * config.law.lever_rad(closed_m_or_rad);
        Ok(Linkage {
            config,
            fault: LinkageFault::default(),
            law: config.law,
            width: config.play_m_or_rad,
            play: Play::at(closed_m_or_rad),
            out: false,
            now: Lever { lever_rad, sensor_rad: lever_rad, follows: true, saturated: false },
        })
    }

    /// How it was set up.
    pub fn config(&self) -> &LinkageConfig {
        &self.config
    }

    /// What is wrong with it.
    pub fn fault(&self) -> &LinkageFault {
        &self.fault
    }

    /// From the next step on this is wrong with it. A pin that is no longer said to be out is put back into its slot.
    ///
    /// # Errors
    /// As [`LinkageFault::check`]; then nothing changes.
    pub fn set_fault(&mut self, fault: LinkageFault) -> Result<(), ConfigError> {
        fault.check()?;
        if fault.pin_out != self.fault.pin_out {
            self.out = fault.pin_out;
        }
        self.fault = fault;
        self.law = self.config.law.with_length_times(fault.length_ratio);
        self.width = self.config.play_m_or_rad + fault.more_play_m_or_rad;
        Ok(())
    }

    /// Puts a pin that had passed the slot's end back, unless the fault holds it out.
    pub fn put_pin_back(&mut self) {
        self.out = self.fault.pin_out;
    }

    /// What the linkage is doing since the last step.
    pub fn lever(&self) -> Lever {
        self.now
    }

    /// A step of `dt_s` with the valve at `at_m_or_rad` at its end; the time matters to a falling lever alone.
    ///
    /// An argument that is no number leaves the lever where it is.
    pub fn step(&mut self, dt_s: f64, at_m_or_rad: f64) -> Lever {
        let at = self.play.follow(at_m_or_rad, self.width) + self.fault.shifted_m_or_rad;
        if let (Some(slot), Some(along_m)) = (self.config.slot, self.law.along_slot_m(at)) {
            self.out |= !slot.holds(along_m);
        }
        let mut lever_rad = self.now.lever_rad;
        if !self.out {
            lever_rad = self.config.sense.sign() * self.law.lever_rad(at);
        } else if let Some(rest_rad) = self.config.falls_to_rad {
            let most_rad = self.config.fall_rad_per_s * if dt_s.is_finite() { dt_s.max(0.0) } else { 0.0 };
            lever_rad += (rest_rad - lever_rad).clamp(-most_rad, most_rad);
        }
        self.now = Lever {
            lever_rad,
            sensor_rad: lever_rad + self.fault.slipped_rad,
            follows: !self.out,
            saturated: !self.out && self.law.saturated(at),
        };
        self.now
    }

    /// How fast the lever turns for the way at this place, rad/m or rad/rad, with its sign; play is left out.
    /// 0 where it does not follow.
    pub fn lever_rad_per_m_or_rad(&self, at_m_or_rad: f64) -> f64 {
        if self.out {
            return 0.0;
        }
        self.config.sense.sign() * self.law.lever_rad_per_m_or_rad(at_m_or_rad + self.fault.shifted_m_or_rad)
    }
}
