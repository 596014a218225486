//! A valve whose pressure goes slowly up and down [PL-18].

use super::*;

/// USP, nominal: A, stroke and lower end of the signal pressure, which the notes print as 41.4 kPa.
const AREA_M2: f64 = 0.0445;
const LOWER_PA: f64 = 41_368.0;
const UPPER_PA: f64 = 180_000.0;

/// A spring valve under a gauge pressure that somebody turns slowly.
struct Bench {
    actuator: Actuator,
    moving: Moving,
    gauge_pa: f64,
    step_s: f64,
}

impl Bench {
    fn published(stribeck_m_per_s: f64) -> Bench {
        let mut config = ActuatorConfig::reference();
        config.chambers[0].area_m2 = AREA_M2;
        config.spring = Some(Spring { pushes: Pushes::Closed, preload_n: 2550.0, rate_n_per_m: 210_490.0 });
        let friction = FrictionConfig {
            coulomb_n: 700.0,
            static_n: 780.0,
            stribeck_m_per_s,
            fall: Fall::Square,
            viscous_n_s_per_m: 125e3,
        };
        let moving = MovingConfig { stroke_m: 0.029, mass_kg: 1.6, friction, ..MovingConfig::reference() };
        Bench {
            actuator: Actuator::new(config, 0.029).expect("actuator"),
            moving: Moving::new(moving, 0.0).expect("moving parts"),
            gauge_pa: LOWER_PA,
            step_s: 0.01,
        }
    }

    fn reference() -> Bench {
        Bench {
            actuator: Actuator::new(ActuatorConfig::reference(), 0.02).expect("actuator"),
            moving: Moving::new(MovingConfig::reference(), 0.0).expect("moving parts"),
            gauge_pa: 0.0,
            step_s: 1e-3,
        }
    }

    fn step(&mut self, pa_per_s: f64) -> Motion {
        self.gauge_pa += pa_per_s * self.step_s;
        let s = self.moving.stem_m();
        let pressures = [ATMOSPHERE_PA + self.gauge_pa, ATMOSPHERE_PA];
        let forces = Forces {
            pressure: self.actuator.pressure_force(s, pressures, [0.0; 2]),
            spring: self.actuator.spring_force(s),
            process: Force::default(),
        };
        self.moving.step(self.step_s, &forces)
    }

    /// Turns the pressure until `there`, and says where it stands then, Pa gauge.
    fn turn(&mut self, pa_per_s: f64, there: impl Fn(&Motion) -> bool) -> f64 {
        for _ in 0..10_000_000 {
            if there(&self.step(pa_per_s)) {
                return self.gauge_pa;
            }
        }
        panic!("it never came to that: {:?}", self.moving);
    }

    /// A difference of pressures in percent of the published span.
    fn percent(pa: f64) -> f64 {
        pa / (UPPER_PA - LOWER_PA) * 100.0
    }
}

/// Pressure that moves the published spring by 1 um/s: k/A x 1e-6, 4.7 Pa/s.
const SLOW_PA_PER_S: f64 = 210_490.0 / AREA_M2 * 1e-6;

fn moves(motion: &Motion) -> bool {
    motion.velocity_m_per_s != 0.0
}

/// Far below the Stribeck speed a stem slides at static friction: S = 2 Fs = 25.2872 %, D = 11.4947 % of the span.
/// Drag adds 0.125 N, 0.002 %.
#[test]
fn band_and_offset_of_the_published_valve() {
    let mut bench = Bench::published(5e-4);
    let lifts = bench.turn(10.0 * SLOW_PA_PER_S, moves);
    bench.turn(SLOW_PA_PER_S, |m| m.stem_m > 0.2e-3);
    let top = bench.gauge_pa;
    let turns = bench.turn(-10.0 * SLOW_PA_PER_S, |m| m.velocity_m_per_s < 0.0);
    let shuts = bench.turn(-SLOW_PA_PER_S, |m| m.stop == Some(Stop::Closed));
    let (s, d) = (Bench::percent(lifts - shuts), Bench::percent((lifts + shuts) / 2.0 - LOWER_PA));
    assert!((s - 25.2872).abs() < 0.005, "S {s}");
    assert!((d - 11.4947).abs() < 0.005, "D {d}");
    let turned = Bench::percent(top - turns);
    assert!((turned - 25.2872).abs() < 0.005, "S when it turns {turned}");
}

