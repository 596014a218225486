//! A temperature transmitter: what it is and measures, its range with its unit, its loop current [DV-61]. Lists of codes of
//! 36, 37, 40, 44 to 46 are from memory; alarm currents are common practice, no source.

use super::rig::{BOTH, PRIMARY, REVISIONS, Rig, SECONDARY};
use looprig::app::command::Revision;
use looprig::device::{DeviceConfig, KindName, Restored, Stored, decode_image, encode_image};
use std::time::Duration;

const R5: Revision = Revision::R5;
const R7: Revision = Revision::R7;

const NOT_A_NUMBER: [u8; 4] = [0x7F, 0xA0, 0x00, 0x00];
/// Units [UN-01].
const CELSIUS: u8 = 32;
const FAHRENHEIT: u8 = 33;
const RANKINE: u8 = 34;
const KELVIN: u8 = 35;

/// A single, most significant octet first [TY-02].
fn f(x: f32) -> [u8; 4] {
    x.to_be_bytes()
}

fn float(octets: &[u8]) -> f32 {
    f32::from_be_bytes(octets.try_into().expect("four octets"))
}

fn at(revision: Revision, degc: f64) -> Rig {
    let mut config = DeviceConfig::temperature(revision);
    config.transmitter().process_temperature_degc = degc;
    Rig::with(config, None).warm()
}

fn range(unit: u8, upper: f32, lower: f32) -> Vec<u8> {
    [&[unit][..], &f(upper), &f(lower)].concat()
}

fn refused(rig: &mut Rig, command: u8, data: &[u8], code: u8) {
    let before = rig.device.stored().clone();
    let reply = rig.ask(PRIMARY, command, data);
    assert_eq!((reply.status[0], reply.data.len()), (code, 0), "command {command}, {data:02X?}");
    assert_eq!(rig.device.stored(), &before, "command {command}");
}

fn current(rig: &mut Rig) -> f32 {
    float(&rig.ask(PRIMARY, 2, &[]).data[..4])
}

/// [CM-000] [FR-06]: 253 is FD, cut to six bits 3D; the device types are 52, 62 and FD72. Octet 13 is the last device
/// variable, 1.
#[test]
fn who_it_is() {
    for revision in REVISIONS {
        let mut rig = at(revision, 20.0);
        assert_eq!(rig.device.kind(), KindName::Temperature);
        let kind = match revision {
            Revision::R5 => 0x52,
            Revision::R6 => 0x62,
            R7 => 0x72,
        };
        assert_eq!(rig.device.unique_address().octets(), [0x3D, kind, 0x00, 0x31, 0x04]);
        let data = rig.ask(PRIMARY, 0, &[]).data;
        assert_eq!(data[1..3], [0xFD, kind]);
        if revision > R5 {
            assert_eq!(data[13], 1);
        }
        assert!(rig.device.travel_percent(rig.now).is_nan());
    }
}

/// 50 °C of 0 to 100 °C is 50 %, 4 + 16 · 0.5 = 12 mA. Command 3 ends behind SV: 4 + 2 · 5 = 14 octets [CM-003]; 61 and 110,
/// whose answers do not end before, have unit 250 and not-a-number.
#[test]
fn what_it_measures() {
    for revision in REVISIONS {
        let mut rig = at(revision, 50.0);
        assert_eq!(rig.ask(PRIMARY, 1, &[]).data, [&[CELSIUS][..], &f(50.0)].concat());
        assert_eq!(rig.ask(PRIMARY, 2, &[]).data, [f(12.0), f(50.0)].concat());
        let two = [&[CELSIUS][..], &f(50.0), &[CELSIUS], &f(20.0)].concat();
        let none = [&[250][..], &NOT_A_NUMBER].concat();
        assert_eq!(rig.ask(PRIMARY, 3, &[]).data, [&f(12.0)[..], &two].concat());
        assert_eq!(rig.ask(PRIMARY, 110, &[]).data, [&two[..], &none, &none].concat());
        assert_eq!(rig.ask(PRIMARY, 61, &[]).data, [&[39][..], &f(12.0), &two, &none, &none].concat());
        // [CM-033]: TV, and variable 2, are none of its.
        let slots = [&[248, 250][..], &NOT_A_NUMBER, &[2, 250], &NOT_A_NUMBER, &[247, CELSIUS], &f(20.0)];
        assert_eq!(rig.ask(PRIMARY, 33, &[248, 2, 247]).data, slots.concat());
        // [CM-050]: 250 for what is not there.
        assert_eq!(rig.ask(PRIMARY, 50, &[]).data, [0, 1, 250, 250]);
        if revision > R5 {
            // Temperature is class 64 [TB-08].
            assert_eq!(rig.ask(PRIMARY, 8, &[]).data, [64, 64, 250, 250]);
            // Class 0, unit 250, status 30 for a variable that is not there [TY-08].
            let data = rig.ask(PRIMARY, 9, &[0, 249]).data;
            assert_eq!(data[1..9], [&[0, 64, CELSIUS][..], &f(50.0), &[0xC0]].concat());
            assert_eq!(data[9..17], [&[249, 0, 250][..], &NOT_A_NUMBER, &[0x30]].concat());
        }
    }
}

