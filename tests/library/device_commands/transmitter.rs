//! A temperature transmitter at its edges: limits in every unit, bursts and resets while something goes on [DV-61] [DV-62].

use super::rig::{PRIMARY, Rig};
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

/// A range of 0 to 200 °C, at 20.
fn damped(damping_s: f32) -> Rig {
    let mut rig = at(20.0);
    write(&mut rig, 34, &f(damping_s));
    write(&mut rig, 35, &[&[CELSIUS][..], &f(200.0), &f(0.0)].concat());
    rig
}

/// [DV-20] [DV-61]: 10 s after a step from 20 to 120 °C, damped by 10 s, 63.2121 of 100 K are told, whether the device was
/// reset on the way or not: 83.2121 of 200 °C, 4 + 16 · 0.416060 = 10.65697 mA. After a power cycle it is at 120 °C, 60 %,
/// 13.6 mA.
#[test]
fn a_reset_leaves_the_damping_alone() {
    let mut rig = damped(10.0);
    let start = rig.now;
    rig.device.set_process_temperature_degc(start, 120.0);
    let ma = |rig: &Rig, s: u64| rig.device.sent_current_ma(start + Duration::from_secs(s)).unwrap();
    assert_eq!(rig.ask(PRIMARY, 42, &[]).status[0], 0);
    // Cold start, mask 20 [ST-08]: it was reset.
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status[1] & 0x20, 0x20);
    assert!((ma(&rig, 10) - 10.656_97).abs() < 1e-4, "{}", ma(&rig, 10));
    rig.device.power_cycle(rig.now);
    assert!((ma(&rig, 10) - 13.6).abs() < 1e-9);
}

/// [ST-02] [ST-07]: a damped current that saturates while nobody asks is told by the bursts: mask 04, and 10 since command
/// 48 has something new.
#[test]
fn bursts_tell_what_comes_with_time() {
    let mut rig = damped(10.0);
    write(&mut rig, 109, &[1, 0]);
    rig.bursts.clear();
    rig.device.set_process_temperature_degc(rig.now, 400.0);
    rig.wait(Duration::from_secs(60));
    let told = |i: usize| rig.bursts[i].status[1] & 0x14;
    assert_eq!((told(0), told(rig.bursts.len() - 1)), (0, 0x14));
    assert!(rig.bursts.iter().all(|b| [0, 0x14].contains(&(b.status[1] & 0x14))), "{:?}", rig.bursts);
}

/// [CM-079] [TY-08]: percent and current are as good as the temperature that they follow: poor, 40; bad, 00; good, C0; with
/// limit bits of their own: 50 °C of 0 to 100 is within, at 104 °C the current is limited high, 20.
#[test]
fn status_of_what_follows_a_simulated_value() {
    let mut rig = at(20.0);
    rig.device.set_sensor_broken(rig.now, true);
    let simulate = |rig: &mut Rig, degc: f32, status: u8| {
        write(rig, 79, &[&[0, 1, CELSIUS][..], &f(degc), &[status]].concat());
        let data = rig.ask(PRIMARY, 9, &[244, 245]).data;
        (data[4..8].to_vec(), data[8], data[12..16].to_vec(), data[16])
    };
    for quality in [0x00, 0x40, 0x80, 0xC0] {
        let told = simulate(&mut rig, 50.0, quality);
        assert_eq!(told, (f(50.0).into(), quality, f(12.0).into(), quality));
        let told = simulate(&mut rig, 104.0, quality);
        assert_eq!(told, (f(104.0).into(), quality | 0x20, f(20.5).into(), quality | 0x20));
    }
    // 10^38 °C of 0 to 0.125 °C are 8 · 10^40 %, more than 3.4 · 10^38, the largest single.
    let tiny = [&[CELSIUS][..], &f(0.125), &f(0.0)].concat();
    assert_eq!(rig.ask(PRIMARY, 35, &tiny).status[0], 14);
    let told = simulate(&mut rig, 1e38, 0xC0);
    assert_eq!(told, (vec![0x7F, 0xA0, 0, 0], 0x00, f(20.5).into(), 0xE0));
}

/// [DV-61]: what a bench may set up, and nothing else: −273.15 to 2000 °C, ±1 mA.
#[test]
fn what_can_be_set_up() {
    let check = |process: f64, ambient: f64, error_ma: f64| {
        let mut config = DeviceConfig::temperature(R7);
        let own = config.transmitter();
        (own.process_temperature_degc, own.ambient_temperature_degc, own.output_error_ma) =
            (process, ambient, error_ma);
        config.check().map_err(|e| e.field)
    };
    assert_eq!((check(-273.15, 2000.0, -1.0), check(2000.0, -273.15, 1.0)), (Ok(()), Ok(())));
    for bad in [-273.16, 2000.1, f64::NAN, f64::INFINITY] {
        assert_eq!(check(bad, 20.0, 0.0), Err("process_temperature_degc"));
        assert_eq!(check(20.0, bad, 0.0), Err("ambient_temperature_degc"));
    }
    for bad in [-1.1, 1.1, f64::NAN] {
        assert_eq!(check(20.0, 20.0, bad), Err("output_error_ma"));
    }
}

/// [CM-054] [CM-070] [DV-62]: what 40 takes is what is told as limits, 3.6 and 21.75 mA; in percent (3.6 − 4)/16 = −2.5 and
/// (21.75 − 4)/16 = 110.9375.
#[test]
fn limits_of_the_output() {
    let mut rig = at(20.0);
    assert_eq!(rig.ask(PRIMARY, 70, &[0]).data[10..], [f(21.75), f(3.6)].concat());
    for (code, upper, lower) in [(245, 21.75, 3.6), (244, 110.9375, -2.5)] {
        let told = rig.ask(PRIMARY, 54, &[code]).data;
        assert_eq!(told[5..13], [f(upper), f(lower)].concat(), "{code}");
    }
    write(&mut rig, 40, &f(21.75));
    write(&mut rig, 40, &f(3.6));
}

/// [CM-035] [DV-61]: the limits of the sensor are taken as ends of the range in each unit, whatever PV is told in.
#[test]
fn a_range_at_the_limits_in_each_unit() {
    for told in [CELSIUS, FAHRENHEIT, RANKINE, KELVIN] {
        let mut rig = at(20.0);
        assert_eq!(rig.ask(PRIMARY, 44, &[told]).status[0], 0);
        for ((unit, low), (_, high)) in in_each_unit(-200.0).into_iter().zip(in_each_unit(850.0)) {
            let data = [&[unit][..], &f(high), &f(low)].concat();
            let reply = rig.ask(PRIMARY, 35, &data);
            assert_eq!((reply.status[0], reply.data), (0, data), "in {unit}, told in {told}");
        }
    }
}
