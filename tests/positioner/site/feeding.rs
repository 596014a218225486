//! Volts, current and wires [DV-111].

use super::rig::{CARD, COMES_S, Rig, SEVERITIES, SUPPLY, event, fault, near, text};
use looprig::sim::{Dark, Power, SiteFault};

/// 24 (1 - 0.7 x) - 250 I; dark below 9 V: at 0.6 only with more current, at 1 always.
#[test]
fn loop_volts_low() {
    for (x, at_12, at_20) in [(0.3, 15.96, Some(13.96)), (0.6, 10.92, None), (1.0, 4.2, None)] {
        let more = event(30.0, "loop_current_ma = 20") + &event(45.0, "loop_current_ma = 12");
        let mut rig = Rig::with(SUPPLY, "loop_volts_low", x, 60.0, &more);
        rig.to(COMES_S - 1.0);
        near("volts before", rig.supplied().volts_v, 21.0, 1e-6);
        near("travel before", rig.travel(), 50.0, 0.5);
        rig.to(25.0);
        assert_eq!(rig.wires().faults().severity(SiteFault::LoopVoltsLow), x);
        near("volts that are set", rig.wires().supply_v(), 24.0, 0.0);
        if x < 1.0 {
            near("volts at 12 mA", rig.supplied().volts_v, at_12, 1e-6);
            assert!(rig.poll(0).is_some(), "{x}");
            near("travel", rig.travel(), 50.0, 0.5);
        } else {
            let Some(Dark::Volts { volts_v, needs_v, .. }) = rig.dark() else {
                panic!("{:?}", rig.supplied())
            };
            assert_eq!(needs_v, 9.0);
            // It draws nothing as it is dark, and would have so much left if it started.
            near("volts that are missing", volts_v, at_12, 1e-6);
            assert!(rig.poll(0).is_none());
            assert!(rig.travel() < 0.1);
        }
        rig.to(40.0);
        match at_20 {
            Some(volts_v) => {
                near("volts at 20 mA", rig.supplied().volts_v, volts_v, 1e-6);
                near("travel at 20 mA", rig.travel(), 100.0, 0.5);
            }
            None => {
                assert!(matches!(rig.dark(), Some(Dark::Volts { .. })), "{x}: {:?}", rig.supplied());
                assert!(rig.poll(0).is_none() && rig.travel() < 0.1);
            }
        }
        rig.to(80.0).is_back(at_20.is_none());
    }
}

/// 12 (1 - x) mA: 8.4 mA are (8.4 - 4)/16 = 27.5 %, 4.8 mA 5 %.
#[test]
fn current_missing() {
    for (x, ma, percent) in [(0.3, 8.4, 27.5), (0.6, 4.8, 5.0), (1.0, 0.0, 0.0)] {
        let mut rig = Rig::with(SUPPLY, "current_missing", x, 40.0, "");
        rig.to(35.0);
        near("current that is set", rig.wires().wanted_ma(), 12.0, 0.0);
        near("travel", rig.travel(), percent, 0.5);
        if x < 1.0 {
            near("current", rig.supplied().current_a * 1e3, ma, 1e-9);
            near("measured", rig.station().device().loop_current_ma(), ma, 1e-9);
            near("set point", rig.station().device().set_point_percent(), percent, 1e-6);
            let device = rig.poll(0).expect("it answers");
            // No deviation: it believes the current [DV-89].
            assert_eq!(rig.ask(&device, 48, &[]).2[0], 0);
        } else {
            assert!(matches!(rig.dark(), Some(Dark::Current { .. })));
            assert!(rig.poll(0).is_none());
        }
        rig.to(60.0).is_back(x == 1.0);
    }
}

/// Where no loop is computed the current is missing all the same, and the device has power [DV-110].
#[test]
fn current_missing_without_a_loop() {
    let whole = text("", "", &(fault(1.0, "current_missing", 0.5) + &event(2.0, "loop_current_ma = 20")));
    let begin = whole.find("[loop.master]").expect("there")..whole.find("[[device]]").expect("there");
    let mut bare = whole.clone();
    bare.replace_range(begin, "");
    let mut rig = Rig::new(&(bare + &fault(3.0, "current_missing", 0.0)));
    for (s, ma) in [(0.5, 12.0), (1.5, 6.0), (2.5, 10.0), (3.5, 20.0)] {
        rig.to(s);
        near("measured", rig.station().device().loop_current_ma(), ma, 1e-9);
    }
}

/// No current through the device, so its terminals show all the volts there are, the wrong way round.
#[test]
fn wires_reversed() {
    for x in SEVERITIES {
        let mut rig = Rig::with(SUPPLY, "wires_reversed", x, 30.0, "");
        rig.to(25.0);
        assert_eq!(rig.supplied().power, Power::Off(Dark::Reversed));
        near("volts", rig.supplied().volts_v, -24.0, 1e-6);
        assert_eq!(rig.supplied().current_a, 0.0);
        assert!(rig.poll(0).is_none() && rig.travel() < 0.1);
        rig.to(50.0).is_back(true);
    }
    let mut rig = Rig::with(CARD, "wires_reversed", 1.0, 30.0, "");
    near("the card's current before", rig.wires().carried_ma().expect("a card"), 12.0, 1e-9);
    rig.to(25.0);
    near("volts", rig.supplied().volts_v, -20.0, 1e-6);
    near("the card's current", rig.wires().carried_ma().expect("a card"), 0.0, 0.0);
    rig.to(50.0).is_back(true);
    near("the card's current again", rig.wires().carried_ma().expect("a card"), 12.0, 1e-9);
    // A leak of 5000 ohm takes what the device does not: 12 mA would need 60 V, and 20 V drive 4 mA.
    let leak = event(14.0, "loop_leak_ohm = 5000");
    let mut rig = Rig::with(CARD, "wires_reversed", 1.0, 30.0, &leak);
    rig.to(20.0);
    near("through the leak", rig.wires().carried_ma().expect("a card"), 4.0, 1e-3);
    near("volts", rig.supplied().volts_v, -20.0, 1e-3);
}

/// One that the sheet has the wrong way round is put right by it; one that works either way cannot have it.
#[test]
fn wires_reversed_twice() {
    let turned = |rest: &str| {
        text(SUPPLY, "", rest).replace("min_voltage_v = 9", "min_voltage_v = 9\nreversed = true")
    };
    let mut rig = Rig::new(&turned(&fault(5.0, "wires_reversed", 1.0)));
    rig.to(4.0);
    assert_eq!(rig.supplied().power, Power::Off(Dark::Reversed));
    rig.to(10.0);
    assert!(rig.poll(0).is_some());
}
