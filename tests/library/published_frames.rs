//! Every published frame of `fixtures/frames` goes through receiver, exchange and JSON and back to the same
//! octets; and what the sources say of them is what looprig says.
//!
//! The direct PDUs among the fixtures (kind `direct-pdu`) are no frames of the token-passing link: of them the rows
//! alone read the data. Numbers behind floats are IEEE 754 arithmetic, texts are packed ASCII unpacked by hand.

use crate::support::{Fixture, after_preambles, fixture, fixtures, good, hex, meaning, receive, stamped};
use looprig::app::command::{Decoded, Direction, Kind as FieldKind, Missing, Revision, Value, layout, spec};
use looprig::app::status::CodeClass;
use looprig::exchange::json::{frame_from_json, write_exchange, write_exchange_with};
use looprig::exchange::{Exchange, Interpreter};
use looprig::frame::{Address, Damage, Frame, FrameType, Good, Master, PollingAddress, Reception, Target};
use looprig::time::{Instant, Pace};
use looprig::transaction::{Kind, Oddities, Outcome, Pairer, PairerConfig, Passed, Transaction};
use serde_json::{Value as Json, json};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// Place of the command octet: no published frame has expansion octets [FR-01] [FR-03].
fn command_at(frame: &[u8]) -> usize {
    if frame[0] & 0x80 == 0 { 2 } else { 6 }
}

fn json_of(exchange: &Exchange) -> Json {
    let mut text = String::new();
    write_exchange(exchange, &mut text);
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{e} in {text}"))
}

/// The one member that a frame alone has, without what only explains.
fn side(mut json: Json) -> (Direction, Json) {
    let (direction, member) = if json.get("request").is_some() {
        (Direction::Request, "request")
    } else {
        (Direction::Reply, "reply")
    };
    let mut side = json[member].take();
    for explains in ["octets", "texts", "response", "device_status_bits"] {
        side.as_object_mut().expect("an object").remove(explains);
    }
    (direction, side)
}

/// Requests that a master sent without the data that the command asks for; one device answers without them, the
/// other refuses with 5.
const SHORT: [&str; 2] = ["nit-cmd11-request-01", "ics-cmd54-request-01"];

#[test]
fn published_frames_come_back_from_their_json() {
    let (mut kinds, mut raw) = (BTreeMap::new(), BTreeSet::new());
    for f in fixtures().iter().filter(|f| f.is_frame()) {
        *kinds.entry(f.key("kind").to_owned()).or_insert(0) += 1;
        let command = u16::from(f.octets[command_at(&f.octets)]);
        for given in [None, Some(Revision::R5), Some(Revision::R6), Some(Revision::R7)] {
            let exchange = meaning(&f.name, &f.octets, &mut Interpreter::new(given));
            let json = json_of(&exchange);
            let told = json.get("revision").and_then(Json::as_u64).map(|n| n as u8);
            let revision = told.and_then(Revision::new).or(given).unwrap_or(Revision::R7);
            let (direction, side) = side(json);
            let frame = frame_from_json(&side, revision).unwrap_or_else(|e| panic!("{}: {e}", f.name));
            assert_eq!(hex(&frame.encode()), hex(&f.octets), "{} by {given:?}: {side}", f.name);
            if given.is_some() {
                continue;
            }
            // Without a revision told the octets choose one, and then no octet is left over and none is missing.
            assert!(exchange.spec.is_some(), "{}: command {command} has no row", f.name);
            assert!(exchange.surplus(direction).is_empty(), "{}", f.name);
            let refused =
                exchange.class().is_some_and(|c| c != CodeClass::Success) && frame.data().is_empty();
            let complete = match direction {
                Direction::Request => exchange.request.complete,
                Direction::Reply => exchange.reply.complete,
            };
            let short = SHORT.contains(&f.name.as_str());
            assert_eq!(complete, !short && !refused, "{}", f.name);
            for v in exchange.fields(direction) {
                if matches!(v.found.field.kind, FieldKind::Octets(_)) {
                    raw.insert((exchange.full_number(), v.found.field.name));
                }
            }
        }
    }
    let kinds: Vec<(&str, i32)> = kinds.iter().map(|(k, n)| (k.as_str(), *n)).collect();
    assert_eq!(kinds, [("burst", 14), ("reply", 39), ("request", 42)]);
    // Octets without meaning: what a device keeps for itself, and extended commands that no source explains.
    let want = [(48, "device_status"), (520, "extended_data"), (533, "extended_data")];
    assert_eq!(raw, BTreeSet::from(want));
}

