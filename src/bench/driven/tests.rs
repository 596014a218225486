//! Time, orders, snapshots and traces on a wall clock that is a number.

mod knows;
mod site;

use super::*;
use crate::bench::{check, world};
use crate::plant::fault::FaultName;
use std::path::Path;
use std::sync::mpsc::channel;

/// Masters with jitter, a device with a clock of its own, faults with dice, a loop that is computed.
const BENCH: &str = r#"
seed = 11
[loop]
current_ma = 12
[loop.card]
compliance_v = 24
impedance_ohm = 1000
[[loop.device]]
tag = "FV-3104"
min_voltage_v = 9
[[device]]
tag = "FV-3104"
clock_ppm = 200
jitter_ms = 2
startup_s = 1
[[device.burst]]
command = 3
update_period_s = 1
[[master]]
role = "primary"
jitter_ms = 4
[[master.asks]]
device = "FV-3104"
command = 3
every_s = 0.9
[[wire_fault]]
kind = "bit_errors"
rate = 0.001
[[line]]
at = "pty:"
[[event]]
at_s = 8
loop_current_ma = 16
[[event]]
at_s = 12
loop_open = true
[[event]]
at_s = 13.5
loop_open = false
"#;

const NAMES: [&str; 6] = [
    "FV-3104.travel_percent",
    "FV-3104.loop_current_ma",
    "FV-3104.terminal_v",
    "FV-3104.power",
    "wires.octets_heard",
    "wires.octets_spoilt",
];

struct Rig {
    driven: Driven,
    wall: Instant,
}

fn secs(s: f64) -> Duration {
    Duration::from_secs_f64(s)
}

impl Rig {
    fn new(text: &str) -> Rig {
        let plan = check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        let (world, _) = world(&plan, &[], Duration::ZERO, Instant::ZERO);
        let mut bus = world.into_bus();
        bus.add_port();
        Rig { driven: Driven::new(plan, bus), wall: Instant::ZERO }
    }

    /// The wall clock goes on, and the world as far as it should.
    fn pass(&mut self, by: Duration) {
        self.wall += by;
        let target = self.driven.target(self.wall);
        let mut last = None;
        loop {
            let (_, at) = self.driven.turn(target, last);
            last = Some(at);
            if at >= target {
                break;
            }
        }
        self.driven.settle(self.wall);
    }

    fn order(&mut self, order: Order) -> Result<Answer, Refusal> {
        let (tell, told) = channel();
        self.driven.obey(self.wall, order, Box::new(move |answer| drop(tell.send(answer))));
        self.pass(Duration::ZERO);
        told.try_recv().expect("an answer")
    }

    fn done(&mut self, order: Order) -> Answer {
        self.order(order).unwrap_or_else(|e| panic!("{e:?}"))
    }

    fn step(&mut self, s: f64) {
        let Answer::Time(time) = self.done(Order::Step { by: secs(s) }) else { panic!("no time") };
        assert_eq!(time.going, Going::Paused);
    }

    fn at_s(&self) -> f64 {
        self.driven.time().at.as_secs_f64()
    }

    fn record(&mut self) {
        let quantities = NAMES.map(str::to_owned).to_vec();
        self.done(Order::Record { quantities, period: Duration::from_millis(70) });
    }

    fn recorded(&mut self) -> Vec<Sample> {
        let order =
            Order::Recording { from: Instant::ZERO, to: Instant::from_nanos(u64::MAX), most: 100_000 };
        match self.done(order) {
            Answer::Window(window) => window.samples,
            other => panic!("{other:?}"),
        }
    }

    /// Everything, digit for digit, but for whether its file is behind.
    fn stands(&self) -> String {
        let devices: Vec<String> =
            self.driven.bus().stations().map(|s| format!("{:?} {:?}", s.device(), s.master())).collect();
        let all = format!("{devices:?} {:?}", self.driven.bus().traffic());
        all.replace("unsaved: true", "unsaved: false")
    }
}

