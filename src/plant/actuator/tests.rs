use super::*;
use proptest::prelude::*;

const STROKE_M: f64 = 0.02;

fn with(change: impl FnOnce(&mut ActuatorConfig)) -> Actuator {
    let mut config = ActuatorConfig::reference();
    change(&mut config);
    Actuator::new(config, STROKE_M).expect("set-up")
}

fn gauge(pa: f64) -> f64 {
    ATMOSPHERE_PA + pa
}

/// 350 cm²: spring 700 to 3500 N is 0.2 to 1.0 bar; 0.5 L and 350 cm² x 20 mm = 0.7 L [PL-18].
#[test]
fn air_opens_the_reference_actuator() {
    let actuator = with(|_| {});
    for (stem_m, spring_n, litres, bar) in
        [(0.0, -700.0, 0.5, 0.2), (0.01, -2100.0, 0.85, 0.6), (0.02, -3500.0, 1.2, 1.0)]
    {
        assert!((actuator.spring_force(stem_m).n - spring_n).abs() < 1e-9);
        assert!((actuator.volumes(stem_m)[0].m3 * 1e3 - litres).abs() < 1e-12);
        let balance = actuator.balance_gauge_pa(stem_m).expect("single-acting");
        assert!((balance / 1e5 - bar).abs() < 1e-12);
        let force =
            actuator.pressure_force(stem_m, [gauge(balance), 9e5], [0.0; 2]) + actuator.spring_force(stem_m);
        assert!(force.n.abs() < 1e-8, "{force:?}");
        assert_eq!(force.n_per_m, -140e3);
    }
    assert_eq!(actuator.fed_chambers(), 1);
}

#[test]
fn air_closes_when_the_spring_opens() {
    let actuator = with(|c| {
        c.action = Action::AirCloses;
        c.spring = c.spring.map(|s| Spring { pushes: Pushes::Open, ..s });
    });
    // Least compressed at the open end, where chamber 1 is smallest.
    assert_eq!((actuator.spring_force(0.02).n, actuator.spring_force(0.0).n), (700.0, 3500.0));
    assert_eq!(actuator.spring_force(0.01).n_per_m, -140e3);
    let [one, two] = actuator.volumes(0.02);
    assert!((one.m3 - 0.5e-3).abs() < 1e-12 && (two.m3 - 1.2e-3).abs() < 1e-12);
    assert_eq!((one.m3_per_m, two.m3_per_m), (-0.035, 0.035));
    // 1 bar closes with 3500 N.
    assert!((actuator.pressure_force(0.0, [gauge(1e5), gauge(5e5)], [0.0; 2]).n + 3500.0).abs() < 1e-8);
}

#[test]
fn two_chambers_push_against_each_other() {
    let actuator = with(|c| {
        c.action = Action::Double;
        c.spring = None;
        // A rod of 20 cm2 on the side that closes.
        c.chambers[1].area_m2 = 0.033;
    });
    assert_eq!(actuator.fed_chambers(), 2);
    // Equal pressures push out the rod: 4e5 x 20 cm2 = 800 N.
    let even = actuator.pressure_force(0.01, [gauge(4e5); 2], [0.0; 2]);
    assert!((even.n - 800.0).abs() < 1e-8, "{even:?}");
    assert_eq!((actuator.balance_gauge_pa(0.01), actuator.spring_force(0.01)), (None, Force::default()));
    assert_eq!(actuator.spring_store_j(0.01), 0.0);
}

/// Double-acting with a spring that closes: both pressures and the spring act, and the spring alone shuts it without air.
#[test]
fn a_double_acting_piston_may_have_a_spring() {
    for (pushes, side) in [(Pushes::Closed, -1.0), (Pushes::Open, 1.0)] {
        let actuator = with(|c| {
            c.action = Action::Double;
            c.spring = c.spring.map(|s| Spring { pushes, ..s });
        });
        let sum = |p: [f64; 2]| (actuator.pressure_force(0.01, p, [0.0; 2]) + actuator.spring_force(0.01)).n;
        // Half way 2100 N of spring; 3 bar against 1 bar on 350 cm² are 7000 N.
        assert!((sum([ATMOSPHERE_PA; 2]) - side * 2100.0).abs() < 1e-8);
        assert!((sum([gauge(3e5), gauge(1e5)]) - (7000.0 + side * 2100.0)).abs() < 1e-8);
    }
}

