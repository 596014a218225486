//! Faulty devices on the simulated wires: what others hear of them, and that a run is still the same each time.

use looprig::bench::{check, world};
use looprig::frame::Marks;
use looprig::line::Delivery;
use looprig::sim::{Participant, World};
use looprig::time::Instant;
use std::path::Path;
use std::time::Duration;

/// A primary that asks command 3 every 0.7 s, bursts, a command that takes its time, and a device with these faults.
fn made(faults: &str) -> World {
    let bench = format!(
        r#"
seed = 7
[[device]]
tag = "FV-3104"
jitter_ms = 3
clock_ppm = 150
protocol_faults = [{faults}]
[[device.burst]]
command = 3
update_period_s = 1
[[device.slow]]
command = 41
takes_s = 5
[[master]]
role = "primary"
jitter_ms = 5
[[master.asks]]
device = "FV-3104"
command = 3
every_s = 0.7
[[master.asks]]
device = "FV-3104"
command = 41
every_s = 9
[[line]]
at = "pty:"
"#
    );
    let plan = check(&bench, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let (mut world, _) = world(&plan, &[], Duration::ZERO, Instant::ZERO);
    world.add_observer();
    world
}

fn runs(world: &mut World, until_ms: u64, every_ms: u64) -> (Vec<Delivery>, String) {
    let mut heard = Vec::new();
    let mut ms = world.now().as_nanos() / 1_000_000;
    while ms < until_ms {
        ms = (ms + every_ms).min(until_ms);
        world.run_until(Instant::from_nanos(ms * 1_000_000), &mut heard);
    }
    let device = world.bus().stations().find_map(Participant::device).map(|d| format!("{:?}", d.device()));
    (heard, device.unwrap_or_default())
}

/// A copy of a world, which is what a snapshot of the bench is [BA-06], goes on with its faults digit for digit, and the
/// same bench does the same again.
#[test]
fn a_copy_of_a_faulty_world_goes_on_digit_for_digit() {
    let all = [
        "\"parity_wrong\", \"burst_names_the_primary\"",
        "\"pause_inside\", \"delayed_never_ready\"",
        "\"answer_sent_twice\", \"counter_lost_at_start\"",
        "\"burst_leaves_no_turn\", \"answers_much_too_late\"",
        "\"cold_start_over_for_both\", \"wrong_check_byte_obeyed\"",
    ];
    let healthy = runs(&mut made(""), 20_000, 500).0;
    for faults in all {
        let whole = runs(&mut made(faults), 20_000, 500);
        assert!(whole.0 != healthy, "{faults}");
        assert!(runs(&mut made(faults), 20_000, 41).0 == whole.0, "{faults}: looked at more often");
        for at in [997, 5_207, 11_011] {
            let mut world = made(faults);
            let first = runs(&mut world, at, 500).0;
            let mut copy = world.clone();
            let one = runs(&mut world, 20_000, 1_000);
            assert!(runs(&mut copy, 20_000, 1_000) == one, "{faults}: copied at {at} ms");
            assert!([first, one.0].concat() == whole.0, "{faults}: copied at {at} ms");
        }
    }
}

/// [FR-13] [LL-06]: who listens hears one octet of an answer with the wrong parity, and three characters of silence.
#[test]
fn others_hear_wrong_parity_and_pauses() {
    let marked = |heard: &[Delivery]| heard.iter().filter(|d| d.octet.marks.contains(Marks::PARITY)).count();
    // The second status octet is the tenth from the delimiter on: 86, five of address, command, count, status.
    let heard = runs(&mut made("\"parity_wrong\""), 3_000, 500).0;
    assert!(marked(&heard) >= 3, "{} octets", heard.len());
    for (i, _) in heard.iter().enumerate().filter(|(_, d)| d.octet.marks.contains(Marks::PARITY)) {
        assert_eq!((heard[i - 9].octet.value, heard[i - 3].octet.value), (0x86, 3));
    }
    assert_eq!(marked(&runs(&mut made(""), 3_000, 500).0), 0);
    // 4 characters from end to end, of 9.1667 ms by a clock that is 150 ppm fast.
    let paused = |faults: &str| {
        let heard = runs(&mut made(faults), 3_000, 500).0;
        let steps = heard.windows(2).map(|two| two[1].octet.at.since(two[0].octet.at).as_secs_f64());
        steps.filter(|s| (0.0365..0.0368).contains(s)).count()
    };
    assert!(paused("\"pause_inside\"") >= 3);
    assert_eq!(paused(""), 0);
}
