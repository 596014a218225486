//! The reference actuator [PL-31]: times of an independent program, and what follows by arithmetic.

use looprig::plant::supply::SupplyConfig;
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
