//! Level and noise of the loop say who hears whom, and how well [WI-13] [WI-14].

use super::rig::{at, near, plan};
use looprig::bench;
use looprig::line::{Reach, Source};
use looprig::sim::{Participant, Tally, World};
use looprig::time::Instant;
use std::time::Duration;

/// 250 ohm and nothing else: a device of `ma` mA peak to peak makes so many quarters of a volt across the resistor, at both
/// tones. A master of the bench asks command 1 without a pause and repeats nothing.
fn text(ma: f64, more: &str) -> String {
    format!(
        r#"
[loop.supply]
voltage_v = 60
resistor_ohm = 250
[loop.master]
impedance_ohm = 1e9
{more}
[[loop.device]]
tag = "TT-3104"
min_voltage_v = 10.5
capacitance_nf = 0
transmit_ma_pp = {ma}
[[device]]
tag = "TT-3104"
kind = "temperature"
[[master]]
retries = 0
[[master.asks]]
device = "TT-3104"
command = 1
every_s = 0
[[line]]
at = "pty:"
"#
    )
}

fn world(text: &str, seed: u64) -> World {
    let mut plan = plan(text);
    plan.seed = Some(seed);
    let (mut world, _) = bench::world(&plan, &[], Duration::ZERO, Instant::ZERO);
    world.add_observer();
    world
}

fn tally(world: &World) -> Tally {
    world.bus().stations().find_map(Participant::master).expect("a master").tally()
}

fn run(text: &str, seed: u64, s: f64) -> Tally {
    let mut world = world(text, seed);
    world.run_until(at(s), &mut Vec::new());
    tally(&world)
}

const DEVICE: Source = Source::Station(0);
const MASTER: Source = Source::Station(1);
const LINE: Source = Source::Port(0);

#[test]
fn without_noise_nothing_is_damaged() {
    let t = run(&text(1.0, ""), 1, 300.0);
    assert!(t.answered > 500 && t.unanswered == 0 && t.no_turn == 0, "{t:?}");
}

/// 1 mA over 250 ohm are 0.25 V; in 500 Hz to 10 kHz 62.4693 mV rms of noise make Eb/N0 = 0.25^2 * 9500/(8 * 1200 *
/// 0.0624693^2) = 15.849, 12 dB: 1 bit in 2975 is wrong, 3.3617e-4 (the table of [WI-13]). An answer to command 1 has 16
/// characters, 18 with two good preambles [FR-02]: of 198 bits one is wrong with 1 - (1 - 3.3617e-4)^198 = 6.44 %.
#[test]
fn answers_are_damaged_as_often_as_arithmetic_says() {
    let text = text(1.0, "noise_rms_mv = 62.4693");
    let first = world(&text, 1);
    let reach = first.bus().reach(DEVICE, MASTER);
    assert!(reach.heard);
    near(reach.bit_error_rate, 3.3617e-4, 1e-8);
    assert_eq!(first.bus().reach(DEVICE, LINE), reach);
    // The noise is the master's, and the device hears him clearly.
    assert_eq!(first.bus().reach(MASTER, DEVICE), Reach::CLEAR);
    assert_eq!(first.bus().reach(LINE, DEVICE), Reach::CLEAR);
    for seed in [1, 2, 3] {
        let t = run(&text, seed, 600.0);
        let asked = (t.answered + t.unanswered) as f64;
        let (mean, room) = (asked * 0.0644, 5.0 * (asked * 0.0644 * 0.9356).sqrt());
        assert!(
            asked > 1000.0 && (t.unanswered as f64 - mean).abs() < room,
            "{t:?}: not {mean} within {room}"
        );
    }
}

/// 0.35 mA are 87.5 mV, below the 100 mV at which a carrier is noticed [WI-13]: nobody at the resistor hears the device, which
/// hears them: it answers, and nobody knows.
#[test]
fn a_signal_that_is_too_weak() {
    let mut world = world(&text(0.35, ""), 1);
    assert_eq!(world.bus().reach(DEVICE, MASTER), Reach::NONE);
    assert_eq!(world.bus().reach(MASTER, DEVICE), Reach::CLEAR);
    world.bus_mut().keep_begun();
    let mut heard = Vec::new();
    world.run_until(at(60.0), &mut heard);
    let t = tally(&world);
    assert!(t.answered == 0 && t.unanswered > 50, "{t:?}");
    let begun = world.bus_mut().take_begun();
    let by = |source: Source| begun.iter().filter(|b| b.source == source).count();
    // The line hears the master at the same terminals, and only him: 14 characters a request [WI-13]. The last one may
    // be under way.
    let asked = by(MASTER);
    assert!((asked - 1..=asked).contains(&by(DEVICE)), "{} of {asked}", by(DEVICE));
    assert!(((asked - 1) * 14..=asked * 14).contains(&heard.len()), "{} of {asked}", heard.len());
}

/// 0.5 mA over 250 ohm are 125 mV. A leak of 150 ohm at the device leaves 93.75 ohm, 47 mV: the answers are not heard from
/// then on, though the device has its volts, (60/250 - 0.0072) / (1/250 + 1/150) = 21.825 V at the 7.2 mA of 20 degC [DV-61].
#[test]
fn an_event_changes_who_hears_whom() {
    let leak = format!("{}[[event]]\nat_s = 30\nloop_leak_ohm = 150\n", text(0.5, ""));
    let mut world = world(&leak, 1);
    world.run_until(at(29.9), &mut Vec::new());
    let before = tally(&world);
    assert!(before.answered > 40 && before.unanswered == 0, "{before:?}");
    world.run_until(at(60.0), &mut Vec::new());
    let after = tally(&world);
    // The one under way at 30 s may have gone either way.
    assert!(after.answered <= before.answered + 1 && after.unanswered > 40, "{after:?}");
    let station = world.bus().stations().find_map(Participant::device).expect("a device");
    near(station.supplied().expect("the loop is computed").volts_v, 21.825, 1e-6);
    assert!(station.is_on());
}
