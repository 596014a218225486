use super::*;
use crate::plant::actuator::{Actuator, ActuatorConfig, ProcessForce, Pushes, Spring};
use crate::plant::friction::Fall;
use proptest::prelude::*;

mod account;
mod open_loop;
mod shaft;

const ATMOSPHERE_PA: f64 = 101_325.0;

/// The stem of the reference actuator without friction, so that closed forms hold.
fn smooth(mass_kg: f64) -> MovingConfig {
    MovingConfig { mass_kg, friction: FrictionConfig::NONE, ..MovingConfig::reference() }
}

fn push(n: f64) -> Forces {
    Forces { pressure: Force::steady(n), ..Forces::default() }
}

#[test]
fn it_begins_at_rest_between_its_stops() {
    for (asked, there) in [(0.01, 0.01), (-1.0, 0.0), (5.0, 0.02)] {
        let moving = Moving::new(MovingConfig::reference(), asked).expect("set-up");
        assert_eq!((moving.stem_m(), moving.velocity_m_per_s()), (there, 0.0));
    }
    let error = Moving::new(MovingConfig::reference(), f64::NAN).expect_err("no place");
    assert_eq!(error.field, "stem_m");
}

/// 3 N on 1.5 kg for 0.1 s: 0.2 m/s, 10 mm.
#[test]
fn a_free_stem_falls_as_newton_has_it() {
    let mut moving = Moving::new(smooth(1.5), 0.0).expect("set-up");
    let last = (0..1000).map(|_| moving.step(1e-4, &push(3.0))).last().expect("steps");
    assert!((last.velocity_m_per_s - 0.2).abs() < 1e-9, "{last:?}");
    assert!((last.stem_m - 0.01).abs() < 2e-5, "{last:?}");
}

/// At the stop it comes to rest in one step, stays, and gives the speed it had to the account.
#[test]
fn stops_take_all_of_the_speed() {
    for (n, end, stop) in [(100.0, 0.02, Stop::Open), (-100.0, 0.0, Stop::Closed)] {
        let mut moving = Moving::new(smooth(1.5), 0.01).expect("set-up");
        let mut total = Energy::default();
        for _ in 0..100 {
            let motion = moving.step(1e-3, &push(n));
            total += motion.energy;
            assert!((0.0..=0.02).contains(&motion.stem_m));
        }
        let motion = moving.step(1e-3, &push(n));
        assert_eq!((motion.stem_m, motion.velocity_m_per_s, motion.stop), (end, 0.0, Some(stop)));
        assert_eq!((motion.stop_n, motion.friction_n, motion.stuck), (100.0, 0.0, false));
        // 100 N over 10 mm.
        assert!((total.pressure_j - 1.0).abs() < 1e-9 && total.kinetic_j == 0.0, "{total:?}");
        assert!((total.stop_j + total.step_j - 1.0).abs() < 1e-9 && total.step_j < 0.1, "{total:?}");
    }
}

/// The seat gets what is left after Coulomb friction; the stem leaves when static friction is beaten.
#[test]
fn a_seat_holds_and_lets_go() {
    let mut moving = Moving::new(MovingConfig::reference(), 0.0).expect("set-up");
    let shut = moving.step(1e-3, &push(-700.0));
    // 700 - 140 N.
    assert_eq!((shut.stop, shut.stop_n, shut.friction_n), (Some(Stop::Closed), 560.0, -140.0));
    assert_eq!(moving.step(1e-3, &push(168.0)).velocity_m_per_s, 0.0);
    assert!(moving.step(1e-3, &push(168.0_f64.next_up())).velocity_m_per_s > 0.0);
}

#[test]
fn a_seat_grips_and_the_grip_fades() {
    let grips = MovingConfig { seat: Seat { grip_n: 300.0, fade_m: 1e-3 }, ..MovingConfig::reference() };
    let at = |stem_m: f64, n: f64| {
        let mut moving = Moving::new(grips, stem_m).expect("set-up");
        moving.step(1e-3, &push(n)).velocity_m_per_s
    };
    // 168 + 300, half way through the fade 168 + 150, past it 168 N.
    for (stem_m, bears) in [(0.0, 468.0), (0.5e-3, 318.0), (1e-3, 168.0), (0.01, 168.0)] {
        assert_eq!(at(stem_m, bears - 1e-6), 0.0, "{stem_m}");
        assert!(at(stem_m, bears + 1e-6) > 0.0, "{stem_m}");
    }
    let shut = Moving::new(grips, 0.0).expect("set-up").step(1e-3, &push(-700.0));
    assert_eq!(shut.stop_n, 560.0, "a grip takes nothing off the shut-off force");
}

#[test]
fn stops_that_are_moved() {
    let mut moving = Moving::new(MovingConfig::reference(), 0.0).expect("set-up");
    moving.set_stops(0.0, 0.015).expect("within");
    let mut last = moving.step(1e-3, &push(2000.0));
    for _ in 0..1000 {
        last = moving.step(1e-3, &push(2000.0));
    }
    assert_eq!((last.stem_m, last.stop), (0.015, Some(Stop::Open)));
    // A handwheel that lifts the closed stop takes the stem along, and nothing closes it.
    moving.set_stops(0.018, 0.02).expect("within");
    assert_eq!(moving.stem_m(), 0.018);
    assert_eq!(moving.step(1e-3, &push(-5000.0)).stop, Some(Stop::Closed));
    assert_eq!(moving.stem_m(), 0.018);
    // Both at one place hold it there.
    moving.set_stops(0.01, 0.01).expect("within");
    assert_eq!(moving.step(1e-3, &push(5000.0)).stem_m, 0.01);
    assert_eq!(moving.travel_percent(), 50.0);
    for (closed, open, field) in
        [(0.02, 0.01, "open_stop_m"), (-0.006, 0.01, "closed_stop_m"), (0.0, 0.03, "open_stop_m")]
    {
        assert_eq!(moving.set_stops(closed, open).expect_err("refused").field, field);
    }
    assert_eq!(moving.stops_m(), (0.01, 0.01));
}

