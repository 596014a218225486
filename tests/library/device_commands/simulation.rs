//! Device variables that a master says, and the status that they raise [DV-23].

use super::rig::{BOTH, PRIMARY, Rig, SECONDARY};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;
use std::time::Duration;

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

/// A single, most significant octet first [TY-02].
fn f(x: f32) -> [u8; 4] {
    x.to_be_bytes()
}

fn given(variable: u8, unit: u8, x: f32, status: u8) -> Vec<u8> {
    [&[variable, 1, unit][..], &f(x), &[status]].concat()
}

fn ends(variable: u8) -> [u8; 8] {
    [variable, 0, 250, 0x7F, 0xA0, 0, 0, 0]
}

fn refused(rig: &mut Rig, data: &[u8], code: u8) {
    let reply = rig.ask(PRIMARY, 79, data);
    assert_eq!((reply.status[0], reply.data.len()), (code, 0), "{data:02X?}");
}

/// Simulation active (01) in standardized status 0, octet 8; function check (20) in octet 6; more status available (10) for
/// both masters, each time that it begins or ends [ST-06] [ST-07].
#[test]
fn a_simulated_pressure() {
    for revision in [R6, R7] {
        let mut rig = Rig::new(revision).warm();
        let data = given(3, 7, 5.5, 0x80);
        let reply = rig.ask(PRIMARY, 79, &data);
        assert_eq!((reply.status, &reply.data), ([0, 0x10], &data));
        assert_eq!(rig.device.take_image(), None, "nothing is stored");
        assert_eq!(rig.ask(SECONDARY, 9, &[3]).data[1..9], [&[3, 65, 7][..], &f(5.5), &[0x80]].concat());
        let mut expected = [0; 14];
        (expected[6], expected[8]) = (0x20, 0x01);
        let status = rig.ask(PRIMARY, 48, &[]).data;
        assert_eq!(status, expected);
        let about = rig.ask(PRIMARY, 54, &[3]).data;
        if revision == R7 {
            assert_eq!(about[27], 0x80);
            for master in BOTH {
                assert_eq!(rig.ask(master, 48, &status).status, [0, 0x00], "seen");
            }
        }
        // Told in another unit; given in another one: 300 kPa are 3 bar.
        rig.ask(PRIMARY, 53, &[3, 12]);
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data, [&[3, 12][..], &f(550.0)].concat());
        rig.ask(PRIMARY, 53, &[3, 7]);
        rig.ask(PRIMARY, 79, &given(3, 12, 300.0, 0xC0));
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data, [&[3, 7][..], &f(3.0)].concat());
        let reply = rig.ask(PRIMARY, 79, &ends(3));
        // Before revision 7 the bit ends with the condition.
        let more = if revision == R7 { 0x10 } else { 0x00 };
        assert_eq!((reply.status[0], reply.status[1] & 0x10, &reply.data[..]), (0, more, &ends(3)[..]));
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data, [&[3, 7][..], &f(4.0)].concat());
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data, [0; 14]);
    }
}

/// A set point that is given by hand moves the valve, whatever the current says; afterwards the current has it again.
#[test]
fn a_simulated_set_point() {
    let mut rig = Rig::new(R7).warm();
    rig.device.set_loop_current_ma(rig.now, 12.0);
    rig.ask(PRIMARY, 79, &given(0, 57, 80.0, 0x80));
    assert_eq!(rig.device.set_point_percent(), 80.0);
    rig.wait(Duration::from_secs(60));
    assert_eq!(rig.ask(PRIMARY, 33, &[0, 1]).data, [&[0, 57][..], &f(80.0), &[1, 57], &f(80.0)].concat());
    rig.device.set_loop_current_ma(rig.now, 8.0);
    assert_eq!(rig.ask(PRIMARY, 1, &[]).data, [&[57][..], &f(80.0)].concat());
    // Now the valve stands where it was driven: taken as upper value, 100 % of the current are 80 %.
    assert_eq!(rig.ask(PRIMARY, 36, &[]).status[0], 0);
    // Beyond its limits the primary variable is so too (01).
    rig.ask(PRIMARY, 79, &given(0, 57, 106.0, 0x80));
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status[1] & 0x01, 0x01);
    rig.ask(PRIMARY, 79, &ends(0));
    assert_eq!(rig.device.set_point_percent(), 20.0, "8 mA are 25 % of 80");
}

