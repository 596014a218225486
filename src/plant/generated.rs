//! Healthy valves by seed: sizes of the trade, invented [DV-94].
//!
//! Tests of the positioner and the evaluation of fault finding judge on them, each on seeds of its own.

use super::actuator::{Action, ActuatorConfig, ChamberSize, ProcessForce, Pushes, Spring};
use super::air::Restriction;
use super::fail::FailConfig;
use super::friction::FrictionConfig;
use super::linkage::{Law, LinkageConfig, Sense};
use super::motion::{MovingConfig, Seat};
use super::sensor::SensorConfig;
use super::stage::{StageConfig, StageKind};
use super::supply::{RegulatorConfig, SupplyConfig};
use super::transmission::{ShaftLoad, Transmission};
use super::valve::{TubingConfig, ValveConfig};
use oorandom::Rand64;

/// A stream of numbers that a seed fixes.
#[derive(Clone, Debug)]
pub struct Dice(Rand64);

impl Dice {
    /// The stream of a seed.
    pub fn new(seed: u64) -> Dice {
        let mut dice = Rand64::new(u128::from(seed).wrapping_mul(0x9E37_79B9_7F4A_7C15_F39C_C060_5CED_C835));
        for _ in 0..4 {
            dice.rand_u64();
        }
        Dice(dice)
    }

    /// Even from `low` to `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.rand_float()
    }

    /// Even in the logarithm.
    fn scale(&mut self, low: f64, high: f64) -> f64 {
        (self.between(low.ln(), high.ln())).exp()
    }

    /// Whether something happens that has this share of cases, 0 to 1.
    pub fn chance(&mut self, share: f64) -> bool {
        self.0.rand_float() < share
    }
}

/// A healthy valve.
#[derive(Clone, Debug, PartialEq)]
pub struct Generated {
    /// How it is set up; its `check` passes.
    pub valve: ValveConfig,
    /// The whole band of friction, 2 Fc, as a share of the spring's range (of the full thrust without one).
    pub friction_share: f64,
    /// What it is, for people.
    pub words: String,
}