/// [CM-014] [CM-054]: −200 to 850 °C, least span 10 K; in °F −200 · 1.8 + 32 = −328 and 850 · 1.8 + 32 = 1562, a span
/// of 10 · 1.8 = 18, without the offset.
#[test]
fn limits_are_told_in_the_unit_of_pv() {
    for revision in REVISIONS {
        let mut rig = at(revision, 20.0);
        let told = |rig: &mut Rig| rig.ask(PRIMARY, 14, &[]).data[3..].to_vec();
        assert_eq!(told(&mut rig), [&[CELSIUS][..], &f(850.0), &f(-200.0), &f(10.0)].concat());
        assert_eq!(rig.ask(PRIMARY, 44, &[FAHRENHEIT]).data, [FAHRENHEIT]);
        let limits = told(&mut rig);
        assert_eq!(limits[0], FAHRENHEIT);
        for (i, want) in [1562.0, -328.0, 18.0].into_iter().enumerate() {
            assert!((float(&limits[1 + 4 * i..][..4]) - want).abs() < 1e-3, "{want}");
        }
        let about = rig.ask(PRIMARY, 54, &[0]).data;
        assert_eq!(about[4], FAHRENHEIT);
        assert!((float(&about[5..9]) - 1562.0).abs() < 1e-3);
        if revision > R5 {
            assert!((float(&about[17..21]) - 18.0).abs() < 1e-3);
            // Class 64, family 4; no input, no simulation.
            assert_eq!((about[21], about[22]), (64, 4));
        }
        if revision == R7 {
            assert_eq!(about[27], 0);
        }
    }
}

/// [CM-015] [TB-10] [TB-01]: the channel is an output, flags 0, and its alarm high, 0, or low, 1. The range goes with the
/// unit: 0 to 100 °C is 32 to 212 °F, 491.67 to 671.67 °R, 273.15 to 373.15 K [UN-04]; the current stays at 20 °C,
/// 20 %, 4 + 16 · 0.2 = 7.2 mA.
#[test]
fn the_range_goes_with_the_unit() {
    for revision in REVISIONS {
        let mut rig = at(revision, 20.0);
        let data = rig.ask(PRIMARY, 15, &[]).data;
        assert_eq!(data[..11], [&[0, 0, CELSIUS][..], &f(100.0), &f(0.0)].concat());
        assert_eq!(data.get(17).copied().unwrap_or(0), 0);
        for (unit, upper, lower, pv) in [
            (FAHRENHEIT, 212.0, 32.0, 68.0),
            (RANKINE, 671.67, 491.67, 527.67),
            (KELVIN, 373.15, 273.15, 293.15),
            (CELSIUS, 100.0, 0.0, 20.0),
        ] {
            // 44 and 53 do the same.
            match unit {
                RANKINE => assert_eq!(rig.ask(PRIMARY, 53, &[0, unit]).status[0], 0),
                _ => assert_eq!(rig.ask(PRIMARY, 44, &[unit]).status[0], 0),
            }
            let data = rig.ask(PRIMARY, 15, &[]).data;
            assert_eq!(data[2], unit);
            assert!((float(&data[3..7]) - upper).abs() < 1e-3, "{unit}");
            assert!((float(&data[7..11]) - lower).abs() < 1e-3, "{unit}");
            assert_eq!(rig.ask(PRIMARY, 63, &[0]).data[1..11], data[..10]);
            let told = rig.ask(PRIMARY, 1, &[]).data;
            assert!((float(&told[1..]) - pv).abs() < 1e-3, "{unit}");
            assert!((current(&mut rig) - 7.2).abs() < 1e-4);
            let image = rig.device.take_image().unwrap();
            assert_eq!(&decode_image(&image).unwrap(), rig.device.stored());
        }
        // Millibar is no temperature.
        refused(&mut rig, 44, &[8], 2);
        refused(&mut rig, 53, &[0, 8], 12);
        refused(&mut rig, 53, &[2, CELSIUS], 11);
    }
}