/// [DV-23]: what is given is out of its limits as what is measured: 02 by the pressure outside 1.4 to 7 bar, the travel
/// outside 0 to 100 %, the lever outside its ends (−30 to 30 degrees, 0.6 rad are 34.4), and out of specification (10) in
/// octet 6 of command 48. The limits themselves are inside: 140 kPa are 1.4 bar. A pressure that is measured outside is
/// no longer told once another is simulated.
#[test]
fn simulated_values_out_of_limits() {
    for revision in [R6, R7] {
        for (variable, unit, x, out) in [
            (3, 7, 1.375, true),
            (3, 7, 1.4, false),
            (3, 12, 140.0, false),
            (3, 12, 139.0, true),
            (3, 7, 7.0, false),
            (3, 7, 7.125, true),
            (3, 12, 701.0, true),
            (1, 57, 100.0, false),
            (1, 57, 100.5, true),
            (1, 57, -0.5, true),
            (2, 143, 30.0, false),
            (2, 143, -30.5, true),
            (2, 144, 0.6, true),
            (2, 144, 0.5, false),
        ] {
            let mut rig = Rig::new(revision).warm();
            let reply = rig.ask(PRIMARY, 79, &given(variable, unit, x, 0xC0));
            assert_eq!(
                reply.status,
                [0, 0x10 + u8::from(out) * 0x02],
                "variable {variable}: {x} in unit {unit}"
            );
            let status = rig.ask(PRIMARY, 48, &[]).data;
            assert_eq!((status[6], status[8]), (0x20 + u8::from(out) * 0x10, 0x01));
            rig.ask(PRIMARY, 79, &ends(variable));
            assert_eq!(rig.ask(PRIMARY, 0, &[]).status[1] & 0x03, 0);
        }
        let mut rig = Rig::new(revision);
        rig.device.set_supply_pressure_bar(1.0);
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status[1] & 0x02, 0x02);
        assert_eq!(rig.ask(PRIMARY, 79, &given(3, 7, 4.0, 0xC0)).status[1] & 0x02, 0);
        assert_eq!(rig.ask(PRIMARY, 79, &ends(3)).status[1] & 0x02, 0x02);
    }
}

/// [DV-15]: what is held when the current is fixed is what it demanded, 50 % at 12 mA, not what was simulated.
#[test]
fn fixing_the_current_while_the_set_point_is_simulated() {
    for revision in [R6, R7] {
        let mut rig = Rig::new(revision);
        rig.device.set_loop_current_ma(rig.now, 12.0);
        rig.ask(PRIMARY, 79, &given(0, 57, 80.0, 0x80));
        rig.ask(PRIMARY, 6, &[0, 0]);
        assert_eq!(rig.device.set_point_percent(), 80.0, "still simulated");
        // Fixed again, and with another current: what was held stays.
        rig.device.set_loop_current_ma(rig.now, 4.0);
        rig.ask(PRIMARY, 6, &[3, 0]);
        rig.ask(PRIMARY, 79, &ends(0));
        assert_eq!(rig.device.set_point_percent(), 50.0);
        assert_eq!(rig.ask(PRIMARY, 9, &[0]).data[8], 0xB0, "held: manual, constant");
    }
}

