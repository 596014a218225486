//! Below the least volts, below the least current: dark, then a start-up time, then a cold start.

use super::rig::{Rig, at, near, plan, status};
use looprig::bench;
use looprig::frame::Master;
use looprig::line::Delivery;
use looprig::sim::{Dark, Power};
use looprig::time::Instant;
use std::time::Duration;

/// 24 V, 600 ohm, 300 m of 1 mm2 (18.1 ohm/km a core [WI-03], 10.86 ohm), least 10.5 V: fails above
/// (24 - 10.5)/610.86 = 22.10 mA (valve and loop facts). The signal is weak, so that its peak [WI-02] decides little: 0.25 mA
/// peak to peak into 600 ohm beside the master's 5000, and 10.86 ohm, are 0.137 V, half of it 0.068 V: 21.99 mA.
fn transmitter(error_ma: f64) -> String {
    format!(
        r#"
[loop.supply]
voltage_v = 24
resistor_ohm = 600
[loop.master]
transmit_ma_pp = 0.25
[[loop.cable]]
length_m = 300
cross_section_mm2 = 1.0
[[loop.device]]
tag = "TT-3104"
min_voltage_v = 10.5
transmit_ma_pp = 0.25
[[device]]
tag = "TT-3104"
kind = "temperature"
startup_s = 2
[device.output]
error_ma = {error_ma}
[[line]]
at = "pty:"
[[event]]
at_s = 10
sensor_broken = true
[[event]]
at_s = 15
sensor_broken = false
"#
    )
}

/// The alarm current is 21.75 mA [DV-61]; with an error of 0.2 mA 21.95 mA flow, and 24 - 0.02195 * 610.86 = 10.592 V
/// are left: enough. 20 degC of 0 to 100 are 4 + 3.2 mA and the error, 24 - 0.0074 * 610.86 = 19.480 V.
#[test]
fn a_transmitter_that_just_has_its_volts() {
    let mut rig = Rig::new(&transmitter(0.2));
    let first = rig.supplied(0);
    near(first.current_a, 0.0074, 1e-9);
    near(first.volts_v, 19.479636, 1e-6);
    rig.to(12.0);
    let supplied = rig.supplied(0);
    near(supplied.current_a, 0.02195, 1e-9);
    near(supplied.volts_v, 10.591623, 1e-6);
    near(supplied.margin_v, 0.091623 - 0.0683, 0.003); // the cable takes some of the signal
    assert!(supplied.power == Power::On && rig.news(0).is_empty());
    assert!(rig.poll(0).is_some());
}

/// With an error of 0.5 mA 22.25 mA would flow: 24 - 0.02225 * 610.86 = 10.408 V. It starves itself, draws nothing, has
/// its volts back at once, starts for 2 s with 3.6 mA, and starves again until the sensor is mended.
#[test]
fn a_transmitter_that_starves_itself() {
    let mut rig = Rig::new(&transmitter(0.5));
    rig.to(8.0);
    assert!(rig.poll(0).is_some());
    rig.to(10.2);
    near(rig.supplied(0).current_a, 3.6e-3, 1e-12);
    near(rig.supplied(0).volts_v, 24.0 - 0.0036 * 610.86, 1e-6);
    rig.to(11.0);
    assert!(rig.poll(0).is_none(), "silent while it starts");
    rig.to(30.0);
    let news = rig.news(0);
    // The sensor breaks at 10 s, and currents are looked at every 50 ms [WI-14].
    assert_eq!(news[..2], [(10.0, "off"), (10.0, "starts")]);
    assert_eq!(news[2..5], [(12.0, "on"), (12.0, "off"), (12.0, "starts")]);
    // It starts at 14 s as well, and when it works at 16 s the sensor is whole.
    assert_eq!(news[5..], [(14.0, "on"), (14.0, "off"), (14.0, "starts"), (16.0, "on")]);
    near(rig.supplied(0).current_a, 0.0077, 1e-9);
    // Of the two masters each learns of the cold start by the first answer to it [ST-08].
    let (exchange, _) = rig.poll(0).expect("it works again");
    assert_eq!(status(&exchange) & 0x20, 0x20);
    let (exchange, _) = rig.poll(0).expect("it works");
    assert_eq!(status(&exchange) & 0x20, 0);
}