/// Limits of the sensor as range, in every unit and back: singles are rounded, but the range stays one that the device
/// takes.
#[test]
fn a_range_at_the_limits_stays_within_them() {
    let mut rig = at(R7, 20.0);
    assert_eq!(rig.ask(PRIMARY, 35, &range(CELSIUS, 850.0, -200.0)).status[0], 0);
    // From each unit to each other.
    for unit in [
        FAHRENHEIT, CELSIUS, RANKINE, CELSIUS, KELVIN, FAHRENHEIT, RANKINE, FAHRENHEIT, KELVIN, RANKINE,
        KELVIN, CELSIUS,
    ] {
        assert_eq!(rig.ask(PRIMARY, 44, &[unit]).status[0], 0);
        let image = rig.device.take_image().unwrap();
        assert_eq!(decode_image(&image).as_ref(), Ok(rig.device.stored()));
    }
    // 0 and 0.000001 °C are one single in kelvin: steps there are 2^-15 = 0.00003, and 273.15 is 0.2 of one above the
    // nearest.
    assert_eq!(rig.ask(PRIMARY, 35, &range(CELSIUS, 0.000_001, 0.0)).status[0], 14);
    refused(&mut rig, 44, &[KELVIN], 2);
    refused(&mut rig, 53, &[0, KELVIN], 12);
}

/// [CM-035]: 50 to 150 °C; 75 °C is 25 %, 8 mA. In °F 122 to 302, echoed as written and told in the unit of PV.
#[test]
fn range_values() {
    for revision in REVISIONS {
        let mut rig = at(revision, 75.0);
        let data = range(CELSIUS, 150.0, 50.0);
        let reply = rig.ask(PRIMARY, 35, &data);
        assert_eq!((reply.status, reply.data), ([0, 0x40], data.clone()));
        assert_eq!(rig.ask(PRIMARY, 15, &[]).data[2..11], data);
        assert_eq!(rig.ask(PRIMARY, 2, &[]).data, [f(8.0), f(25.0)].concat());
        let other = range(FAHRENHEIT, 302.0, 122.0);
        assert_eq!(rig.ask(PRIMARY, 35, &other).data, other);
        assert_eq!(rig.ask(PRIMARY, 15, &[]).data[2..11], data);
        // 1562 °F is the upper limit, −328 °F the lower one.
        refused(&mut rig, 35, &range(FAHRENHEIT, 1563.0, 32.0), 11);
        refused(&mut rig, 35, &range(FAHRENHEIT, 32.0, -329.0), 10);
        refused(&mut rig, 35, &range(8, 150.0, 50.0), if revision == R7 { 18 } else { 28 });
        assert_eq!(rig.ask(PRIMARY, 35, &range(FAHRENHEIT, 1562.0, -328.0)).status[0], 0);
        // Less than 10 K: a warning. 18 °F are 10 K.
        assert_eq!(rig.ask(PRIMARY, 35, &range(CELSIUS, 59.5, 50.0)).status[0], 14);
        assert_eq!(rig.ask(PRIMARY, 35, &range(FAHRENHEIT, 50.5, 32.0)).status[0], 0);
    }
}

/// Saturated below 3.8 and above 20.5 mA: −1.25 % and 103.125 %. At −2 °C percent of range is −2 and the current
/// 3.8 mA; at 104 °C 104 % and 20.5 mA. The bit is mask 04 [ST-02], the status low 10 or high 20 [TY-08].
#[test]
fn the_current_saturates() {
    for (degc, ma, status) in [(-2.0, 3.8, 0xD0), (104.0, 20.5, 0xE0), (103.0, 20.48, 0xC0)] {
        let mut rig = at(R7, degc);
        let reply = rig.ask(PRIMARY, 2, &[]);
        assert!((float(&reply.data[..4]) - ma).abs() < 1e-4, "{degc}");
        assert!((float(&reply.data[4..]) - degc as f32).abs() < 1e-4);
        assert_eq!(reply.status[1] & 0x0F, if status == 0xC0 { 0 } else { 0x04 });
        assert_eq!(rig.ask(PRIMARY, 9, &[245]).data[8], status);
        // Command 48: channel 1 saturated.
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data[10], u8::from(status != 0xC0));
    }
}

