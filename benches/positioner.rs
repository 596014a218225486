//! How many simulated seconds of a whole positioner pass in a second of one core: device, electronics, computed valve,
//! computed loop, wires and a master that asks without a pause; beside the computed valve alone, which every such world has
//! to step.
//!
//! Run with `cargo bench --bench positioner`. The aim is over 500 simulated seconds a second.

use looprig::bench::{check, world};
use looprig::plant::valve::Valve;
use looprig::sim::{Participant, World};
use looprig::time::Instant;
use std::hint::black_box;
use std::path::Path;
use std::time::Duration;

/// The aim, simulated seconds a second.
const AIM: f64 = 500.0;
/// Simulated time of one run, s; the set point changes every three seconds.
const SECONDS: u64 = 60;
/// The quickest of so many runs counts.
const ROUNDS: usize = 7;

fn bench() -> String {
    let mut text = r#"
[loop]
current_ma = 12
[loop.supply]
voltage_v = 24
resistor_ohm = 250
[[loop.cable]]
length_m = 300
cross_section_mm2 = 0.75
[[loop.device]]
tag = "FV-3104"
min_voltage_v = 9
[[device]]
tag = "FV-3104"
[device.air]
supply_pressure_bar = 1.4
[device.valve]
stroke_mm = 20
[device.positioner]
calibrated = true
[[master]]
[[master.asks]]
device = "FV-3104"
command = 3
every_s = 0
[[line]]
at = "pty:"
"#
    .to_owned();
    for at_s in (0..SECONDS).step_by(3) {
        let ma = [7.2, 16.8, 11.2, 12.8][(at_s / 3 % 4) as usize];
        text.push_str(&format!("[[event]]\nat_s = {at_s}\nloop_current_ma = {ma}\n"));
    }
    text
}

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn now() -> std::time::Instant {
    std::time::Instant::now()
}

fn seconds(run: impl FnOnce()) -> f64 {
    let begun = now();
    run();
    begun.elapsed().as_secs_f64()
}

fn main() {
    let plan = check(&bench(), Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let end = Instant::ZERO + Duration::from_secs(SECONDS);
    let whole = || -> (f64, World) {
        let (mut world, _) = world(&plan, &[], Duration::ZERO, Instant::ZERO);
        let took = seconds(|| {
            let mut heard = Vec::new();
            world.run_until(end, &mut heard);
            black_box(&heard);
        });
        (took, world)
    };
    let bare = || {
        let config = plan.devices[0].valve.as_ref().map(|v| v.config).unwrap_or_default();
        let mut valve = Valve::new(config, 0).unwrap_or_else(|e| panic!("{e}"));
        seconds(|| {
            for step in 1..=SECONDS * 100 {
                // Full strokes both ways, so that it moves all the time.
                valve.set_drive(if step / 300 % 2 == 0 { 1.0 } else { -1.0 });
                valve.advance(Instant::ZERO + Duration::from_millis(10 * step));
            }
            black_box(&valve);
        })
    };
    let least =
        |measure: &mut dyn FnMut() -> f64| (0..ROUNDS).map(|_| measure()).fold(f64::INFINITY, f64::min);
    let (_, world) = whole();
    let answered: u64 =
        world.bus().stations().filter_map(Participant::master).map(|m| m.tally().answered).sum();
    let moved = world.bus().stations().find_map(|s| s.device()?.valve().map(|v| v.readings().air_used_kg));
    let (took, floor) = (least(&mut || whole().0), least(&mut || bare()));
    println!("one positioner with its valve, loop and wires, one master");
    println!(
        "  {:.0} simulated seconds a second (aim: over {AIM:.0}); {answered} answers in {SECONDS} s, {:.1} g of air",
        SECONDS as f64 / took,
        moved.unwrap_or_default() * 1e3
    );
    println!("  {:.1} times what the valve alone needs", took / floor);
}
