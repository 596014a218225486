//! The linkage beside its closed forms and beside the digits that a script outside the project printed [PL-21, PL-22].

use super::*;
use proptest::prelude::*;

const STROKE_M: f64 = 0.02;

/// Indicated less true percent of the way from `from` to `to`, and where it is largest and smallest.
struct Errors {
    most: f64,
    most_at_rad: f64,
    least: f64,
    span_rad: f64,
}

/// A lever that is read as if it were linear between both ends, at 20 001 places.
fn errors(law: &Law, from: f64, to: f64) -> Errors {
    let (first, last) = (law.lever_rad(from), law.lever_rad(to));
    let mut out = Errors { most: f64::MIN, most_at_rad: 0.0, least: f64::MAX, span_rad: last - first };
    for i in 0..=20_000 {
        let share = f64::from(i) / 20_000.0;
        let rad = law.lever_rad(from + (to - from) * share);
        let error = ((rad - first) / (last - first) - share) * 100.0;
        if error > out.most {
            (out.most, out.most_at_rad) = (error, rad);
        }
        out.least = out.least.min(error);
    }
    out
}

fn near(found: f64, expected: f64, by: f64, what: &str) {
    assert!((found - expected).abs() <= by, "{what}: {found} instead of {expected} +- {by}");
}

/// Half angle in degrees; largest error of the tangent law and of the sine law, % of stroke; angle of the tangent law's extreme.
const TABLE: [(f64, f64, f64, f64); 12] = [
    (5.0, 0.0489, 0.0244, 2.889),
    (10.0, 0.1966, 0.0980, 5.789),
    (15.0, 0.4458, 0.2214, 8.714),
    (20.0, 0.8012, 0.3956, 11.675),
    (25.0, 1.2700, 0.6225, 14.687),
    (30.0, 1.8616, 0.9042, 17.766),
    (33.0, 2.2809, 1.1006, 19.652),
    (35.0, 2.5893, 1.2433, 20.929),
    (40.0, 3.4702, 1.6435, 24.197),
    (45.0, 4.5273, 2.1088, 27.597),
    (50.0, 5.7912, 2.6444, 31.161),
    (60.0, 9.1236, 3.9519, 38.962),
];

#[test]
fn a_lever_read_as_linear_errs_as_the_table_says() {
    for (degrees, tangent, sine, at) in TABLE {
        let e = errors(&Law::tangent_for(STROKE_M, degrees.to_radians()), 0.0, STROKE_M);
        near(e.most, tangent, 5.1e-5, "tangent");
        near(-e.least, tangent, 5.1e-5, "tangent below the middle");
        near(e.most_at_rad.to_degrees(), at, 0.01, "angle of the extreme");
        let e = errors(&Law::sine_for(STROKE_M, degrees.to_radians()), 0.0, STROKE_M);
        near(e.most, sine, 5.1e-5, "sine");
        near(-e.least, sine, 5.1e-5, "sine above the middle");
        // Opposite sign: the tangent law reads high above the middle, the sine law below it.
        assert!(e.most_at_rad < 0.0, "{degrees}");
    }
}

/// cos2 t = a/tan a and cos t = sin a/a, put into 50 (t/a - tan t/tan a) and 50 (t/a - sin t/sin a).
#[test]
fn extremes_stand_where_the_closed_form_puts_them() {
    for (degrees, ..) in TABLE {
        let a = degrees.to_radians();
        let t = (a / a.tan()).sqrt().acos();
        let e = errors(&Law::tangent_for(STROKE_M, a), 0.0, STROKE_M);
        near(e.most, 50.0 * (t / a - t.tan() / a.tan()), 1e-6, "tangent");
        near(e.most_at_rad, t, 2e-4, "tangent, angle");
        let t = (a.sin() / a).acos();
        let e = errors(&Law::sine_for(STROKE_M, a), 0.0, STROKE_M);
        near(e.least, 50.0 * (t / a - t.sin() / a.sin()), 1e-6, "sine");
        near(e.most_at_rad, -t, 2e-4, "sine, angle");
    }
}

