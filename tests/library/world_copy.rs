//! A copy of a world goes on as the world itself does: what a snapshot of the bench rests on [BA-06].
#![cfg(feature = "bench-file")]

use looprig::bench::{check, world};
use looprig::line::Delivery;
use looprig::sim::{Participant, World};
use looprig::time::Instant;
use std::path::Path;
use std::time::Duration;

/// Two masters with jitter and clocks of their own, bursts, a computed loop with noise, faults on the wires, a device that
/// loses its power on the way: everything that has a state or dice.
const BENCH: &str = r#"
seed = 7
[loop]
current_ma = 12
[loop.noise]
rms_mv = 60
[loop.supply]
voltage_v = 24
resistor_ohm = 250
[[loop.cable]]
length_m = 1500
cross_section_mm2 = 0.5
[[loop.device]]
tag = "FV-3104"
min_voltage_v = 9
[[device]]
tag = "FV-3104"
jitter_ms = 3
clock_ppm = 150
[[device.burst]]
command = 3
update_period_s = 1
[[device.slow]]
command = 41
takes_s = 5
[[master]]
role = "primary"
jitter_ms = 5
clock_ppm = -300
[[master.asks]]
device = "FV-3104"
command = 3
every_s = 0.7
[[master.asks]]
device = "FV-3104"
command = 41
every_s = 9
[[master]]
role = "secondary"
jitter_ms = 5
[[master.asks]]
device = "FV-3104"
command = 9
data = "00 01 02"
every_s = 1.1
[[wire_fault]]
kind = "bit_errors"
rate = 0.0005
[[wire_fault]]
kind = "noise"
every_s = 4
octets = 5
[[line]]
at = "pty:"
[[event]]
at_s = 21.3
loop_current_ma = 17
[[event]]
at_s = 33
loop_open = true
[[event]]
at_s = 35
loop_open = false
"#;

fn made() -> World {
    let plan = check(BENCH, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let (mut world, _) = world(&plan, &[], Duration::ZERO, Instant::ZERO);
    world.add_observer();
    world
}

fn at_ms(ms: u64) -> Instant {
    Instant::from_nanos(ms * 1_000_000)
}

/// Runs on, looking every `every_ms`, and tells what was heard and where it all stands, digit for digit.
fn goes_on(mut world: World, until_ms: u64, every_ms: u64) -> (Vec<Delivery>, String) {
    let mut heard = Vec::new();
    let mut ms = world.now().as_nanos() / 1_000_000;
    while ms < until_ms {
        ms = (ms + every_ms).min(until_ms);
        world.run_until(at_ms(ms), &mut heard);
    }
    let stations: Vec<String> = world.bus().stations().map(stands).collect();
    (heard, format!("{stations:?} {:?}", world.bus().traffic()))
}

fn stands(of: &Participant) -> String {
    match of {
        Participant::Device(d) => format!("{:?} {:?}", d.device(), d.supplied()),
        other => format!("{other:?}"),
    }
}

#[test]
fn a_copy_goes_on_digit_for_digit() {
    // In the middle of a request, an answer, a burst, a silence: wherever it happens to be.
    for at in [1u64, 997, 1_503, 5_207, 20_011, 34_001] {
        let mut world = made();
        world.run_until(at_ms(at), &mut Vec::new());
        let copy = world.clone();
        let end = at + 30_000;
        // The copy stands still while the other goes on.
        let one = goes_on(world, end, 1_000);
        assert!(one.0.len() > 1_000, "only {} octets passed", one.0.len());
        let again = copy.clone();
        assert!(goes_on(copy, end, 1_000) == one, "copied at {at} ms");
        // How often somebody looks makes no difference to what passes on the wires.
        assert!(goes_on(again, end, 37).0 == one.0, "copied at {at} ms and looked at more often");
    }
}

#[test]
fn what_is_done_to_a_copy_is_not_done_to_the_world() {
    let mut world = made();
    world.run_until(at_ms(3_000), &mut Vec::new());
    let mut copy = world.clone();
    let before = goes_on(world.clone(), 9_000, 500);
    let device = copy.bus_mut().station_mut(0).and_then(Participant::device_mut).expect("a device");
    device.device_mut().set_busy(true);
    copy.set_faults(Vec::new());
    assert!(goes_on(copy, 9_000, 500).1 != before.1);
    assert!(goes_on(world, 9_000, 500) == before);
}