/// 3·10³⁴ bar are 3·10³⁹ Pa, more than a single holds (3.4·10³⁸); 10³³ bar are not. What cannot be told in every unit of
/// the variable is refused, whatever its unit is now: infinity never goes out.
#[test]
fn values_too_large_for_a_unit() {
    for revision in [R6, R7] {
        let mut rig = Rig::new(revision);
        for data in [given(3, 7, 3e34, 0xC0), given(3, 7, -3e34, 0xC0), given(2, 144, 3e37, 0xC0)] {
            refused(&mut rig, &data, 2);
        }
        assert_eq!(rig.ask(PRIMARY, 79, &given(3, 7, 1e33, 0xC0)).status[0], 0);
        rig.ask(PRIMARY, 53, &[3, 11]);
        let data = rig.ask(PRIMARY, 33, &[3]).data;
        let told = f32::from_be_bytes([data[2], data[3], data[4], data[5]]);
        assert!((told / 1e38 - 1.0).abs() < 1e-6, "{told}");
        // A set point of 3·10³⁸ % is one; the bench may measure what is more than a single holds: not known, 7F A0 00 00.
        assert_eq!(rig.ask(PRIMARY, 79, &given(0, 57, 3e38, 0xC0)).status[0], 0);
        rig.ask(PRIMARY, 79, &ends(3));
        rig.device.set_supply_pressure_bar(1e36);
        rig.device.set_loop_current_ma(rig.now, 1e300);
        assert_eq!(rig.ask(PRIMARY, 33, &[3]).data, [3, 11, 0x7F, 0xA0, 0, 0]);
        assert_eq!(rig.ask(PRIMARY, 2, &[]).data, [0x7F, 0xA0, 0, 0].repeat(2));
    }
}

/// A simulated travel is told and moves nothing: the lag knows no feedback.
#[test]
fn a_simulated_travel() {
    let mut rig = Rig::new(R7);
    rig.ask(PRIMARY, 79, &given(1, 57, 33.0, 0x40));
    assert_eq!(rig.ask(PRIMARY, 9, &[1]).data[1..9], [&[1, 0, 57][..], &f(33.0), &[0x40]].concat());
    assert_eq!(rig.device.travel_percent(rig.now), 0.0);
    assert_eq!(rig.ask(PRIMARY, 33, &[2]).data[2..], f(-30.0), "the lever goes with the valve");
    // Which variable SV is does not matter: its code is 247.
    assert_eq!(rig.ask(PRIMARY, 33, &[247]).data[2..], f(33.0));
}

/// The codes of [CM-079] in the order of [DV-23], and warning 8 for the bits of a family (07).
#[test]
fn refusals_and_the_warning() {
    for revision in [R6, R7] {
        let mut rig = Rig::new(revision).warm();
        for variable in [4, 245, 246, 255] {
            refused(&mut rig, &given(variable, 57, 0.0, 0xC0), 17);
        }
        for what in [2, 255] {
            let mut data = given(3, 57, f32::NAN, 0xC0);
            data[1] = what;
            refused(&mut rig, &data, 10);
        }
        refused(&mut rig, &given(3, 57, f32::NAN, 0xC0), 18);
        refused(&mut rig, &given(0, 7, 1.0, 0xC0), 18);
        for x in [f32::NAN, f32::INFINITY] {
            refused(&mut rig, &given(3, 7, x, 0xC0), 2);
        }
        refused(&mut rig, &given(3, 7, 1.0, 0xC0)[..7], 5);
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data, [0; 14], "none of it took");
        let reply = rig.ask(PRIMARY, 79, &given(3, 7, 5.0, 0xC5));
        assert_eq!((reply.status[0], reply.data), (8, given(3, 7, 5.0, 0xC0)));
        assert_eq!(rig.ask(PRIMARY, 9, &[3]).data[8], 0xC0);
    }
}

/// It ends with a reset and with the power.
#[test]
fn what_ends_it() {
    let mut rig = Rig::new(R7);
    rig.ask(PRIMARY, 79, &given(3, 7, 5.0, 0xC0));
    rig.ask(PRIMARY, 42, &[]);
    assert_eq!(rig.ask(PRIMARY, 33, &[3]).data[2..], f(4.0));
    rig.ask(PRIMARY, 79, &given(3, 7, 5.0, 0xC0));
    rig.ask(PRIMARY, 19, &[0, 0, 1]);
    let image = rig.device.take_image();
    let mut again = Rig::with(DeviceConfig::new(R7), image.as_deref());
    assert_eq!(again.ask(PRIMARY, 33, &[3]).data[2..], f(4.0));
}