fn refused(answer: Result<Answer, Refusal>) -> Reason {
    answer.expect_err("refused").reason
}

/// [BA-02]: 2 s as on the wall, 5 s paused, a step of 1.5 s, 4 s at speed 2.5, 1 s as on the wall: 14.5 s.
#[test]
fn time_stands_steps_and_runs() {
    let mut rig = Rig::new(BENCH);
    rig.pass(secs(2.0));
    assert_eq!(rig.at_s(), 2.0);
    rig.done(Order::Pause);
    rig.pass(secs(5.0));
    assert_eq!(rig.at_s(), 2.0);
    rig.step(1.5);
    assert_eq!(rig.at_s(), 3.5);
    rig.done(Order::Run { speed: 2.5 });
    rig.pass(secs(4.0));
    assert_eq!(rig.at_s(), 13.5);
    rig.done(Order::Run { speed: 1.0 });
    rig.pass(secs(1.0));
    assert_eq!(rig.at_s(), 14.5);
    assert_eq!(rig.driven.time().behind, Duration::ZERO);
}

/// [BA-06]: the same orders at the same times after a restore, a loop that opens and a lost power among them.
#[test]
fn a_restored_bench_goes_on_digit_for_digit() {
    let mut rig = Rig::new(BENCH);
    rig.record();
    rig.pass(secs(5.033));
    rig.done(Order::Pause);
    rig.done(Order::Take { name: "before".into() });
    let goes_on = |rig: &mut Rig| {
        rig.step(1.007);
        rig.done(Order::Change { device: None, change: Change::LoopExtraOhm(1400.0) });
        rig.done(Order::Change { device: Some(0), change: Change::SupplyPressureBar(2.5) });
        rig.step(20.0);
        (rig.recorded(), rig.stands(), rig.at_s())
    };
    let one = goes_on(&mut rig);
    // From 0 to 26.04 s every 70 ms: 26.04 / 0.07 = 372, and the first.
    assert_eq!((one.0.len(), one.2), (373, 26.04));
    assert!(one.0.iter().any(|s| s.values[3] == Value::Word("off")), "the loop was open");
    rig.step(3.0);
    let Answer::Snapshot(told) = rig.done(Order::Restore { name: "before".into() }) else { panic!("none") };
    assert_eq!(told.at.as_secs_f64(), 5.033);
    // 5.033 / 0.07 = 71.9: 71, and the first.
    assert_eq!(rig.recorded().len(), 72);
    let again = goes_on(&mut rig);
    assert!(again.0 == one.0, "the recording");
    assert!(again == one);
    // On another course it does not: the test would see it.
    rig.done(Order::Restore { name: "before".into() });
    rig.step(1.008);
    rig.done(Order::Change { device: None, change: Change::LoopExtraOhm(1401.0) });
    rig.step(20.0);
    assert!(rig.recorded() != one.0);
}

/// Whether time is stepped or runs at some speed, in whatever pieces, is nothing to the world.
#[test]
fn speed_makes_no_difference_to_what_happens() {
    let mut stepped = Rig::new(BENCH);
    stepped.record();
    stepped.done(Order::Pause);
    stepped.step(20.0);
    let mut run = Rig::new(BENCH);
    run.record();
    run.done(Order::Run { speed: 7.5 });
    while run.at_s() < 19.0 {
        run.pass(secs(0.0137));
    }
    run.done(Order::Pause);
    let rest = 20.0 - run.at_s();
    run.step(rest);
    assert_eq!(run.recorded(), stepped.recorded());
}