/// 50 x 2/(9 sqrt 3) = 6.415 and half of it; 1 degree is small enough for four digits (next term: 4e-4 of it at 1 degree).
#[test]
fn small_angles_err_with_their_square() {
    let a = 1f64.to_radians();
    let constant = 100.0 / (9.0 * 3f64.sqrt());
    near(constant, 6.415, 5e-4, "constant");
    let tangent = errors(&Law::tangent_for(STROKE_M, a), 0.0, STROKE_M).most / (a * a);
    let sine = errors(&Law::sine_for(STROKE_M, a), 0.0, STROKE_M).most / (a * a);
    near(tangent, constant, 1e-3, "tangent");
    near(sine, constant / 2.0, 1e-3, "sine");
}

/// Percent of travel; angle in degrees and indicated percent of the tangent law, then of the sine law, 30 degrees to each side.
#[test]
fn a_lever_of_30_degrees_stands_where_the_table_says() {
    let table = [
        (0.0, -30.0, 0.0, -30.0, 0.0),
        (10.0, -24.7913, 8.6812, -23.5782, 10.7030),
        (20.0, -19.1066, 18.1557, -17.4576, 20.9040),
        (30.0, -13.0039, 28.3268, -11.5370, 30.7717),
        (40.0, -6.5868, 39.0220, -5.7392, 40.4347),
        (50.0, 0.0, 50.0, 0.0, 50.0),
        (60.0, 6.5868, 60.9780, 5.7392, 59.5653),
        (70.0, 13.0039, 71.6732, 11.5370, 69.2283),
        (80.0, 19.1066, 81.8443, 17.4576, 79.0960),
        (90.0, 24.7913, 91.3188, 23.5782, 89.2970),
        (100.0, 30.0, 100.0, 30.0, 100.0),
    ];
    let half = 30f64.to_radians();
    for (percent, tangent, tangent_percent, sine, sine_percent) in table {
        let laws = [
            (Law::Tangent { distance_m: 0.017_320_508, square_at_m: 0.01 }, tangent, tangent_percent),
            (Law::Sine { radius_m: 0.02, square_at_m: 0.01 }, sine, sine_percent),
        ];
        for (law, degrees, indicated) in laws {
            let rad = law.lever_rad(STROKE_M * percent / 100.0);
            near(rad.to_degrees(), degrees, 5.1e-5, "angle");
            near((rad + half) / (2.0 * half) * 100.0, indicated, 5.1e-5, "indicated");
        }
    }
}

/// Stroke and lever, mm, for 20, 30, 45 degrees to each side: tangent law, then sine law.
#[test]
fn levers_are_made_for_their_stroke() {
    let table = [
        (10.0, [13.74, 8.66, 5.00], [14.62, 10.00, 7.07]),
        (14.3, [19.64, 12.38, 7.15], [20.91, 14.30, 10.11]),
        (20.0, [27.47, 17.32, 10.00], [29.24, 20.00, 14.14]),
        (40.0, [54.95, 34.64, 20.00], [58.48, 40.00, 28.28]),
        (80.0, [109.90, 69.28, 40.00], [116.95, 80.00, 56.57]),
        (100.0, [137.37, 86.60, 50.00], [146.19, 100.00, 70.71]),
    ];
    for (stroke_mm, distances, radii) in table {
        for (i, degrees) in [20f64, 30.0, 45.0].into_iter().enumerate() {
            let stroke_m = stroke_mm / 1000.0;
            let Law::Tangent { distance_m, square_at_m } = Law::tangent_for(stroke_m, degrees.to_radians())
            else {
                panic!("another law");
            };
            near(distance_m * 1000.0, distances[i], 5.1e-3, "distance");
            assert_eq!(square_at_m, stroke_m / 2.0);
            let Law::Sine { radius_m, square_at_m } = Law::sine_for(stroke_m, degrees.to_radians()) else {
                panic!("another law");
            };
            near(radius_m * 1000.0, radii[i], 5.1e-3, "radius");
            assert_eq!(square_at_m, stroke_m / 2.0);
        }
    }
}

