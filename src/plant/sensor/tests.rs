//! Readings beside arithmetic, and what must hold for every sensor [PL-24].

use super::*;
use proptest::prelude::*;

/// Invented: 0.1 rad to each side in steps of 0.001 rad, without noise, a reading each step.
const PLAIN: SensorConfig = SensorConfig {
    min_rad: -0.1,
    max_rad: 0.1,
    resolution_rad: 0.001,
    noise_rms_rad: 0.0,
    interval_s: 0.0,
    fastest_rad_per_s: 20.0,
};

fn sensor(config: SensorConfig) -> Sensor {
    Sensor::new(config, 7).expect("a usable sensor")
}

fn faulty(config: SensorConfig, fault: SensorFault) -> Sensor {
    let mut out = sensor(config);
    out.set_fault(fault).expect("a usable fault");
    out
}

#[test]
fn a_reading_goes_to_the_nearest_step_and_stays_in_its_range() {
    let mut s = sensor(PLAIN);
    let cases = [
        (0.0, 0.0, None),
        (0.0424, 0.042, None),
        (0.0426, 0.043, None),
        (-0.0424, -0.042, None),
        (0.0994, 0.099, None),
        (0.0996, 0.1, Some(End::High)),
        (0.1, 0.1, Some(End::High)),
        (0.5, 0.1, Some(End::High)),
        (-0.5, -0.1, Some(End::Low)),
        (f64::MAX, 0.1, Some(End::High)),
    ];
    for (truth, rad, at_end) in cases {
        let sensed = s.step(0.001, truth);
        assert!((sensed.rad - rad).abs() < 1e-12, "{truth}: {}", sensed.rad);
        assert_eq!(sensed.at_end, at_end, "{truth}");
    }
    // An angle that is no number is read as the one before; a sensor without steps tells all there is.
    let before = s.step(0.001, 0.05);
    assert_eq!(s.step(0.001, f64::NAN).rad, before.rad);
    assert_eq!(s.step(0.001, f64::INFINITY).rad, before.rad);
    assert_eq!(sensor(SensorConfig { resolution_rad: 0.0, ..PLAIN }).step(0.001, 0.012_345).rad, 0.012_345);
}

/// Mounted turned, so that a part of the lever's way lies beyond the range: the reading stands at its end.
#[test]
fn another_range_ends_earlier() {
    let range_rad = Some((-0.1, 0.0505));
    let mut s = faulty(PLAIN, SensorFault { range_rad, ..SensorFault::default() });
    let cases = [(0.03, 0.03, None), (0.08, 0.0505, Some(End::High)), (-0.2, -0.1, Some(End::Low))];
    for (truth, rad, at_end) in cases {
        let sensed = s.step(0.001, truth);
        assert!((sensed.rad - rad).abs() < 1e-12 && sensed.at_end == at_end, "{truth}: {sensed:?}");
    }
    for range_rad in [Some((0.2, 0.1)), Some((f64::NAN, 1.0)), Some((0.0, 8.0))] {
        assert!(s.set_fault(SensorFault { range_rad, ..SensorFault::default() }).is_err());
    }
}

/// A range of 0.2/0.024 = 8.33 steps: the last whole step stands at -0.1 + 8 x 0.024 = 0.092, the end after it.
#[test]
fn a_range_of_no_whole_number_of_steps_ends_where_it_is_said_to() {
    let mut s = sensor(SensorConfig { resolution_rad: 0.024, ..PLAIN });
    assert!((s.step(0.001, 0.091).rad - 0.092).abs() < 1e-12);
    let last = s.step(0.001, 0.099);
    assert!((last.rad - 0.092).abs() < 1e-12 && last.at_end.is_none(), "{last:?}");
    let end = s.step(0.001, 3.0);
    assert_eq!((end.rad, end.at_end), (0.1, Some(End::High)), "beyond the range it has to be seen");
}

