use super::*;
use proptest::prelude::*;

const VALVE: FrictionConfig = FrictionConfig {
    coulomb_n: 700.0,
    static_n: 780.0,
    stribeck_m_per_s: 5e-4,
    fall: Fall::Square,
    viscous_n_s_per_m: 125e3,
};

#[test]
fn a_stem_at_rest_bears_the_static_force_and_not_a_bit_more() {
    for fall in [Fall::Square, Fall::Plain] {
        let friction = FrictionConfig { fall, ..VALVE };
        for side in [1.0, -1.0] {
            let at = |n: f64| friction.step(1e-3, 1.6, 0.0, Force { n: side * n, n_per_m: -2e5 });
            assert_eq!(at(780.0), Slid { velocity_m_per_s: 0.0, friction_n: side * 780.0 });
            let beyond = at(780.0_f64.next_up());
            assert!(side * beyond.velocity_m_per_s > 0.0, "{beyond:?}");
        }
    }
}

#[test]
fn it_does_not_creep_while_it_sticks() {
    let mut v = 0.0;
    for _ in 0..100_000 {
        v = VALVE.step(1e-3, 1.6, v, Force::steady(779.0)).velocity_m_per_s;
        assert_eq!(v, 0.0);
    }
}

/// Drag settles within microseconds (m/Fv = 13 us): steps of 1 ms come to (F - Fc)/Fv without swinging about it. What is
/// missing shrinks by (m/dt)/(m/dt + Fv) = 1600/126 600 a step.
#[test]
fn heavy_drag_is_no_difficulty() {
    // (2000 - 700)/125000 = 10.4 mm/s, twenty times the Stribeck speed.
    let (mut v, mut missing) = (0.0, 1.0);
    for i in 0..20 {
        v = VALVE.step(1e-3, 1.6, v, Force::steady(2000.0)).velocity_m_per_s;
        missing *= 1600.0 / 126_600.0;
        assert!((1.0 - v / 0.0104 - missing).abs() < 1e-12, "step {i}: {v}");
    }
}

/// A block that slides to rest under Coulomb friction alone: after v0/(Fc/m), exactly at rest, not beyond.
#[test]
fn it_comes_to_rest_when_coulomb_friction_has_taken_its_speed() {
    // 2 kg at 0.5 m/s against 10 N: 0.1 s.
    let friction = FrictionConfig { coulomb_n: 10.0, static_n: 10.0, ..FrictionConfig::NONE };
    let (mut v, mut way, mut steps) = (0.5, 0.0, 0);
    while v != 0.0 {
        v = friction.step(1e-3, 2.0, v, Force::default()).velocity_m_per_s;
        assert!(v >= 0.0);
        way += v * 1e-3;
        steps += 1;
    }
    assert!((99..=101).contains(&steps), "{steps}");
    // v0²/2a = 25 mm.
    assert!((way - 0.025).abs() < 0.5 * 1e-3, "{way}");
}

/// Thrown against a force that beats friction, it turns; against one that does not, it stays where it stops.
#[test]
fn a_step_that_crosses_rest() {
    let friction = FrictionConfig { coulomb_n: 10.0, static_n: 15.0, ..FrictionConfig::NONE };
    let last = |n: f64| {
        let mut v = 0.1;
        for _ in 0..100 {
            v = friction.step(1e-3, 1.0, v, Force::steady(n)).velocity_m_per_s;
        }
        v
    };
    assert_eq!(last(-14.9), 0.0);
    // It stops within 0.1/(20 + 10) = 3.3 ms, then goes back at (20 - 10)/1 m/s²: about 0.967 m/s after 0.0967 s.
    assert!((last(-20.0) + 0.967).abs() < 0.02, "{}", last(-20.0));
    // One step that takes it through rest: m v0/dt = 100 N is beaten by more than the static force, or is not.
    assert_eq!(friction.step(1e-3, 1.0, 0.1, Force::steady(-114.0)).velocity_m_per_s, 0.0);
    assert!(friction.step(1e-3, 1.0, 0.1, Force::steady(-116.0)).velocity_m_per_s < 0.0);
}

/// Between the static force and the Coulomb force a stem that slips goes on, and one that sticks does not start.
#[test]
fn of_several_solutions_it_takes_the_one_it_comes_to_first() {
    let friction = FrictionConfig { coulomb_n: 100.0, static_n: 200.0, viscous_n_s_per_m: 100.0, ..VALVE };
    let force = Force::steady(150.0);
    let after = |v: f64| (0..2000).fold(v, |v, _| friction.step(1e-4, 0.01, v, force).velocity_m_per_s);
    assert_eq!(after(0.0), 0.0);
    // (150 - 100)/100 = 0.5 m/s.
    assert!((after(0.1) - 0.5).abs() < 1e-9, "{}", after(0.1));
    // 150 N holds the fall at 100 + 100 exp(-x²) + drag = 150: below about 0.83 vs it comes to rest.
    assert_eq!(after(0.7 * 5e-4), 0.0);
    assert!((after(1.0 * 5e-4) - 0.5).abs() < 1e-9);
}

