//! The loop current moves the true stem, and the commands tell what the sensors see.

use super::rig::Rig;

/// [DV-80]: from 4 to 12 mA half of the stroke of 20 mm, 10 mm, truly; commands 2, 3, 9 and 130 tell it.
#[test]
fn a_step_of_the_current_moves_the_stem() {
    let mut rig = Rig::calibrated("");
    rig.set_current_ma(4.0);
    rig.idle(15.0);
    assert!(rig.truth().stem_m < 2e-5, "{:?}", rig.truth());
    rig.set_current_ma(12.0);
    rig.idle(20.0);
    // 0.4 % of the stroke is what the controller is held to.
    let stem_mm = rig.truth().stem_m * 1e3;
    assert!((stem_mm - 10.0).abs() < 0.08, "{stem_mm}");
    assert!((rig.number(2, "loop_current") - 12.0).abs() < 1e-6);
    assert!((rig.number(3, "pv") - 50.0).abs() < 1e-3);
    assert!((rig.number(3, "sv") - 5.0 * stem_mm).abs() < 0.1, "travel of 20 mm in percent");
    // Square at mid travel: 30 degrees to each side, [PL-20].
    assert!(rig.number(3, "tv").abs() < 0.5);
    assert!((rig.number(3, "qv") - 1.4).abs() < 0.05);
    assert!((rig.number(130, "travel") - rig.number(3, "sv")).abs() < 0.1);
    assert!(rig.number(130, "deviation").abs() < 0.4);
}

/// [DV-80]: without a calibration the travel is not known, and no current moves the valve.
#[test]
fn out_of_its_box_it_moves_nothing() {
    let mut rig = Rig::new("", "");
    rig.idle(30.0);
    assert!(rig.truth().travel_percent < 0.1);
    let exchange = rig.ask(3, &[]);
    let data = exchange.transaction.reply_frame().expect("an answer").data().to_vec();
    // Current, unit and PV, unit, then SV: 7F A0 00 00 is not-a-number [TY-03].
    assert_eq!(data[10..14], [0x7F, 0xA0, 0, 0]);
    assert_eq!(rig.data(130)[16], 0x40, "never calibrated, and at rest nowhere");
    // Maintenance required [ST-05], and mask 01 of the second octet that is its own [DV-89].
    let status = rig.data(48);
    assert_eq!((status[0], status[1], status[6]), (0, 0x01, 0x01));
}

/// [DV-81]: by hand the set point stays where it is put, whatever the current does, until it is given back.
#[test]
fn a_set_point_by_hand() {
    let mut rig = Rig::calibrated("");
    assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "30")]), 0);
    rig.set_current_ma(18.0);
    rig.idle(20.0);
    assert!((rig.truth().travel_percent - 30.0).abs() < 0.4);
    assert!(rig.told(128, "source").contains("by hand"));
    assert_eq!(rig.data(130)[16] & 0x20, 0x20);
    assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "100.5")]), 3);
    assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "-0.5")]), 4);
    assert_eq!(rig.code(129, &[("source", "0"), ("set_point", "0")]), 0);
    rig.idle(20.0);
    // 18 mA are 14/16.
    assert!((rig.truth().travel_percent - 87.5).abs() < 0.4);
}

/// The truth does not depend on how often somebody asks: what is read between is the same valve, step by step.
#[test]
fn asked_often_or_seldom() {
    let run = |asks: u32| {
        let mut rig = Rig::new("", "[[event]]\nat_s = 20\nloop_current_ma = 17\n");
        assert_eq!(rig.code(131, &[("calibration", "1")]), 0);
        for n in 0..asks {
            let command = [3, 48, 132, 130][n as usize % 4];
            rig.ask(command, &[]);
        }
        let left = 60.0 - rig.now().as_nanos() as f64 / 1e9;
        rig.idle(left);
        rig.truth()
    };
    let (seldom, often) = (run(0), run(80));
    assert_eq!(seldom, often);
    assert!(seldom.travel_percent > 50.0, "the event has moved it: {seldom:?}");
}