/// A reading within half a step of the end is the end, whatever rounding makes of its number of steps.
#[test]
fn the_last_step_is_the_end_of_the_range() {
    for n in 8..2000 {
        let max_rad = 0.1 + f64::from(n % 17) * 0.0137;
        let resolution_rad = (max_rad - PLAIN.min_rad) / f64::from(n);
        let mut s = sensor(SensorConfig { max_rad, resolution_rad, ..PLAIN });
        let sensed = s.step(0.001, max_rad - 0.3 * resolution_rad);
        assert_eq!((sensed.rad, sensed.at_end), (max_rad, Some(End::High)), "{n} steps");
    }
}

/// Interval 5 ms at steps of 1 ms: readings at 1 (the first step), 5, 10, 15 ms. At 2.5 ms what is left over is carried.
#[test]
fn readings_are_held_between_their_times() {
    let fresh = |interval_s: f64, dt_s: f64, steps: usize| {
        let mut s = sensor(SensorConfig { interval_s, ..PLAIN });
        (1..=steps).filter(|_| s.step(dt_s, 0.01).fresh).count()
    };
    let mut s = sensor(SensorConfig { interval_s: 0.005, ..PLAIN });
    assert_eq!((s.sensed(), s.truth()), (None, None));
    let at: Vec<i32> = (1..=16).filter(|i| s.step(0.001, f64::from(*i) * 1e-3).fresh).collect();
    assert_eq!(at, [1, 5, 10, 15]);
    let held = s.sensed().expect("a reading");
    assert!((held.rad - 0.015).abs() < 1e-12 && !held.fresh, "{held:?}");
    assert_eq!(fresh(0.0025, 0.001, 1000), 401);
    // 0.025 less ten times 0.0025 leaves 2.6e-18 in floats: the tenth step is a reading all the same.
    assert_eq!([9, 10, 19, 20].map(|steps| fresh(0.025, 0.0025, steps)), [1, 2, 2, 3]);
    assert_eq!(fresh(0.005, 0.001, 1_000_000), 200_001);
    // Steps longer than the interval: one reading each.
    assert_eq!(fresh(0.005, 0.02, 100), 100);
    assert_eq!(fresh(0.0, 0.02, 100), 100);
}

/// Twelve even chances less 6: mean 0, rms 1 (each has variance 1/12). Of 40 000 readings the mean is within 5/sqrt(40 000) = 0.025 rms; the
/// fourth moment is 3 - 1.2/12 = 2.9, so the rms is within 5 sqrt((2.9 - 1)/40 000)/2 = 0.017 of 1.
#[test]
fn noise_has_its_rms_and_no_more_than_six_of_it() {
    let config = SensorConfig { resolution_rad: 0.0, noise_rms_rad: 0.001, ..PLAIN };
    let mut s = sensor(config);
    let errors: Vec<f64> = (0..40_000).map(|_| s.step(0.001, 0.02).rad - 0.02).collect();
    let mean = errors.iter().sum::<f64>() / 40_000.0;
    let rms = (errors.iter().map(|e| e * e).sum::<f64>() / 40_000.0).sqrt();
    assert!(mean.abs() < 0.025e-3, "{mean}");
    assert!((rms / 0.001 - 1.0).abs() < 0.017, "{rms}");
    assert!(errors.iter().all(|e| e.abs() <= 0.006));
    // Readings know nothing of each other: the sum of 40 000 products has a standard deviation of 200 rms2.
    let next: f64 = errors.windows(2).map(|w| w[0] * w[1]).sum();
    assert!(next.abs() < 5.0 * 200.0 * 1e-6, "{next}");
}