/// [ICS]: the data of direct PDUs are those of the same command in a frame. Behind device status and extended status
/// stand command number and byte count; a reply's first octet then is its response code.
#[test]
fn data_of_direct_pdus_come_back_from_their_values() {
    let mut laid_out = BTreeMap::new();
    for f in fixtures().iter().filter(|f| f.key("kind") == "direct-pdu") {
        let number = u16::from_be_bytes([f.octets[2], f.octets[3]]);
        let Some(form) = spec(number).and_then(|s| s.form(Revision::R7)) else { continue };
        let is_reply = f.name.contains("-reply-");
        let (layout, from) = if is_reply { (form.reply, 6) } else { (form.request, 5) };
        let data = &f.octets[from..];
        if is_reply && data.is_empty() && f.octets[5] != 0 {
            // Refused.
            continue;
        }
        let mut found = Decoded::default();
        layout::decode(layout, data, &mut found);
        assert!(found.complete && usize::from(found.surplus_from) == data.len(), "{}: {found:?}", f.name);
        let values: BTreeMap<String, Json> =
            found.fields.iter().map(|v| (v.name().to_string(), v.value(data).to_json())).collect();
        let again = layout::encode(layout, Missing::Ends, &mut |name, kind| {
            values.get(name).map(|json| Value::from_json(kind, json)).transpose()
        });
        assert_eq!(again.as_deref(), Ok(data), "{}: {values:?}", f.name);
        *laid_out.entry(is_reply).or_insert(0) += 1;
    }
    // Counted by the names of the files: 21 requests and 24 replies, of which three each are of 532 to 534, which have
    // no row, and two replies are refused.
    assert_eq!(laid_out, BTreeMap::from([(false, 18), (true, 19)]));
}

/// [FR-09]: each single bit of each published check byte, then all eight.
#[test]
fn a_flipped_check_byte_is_damage() {
    let mut tried = 0;
    for f in fixtures().iter().filter(|f| f.is_frame()) {
        let published = *f.octets.last().expect("not empty");
        for flip in (0..8).map(|bit| 1 << bit).chain([0xFF]) {
            let mut octets = after_preambles(&f.octets);
            *octets.last_mut().expect("not empty") ^= flip;
            let got = receive(&stamped(&octets, Instant::ZERO));
            let want = Damage::Check { computed: published, received: published ^ flip };
            match &got[..] {
                [Reception::Damaged(d)] => assert_eq!(d.damage, want, "{}", f.name),
                // A check byte of FF may be the next frame's first preamble.
                [Reception::Damaged(d), Reception::Noise(n)] if published ^ flip == 0xFF => {
                    assert_eq!((d.damage, n.octets.len()), (want, 1), "{}", f.name);
                }
                other => panic!("{}: {other:?}", f.name),
            }
            tried += 1;
        }
    }
    assert_eq!(tried, 95 * 9);
}

/// Compares values with the JSON's: numbers to `within`, the rest exactly.
fn assert_values(name: &str, side: &Json, within: f64, want: &[(&str, Json)]) {
    for (key, value) in want {
        let told = &side["values"][key];
        let same = match (told.as_f64(), value.as_f64()) {
            (Some(a), Some(b)) => (a - b).abs() <= within,
            _ => told == value,
        };
        assert!(same, "{name}: {key} is {told}, the source says {value}");
    }
}