/// [BA-03]: octets from outside while it is paused, and at another speed, go nowhere and are counted; as before they are heard.
#[test]
fn lines_are_joined_at_speed_1_alone() {
    let mut rig = Rig::new("[[device]]\ntag = \"FV-3104\"\n[[line]]\nat = \"pty:\"\n");
    let heard = |rig: &Rig| rig.driven.bus().traffic().heard;
    let say = |rig: &mut Rig| {
        rig.driven.arrive(rig.wall, 0, &[0xFF; 10], &[]);
        rig.pass(secs(1.0));
    };
    say(&mut rig);
    assert_eq!(heard(&rig), 10);
    rig.done(Order::Pause);
    say(&mut rig);
    rig.done(Order::Run { speed: 2.0 });
    say(&mut rig);
    assert_eq!((heard(&rig), rig.driven.time().dropped_in), (10, 20));
    // What was read before they were joined again, and is handled later, is late too.
    let before = rig.wall;
    rig.wall += secs(0.5);
    rig.done(Order::Run { speed: 1.0 });
    rig.driven.arrive(before, 0, &[0xFF; 3], &[]);
    say(&mut rig);
    assert_eq!((heard(&rig), rig.driven.time().dropped_in), (20, 23));
}

/// What the devices say to nobody at another speed is counted: bursts go on in bench time.
#[test]
fn what_no_line_hears_is_counted() {
    let mut rig = Rig::new(BENCH);
    rig.pass(secs(3.0));
    assert_eq!(rig.driven.time().dropped_out, 0);
    rig.done(Order::Pause);
    rig.step(5.0);
    assert!(rig.driven.time().dropped_out > 100);
}

#[test]
fn what_cannot_be_is_refused() {
    let mut rig = Rig::new(BENCH);
    let by = secs(1.0);
    assert_eq!(refused(rig.order(Order::Take { name: "a".into() })), Reason::NotNow);
    assert_eq!(refused(rig.order(Order::Restore { name: "a".into() })), Reason::NotNow);
    assert_eq!(refused(rig.order(Order::Step { by })), Reason::NotNow);
    for speed in [0.0, -1.0, f64::NAN, f64::INFINITY, 1000.1, 0.0099] {
        assert_eq!(refused(rig.order(Order::Run { speed })), Reason::CannotBe, "{speed}");
    }
    rig.done(Order::Pause);
    for by in [Duration::ZERO, secs(600.1)] {
        assert_eq!(refused(rig.order(Order::Step { by })), Reason::CannotBe);
    }
    assert_eq!(refused(rig.order(Order::Restore { name: "a".into() })), Reason::NotFound);
    for name in ["", ".a", "a/b", "\u{e4}", &"a".repeat(65)] {
        assert_eq!(refused(rig.order(Order::Take { name: name.into() })), Reason::CannotBe, "{name}");
    }
    for i in 0..MOST_SNAPSHOTS {
        rig.done(Order::Take { name: format!("s{i}") });
    }
    rig.done(Order::Take { name: "s3".into() });
    assert_eq!(refused(rig.order(Order::Take { name: "more".into() })), Reason::NoRoom);
    rig.done(Order::Forget { name: "s0".into() });
    rig.done(Order::Take { name: "more".into() });
    for (device, change, reason) in [
        (Some(9), Change::Busy(true), Reason::NotFound),
        (Some(0), Change::LoopOpen(true), Reason::NotNow),
        (None, Change::SensorBroken(true), Reason::NotNow),
        (Some(0), Change::ProcessTemperatureDegc(20.0), Reason::NotNow),
    ] {
        assert_eq!(refused(rig.order(Order::Change { device, change })), reason, "{change}");
    }
    let record = |names: &[&str], s| Order::Record {
        quantities: names.iter().map(|&n| n.to_owned()).collect(),
        period: secs(s),
    };
    assert_eq!(refused(rig.order(record(&["FV-3104.nothing"], 1.0))), Reason::NotFound);
    assert_eq!(refused(rig.order(record(&[], 1.0))), Reason::CannotBe);
    assert_eq!(refused(rig.order(record(&[NAMES[0]; 65], 1.0))), Reason::CannotBe);
    assert_eq!(refused(rig.order(record(&[NAMES[0]], 0.0009))), Reason::CannotBe);
}

