//! Values by name, as a person types them.

use super::rig::*;
use looprig::app::command::{Revision, spec};
use looprig::host::{Host, HostError, encode, names};
use looprig::link::MasterConfig;

const R5: Revision = Revision::R5;
const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

fn made(command: u8, revision: Revision, values: &[(&str, &str)]) -> Vec<u8> {
    encode(command, revision, &owned(values)).unwrap_or_else(|e| panic!("command {command}: {e}"))
}

fn error(command: u8, revision: Revision, values: &[(&str, &str)]) -> String {
    encode(command, revision, &owned(values)).unwrap_err().to_string()
}

/// Packed ASCII [TY-04]: the low six bits of each character, four in three octets. "FV-3104 " is 06 16 2D 33 31 30 34 20:
/// 000110 010110 101101 110011 = 19 6B 73, 110001 110000 110100 100000 = C7 0D 20. 2026-11-25 is 19 0B 7E [TY-06].
#[test]
fn values_become_octets() {
    let tag = [0x19, 0x6B, 0x73, 0xC7, 0x0D, 0x20];
    assert_eq!(made(11, R7, &[("tag", "FV-3104")]), tag);
    let description = [("date", "2026-11-25"), ("tag", "FV-3104"), ("descriptor", "")];
    let spaces = [0x82, 0x08, 0x20].repeat(4);
    assert_eq!(made(18, R5, &description), [&tag[..], &spaces, &[0x19, 0x0B, 0x7E]].concat());
    assert_eq!(made(19, R6, &[("final_assembly_number", "0x0C20")]), [0x00, 0x0C, 0x20]);
    assert_eq!(made(6, R7, &[("polling_address", "5"), ("loop_current_mode", "1")]), [5, 1]);
    // An older master's form [DV-15]; revision 5 knows no other.
    assert_eq!(made(6, R7, &[("polling_address", "5")]), [5]);
    assert_eq!(made(6, R5, &[("polling_address", "5")]), [5]);
    assert_eq!(made(9, R7, &[("slot0_code", "0"), ("slot1_code", "3")]), [0, 3]);
    let long = made(22, R7, &[("long_tag", "Filter \u{B0}")]);
    assert_eq!((long.len(), &long[..9]), (32, &b"Filter \xB0\0"[..]));
    assert_eq!(made(0, R7, &[]), [0; 0]);
    assert_eq!(made(38, R7, &[]), [0; 0]);
    assert_eq!(made(38, R7, &[("configuration_change_counter", "258")]), [1, 2]);
    // Octets of a command without a row, alone, and beyond a row's.
    assert_eq!(made(200, R7, &[("data", "DE AD be ef")]), [0xDE, 0xAD, 0xBE, 0xEF]);
    assert_eq!(made(19, R7, &[("data", "01 02")]), [1, 2]);
    assert_eq!(made(19, R7, &[("final_assembly_number", "1"), ("data", "AA")]), [0, 0, 1, 0xAA]);
}

/// Each error names the value, what was given or what is wrong.
#[test]
fn errors_name_the_value() {
    for (command, revision, values, told) in [
        (17u8, R7, &[][..], &["message", "message=VALUE"][..]),
        (18, R7, &[("tag", "FV-3104"), ("descriptor", "X")], &["date", "is not given"]),
        (
            18,
            R7,
            &[("tag", "FV-3104-TOO"), ("descriptor", "X"), ("date", "2026-11-25")],
            &["tag:", "FV-3104-TOO", "at most 8"],
        ),
        (
            18,
            R7,
            &[("tag", "A"), ("descriptor", "X"), ("date", "yesterday")],
            &["date:", "yesterday", "2026-11-25"],
        ),
        (19, R7, &[("final_assembly_number", "16777216")], &["final_assembly_number:", "16777215"]),
        (19, R7, &[("final_assembly_number", "-1")], &["final_assembly_number:", "-1"]),
        (6, R7, &[("polling_address", "256")], &["polling_address:", "255"]),
        (22, R7, &[("long_tag", "\u{20AC}")], &["long_tag:", "\u{20AC}", "Latin-1"]),
        (9, R7, &[("slot0_code", "0"), ("slot1_code", "x")], &["slot1_code:", "x"]),
        (19, R7, &[("data", "0G")], &["data:", "0G", "hex"]),
        (19, R7, &[("data", "012")], &["data:", "012", "hex"]),
        (19, R7, &[("number", "1")], &["final_assembly_number"]),
        (19, R7, &[("final_assembly_number", "1"), ("nomber", "1")], &["nomber", "final_assembly_number"]),
        (0, R7, &[("tag", "A")], &["tag", "has no values"]),
        // What revision 5 does not have has no values there.
        (
            6,
            R5,
            &[("polling_address", "1"), ("loop_current_mode", "1")],
            &["loop_current_mode", "polling_address"],
        ),
        (22, R5, &[("long_tag", "A")], &["long_tag", "has no values"]),
        (9, R7, &[("slot0_code", "1"), ("slot8_code", "1")], &["slot8_code", "slot0_code", "slot7_code"]),
    ] {
        let said = error(command, revision, values);
        for part in told {
            assert!(said.contains(part), "command {command}, {values:?}: {said} has no {part}");
        }
    }
    assert!(matches!(
        encode(19, R7, &owned(&[("x", "1"), ("final_assembly_number", "1")])),
        Err(HostError::Name { .. })
    ));
}

/// [CM-009]: eight codes in revision 7, four in revision 6.
#[test]
fn names_of_a_request() {
    let names = |command: u16, revision| names(spec(command).unwrap(), revision);
    assert_eq!(names(18, R5), ["tag", "descriptor", "date"]);
    assert_eq!(names(6, R5), ["polling_address"]);
    assert_eq!(names(6, R7), ["polling_address", "loop_current_mode"]);
    assert_eq!(names(38, R7), ["configuration_change_counter"]);
    assert_eq!(names(38, R6), [""; 0]);
    assert_eq!(names(22, R5), [""; 0]);
    // The status as last read, so the names of the reply.
    let status = names(48, R7);
    assert_eq!((&status[0][..], &status[1][..], status.len()), ("device_status", "extended_status", 10));
    for (revision, n) in [(R6, 4), (R7, 8)] {
        assert_eq!(names(9, revision), (0..n).map(|i| format!("slot{i}_code")).collect::<Vec<_>>());
    }
}

/// 255 octets fit into a request [FR-08].
#[test]
fn too_many_octets() {
    let mut host = Host::new(bench(R7), MasterConfig::default());
    let device = find(&mut host);
    let e = host.ask_octets(&device, 200, vec![0; 256]).unwrap_err();
    assert!(matches!(e, HostError::TooLong(_)) && e.to_string().contains("256"), "{e}");
    assert_eq!(status(&host.ask_octets(&device, 200, vec![0; 255]).unwrap())[0], 64);
}