/// Asserts how people read some values: the text's end, where a number with its unit stands.
fn assert_texts(name: &str, side: &Json, want: &[(&str, &str)]) {
    for (key, end) in want {
        let text = side["texts"][key].as_str().unwrap_or_else(|| panic!("{name}: no {key} in {side}"));
        assert!(text.ends_with(end), "{name}: {key} reads {text:?}, not {end:?}");
    }
}

/// The JSON of a published frame and of its one side, read without help.
fn told(name: &str) -> (Json, Json) {
    let json = json_of(&meaning(name, &fixture(name), &mut Interpreter::new(None)));
    let side = if json.get("request").is_some() { &json["request"] } else { &json["reply"] };
    (json.clone(), side.clone())
}

/// Reply of a payload that its source prints without a frame: the frame around it is ours.
fn told_payload(name: &str, command: u8) -> (Json, Json) {
    let octets = fixture(name);
    let address = Address::new(Master::Primary, Target::Polling(PollingAddress::default()));
    let frame = Frame::reply(false, address, command, [octets[0], octets[1]], octets[2..].to_vec());
    let exchange = meaning(name, &frame.expect("fits").encode(), &mut Interpreter::new(None));
    assert!(exchange.surplus(Direction::Reply).is_empty(), "{name}");
    let json = json_of(&exchange);
    (json.clone(), json["reply"].clone())
}

#[test]
fn identities() {
    // [1770] table 4.O. Hardware octet 50 hex: revision 50 hex / 8 = 10, signalling 0.
    let (json, reply) = told("1770-cmd0-reply-01");
    assert_eq!((&json["revision"], &json["revision_known"]), (&json!(5), &json!(true)));
    assert_eq!((&reply["polling_address"], &reply["response_code"]), (&json!(0), &json!(0)));
    let want = json!({
        "expansion": 254, "manufacturer": 0x26, "device_type": 0x0D, "preambles_request": 6,
        "universal_revision": 5, "device_revision": 2, "software_revision": 1, "hardware_revision": 10,
        "physical_signalling": 0, "flags": 0, "device_id": 0x001511,
    });
    assert_eq!(reply["values"], want);

    // [ICP] v1.24 p31, a payload. Hardware octet 1B: revision 3, signalling 3.
    let (json, reply) = told_payload("icp-cmd0-payload-01", 0);
    assert_eq!(json["revision"], json!(5));
    assert_eq!(reply["device_status_bits"], json!(["more status available"]));
    let want = json!({
        "expansion": 254, "manufacturer": 0x3F, "device_type": 4, "preambles_request": 8,
        "universal_revision": 5, "device_revision": 1, "software_revision": 0x10, "hardware_revision": 3,
        "physical_signalling": 3, "flags": 0, "device_id": 0x1B97E8,
    });
    assert_eq!(reply["values"], want);

    // [NIT] [BEL]: command 11 answered with a revision 5 identity.
    let (json, reply) = told("nit-cmd11-reply-01");
    assert_eq!((&json["revision"], &reply["unique_address"]), (&json!(5), &json!("1A1AAD188C")));
    let want = json!({
        "expansion": 254, "manufacturer": 0x1A, "device_type": 0x1A, "preambles_request": 5,
        "universal_revision": 5, "device_revision": 0, "software_revision": 0, "hardware_revision": 0,
        "physical_signalling": 0, "flags": 0, "device_id": 0xAD188C,
    });
    assert_eq!(reply["values"], want);

    // [ICS] hart-ip.pcap packet 4. Hardware octet 0E: revision 1, signalling 6.
    let (json, reply) = told("ics-cmd0-reply-01");
    assert_eq!((&json["revision"], &reply["master"]), (&json!(7), &json!("secondary")));
    // D0 is 80, 40 and 10.
    let bits = ["device malfunction", "configuration changed", "more status available"];
    assert_eq!(reply["device_status_bits"], json!(bits));
    let want = json!({
        "expansion": 254, "expanded_device_type": 0x264E, "preambles_request": 5, "universal_revision": 7,
        "device_revision": 4, "software_revision": 1, "hardware_revision": 1, "physical_signalling": 6,
        "flags": 0x0C, "device_id": 0x0000D2, "preambles_reply": 5, "last_device_variable": 2,
        "configuration_change_counter": 2, "extended_status": 0xD0, "manufacturer_id": 0x26,
        "private_label": 0x26, "device_profile": 0x84,
    });
    assert_eq!(reply["values"], want);

    // [ICS] publish capture packet 10. Hardware octet 4E: revision 9, signalling 6.
    let (json, reply) = told("ics-cmd0-reply-02");
    assert_eq!((&json["revision"], &reply["burst"]), (&json!(7), &json!(true)));
    let want = json!({
        "expansion": 254, "expanded_device_type": 0xF9FD, "preambles_request": 0, "universal_revision": 7,
        "device_revision": 2, "software_revision": 0x32, "hardware_revision": 9, "physical_signalling": 6,
        "flags": 0, "device_id": 0x95266F, "preambles_reply": 0, "last_device_variable": 3,
        "configuration_change_counter": 1, "extended_status": 1, "manufacturer_id": 0xF9,
        "private_label": 0xF9, "device_profile": 0x41,
    });
    assert_eq!(reply["values"], want);
}

