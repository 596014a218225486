//! LuGre friction: bristles that bend, then slip. The reference model [PL-12].

use super::{Force, FrictionConfig, Slid};
use crate::plant::ConfigError;

/// Stiffness and damping of the bristles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BristleConfig {
    /// Stiffness (sigma 0), N/m: 1 to 1e11.
    pub stiffness_n_per_m: f64,
    /// Damping (sigma 1), N s/m: 0 to 1e9.
    pub damping_n_s_per_m: f64,
    /// Longest step of its own, s: 1e-6 to 1e-3. Default 2e-5.
    pub step_s: f64,
}

impl BristleConfig {
    /// Stiffness and damping, with the usual step.
    pub const fn new(stiffness_n_per_m: f64, damping_n_s_per_m: f64) -> BristleConfig {
        BristleConfig { stiffness_n_per_m, damping_n_s_per_m, step_s: 2e-5 }
    }

    /// # Errors
    /// A value outside its range.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("stiffness_n_per_m", self.stiffness_n_per_m, 1.0..=1e11)?;
        ConfigError::unless_in("damping_n_s_per_m", self.damping_n_s_per_m, 0.0..=1e9)?;
        ConfigError::unless_in("step_s", self.step_s, 1e-6..=1e-3)?;
        Ok(())
    }
}

/// The bristles of a stem and how far they are bent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bristle {
    config: BristleConfig,
    bend_m: f64,
}

impl Bristle {
    /// Bristles that stand straight.
    ///
    /// # Errors
    /// As [`BristleConfig::check`].
    pub fn new(config: BristleConfig) -> Result<Bristle, ConfigError> {
        config.check()?;
        Ok(Bristle { config, bend_m: 0.0 })
    }

    /// The set-up.
    pub fn config(&self) -> &BristleConfig {
        &self.config
    }

    /// How far the bristles are bent, m; positive as if the stem had moved towards open.
    pub fn bend_m(&self) -> f64 {
        self.bend_m
    }

    /// One step, not divided: `dt_s` above 0 and at most [`BristleConfig::step_s`] for a faithful result. `friction`
    /// gives static, Coulomb and Stribeck and, as sigma 2, the viscous drag.
    pub fn step(
        &mut self,
        friction: &FrictionConfig,
        dt_s: f64,
        mass_kg: f64,
        velocity_m_per_s: f64,
        force: Force,
    ) -> Slid {
        let inertia = mass_kg / dt_s;
        let carried = inertia - force.n_per_m.min(0.0) * dt_s;
        let push = inertia * velocity_m_per_s + force.n;
        let (sigma0, sigma1) = (self.config.stiffness_n_per_m, self.config.damping_n_s_per_m);
        let bend = |v: f64| {
            let dry = friction.dry(v).0.max(1e-9);
            (self.bend_m + dt_s * v) / (1.0 + dt_s * sigma0 * v.abs() / dry)
        };
        let holds = |v: f64| {
            let z = bend(v);
            sigma0 * z + sigma1 * (z - self.bend_m) / dt_s + friction.viscous_n_s_per_m * v
        };
        let rest = |v: f64| carried * v + holds(v) - push;
        let v = root_near(velocity_m_per_s, rest);
        self.bend_m = bend(v);
        Slid { velocity_m_per_s: v, friction_n: push - carried * v }
    }
}

/// Where `f`, which ends below 0 on the left and above 0 on the right, is 0: the bracket grows around `near`, then
/// closes by the Illinois rule.
fn root_near(near: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut fa) = (near, f(near));
    if fa == 0.0 {
        return near;
    }
    let away = -fa.signum();
    let mut width = 1e-9 + 1e-3 * near.abs();
    let (mut b, mut fb) = (a, fa);
    for _ in 0..200 {
        b = a + away * width;
        fb = f(b);
        if fb * fa <= 0.0 {
            break;
        }
        (a, fa) = (b, fb);
        width *= 4.0;
    }
    for _ in 0..100 {
        if fb == 0.0 || (b - a).abs() <= 1e-14 * b.abs().max(a.abs()) {
            break;
        }
        let c = b - fb * (b - a) / (fb - fa);
        if !c.is_finite() {
            break;
        }
        let fc = f(c);
        if fc * fb <= 0.0 {
            (a, fa) = (b, fb);
        } else {
            fa *= 0.5;
        }
        (b, fb) = (c, fc);
    }
    b
}