/// Saturation is that of the current, so behind the damping: with 10 s the current has left 7.2 mA a second after a step
/// from 20 to 220 °C by 16 · 200/100 · (1 − e^−0.1) = 3.045 mA, and is saturated a minute later, which is told as something
/// new, mask 10 [ST-07].
#[test]
fn a_damped_current_saturates_later() {
    let mut rig = at(R7, 20.0);
    assert_eq!(rig.ask(PRIMARY, 34, &f(10.0)).status[0], 0);
    let start = rig.now;
    rig.device.set_process_temperature_degc(start, 220.0);
    let sent = rig.device.sent_current_ma(start + Duration::from_secs(1)).unwrap();
    assert!((sent - 10.245).abs() < 1e-3, "{sent}");
    assert_eq!(rig.ask(PRIMARY, 2, &[]).status[1], 0x40);
    rig.wait(Duration::from_secs(60));
    let reply = rig.ask(PRIMARY, 2, &[]);
    assert_eq!((reply.status[1], &reply.data[..4]), (0x54, &f(20.5)[..]));
}

/// Outside −200 to 850 °C the primary variable is out of limits, mask 01, and the device out of specification [ST-05].
#[test]
fn out_of_limits() {
    for (degc, is_out, limited) in [(851.0, true, 0xE0), (-201.0, true, 0xD0), (850.0, false, 0xC0)] {
        let mut rig = at(R7, degc);
        let reply = rig.ask(PRIMARY, 9, &[0]);
        assert_eq!(reply.status[1] & 0x01, u8::from(is_out));
        assert_eq!((reply.data[0], reply.data[8]), (if is_out { 0x10 } else { 0 }, limited));
    }
    let mut config = DeviceConfig::temperature(R7);
    // The electronics bear −40 to 85 °C: another variable is out of limits, mask 02.
    config.transmitter().ambient_temperature_degc = 86.0;
    let reply = Rig::with(config, None).ask(PRIMARY, 9, &[1]);
    assert_eq!((reply.status[1] & 0x03, reply.data[8]), (0x02, 0xE0));
    // What a broken sensor would say is nothing that could be out of limits.
    let mut rig = at(R7, 851.0);
    rig.device.set_sensor_broken(rig.now, true);
    assert_eq!(rig.ask(PRIMARY, 1, &[]).status[1] & 0x03, 0);
}

/// [CM-034] [DV-13]: with a damping of 2 s 1 − 1/e = 63.212 % of a step are told after 2 s: of 20 to 120 °C 83.21 °C;
/// the current follows.
#[test]
fn damping() {
    let mut rig = at(R7, 20.0);
    assert_eq!(rig.ask(PRIMARY, 34, &f(2.0)).data, f(2.0));
    assert_eq!(rig.ask(PRIMARY, 35, &range(CELSIUS, 200.0, 0.0)).status[0], 0);
    let start = rig.now;
    rig.device.set_process_temperature_degc(start, 120.0);
    let ma = |rig: &Rig, ms: u64| rig.device.sent_current_ma(start + Duration::from_millis(ms)).unwrap();
    // 83.2121 of 200 °C are 41.6060 %, 4 + 16 · 0.416060 = 10.65697 mA.
    assert!((ma(&rig, 2000) - 10.656_97).abs() < 1e-4);
    assert!((ma(&rig, 0) - 5.6).abs() < 1e-9);
    refused(&mut rig, 34, &f(61.0), 3);
    refused(&mut rig, 55, &[&[1][..], &f(1.0)].concat(), 2);
    assert_eq!(rig.ask(PRIMARY, 55, &[&[0][..], &f(1.0)].concat()).status[0], 0);
    assert_eq!(rig.ask(PRIMARY, 64, &[&[0][..], &f(0.0)].concat()).status[0], 0);
}

/// [CM-036] [CM-037], their codes from memory: the temperature becomes an end of the range, in the unit of PV. 80 °C as
/// upper one of 0 to 100: 20 mA. 4 °C, nearer than 10 K to 0, is too low for it.
#[test]
fn the_applied_process() {
    for revision in REVISIONS {
        let mut rig = at(revision, 80.0);
        assert_eq!(rig.ask(PRIMARY, 36, &[]).status, [0, 0x40]);
        assert_eq!(rig.ask(PRIMARY, 15, &[]).data[2..11], range(CELSIUS, 80.0, 0.0));
        assert_eq!(current(&mut rig), 20.0);
        rig.device.set_process_temperature_degc(rig.now, 30.0);
        assert_eq!(rig.ask(PRIMARY, 37, &[]).status[0], 0);
        assert_eq!(rig.ask(PRIMARY, 15, &[]).data[2..11], range(CELSIUS, 80.0, 30.0));
        assert_eq!(current(&mut rig), 4.0);
        rig.device.set_process_temperature_degc(rig.now, 34.0);
        refused(&mut rig, 36, &[], 10);
        rig.device.set_process_temperature_degc(rig.now, 79.0);
        refused(&mut rig, 37, &[], 9);
        rig.device.set_process_temperature_degc(rig.now, 851.0);
        refused(&mut rig, 36, &[], 9);
        rig.device.set_sensor_broken(rig.now, true);
        refused(&mut rig, 36, &[], 6);
        rig.ask(PRIMARY, 6, if revision == R5 { &[1] } else { &[0, 0] });
        refused(&mut rig, 37, &[], 11);
    }
}

