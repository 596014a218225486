//! Device variables: what is told of them, in which unit, which of them are the dynamic ones, their trims
//! [DV-19] [DV-22]. The lists of codes of 52 and 82 are from memory; 33, 49, 60, 62, 80, 81 and 83 have none, and answer by
//! patterns from memory [DV-28].

use super::rig::{PRIMARY, REVISIONS, Rig};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;

const R5: Revision = Revision::R5;
const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

const NOT_A_NUMBER: [u8; 4] = [0x7F, 0xA0, 0x00, 0x00];

/// A single, most significant octet first [TY-02].
fn f(x: f32) -> [u8; 4] {
    x.to_be_bytes()
}

fn float(octets: &[u8]) -> f32 {
    f32::from_be_bytes(octets.try_into().expect("four octets"))
}

fn refused(rig: &mut Rig, command: u8, data: &[u8], code: u8) {
    let before = rig.device.stored().clone();
    let reply = rig.ask(PRIMARY, command, data);
    assert_eq!((reply.status[0], reply.data.len()), (code, 0), "command {command}, {data:02X?}");
    assert_eq!(rig.device.stored(), &before, "command {command}");
}

/// [CM-033] [CM-110] [CM-060] [CM-061] [CM-062] [CM-070], the codes of 33, 60, 62 and 70 from memory
/// [DV-28]: at 12 mA, 50 % of range; the loop current is channel 0.
#[test]
fn other_ways_to_read() {
    for revision in REVISIONS {
        let mut config = DeviceConfig::new(revision);
        config.positioner().time_constant_s = 0.0;
        config.positioner().loop_current_ma = 12.0;
        let mut rig = Rig::with(config, None);
        let four = [&[57][..], &f(50.0), &[57], &f(50.0), &[143], &f(0.0), &[7], &f(4.0)].concat();
        assert_eq!(rig.ask(PRIMARY, 110, &[]).data, four);
        assert_eq!(rig.ask(PRIMARY, 61, &[]).data, [&[39][..], &f(12.0), &four].concat());
        assert_eq!(rig.ask(PRIMARY, 60, &[0]).data, [&[0, 39][..], &f(12.0), &f(50.0)].concat());
        let data = rig.ask(PRIMARY, 33, &[3, 246, 4, 245, 0]).data;
        let slots =
            [&[3, 7][..], &f(4.0), &[246, 57], &f(50.0), &[4, 250], &NOT_A_NUMBER, &[245, 39], &f(12.0)];
        assert_eq!(data, slots.concat());
        assert_eq!(
            rig.ask(PRIMARY, 62, &[0, 1]).data,
            [&[0, 39][..], &f(12.0), &[1, 250], &NOT_A_NUMBER].concat()
        );
        let ends = [&[0, 39][..], &f(20.0), &f(4.0)].concat();
        let limits = [f(20.5), f(3.8)].concat();
        let expected = if revision == R7 { [ends, limits].concat() } else { ends };
        assert_eq!(rig.ask(PRIMARY, 70, &[0]).data, expected);
        for command in [60, 63, 70] {
            refused(&mut rig, command, &[1], 2);
            refused(&mut rig, command, &[], 5);
        }
        refused(&mut rig, 33, &[251], 2);
        for command in [33, 62] {
            refused(&mut rig, command, &[], 5);
        }
    }
}

/// [CM-063]: 16 octets before revision 7, then the flags, of which 01 is "input" [TB-10].
#[test]
fn channel_information() {
    let shared = [&[0, 250, 0, 57][..], &f(100.0), &f(0.0), &f(0.0)].concat();
    for revision in [R5, R6] {
        assert_eq!(Rig::new(revision).ask(PRIMARY, 63, &[0]).data, shared);
    }
    assert_eq!(Rig::new(R7).ask(PRIMARY, 63, &[0]).data, [&shared[..], &[0x01]].concat());
}

/// [CM-054] [DV-19]: 3104 = 0C20; 100 ms are 3200 = 0C80 units.
#[test]
fn information() {
    let five = |code: u8, unit: u8, upper: f32, lower: f32| {
        [&[code, 0x00, 0x0C, 0x20, unit][..], &f(upper), &f(lower), &f(0.0)].concat()
    };
    let more =
        |span: [u8; 4], class: u8, family: u8| [&span[..], &[class, family, 0, 0, 0x0C, 0x80]].concat();
    let rows = [
        (0, five(0, 57, 105.0, -5.0), more(f(10.0), 0, 6), 0x01),
        (1, five(1, 57, 100.0, 0.0), more(NOT_A_NUMBER, 0, 6), 0x00),
        (2, five(2, 143, 30.0, -30.0), more(NOT_A_NUMBER, 86, 6), 0x00),
        (3, five(3, 7, 10.0, 0.0), more(NOT_A_NUMBER, 65, 5), 0x00),
        (249, five(249, 7, 10.0, 0.0), more(NOT_A_NUMBER, 65, 5), 0x00),
        (245, five(245, 39, 20.5, 3.8), more(NOT_A_NUMBER, 84, 250), 0x01),
    ];
    for (code, old, new, properties) in rows {
        assert_eq!(Rig::new(R5).ask(PRIMARY, 54, &[code]).data, old);
        assert_eq!(Rig::new(R6).ask(PRIMARY, 54, &[code]).data, [&old[..], &new].concat());
        let seven = [&old[..], &new, &[properties]].concat();
        assert_eq!(Rig::new(R7).ask(PRIMARY, 54, &[code]).data, seven, "variable {code}");
    }
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        for code in [4, 100, 243, 250, 255] {
            refused(&mut rig, 54, &[code], 2);
        }
        refused(&mut rig, 54, &[], 5);
    }
}

