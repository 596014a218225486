//! Friction of packing and guides: dry friction that falls once the stem slips, and viscous drag [PL-10].
//!
//! [`FrictionConfig::step`] is the working model: Karnopp's, in which a stem that sticks does not move at all [PL-11].
//! [`Bristle`] is the reference model, LuGre, which bends before it slips and needs far smaller steps [PL-12].

mod bristle;
#[cfg(test)]
mod published;
#[cfg(test)]
mod tests;

pub use bristle::{Bristle, BristleConfig};

use super::ConfigError;

/// Largest force and stiffness that a step works with; more is taken for this, so that nothing overflows.
pub(super) const LARGEST: f64 = 1e12;

/// A force on the stem and how it changes as the stem moves.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Force {
    /// Newtons where the stem is now; positive opens.
    pub n: f64,
    /// Change of the force for each metre towards open, N/m: below 0 for springs and for enclosed air.
    pub n_per_m: f64,
}

impl Force {
    /// The same force wherever the stem is.
    pub const fn steady(n: f64) -> Force {
        Force { n, n_per_m: 0.0 }
    }

    /// What a step can work with: no NaN, nothing beyond [`LARGEST`].
    pub(super) fn bounded(self) -> Force {
        let bound = |x: f64| if x.is_nan() { 0.0 } else { x.clamp(-LARGEST, LARGEST) };
        Force { n: bound(self.n), n_per_m: bound(self.n_per_m) }
    }

    /// Work done while the stem moves by `way_m`, J: exact for a force that changes in proportion.
    pub fn work_j(&self, way_m: f64) -> f64 {
        (self.n + 0.5 * self.n_per_m * way_m) * way_m
    }
}

impl core::ops::Add for Force {
    type Output = Force;
    fn add(self, other: Force) -> Force {
        Force { n: self.n + other.n, n_per_m: self.n_per_m + other.n_per_m }
    }
}

/// How dry friction falls from the static to the Coulomb force as the stem goes faster [PL-10].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Fall {
    /// exp(-(v/vs)²), usual for valves. The default.
    #[default]
    Square,
    /// exp(-v/vs).
    Plain,
}

/// Friction of a stem [PL-10].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrictionConfig {
    /// Dry friction while it slips fast, N: 0 to 1e7.
    pub coulomb_n: f64,
    /// Force that a stem at rest bears without moving, N: `coulomb_n` to 1e7.
    pub static_n: f64,
    /// Speed at which dry friction has fallen most of the way to `coulomb_n`, m/s: 1e-9 to 10.
    pub stribeck_m_per_s: f64,
    /// How it falls.
    pub fall: Fall,
    /// Drag for each metre a second, N s/m: 0 to 1e8.
    pub viscous_n_s_per_m: f64,
}

/// What a step of friction came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slid {
    /// Speed at the end of the step, m/s, positive opens; exactly 0 if it sticks.
    pub velocity_m_per_s: f64,
    /// Mean force with which friction holds against opening, N; negative holds against closing.
    pub friction_n: f64,
}

impl FrictionConfig {
    /// Nothing rubs.
    pub const NONE: FrictionConfig = FrictionConfig {
        coulomb_n: 0.0,
        static_n: 0.0,
        stribeck_m_per_s: 1e-3,
        fall: Fall::Square,
        viscous_n_s_per_m: 0.0,
    };

    /// Friction of the invented reference actuator [PL-18].
    pub const fn reference() -> FrictionConfig {
        FrictionConfig {
            coulomb_n: 140.0,
            static_n: 168.0,
            stribeck_m_per_s: 1e-3,
            fall: Fall::Square,
            viscous_n_s_per_m: 2000.0,
        }
    }