#[test]
fn measured_values() {
    // [1770] table 4.S prints 72.612 degC; [ICP] p82 prints 0.38501 kPa.
    let (_, reply) = told("1770-cmd1-reply-01");
    assert_values("1770", &reply, 1e-4, &[("pv", json!(72.612)), ("pv_unit", json!(32))]);
    assert_texts("1770", &reply, &[("pv", " degC")]);
    let (_, reply) = told_payload("icp-cmd1-payload-01", 1);
    assert_values("icp", &reply, 5e-6, &[("pv", json!(0.38501)), ("pv_unit", json!(12))]);
    assert_texts("icp", &reply, &[("pv", " kPa")]);
    // [ICP3] p104 prints 20.126 mA, 0.3863 kPa, 22.81 degC, 100.78 %.
    let (_, reply) = told_payload("icp3-cmd3-payload-01", 3);
    assert_values("icp3", &reply, 5e-4, &[("loop_current", json!(20.126)), ("pv", json!(0.3863))]);
    assert_values("icp3", &reply, 5e-3, &[("sv", json!(22.81)), ("tv", json!(100.78)), ("qv", json!(0))]);
    assert_texts("icp3", &reply, &[("loop_current", " mA"), ("pv", " kPa"), ("sv", " degC"), ("tv", " %")]);

    // [ICS] hart-ip.pcap packets 8 and 10: 7F A0 00 00 is "no number" [TY-03].
    let (_, reply) = told("ics-cmd2-reply-01");
    assert_eq!(reply["values"], json!({"loop_current": "not-a-number", "percent_of_range": 0.0}));
    let (_, reply) = told("ics-cmd3-reply-01");
    let want = json!({
        "loop_current": "not-a-number", "pv_unit": 251, "pv": 0.0, "sv_unit": 251, "sv": 0.0,
        "tv_unit": 32, "tv": 32.5, "qv_unit": 32, "qv": 32.0,
    });
    assert_eq!(reply["values"], want);
    assert_texts("ics", &reply, &[("tv", "32.5 degC"), ("qv", "32 degC")]);
}

