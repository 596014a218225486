//! Bursts of a positioner with a computed valve: while it strokes, and while it calibrates [DV-30] [DV-31].

use super::rig::Rig;
use looprig::sim::Change;
use looprig::time::Instant;
use looprig::transaction::{Kind, Passed};
use std::time::Duration;

struct Burst {
    at: Instant,
    command: u8,
    data: Vec<u8>,
}

/// Time passes, and what is sent in bursts meanwhile is heard, and what was between requests since the last time.
fn hear(rig: &mut Rig, s: f64) -> Vec<Burst> {
    rig.host.rest(Duration::from_secs_f64(s)).expect("a line");
    let heard = rig.host.take_overheard();
    let burst = |p: Passed| match p {
        Passed::Transaction(t) if t.kind == Kind::Burst => {
            let frame = t.reply_frame()?;
            Some(Burst { at: t.started_at(), command: frame.command(), data: frame.data().to_vec() })
        }
        _ => None,
    };
    heard.into_iter().filter_map(burst).collect()
}

fn of(bursts: &[Burst], command: u8) -> Vec<&Burst> {
    bursts.iter().filter(|b| b.command == command).collect()
}

fn single(data: &[u8], at: usize) -> f64 {
    f32::from_be_bytes([data[at], data[at + 1], data[at + 2], data[at + 3]]).into()
}

/// SV, the travel, in an answer to command 3: current, then unit and value of PV, of SV [CM-003].
fn travel_in_3(data: &[u8]) -> f64 {
    single(data, 10)
}

/// Slot 0 of command 9: behind the extended status, code, classification and unit [CM-009].
fn travel_in_9(data: &[u8]) -> f64 {
    assert_eq!(data[1], 1, "the travel");
    single(data, 4)
}

/// Message 0 says command 3 every half second, message 1 command 9 when the travel has gone by 5 % and every 32 s, message 2
/// command 48 when it changes and every 60 s.
const BURSTS: &str = "[device.positioner]\ncalibrated = true\n\
    [[device.burst]]\ncommand = 3\nupdate_period_s = 0.5\nmaximum_update_period_s = 0.5\n\
    [[device.burst]]\ncommand = 9\nvariables = [1, 2]\nupdate_period_s = 0.5\nmaximum_update_period_s = 32\n\
    trigger = \"window\"\nlevel = 5\n\
    [[device.burst]]\ncommand = 48\nupdate_period_s = 0.5\nmaximum_update_period_s = 60\ntrigger = \"on change\"\n";

/// While it strokes each burst has the travel of its moment, between that before and that behind; the window sends while it
/// moves and is silent while it rests.
#[test]
fn while_it_strokes() {
    let mut rig = Rig::new(BURSTS, "");
    hear(&mut rig, 30.0);
    let at_rest = hear(&mut rig, 64.0);
    assert!((1..=3).contains(&of(&at_rest, 9).len()), "every 32 s: {}", of(&at_rest, 9).len());
    assert!(of(&at_rest, 48).len() <= 2, "every 60 s: {}", of(&at_rest, 48).len());
    let threes = of(&at_rest, 3);
    assert!((120..=130).contains(&threes.len()), "twice a second: {}", threes.len());
    assert!(threes.iter().all(|b| (travel_in_3(&b.data) - 50.0).abs() < 0.6));
    // From 50 to 100 %: the travel rises all the way.
    rig.change(Change::LoopCurrentMa(20.0));
    // A burst of command 3 takes 0.4 s, and what it says is of its beginning.
    let (mut lows, mut windows) = ([rig.truth().travel_percent; 3], Vec::new());
    for _ in 0..40 {
        let heard = hear(&mut rig, 0.25);
        let high = rig.truth().travel_percent;
        for b in of(&heard, 3) {
            let told = travel_in_3(&b.data);
            // The sensor has a little noise.
            assert!(
                (lows[0] - 0.3..=high + 0.3).contains(&told),
                "{told} is not between {} and {high}",
                lows[0]
            );
        }
        windows.extend(of(&heard, 9).iter().map(|b| (b.at, travel_in_9(&b.data))));
        lows = [lows[1], lows[2], high];
    }
    assert!((rig.truth().travel_percent - 100.0).abs() < 0.6);
    assert!((2..=20).contains(&windows.len()), "{windows:?}");
    assert!(
        windows.windows(2).all(|w| (w[1].1 - w[0].1).abs() > 5.0 || w[1].0.since(w[0].0).as_secs() >= 31),
        "{windows:?}"
    );
    assert!(windows.last().is_some_and(|w| w.1 > 94.5), "{windows:?}");
}