/// The valve of a seed: stem or part-turn, single-acting either way or double-acting, 1.4 to 6 bar, 10 to 100 mm, 60 to 800 cm2, friction of
/// 2 to 20 %, strokes of 1.5 to 20 s, both kinds of output stage [DV-94].
pub fn valve(seed: u64) -> Generated {
    let d = &mut Dice::new(seed);
    let part_turn = d.chance(0.25);
    let action = match d.between(0.0, 3.0) as u32 {
        0 => Action::AirOpens,
        1 => Action::AirCloses,
        _ => Action::Double,
    };
    let stroke_m = d.scale(0.01, 0.1);
    let supply_pa = d.scale(1.4e5, 6e5);
    let area_m2 = d.scale(0.006, 0.08);
    let dead_volume_m3 = area_m2 * stroke_m * d.between(0.25, 1.0);
    let friction_share = d.between(0.02, 0.20);
    let mut moving = MovingConfig::reference();
    let spring_pa = (d.between(0.12, 0.22) * supply_pa, d.between(0.5, 0.75) * supply_pa);
    let (spring, range_pa) = match action {
        Action::Double => (None, supply_pa),
        _ => {
            let pushes = if action == Action::AirOpens { Pushes::Closed } else { Pushes::Open };
            let preload_n = spring_pa.0 * area_m2;
            let rate_n_per_m = (spring_pa.1 - spring_pa.0) * area_m2 / stroke_m;
            (Some(Spring { pushes, preload_n, rate_n_per_m }), spring_pa.1 - spring_pa.0)
        }
    };
    let coulomb_n = 0.5 * friction_share * range_pa * area_m2;
    let mass_kg = d.between(0.7, 2.0) * (0.5 + 60.0 * area_m2);
    // Against the stiffness of spring and enclosed air.
    let stiffness = range_pa * area_m2 / stroke_m + 1.5 * supply_pa * area_m2 / stroke_m;
    let viscous_n_s_per_m = d.between(0.3, 1.5) * 2.0 * (mass_kg * stiffness).sqrt();
    // What it slips in one go, share of the stroke, must leave steps of 1 % possible: 0.7 % at most.
    let enclosed = 0.5 * stroke_m + dead_volume_m3 / area_m2;
    let air_n_per_m = (1.0133e5 + 0.4 * supply_pa) * area_m2 / enclosed;
    let hardness = match action {
        Action::Double => 2.0 * air_n_per_m,
        _ => range_pa * area_m2 / stroke_m + air_n_per_m,
    };
    let most_ratio = 1.0 + 0.007 * stroke_m * hardness / coulomb_n;
    let static_ratio = d.between(1.0, 1.2).min(most_ratio);
    let mut friction = FrictionConfig {
        coulomb_n,
        static_n: coulomb_n * static_ratio,
        stribeck_m_per_s: d.scale(3e-4, 3e-3),
        viscous_n_s_per_m,
        ..FrictionConfig::reference()
    };
    moving.stroke_m = stroke_m;
    moving.mass_kg = mass_kg;
    let half_rad = d.between(14.0, 30.0).to_radians();
    let mut linkage = if part_turn {
        let turn_rad = 90f64.to_radians();
        let yoke = d.chance(0.5);
        moving.transmission = match yoke {
            true => Transmission::Yoke { distance_m: 0.5 * stroke_m },
            false => Transmission::Rack { radius_m: stroke_m / turn_rad },
        };
        // A third of the friction is the shaft's.
        let running_nm = coulomb_n / 3.0 * stroke_m / turn_rad;
        friction = friction.tightened(2.0 / 3.0);
        moving.shaft = ShaftLoad {
            running_nm,
            break_nm: running_nm * d.between(1.0, 2.0),
            fade_rad: 0.1,
            inertia_kg_m2: 0.1 * mass_kg * stroke_m * stroke_m,
        };
        LinkageConfig::new(Law::part_turn_for(turn_rad))
    } else {
        moving.seat = Seat { grip_n: d.between(0.0, 0.02) * range_pa * area_m2, fade_m: 0.01 * stroke_m };
        let square_at_m = stroke_m * d.between(0.47, 0.53);
        LinkageConfig::new(match d.chance(0.5) {
            true => Law::Tangent { distance_m: 0.5 * stroke_m / half_rad.tan(), square_at_m },
            false => Law::Sine { radius_m: 0.5 * stroke_m / half_rad.sin(), square_at_m },
        })
    };
    moving.friction = friction;
    if d.chance(0.5) {
        linkage.sense = Sense::Falling;
    }
    let whole = if part_turn { 90f64.to_radians() } else { stroke_m };
    linkage.play_m_or_rad = d.between(0.0, 5e-4) * whole;
    // The reference strokes in 1.9 s at 0.5e-8 with 1.2 L; the time scales with volume over conductance.
    let stroke_s = d.scale(1.5, 20.0);
    let fill = 0.5e-8 * (dead_volume_m3 + area_m2 * stroke_m) / 1.2e-3 * 1.9 / stroke_s;
    let stage = StageConfig {
        kind: match d.chance(0.5) {
            true => StageKind::BlockedAtRest { dead_band: d.between(0.0, 0.08) },
            false => StageKind::PressurisedAtRest { rest_opening: d.between(0.005, 0.05) },
        },
        lag_s: d.between(0.0, 0.05),
        fill: Restriction::usual(fill),
        exhaust: Restriction::usual(fill * d.between(0.7, 1.3)),
        bleed: Restriction::usual(0.01 * fill),
        ..StageConfig::default()
    };
    let wide = |times: f64| Restriction::usual((times * fill).max(1e-9));
    let supply = SupplyConfig {
        header_gauge_pa: supply_pa + 1.5e5,
        filter: wide(16.0),
        filter_blocked_share: 0.0,
        regulator: Some(RegulatorConfig {
            set_gauge_pa: supply_pa,
            band_pa: 0.1 * supply_pa,
            restriction: wide(6.0),
        }),
        regulated_volume_m3: 2e-4,
        line: wide(8.0),
        inlet_volume_m3: 1e-4,
    };
    let process = d.between(-0.04, 0.04) * range_pa * area_m2;
    let chamber = ChamberSize { area_m2, dead_volume_m3 };
    let words = format!(
        "{action:?} {}, {:.0} mm, {:.0} cm2, {:.2} bar, friction {:.1} % static {static_ratio:.2}, {stroke_s:.1} s, {:?}, lag {:.0} ms",
        if part_turn { "part-turn" } else { "stem" },
        stroke_m * 1e3,
        area_m2 * 1e4,
        supply_pa / 1e5,
        friction_share * 100.0,
        stage.kind,
        stage.lag_s * 1e3,
    );
    let valve = ValveConfig {
        supply,
        stage,
        tubing: TubingConfig { restriction: wide(d.between(3.0, 8.0)), volume_m3: 15e-6 },
        exponent: d.between(1.0, 1.3),
        actuator: ActuatorConfig { action, chambers: [chamber, chamber], spring },
        moving,
        process: ProcessForce { shut_n: process, open_n: 0.5 * process },
        linkage,
        sensor: SensorConfig::default(),
        fail: FailConfig::default(),
        temperature_k: 293.15,
        step_s: 1e-3,
    };
    Generated { valve, friction_share, words }
}
