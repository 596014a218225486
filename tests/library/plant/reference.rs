//! The reference actuator [PL-31]: times of an independent program, and what follows by arithmetic.

use looprig::plant::friction::BristleConfig;
use looprig::plant::valve::{Valve, ValveConfig};
use std::time::Duration;

/// When the stem first moves, passes 5 and 95 % of its way, and reaches the end, s.
type Times = [f64; 4];

/// Steps the valve one step at a time with the drive at one end, and finds the times between steps.
fn stroke(valve: &mut Valve, drive: f64) -> Times {
    let step = Duration::from_secs_f64(valve.config().step_s);
    let (begin, from) = (valve.now(), valve.travel_percent());
    valve.set_drive(drive);
    let mut times: [Option<f64>; 4] = [None; 4];
    let (mut t_before, mut before) = (0.0, 0.0);
    while times[3].is_none() {
        valve.advance(valve.now() + step);
        let t = valve.now().since(begin).as_secs_f64();
        let gone = (valve.travel_percent() - from).abs();
        for (time, way) in times.iter_mut().zip([1e-6, 5.0, 95.0, 100.0 - 1e-9]) {
            if time.is_none() && gone >= way {
                *time = Some(t_before + (t - t_before) * (way - before) / (gone - before));
            }
        }
        (t_before, before) = (t, gone);
        assert!(t < 60.0, "the stroke does not end: {times:?}");
    }
    times.map(|t| t.expect("all four are found"))
}

fn config(supply_gauge_pa: f64, step_s: f64) -> ValveConfig {
    let mut config = ValveConfig::reference();
    config.supply.regulator.as_mut().expect("a regulator").set_gauge_pa = supply_gauge_pa;
    config.step_s = step_s;
    config
}

fn fill(supply_gauge_pa: f64, step_s: f64) -> Times {
    stroke(&mut Valve::new(config(supply_gauge_pa, step_s), 1).expect("accepted"), 1.0)
}

fn vent(step_s: f64) -> Times {
    let mut valve = Valve::new(config(1.4e5, step_s), 1).expect("accepted");
    stroke(&mut valve, 1.0);
    // The chamber reaches the supply's pressure.
    let settled = valve.now() + Duration::from_secs(20);
    valve.advance(settled);
    stroke(&mut valve, -1.0)
}

#[test]
fn strokes_take_as_long_as_the_independent_program_says() {
    for step_s in [1e-3, 2.5e-4] {
        let runs = [
            ("fill 1.4 bar", fill(1.4e5, step_s), [0.1068, 0.1649, 1.8890, 2.0453]),
            ("fill 2.5 bar", fill(2.5e5, step_s), [0.0712, 0.1106, 1.0936, 1.1675]),
            ("vent", vent(step_s), [0.5096, 0.6301, 3.0533, 3.2238]),
        ];
        for (what, got, wanted) in runs {
            println!("{what} {step_s}: {got:?}");
            for (got, wanted) in got.into_iter().zip(wanted) {
                // 1 %, and half a step, for the stem is seen only at the ends of steps.
                let off = (got - wanted).abs();
                assert!(off <= 0.01 * wanted + 0.5 * step_s, "{what}, step {step_s} s: {got} for {wanted} s");
            }
        }
    }
}

/// [PL-31]: half the step changes no time of a stroke by 0.5 %.
#[test]
fn half_the_step_changes_little() {
    for (whole, half) in [
        (fill(1.4e5, 1e-3), fill(1.4e5, 5e-4)),
        (fill(2.5e5, 1e-3), fill(2.5e5, 5e-4)),
        (vent(1e-3), vent(5e-4)),
    ] {
        for (a, b) in whole.into_iter().zip(half) {
            assert!((a - b).abs() < 0.005 * b, "{whole:?} and {half:?}");
        }
    }
}

/// A valve whose stage lets so little through that pressure and stem go together.
fn slow(supply_gauge_pa: f64) -> Valve {
    let mut config = config(supply_gauge_pa, 1e-3);
    config.stage.fill.conductance_m3_per_s_pa = 2e-10;
    config.stage.exhaust.conductance_m3_per_s_pa = 2e-10;
    Valve::new(config, 1).expect("accepted")
}

fn run_until(valve: &mut Valve, drive: f64, done: impl Fn(&Valve) -> bool) -> f64 {
    let end = valve.now() + Duration::from_secs(600);
    valve.set_drive(drive);
    while !done(valve) {
        assert!(valve.now() < end, "{:?}", valve.readings());
        valve.advance(valve.now() + Duration::from_millis(1));
    }
    valve.readings().chamber_gauge_pa[0] / 1e5
}

