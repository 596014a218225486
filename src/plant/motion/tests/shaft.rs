//! Part-turn: torque and inertia reflected to the piston [PL-16].

use super::*;
use core::f64::consts::FRAC_PI_2;

const LOAD: ShaftLoad = ShaftLoad { running_nm: 20.0, break_nm: 50.0, fade_rad: 0.1, inertia_kg_m2: 0.0 };

/// 90 degrees for 40 mm, nothing else that rubs.
fn part_turn(transmission: Transmission, shaft: ShaftLoad) -> MovingConfig {
    MovingConfig {
        stroke_m: 0.04,
        mass_kg: 2.0,
        friction: FrictionConfig::NONE,
        transmission,
        shaft,
        ..MovingConfig::reference()
    }
}

const RACK: Transmission = Transmission::Rack { radius_m: 0.04 / FRAC_PI_2 };
const YOKE: Transmission = Transmission::Yoke { distance_m: 0.02 };

#[test]
fn the_angle_goes_with_the_way() {
    for transmission in [RACK, YOKE] {
        transmission.check(0.04).expect("a quarter turn");
        for (stem_m, degrees) in [(0.0, 0.0), (0.02, 45.0), (0.04, 90.0)] {
            let angle = transmission.shaft_rad(stem_m, 0.04).expect("a shaft");
            assert!((angle.to_degrees() - degrees).abs() < 1e-9, "{angle}");
        }
        for i in 0..=40 {
            let stem_m = 0.001 * f64::from(i);
            let angle = transmission.shaft_rad(stem_m, 0.04).expect("a shaft");
            assert!((transmission.stem_m(angle, 0.04).expect("reached") - stem_m).abs() < 1e-12);
            let slope = (transmission.shaft_rad(stem_m + 1e-6, 0.04).expect("a shaft") - angle) / 1e-6;
            assert!((transmission.shaft_rad_per_m(stem_m, 0.04) / slope - 1.0).abs() < 1e-4);
        }
    }
    // Of a yoke: atan(10/20) from the middle is 26.565 degrees.
    let quarter = YOKE.shaft_rad(0.01, 0.04).expect("a shaft").to_degrees();
    assert!((quarter - (45.0 - 26.565_051)).abs() < 1e-6, "{quarter}");
    assert_eq!(YOKE.stem_m(3.0, 0.04), None);
    assert_eq!(
        (Transmission::Stem.shaft_rad(0.01, 0.04), Transmission::Stem.stem_m(0.1, 0.04)),
        (None, None)
    );
}

/// Textbook: a force F at a yoke's pin gives F x distance/cos², twice as much at both ends as in the middle.
#[test]
fn a_yoke_is_strongest_at_its_ends() {
    let torque = |stem_m: f64| 1000.0 / YOKE.shaft_rad_per_m(stem_m, 0.04);
    for (stem_m, nm) in [(0.0, 40.0), (0.02, 20.0), (0.04, 40.0), (0.01, 25.0)] {
        assert!((torque(stem_m) - nm).abs() < 1e-9, "{}", torque(stem_m));
    }
}

/// The least force that turns the shaft is torque over arm: break torque at shut, running torque past the fade.
#[test]
fn torque_holds_the_piston() {
    let bears = |config: MovingConfig, stem_m: f64| {
        let moves =
            |n: f64| Moving::new(config, stem_m).expect("set-up").step(1e-6, &push(n)).velocity_m_per_s > 0.0;
        let (mut low, mut high) = (0.0, 1e5);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if moves(middle) { high = middle } else { low = middle }
        }
        high
    };
    let radius = 0.04 / FRAC_PI_2;
    let cases = [
        (RACK, 0.0, 50.0 / radius),
        // Half of the fade, 0.05 rad: 35 N m.
        (RACK, 0.05 * radius, 35.0 / radius),
        (RACK, 0.03, 20.0 / radius),
        // A yoke's arm at the end is twice its distance, in the middle the distance.
        (YOKE, 0.0, 50.0 / 0.04),
        (YOKE, 0.02, 20.0 / 0.02),
        (YOKE, 0.0399, 20.0 / 0.0398),
    ];
    for (transmission, stem_m, right) in cases {
        let n = bears(part_turn(transmission, LOAD), stem_m);
        assert!((n / right - 1.0).abs() < 3e-3, "{transmission:?} at {stem_m}: {n} for {right}");
    }
}

/// 0.5 kg m² on a pinion of 25.46 mm weighs 771 kg at the rack: 2 kg beside it are little.
#[test]
fn inertia_is_reflected() {
    let config = part_turn(RACK, ShaftLoad { inertia_kg_m2: 0.5, ..ShaftLoad::default() });
    let mut moving = Moving::new(config, 0.0).expect("set-up");
    for _ in 0..100 {
        moving.step(1e-3, &push(1000.0));
    }
    let radius = 0.04 / FRAC_PI_2;
    let v = 1000.0 * 0.1 / (2.0 + 0.5 / (radius * radius));
    assert!((moving.velocity_m_per_s() / v - 1.0).abs() < 1e-9, "{moving:?}");
    assert!((moving.shaft_rad().expect("a shaft") - moving.stem_m() / radius).abs() < 1e-12);
}

/// A yoke that turns freely: the shaft's energy does not change although the piston's speed does.
#[test]
fn a_free_yoke_keeps_its_energy() {
    let config = part_turn(YOKE, ShaftLoad { inertia_kg_m2: 0.5, ..ShaftLoad::default() });
    let mut moving = Moving::new(config, 0.0).expect("set-up");
    let energy = |m: &Moving| {
        let turn = YOKE.shaft_rad_per_m(m.stem_m(), 0.04) * m.velocity_m_per_s();
        0.5 * 2.0 * m.velocity_m_per_s().powi(2) + 0.5 * 0.5 * turn * turn
    };
    for _ in 0..50 {
        moving.step(1e-3, &push(1000.0));
    }
    let (begun, fast) = (energy(&moving), moving.velocity_m_per_s());
    let (begun_x, mut slowest) = (moving.stem_m() - 0.02, fast);
    while moving.step(1e-3, &Forces::default()).stop.is_none() {
        assert!((energy(&moving) / begun - 1.0).abs() < 1e-9, "{moving:?}");
        slowest = slowest.min(moving.velocity_m_per_s());
    }
    // The piston feels 2 kg + 0.5 (d/(d² + x²))² at x from the middle, there 1252 kg.
    let felt = 2.0 + 0.5 * (0.02 / (0.02 * 0.02 + begun_x * begun_x)).powi(2);
    assert!((slowest / fast / (felt / 1252.0_f64).sqrt() - 1.0).abs() < 1e-3, "{slowest} {fast} {felt}");
}