/// Square at 5 % to 50 % of stroke above the middle, tangent law made for 30 degrees; the same by a pin carrier that
/// is moved by as much the other way along the stem.
#[test]
fn off_centre_mounting_errs_as_the_table_says() {
    let table = [
        (0.0, 1.862, -1.862, 60.00, -30.00, 30.00),
        (5.0, 1.067, -2.780, 59.88, -32.42, 27.46),
        (10.0, 0.451, -3.774, 59.51, -34.72, 24.79),
        (20.0, 0.000, -5.843, 58.05, -38.95, 19.11),
        (25.0, 0.000, -6.862, 57.00, -40.89, 16.10),
        (50.0, 0.000, -11.097, 49.11, -49.11, 0.00),
    ];
    for (percent, most, least, span, first, last) in table {
        let Law::Tangent { distance_m, square_at_m } = Law::tangent_for(STROKE_M, 30f64.to_radians()) else {
            panic!("another law");
        };
        let off_m = STROKE_M * percent / 100.0;
        let law = Law::Tangent { distance_m, square_at_m: square_at_m + off_m };
        let e = errors(&law, 0.0, STROKE_M);
        near(e.most, most, 5.1e-4, "most");
        near(e.least, least, 5.1e-4, "least");
        near(e.span_rad.to_degrees(), span, 5.1e-3, "angle in all");
        near(law.lever_rad(0.0).to_degrees(), first, 5.1e-3, "closed");
        near(law.lever_rad(STROKE_M).to_degrees(), last, 5.1e-3, "open");

        let mut moved = healthy(Law::Tangent { distance_m, square_at_m });
        moved
            .set_fault(LinkageFault { shifted_m_or_rad: -off_m, ..LinkageFault::default() })
            .expect("a moved pin");
        near(moved.step(0.001, 0.0).lever_rad.to_degrees(), first, 5.1e-3, "closed, pin moved");
        near(moved.step(0.001, STROKE_M).lever_rad.to_degrees(), last, 5.1e-3, "open, pin moved");
    }
}

#[test]
fn a_misaligned_coupling_errs_as_the_table_says() {
    let turn = 90f64.to_radians();
    let straight = errors(&Law::part_turn_for(turn), 0.0, turn);
    assert!(straight.most.abs() < 1e-9 && straight.least.abs() < 1e-9);
    for (degrees, error) in [(1f64, 0.0010), (2.0, 0.0041), (3.0, 0.0092), (5.0, 0.0255), (10.0, 0.1018)] {
        let law = Law::PartTurn { square_at_rad: turn / 2.0, misaligned_rad: degrees.to_radians() };
        let e = errors(&law, 0.0, turn);
        near(e.most, error, 5.1e-5, "most");
        near(e.least, -error, 5.1e-5, "least");
    }
}

/// The driven fork is square to the driving one and to its own shaft, so it points along their cross product.
#[test]
fn a_cross_joint_turns_as_its_forks_do() {
    let cross = |a: [f64; 3], b: [f64; 3]| {
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    };
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    for misaligned in [0.0, 0.1, 0.35, 0.6f64] {
        let shaft = [0.0, misaligned.sin(), misaligned.cos()];
        let fork = |turn: f64| cross(shaft, [turn.cos(), turn.sin(), 0.0]);
        let (start, side) = (fork(0.0), cross(shaft, fork(0.0)));
        let law = Law::PartTurn { square_at_rad: 0.0, misaligned_rad: misaligned };
        for step in -31..=31 {
            let turn = f64::from(step) / 10.0;
            let out = dot(fork(turn), side).atan2(dot(fork(turn), start));
            near(law.lever_rad(turn), out, 1e-12, "driven fork");
        }
    }
}

/// Crank of half the stroke at 45 degrees to each side: the scotch yoke is the tangent law.
#[test]
fn a_scotch_yoke_is_the_tangent_law_of_45_degrees() {
    let crank_m = 0.05;
    let yoke = Law::tangent_for(0.1, 45f64.to_radians());
    for degrees in [-45f64, -20.0, 0.0, 10.0, 45.0] {
        near(
            yoke.at_m_or_rad(degrees.to_radians()),
            crank_m + crank_m * degrees.to_radians().tan(),
            1e-12,
            "yoke",
        );
    }
    near(errors(&yoke, 0.0, 0.1).most, 4.5273, 5.1e-5, "error");
}