/// [PL-31]: lift-off at (700 + 168)/0.035 N/m2 = 0.248 bar; open stop from 1.04 bar by the Coulomb force to 1.048 by the
/// break-away force; leaves it below 0.952 bar.
#[test]
fn pressures_at_which_it_lifts_arrives_and_leaves() {
    let mut valve = slow(1.4e5);
    let lifts = run_until(&mut valve, 1.0, |v| v.travel_percent() > 1e-6);
    assert!((lifts - 0.248).abs() < 0.001, "{lifts}");
    let arrives = run_until(&mut valve, 1.0, |v| v.travel_percent() >= 100.0);
    assert!((1.039..1.049).contains(&arrives), "{arrives}");
    run_until(&mut valve, 1.0, |v| v.readings().chamber_gauge_pa[0] > 1.3e5);
    let leaves = run_until(&mut valve, -1.0, |v| v.travel_percent() < 100.0 - 1e-6);
    assert!((leaves - 0.952).abs() < 0.001, "{leaves}");
}

/// [PL-31]: 0.9 bar stalls between 81.5 % (break-away) and 82.5 % (Coulomb).
#[test]
fn too_little_supply_stalls() {
    let mut valve = Valve::new(config(0.9e5, 1e-3), 1).expect("accepted");
    valve.set_drive(1.0);
    valve.advance(valve.now() + Duration::from_secs(60));
    let travel = valve.travel_percent();
    assert!((81.45..=82.5).contains(&travel), "{travel}");
}

/// [PL-31]: without drag and with break-away as the Coulomb force, passing mid travel takes 2 x 140/0.035 = 0.080 bar more up
/// than down: 10 % of the spring range of 0.8 bar.
#[test]
fn open_loop_band_is_twice_the_friction() {
    let mut config = *slow(1.4e5).config();
    config.moving.friction.static_n = 140.0;
    config.moving.friction.viscous_n_s_per_m = 0.0;
    let mut valve = Valve::new(config, 1).expect("accepted");
    let up = run_until(&mut valve, 1.0, |v| v.travel_percent() >= 50.0);
    run_until(&mut valve, 1.0, |v| v.travel_percent() >= 100.0);
    let down = run_until(&mut valve, -1.0, |v| v.travel_percent() <= 50.0);
    assert!((up - down - 0.080).abs() < 0.001, "{up} {down}");
}

/// [PL-30]: healthy, sensed travel differs from true by noise, resolution and the reading's age alone: at 50 %/s an age of
/// 5 ms is 0.25 %, and at rest 6 rms of noise are 6e-4 rad of 1.047 rad, 0.06 %.
#[test]
fn sensed_travel_is_true_travel_but_for_the_sensor() {
    for config in [ValveConfig::reference(), ValveConfig::double_acting(), ValveConfig::part_turn()] {
        let mut valve = Valve::new(config, 3).expect("accepted");
        for (drive, seconds) in [(1.0, 12.0), (-1.0, 4.0), (0.0, 2.0)] {
            valve.set_drive(drive);
            let end = valve.now() + Duration::from_secs_f64(seconds);
            while valve.now() < end {
                valve.advance(valve.now() + Duration::from_millis(7));
                let r = valve.readings();
                let moved = r.velocity_m_per_s.abs() / valve.config().moving.stroke_m * 100.0 * 0.006;
                let off = (r.sensed_travel_percent - r.travel_percent).abs();
                assert!(off < 0.1 + 1.5 * moved, "{r:?}");
                // And they are two quantities: the sensor's never hits the true one exactly while it moves.
                assert!(r.velocity_m_per_s == 0.0 || off > 0.0, "{r:?}");
            }
        }
    }
}

/// The reference model of friction, whose bristles bend before they slip, strokes in the same time as the working model: 1 %.
#[test]
fn bristles_stroke_as_fast() {
    let mut config = config(1.4e5, 1e-3);
    config.moving.bristle = Some(BristleConfig::new(2e7, 2e4));
    let got = stroke(&mut Valve::new(config, 1).expect("accepted"), 1.0);
    for (got, wanted) in got.into_iter().zip([0.1068, 0.1649, 1.8890, 2.0453]).skip(1) {
        assert!((got - wanted).abs() <= 0.01 * wanted + 5e-4, "{got} for {wanted} s");
    }
}
