//! The account of energy [PL-14], and what must hold whatever the set-up.

use super::*;

/// Work of the spring over a run is what its store lost, for it is proportional to the way: to rounding.
#[test]
fn a_stroke_against_a_spring_adds_up() {
    let actuator = Actuator::new(ActuatorConfig::reference(), 0.02).expect("actuator");
    let run = |dt: f64, bristle: Option<BristleConfig>| {
        let config = MovingConfig { bristle, ..MovingConfig::reference() };
        let mut moving = Moving::new(config, 0.0).expect("moving parts");
        let (mut total, mut largest, mut worst) = (Energy::default(), 0.0_f64, 0.0_f64);
        for i in 0..(3.0 / dt) as u32 {
            let t = f64::from(i) * dt;
            // Up to 2 bar in a second, down to none in the next.
            let gauge_pa = 2e5 * (1.0 - (t - 1.0).abs()).max(0.0);
            let s = moving.stem_m();
            let motion = moving.step(
                dt,
                &Forces {
                    pressure: actuator.pressure_force(
                        s,
                        [ATMOSPHERE_PA + gauge_pa, ATMOSPHERE_PA],
                        [1.0, 0.0],
                    ),
                    spring: actuator.spring_force(s),
                    process: ProcessForce { shut_n: 200.0, open_n: -100.0 }.force(s, 0.02),
                },
            );
            total += motion.energy;
            worst = worst.max(motion.energy.residue_j().abs());
            largest = largest.max(actuator.spring_store_j(moving.stem_m()));
            let given = actuator.spring_store_j(0.0) - actuator.spring_store_j(moving.stem_m());
            assert!((total.spring_j - given).abs() < 1e-9, "{total:?} {given}");
        }
        assert_eq!(moving.stem_m(), 0.0);
        assert!(worst < 1e-12 && total.residue_j().abs() < 1e-9, "{worst} {total:?}");
        // 700 N and 140 kN/m over 20 mm: 14 + 28 J.
        assert!((largest - 42.0).abs() < 1e-9, "{largest}");
        total
    };
    let (one, half) = (run(1e-3, None), run(5e-4, None));
    // Both ways 140 N of dry friction, and at 2 bar/s x A/k = 50 mm/s 100 N of drag: 2 x 240 N x 20 mm = 9.6 J, somewhat
    // less because enclosed air and the process change that speed.
    assert!((one.friction_j / 9.6 - 1.0).abs() < 0.05, "{one:?}");
    assert!(one.stop_j > 0.0 && one.step_j > 0.0);
    let ratio = one.step_j / half.step_j;
    assert!((1.7..2.3).contains(&ratio), "loss of the step falls with it: {ratio}");
    assert!(one.step_j < 0.05 * one.pressure_j, "{one:?}");
    let bent = run(1e-3, Some(BristleConfig::new(1e7, 2e4)));
    assert!((bent.friction_j / one.friction_j - 1.0).abs() < 0.05, "{bent:?} {one:?}");
}

/// What a set-up that passes its check may be.
fn any_moving() -> impl Strategy<Value = MovingConfig> {
    let decades = |from: f64, to: f64| (from.log10()..to.log10()).prop_map(|d| 10f64.powf(d));
    let friction = (
        prop_oneof![Just(0.0), decades(1e-3, 1e7)],
        1.0..3.0,
        decades(1e-9, 10.0),
        any::<bool>(),
        prop_oneof![Just(0.0), decades(1e-3, 1e8)],
    );
    let shaft =
        (0..3, 0.0..1.0, decades(1e-3, 1e6), 1.0..10.0, 0.0..1.6, prop_oneof![Just(0.0), decades(1e-6, 1e5)]);
    let seat = (prop_oneof![Just(0.0), decades(1.0, 1e7)], 0.0..1.0);
    let bristle = proptest::option::of((decades(1.0, 1e11), prop_oneof![Just(0.0), decades(1e-3, 1e9)]));
    (decades(1e-3, 10.0), decades(0.01, 1e5), friction, shaft, seat, bristle).prop_map(
        |(stroke_m, mass_kg, (coulomb_n, more, vs, plain, viscous), shaft, seat, bristle)| {
            let (kind, size, running_nm, breaks, fade_rad, inertia_kg_m2): (_, f64, f64, f64, _, _) = shaft;
            // A stroke of a third to two times the radius, or of a yoke's distance.
            let length: f64 = stroke_m * (0.5 + 2.5 * size);
            let length = length.clamp(1e-3, 1.0);
            let (transmission, load) = match kind {
                0 => (Transmission::Stem, ShaftLoad::default()),
                kind => (
                    if kind == 1 {
                        Transmission::Rack { radius_m: length }
                    } else {
                        Transmission::Yoke { distance_m: length }
                    },
                    ShaftLoad {
                        running_nm,
                        break_nm: (running_nm * breaks).min(1e6),
                        fade_rad,
                        inertia_kg_m2,
                    },
                ),
            };
            MovingConfig {
                stroke_m,
                mass_kg,
                friction: FrictionConfig {
                    coulomb_n,
                    static_n: f64::min(coulomb_n * more, 1e7),
                    stribeck_m_per_s: f64::clamp(vs, 1e-9, 10.0),
                    fall: if plain { Fall::Plain } else { Fall::Square },
                    viscous_n_s_per_m: viscous,
                },
                bristle: bristle.map(|(k, d)| BristleConfig { step_s: 1e-3, ..BristleConfig::new(k, d) }),
                seat: Seat { grip_n: seat.0, fade_m: seat.1 * stroke_m },
                transmission,
                shaft: load,
            }
        },
    )
}