/// Two readings differ by 12 rms at most. Of 200 000 pairs some differ by more than 6 (4.2 standard deviations of a
/// difference, 2.7e-5 of all if it were normal), which is no jump either.
#[test]
fn noise_is_no_jump() {
    let config = SensorConfig { resolution_rad: 0.0, noise_rms_rad: 0.01, fastest_rad_per_s: 0.01, ..PLAIN };
    let mut s = sensor(config);
    let mut before = s.step(0.001, 0.0).rad;
    let mut far = 0;
    for _ in 0..200_000 {
        let sensed = s.step(0.001, 0.0);
        far += usize::from((sensed.rad - before).abs() > 0.06);
        before = sensed.rad;
        assert!(!sensed.jumped, "{sensed:?}");
    }
    assert!(far > 0, "no pair far apart: the test shows nothing");
}

#[test]
fn noise_follows_the_seed_and_not_the_step() {
    let config = SensorConfig { interval_s: 0.01, ..SensorConfig::default() };
    let run = |seed: u64, dt_s: f64| {
        let mut s = Sensor::new(config, seed).expect("usable");
        let steps = (0..(1.0 / dt_s).round() as usize).map(|_| s.step(dt_s, 0.1));
        steps.filter(|r| r.fresh).map(|r| r.rad).collect::<Vec<_>>()
    };
    assert_eq!(run(1, 0.001), run(1, 0.001));
    assert_eq!(run(1, 0.001), run(1, 0.0005), "half the step");
    assert_ne!(run(1, 0.001), run(2, 0.001));
}

#[test]
fn a_clone_goes_on_as_the_sensor_does() {
    let wear = Wear { from_rad: 0.0, to_rad: 1.0, severity: 0.5, kind: WearKind::Jumps { up_to_rad: 0.2 } };
    let mut s = faulty(
        SensorConfig::default(),
        SensorFault { drift_rad_per_s: 0.01, wear: Some(wear), ..SensorFault::default() },
    );
    (0..123).for_each(|_| _ = s.step(0.001, 0.3));
    let mut clone = s.clone();
    for i in 0..500 {
        let rad = 0.3 + f64::from(i) * 1e-3;
        assert_eq!(s.step(0.001, rad), clone.step(0.001, rad));
    }
    assert_eq!(s, clone);
}

/// 0.02 rad of zero error and 0.001 rad/s over 30 s: 0.05 rad in all.
#[test]
fn the_zero_is_off_and_drifts() {
    let mut s =
        faulty(PLAIN, SensorFault { zero_rad: 0.02, drift_rad_per_s: 0.001, ..SensorFault::default() });
    assert!((s.step(0.0, 0.01).rad - 0.03).abs() < 1e-12);
    (0..30_000).for_each(|_| _ = s.step(0.001, 0.01));
    let truth = s.truth().expect("a reading");
    assert!((truth.error_rad - 0.05).abs() < 0.000_51, "{truth:?}");
    assert_eq!((truth.sensor_rad, truth.hit_by_wear), (0.01, false));
    s.set_fault(SensorFault::default()).expect("healthy");
    assert!((s.step(0.001, 0.01).rad - 0.01).abs() < 1e-12);
}

/// Severity 0.3: of 10 000 readings 3000 are hit, give or take 5 sqrt(10 000 x 0.3 x 0.7) = 229.
#[test]
fn a_worn_spot_hits_readings_within_it_alone() {
    let kind = WearKind::Jumps { up_to_rad: 0.05 };
    let wear = Some(Wear { from_rad: 0.01, to_rad: 0.02, severity: 0.3, kind });
    let noisy = SensorConfig { resolution_rad: 0.0, noise_rms_rad: 1e-4, ..PLAIN };
    let mut worn = faulty(noisy, SensorFault { wear, ..SensorFault::default() });
    let mut healthy = sensor(noisy);
    assert_ne!(worn.wear, worn.noise, "one stream for both would have large noise miss the spot");
    let mut hits = 0;
    for i in 0..10_000 {
        let (a, b) = (worn.step(0.001, 0.015), healthy.step(0.001, 0.015));
        let hit = worn.truth().is_some_and(|t| t.hit_by_wear);
        hits += usize::from(hit);
        assert!(hit || a.rad == b.rad, "reading {i}: the noise is that of a healthy sensor");
        // Jumps go up to 0.05 times the severity.
        assert!((a.rad - b.rad).abs() <= 0.015 + 1e-12, "reading {i}");
    }
    assert!((2771..=3229).contains(&hits), "{hits}");
    for outside in [0.0099, 0.0201] {
        for _ in 0..1000 {
            assert_eq!(worn.step(0.001, outside).rad, healthy.step(0.001, outside).rad);
        }
    }
}

