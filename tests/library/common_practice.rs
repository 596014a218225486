//! Rows of common practice against the direct PDUs of [ICS], and in what is theirs alone. Data made by hand for
//! every row are in `tests/library/exchanges.rs`.
//!
//! Floats by IEEE 754: 3F000000 is 0.5, 42C80000 100. Times are in 1/32 ms: 7D00 hex = 32000 is a second.

use crate::support::{fixture, meaning, octets};
use looprig::app::command::Revision::{self, R7};
use looprig::app::command::{self, Decoded, Direction, Effect, Missing, Value, layout, spec, universal};
use looprig::app::status;
use looprig::exchange::{Exchange, Interpreter};
use looprig::frame::{Address, Frame, Master, PollingAddress, Target};
use looprig::host;
use serde_json::{Value as Json, json};
use std::collections::{BTreeMap, BTreeSet};

const ASK: Direction = Direction::Request;
const TELL: Direction = Direction::Reply;

/// Decodes data by the row's layout; they must be laid out whole. The values by name.
fn values(number: u16, revision: Revision, direction: Direction, data: &[u8]) -> BTreeMap<String, Json> {
    let what = format!("command {number}, revision {revision}, {direction:?}");
    let form = spec(number).and_then(|s| s.form(revision)).unwrap_or_else(|| panic!("{what}: no form"));
    let mut found = Decoded::default();
    layout::decode(form.layout(direction), data, &mut found);
    assert!(found.complete && usize::from(found.surplus_from) == data.len(), "{what}: {found:?}");
    found.fields.iter().map(|f| (f.name().to_string(), f.value(data).to_json())).collect()
}

/// [CM-078]: a count that is not the number of records, and octets that are not as many as said, are told.
#[test]
fn records_that_do_not_add_up() {
    let form = spec(78).and_then(|s| s.form(R7)).expect("a row");
    let encode = |values: &[(&str, &str)]| {
        let values: BTreeMap<&str, &str> = values.iter().copied().collect();
        layout::encode(form.request, Missing::Error, &mut |name, kind| {
            values.get(name).map(|text| Value::from_text(kind, text)).transpose()
        })
        .map_err(|e| e.to_string())
    };
    let one = [("slot0_command", "1"), ("slot0_byte_count", "1"), ("slot0_data", "07")];
    assert_eq!(encode(&[&[("count", "1")], &one[..]].concat()), Ok(vec![1, 0, 1, 1, 7]));
    let wrong = encode(&[&[("count", "2")], &one[..]].concat()).unwrap_err();
    assert!(wrong.contains("count") && wrong.contains('2') && wrong.contains('1'), "{wrong}");
    let wrong =
        encode(&[("count", "1"), ("slot0_command", "1"), ("slot0_byte_count", "2"), ("slot0_data", "07")]);
    let wrong = wrong.unwrap_err();
    assert!(wrong.contains("slot0_data") && wrong.contains("2 octets"), "{wrong}");
    // The second record is cut: the first is read, the octets of the second are left over.
    let mut found = Decoded::default();
    layout::decode(form.request, &[2, 0, 1, 0, 0, 33, 2, 9], &mut found);
    assert!(!found.complete && found.surplus_from == 4, "{found:?}");
}

/// What a command does to the valve decides what a person must say before it is sent [HO-05], so it stands here a
/// second time. Where the loop current is an input, range, damping, transfer function and trims are the way from
/// the current to the valve; a self test may stroke it, a reset may let go of it, and a variable that is written may
/// be the set point. What no source explains counts as able to move it.
#[test]
fn what_each_command_does() {
    let reads = [
        33, 50, 54, 57, 60, 61, 62, 63, 70, 73, 74, 75, 76, 80, 81, 84, 85, 86, 90, 91, 93, 95, 105, 110, 115,
    ];
    let writes = [44, 49, 53, 56, 58, 59, 71, 72, 87, 88, 89, 92, 103, 104, 106, 107, 108, 109, 116];
    let moves = [
        31, 34, 35, 36, 37, 39, 40, 41, 42, 43, 45, 46, 47, 51, 52, 55, 64, 65, 66, 67, 68, 69, 77, 78, 79,
        82, 83, 96, 97, 98, 99, 101, 102, 111, 112, 113, 114, 117, 118, 119, 512, 513,
    ];
    let universal: BTreeSet<u16> = universal::ROWS.iter().map(|r| r.number).collect();
    let of = |effect| {
        let rows =
            command::all().into_iter().filter(|r| !universal.contains(&r.number) && r.effect == effect);
        rows.map(|r| r.number).collect::<Vec<_>>()
    };
    assert_eq!(of(Effect::Reads), reads);
    assert_eq!(of(Effect::Writes), writes);
    assert_eq!(of(Effect::Moves), moves);
    // What may answer that it is write protected does not read.
    for row in command::all().into_iter().filter(|r| r.effect == Effect::Reads) {
        assert!(status::codes(row.number).iter().all(|c| c.code != 7), "command {}", row.number);
    }
}