/// A positioner on a card of 12.5 V: 9 V and 50 ohm, cable 52.851 ohm. At 20 mA it takes 9 + 0.02 * 102.851 = 11.057 V,
/// 1.443 V are left, that is 72.15 ohm (valve and loop facts). With 72 ohm more 20 mA flow, with 100 ohm
/// (12.5 - 9)/202.851 = 17.254 mA, with 1000 ohm 3.5/1102.851 = 3.174 mA, less than 3.6: dark.
const POSITIONER: &str = r#"
[loop]
current_ma = 20
[loop.card]
compliance_v = 12.5
impedance_ohm = 20000
[loop.master]
transmit_ma_pp = 0.35
[[loop.cable]]
length_m = 100
resistance_ohm_per_km = 528.51
[[loop.device]]
min_voltage_v = 9
resistance_ohm = 50
impedance_ohm = 400
transmit_ma_pp = 0.35
[[device]]
tag = "FV-3104"
[device.valve]
time_constant_s = 0
travel_percent = 100
[[line]]
at = "pty:"
[[event]]
at_s = 10
loop_extra_ohm = 72
[[event]]
at_s = 20
loop_extra_ohm = 100
[[event]]
at_s = 30
loop_extra_ohm = 1000
[[event]]
at_s = 40
loop_extra_ohm = 860
[[event]]
at_s = 50
loop_extra_ohm = 0
"#;

#[test]
fn a_positioner_on_a_weak_card() {
    let mut rig = Rig::new(POSITIONER);
    // The master's signal takes 0.35 mA / 2 into 5000, 20000 and 452.85 ohm beside each other, 407 ohm: 0.071 V.
    near(rig.supplied(0).margin_v, 1.443 - 0.071, 0.003);
    // 9 + 0.02 x 50, to the last digit.
    assert_eq!((rig.supplied(0).volts_v, rig.supplied(0).current_a), (10.0, 0.02));
    rig.to(19.0);
    near(rig.station(0).device().loop_current_ma(), 20.0, 1e-9);
    rig.to(29.0);
    near(rig.station(0).device().loop_current_ma(), 17.254, 0.0005);
    // (17.254 - 4)/16 = 82.84 %, which the valve reaches at once here.
    near(rig.station(0).device().travel_percent(at(29.0)), 82.84, 0.01);
    assert!(rig.is_on(0) && rig.news(0).is_empty());
    rig.to(39.0);
    let Power::Off(why @ Dark::Current { current_a, needs_a, wanted_a, .. }) = rig.supplied(0).power else {
        panic!("{:?}", rig.supplied(0));
    };
    near(current_a * 1e3, 3.1736, 0.0001);
    assert_eq!((needs_a, wanted_a), (0.0036, 0.02));
    // 9 V + 20 mA x 1102.851 ohm = 31.06 V.
    assert_eq!(
        why.to_string(),
        "3.17 mA, it needs 3.6 mA; the card's 12.5 V carry 3.17 of 20 mA; this loop needs 31.06 V at 20 mA"
    );
    assert!(rig.poll(0).is_none());
    // It holds the valve no longer.
    near(rig.station(0).device().travel_percent(at(39.0)), 0.0, 1e-9);
    // 3.5/962.851 = 3.635 mA would be enough to go on, not to begin: 3.8 are wanted. It is dark for that now.
    let Power::Off(why @ Dark::Current { current_a, .. }) = rig.to(49.0).supplied(0).power else {
        panic!("{:?}", rig.supplied(0));
    };
    near(current_a * 1e3, 3.635, 0.0005);
    assert_eq!(why.starts_again().as_deref(), Some("it starts again from 3.8 mA"));
    rig.to(60.0);
    assert_eq!(rig.news(0), [(30.0, "off"), (50.0, "starts"), (53.0, "on")]);
    near(rig.station(0).device().travel_percent(at(60.0)), 100.0, 1e-6);
}

/// After the power both masters are told of the cold start.
#[test]
fn both_masters_learn_of_it() {
    for role in [Master::Primary, Master::Secondary] {
        let mut rig = Rig::of(POSITIONER, role);
        rig.poll(0).expect("it answers");
        let (exchange, _) = rig.poll(0).expect("it answers");
        assert_eq!(status(&exchange) & 0x20, 0, "told before");
        rig.to(50.2);
        assert!(rig.poll(0).is_none(), "it works from 53 s on");
        rig.to(54.0);
        let (exchange, _) = rig.poll(0).expect("it answers");
        assert_eq!(status(&exchange) & 0x20, 0x20);
    }
}