#[test]
fn texts_dates_and_ranges() {
    // [NIT] [BEL]. Packed ASCII: 50 11 E0 is 14 01 07 20 in sixes: T A G and a blank.
    let (_, reply) = told("nit-cmd13-reply-01");
    let want = json!({"tag": "TAG", "descriptor": "VORTEX FLOWMETER", "date": "2011-01-15"});
    assert_eq!(reply["values"], want);
    let (_, reply) = told("nit-cmd12-reply-01");
    let message = reply["values"]["message"].as_str().expect("a text");
    assert!(message.ends_with(" VORTEX DIGITAL PROCESSOR") && message.len() == 30, "{message:?}");
    // 43 96 00 00 is 300, 38 D1 B7 17 is 0.0001 to seven digits.
    let (_, reply) = told("nit-cmd14-reply-01");
    let want = json!({
        "serial_number": 0, "transducer_unit": 0x13, "upper_limit": 300.0, "lower_limit": 0.0,
        "minimum_span": 0.0001,
    });
    assert_values("nit14", &reply, 1e-11, &pairs(&want));
    assert_texts("nit14", &reply, &[("upper_limit", "300 m3/h")]);
    // 17 octets: revision 5, with a private label of one octet. 42 20 00 00 is 40.
    let (json, reply) = told("nit-cmd15-reply-01");
    assert_eq!(json["revision"], json!(5));
    let want = json!({
        "alarm_selection": 0, "transfer_function": 0, "range_unit": 0x13, "upper_range_value": 300.0,
        "lower_range_value": 0.0, "damping": 40.0, "write_protect": 251, "private_label": 0x12,
    });
    assert_eq!(reply["values"], want);
    assert_texts("nit15", &reply, &[("damping", "40 s"), ("upper_range_value", "300 m3/h")]);

    // [SPEC1756] [SPEC1769]: unit 32, upper 600, lower -150.
    for name in ["spec1756-cmd35-request-01", "spec1769-cmd35-request-01", "spec1769-cmd35-reply-01"] {
        let exchange = meaning(name, &fixture(name), &mut Interpreter::new(None));
        let direction = if name.contains("request") { Direction::Request } else { Direction::Reply };
        let values: Vec<Value> = exchange.fields(direction).map(|v| v.found.value(v.data)).collect();
        assert_eq!(values, [Value::Number(32), Value::float(600.0), Value::float(-150.0)], "{name}");
    }
}

fn pairs(values: &Json) -> Vec<(&str, Json)> {
    values.as_object().expect("an object").iter().map(|(k, v)| (k.as_str(), v.clone())).collect()
}

/// [ICS]: what the captures' other frames hold, octet by octet.
#[test]
fn captured_requests_and_status() {
    let values = |name: &str| told(name).1["values"].clone();
    assert_eq!(values("ics-cmd6-request-01"), json!({"polling_address": 0, "loop_current_mode": 0}));
    let codes = values("ics-cmd9-request-01");
    let codes: Vec<u64> = (0..8).filter_map(|n| codes[format!("slot{n}_code")].as_u64()).collect();
    assert_eq!(codes, [0, 1, 2, 244, 245, 246, 247, 248]);
    // The date 7B 08 0A is none that a calendar has.
    assert_eq!(values("ics-cmd18-request-01")["date"], json!("raw:7B080A"));
    assert_eq!(values("ics-cmd19-request-01"), json!({"final_assembly_number": 0}));
    for name in ["ics-cmd21-request-01", "ics-cmd22-request-01"] {
        assert_eq!(values(name), json!({"long_tag": "b8-27-eb-95-26-6f"}));
    }
    for (name, command, data) in [
        ("ics-cmd31-request-01", 533, "00000000000001"),
        ("ics-cmd31-request-02", 533, "00000000000000"),
        ("ics-cmd31-reply-01", 533, "00000000000001"),
        ("ics-cmd31-reply-02", 533, "00000000000000"),
        ("ics-cmd31-reply-03", 520, &"00".repeat(32)),
    ] {
        assert_eq!(values(name), json!({"extended_command": command, "extended_data": data}), "{name}");
    }
    assert_eq!(values("ics-cmd31-request-03"), json!({"extended_command": 520}));
    assert_eq!(values("ics-cmd31-request-04"), json!({"extended_command": 543}));
    // Command 48 with 13 data octets, HART 7.
    let want = json!({
        "device_status": "100407000000", "extended_status": 2, "operating_mode": 0,
        "standardized_status_0": 0, "standardized_status_1": 0, "analog_saturated": 0,
        "standardized_status_2": 0, "standardized_status_3": 0,
    });
    assert_eq!(values("ics-cmd48-reply-01"), want);
    // Command 9 with four slots: 42 01 00 00 is 32.25, 41 FE 00 00 is 31.75.
    let (json, reply) = told("ics-cmd9-reply-01");
    assert_eq!(json["revision"], json!(7));
    let want = json!({
        "extended_status": 2,
        "slot0_code": 0, "slot0_class": 0, "slot0_unit": 251, "slot0_value": 0.0, "slot0_status": 0x10,
        "slot1_code": 1, "slot1_class": 0, "slot1_unit": 251, "slot1_value": 0.0, "slot1_status": 0xC0,
        "slot2_code": 2, "slot2_class": 64, "slot2_unit": 32, "slot2_value": 32.25, "slot2_status": 0xC0,
        "slot3_code": 3, "slot3_class": 64, "slot3_unit": 32, "slot3_value": 31.75, "slot3_status": 0xC0,
        "time": f64::from(0x6911_7600) / 32.0,
    });
    assert_eq!(reply["values"], want);
}