/// A broken sensor: current 21.75 or 3.6 mA (common practice, no source), PV and percent not-a-number with status bad,
/// 00 [TY-08], device malfunction, 80 [ST-02], failure, 08 [ST-05]; more status available, 10.
#[test]
fn a_broken_sensor() {
    for (is_low, ma) in [(false, 21.75), (true, 3.6)] {
        let mut config = DeviceConfig::temperature(R7);
        config.transmitter().alarm_is_low = is_low;
        let mut rig = Rig::with(config, None).warm();
        assert_eq!(rig.ask(PRIMARY, 15, &[]).data[0], u8::from(is_low));
        assert_eq!(rig.ask(PRIMARY, 1, &[]).status[1], 0);
        rig.device.set_sensor_broken(rig.now, true);
        let reply = rig.ask(PRIMARY, 2, &[]);
        assert_eq!((reply.status[1], reply.data), (0x90, [f(ma), NOT_A_NUMBER].concat()));
        let data = rig.ask(SECONDARY, 9, &[0, 244]).data;
        assert_eq!(data[..9], [&[0x08, 0, 64, CELSIUS][..], &NOT_A_NUMBER, &[0x00]].concat());
        assert_eq!(data[9..17], [&[244, 0, 57][..], &NOT_A_NUMBER, &[0x00]].concat());
        // The first octet of the device's own tells it; not saturated.
        let status = rig.ask(PRIMARY, 48, &[]).data;
        assert_eq!((status[0], status[6], status[8], status[10]), (0x01, 0x08, 0, 0));
        assert_eq!(rig.ask(PRIMARY, 48, &status).status[1], 0x80);
        rig.device.set_sensor_broken(rig.now, false);
        let reply = rig.ask(PRIMARY, 2, &[]);
        assert_eq!((reply.status[1], reply.data), (0x10, [f(7.2), f(20.0)].concat()));
    }
    // Revision 5: the fifth octet of command 48.
    let mut config = DeviceConfig::temperature(R5);
    config.transmitter().sensor_broken = true;
    assert_eq!(Rig::with(config, None).ask(PRIMARY, 48, &[]).data, [0, 0, 0, 0x08, 0x01, 0]);
}

/// [CM-040] [CM-066], codes of 40 from memory: 12 mA = 41 40 00 00 stays whatever the process does, mask 08; PV and
/// percent go on; 0 lets it go. Least 3.6, most 21.75 mA.
#[test]
fn a_fixed_current() {
    for revision in REVISIONS {
        let mut rig = at(revision, 20.0);
        let reply = rig.ask(PRIMARY, 40, &[0x41, 0x40, 0, 0]);
        // Command 48 says something new: mask 10, too [ST-07].
        assert_eq!((reply.status, &reply.data[..]), ([0, 0x18], &[0x41, 0x40, 0, 0][..]));
        rig.device.set_process_temperature_degc(rig.now, 104.0);
        let reply = rig.ask(PRIMARY, 2, &[]);
        assert_eq!((reply.status[1] & 0x0F, reply.data), (0x08, [f(12.0), f(104.0)].concat()));
        assert_eq!(rig.device.sent_current_ma(rig.now), Some(12.0));
        if revision > R5 {
            // Channel 1 fixed; the status of the current is manual and constant, B0.
            assert_eq!(rig.ask(PRIMARY, 48, &[]).data[13], 1);
            assert_eq!(rig.ask(PRIMARY, 9, &[245]).data[8], 0xB0);
        }
        for (ma, code) in [(3.5, 4), (-1.0, 4), (21.8, 3), (f32::NAN, 3), (f32::INFINITY, 3)] {
            refused(&mut rig, 40, &f(ma), code);
            refused(&mut rig, 66, &[&[0, 39][..], &f(ma)].concat(), code);
        }
        refused(&mut rig, 40, &f(12.0)[..3], 5);
        // A broken sensor does not move it.
        rig.device.set_sensor_broken(rig.now, true);
        assert_eq!(current(&mut rig), 12.0);
        rig.device.set_sensor_broken(rig.now, false);
        assert_eq!(rig.ask(PRIMARY, 40, &f(0.0)).status[1] & 0x08, 0);
        assert_eq!(current(&mut rig), 20.5);
        let echo = [&[0, 39][..], &f(3.6)].concat();
        assert_eq!(rig.ask(PRIMARY, 66, &echo).data, echo);
        assert_eq!(current(&mut rig), 3.6);
        refused(&mut rig, 66, &[&[1, 39][..], &f(4.0)].concat(), 15);
        refused(&mut rig, 66, &[&[0, 57][..], &f(4.0)].concat(), 12);
        // A reset ends it, and so does a loop current mode that is disabled.
        rig.ask(PRIMARY, 42, &[]);
        assert_eq!(current(&mut rig), 20.5);
        rig.ask(PRIMARY, 40, &f(10.0));
        rig.ask(PRIMARY, 6, if revision == R5 { &[1] } else { &[0, 0] });
        assert_eq!(current(&mut rig), 4.0);
        refused(&mut rig, 40, &f(10.0), 11);
        refused(&mut rig, 66, &[&[0, 39][..], &f(10.0)].concat(), 11);
        assert_eq!(rig.ask(PRIMARY, 2, &[]).status[1] & 0x0C, 0x08);
        rig.ask(PRIMARY, 6, if revision == R5 { &[0] } else { &[0, 1] });
        assert_eq!(current(&mut rig), 20.5);
        rig.device.set_write_protected(true);
        refused(&mut rig, 40, &f(10.0), 7);
    }
}