/// [CM-053] [UN-04]: 4 bar are 400 kPa = 1.5625·2⁸ = 43 C8 00 00; 180° are π rad, so −30° are −π/6.
#[test]
fn units() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        let reply = rig.ask(PRIMARY, 53, &[3, 12]);
        assert_eq!((reply.status, reply.data), ([0, 0x40], vec![3, 12]));
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data, [3, 12, 0x43, 0xC8, 0, 0]);
        let about = rig.ask(PRIMARY, 54, &[3]).data;
        assert_eq!((about[4], float(&about[5..9]), float(&about[9..13])), (12, 1000.0, 0.0));
        rig.ask(PRIMARY, 53, &[2, 144]);
        let angle = rig.ask(PRIMARY, 33, &[248]).data;
        assert_eq!(angle[..2], [248, 144]);
        assert!((float(&angle[2..]) + std::f32::consts::FRAC_PI_6).abs() < 1e-6);
        for (variable, unit) in [(0, 7), (1, 143), (2, 57), (3, 57), (3, 250), (3, 4)] {
            refused(&mut rig, 53, &[variable, unit], 12);
        }
        for variable in [4, 244, 246, 249, 255] {
            refused(&mut rig, 53, &[variable, 57], 11);
        }
        refused(&mut rig, 53, &[3], 5);
        // It is kept.
        let image = rig.device.take_image().expect("an image");
        let mut again = Rig::with(DeviceConfig::new(revision), Some(&image));
        assert_eq!(again.ask(PRIMARY, 33, &[3]).data, [3, 12, 0x43, 0xC8, 0, 0]);
    }
}

/// [CM-050] [CM-051]: all that command 3 and 247 to 249 tell goes with it; PV stays.
#[test]
fn assignments() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        assert_eq!(rig.ask(PRIMARY, 50, &[]).data, [0, 1, 2, 3]);
        let reply = rig.ask(PRIMARY, 51, &[0, 3, 1, 1]);
        assert_eq!((reply.status, reply.data), ([0, 0x40], vec![0, 3, 1, 1]));
        let data = rig.ask(PRIMARY, 3, &[]).data;
        assert_eq!(data[9..14], [&[7][..], &f(4.0)].concat());
        assert_eq!((data[14], data[19]), (57, 57));
        assert_eq!(rig.ask(PRIMARY, 33, &[247]).data, [&[247, 7][..], &f(4.0)].concat());
        if revision > R5 {
            assert_eq!(rig.ask(PRIMARY, 8, &[]).data, [0, 65, 0, 0]);
        }
        // Fewer octets: the others stay.
        assert_eq!(rig.ask(PRIMARY, 51, &[0, 2]).data, [0, 2, 1, 1]);
        assert_eq!(rig.ask(PRIMARY, 51, &[0]).data, [0, 2, 1, 1]);
        for wrong in [&[1][..], &[3, 1, 2, 0], &[0, 4], &[0, 1, 2, 250], &[246, 247, 248, 249]] {
            refused(&mut rig, 51, wrong, 2);
        }
        refused(&mut rig, 51, &[], 5);
    }
}

/// [CM-049] [CM-056] [CM-014]; code 5 of 49 is from memory [DV-28].
#[test]
fn serial_numbers() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        let reply = rig.ask(PRIMARY, 49, &[0x12, 0x34, 0x56]);
        assert_eq!((reply.status, reply.data), ([0, 0x40], vec![0x12, 0x34, 0x56]));
        assert_eq!(rig.ask(PRIMARY, 14, &[]).data[..3], [0x12, 0x34, 0x56]);
        assert_eq!(rig.ask(PRIMARY, 56, &[3, 0xFF, 0xFF, 0xFF]).data, [3, 0xFF, 0xFF, 0xFF]);
        assert_eq!(rig.ask(PRIMARY, 54, &[3]).data[1..4], [0xFF, 0xFF, 0xFF]);
        assert_eq!(rig.ask(PRIMARY, 56, &[0, 0, 0, 1]).status[0], 0);
        assert_eq!(rig.ask(PRIMARY, 14, &[]).data[..3], [0, 0, 1]);
        for variable in [4, 246, 250] {
            refused(&mut rig, 56, &[variable, 0, 0, 1], 2);
        }
        refused(&mut rig, 49, &[0, 1], 5);
        refused(&mut rig, 56, &[3, 0, 1], 5);
    }
}