#[test]
fn a_seized_stem_moves_under_no_force() {
    let mut moving = Moving::new(smooth(1.5), 0.01).expect("set-up");
    for _ in 0..10 {
        moving.step(1e-3, &push(100.0));
    }
    moving.set_seized(true);
    let (there, mut total) = (moving.stem_m(), Energy::default());
    for _ in 0..10 {
        let motion = moving.step(1e-3, &push(1e7));
        assert_eq!((motion.stem_m, motion.velocity_m_per_s, motion.friction_n), (there, 0.0, 1e7));
        assert!(motion.stuck);
        total += motion.energy;
    }
    assert!(total.residue_j().abs() < 1e-12);
    moving.set_seized(false);
    assert!(moving.step(1e-3, &push(100.0)).velocity_m_per_s > 0.0);
}

/// A process that closes harder as the plug comes near its seat slams it shut, and holds it there.
#[test]
fn flow_to_close_slams_near_the_seat() {
    let process = ProcessForce { shut_n: -4000.0, open_n: 0.0 };
    let spring = Force { n: 0.0, n_per_m: -140e3 };
    // The process falls by 200 kN/m, more than the spring's 140: from 10 mm the balance is lost either way.
    let mut moving = Moving::new(smooth(1.5), 0.0099).expect("set-up");
    let mut last = None;
    for _ in 0..200 {
        let s = moving.stem_m();
        let n = 2000.0 - 140e3 * (s - 0.01);
        let forces =
            Forces { spring: Force { n, ..spring }, process: process.force(s, 0.02), ..Forces::default() };
        last = Some(moving.step(1e-3, &forces));
    }
    let last = last.expect("steps");
    assert_eq!(last.stop, Some(Stop::Closed));
    // 4000 N of the process against 2000 + 1400 N.
    assert!((last.stop_n - 600.0).abs() < 1e-9, "{last:?}");
}

/// Halving the step changes a stroke's time by less than 0.5 %.
#[test]
fn halving_the_step_changes_little() {
    let stroke_s = |dt: f64| {
        let mut moving = Moving::new(MovingConfig::reference(), 0.0).expect("set-up");
        let mut steps = 0;
        while moving.stem_m() < 0.02 {
            // Ramp of 1 bar in 1 s against the spring.
            let n = 3500.0 * f64::from(steps) * dt * 1.2 - 700.0 - 140e3 * moving.stem_m();
            moving.step(dt, &Forces { pressure: Force { n, n_per_m: -140e3 }, ..Forces::default() });
            steps += 1;
        }
        f64::from(steps) * dt
    };
    let (one, half) = (stroke_s(1e-3), stroke_s(5e-4));
    assert!((one / half - 1.0).abs() < 0.005, "{one} and {half}");
    // The force passes 3500 N + drag at about 1 s/1.2: the plain sum of what must be overcome.
    assert!((0.85..1.0).contains(&half), "{half}");
}

/// The reference model in the same parts: it settles where the working model does, but for its bend.
#[test]
fn bristles_settle_where_sticking_does() {
    let bristle = Some(BristleConfig::new(1e7, 2e4));
    let settle = |config: MovingConfig| {
        let mut moving = Moving::new(config, 0.0).expect("set-up");
        let mut last = None;
        for i in 0..3000 {
            let n = 2000.0 * f64::from(i).min(1000.0) / 1000.0 - 140e3 * moving.stem_m();
            last = Some(
                moving.step(1e-3, &Forces { pressure: Force { n, n_per_m: -140e3 }, ..Forces::default() }),
            );
        }
        last.expect("steps")
    };
    let (sticks, bends) =
        (settle(MovingConfig::reference()), settle(MovingConfig { bristle, ..MovingConfig::reference() }));
    assert_eq!(sticks.velocity_m_per_s, 0.0);
    assert!(bends.velocity_m_per_s.abs() < 1e-6);
    // Bristles bend by Fs/sigma0 = 17 um and creep by a few times that.
    assert!((sticks.stem_m - bends.stem_m).abs() < 6.0 * 17e-6, "{sticks:?} {bends:?}");
}

#[test]
fn set_ups_that_are_refused() {
    let bad = |change: fn(&mut MovingConfig)| {
        let mut config = MovingConfig::reference();
        change(&mut config);
        let error = Moving::new(config, 0.0).expect_err("refused");
        assert!(!error.why.is_empty());
        error.field
    };
    assert_eq!(bad(|c| c.stroke_m = 0.0), "stroke_m");
    assert_eq!(bad(|c| c.mass_kg = f64::INFINITY), "mass_kg");
    assert_eq!(bad(|c| c.friction.static_n = 1.0), "static_n");
    assert_eq!(bad(|c| c.bristle = Some(BristleConfig::new(-1.0, 0.0))), "stiffness_n_per_m");
    assert_eq!(bad(|c| c.seat.grip_n = -1.0), "grip_n");
    assert_eq!(bad(|c| c.seat.fade_m = 0.03), "fade_m");
    assert_eq!(bad(|c| c.shaft.inertia_kg_m2 = 1.0), "shaft");
    assert_eq!(bad(|c| c.transmission = Transmission::Rack { radius_m: 0.0 }), "radius_m");
    assert_eq!(bad(|c| c.transmission = Transmission::Rack { radius_m: 0.005 }), "transmission");
}
