//! Straightened levers beside the linkage itself, and beside figures of a script outside the project [PL-21, PL-25].

use super::super::linkage::Law;
use super::*;
use proptest::prelude::*;

const STROKE_M: f64 = 0.02;

/// Largest and smallest error, % of stroke, of a straightened lever that is really this law.
fn errors(law: &Law, made: &Straightened) -> (f64, f64) {
    (0..=20_000).fold((f64::MIN, f64::MAX), |(most, least), i| {
        let share = f64::from(i) / 20_000.0;
        let error = (made.share(law.lever_rad(STROKE_M * share)) - share) * 100.0;
        (most.max(error), least.min(error))
    })
}

fn ends(law: &Law) -> (f64, f64) {
    (law.lever_rad(0.0), law.lever_rad(STROKE_M))
}

#[test]
fn a_square_centred_lever_has_no_error_left() {
    for degrees in [13f64, 20.0, 30.0, 45.0, 60.0] {
        let half = degrees.to_radians();
        for (law, lever) in [
            (Law::tangent_for(STROKE_M, half), LeverLaw::Tangent),
            (Law::sine_for(STROKE_M, half), LeverLaw::Sine),
            (Law::part_turn_for(STROKE_M), LeverLaw::Direct),
        ] {
            let (closed, open) = ends(&law);
            let made = Straightened::centred(lever, closed, open).expect("usable");
            let (most, least) = errors(&law, &made);
            assert!(most < 1e-9 && least > -1e-9, "{law:?}: {most}, {least}");
        }
    }
}

/// Tangent law made for 30 degrees, square at this share of the stroke above the middle. Percent of stroke:
/// what is left if the lever is read as linear (the table of [PL-21]), and if the tangent is taken but the lever believed to be square in
/// the middle of both angles (a script of our own in another language).
#[test]
fn a_wrong_place_of_square_leaves_its_error() {
    let table = [
        (5.0, (1.067, -2.780), (0.0, -1.2479)),
        (10.0, (0.451, -3.774), (0.0, -2.4829)),
        (20.0, (0.0, -5.843), (0.0, -4.8645)),
        (25.0, (0.0, -6.862), (0.0, -5.9875)),
        (50.0, (0.0, -11.097), (0.0, -10.5518)),
    ];
    let Law::Tangent { distance_m, square_at_m } = Law::tangent_for(STROKE_M, 30f64.to_radians()) else {
        panic!("another law");
    };
    for (percent, linear, centred) in table {
        let law = Law::Tangent { distance_m, square_at_m: square_at_m + STROKE_M * percent / 100.0 };
        let (closed, open) = ends(&law);
        let near = |made: Straightened, (most, least): (f64, f64), by: f64| {
            let found = errors(&law, &made);
            let what = format!("{percent} %: {found:?} instead of {most}, {least}");
            assert!((found.0 - most).abs() < by && (found.1 - least).abs() < by, "{what}");
        };
        let made = |law, square| Straightened::new(law, closed, open, square).expect("usable");
        near(made(LeverLaw::Direct, 0.0), linear, 5.1e-4);
        near(Straightened::centred(LeverLaw::Tangent, closed, open).expect("usable"), centred, 5.1e-5);
        near(made(LeverLaw::Tangent, 0.0), (0.0, 0.0), 1e-9);
    }
}

/// Sine law of 20 mm radius, square off the middle by as much: the same script.
#[test]
fn a_wrong_place_of_square_leaves_its_error_to_the_sine_law_too() {
    for (percent, most) in [(5.0, 0.7767), (10.0, 1.5732), (20.0, 3.3186)] {
        let law = Law::Sine { radius_m: 0.02, square_at_m: 0.01 + STROKE_M * percent / 100.0 };
        let (closed, open) = ends(&law);
        let found = errors(&law, &Straightened::centred(LeverLaw::Sine, closed, open).expect("usable"));
        assert!((found.0 - most).abs() < 5.1e-5 && found.1.abs() < 1e-9, "{percent} %: {found:?}");
        let right = Straightened::new(LeverLaw::Sine, closed, open, 0.0).expect("usable");
        assert!(errors(&law, &right).0 < 1e-9);
    }
}