fn healthy(law: Law) -> Linkage {
    Linkage::new(LinkageConfig::new(law), 0.0, STROKE_M).expect("a usable linkage")
}

#[test]
fn opening_may_lower_the_angle() {
    let config =
        LinkageConfig { sense: Sense::Falling, ..LinkageConfig::new(Law::tangent_for(STROKE_M, 0.5)) };
    let mut falling = Linkage::new(config, 0.0, STROKE_M).expect("usable");
    near(falling.lever().lever_rad, 0.5, 1e-12, "closed");
    near(falling.step(0.001, STROKE_M).lever_rad, -0.5, 1e-12, "open");
    // cos2(0)/d with d = 0.01/tan 0.5, at mid travel.
    near(falling.lever_rad_per_m_or_rad(0.01), -(0.5f64.tan()) / 0.01, 1e-9, "slope");
}

/// Distance twice as long: atan(10/34.641) = 16.102 degrees instead of 30. Half as long: atan(10/8.6603) = 49.107.
#[test]
fn a_pin_in_a_wrong_hole_turns_the_lever_by_too_little_or_too_much() {
    let mut linkage = healthy(Law::tangent_for(STROKE_M, 30f64.to_radians()));
    for (length_ratio, degrees) in [(2.0, 16.102), (0.5, 49.107), (1.0, 30.0)] {
        linkage.set_fault(LinkageFault { length_ratio, ..LinkageFault::default() }).expect("wrong hole");
        near(linkage.step(0.001, STROKE_M).lever_rad.to_degrees(), degrees, 5.1e-4, "open");
        near(linkage.step(0.001, 0.0).lever_rad.to_degrees(), -degrees, 5.1e-4, "closed");
    }
}

/// Radius 20 mm, stroke 20 mm; in the hole at 8 mm the pin can be followed from 2 to 18 mm of travel alone.
#[test]
fn a_sine_law_beyond_its_radius_stays_at_90_degrees_and_says_so() {
    let mut linkage = healthy(Law::sine_for(STROKE_M, 30f64.to_radians()));
    linkage.set_fault(LinkageFault { length_ratio: 0.4, ..LinkageFault::default() }).expect("wrong hole");
    let mid = linkage.step(0.001, 0.014);
    assert!(!mid.saturated);
    near(mid.lever_rad.to_degrees(), 30.0, 1e-9, "asin(4/8)");
    let open = linkage.step(0.001, STROKE_M);
    assert!(open.saturated && open.follows);
    near(open.lever_rad.to_degrees(), 90.0, 1e-9, "saturated");
    assert_eq!(linkage.lever_rad_per_m_or_rad(STROKE_M), 0.0);
    assert!(!linkage.step(0.001, 0.01).saturated);
}

#[test]
fn a_slipped_clamp_is_an_offset_from_its_moment_on() {
    let mut linkage = healthy(Law::tangent_for(STROKE_M, 0.5));
    let before = linkage.step(0.001, 0.015);
    assert_eq!(before.lever_rad, before.sensor_rad);
    linkage.set_fault(LinkageFault { slipped_rad: -0.2, ..LinkageFault::default() }).expect("slipped");
    assert_eq!(linkage.lever(), before, "nothing before the next step");
    let after = linkage.step(0.001, 0.015);
    assert_eq!(after.lever_rad, before.lever_rad);
    near(after.sensor_rad, before.sensor_rad - 0.2, 1e-12, "slipped");
}

#[test]
fn a_turned_coupling_shifts_the_angle() {
    let turn = 90f64.to_radians();
    let mut linkage = Linkage::new(LinkageConfig::new(Law::part_turn_for(turn)), 0.0, turn).expect("usable");
    linkage
        .set_fault(LinkageFault { shifted_m_or_rad: 45f64.to_radians(), ..LinkageFault::default() })
        .expect("turned");
    near(linkage.step(0.001, 0.0).sensor_rad, 0.0, 1e-12, "closed");
    near(linkage.step(0.001, turn).sensor_rad.to_degrees(), 90.0, 1e-9, "open");
}