/// As a person types them: data of an extended command with and without a row; every name once.
#[test]
fn requests_as_typed() {
    let typed = |number, values: &[(&str, &str)]| {
        let values: Vec<(String, String)> =
            values.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
        host::encode(number, R7, &values).map_err(|e| e.to_string())
    };
    let carried = |n| [("extended_command", n), ("extended_data", "554B")];
    assert_eq!(typed(31, &carried("513")), Ok(vec![2, 1, 0x55, 0x4B]));
    assert_eq!(typed(31, &carried("533")), Ok(vec![2, 0x15, 0x55, 0x4B]));
    assert_eq!(typed(91, &[("data", "01")]), Ok(vec![1]));
    assert_eq!(typed(34, &[("damping", "0.5")]), Ok(vec![0x3F, 0, 0, 0]));
    assert_eq!(typed(51, &[("pv_code", "2")]), Ok(vec![2]));
    assert_eq!(typed(72, &[]), Ok(vec![]));
    assert_eq!(typed(72, &[("squawk_control", "once")]), Ok(vec![2]));
    // 500 ms is 500 x 32 = 16000 = 3E80 hex.
    let periods = [("burst_message", "1"), ("update_period", "500"), ("maximum_update_period", "500")];
    assert_eq!(typed(103, &periods), Ok(vec![1, 0, 0, 0x3E, 0x80, 0, 0, 0x3E, 0x80]));
    for shown in ["0.5 s", "0.5s", "500ms", "500 ms"] {
        let periods = [("burst_message", "1"), ("update_period", shown), ("maximum_update_period", shown)];
        assert_eq!(typed(103, &periods), Ok(vec![1, 0, 0, 0x3E, 0x80, 0, 0, 0x3E, 0x80]), "{shown}");
    }
    assert!(typed(103, &[("burst_message", "1"), ("update_period", "0.5 h")]).unwrap_err().contains("0.5s"));
    assert_eq!(typed(108, &[("burst_command", "9"), ("burst_message", "0")]), Ok(vec![0, 9, 0]));
    assert!(typed(108, &[("burst_command", "9")]).unwrap_err().contains("burst_message"));
    for row in command::all() {
        for revision in Revision::NEWEST_FIRST {
            let names = host::names(row, revision);
            let once: BTreeSet<&String> = names.iter().collect();
            assert_eq!(once.len(), names.len(), "command {}: {names:?}", row.number);
        }
    }
}

/// [CM-107]: all eight slots are wanted of a person, so that the burst message is where it belongs.
#[test]
fn slots_that_must_all_be_there() {
    let form = spec(107).and_then(|s| s.form(R7)).expect("a row");
    let given = [("slot0_code", "0"), ("burst_message", "0")];
    let got = layout::encode(form.request, Missing::Error, &mut |name, kind| {
        given.iter().find(|g| g.0 == name).map(|g| Value::from_text(kind, g.1)).transpose()
    });
    assert!(got.unwrap_err().to_string().contains("slot1_code"));
}

/// [CM-054] [UN-02]: the classification behind the unit says which one it is: 103 with 189 is a US liquid barrel
/// per second [F91234].
#[test]
fn the_classification_may_stand_behind_its_unit() {
    let data = octets("01 00 30 39 BD 42 C8 00 00 00 00 00 00 3F 80 00 00 40 A0 00 00 67 FA 00 00 7D 00");
    let form = spec(54).and_then(|s| s.form(R7)).expect("a row");
    let mut found = Decoded::default();
    layout::decode(form.reply, &data, &mut found);
    let text = |name: &str| {
        let mut out = String::new();
        command::write_text(found.find(name).expect("found"), &data, &mut out);
        out
    };
    for (name, want) in [
        ("unit", "US liquid bbl/s"),
        ("upper_limit", "100 US liquid bbl/s"),
        ("lower_limit", "0 US liquid bbl/s"),
        ("minimum_span", "5 US liquid bbl/s"),
        ("damping", "1 s"),
        ("class", "liquid volume flow per second"),
        ("update_period", "1 s"),
    ] {
        assert_eq!(text(name), want, "{name}");
    }
}

