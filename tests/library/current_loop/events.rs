//! What happens to the loop while the bench runs.

use super::rig::{Rig, near, plan};
use looprig::bench;
use looprig::device::decode_image;
use looprig::line::Delivery;
use looprig::sim::{Dark, Power};
use looprig::time::Instant;
use std::time::Duration;

/// A positioner that a calibrator drives from 24 V over 250 ohm, and what happens to its wires.
fn supply(events: &str) -> String {
    format!(
        r#"
[loop]
current_ma = 12
[loop.supply]
voltage_v = 24
resistor_ohm = 250
[loop.master]
transmit_ma_pp = 0.6
[[loop.cable]]
length_m = 500
cross_section_mm2 = 1.5
[[loop.device]]
tag = "FV-3104"
min_voltage_v = 10
transmit_ma_pp = 0.6
[[device]]
tag = "FV-3104"
startup_s = 0.5
[[line]]
at = "pty:"
{events}
"#
    )
}

/// 250 ohm and 500 m of 1.5 mm2, 12.1 ohm: at 12 mA 24 - 0.012 * 262.1 = 20.8548 V, at 20 mA 18.7580 V (valve and loop
/// facts). 20 V leave 14.758 V, 15 V leave 9.758 V: dark below 10. It draws nothing then, and with 15.4 V it would have
/// 10.158 V, enough to go on and too little to begin; with 16 V 10.758 V, and 0.075 V less for the signal.
#[test]
fn volts_and_currents_that_change() {
    let mut rig = Rig::new(&supply(
        "[[event]]\nat_s = 1\nloop_current_ma = 20\n[[event]]\nat_s = 2\nloop_supply_v = 20\n\
         [[event]]\nat_s = 3\nloop_supply_v = 15\n[[event]]\nat_s = 4\nloop_supply_v = 15.4\n\
         [[event]]\nat_s = 5\nloop_supply_v = 16",
    ));
    near(rig.supplied(0).volts_v, 20.8548, 1e-6);
    near(rig.to(1.5).supplied(0).volts_v, 18.7580, 1e-6);
    near(rig.station(0).device().loop_current_ma(), 20.0, 1e-9);
    near(rig.to(2.5).supplied(0).volts_v, 14.7580, 1e-6);
    let supplied = rig.to(3.5).supplied(0);
    let Power::Off(Dark::Volts { volts_v, peak_v, current_a, needs_v }) = supplied.power else {
        panic!("{supplied:?}")
    };
    // The signal takes 0.6 mA / 2 over 250 ohm beside 5000, and 12.1 ohm: 0.075 V.
    near(volts_v, 9.758, 1e-6);
    near(peak_v, 0.075, 0.002);
    assert_eq!((current_a, needs_v, supplied.current_a), (0.02, 10.0, 0.0));
    let why = Dark::Volts { volts_v, peak_v, current_a, needs_v };
    assert_eq!(why.to_string(), "9.76 V at 20 mA, it needs 10 V and 0.07 V for the signal");
    rig.to(10.0);
    assert_eq!(rig.news(0), [(3.0, "off"), (5.0, "starts"), (5.5, "on")]);
}

/// Who stays dark is told why as it is now, not as it was when the power went: 15.4 V leave 15.4 - 0.02 x 262.1 = 10.158 V.
#[test]
fn the_reason_is_that_of_now() {
    let mut rig = Rig::new(&supply(
        "[[event]]\nat_s = 1\nloop_current_ma = 20\n[[event]]\nat_s = 3\nloop_supply_v = 15\n\
         [[event]]\nat_s = 4\nloop_supply_v = 15.4",
    ));
    let Power::Off(why) = rig.to(4.5).supplied(0).power else { panic!("{:?}", rig.supplied(0)) };
    assert_eq!(why.to_string(), "10.16 V at 20 mA, it needs 10 V and 0.07 V for the signal");
    // 10 V, 0.07 V and 0.5 V.
    assert_eq!(why.starts_again().as_deref(), Some("it starts again from 10.57 V"));
}

/// 20 mA over 262.1 ohm are 5.24 V: of 3 V nothing is left, and nobody is told of less than nothing.
#[test]
fn no_volts_are_left() {
    let mut rig = Rig::new(
        &supply("[[event]]\nat_s = 1\nloop_supply_v = 3").replace("current_ma = 12", "current_ma = 20"),
    );
    let supplied = rig.to(2.0).supplied(0);
    let Power::Off(why) = supplied.power else { panic!("{supplied:?}") };
    assert!(why.to_string().starts_with("no volts are left at 20 mA, it needs 10 V"), "{why}");
    assert!((0.0..=3.0).contains(&supplied.volts_v), "{supplied:?}");
}