/// Gap of 1 mm: up to 10 the follower comes to 9.5, down to 9 nothing moves, down to 5 it comes to 5.5.
#[test]
fn play_has_its_width_both_ways() {
    let mut play = Play::at(0.0);
    for (leader, follower) in
        [(0.5, 0.0), (10.0, 9.5), (9.0, 9.5), (9.1, 9.5), (5.0, 5.5), (5.9, 5.5), (6.0, 5.5), (6.5, 6.0)]
    {
        assert_eq!(play.follow(leader, 1.0), follower, "leader at {leader}");
    }
    assert_eq!(play.follow(f64::NAN, 1.0), 6.0);
    assert_eq!(play.follow(7.0, f64::INFINITY), 6.0);
    assert_eq!(play.follow(7.0, 0.0), 7.0);
}

/// Pin of 0.4 mm play: on the way back the lever of a linkage stands where the stem would be 0.4 mm further open.
#[test]
fn play_of_the_pin_is_a_hysteresis_of_the_lever() {
    let law = Law::tangent_for(STROKE_M, 0.5);
    let config = LinkageConfig { play_m_or_rad: 1e-4, ..LinkageConfig::new(law) };
    let mut linkage = Linkage::new(config, 0.0, STROKE_M).expect("usable");
    linkage
        .set_fault(LinkageFault { more_play_m_or_rad: 3e-4, ..LinkageFault::default() })
        .expect("worn pin");
    let seen = |linkage: &mut Linkage, at_m: f64| law.at_m_or_rad(linkage.step(0.001, at_m).lever_rad);
    near(seen(&mut linkage, 0.010), 0.0098, 1e-12, "opening");
    seen(&mut linkage, 0.015);
    near(seen(&mut linkage, 0.010), 0.0102, 1e-12, "closing");
}

/// Tangent law with d = 17.32 mm: the pin is 20 mm from the pivot at both ends and 17.32 at the middle.
#[test]
fn a_pin_that_passes_the_slots_end_stays_out_until_it_is_put_back() {
    let law = Law::tangent_for(STROKE_M, 30f64.to_radians());
    let slot = Some(Slot { from_m: 0.016, to_m: 0.021 });
    let config =
        LinkageConfig { slot, falls_to_rad: Some(-1.2), fall_rad_per_s: 5.0, ..LinkageConfig::new(law) };
    let mut linkage = Linkage::new(config, 0.0, STROKE_M).expect("usable");
    assert!(linkage.step(0.001, STROKE_M).follows);
    // Carrier 4 mm further: at open the pin is hypot(17.32, 14) = 22.3 mm away.
    let moved = LinkageFault { shifted_m_or_rad: 0.004, ..LinkageFault::default() };
    linkage.set_fault(moved).expect("moved");
    let last = linkage.step(0.001, 0.01);
    assert!(last.follows);
    let falling = linkage.step(0.1, STROKE_M);
    assert!(!falling.follows);
    near(falling.lever_rad, last.lever_rad - 0.5, 1e-12, "falls 5 rad/s");
    near(linkage.step(10.0, 0.01).lever_rad, -1.2, 1e-12, "at rest, whatever the stem does");
    assert_eq!(linkage.lever_rad_per_m_or_rad(0.01), 0.0);
    linkage.set_fault(LinkageFault::default()).expect("carrier back");
    assert!(!linkage.step(0.001, 0.01).follows, "nobody has put the pin back");
    linkage.put_pin_back();
    let back = linkage.step(0.001, 0.01);
    assert!(back.follows);
    near(back.lever_rad, 0.0, 1e-12, "square at mid travel");
}