#[test]
fn set_ups_that_are_refused() {
    let bad = |change: fn(&mut FrictionConfig)| {
        let mut config = VALVE;
        change(&mut config);
        config.check().expect_err("refused").field
    };
    assert_eq!(bad(|c| c.coulomb_n = -1.0), "coulomb_n");
    assert_eq!(bad(|c| c.static_n = 699.0), "static_n");
    assert_eq!(bad(|c| c.stribeck_m_per_s = 0.0), "stribeck_m_per_s");
    assert_eq!(bad(|c| c.viscous_n_s_per_m = f64::NAN), "viscous_n_s_per_m");
    assert_eq!(VALVE.check(), Ok(()));
    assert_eq!(BristleConfig::new(0.0, 1.0).check().expect_err("refused").field, "stiffness_n_per_m");
}

fn any_friction() -> impl Strategy<Value = FrictionConfig> {
    let dry = prop_oneof![Just(0.0), 1e-3..1e7];
    let fall = prop_oneof![Just(Fall::Square), Just(Fall::Plain)];
    (dry, 0.0..1.0, -9.0..1.0, fall, prop_oneof![Just(0.0), 0.0..1e8]).prop_map(
        |(coulomb_n, more, decade, fall, viscous_n_s_per_m): (f64, f64, f64, _, _)| FrictionConfig {
            coulomb_n,
            static_n: coulomb_n + more * (1e7 - coulomb_n),
            stribeck_m_per_s: 10f64.powf(decade).min(10.0),
            fall,
            viscous_n_s_per_m,
        },
    )
}

fn signed(largest: f64) -> impl Strategy<Value = f64> {
    (-9.0..1.0, any::<bool>()).prop_map(move |(decade, up): (f64, bool)| {
        let x = largest * 10f64.powf(decade.min(0.0));
        if up { x } else { -x }
    })
}

proptest! {
    /// What a step claims is a solution: friction that holds against the speed within its limits.
    #[test]
    fn friction_is_within_its_limits(
        friction in any_friction(),
        v0 in prop_oneof![Just(0.0), signed(100.0)],
        n in signed(1e9),
        n_per_m in prop_oneof![Just(0.0), signed(1e9)],
        mass in 0.01..1e5,
        dt in 1e-6..1e-2,
    ) {
        prop_assert_eq!(friction.check(), Ok(()));
        let Slid { velocity_m_per_s: v, friction_n } = friction.step(dt, mass, v0, Force { n, n_per_m });
        prop_assert!(v.is_finite() && friction_n.is_finite());
        let push = (mass / dt * v0).abs() + n.abs();
        let slack = 1e-9 * (push + friction.static_n);
        if v == 0.0 {
            prop_assert!(friction_n.abs() <= friction.static_n + slack);
        } else {
            // Dry part as the fall has it at the speed reached.
            let (dry, _) = friction.dry(v);
            let held = friction_n * v.signum();
            let right = dry + friction.viscous_n_s_per_m * v.abs();
            prop_assert!((held - right).abs() <= slack + 1e-6 * right, "{} for {}", held, right);
        }
    }

    /// Left alone it never gets faster, and never turns.
    #[test]
    fn friction_alone_only_slows(friction in any_friction(), v0 in signed(100.0), mass in 0.01..1e5, dt in 1e-6..1e-2) {
        let mut v = v0;
        for _ in 0..20 {
            let next = friction.step(dt, mass, v, Force::default()).velocity_m_per_s;
            prop_assert!(next.abs() <= v.abs() && next * v >= 0.0, "{} after {}", next, v);
            v = next;
        }
    }

    #[test]
    fn bristles_stay_finite(
        friction in any_friction(),
        sigma0 in 0.0..11.0,
        sigma1 in prop_oneof![Just(0.0), 0.0..1e9],
        forces in proptest::collection::vec(signed(1e9), 20),
        mass in 0.01..1e5,
        dt in 1e-6..1e-3,
    ) {
        let mut bristle = Bristle::new(BristleConfig::new(10f64.powf(sigma0), sigma1)).expect("set-up");
        let mut v = 0.0;
        for n in forces {
            let slid = bristle.step(&friction, dt, mass, v, Force { n, n_per_m: -1e5 });
            prop_assert!(slid.velocity_m_per_s.is_finite() && slid.friction_n.is_finite());
            prop_assert!(bristle.bend_m().is_finite());
            v = slid.velocity_m_per_s;
        }
    }
}