/// Where dry friction falls at once it slides at Coulomb friction: it takes Fs + Fc to turn (23.9904 %), the two
/// lines lie 2 Fc apart (22.6937 %), and after a rest it needs J = Fs - Fc more (1.2968 %) and jumps by as much.
#[test]
fn jump_and_dead_band_of_the_published_valve() {
    let mut bench = Bench::published(1e-9);
    let line = |bench: &Bench| bench.gauge_pa - 210_490.0 / AREA_M2 * bench.moving.stem_m();
    bench.turn(10.0 * SLOW_PA_PER_S, moves);
    bench.turn(SLOW_PA_PER_S, |m| m.stem_m > 1e-3);
    let up = line(&bench);
    // A rest: the pressure stands until the stem does.
    bench.turn(0.0, |m| m.stuck);
    let rests = (bench.gauge_pa, bench.moving.stem_m());
    let breaks = bench.turn(SLOW_PA_PER_S, moves);
    let j = Bench::percent(breaks - rests.0);
    assert!((j - 1.2968).abs() < 0.005, "J {j}");
    bench.turn(0.0, |m| m.stuck);
    let jumps = bench.moving.stem_m() - rests.1;
    // (Fs - Fc)/k = 80/210490 = 0.38 mm.
    assert!((jumps - 80.0 / 210_490.0).abs() < 1e-6, "{jumps}");
    // Sliding again, then back.
    bench.turn(SLOW_PA_PER_S, |m| m.stem_m > 2e-3);
    let top = bench.gauge_pa;
    let turns = bench.turn(-10.0 * SLOW_PA_PER_S, |m| m.velocity_m_per_s < 0.0);
    let s = Bench::percent(top - turns);
    assert!((s - 23.9904).abs() < 0.005, "S {s}");
    bench.turn(-SLOW_PA_PER_S, |m| m.stem_m < 1e-3);
    let dead = Bench::percent(up - line(&bench));
    assert!((dead - 22.6937).abs() < 0.005, "dead band {dead}");
}

/// 2 Fc/A = 0.080 bar, 10 % of the spring's range, and what drag adds: at 5 mm/s 2000 x 0.005 = 10 N each way.
#[test]
fn dead_band_of_the_reference_actuator() {
    let mut bench = Bench::reference();
    // k/A x 5 mm/s: the spring's 0.8 bar in 4 s.
    let rate = 20_000.0;
    bench.turn(rate, |m| m.stem_m >= 0.01);
    let up = bench.gauge_pa - 140e3 / 0.035 * bench.moving.stem_m();
    bench.turn(rate, |m| m.stem_m >= 0.015);
    bench.turn(-rate, |m| m.stem_m <= 0.01);
    let down = bench.gauge_pa - 140e3 / 0.035 * bench.moving.stem_m();
    let right = 2.0 * (140.0 + 10.0) / 0.035;
    assert!((up - down - right).abs() < 0.005 * right, "{} for {right}", up - down);
    // Less drag: 8000 Pa of 80 000.
    let percent = (up - down - 2.0 * 10.0 / 0.035) / 80_000.0 * 100.0;
    assert!((percent - 10.0).abs() < 0.05, "{percent}");
}

/// Lift-off (700 + 168)/0.035 = 0.248 bar, open end (3500 + 140)/0.035 = 1.04 bar and drag, leaves it at
/// (3500 - 168)/0.035 = 0.952 bar.
#[test]
fn signatures_of_the_reference_actuator() {
    let mut bench = Bench::reference();
    let lifts = bench.turn(1000.0, moves);
    assert!((lifts - 24_800.0).abs() < 2.0, "{lifts}");
    let tops = bench.turn(20_000.0, |m| m.stop == Some(Stop::Open));
    assert!((tops - (104_000.0 + 10.0 / 0.035)).abs() < 100.0, "{tops}");
    let leaves = bench.turn(-1000.0, moves);
    assert!((leaves - 95_200.0).abs() < 2.0, "{leaves}");
}

/// 0.9 bar stalls at (3150 - 140 - 700)/140 kN/m = 82.5 %, or a little earlier: below some 2 mm/s, where drag is 4 N,
/// dry friction rises and holds it (-0.2 %).
#[test]
fn too_little_air_stalls_the_reference_actuator() {
    let mut bench = Bench::reference();
    while bench.gauge_pa < 90_000.0 {
        bench.step(20_000.0);
    }
    bench.turn(0.0, |m| m.stuck);
    let travel = bench.moving.travel_percent();
    assert!((82.2..82.5).contains(&travel), "{travel}");
}