/// A code that no table has is told as a number, in decimal and hex: [TB-17], 4 in a capture of [ICS].
#[test]
fn unknown_codes_are_numbers() {
    let data = [4, 0];
    let form = spec(109).and_then(|s| s.form(R7)).expect("a row");
    let mut found = Decoded::default();
    layout::decode(form.request, &data, &mut found);
    let mut out = String::new();
    command::write_text(&found.fields[0], &data, &mut out);
    assert_eq!(out, "code 4 (0x04)");
}

/// The exchange of a reply that is put together here.
fn reply(command: u8, status: [u8; 2], data: &[u8]) -> Exchange {
    let address = Address::new(Master::Primary, Target::Polling(PollingAddress::default()));
    let frame = Frame::reply(false, address, command, status, data.to_vec()).expect("fits");
    meaning("made", &frame.encode(), &mut Interpreter::new(None))
}

/// [CM-031]: what command 31 carries has its own name and response codes; a number below 256 is none of it, and
/// 31 in 31 ends.
#[test]
fn an_extended_command_goes_by_its_own_number() {
    let told = |e: &Exchange| (e.full_number(), e.command_name());
    assert_eq!(told(&reply(31, [0, 0], &[2, 0, 0x55, 0x4B])), (512, "read country code"));
    assert_eq!(told(&reply(31, [0, 0], &[2, 0x15, 0])), (533, "carry an extended command"));
    assert_eq!(told(&reply(31, [0, 0], &[0, 31, 0, 31, 0, 31])), (31, "carry an extended command"));
    assert_eq!(told(&reply(31, [0, 0], &[0, 9, 0])), (31, "carry an extended command"));
    assert_eq!(told(&reply(31, [5, 0], &[])), (31, "carry an extended command"));
    // [R2300]: 20 is an invalid extended command number.
    let mut out = String::new();
    reply(31, [20, 0], &[]).write_response(&mut out);
    assert_eq!(out, "refused 20: invalid extended command number");
}

/// The data of a fixture that is a direct PDU, and its response code.
fn direct(name: &str) -> (u16, Option<u8>, Vec<u8>) {
    let all = fixture(name);
    let number = u16::from_be_bytes([all[2], all[3]]);
    if name.contains("-reply-") {
        (number, Some(all[5]), all[6..].to_vec())
    } else {
        (number, None, all[5..].to_vec())
    }
}