    /// # Errors
    /// A value outside its range.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("coulomb_n", self.coulomb_n, 0.0..=1e7)?;
        ConfigError::unless_in("static_n", self.static_n, self.coulomb_n..=1e7)?;
        ConfigError::unless_in("stribeck_m_per_s", self.stribeck_m_per_s, 1e-9..=10.0)?;
        ConfigError::unless_in("viscous_n_s_per_m", self.viscous_n_s_per_m, 0.0..=1e8)?;
        Ok(())
    }

    /// With dry friction `share` times as strong, as when the packing is tightened; drag stays.
    #[must_use]
    pub fn tightened(mut self, share: f64) -> FrictionConfig {
        self.coulomb_n *= share;
        self.static_n *= share;
        self
    }

    /// With `n` newtons of dry friction more, static and Coulomb alike.
    #[must_use]
    pub fn plus(mut self, n: f64) -> FrictionConfig {
        self.coulomb_n += n;
        self.static_n += n;
        self
    }

    /// Dry friction at a speed, N, and how it changes with it, N s/m (0 or below).
    pub fn dry(&self, speed_m_per_s: f64) -> (f64, f64) {
        let x = speed_m_per_s.abs() / self.stribeck_m_per_s;
        let more = self.static_n - self.coulomb_n;
        // Past this the rest is below any rounding, and its square might overflow.
        if x > 40.0 || more == 0.0 {
            return (self.coulomb_n, 0.0);
        }
        let (left, slope) = match self.fall {
            Fall::Square => {
                let left = (-x * x).exp();
                (left, -2.0 * x * left)
            }
            Fall::Plain => {
                let left = (-x).exp();
                (left, -left)
            }
        };
        (self.coulomb_n + more * left, more * slope / self.stribeck_m_per_s)
    }

    /// Friction of a stem that has long moved at this speed, N: signed as the speed is.
    pub fn sliding_n(&self, velocity_m_per_s: f64) -> f64 {
        let v = velocity_m_per_s;
        if v == 0.0 {
            return 0.0;
        }
        self.dry(v).0 * v.signum() + self.viscous_n_s_per_m * v
    }

    /// One step of the working model [PL-11]: the speed at the end of `dt_s` under `force`.
    ///
    /// The equation of motion is solved for the speed at the end of the step, so no step is too long for it. Of several
    /// solutions, which the fall of dry friction makes possible, it takes the one that the stem would reach first.
    /// `dt_s` and `mass_kg` must be above 0.
    pub fn step(&self, dt_s: f64, mass_kg: f64, velocity_m_per_s: f64, force: Force) -> Slid {
        let inertia = mass_kg / dt_s;
        // A force that grows along the way is taken as it is at the start: solving for its end could divide by nothing.
        let carried = inertia - force.n_per_m.min(0.0) * dt_s;
        let push = inertia * velocity_m_per_s + force.n;
        let side = if velocity_m_per_s == 0.0 { push.signum() } else { velocity_m_per_s.signum() };
        let mut velocity = side * self.slip(side * push, carried, velocity_m_per_s.abs());
        if velocity == 0.0 {
            // It passes rest if the forces beat static friction there.
            velocity = -side * self.slip(-side * push, carried, 0.0);
        }
        if velocity == 0.0 {
            velocity = 0.0; // no negative zero
        }
        Slid { velocity_m_per_s: velocity, friction_n: push - carried * velocity }
    }

    /// Speed v, from `from` towards the first solution of `carried * v + viscous * v + dry(v) = push`; 0 if it sticks.
    fn slip(&self, push: f64, carried: f64, from: f64) -> f64 {
        let a = carried + self.viscous_n_s_per_m;
        let (lowest, highest) = (((push - self.static_n) / a).max(0.0), (push - self.coulomb_n) / a);
        if highest <= 0.0 || from == 0.0 && lowest == 0.0 {
            return 0.0;
        }
        let mut v = from.clamp(lowest, highest);
        for _ in 0..20 {
            let (dry, slope) = self.dry(v);
            let (rest, slope) = (a * v + dry - push, slope + a);
            let next = v - rest / slope;
            // Which solution lies on which side follows from the shape of the fall: its slope has one lowest place, so
            // that downwards from where `rest` does not grow there is a solution only if the push beats the static
            // force, and upwards from there is exactly one.
            let next = match (rest > 0.0, slope > 0.0 && next.is_finite()) {
                (true, good) if !good || next < lowest => match lowest > 0.0 {
                    true => lowest,
                    false => return 0.0,
                },
                (false, good) if !good || next > highest => highest,
                _ => next,
            };
            let done = (next - v).abs() <= 1e-13 * next;
            v = next;
            if done {
                break;
            }
        }
        v
    }
}