#[test]
fn a_pin_that_is_out_leaves_the_lever_where_it_was() {
    let mut linkage = healthy(Law::sine_for(STROKE_M, 0.5));
    let before = linkage.step(0.001, 0.013);
    linkage.set_fault(LinkageFault { pin_out: true, ..LinkageFault::default() }).expect("out");
    let after = linkage.step(5.0, 0.002);
    assert_eq!((after.lever_rad, after.follows), (before.lever_rad, false));
    linkage.put_pin_back();
    assert!(!linkage.step(0.001, 0.002).follows, "the fault holds it out");
    linkage.set_fault(LinkageFault::default()).expect("healthy");
    assert!(linkage.step(0.001, 0.002).follows);
}

/// What must not be accepted, and what the message says.
#[test]
fn unusable_linkages_are_refused() {
    let new = LinkageConfig::new;
    let good = new(Law::tangent_for(STROKE_M, 0.5));
    let slot = |from_m, to_m| Some(Slot { from_m, to_m });
    let cases = [
        // A stem that goes 10 mm to each side of a radius of 9 mm, and of one at which the lever reaches 86 degrees.
        (new(Law::Sine { radius_m: 0.009, square_at_m: 0.01 }), "radius_m", "too short"),
        (new(Law::Sine { radius_m: 0.010_02, square_at_m: 0.01 }), "radius_m", "80 degrees"),
        (new(Law::Sine { radius_m: 0.019, square_at_m: 0.0 }), "radius_m", "0.0200 m"),
        (new(Law::Tangent { distance_m: 0.001_7, square_at_m: 0.01 }), "distance_m", "too short"),
        (new(Law::Tangent { distance_m: f64::NAN, square_at_m: 0.01 }), "distance_m", "NaN"),
        (new(Law::Tangent { distance_m: -0.02, square_at_m: 0.01 }), "distance_m", "not within"),
        (new(Law::Tangent { distance_m: 0.02, square_at_m: f64::INFINITY }), "square_at_m", "inf"),
        (new(Law::PartTurn { square_at_rad: 0.8, misaligned_rad: 0.7 }), "misaligned_rad", "0.7"),
        (LinkageConfig { play_m_or_rad: -1e-3, ..good }, "play_m_or_rad", "not within"),
        (LinkageConfig { fall_rad_per_s: 0.0, ..good }, "fall_rad_per_s", "not within"),
        (LinkageConfig { falls_to_rad: Some(9.0), ..good }, "falls_to_rad", "not within"),
        // d = 0.01/tan 0.5 = 18.305 mm at the middle, 20.858 mm at both ends.
        (LinkageConfig { slot: slot(0.019, 0.03), ..good }, "slot", "0.0183 m along"),
        (LinkageConfig { slot: slot(0.0, 0.020), ..good }, "slot", "0.0209 m along"),
        (LinkageConfig { slot: slot(0.03, 0.02), ..good }, "slot", "not within"),
        (LinkageConfig { slot: slot(0.0, 1.0), ..new(Law::part_turn_for(0.02)) }, "slot", "no slot"),
    ];
    for (config, field, says) in cases {
        let e = Linkage::new(config, 0.0, STROKE_M).expect_err("must be refused");
        assert_eq!(e.field, field, "{e}");
        assert!(e.why.contains(says), "{e}: says not {says}");
    }
    assert!(good.check(0.0, f64::NAN).is_err());
    assert!(LinkageConfig { slot: slot(0.018, 0.021), ..good }.check(0.0, STROKE_M).is_ok());
    let mut linkage = healthy(good.law);
    let bad = LinkageFault { length_ratio: 0.0, ..LinkageFault::default() };
    assert_eq!(linkage.set_fault(bad).expect_err("no length").field, "length_ratio");
    assert_eq!(linkage, healthy(good.law));
}

/// Any law that a check accepts for a way from 0 to `end`, with that end.
fn usable() -> impl Strategy<Value = (Law, f64)> {
    let lever = (0.005..0.2f64, 0.1..1.35f64, 0.0..1.0f64, any::<bool>());
    let lever = lever.prop_map(|(stroke_m, most_rad, square_share, sine)| {
        let square_at_m = stroke_m * square_share;
        let far_m = stroke_m * square_share.max(1.0 - square_share);
        let law = if sine {
            Law::Sine { radius_m: far_m / most_rad.sin(), square_at_m }
        } else {
            Law::Tangent { distance_m: far_m / most_rad.tan(), square_at_m }
        };
        (law, stroke_m)
    });
    let shaft = (0.1..6.0f64, 0.0..1.0f64, 0.0..0.6f64).prop_map(|(turn, share, misaligned_rad)| {
        (Law::PartTurn { square_at_rad: turn * share, misaligned_rad }, turn)
    });
    prop_oneof![lever, shaft].prop_filter("accepted", |(law, end)| law.check(0.0, *end).is_ok())
}