/// What comes into the wires and what leaks is taken away again by the file's own words.
#[test]
fn events_that_put_things_right() {
    let text = supply(
        "[[event]]\nat_s = 1\nloop_leak_ohm = 5000\n[[event]]\nat_s = 2\nloop_leak_ohm = inf\n\
         [[event]]\nat_s = 3\nloop_extra_ohm = 600\n[[event]]\nat_s = 4\nloop_extra_ohm = 0\n\
         [[event]]\nat_s = 5\nloop_leak_ohm = 1e12",
    )
    .replace(
        "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250",
        "[loop.card]\ncompliance_v = 20\nimpedance_ohm = 5000",
    );
    let told: Vec<String> = plan(&text).events.iter().map(|e| e.change.to_string()).collect();
    assert_eq!(
        told,
        [
            "a leak of 5000 ohm across the loop",
            "the leak is gone",
            "600 ohm in all have come into the wires",
            "the wires are as on the sheet again",
            "the leak is gone",
        ]
    );
    let mut rig = Rig::new(&text);
    // 10 V over 5000 ohm take 2 mA of 12.
    near(rig.to(1.5).supplied(0).current_a, 0.010, 1e-9);
    near(rig.to(2.5).supplied(0).current_a, 0.012, 1e-9);
}

#[test]
fn a_loop_that_is_opened_and_closed() {
    let mut rig =
        Rig::new(&supply("[[event]]\nat_s = 1\nloop_open = true\n[[event]]\nat_s = 4\nloop_open = false\n"));
    assert!(rig.poll(0).is_some());
    let supplied = rig.to(2.0).supplied(0);
    assert_eq!((supplied.power, supplied.volts_v, supplied.current_a), (Power::Off(Dark::Open), 0.0, 0.0));
    assert!(rig.poll(0).is_none());
    rig.to(6.0);
    assert_eq!(rig.news(0), [(1.0, "off"), (4.0, "starts"), (4.5, "on")]);
    assert!(rig.poll(0).is_some());
}

/// A leak takes from a card's current what the device's volts drive through it: without ohm in the device 10 V over
/// 5000 ohm are 2 mA of 12. 500 ohm take all of it.
#[test]
fn a_leak_on_a_card() {
    let text =
        supply("[[event]]\nat_s = 1\nloop_leak_ohm = 5000\n[[event]]\nat_s = 3\nloop_leak_ohm = 500\n")
            .replace(
                "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250",
                "[loop.card]\ncompliance_v = 20\nimpedance_ohm = 5000",
            );
    let mut rig = Rig::new(&text);
    near(rig.station(0).device().loop_current_ma(), 12.0, 1e-6);
    rig.to(2.0);
    near(rig.station(0).device().loop_current_ma(), 10.0, 1e-3);
    assert!(rig.is_on(0));
    let Power::Off(why @ Dark::Current { current_a, needs_a, .. }) = rig.to(4.0).supplied(0).power else {
        panic!("{:?}", rig.supplied(0));
    };
    assert_eq!((current_a, needs_a), (0.0, 0.0036));
    assert_eq!(why.to_string(), "0 mA, it needs 3.6 mA; a leak takes 12 mA");
}

/// Wires the wrong way round: nothing flows, whatever is done.
#[test]
fn plus_and_minus_the_wrong_way_round() {
    let events = "[[event]]\nat_s = 1\nloop_supply_v = 30\n";
    let turned = supply(events).replace("min_voltage_v = 10", "min_voltage_v = 10\nreversed = true");
    let mut rig = Rig::new(&turned);
    assert_eq!(rig.supplied(0).power, Power::Off(Dark::Reversed));
    assert!(rig.to(3.0).poll(0).is_none());
    let either = turned.replace("reversed = true", "reversed = true\neither_polarity = true");
    assert!(Rig::new(&either).poll(0).is_some());
}