/// [ICS]: 14 of the capture's 18 bursts.
#[test]
fn bursts() {
    let all: Vec<Fixture> = fixtures().into_iter().filter(|f| f.key("kind") == "burst").collect();
    assert_eq!(all.len(), 14);
    let mut times = Vec::new();
    for (n, f) in all.iter().enumerate() {
        let (json, reply) = told(&f.name);
        assert_eq!(
            (&json["kind"], &json["revision"], &reply["type"]),
            (&json!("burst"), &json!(7), &json!("BACK"))
        );
        // Without exception for one master and the other in turn, always with the burst bit.
        let master = if n % 2 == 0 { "secondary" } else { "primary" };
        assert_eq!((&reply["master"], &reply["burst"]), (&json!(master), &json!(true)), "{}", f.name);
        let values = &reply["values"];
        for (slot, unit, status) in [(0, 75, 0xC0), (1, 39, 0x40), (2, 61, 0x00)] {
            for (key, want) in [("code", slot), ("class", 0), ("unit", unit), ("status", status)] {
                assert_eq!(values[format!("slot{slot}_{key}")], json!(want), "{}", f.name);
            }
        }
        assert_eq!(values["extended_status"], json!(1));
        times.push(values["time"].as_f64().expect("a number"));
    }
    // 46 38 6E 3D is 11803.5596, 42 A7 F4 2C is 83.9769 by IEEE 754.
    let (_, first) = told("ics-cmd9-burst-01");
    assert_values("burst 1", &first, 1e-3, &[("slot0_value", json!(11803.5596))]);
    let others = [("slot1_value", json!(83.9769)), ("slot2_value", json!(0))];
    assert_values("burst 1", &first, 1e-4, &others);
    // The first two stamps are A3 9F 5E C2 and A3 9F 7E 08, 1F46 hex = 8006 units of 1/32 ms apart.
    assert_eq!(times[1] - times[0], 8006.0 / 32.0);
    assert_eq!(format!("{:.1}", times[1] - times[0]), "250.2");
    assert!(times.is_sorted());
}

/// What passes when these frames follow one another, 20 ms apart.
fn passed(frames: &[(&str, &[u8])]) -> Vec<Transaction> {
    let mut pairer = Pairer::new(PairerConfig::for_line(Pace::Wire, Duration::ZERO));
    let mut at = Instant::ZERO;
    for (name, octets) in frames {
        at += Duration::from_millis(20);
        let stamped = stamped(&after_preambles(octets), at);
        at = stamped.last().expect("not empty").at;
        match receive(&stamped).pop() {
            Some(reception @ Reception::Good(_)) => pairer.push(reception),
            other => panic!("{name}: {other:?}"),
        }
    }
    pairer.finish();
    let only = |p| match p {
        Passed::Transaction(t) => *t,
        other => panic!("{other:?}"),
    };
    std::iter::from_fn(|| pairer.next()).map(only).collect()
}

