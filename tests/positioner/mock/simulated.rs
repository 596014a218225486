//! Command 79 on a computed valve: what is told, and what the controller does of it [DV-23] [DV-100].

use super::rig::Rig;
use looprig::device::positioner::Key;
use looprig::device::{Ignored, Response};
use looprig::sim::Change;

const SET_POINT: u8 = 0;
const TRAVEL: u8 = 1;
const ANGLE: u8 = 2;
const PRESSURE: u8 = 3;

/// Units [UN-01]: percent, degrees, bar.
const UNITS: [u8; 4] = [57, 57, 143, 7];

/// Simulated from now on with status good (C0), or no longer; gives the response code.
fn simulate(rig: &mut Rig, variable: u8, value: Option<f32>) -> u8 {
    let (what, unit) = (u8::from(value.is_some()).to_string(), UNITS[usize::from(variable)].to_string());
    let (value, variable) = (value.unwrap_or(0.0).to_string(), variable.to_string());
    let values = [
        ("code", &*variable),
        ("write_command", &*what),
        ("unit", &*unit),
        ("value", &*value),
        ("status", "0xC0"),
    ];
    rig.code(79, &values)
}

fn travel(rig: &mut Rig) -> f64 {
    rig.truth().travel_percent
}

fn near(x: f64, to: f64) {
    assert!((x - to).abs() < 0.6, "{x} is not {to}");
}

/// A variable as it is told [CM-033]: code, unit, value.
fn told(rig: &mut Rig, variable: u8) -> f32 {
    let exchange = rig.ask(33, &[("slot0_code", &variable.to_string())]);
    let data = exchange.transaction.reply_frame().expect("an answer").data().to_vec();
    f32::from_be_bytes([data[2], data[3], data[4], data[5]])
}

fn press(rig: &mut Rig, key: Key, pressed: bool) -> Response {
    let now = rig.now();
    rig.station().change(now, Change::KeyPressed(key, pressed)).expect("it has keys")
}

/// The valve goes where a simulated set point says, whatever current, command 129 and keys do meanwhile; they have it again
/// when the simulation ends, and a loss of power ends it too.
#[test]
fn a_simulated_set_point_moves_the_valve() {
    let mut rig = Rig::new("[device.positioner]\ncalibrated = true", "");
    rig.idle(20.0);
    near(travel(&mut rig), 50.0);
    assert_eq!(simulate(&mut rig, SET_POINT, Some(80.0)), 0);
    rig.idle(20.0);
    near(travel(&mut rig), 80.0);
    assert_eq!(rig.number(130, "set_point"), 80.0);
    assert_eq!(rig.number(130, "deviation").abs().round(), 0.0);
    // Simulation active (01) in standardized status 0, function check (20) in the extended status [ST-05] [ST-06].
    let status = rig.data(48);
    assert_eq!((status[8], status[6] & 0x20), (0x01, 0x20), "{status:?}");
    let now = rig.now();
    let lines = rig.station().device().display(now).expect("a display");
    assert_eq!((lines[1].as_str(), lines[3].as_str()), ("set point    80.0 %", "set point simulated"));
    rig.set_current_ma(8.0);
    assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "60")]), 0);
    assert_eq!(press(&mut rig, Key::Open, true), Response::Ignored(Key::Open, Ignored::Simulated));
    rig.idle(4.0);
    press(&mut rig, Key::Open, false);
    rig.idle(20.0);
    near(travel(&mut rig), 80.0);
    assert_eq!(simulate(&mut rig, SET_POINT, None), 0);
    rig.idle(20.0);
    near(travel(&mut rig), 60.0);
    assert_eq!(rig.code(129, &[("source", "0"), ("set_point", "0")]), 0);
    rig.idle(20.0);
    near(travel(&mut rig), 25.0);
    // Beyond the range of the travel it goes as far as it can; nothing outlives the power.
    assert_eq!(simulate(&mut rig, SET_POINT, Some(3e38)), 0);
    rig.idle(20.0);
    near(travel(&mut rig), 100.0);
    rig.change(Change::PowerCycle);
    rig.idle(30.0);
    near(travel(&mut rig), 25.0);
    assert_eq!(rig.data(48)[8] & 0x01, 0);
}

/// A simulated travel, angle or pressure is told, and moves nothing: control, alarms, counters, the display and the commands
/// of the positioner go by its sensors.
#[test]
fn simulated_sensors_move_nothing() {
    let mut rig = Rig::new("[device.positioner]\ncalibrated = true", "");
    rig.idle(20.0);
    let strokes = rig.number(145, "strokes");
    for (variable, value) in [(TRAVEL, 10.0), (ANGLE, -25.0), (PRESSURE, 0.5)] {
        assert_eq!(simulate(&mut rig, variable, Some(value)), 0);
    }
    // Longer than a deviation needs to be told, 20 s [DV-85].
    rig.idle(60.0);
    near(travel(&mut rig), 50.0);
    for (variable, value) in [(TRAVEL, 10.0), (ANGLE, -25.0), (PRESSURE, 0.5)] {
        assert_eq!(told(&mut rig, variable), value, "variable {variable}");
    }
    near(rig.number(130, "travel"), 50.0);
    assert!(rig.number(130, "lever_angle").abs() < 1.0);
    let now = rig.now();
    let line = rig.station().device().display(now).expect("a display")[0].clone();
    assert!(line.starts_with("travel       50.") || line.starts_with("travel       49."), "{line}");
    // No alarm of the positioner's own; but the pressure told is below 1.4 bar: out of limits, out of specification (10).
    let status = rig.data(48);
    assert_eq!((status[0], status[6], status[8]), (0, 0x30, 0x01), "{status:?}");
    assert_eq!(rig.number(145, "strokes"), strokes);
    // It goes on as well as before, and a calibration as well: the air that it looks at is there.
    rig.set_current_ma(16.0);
    rig.idle(20.0);
    near(travel(&mut rig), 75.0);
    rig.calibrate();
    assert_eq!(rig.data(134)[..3], [1, 2, 0]);
    assert_eq!(told(&mut rig, TRAVEL), 10.0, "still");
    assert_eq!(simulate(&mut rig, TRAVEL, None), 0);
    rig.idle(20.0);
    near(told(&mut rig, TRAVEL).into(), 75.0);
}

/// While a calibration runs a set point may be simulated; it counts behind it. By hand it may not be given.
#[test]
fn a_set_point_simulated_during_a_calibration() {
    let mut rig = Rig::new("", "");
    assert_eq!(rig.code(131, &[("calibration", "1")]), 0);
    rig.idle(3.0);
    assert_eq!(simulate(&mut rig, SET_POINT, Some(30.0)), 0);
    assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "60")]), 9);
    let mut highest = 0f64;
    while rig.electronics().progress().is_some() {
        rig.idle(0.5);
        highest = highest.max(travel(&mut rig));
    }
    assert!(highest > 99.0, "it went from stop to stop, {highest}");
    assert_eq!(rig.data(134)[..3], [1, 2, 0], "done");
    rig.idle(20.0);
    near(travel(&mut rig), 30.0);
}

/// Write protect (7) keeps it from being written [DV-23]; nothing moves.
#[test]
fn protected() {
    let mut rig = Rig::new("[device.positioner]\ncalibrated = true", "");
    rig.idle(20.0);
    rig.change(Change::WriteProtect(true));
    assert_eq!(simulate(&mut rig, SET_POINT, Some(80.0)), 7);
    rig.idle(20.0);
    near(travel(&mut rig), 50.0);
}