/// A change shows in what is read next, at the same moment, also on the loop: 16 mA over 1 kohm behind 24 V leave
/// 8 V, less than the 9 V that the device needs; 12 mA leave 12 V.
#[test]
fn changes_show_at_once() {
    let mut rig = Rig::new(BENCH);
    rig.pass(secs(1.0));
    rig.done(Order::Pause);
    let read = |rig: &mut Rig, name: &str| match rig.done(Order::Read { names: Some(vec![name.into()]) }) {
        Answer::Read { readings, .. } => readings[0].1.value,
        other => panic!("{other:?}"),
    };
    let near = |value, wanted: f64| matches!(value, Value::Number(x) if (x - wanted).abs() < 0.2);
    assert!(near(read(&mut rig, "FV-3104.loop_current_ma"), 12.0));
    rig.done(Order::Change { device: None, change: Change::LoopCurrentMa(8.0) });
    assert!(near(read(&mut rig, "FV-3104.loop_current_ma"), 8.0));
    assert_eq!(read(&mut rig, "loop.wanted_current_ma"), Value::Number(8.0));
    rig.done(Order::Change { device: None, change: Change::LoopOpen(true) });
    assert_eq!(read(&mut rig, "FV-3104.power"), Value::Word("off"));
    rig.done(Order::Change { device: Some(0), change: Change::SupplyPressureBar(1.5) });
    assert_eq!(read(&mut rig, "FV-3104.supply_pressure_bar"), Value::Number(1.5));
}

struct Cup {
    got: std::sync::mpsc::Sender<StreamNews>,
    takes: bool,
}

impl Reader for Cup {
    fn offer(&mut self, news: Vec<StreamNews>) -> Offered {
        let is_last = news == [StreamNews::TooSlow];
        if !self.takes && !is_last {
            return Offered::Full(news);
        }
        match news.into_iter().try_for_each(|n| self.got.send(n)) {
            Ok(()) => Offered::Taken,
            Err(_) => Offered::Gone,
        }
    }
    fn is_there(&self) -> bool {
        true
    }
}