/// [FR-15] [ICS]: each captured error reply names the primary master though the secondary asked, says 84 and
/// 00, and still belongs to the request in the packet before.
#[test]
fn error_replies_pair_with_their_requests() {
    let all = fixtures();
    let before = |f: &Fixture| {
        let (file, packet) = f.packet().expect("from a capture");
        let (file, packet) = (file.to_owned(), packet - 1);
        all.iter().find(|r| r.key("kind") == "request" && r.packet() == Some((&file, packet)))
    };
    let (mut paired, mut alone) = (0, 0);
    for f in all.iter().filter(|f| f.key("kind") == "reply" && f.octets[8..].starts_with(&[0x84])) {
        assert_eq!(f.octets.len(), 11, "{}: status and nothing else", f.name);
        let json = match before(f) {
            Some(request) => {
                let mut got = passed(&[(&request.name, &request.octets), (&f.name, &f.octets)]);
                assert_eq!(got.len(), 1, "{}", f.name);
                let t = got.remove(0);
                assert_eq!((t.kind, t.outcome), (Kind::Asked, Outcome::Answered), "{}", f.name);
                assert_eq!(t.oddities, Oddities::MASTER_BIT_FLIPPED, "{}", f.name);
                assert_eq!(t.response_time, Some(Duration::from_millis(20)));
                paired += 1;
                json_of(&Interpreter::new(None).read(t))
            }
            None => {
                alone += 1;
                json_of(&meaning(&f.name, &f.octets, &mut Interpreter::new(None)))
            }
        };
        let reply = &json["reply"];
        // The reserved bit is the only one that says anything, so it is shown [ST-01].
        assert_eq!((&reply["communication_error"], &reply["response"]), (&json!(0x84), &json!("bit 0x04")));
        assert_eq!((&reply["device_status"], &reply["values"]), (&json!(0), &json!({})), "{}", f.name);
        assert!(reply.get("response_code").is_none(), "{}", f.name);
    }
    // Of the 21 error replies that are fixtures, 15 have their request among the fixtures too.
    assert_eq!((paired, alone), (15, 6));
}

/// [1770] [NIT] [SPEC1769] [ICS]: requests and replies that go together and have nothing odd but what is said.
#[test]
fn requests_pair_with_their_replies() {
    let odd = Oddities::BURST_BIT_IN_REPLY;
    for (request, reply, oddities) in [
        ("1770-cmd0-request-01", "1770-cmd0-reply-01", Oddities::NONE),
        ("1770-cmd1-request-01", "1770-cmd1-reply-01", Oddities::NONE),
        ("nit-cmd11-request-01", "nit-cmd11-reply-01", Oddities::NONE),
        ("nit-cmd12-request-01", "nit-cmd12-reply-01", Oddities::NONE),
        ("nit-cmd13-request-01", "nit-cmd13-reply-01", Oddities::NONE),
        ("nit-cmd14-request-01", "nit-cmd14-reply-01", Oddities::NONE),
        ("nit-cmd15-request-01", "nit-cmd15-reply-01", Oddities::NONE),
        ("spec1769-cmd35-request-01", "spec1769-cmd35-reply-01", Oddities::NONE),
        ("ics-cmd2-request-01", "ics-cmd2-reply-01", Oddities::NONE),
        ("ics-cmd3-request-01", "ics-cmd3-reply-01", Oddities::NONE),
        ("ics-cmd48-request-01", "ics-cmd48-reply-01", Oddities::NONE),
        ("ics-cmd31-request-01", "ics-cmd31-reply-01", Oddities::NONE),
        ("ics-cmd31-request-02", "ics-cmd31-reply-02", Oddities::NONE),
        // [FR-15]: the reply alone has the burst bit.
        ("ics-cmd0-request-01", "ics-cmd0-reply-02", odd),
        ("ics-cmd31-request-03", "ics-cmd31-reply-03", odd),
        ("ics-cmd54-request-01", "ics-cmd54-reply-01", odd),
    ] {
        let got = passed(&[(request, &fixture(request)), (reply, &fixture(reply))]);
        match &got[..] {
            [t] => assert_eq!((t.outcome, t.oddities), (Outcome::Answered, oddities), "{reply}"),
            other => panic!("{reply}: {other:?}"),
        }
    }
}