/// Fifteen probes at 4 mA each over 250 ohm [WI-01]: 28 V leave 28 - 15 = 13 V and less at the end of the cable. Of 24 V
/// 24 - 14 = 10 V are left with fourteen, 11 V less the cable with thirteen: the two that are farthest go, and at
/// 28 V they come back.
#[test]
fn fifteen_in_multidrop() {
    let sheet = include_str!("../../../fixtures/sheets/multidrop-15.toml");
    let mut text = String::from("[loop]\n");
    for line in sheet.lines() {
        let table = line.strip_prefix("[[").map(|rest| format!("[[loop.{rest}"));
        let table = table.or_else(|| line.strip_prefix('[').map(|rest| format!("[loop.{rest}")));
        text.push_str(&table.unwrap_or_else(|| line.to_owned()));
        text.push('\n');
    }
    for n in 0..15 {
        text.push_str(&format!(
            "[[device]]\nkind = \"temperature\"\ntag = \"LT-{}\"\ndevice_id = {n}\npolling_address = {n}\n\
             loop_current_mode_enabled = false\n",
            3140 + n
        ));
    }
    text.push_str("[[line]]\nat = \"pty:\"\n[[event]]\nat_s = 10\nloop_supply_v = 24\n[[event]]\nat_s = 20\nloop_supply_v = 28\n");
    let mut rig = Rig::new(&text);
    for n in 0..15 {
        let supplied = rig.supplied(n);
        assert!(supplied.power == Power::On && (12.0..13.0).contains(&supplied.volts_v), "{n}: {supplied:?}");
        near(supplied.current_a, 0.004, 1e-12);
    }
    rig.to(15.0);
    let on: Vec<bool> = (0..15).map(|n| rig.is_on(n)).collect();
    assert_eq!(on, [[true; 13].as_slice(), &[false; 2]].concat());
    for n in 0..13 {
        assert!((10.5..11.0).contains(&rig.supplied(n).volts_v), "{n}");
    }
    assert!(rig.poll(14).is_none());
    assert!(rig.poll(12).is_some());
    rig.to(30.0);
    for n in [13, 14] {
        assert_eq!(rig.news(n), [(10.0, "off"), (20.0, "starts"), (23.0, "on")]);
    }
    assert!((0..13).all(|n| rig.news(n).is_empty()));
    assert!(rig.poll(14).is_some());
}

/// Who is told to burst does so until the power goes, and again when it is back, for that is stored.
#[test]
fn bursts_end_and_come_back() {
    let burst = POSITIONER.replace(
        "tag = \"FV-3104\"",
        "tag = \"FV-3104\"\n[[device.burst]]\ncommand = 3\nupdate_period_s = 1",
    );
    let (mut world, _) = bench::world(&plan(&burst), &[], Duration::ZERO, Instant::ZERO);
    world.add_observer();
    let mut heard: Vec<Delivery> = Vec::new();
    world.run_until(at(70.0), &mut heard);
    let octets =
        |from: f64, to: f64| heard.iter().filter(|d| d.octet.at > at(from) && d.octet.at <= at(to)).count();
    assert!(octets(20.0, 30.0) > 100, "a burst each second");
    assert_eq!(octets(30.0, 53.0), 0, "dark from 30 s, it works from 53 s on");
    assert!(octets(53.0, 70.0) > 100);
}

/// However seldom the world is asked, the same happens at the same times.
#[test]
fn a_run_does_not_depend_on_who_asks() {
    let run = |step_ms: u64| {
        let (mut world, _) = bench::world(&plan(&transmitter(0.5)), &[], Duration::ZERO, Instant::ZERO);
        world.add_observer();
        let mut heard = Vec::new();
        for ms in (0..=30_000).step_by(step_ms as usize) {
            world.run_until(Instant::ZERO + Duration::from_millis(ms), &mut heard);
        }
        let device = world.bus_mut().station_mut(0).and_then(|p| p.device_mut()).expect("a device");
        (heard, device.take_power_news())
    };
    let seldom = run(30_000);
    assert_eq!(seldom.1.len(), 9, "{:?}", seldom.1);
    assert_eq!(run(7), seldom);
}

/// Over 500 ohm each device takes 2 V from the other. One needs 20.5 V, the other 10. At 11.9 V both are dark; of 24.5 V the first
/// of the sheet has 22.5 V and comes back; the second would have enough, and the first 20.5 V less the signal's peak, too
/// little: so it stays dark, for ever. With 26 V there are 22 V for both.
#[test]
fn nobody_comes_back_at_the_cost_of_others() {
    let device = |tag: &str, v: f64, n: u8| {
        format!(
            "[[loop.device]]\ntag = \"{tag}\"\nmin_voltage_v = {v}\n[[device]]\ntag = \"{tag}\"\ndevice_id = {n}\n\
             polling_address = {n}\nstartup_s = 1\n"
        )
    };
    let text = format!(
        "[loop.supply]\nvoltage_v = 30\nresistor_ohm = 500\n{}{}[[line]]\nat = \"pty:\"\n\
         [[event]]\nat_s = 1\nloop_supply_v = 11.9\n[[event]]\nat_s = 2\nloop_supply_v = 24.5\n\
         [[event]]\nat_s = 10\nloop_supply_v = 26\n",
        device("LT-3140", 20.5, 0),
        device("LT-3141", 10.0, 1)
    );
    let mut rig = Rig::new(&text);
    assert!(rig.is_on(0) && rig.is_on(1));
    rig.to(9.0);
    assert!(rig.is_on(0) && !rig.is_on(1));
    rig.to(20.0);
    assert_eq!(rig.news(0), [(1.0, "off"), (2.0, "starts"), (3.0, "on")]);
    assert_eq!(rig.news(1), [(1.0, "off"), (10.0, "starts"), (11.0, "on")]);
}