/// What electronics see of a spot without contact: the low end, and a jump on the way in and out.
#[test]
fn lost_contact_shows_the_low_end_and_a_jump() {
    let wear = Some(Wear { from_rad: 0.01, to_rad: 0.02, severity: 1.0, kind: WearKind::DropsOut });
    let mut s = faulty(PLAIN, SensorFault { wear, ..SensorFault::default() });
    let seen: Vec<_> = [0.005, 0.015, 0.016, 0.025, 0.026]
        .map(|rad| s.step(0.001, rad))
        .iter()
        .map(|r| (r.at_end, r.jumped))
        .collect();
    let low = Some(End::Low);
    assert_eq!(seen, [(None, false), (low, true), (low, false), (None, true), (None, false)]);
}

/// 20 rad/s in 1 ms are 0.02 rad, and one step of the converter may be added by rounding.
#[test]
fn a_jump_is_more_than_a_lever_can_turn() {
    let mut s = sensor(PLAIN);
    assert!(!s.step(0.001, 0.0).jumped, "the first reading has none before it");
    assert!(!s.step(0.001, 0.021).jumped);
    assert!(s.step(0.001, 0.043).jumped);
    assert!(!s.step(0.001, 0.043).jumped);
    // Twice the time, twice the way.
    assert!(!s.step(0.002, 0.002).jumped);
}

#[test]
fn unusable_sensors_and_faults_are_refused() {
    let cases = [
        (SensorConfig { min_rad: f64::NAN, ..PLAIN }, "min_rad"),
        (SensorConfig { max_rad: -0.1, ..PLAIN }, "max_rad"),
        (SensorConfig { resolution_rad: 0.026, ..PLAIN }, "resolution_rad"),
        (SensorConfig { resolution_rad: -0.001, ..PLAIN }, "resolution_rad"),
        (SensorConfig { noise_rms_rad: f64::INFINITY, ..PLAIN }, "noise_rms_rad"),
        (SensorConfig { interval_s: -1.0, ..PLAIN }, "interval_s"),
        (SensorConfig { fastest_rad_per_s: 0.0, ..PLAIN }, "fastest_rad_per_s"),
    ];
    for (config, field) in cases {
        assert_eq!(Sensor::new(config, 0).expect_err("must be refused").field, field);
    }
    let wear = Wear { from_rad: 0.0, to_rad: 1.0, severity: 0.5, kind: WearKind::DropsOut };
    let worn = |wear| SensorFault { wear: Some(wear), ..SensorFault::default() };
    let cases = [
        (SensorFault { zero_rad: 8.0, ..SensorFault::default() }, "zero_rad"),
        (SensorFault { drift_rad_per_s: f64::NAN, ..SensorFault::default() }, "drift_rad_per_s"),
        (worn(Wear { to_rad: -0.1, ..wear }), "to_rad"),
        (worn(Wear { severity: 1.1, ..wear }), "severity"),
        (worn(Wear { kind: WearKind::Jumps { up_to_rad: -1.0 }, ..wear }), "up_to_rad"),
    ];
    for (fault, field) in cases {
        let mut s = sensor(PLAIN);
        assert_eq!(s.set_fault(fault).expect_err("must be refused").field, field);
        assert_eq!(s, sensor(PLAIN), "nothing changes");
    }
    SensorConfig::default().check().expect("the default is usable");
}