fn fault() -> impl Strategy<Value = LinkageFault> {
    (0.1..10f64, -7.0..7f64, -7.0..7f64, 0.0..1f64, any::<bool>()).prop_map(
        |(length_ratio, shifted_m_or_rad, slipped_rad, more_play_m_or_rad, pin_out)| LinkageFault {
            length_ratio,
            shifted_m_or_rad,
            slipped_rad,
            more_play_m_or_rad,
            pin_out,
        },
    )
}

proptest! {
    #[test]
    fn the_inverse_of_a_law_is_its_inverse((law, end) in usable(), share in 0.0..1f64) {
        let at = end * share;
        let back = law.at_m_or_rad(law.lever_rad(at));
        // A lever near 80 degrees magnifies the rounding of an angle by d/cos2.
        prop_assert!((back - at).abs() <= 1e-11 * (1.0 + end), "{law:?} at {at}: {back}");
    }

    #[test]
    fn a_law_rises_with_the_slope_it_gives((law, end) in usable(), share in 0.001..0.999f64) {
        let (at, h) = (end * share, end * 1e-5);
        let slope = law.lever_rad_per_m_or_rad(at);
        let quotient = (law.lever_rad(at + h) - law.lever_rad(at - h)) / (2.0 * h);
        prop_assert!(slope > 0.0);
        prop_assert!((slope / quotient - 1.0).abs() < 1e-5, "{law:?} at {at}: {slope}, quotient {quotient}");
    }

    #[test]
    fn play_never_exceeds_its_width_and_knows_no_speed(
        ways in prop::collection::vec(-10.0..10f64, 1..30),
        width in 0.0..5f64,
        parts in 1..20u32,
    ) {
        let (mut coarse, mut fine) = (Play::at(0.0), Play::at(0.0));
        let mut from = 0.0;
        for to in ways {
            let before = coarse;
            let follower = coarse.follow(to, width);
            prop_assert!((follower - to).abs() <= width / 2.0 + 1e-12);
            // The leader's way in one step, or in many, and any number of times the same.
            for part in 1..=parts {
                let at = from + (to - from) * f64::from(part) / f64::from(parts);
                fine.follow(if part == parts { to } else { at }, width);
            }
            prop_assert!((fine.follow(to, width) - follower).abs() < 1e-12);
            // It goes with the leader or stays, and no further than needed.
            prop_assert!((follower - before.follower) * (to - before.follower) >= 0.0);
            from = to;
        }
    }

    #[test]
    fn a_linkage_stays_finite_whatever_is_wrong(
        (law, end) in usable(),
        faults in prop::collection::vec((fault(), prop::collection::vec(-1.0..2f64, 1..20)), 1..5),
        falls in any::<bool>(),
    ) {
        let config = LinkageConfig { falls_to_rad: falls.then_some(-1.0), ..LinkageConfig::new(law) };
        let mut linkage = Linkage::new(config, 0.0, end).expect("accepted");
        for (fault, ways) in faults {
            linkage.set_fault(fault).expect("within its ranges");
            for way in ways {
                let lever = linkage.step(0.001, way * end);
                prop_assert!(lever.lever_rad.is_finite() && lever.sensor_rad.is_finite());
                prop_assert!(law.is_part_turn() || lever.lever_rad.abs() <= core::f64::consts::FRAC_PI_2);
                prop_assert!(linkage.lever_rad_per_m_or_rad(way * end).is_finite());
                let same = linkage.clone();
                prop_assert_eq!(linkage.step(f64::NAN, f64::NAN), same.now, "no number changes nothing");
            }
        }
    }
}