/// While it calibrates bursts go on, commands 103 to 109 are carried out, and none of it disturbs it: 48 tells when it begins
/// and when it ends.
#[test]
fn while_it_calibrates() {
    let mut rig = Rig::new(BURSTS, "");
    hear(&mut rig, 30.0);
    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    let begun = hear(&mut rig, 3.0);
    // Function check (20) in the extended status, a calibration runs (02) in the device's own second octet [DV-89].
    let told = of(&begun, 48);
    assert!(told.first().is_some_and(|b| (b.data[6], b.data[1]) == (0x20, 0x02)), "{}", told.len());
    // Longest period of message 0 a second, then its command, its slots and its trigger; off, and on again.
    for (command, values) in [
        (103, &[("burst_message", "0"), ("update_period", "1s"), ("maximum_update_period", "1s")][..]),
        (108, &[("burst_message", "0"), ("burst_command", "33")]),
        (108, &[("burst_message", "0"), ("burst_command", "3")]),
        (109, &[("burst_control", "0"), ("burst_message", "1")]),
        (109, &[("burst_control", "1"), ("burst_message", "1")]),
        (105, &[("burst_message", "1")]),
    ] {
        assert_eq!(rig.code(command, values), 0, "command {command}");
    }
    let (mut lows, mut highs, mut all) = (0, 0, Vec::new());
    while rig.electronics().progress().is_some() {
        let heard = hear(&mut rig, 1.0);
        for b in of(&heard, 3) {
            let x = travel_in_3(&b.data);
            assert!((-1.0..=101.0).contains(&x), "{x}");
            (lows, highs) = (lows + u32::from(x < 2.0), highs + u32::from(x > 98.0));
        }
        all.extend(heard);
        assert!(all.len() < 2_000);
    }
    assert!(lows > 0 && highs > 0, "both stops are told");
    assert_eq!(rig.data(134)[..3], [3, 2, 0]);
    all.extend(hear(&mut rig, 3.0));
    let last = of(&all, 48).last().map(|b| (b.data[6], b.data[1]));
    assert_eq!(last, Some((0, 0)), "the end is told");
}

/// A valve that was never calibrated has no travel: what bursts tell is not-a-number, 7F A0 00 00 [TY-03], and a window sends
/// that once and not on and on.
#[test]
fn before_the_first_calibration() {
    let mut rig = Rig::new(&BURSTS.replace("calibrated = true", "calibrated = false"), "");
    let heard = hear(&mut rig, 60.0);
    assert!(of(&heard, 3).iter().all(|b| b.data[10..14] == [0x7F, 0xA0, 0, 0]));
    let told = of(&heard, 9);
    assert!((1..=3).contains(&told.len()), "{}", told.len());
    rig.calibrate();
    // What was heard until it was done.
    hear(&mut rig, 1.0);
    let heard = hear(&mut rig, 5.0);
    assert!(of(&heard, 3).len() > 5 && of(&heard, 3).iter().all(|b| !travel_in_3(&b.data).is_nan()));
}

/// Revisions 5 and 6 send one message as often as the wires allow; a calibration by command 131 is begun and done between.
#[test]
fn older_revisions() {
    for revision in [5, 6] {
        let mut rig = Rig::new(&format!("revision = {revision}\n[[device.burst]]\ncommand = 3"), "");
        let heard = hear(&mut rig, 10.0);
        assert!(heard.len() > 10, "{}", heard.len());
        rig.calibrate();
        assert_eq!(rig.data(134)[..3], [1, 2, 0], "revision {revision}");
        hear(&mut rig, 20.0);
        let heard = hear(&mut rig, 5.0);
        assert!(heard.iter().all(|b| (travel_in_3(&b.data) - 50.0).abs() < 0.6));
    }
}