/// A device that loses its power in the middle of an answer breaks off: the rest of it is never heard.
#[test]
fn an_answer_that_breaks_off() {
    // The host listens first, so the time of the answer is looked up in a run without the event.
    let mut rig = Rig::new(&supply(""));
    let (exchange, _) = rig.poll(0).expect("it answers");
    let reply = exchange.transaction.reply.expect("an answer");
    let (first, last) = (reply.octets[0].at, reply.octets[reply.octets.len() - 1].at);
    let middle = (first.as_secs_f64() + last.as_secs_f64()) / 2.0;
    let mut rig = Rig::new(&supply(&format!("[[event]]\nat_s = {middle}\nloop_open = true\n")));
    assert!(rig.poll(0).is_none());
    assert_eq!(rig.host.quality().damaged, 1);
}

/// What a master has written is stored before the answer leaves; power lost in between loses the answer alone.
#[test]
fn memory_outlives_the_power() {
    let (mut world, _) = bench::world(
        &plan(&supply("[[event]]\nat_s = 0.4\nloop_open = true\n[[event]]\nat_s = 1\nloop_open = false\n")),
        &[],
        Duration::ZERO,
        Instant::ZERO,
    );
    let port = world.add_observer();
    // Command 6, polling address 5, to the unique address 3D 71 00 31 04, by the primary [FR-03] [FR-09].
    let rest = [0x82, 0xBD, 0x71, 0x00, 0x31, 0x04, 0x06, 0x01, 0x05];
    let check = rest.iter().fold(0, |x, o| x ^ o);
    let request = [&[0xFF; 5][..], &rest, &[check]].concat();
    // 15 characters of 9.167 ms: the request ends at 0.3875 s, its answer would begin 10 ms later.
    world.bus_mut().transmit(Instant::ZERO + Duration::from_millis(250), port, &request);
    let mut heard: Vec<Delivery> = Vec::new();
    world.run_until(Instant::ZERO + Duration::from_millis(399), &mut heard);
    let device = world.bus_mut().station_mut(0).and_then(|p| p.device_mut()).expect("a device");
    let image = device.device_mut().take_image().expect("something was written");
    assert_eq!(decode_image(&image).expect("a good image").polling_address, 5);
    world.run_until(Instant::ZERO + Duration::from_secs(3), &mut heard);
    assert!(heard.is_empty(), "{heard:?}");
    let device = world.bus_mut().station_mut(0).and_then(|p| p.device_mut()).expect("a device");
    assert!(device.is_on());
    assert_eq!((device.device().polling_address(), device.device_mut().take_image()), (5, None));
}

/// Of a request that has begun before the device works again half is missing, so it is not answered; the next one is.
#[test]
fn a_request_that_is_half_in_the_dark() {
    let (mut world, _) = bench::world(
        &plan(&supply("[[event]]\nat_s = 1\nloop_open = true\n[[event]]\nat_s = 2\nloop_open = false\n")),
        &[],
        Duration::ZERO,
        Instant::ZERO,
    );
    let port = world.add_observer();
    // Command 0 at polling address 0 by the primary [FR-09]; it works again at 2.5 s.
    let request = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82];
    let heard = |from_ms: u64, world: &mut looprig::sim::World| {
        let mut heard: Vec<Delivery> = Vec::new();
        world.bus_mut().transmit(Instant::ZERO + Duration::from_millis(from_ms), port, &request);
        world.run_until(Instant::ZERO + Duration::from_millis(from_ms + 900), &mut heard);
        heard.len()
    };
    assert!(heard(50, &mut world) > 20);
    assert_eq!(heard(1100, &mut world), 0);
    assert_eq!(heard(2430, &mut world), 0, "its delimiter ends at 2.485 s");
    assert!(heard(3500, &mut world) > 20);
}

/// What was put off and not done when the power went is not done, also not in the dark [DV-40].
#[test]
fn a_delayed_response_dies_with_the_power() {
    let text = supply("[[event]]\nat_s = 4\nloop_open = true\n[[event]]\nat_s = 12\nloop_open = false\n")
        .replace("startup_s = 0.5", "startup_s = 0.5\n[[device.slow]]\ncommand = 22\ntakes_s = 5");
    let mut rig = Rig::new(&text);
    let (_, device) = rig.poll(0).expect("it answers");
    let asked = rig.host.ask_octets(&device, 22, vec![b'A'; 32]).expect("it is asked");
    let code = asked.transaction.reply_frame().expect("an answer").status().expect("status octets")[0];
    assert_eq!(code, 33, "delayed response initiated");
    rig.to(11.0);
    assert_eq!(rig.station(0).device().long_tag(), "");
    rig.to(20.0);
    assert!(rig.is_on(0));
    assert_eq!(rig.station(0).device().long_tag(), "");
}