fn any_force() -> impl Strategy<Value = Force> {
    let number = prop_oneof![
        Just(0.0),
        -1e4..1e4,
        (-9.0..9.0, any::<bool>()).prop_map(|(d, up): (f64, bool)| if up {
            10f64.powf(d)
        } else {
            -10f64.powf(d)
        }),
        Just(f64::MAX),
        Just(f64::MIN),
    ];
    (number.clone(), number).prop_map(|(n, n_per_m)| Force { n, n_per_m })
}

proptest! {
    #![proptest_config(ProptestConfig { max_global_rejects: 20_000, ..ProptestConfig::default() })]

    /// Whatever the set-up and the forces: between the stops, finite, rest is exactly 0, stops press outwards only, and
    /// no more energy comes out than went in.
    #[test]
    fn it_stays_between_its_stops_and_gains_nothing(
        config in any_moving(),
        from in 0.0..1.0,
        stops in (0.0..0.4, 0.6..1.2),
        forces in proptest::collection::vec((any_force(), any_force(), any_force()), 1..40),
        dt in prop_oneof![Just(1e-3), 1e-6..1e-2],
    ) {
        prop_assume!(config.check().is_ok());
        let stroke = config.stroke_m;
        let mut moving = Moving::new(config, from * stroke).expect("checked");
        moving.set_stops(stops.0 * stroke, stops.1 * stroke).expect("within");
        let (low, high) = moving.stops_m();
        for (pressure, spring, process) in forces {
            let was = moving;
            let motion = moving.step(dt, &Forces { pressure, spring, process });
            prop_assert!((low..=high).contains(&motion.stem_m), "{:?}", motion);
            let e = &motion.energy;
            let all = [e.pressure_j, e.spring_j, e.process_j, e.friction_j, e.stop_j, e.step_j, e.kinetic_j];
            let numbers = [motion.velocity_m_per_s, motion.friction_n, motion.stop_n];
            prop_assert!(all.iter().chain(&numbers).all(|x| x.is_finite()), "{:?}", motion);
            prop_assert!(motion.stop_n >= 0.0 && e.stop_j >= 0.0 && e.step_j >= 0.0, "{:?}", motion);
            if motion.stuck {
                prop_assert_eq!(motion.velocity_m_per_s, 0.0);
            }
            if config.bristle.is_none() {
                let still = motion.velocity_m_per_s == 0.0 && was.velocity_m_per_s() == 0.0 && motion.stop.is_none();
                prop_assert!(!still || motion.stem_m == was.stem_m(), "creeps: {:?}", motion);
            }
            // Rounding is that of the largest term that went into the sum; forces beyond the largest are cut.
            let kinetic_j = config.mass_kg_at(was.stem_m()) * (was.velocity_m_per_s().powi(2) + motion.velocity_m_per_s.powi(2));
            let scale = all.iter().fold(kinetic_j, |m, x| m.max(x.abs()));
            prop_assert!(config.bristle.is_some() || e.friction_j >= -1e-9 * scale, "{:?}", motion);
            let way = (motion.stem_m - was.stem_m()).abs();
            let cut = [pressure, spring, process].iter().any(|f| f.n.abs() > 1e11 || f.n_per_m.abs() > 1e11);
            let forces_j = (pressure.n.abs() + spring.n.abs() + process.n.abs() + motion.friction_n.abs()) * way;
            if !cut {
                prop_assert!(e.residue_j().abs() <= 1e-9 * (scale + forces_j) + 1e-12, "{:?}: {}", motion, e.residue_j());
            }
        }
    }
}
