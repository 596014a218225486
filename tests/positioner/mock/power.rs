//! Alarms, and a loop that takes the power away [DV-51] [DV-89].

use super::rig::Rig;
use looprig::plant::fault::FaultName;
use looprig::sim::Change;

/// A computed loop that opens: no drive, so that the spring closes the valve, whatever the electronics wanted.
#[test]
fn without_power_the_spring_closes() {
    let mut rig = Rig::calibrated(
        "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n[[loop.device]]\ntag = \"FV-3104\"\nmin_voltage_v = 9\n\
         [[event]]\nat_s = 200\nloop_open = true\n[[event]]\nat_s = 220\nloop_open = false\n",
    );
    let left = 199.0 - rig.now().as_nanos() as f64 / 1e9;
    rig.idle(left);
    assert!((rig.truth().travel_percent - 50.0).abs() < 0.5);
    rig.idle(20.0);
    assert!(rig.truth().travel_percent < 0.1, "{:?}", rig.truth());
    assert_eq!(rig.truth().drive, -1.0);
    rig.idle(30.0);
    assert!((rig.truth().travel_percent - 50.0).abs() < 0.5, "power is back, and what was learned holds");
}

/// [DV-89]: each alarm sets its mask in the first octet of command 48 and its bits in the status.
#[test]
fn alarms() {
    let mut rig = Rig::calibrated("");
    rig.idle(20.0);
    assert_eq!(rig.data(48)[0], 0);
    // 80 % of 1.4 bar are 1.12 bar.
    rig.change(Change::SupplyPressureBar(1.0));
    rig.idle(30.0);
    let status = rig.data(48);
    assert_eq!(status[0] & 0x02, 0x02, "supply too low: {status:?}");
    assert_eq!(status[6] & 0x10, 0x10, "out of specification");
    rig.change(Change::SupplyPressureBar(6.0));
    rig.idle(30.0);
    assert_eq!(rig.data(48)[0], 0);
    rig.set_current_ma(3.7);
    rig.idle(1.0);
    assert_eq!(rig.data(48)[0] & 0x20, 0x20, "loop current outside its limits");
    rig.set_current_ma(12.0);
    rig.idle(20.0);
    rig.change(Change::ValveFault { name: FaultName::StemSeized, severity: 1.0 });
    rig.set_current_ma(18.0);
    // Larger than 2 % for longer than 20 s, as delivered.
    rig.idle(15.0);
    assert_eq!(rig.data(48)[0] & 0x11, 0);
    rig.idle(10.0);
    let status = rig.data(48);
    assert_eq!(status[0] & 0x11, 0x11, "deviation, and it does not move: {status:?}");
    assert_eq!(rig.data(130)[16] & 0x08, 0x08);
}