/// 100 (tan t/tan a - t/a)/2 is what an unneeded tangent does to a linear angle: the table's error with its sign turned.
#[test]
fn a_wrong_law_errs_as_well() {
    let half = 30f64.to_radians();
    let made = Straightened::centred(LeverLaw::Tangent, -half, half).expect("usable");
    let t = 17.766f64.to_radians();
    let error = (made.share(t) - (t + half) / (2.0 * half)) * 100.0;
    assert!((error + 1.8616).abs() < 5.1e-5, "{error}");
}

#[test]
fn unusable_angles_are_refused() {
    let new = |law, closed: f64, open: f64, square: f64| {
        Straightened::new(law, closed.to_radians(), open.to_radians(), square.to_radians())
    };
    let cases = [
        (LeverLaw::Tangent, -81.0, 30.0, 0.0, "closed_rad"),
        (LeverLaw::Tangent, -30.0, 81.0, 0.0, "open_rad"),
        (LeverLaw::Sine, -86.0, 30.0, 0.0, "closed_rad"),
        (LeverLaw::Tangent, -30.0, 30.0, 51.0, "closed_rad"),
        (LeverLaw::Direct, 10.0, 10.5, 0.0, "open_rad"),
        (LeverLaw::Direct, f64::NAN, 10.5, 0.0, "closed_rad"),
        (LeverLaw::Direct, 0.0, f64::INFINITY, 0.0, "open_rad"),
        (LeverLaw::Sine, 0.0, 30.0, f64::NAN, "square_rad"),
    ];
    for (law, closed, open, square, field) in cases {
        assert_eq!(new(law, closed, open, square).expect_err("must be refused").field, field);
    }
    assert!(Straightened::centred(LeverLaw::Tangent, f64::NAN, 0.3).is_err());
}

fn any_law() -> impl Strategy<Value = LeverLaw> {
    prop_oneof![Just(LeverLaw::Tangent), Just(LeverLaw::Sine), Just(LeverLaw::Direct)]
}

proptest! {
    #[test]
    fn angle_and_share_are_inverse_and_the_stops_are_0_and_1(
        law in any_law(),
        closed in -1.35..1.35f64,
        open in -1.35..1.35f64,
        square in -0.3..0.3f64,
        share in 0.0..=1f64,
    ) {
        let Ok(made) = Straightened::new(law, closed, open, square) else {
            return Ok(());
        };
        prop_assert!(made.share(closed).abs() < 1e-12 && (made.share(open) - 1.0).abs() < 1e-12);
        let back = made.share(made.rad(share));
        // Ends 1 degree apart and close to 80 degrees magnify rounding most.
        prop_assert!((back - share).abs() < 1e-9, "{made:?}: {share} came back as {back}");
        // Between the stops the share rises from one to the other.
        let half = made.share((closed + open) / 2.0);
        prop_assert!((0.0..=1.0).contains(&half));
    }

    #[test]
    fn no_angle_gives_a_share_that_is_not_finite(law in any_law(), open in -1.3..1.3f64, sensed in -1e9..1e9f64) {
        if let Ok(made) = Straightened::new(law, -0.5, open, 0.0) {
            prop_assert!(made.share(sensed).is_finite());
            prop_assert!(made.rad(sensed).is_finite());
        }
    }

    #[test]
    fn an_angle_beyond_a_stop_is_travel_beyond_it(law in any_law(), open in -1.3..1.3f64, beyond in 0.0..20f64) {
        if let Ok(made) = Straightened::new(law, -0.5, open, 0.0) {
            let outwards = if open > -0.5 { beyond } else { -beyond };
            prop_assert!(made.share(open + outwards) >= 1.0 - 1e-12);
            prop_assert!(made.share(-0.5 - outwards) <= 1e-12);
        }
    }
}