/// [BA-07] [BA-09]: a stream has what the recording has, is told of a restore, and a reader who takes nothing is dropped.
#[test]
fn streams() {
    let mut rig = Rig::new(BENCH);
    rig.done(Order::Pause);
    rig.record();
    let (got, news) = channel();
    let quantities = NAMES.map(str::to_owned).to_vec();
    let period = Duration::from_millis(70);
    rig.done(Order::Stream {
        quantities: quantities.clone(),
        period,
        reader: Box::new(Cup { got, takes: true }),
    });
    rig.done(Order::Take { name: "a".into() });
    rig.step(7.0);
    let samples: Vec<Sample> = news
        .try_iter()
        .map(|n| match n {
            StreamNews::Sample(sample) => sample,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!((samples.len(), &samples), (101, &rig.recorded()));
    rig.done(Order::Restore { name: "a".into() });
    rig.pass(Duration::ZERO);
    assert_eq!(news.try_iter().collect::<Vec<_>>(), [StreamNews::Restored(Instant::ZERO)]);

    let (got, slow) = channel();
    rig.done(Order::Stream {
        quantities,
        period: Duration::from_millis(1),
        reader: Box::new(Cup { got, takes: false }),
    });
    // 6 values each ms: after 43.7 s there are more than 262144.
    rig.step(43.0);
    assert_eq!((rig.driven.traces.streams(), slow.try_iter().count()), (2, 0));
    rig.step(1.0);
    assert_eq!(rig.driven.traces.streams(), 1);
    assert_eq!(slow.try_iter().collect::<Vec<_>>(), [StreamNews::TooSlow]);
}

/// [BA-04]: the key of a device is its tag where that is plain and its own.
#[test]
fn keys_of_devices() {
    let device = |n: usize, tag: &str| {
        format!("[[device]]\npolling_address = {n}\ntag = \"{tag}\"\ndevice_id = {n}\n")
    };
    let text: String =
        [device(1, "FV-1"), device(2, "A/B"), device(3, ""), device(4, "LT_2"), device(5, "LT_2")].concat()
            + "[[line]]\nat = \"pty:\"\n";
    let plan = check(&text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let keys: Vec<String> = (0..5).map(|i| device_key(&plan, i)).collect();
    assert_eq!(keys, ["FV-1", "device-1", "device-2", "device-3", "device-4"]);
}

/// The reference actuator, whose air opens and whose spring closes, on a lever of 60 degrees.
const VALVE: &str = r#"
[loop]
current_ma = 12
[[device]]
tag = "FV-3104"
[device.air]
supply_pressure_bar = 1.4
[device.valve]
stroke_mm = 20
[device.valve.linkage]
lever_turn_deg = 60
[device.positioner]
calibrated = true
[[device.valve.fault]]
name = "linkage_slack"
severity = 0.1
from_s = 90
[[line]]
at = "pty:"
[[event]]
at_s = 100
header_pressure_bar = 0
"#;

fn numbers<const N: usize>(rig: &mut Rig, names: [&str; N]) -> [f64; N] {
    let names = names.map(|n| format!("FV-3104.{n}")).to_vec();
    let Answer::Read { readings, .. } = rig.done(Order::Read { names: Some(names) }) else { panic!("none") };
    core::array::from_fn(|i| match readings[i].1.value {
        Value::Number(x) => x,
        other => panic!("{other:?}"),
    })
}

/// [BA-11]: a valve follows; a slipped clamp is seen in what is true, not in what is sensed; repaired it follows again; without
/// air the spring closes it, and all of it is the same after a restore.
#[test]
fn a_computed_valve_stands_behind_the_mock() {
    let mut rig = Rig::new(VALVE);
    rig.done(Order::Pause);
    rig.step(30.0);
    const BOTH: [&str; 2] = ["travel_percent", "told_travel"];
    let near = |x: f64, wanted: f64| (x - wanted).abs() < 1.5;
    let [truth, sensed] = numbers(&mut rig, BOTH);
    assert!(near(truth, 50.0) && near(sensed, 50.0), "{truth} {sensed}");
    rig.done(Order::Take { name: "healthy".into() });
    let slipped = Change::ValveFault { name: FaultName::ClampSlipped, severity: 0.6 };
    let goes_on = |rig: &mut Rig| {
        rig.done(Order::Change { device: None, change: slipped });
        rig.step(30.0);
        let at_fault = numbers(rig, BOTH);
        let repaired = Change::ValveFault { name: FaultName::ClampSlipped, severity: 0.0 };
        rig.done(Order::Change { device: Some(0), change: repaired });
        rig.step(20.0);
        let severity = numbers(rig, ["fault_clamp_slipped", "fault_linkage_slack"]);
        (at_fault, numbers(rig, BOTH), severity, rig.driven.bus().stations().next().map(|s| format!("{s:?}")))
    };
    let one = goes_on(&mut rig);
    let ([truth, sensed], [again, _], severity, _) = &one;
    // 12 of 60 degrees are a fifth of the way where the lever is square, and no less towards its ends.
    assert!((truth - 50.0).abs() > 15.0 && near(*sensed, 50.0), "{truth} {sensed}");
    assert!(near(*again, 50.0), "{again}");
    assert_eq!(*severity, [0.0, 0.0]);
    rig.done(Order::Restore { name: "healthy".into() });
    assert!(goes_on(&mut rig).3.map(|s| s.replace("unsaved: true", "unsaved: false")) == one.3);
    // The fault of the file at 90 s, and its event at 100 s: the header is empty, and the spring closes.
    rig.step(19.0);
    assert_eq!(numbers(&mut rig, ["fault_linkage_slack"]), [0.1]);
    rig.step(120.0);
    let [truth, header] = numbers(&mut rig, ["travel_percent", "header_bar"]);
    assert_eq!((truth, header), (0.0, 0.0));
}

/// What the valve does depends on nothing that looks at it, nor on the pieces in which time passes.
#[test]
fn a_valve_goes_its_way_however_often_it_is_looked_at() {
    let stands = |rig: &mut Rig| {
        let [travel, used] = numbers(rig, ["travel_percent", "air_used_g"]);
        (travel.to_bits(), used.to_bits())
    };
    let mut seldom = Rig::new(VALVE);
    seldom.done(Order::Pause);
    seldom.step(7.0);
    let mut often = Rig::new(VALVE);
    let quantities = vec!["FV-3104.stem_mm".to_owned()];
    often.done(Order::Record { quantities, period: Duration::from_millis(3) });
    while often.at_s() < 6.99 {
        often.pass(Duration::from_micros(1_700));
    }
    often.done(Order::Pause);
    let rest = 7.0 - often.at_s();
    often.step(rest);
    assert_eq!(stands(&mut often), stands(&mut seldom));
}

#[test]
fn changes_of_a_valve_that_is_not_computed_are_refused() {
    let mut rig = Rig::new(BENCH);
    let fault = Change::ValveFault { name: FaultName::SupplyLow, severity: 0.5 };
    assert_eq!(refused(rig.order(Order::Change { device: Some(0), change: fault })), Reason::NotNow);
    let mut rig = Rig::new(VALVE);
    rig.done(Order::Change { device: Some(0), change: fault });
    // No spring, none that could break.
    let mut rig = Rig::new(&VALVE.replace("stroke_mm = 20", "acting = \"double\""));
    let broken = Change::ValveFault { name: FaultName::SpringBroken, severity: 0.5 };
    assert_eq!(refused(rig.order(Order::Change { device: None, change: broken })), Reason::NotNow);
}

/// [PL-32]: without power nobody drives the stage, which vents: a valve whose air closes is opened by its spring, whatever set
/// point the loop's end means.
#[test]
fn without_power_the_spring_has_the_valve() {
    let text = VALVE.replace("stroke_mm = 20", "acting = \"air_closes\"").replace(
        "[loop]\ncurrent_ma = 12\n",
        "[loop]\ncurrent_ma = 8\n[loop.card]\ncompliance_v = 24\nimpedance_ohm = 1000\n[[loop.device]]\n\
         tag = \"FV-3104\"\nmin_voltage_v = 9\n",
    );
    let mut rig = Rig::new(&text);
    rig.done(Order::Pause);
    rig.step(30.0);
    let [travel] = numbers(&mut rig, ["travel_percent"]);
    assert!((travel - 25.0).abs() < 1.5, "{travel}");
    rig.done(Order::Change { device: None, change: Change::LoopOpen(true) });
    rig.step(30.0);
    assert_eq!(numbers(&mut rig, ["travel_percent"]), [100.0]);
}

/// While its device speaks a valve goes on, and is read as it is: with bursts all the time and without any it is the same.
#[test]
fn a_valve_is_read_while_its_device_speaks() {
    let recorded = |text: &str| {
        let mut rig = Rig::new(text);
        rig.done(Order::Pause);
        let quantities = vec!["FV-3104.stem_mm".to_owned(), "FV-3104.chamber_1_bar".to_owned()];
        rig.done(Order::Record { quantities, period: Duration::from_millis(10) });
        rig.step(4.0);
        (rig.recorded(), rig.driven.bus().traffic().sent)
    };
    let (silent, none) = recorded(VALVE);
    let bursts = "[[device.burst]]\ncommand = 3\nupdate_period_s = 0.5\n[[line]]";
    let (speaks, sent) = recorded(&VALVE.replace("[[line]]", bursts));
    assert!(none == 0 && sent > 100, "{none} {sent}");
    assert!(silent.len() == 401 && silent == speaks);
}
