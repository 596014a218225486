//! What a positioner's electronics know, as quantities [BA-04] [BA-11].

use super::*;
use crate::device::positioner::{Alarm, Key};

fn all(rig: &mut Rig) -> Vec<(String, quantity::Reading)> {
    match rig.done(Order::Read { names: None }) {
        Answer::Read { readings, .. } => readings,
        other => panic!("{other:?}"),
    }
}

fn of(rig: &mut Rig, name: &str) -> Value {
    let key = format!("FV-3104.{name}");
    let names = Some(vec![key]);
    let Answer::Read { readings, .. } = rig.done(Order::Read { names }) else { panic!("none") };
    readings[0].1.value
}

fn number(rig: &mut Rig, name: &str) -> f64 {
    match of(rig, name) {
        Value::Number(x) => x,
        other => panic!("{name}: {other:?}"),
    }
}

/// What was learned: +/-30 degrees of lever, 20 mm in about 2 and 3 s at 1.4 bar, friction between 140 and 168 N over 350 cm2, that is
/// 0.04 and 0.048 bar [DV-96].
#[test]
fn what_was_learned() {
    let mut rig = Rig::new(VALVE);
    rig.done(Order::Pause);
    rig.step(30.0);
    assert!((number(&mut rig, "learned_closed_deg") + 30.0).abs() < 0.2);
    assert!((number(&mut rig, "learned_open_deg") - 30.0).abs() < 0.2);
    let (opening, closing) = (number(&mut rig, "learned_opening_s"), number(&mut rig, "learned_closing_s"));
    assert!(opening > 0.5 && closing > 0.5, "{opening} {closing}");
    // From 10 to 90 % no slower than on the average of the whole stroke, which has the way to its first motion in it.
    assert!(number(&mut rig, "learned_opening_percent_per_s") > 100.0 / opening * 0.9);
    let friction = number(&mut rig, "learned_friction_bar");
    assert!((0.03..0.06).contains(&friction), "{friction}");
    assert!(number(&mut rig, "in_service_s") > 20.0);
    assert_eq!(of(&mut rig, "calibration_hint"), Value::None);
    let names: Vec<String> = all(&mut rig).into_iter().map(|(_, r)| r.name.to_string()).collect();
    assert!(!names.iter().any(|n| n.contains("sensed_travel")), "no device knows the true geometry");
    for alarm in Alarm::ALL {
        let name = format!("alarm_{}", alarm.words().replace(' ', "_"));
        assert!(names.contains(&name), "{name}");
        assert_eq!(of(&mut rig, &name), Value::Switch(false), "{name}");
    }
}

/// A key by hand, the selector, an alarm, and a calibration that fails with its hint.
#[test]
fn alarms_hand_local_and_hint() {
    let mut rig = Rig::new(VALVE);
    rig.done(Order::Pause);
    rig.step(30.0);
    assert_eq!(of(&mut rig, "by_hand"), Value::Switch(false));
    assert!((number(&mut rig, "travel_wanted_percent") - 50.0).abs() < 1e-6);
    for pressed in [true, false] {
        rig.done(Order::Change { device: None, change: Change::KeyPressed(Key::Open, pressed) });
        rig.step(1.0);
    }
    assert_eq!(of(&mut rig, "by_hand"), Value::Switch(true));
    let local = Change::SiteFault { name: crate::sim::SiteFault::SelectorLocal, severity: 1.0 };
    assert_eq!(of(&mut rig, "local"), Value::Switch(false));
    rig.done(Order::Change { device: None, change: local });
    rig.step(1.0);
    assert_eq!(of(&mut rig, "local"), Value::Switch(true));
    rig.done(Order::Change { device: None, change: Change::CalibrationAllowed(false) });
    assert_eq!(of(&mut rig, "calibration_allowed"), Value::Switch(false));
    // 80 % of 1.4 bar are 1.12.
    rig.done(Order::Change { device: None, change: Change::SupplyPressureBar(1.0) });
    rig.step(20.0);
    assert_eq!(of(&mut rig, "alarm_supply_pressure_too_low"), Value::Switch(true));
}