/// [FR-15] [ICS]: the device 39FD95266F leaves out the type bits in its bursts (40 and C0 for 79 and F9). That
/// shows only once its whole address was heard.
#[test]
fn bursts_without_type_bits() {
    let all = fixtures();
    let bursts: Vec<&Fixture> = all.iter().filter(|f| f.key("kind") == "burst").collect();
    let frames: Vec<(&str, &[u8])> = bursts.iter().map(|f| (f.name.as_str(), &f.octets[..])).collect();
    let heard = good("request", &fixture("ics-cmd20-request-01"));
    assert_eq!(heard.frame.address().target.to_string(), "39FD95266F");
    let request = fixture("ics-cmd20-request-01");
    let after: Vec<Transaction> = passed(&[&[("request", &request[..])], &frames[..]].concat());
    assert_eq!(after.len(), 15);
    assert_eq!(after[0].outcome, Outcome::Silent);
    for (known, got) in [(true, &after[1..]), (false, &passed(&frames)[..])] {
        assert_eq!(got.len(), 14);
        for t in got {
            let want = if known { Oddities::ADDRESS_BITS_ZEROED } else { Oddities::NONE };
            assert_eq!((t.kind, t.oddities), (Kind::Burst, want));
            let frame = t.reply_frame().expect("a burst has a frame");
            assert_eq!(frame.frame_type(), FrameType::Back);
            assert_eq!(frame.address().target.to_string(), "00FD95266F");
        }
    }
}

/// [1770]: the frame's own octets stand where a value says it comes from. Counted from the delimiter in the printed
/// frame: address 1-5, command 6, byte count 7, status 8-9, unit 10, PV 11-14.
#[test]
fn values_tell_where_they_come_from() {
    let octets = fixture("1770-cmd1-reply-01");
    let exchange = meaning("1770", &octets, &mut Interpreter::new(None));
    let spans: Vec<_> = exchange.fields_of_reply().map(|v| v.span()).collect();
    assert_eq!(spans, [10..11, 11..15]);
    assert_eq!(octets[10..15], [0x20, 0x42, 0x91, 0x39, 0x56]);
    let mut text = String::new();
    write_exchange_with(&exchange, true, &mut text);
    let json: Json = serde_json::from_str(&text).expect("JSON");
    assert_eq!(json["reply"]["spans"], json!({"pv_unit": [10, 1], "pv": [11, 4]}));
    let mut compared = 0;
    for f in fixtures().iter().filter(|f| f.is_frame()) {
        let exchange = meaning(&f.name, &f.octets, &mut Interpreter::new(None));
        for direction in [Direction::Request, Direction::Reply] {
            for v in exchange.fields(direction) {
                assert_eq!(&f.octets[v.span()], v.found.octets(v.data), "{}", f.name);
                compared += 1;
            }
        }
    }
    assert!(compared > 300, "{compared}");
}

/// Octets and their times stay with the frame: preambles, then what the source prints.
#[test]
fn octets_stay_with_the_frame() {
    for f in fixtures().iter().filter(|f| f.is_frame()) {
        let Good { frame, preambles, octets } = good(&f.name, &f.octets);
        let values: Vec<u8> = octets.iter().map(|o| o.value).collect();
        assert_eq!((preambles, &values[5..]), (5, &f.octets[..]), "{}", f.name);
        assert_eq!(frame.command(), f.octets[command_at(&f.octets)], "{}", f.name);
    }
}