/// [ICS]: direct PDUs of common-practice commands, octet by octet. 46BB8000 is 1.46484375 x 2^14 = 24000; 4EFF4000
/// is 1.994140625 x 2^30 = 2141192192, as the shortest digits of a single 2141192200; 43480000 is 200; 0C80 hex = 3200 / 32 = 100 ms; 1F40 hex = 8000 / 32 =
/// 250 ms; 1D4C00 hex = 1920000 / 32 = 60000 ms; 98 hex = 152, E2 hex = 226.
#[test]
fn direct_pdus() {
    for (name, code, want) in [
        (
            "ics-cmd54-direct-reply-01",
            Some(0),
            json!({
                "code": 0, "serial_number": 0x654321, "unit": 75, "upper_limit": 24000.0, "lower_limit": 0.0,
                "damping": 2141192200.0, "minimum_span": 200.0, "class": 0, "family": 250,
                "update_period": 100.0, "properties": 0,
            }),
        ),
        (
            "ics-cmd79-direct-request-01",
            None,
            json!({"code": 0, "write_command": 0, "unit": 250, "value": 0.0, "status": 0}),
        ),
        ("ics-cmd95-direct-reply-01", Some(0), json!({"requests": 152, "replies": 226, "bursts": 0})),
        (
            "ics-cmd104-direct-reply-01",
            Some(8),
            json!({
                "burst_message": 0, "trigger_mode": 0, "trigger_class": 0, "trigger_unit": 250,
                "trigger_level": "not-a-number",
            }),
        ),
        ("ics-cmd105-direct-request-01", None, json!({"burst_message": 0})),
        (
            "ics-cmd105-direct-reply-01",
            Some(0),
            json!({
                "burst_control": 4, "extension": 31, "slot0_code": 0, "slot1_code": 1, "slot2_code": 2,
                "slot3_code": 250, "slot4_code": 250, "slot5_code": 250, "slot6_code": 250, "slot7_code": 250,
                "burst_message": 0, "maximum_burst_messages": 3, "burst_command": 9, "update_period": 250.0,
                "maximum_update_period": 60000.0, "trigger_mode": 0, "trigger_class": 0, "trigger_unit": 75,
                "trigger_level": "not-a-number",
            }),
        ),
        (
            "ics-cmd107-direct-reply-01",
            Some(0),
            json!({
                "slot0_code": 0, "slot1_code": 1, "slot2_code": 2, "slot3_code": 250, "slot4_code": 250,
                "slot5_code": 250, "slot6_code": 250, "slot7_code": 250, "burst_message": 0,
            }),
        ),
        ("ics-cmd108-direct-request-01", None, json!({"burst_command": 9, "burst_message": 0})),
        ("ics-cmd108-direct-reply-01", Some(0), json!({"burst_command": 9, "burst_message": 0})),
        ("ics-cmd109-direct-request-01", None, json!({"burst_control": 4, "burst_message": 0})),
    ] {
        let (number, told, data) = direct(name);
        let direction = if told.is_some() { TELL } else { ASK };
        assert_eq!(told, code, "{name}");
        assert_eq!(json!(values(number, R7, direction, &data)), want, "{name}");
    }
}

/// [ICS] [TY-07]: the periods of a published request, 250 ms and 60000 ms as above, are lengths of time and no times of
/// day; the time of command 90 is one: 3661001 ms are 01:01:01.001.
#[test]
fn lengths_of_time_are_told_in_seconds() {
    let exchange =
        meaning("ics-cmd103-request-01", &fixture("ics-cmd103-request-01"), &mut Interpreter::new(None));
    let texts: Vec<String> = exchange.fields(ASK).map(|v| v.text()).collect();
    assert_eq!(texts[1..], ["0.25 s", "60 s"]);
    let text = |number: u16, name: &str, data: &[u8]| {
        let form = spec(number).and_then(|s| s.form(R7)).expect("a row");
        let mut found = Decoded::default();
        layout::decode(form.reply, data, &mut found);
        let mut out = String::new();
        command::write_text(found.find(name).expect("found"), data, &mut out);
        out
    };
    // 00 00 00 01 is 1/32 ms = 31.25 us; FF FF FF FF is 2^32 - 1 of them.
    let of = |period: [u8; 4]| text(103, "update_period", &[&[0][..], &period, &[0, 0, 0, 0]].concat());
    assert_eq!(of([0, 0, 0, 1]), "0.00003125 s");
    assert_eq!(of([0xFF; 4]), "134217.72796875 s");
    assert_eq!(text(90, "time", &[1, 1, 0, 0x06, 0xFB, 0x99, 0x20, 1, 1, 0, 0, 0, 0, 0, 0]), "01:01:01.001");
}

/// [NMAP] [ICS]: published requests of common-practice commands. 24000 as above.
#[test]
fn published_requests() {
    let all = |name: &str| {
        let exchange = meaning(name, &fixture(name), &mut Interpreter::new(None));
        let values =
            exchange.fields(ASK).map(|v| (v.found.name().to_string(), v.found.value(v.data).to_json()));
        json!(values.collect::<BTreeMap<_, _>>())
    };
    assert_eq!(all("nmap-cmd84-request-01"), json!({"index": 1}));
    let range = json!({"range_unit": 75, "upper_range_value": 24000.0, "lower_range_value": 0.0});
    assert_eq!(all("ics-cmd35-request-01"), range);
    let periods = json!({"burst_message": 0, "update_period": 250.0, "maximum_update_period": 60000.0});
    assert_eq!(all("ics-cmd103-request-01"), periods);
    let written = json!({"code": 0, "write_command": 0, "unit": 250, "value": 0.0, "status": 0});
    assert_eq!(all("ics-cmd79-request-01"), written);
}