/// [CM-045] [CM-046] [CM-067] [CM-068], codes of 45, 46 and 68 from memory: 0.25 mA too much flow, which the device cannot
/// see. Told that 4.25 mA flow where it sends 4, and 20.25 where it sends 20, it takes 0.25 mA away.
#[test]
fn trims_of_the_output() {
    for (zero, gain, head) in [(45, 46, &[][..]), (67, 68, &[0, 39][..])] {
        let mut config = DeviceConfig::temperature(R7);
        config.transmitter().output_error_ma = 0.25;
        let mut rig = Rig::with(config, None).warm();
        let data = |ma: f32| [head, &f(ma)].concat();
        let sent = |rig: &Rig| rig.device.sent_current_ma(rig.now).unwrap();
        // 7.2 are meant, 7.45 flow.
        assert!((sent(&rig) - 7.45).abs() < 1e-9);
        refused(&mut rig, zero, &data(4.25), 9);
        rig.ask(PRIMARY, 40, &f(20.0));
        refused(&mut rig, zero, &data(4.25), 9);
        assert_eq!(sent(&rig), 20.25);
        let reply = rig.ask(PRIMARY, gain, &data(20.25));
        assert_eq!((reply.status, reply.data), ([0, 0x58], data(20.25)));
        assert_eq!(sent(&rig), 20.0);
        // At 4 mA all of the error is left, at 12 mA half of it.
        rig.ask(PRIMARY, 40, &f(12.0));
        assert_eq!(sent(&rig), 12.125);
        rig.ask(PRIMARY, 40, &f(4.0));
        assert_eq!(sent(&rig), 4.25);
        refused(&mut rig, gain, &data(20.0), 9);
        assert_eq!(rig.ask(PRIMARY, zero, &data(4.25)).status[0], 0);
        assert_eq!((sent(&rig), current(&mut rig)), (4.0, 4.0));
        // At most 1 mA in all: 4.25 + 0.875 would take 1.125 away.
        for (measured, code) in [(4.875, 3), (f32::NAN, 3), (2.5, 4), (f32::NEG_INFINITY, 4)] {
            refused(&mut rig, zero, &data(measured), code);
        }
        // It is stored.
        let image = rig.device.take_image().unwrap();
        let mut config = DeviceConfig::temperature(R7);
        config.transmitter().output_error_ma = 0.25;
        let again = Rig::with(config, Some(&image));
        assert_eq!(again.restored, Restored::Kept);
        assert!((sent(&again) - 7.2).abs() < 1e-9);
    }
}