/// Enclosed air stiffens: -n p A²/V, here the slope of the force when p V^n stays.
#[test]
fn enclosed_air_is_a_spring() {
    let actuator = with(|c| {
        c.action = Action::Double;
        c.spring = None;
    });
    for n in [1.0, 1.2, 1.4] {
        let at = |stem_m: f64| {
            let begun = actuator.volumes(0.008);
            let now = actuator.volumes(stem_m);
            let p = core::array::from_fn(|i| [3e5, 5e5][i] * (begun[i].m3 / now[i].m3).powf(n));
            actuator.pressure_force(stem_m, p, [n; 2])
        };
        let slope = (at(0.008 + 1e-7).n - at(0.008 - 1e-7).n) / 2e-7;
        assert!((at(0.008).n_per_m / slope - 1.0).abs() < 1e-6, "{:?} {slope}", at(0.008));
    }
}

/// Of four springs beside each other one breaks: a quarter of preload and rate is gone.
#[test]
fn a_broken_spring_pushes_less() {
    let mut actuator = with(|_| {});
    let store = actuator.spring_store_j(0.02);
    actuator.break_spring(0.25).expect("a share");
    assert_eq!((actuator.spring_force(0.0).n, actuator.spring_force(0.02).n), (-525.0, -2625.0));
    assert_eq!(actuator.spring_force(0.0).n_per_m, -105e3);
    assert!((actuator.spring_store_j(0.02) / store - 0.75).abs() < 1e-12);
    actuator.break_spring(1.0).expect("a share");
    assert_eq!(actuator.spring_force(0.02).n, 0.0);
    assert_eq!(actuator.break_spring(1.5).expect_err("refused").field, "share");
}

/// Beyond the end to which it pushes a spring without preload is loose: it never pulls.
#[test]
fn a_spring_never_pulls() {
    let actuator = with(|c| c.spring = c.spring.map(|s| Spring { preload_n: 0.0, ..s }));
    assert_eq!(actuator.spring_force(-0.001), Force::default());
    assert_eq!(actuator.spring_force(0.001).n, -140.0);
}

#[test]
fn the_process_pushes_by_travel() {
    let process = ProcessForce { shut_n: -1000.0, open_n: -200.0 };
    assert_eq!(process.force(0.01, STROKE_M), Force { n: -600.0, n_per_m: 40e3 });
    assert_eq!(process.force(-0.001, STROKE_M), Force::steady(-1000.0));
    assert_eq!(process.force(0.03, STROKE_M), Force::steady(-200.0));
    assert_eq!(process.scaled(0.5), ProcessForce { shut_n: -500.0, open_n: -100.0 });
    assert_eq!(ProcessForce { shut_n: f64::NAN, open_n: 0.0 }.check().expect_err("refused").field, "shut_n");
}

