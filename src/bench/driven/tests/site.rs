//! Electrical and settings faults by order [DV-110] [BA-05].

use super::*;
use crate::sim::SiteFault;

/// A calibrated positioner on a computed loop, whose valve has a trip input.
fn bench() -> String {
    VALVE.replace("[loop]\ncurrent_ma = 12\n", "[loop]\ncurrent_ma = 12\n[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n[[loop.device]]\ntag = \"FV-3104\"\nmin_voltage_v = 9\n")
        .replace("[device.valve.linkage]", "[device.valve.fail]\ntrip_dm3_per_s_bar = 2\n[device.valve.linkage]")
}

fn value(rig: &mut Rig, name: &str) -> Value {
    let names = Some(vec![name.to_owned()]);
    let Answer::Read { readings, .. } = rig.done(Order::Read { names }) else { panic!("none") };
    readings[0].1.value
}

fn owner(name: SiteFault) -> &'static str {
    match name {
        SiteFault::LoopVoltsLow | SiteFault::CurrentMissing | SiteFault::WetCable => "loop",
        SiteFault::SecondMaster => "wires",
        _ => "FV-3104",
    }
}

/// Each is put in, told as a quantity of whom it concerns, and mended; after a restore the same orders give the same trace.
#[test]
fn every_fault_by_order() {
    let mut rig = Rig::new(&bench());
    rig.done(Order::Pause);
    rig.step(10.0);
    rig.done(Order::Take { name: "healthy".into() });
    let course = |rig: &mut Rig| {
        let quantities: Vec<String> =
            ["FV-3104.travel_percent", "FV-3104.terminal_v", "wires.octets_sent"].map(Into::into).to_vec();
        rig.done(Order::Record { quantities, period: Duration::from_millis(100) });
        for name in SiteFault::ALL {
            let told = format!("{}.{}", owner(name), name.quantity());
            for severity in [0.6, 0.0] {
                rig.done(Order::Change { device: None, change: Change::SiteFault { name, severity } });
                rig.step(2.0);
                assert_eq!(value(rig, &told), Value::Number(severity), "{told}");
            }
            // Whatever was dark has started.
            rig.step(4.0);
        }
        assert_eq!(value(rig, "FV-3104.power"), Value::Word("on"));
        assert_eq!(value(rig, "FV-3104.polling_address"), Value::Number(0.0));
        rig.recorded()
    };
    let one = course(&mut rig);
    rig.done(Order::Restore { name: "healthy".into() });
    assert_eq!(value(&mut rig, "wires.fault_second_master"), Value::Number(0.0));
    assert!(course(&mut rig) == one);
    // The second master and the burst were heard.
    let sent = |sample: &Sample| match sample.values[2] {
        Value::Number(x) => x,
        other => panic!("{other:?}"),
    };
    assert!(sent(&one[one.len() - 1]) > sent(&one[0]) + 100.0);
}

/// What a device of its own has goes to that device alone.
#[test]
fn a_fault_of_one_device() {
    let two = "[[device]]\ntag = \"A\"\ndevice_id = 1\n[[device]]\ntag = \"B\"\ndevice_id = 2\npolling_address = 1\n[[line]]\nat = \"pty:\"\n";
    let mut rig = Rig::new(two);
    let change = |name| Change::SiteFault { name, severity: 1.0 };
    rig.done(Order::Change { device: Some(1), change: change(SiteFault::WriteProtectOn) });
    let both = ["A.write_protect", "B.write_protect"].map(|n| value(&mut rig, n));
    assert_eq!(both, [Value::Switch(false), Value::Switch(true)]);
    // Both lose their addresses, and get different ones.
    rig.done(Order::Change { device: None, change: change(SiteFault::PollingAddressChanged) });
    let both = ["A.polling_address", "B.polling_address"].map(|n| value(&mut rig, n));
    assert_eq!(both, [Value::Number(63.0), Value::Number(62.0)]);
    let volts = change(SiteFault::LoopVoltsLow);
    assert_eq!(refused(rig.order(Order::Change { device: None, change: volts })), Reason::NotNow);
    let master = change(SiteFault::SecondMaster);
    assert_eq!(refused(rig.order(Order::Change { device: Some(0), change: master })), Reason::NotNow);
}
