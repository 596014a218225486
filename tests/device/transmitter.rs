//! A temperature transmitter at its edges: limits in every unit, bursts and resets while something goes on [DV-61] [DV-62].

use crate::rig::{PRIMARY, Rig};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;
use std::time::Duration;

const R7: Revision = Revision::R7;
/// Units [UN-01].
const CELSIUS: u8 = 32;
const FAHRENHEIT: u8 = 33;
const RANKINE: u8 = 34;
const KELVIN: u8 = 35;

const NOTHING: [[u8; 4]; 0] = [];

/// A single, most significant octet first [TY-02].
fn f(x: f32) -> [u8; 4] {
    x.to_be_bytes()
}

fn at(degc: f64) -> Rig {
    let mut config = DeviceConfig::temperature(R7);
    config.transmitter().process_temperature_degc = degc;
    Rig::with(config, None).warm()
}

fn write(rig: &mut Rig, command: u8, data: &[u8]) {
    let reply = rig.ask(PRIMARY, command, data);
    assert_eq!((reply.status[0], &reply.data[..]), (0, data), "command {command}");
}

/// [DV-31]: a window of 5 K. PV becomes not-a-number, which is told once, and a number again, which is told once; then the
/// window is as it was: 23 °C are not away from 20, 26 are.
#[test]
fn a_window_and_a_broken_sensor() {
    let mut rig = at(20.0);
    write(&mut rig, 104, &[&[0, 1, 64, CELSIUS][..], &f(5.0)].concat());
    // 1 s, at the longest an hour.
    write(&mut rig, 103, &[&[0][..], &32_000u32.to_be_bytes(), &(3600 * 32_000u32).to_be_bytes()].concat());
    write(&mut rig, 109, &[1, 0]);
    let mut sent = |what: &dyn Fn(&mut Rig)| {
        rig.bursts.clear();
        what(&mut rig);
        rig.wait(Duration::from_secs(10));
        rig.bursts.iter().map(|b| b.data[1..].to_vec()).collect::<Vec<_>>()
    };
    sent(&|_| {});
    assert_eq!(sent(&|_| {}), NOTHING);
    assert_eq!(sent(&|rig| rig.device.set_sensor_broken(rig.now, true)), [[0x7F, 0xA0, 0, 0]]);
    assert_eq!(sent(&|_| {}), NOTHING);
    assert_eq!(sent(&|rig| rig.device.set_sensor_broken(rig.now, false)), [f(20.0)]);
    assert_eq!(sent(&|rig| rig.device.set_process_temperature_degc(rig.now, 23.0)), NOTHING);
    assert_eq!(sent(&|rig| rig.device.set_process_temperature_degc(rig.now, 26.0)), [f(26.0)]);
}

/// [UN-04]: °C + 273.15 = K; °C · 1.8 + 32 = °F; (°C + 273.15) · 1.8 = °R; here in doubles, cut to the single nearest.
fn in_each_unit(degc: f64) -> [(u8, f32); 4] {
    [
        (CELSIUS, degc as f32),
        (FAHRENHEIT, (degc * 1.8 + 32.0) as f32),
        (RANKINE, ((degc + 273.15) * 1.8) as f32),
        (KELVIN, (degc + 273.15) as f32),
    ]
}

/// [CM-082]: a point at the limit that command 81 tells is taken in every unit, 100 °C as 212 °F, 671.67 °R and 373.15 K;
/// a tenth beyond it is not: 3 or 4. What is stored is an image that the device takes.
#[test]
fn trim_points_at_their_limits() {
    for (which, degc, beyond) in [(1, -200.0, -0.1), (1, 100.0, 0.1), (2, 100.0, -0.1), (2, 850.0, 0.1)] {
        for (unit, value) in in_each_unit(degc) {
            let mut rig = at(degc);
            let point = |value: f32| [&[0, which, unit][..], &f(value)].concat();
            write(&mut rig, 82, &point(value));
            let image = rig.device.take_image().unwrap();
            assert_eq!(looprig::device::decode_image(&image).as_ref(), Ok(rig.device.stored()));
            let refused = rig.ask(PRIMARY, 82, &point(value + beyond)).status[0];
            assert_eq!(refused, if beyond > 0.0 { 3 } else { 4 }, "{which} {unit} {value}");
        }
    }
}

/// [CM-035] [DV-61]: a span of exactly 10 K is not too small, in whichever unit it is written and PV is told; one of 9.99 K
/// is: warning 14.
#[test]
fn a_span_of_just_the_least() {
    for (lower, span, code) in [
        (-166.0, 10.0, 0),
        (0.0, 10.0, 0),
        (0.1, 10.0, 0),
        (333.3, 10.0, 0),
        (840.0, 10.0, 0),
        (333.3, 9.99, 14),
    ] {
        for told in [CELSIUS, FAHRENHEIT, RANKINE, KELVIN] {
            let mut rig = at(20.0);
            assert_eq!(rig.ask(PRIMARY, 44, &[told]).status[0], 0);
            for ((unit, low), (_, high)) in in_each_unit(lower).into_iter().zip(in_each_unit(lower + span)) {
                let data = [&[unit][..], &f(high), &f(low)].concat();
                let reply = rig.ask(PRIMARY, 35, &data);
                assert_eq!((reply.status[0], reply.data), (code, data), "{lower} in {unit}, told in {told}");
            }
        }
    }
}