prop_compose! {
    fn usable()(
        min_rad in -7.0..6.9f64,
        range_rad in 0.011..7f64,
        steps in prop_oneof![Just(0.0), 8.5..20_000f64],
        noise_rms_rad in prop_oneof![Just(0.0), 0.0..0.2f64],
        interval_s in prop_oneof![Just(0.0), 0.0..0.05f64],
        fastest_rad_per_s in 0.01..100f64,
    ) -> SensorConfig {
        let max_rad = (min_rad + range_rad).min(7.01);
        let resolution_rad = if steps > 0.0 { (max_rad - min_rad) / steps } else { 0.0 };
        SensorConfig { min_rad, max_rad, resolution_rad, noise_rms_rad, interval_s, fastest_rad_per_s }
    }
}

prop_compose! {
    fn any_fault()(
        zero_rad in -7.0..7f64,
        drift_rad_per_s in -1.0..1f64,
        from_rad in -7.0..6f64,
        width_rad in 0.0..1f64,
        severity in 0.0..=1f64,
        drops in any::<bool>(),
        up_to_rad in 0.0..7f64,
        range_rad in prop::option::of((-7.0..0f64, 0.0..7f64)),
    ) -> SensorFault {
        let kind = if drops { WearKind::DropsOut } else { WearKind::Jumps { up_to_rad } };
        let wear = Some(Wear { from_rad, to_rad: from_rad + width_rad, severity, kind });
        SensorFault { zero_rad, drift_rad_per_s, wear, range_rad }
    }
}

proptest! {
    #[test]
    fn readings_are_finite_within_the_range_and_the_same_for_a_seed(
        config in usable(),
        fault in any_fault(),
        seed in any::<u64>(),
        angles in prop::collection::vec(
            prop_oneof![8 => -8.0..8f64, 1 => Just(f64::NAN), 1 => Just(f64::NEG_INFINITY), 1 => Just(f64::MAX)],
            1..60,
        ),
    ) {
        let (mut a, mut b) = (Sensor::new(config, seed).expect("usable"), Sensor::new(config, seed).expect("usable"));
        a.set_fault(fault).expect("usable");
        b.set_fault(fault).expect("usable");
        for rad in angles {
            let sensed = a.step(0.001, rad);
            let (min_rad, max_rad) = fault.range_rad.unwrap_or((config.min_rad, config.max_rad));
            prop_assert!((min_rad..=max_rad).contains(&sensed.rad), "{sensed:?}");
            prop_assert!(a.truth().expect("a reading").error_rad.is_finite());
            prop_assert_eq!(sensed, b.step(0.001, rad));
        }
    }

    #[test]
    fn a_healthy_sensor_on_a_believable_lever_never_jumps_and_errs_by_noise_and_step_alone(
        config in usable(),
        seed in any::<u64>(),
        ways in prop::collection::vec(-1.0..=1f64, 1..200),
    ) {
        let mut s = Sensor::new(config, seed).expect("usable");
        let mut rad = (config.min_rad + config.max_rad) / 2.0;
        for way in ways {
            rad += way * config.fastest_rad_per_s * 0.001;
            let sensed = s.step(0.001, rad);
            prop_assert!(!sensed.jumped, "{sensed:?}");
            let truth = s.truth().expect("a reading");
            let held_rad = truth.sensor_rad.clamp(config.min_rad, config.max_rad);
            let most_rad = 6.0 * config.noise_rms_rad + config.resolution_rad / 2.0 + 1e-9;
            prop_assert!((sensed.rad - held_rad).abs() <= most_rad, "{sensed:?}, {truth:?}");
            // Beyond the range by more than noise can hide: the electronics see it.
            let hidden_rad = 6.0 * config.noise_rms_rad;
            prop_assert!(sensed.at_end.is_some() || truth.sensor_rad < config.max_rad + hidden_rad);
            prop_assert!(sensed.at_end.is_some() || truth.sensor_rad > config.min_rad - hidden_rad);
        }
    }
}