/// A public model of a quarter-turn piston: 1508 N m of air at the supply, spring 664.8 to 492.6 N m, 330 N m to break open
/// (one source of modest authority). What air must beat at shut is spring and break torque.
#[test]
fn a_public_quarter_turn_example() {
    use crate::plant::motion::{Forces, Moving, MovingConfig};
    use crate::plant::transmission::{ShaftLoad, Transmission};
    use core::f64::consts::FRAC_PI_2;
    // Pinion and pressure are invented: 50 mm, 5 bar; the area follows from 1508 = 5e5 x area x 0.05.
    let (radius_m, supply_pa) = (0.05, 5e5);
    let stroke_m = radius_m * FRAC_PI_2;
    let (begins_n, ends_n) = (492.6 / radius_m, 664.8 / radius_m);
    let mut config = ActuatorConfig::reference();
    config.chambers[0].area_m2 = 1508.0 / supply_pa / radius_m;
    config.spring = Some(Spring {
        pushes: Pushes::Closed,
        preload_n: begins_n,
        rate_n_per_m: (ends_n - begins_n) / stroke_m,
    });
    let actuator = Actuator::new(config, stroke_m).expect("actuator");
    let moving = MovingConfig {
        stroke_m,
        transmission: Transmission::Rack { radius_m },
        friction: crate::plant::friction::FrictionConfig::NONE,
        shaft: ShaftLoad { running_nm: 0.0, break_nm: 330.0, fade_rad: 0.1, inertia_kg_m2: 0.1 },
        ..MovingConfig::reference()
    };
    // (492.6 + 330)/1508 of the supply breaks it open; a little less does not.
    let opens = |share: f64| {
        let mut moving = Moving::new(moving, 0.0).expect("moving parts");
        let forces = Forces {
            pressure: actuator.pressure_force(0.0, [gauge(share * supply_pa), ATMOSPHERE_PA], [0.0; 2]),
            spring: actuator.spring_force(0.0),
            ..Forces::default()
        };
        moving.step(1e-3, &forces).velocity_m_per_s > 0.0
    };
    let share = (492.6 + 330.0) / 1508.0;
    assert!(!opens(share - 1e-6) && opens(share + 1e-6));
    // At open the spring is 664.8 N m.
    assert!((actuator.spring_force(stroke_m).n * radius_m + 664.8).abs() < 1e-9);
}

#[test]
fn set_ups_that_are_refused() {
    let bad = |change: fn(&mut ActuatorConfig)| {
        let mut config = ActuatorConfig::reference();
        change(&mut config);
        Actuator::new(config, STROKE_M).expect_err("refused").field
    };
    assert_eq!(bad(|c| c.chambers[1].area_m2 = 0.0), "area_m2");
    assert_eq!(bad(|c| c.chambers[0].dead_volume_m3 = f64::NAN), "dead_volume_m3");
    assert_eq!(bad(|c| c.spring = None), "spring");
    assert_eq!(bad(|c| c.action = Action::AirCloses), "spring");
    assert_eq!(bad(|c| c.spring = c.spring.map(|s| Spring { rate_n_per_m: -1.0, ..s })), "rate_n_per_m");
    assert_eq!(Actuator::new(ActuatorConfig::reference(), 0.0).expect_err("refused").field, "stroke_m");
}

proptest! {
    /// Volumes stay above 0 wherever a stop may be moved to, and forces stay finite.
    #[test]
    fn volumes_and_forces_are_sound(
        area in -5.0..1.0, dead in -7.0..1.0, stroke in -3.0..1.0, at in -0.25..1.25,
        p in (0.0..2e6, 0.0..2e6), action in 0..3,
    ) {
        let size = ChamberSize { area_m2: 10f64.powf(area).clamp(1e-5, 10.0), dead_volume_m3: 10f64.powf(dead).clamp(1e-7, 10.0) };
        let spring = |pushes| Some(Spring { pushes, preload_n: 100.0, rate_n_per_m: 1e4 });
        let (action, spring) = match action {
            0 => (Action::AirOpens, spring(Pushes::Closed)),
            1 => (Action::AirCloses, spring(Pushes::Open)),
            _ => (Action::Double, None),
        };
        let stroke_m = 10f64.powf(stroke).clamp(1e-3, 10.0);
        let actuator = Actuator::new(ActuatorConfig { action, chambers: [size; 2], spring }, stroke_m).expect("accepted");
        let stem_m = at * stroke_m;
        prop_assert!(actuator.volumes(stem_m).iter().all(|v| v.m3 > 0.0 && v.m3.is_finite()));
        let force = actuator.pressure_force(stem_m, [p.0, p.1], [1.4; 2]) + actuator.spring_force(stem_m);
        prop_assert!(force.n.is_finite() && force.n_per_m.is_finite() && force.n_per_m <= 0.0);
    }
}