/// [CM-080] to [CM-083] [DV-22], the codes of 82 from memory, those of 80, 81 and 83 by [DV-28]: the sensor says 4.0 bar. Upper point 4.25: through (0, 0) and (4, 4.25), so at 2 bar of
/// the sensor 2.125 is told, 2 + 0.125.
#[test]
fn trims() {
    for revision in [R6, R7] {
        let mut rig = Rig::new(revision).warm();
        assert_eq!(rig.ask(PRIMARY, 80, &[3]).data, [&[3, 7][..], &f(0.0), &f(10.0)].concat());
        let limits = [f(0.0), f(2.0), f(2.0), f(10.0), f(1.0)].concat();
        assert_eq!(rig.ask(PRIMARY, 81, &[3]).data, [&[3, 3, 7][..], &limits].concat());
        assert_eq!(rig.ask(PRIMARY, 81, &[0]).data, [&[0, 0, 250][..], &NOT_A_NUMBER.repeat(5)].concat());
        let point = |point: u8, unit: u8, x: f32| [&[3, point, unit][..], &f(x)].concat();
        let reply = rig.ask(PRIMARY, 82, &point(2, 7, 4.25));
        assert_eq!((reply.status, reply.data), ([0, 0x40], point(2, 7, 4.25)));
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data[2..], f(4.25));
        assert_eq!(rig.ask(PRIMARY, 80, &[3]).data[6..], f(4.25));
        rig.device.set_supply_pressure_bar(2.0);
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data[2..], f(2.125));
        // In another unit: 175 kPa are 1.75 bar.
        assert_eq!(rig.ask(PRIMARY, 82, &point(1, 12, 175.0)).status[0], 0);
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data[2..], f(1.75));
        // The points are at 1.75 and 4.25; an upper one at 2.5 would be nearer than 1 bar, at 2.75 it is not.
        rig.device.set_supply_pressure_bar(2.75);
        refused(&mut rig, 82, &point(2, 7, 2.5), 4);
        assert_eq!(rig.ask(PRIMARY, 82, &point(2, 7, 2.75)).status[0], 0);
        // A lower one at 1.875 is 0.875 below that.
        rig.device.set_supply_pressure_bar(1.875);
        refused(&mut rig, 82, &point(1, 7, 1.875), 3);
        // Corrected by more than 0.5; outside 0 to 2 and 2 to 10; no number.
        rig.device.set_supply_pressure_bar(1.5);
        for (which, x, code) in
            [(1, 2.25, 3), (1, 0.875, 4), (2, 2.125, 3), (2, 1.75, 4), (1, f32::NAN, 3), (2, -1.0, 4)]
        {
            refused(&mut rig, 82, &point(which, 7, x), code);
        }
        for wrong in
            [point(0, 7, 1.5), point(3, 7, 1.5), point(1, 57, 1.5), [&[0, 1, 57][..], &f(0.0)].concat()]
        {
            refused(&mut rig, 82, &wrong, 6);
        }
        // It is kept, and undone.
        let image = rig.device.take_image().expect("an image");
        let mut again = Rig::with(DeviceConfig::new(revision), Some(&image));
        assert_eq!(again.ask(PRIMARY, 80, &[3]).data[2..], [f(1.75), f(2.75)].concat());
        assert_eq!(again.ask(PRIMARY, 83, &[3]).data, [3]);
        assert_eq!(again.ask(PRIMARY, 33, &[3]).data[2..], f(4.0));
        // At the sensor too the points must be half a bar apart: 2.0 told as 1.5, and 2.25 to be told as 2.5.
        again.device.set_supply_pressure_bar(2.0);
        assert_eq!(again.ask(PRIMARY, 82, &point(1, 7, 1.5)).status[0], 0);
        again.device.set_supply_pressure_bar(2.25);
        refused(&mut again, 82, &point(2, 7, 2.5), 4);
        for command in [80, 83] {
            refused(&mut again, command, &[0], 2);
            refused(&mut again, command, &[], 5);
        }
        refused(&mut again, 81, &[4], 2);
    }
}

/// [CM-052], its codes 9 and 10 from memory: what is now becomes 0, if it is within 0.5 bar of it. Through (0.25, 0) and (10, 10) 5.125 bar are
/// 4.875/9.75·10 = 5.
#[test]
fn zero_of_the_pressure() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        refused(&mut rig, 52, &[3], 9);
        rig.device.set_supply_pressure_bar(-0.75);
        refused(&mut rig, 52, &[3], 10);
        rig.device.set_supply_pressure_bar(0.25);
        assert_eq!(rig.ask(PRIMARY, 52, &[3]).data, [3]);
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data[2..], f(0.0));
        rig.device.set_supply_pressure_bar(5.125);
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data[2..], f(5.0));
        for variable in [0, 1, 2, 4, 249] {
            refused(&mut rig, 52, &[variable], 2);
        }
        refused(&mut rig, 52, &[], 5);
    }
}