/// [CM-082] [CM-080] [CM-083] [CM-052]: 95 °C are sensed where there are 100: the upper point. With the lower one where
/// it was, at −200, 20 °C become −200 + 220 · 300/295 = 23.7288 °C. In °F a difference of 50 K is 90, without the offset.
#[test]
fn trims_of_the_temperature() {
    for revision in [Revision::R6, R7] {
        let mut rig = at(revision, 95.0);
        let point = |which: u8, unit: u8, value: f32| [&[0, which, unit][..], &f(value)].concat();
        assert_eq!(rig.ask(PRIMARY, 82, &point(2, CELSIUS, 100.0)).status, [0, 0x40]);
        assert_eq!(rig.ask(PRIMARY, 1, &[]).data[1..], f(100.0));
        assert_eq!(rig.ask(PRIMARY, 80, &[0]).data, [&[0, CELSIUS][..], &f(-200.0), &f(100.0)].concat());
        rig.device.set_process_temperature_degc(rig.now, 20.0);
        assert!((float(&rig.ask(PRIMARY, 1, &[]).data[1..]) - 23.7288).abs() < 1e-3);
        // More than 10 K, and a point on the wrong side of 100 °C.
        refused(&mut rig, 82, &point(1, CELSIUS, 31.0), 3);
        refused(&mut rig, 82, &point(1, CELSIUS, 9.0), 4);
        refused(&mut rig, 82, &point(2, CELSIUS, 25.0), 4);
        // 68 °F are 20 °C.
        assert_eq!(rig.ask(PRIMARY, 82, &point(1, FAHRENHEIT, 68.0)).status[0], 0);
        assert!((float(&rig.ask(PRIMARY, 1, &[]).data[1..]) - 20.0).abs() < 1e-4);
        assert_eq!(rig.ask(PRIMARY, 44, &[FAHRENHEIT]).status[0], 0);
        let limits = rig.ask(PRIMARY, 81, &[0]).data;
        assert_eq!(limits[..3], [0, 3, FAHRENHEIT]);
        for (i, want) in [-328.0, 212.0, 212.0, 1562.0, 90.0].into_iter().enumerate() {
            assert!((float(&limits[3 + 4 * i..][..4]) - want).abs() < 1e-2, "{want}");
        }
        assert_eq!(rig.ask(PRIMARY, 83, &[0]).data, [0]);
        // No variable has a trim but this one.
        refused(&mut rig, 83, &[1], 2);
        rig.device.set_process_temperature_degc(rig.now, 11.0);
        refused(&mut rig, 52, &[0], 9);
        rig.device.set_process_temperature_degc(rig.now, -11.0);
        refused(&mut rig, 52, &[0], 10);
        rig.device.set_process_temperature_degc(rig.now, 4.0);
        assert_eq!(rig.ask(PRIMARY, 52, &[0]).data, [0]);
        assert!((float(&rig.ask(PRIMARY, 1, &[]).data[1..]) - 32.0).abs() < 1e-4);
        rig.device.set_sensor_broken(rig.now, true);
        refused(&mut rig, 82, &point(1, CELSIUS, 4.0), 6);
        refused(&mut rig, 52, &[0], 6);
    }
}

/// [CM-051] [CM-079]: SV may be either variable, there is no TV; a simulated PV, 140 °F = 60 °C, is followed by the current,
/// 4 + 16 · 0.6 = 13.6 mA, also past a broken sensor.
#[test]
fn assignment_and_simulation() {
    let mut rig = at(R7, 20.0);
    assert_eq!(rig.ask(PRIMARY, 51, &[0, 0]).data, [0, 0, 250, 250]);
    assert_eq!(rig.ask(PRIMARY, 3, &[]).data.len(), 14);
    for data in [&[1][..], &[0, 2], &[0, 250], &[0, 1, 0, 250], &[0, 1, 250, 1]] {
        refused(&mut rig, 51, data, 2);
    }
    let simulated = [&[0, 1, FAHRENHEIT][..], &f(140.0), &[0xC0]].concat();
    rig.device.set_sensor_broken(rig.now, true);
    assert_eq!(rig.ask(PRIMARY, 79, &simulated).data, simulated);
    assert!((current(&mut rig) - 13.6).abs() < 1e-4);
    assert!((float(&rig.ask(PRIMARY, 1, &[]).data[1..]) - 60.0).abs() < 1e-4);
    // 1563 °F are out of limits.
    let hot = [&[0, 1, FAHRENHEIT][..], &f(1563.0), &[0xC0]].concat();
    assert_eq!(rig.ask(PRIMARY, 79, &hot).status[1] & 0x05, 0x05);
    refused(&mut rig, 79, &[&[2, 1, CELSIUS][..], &f(1.0), &[0xC0]].concat(), 17);
}

/// [DV-16]: a loop current in which others make no current; what a positioner senses leaves it alone.
#[test]
fn what_is_not_its() {
    for revision in REVISIONS {
        let mut rig = at(revision, 20.0);
        rig.device.set_loop_current_ma(rig.now, 20.0);
        rig.device.set_supply_pressure_bar(0.0);
        assert_eq!(rig.ask(PRIMARY, 2, &[]).data, [f(7.2), f(20.0)].concat());
        for command in [43, 57, 58] {
            refused(&mut rig, command, &[0; 10], 64);
        }
    }
}

/// [DV-03]: what is stored comes back; the memory of another kind is corrupt for it, either way round.
#[test]
fn memory() {
    let mut rig = at(R7, 20.0);
    rig.ask(PRIMARY, 44, &[KELVIN]);
    let image = rig.device.take_image().unwrap();
    let mut again = Rig::with(DeviceConfig::temperature(R7), Some(&image));
    assert_eq!(again.restored, Restored::Kept);
    assert_eq!(again.ask(PRIMARY, 15, &[]).data[2], KELVIN);
    let other = Rig::with(DeviceConfig::new(R7), Some(&image));
    assert!(
        matches!(&other.restored, Restored::Corrupt(e) if e.to_string().contains("temperature transmitter"))
    );
    let positioner = encode_image(&Stored::default());
    let other = Rig::with(DeviceConfig::temperature(R7), Some(&positioner));
    assert!(matches!(&other.restored, Restored::Corrupt(e) if e.to_string().contains("a positioner")));
}

/// [DV-62]: at most 1 mA, and none where the current is an input: no command could have made it otherwise.
#[test]
fn a_trim_of_the_output_that_cannot_be() {
    for (kind, ma, fits) in [
        (KindName::Temperature, 1.0, true),
        (KindName::Temperature, -1.0, true),
        (KindName::Temperature, 1.001, false),
        (KindName::Temperature, f32::NAN, false),
        (KindName::Positioner, 0.5, false),
    ] {
        for at_20 in [false, true] {
            let config = DeviceConfig::of_kind(kind, R7);
            let mut stored = config.factory.clone();
            *(if at_20 { &mut stored.output_trim_ma.at_20_ma } else { &mut stored.output_trim_ma.at_4_ma }) =
                ma;
            assert_eq!(stored.check(&config).is_ok(), fits, "{kind:?} {ma}");
        }
    }
}

/// [DV-31]: rising above 86 °F, that is 30 °C, for PV, which is told in °C: a burst trigger goes by any kind's variables.
#[test]
fn a_burst_trigger_by_temperature() {
    let mut rig = at(R7, 20.0);
    let level = [&[0, 2, 64, FAHRENHEIT][..], &f(86.0)].concat();
    assert_eq!(rig.ask(PRIMARY, 104, &level).data, level);
    // Percent is no temperature: class 0 is not 64, and bar no unit of it.
    refused(&mut rig, 104, &[&[0, 2, 0, 57][..], &f(86.0)].concat(), 11);
    refused(&mut rig, 104, &[&[0, 2, 64, 7][..], &f(86.0)].concat(), 12);
    // 1 s, at the longest an hour.
    let periods = [&[0][..], &32_000u32.to_be_bytes(), &(3600 * 32_000u32).to_be_bytes()].concat();
    assert_eq!(rig.ask(PRIMARY, 103, &periods).status[0], 0);
    refused(&mut rig, 107, &[0, 2, 250, 250, 250, 250, 250, 250, 0], 2);
    assert_eq!(rig.ask(PRIMARY, 109, &[1, 0]).status[0], 0);
    rig.bursts.clear();
    rig.wait(Duration::from_secs(30));
    assert!(rig.bursts.is_empty(), "20 °C are not above 30");
    rig.device.set_process_temperature_degc(rig.now, 31.0);
    rig.wait(Duration::from_secs(10));
    assert!(rig.bursts.len() > 5, "{:?}", rig.bursts);
    assert!(rig.bursts.iter().all(|b| b.command == 1 && b.data == [&[CELSIUS][..], &f(31.0)].concat()));
}

/// In an image the kind is told by the word that bench files have for it.
#[test]
fn words_for_kinds() {
    for kind in KindName::ALL {
        let image = encode_image(&DeviceConfig::of_kind(kind, R7).factory);
        let text = String::from_utf8_lossy(&image).into_owned();
        assert!(text.contains(&format!("\"kind\":\"{}\"", kind.word())), "{text}");
    }
}

/// Both masters learn of a write, each for itself, as on any device [ST-09].
#[test]
fn a_write_is_told_to_both() {
    let mut rig = at(R7, 20.0);
    rig.ask(PRIMARY, 44, &[KELVIN]);
    for master in BOTH {
        assert_eq!(rig.ask(master, 1, &[]).status[1], 0x40);
    }
}
