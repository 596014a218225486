//! Rows of common practice against data put together by hand from `protocol-notes/command-facts.md`, and against the
//! direct PDUs of [ICS].
//!
//! Floats by IEEE 754: 3F000000 is 0.5, 3F800000 1, 40000000 2, 40800000 4, 40A00000 5, 41200000 10, 41400000 12,
//! 41A00000 20, 42480000 50, 42C80000 100, C1200000 -10. Times are in 1/32 ms: 7D00 hex = 32000 is a second.

mod support;

use looprig::app::command::Revision::{self, R5, R6, R7};
use looprig::app::command::{self, Decoded, Direction, Missing, Value, layout, spec, universal};
use looprig::exchange::{Exchange, Interpreter};
use looprig::frame::{Address, Frame, Master, PollingAddress, Target};
use serde_json::{Value as Json, json};
use std::collections::{BTreeMap, BTreeSet};
use support::{fixture, meaning, octets};

const ASK: Direction = Direction::Request;
const TELL: Direction = Direction::Reply;

/// Command, revision, direction, data in hex, and all values in them by name.
type Golden = (u16, Revision, Direction, &'static str, Json);

/// Decodes data by the row's layout; they must be laid out whole. The values by name.
fn values(number: u16, revision: Revision, direction: Direction, data: &[u8]) -> BTreeMap<String, Json> {
    let what = format!("command {number}, revision {revision}, {direction:?}");
    let form = spec(number).and_then(|s| s.form(revision)).unwrap_or_else(|| panic!("{what}: no form"));
    let mut found = Decoded::default();
    layout::decode(form.layout(direction), data, &mut found);
    assert!(found.complete && usize::from(found.surplus_from) == data.len(), "{what}: {found:?}");
    found.fields.iter().map(|f| (f.name().to_string(), f.value(data).to_json())).collect()
}

fn check(goldens: &[Golden]) {
    for (number, revision, direction, hex, want) in goldens {
        let what = format!("command {number}, revision {revision}, {direction:?}");
        let data = if hex.is_empty() { Vec::new() } else { octets(hex) };
        let got = values(*number, *revision, *direction, &data);
        assert_eq!(json!(got), *want, "{what}");
        // Made again as a request is: every value must be there, none is left over.
        let form = spec(*number).and_then(|s| s.form(*revision)).expect("seen above");
        let mut unused: BTreeSet<&String> = got.keys().collect();
        let again = layout::encode(form.layout(*direction), Missing::Error, &mut |name, kind| {
            unused.remove(&name.to_owned());
            got.get(name).map(|json| Value::from_json(kind, json)).transpose()
        });
        assert_eq!(again.as_deref(), Ok(&data[..]), "{what}");
        assert!(unused.is_empty(), "{what}: {unused:?}");
    }
}

fn goldens() -> Vec<Golden> {
    let long_tag = format!("46 56 2D 33 31 30 34{}", " 00".repeat(25));
    let sub_device: &'static str =
        format!("00 01 02 03 00 FD 3D 0D 01 02 03 07 {long_tag} 04 01 00 FD").leak();
    vec![
        // Device variables.
        (33, R5, ASK, "00 F6", json!({"slot0_code": 0, "slot1_code": 246})),
        (33, R5, TELL, "00 39 42 48 00 00", json!({"slot0_code": 0, "slot0_unit": 57, "slot0_value": 50.0})),
        (50, R5, TELL, "00 01 FA FA", json!({"pv_code": 0, "sv_code": 1, "tv_code": 250, "qv_code": 250})),
        (51, R7, ASK, "02 01", json!({"pv_code": 2, "sv_code": 1})),
        (51, R7, TELL, "02 01 FA FA", json!({"pv_code": 2, "sv_code": 1, "tv_code": 250, "qv_code": 250})),
        (52, R7, ASK, "01", json!({"code": 1})),
        (52, R7, TELL, "01", json!({"code": 1})),
        (53, R7, ASK, "01 31", json!({"code": 1, "unit": 49})),
        (53, R7, TELL, "01 31", json!({"code": 1, "unit": 49})),
        (54, R5, ASK, "01", json!({"code": 1})),
        (
            54,
            R5,
            TELL,
            "01 00 30 39 39 42 C8 00 00 00 00 00 00 3F 80 00 00",
            json!({"code": 1, "serial_number": 12345, "unit": 57, "upper_limit": 100.0, "lower_limit": 0.0, "damping": 1.0}),
        ),
        (54, R7, ASK, "01", json!({"code": 1})),
        (
            54,
            R7,
            TELL,
            "01 00 30 39 39 42 C8 00 00 C1 20 00 00 3F 80 00 00 40 A0 00 00 00 06 00 00 7D 00",
            json!({
                "code": 1, "serial_number": 12345, "unit": 57, "upper_limit": 100.0, "lower_limit": -10.0,
                "damping": 1.0, "minimum_span": 5.0, "class": 0, "family": 6, "update_period": 1000.0,
            }),
        ),
        (55, R5, ASK, "00 3F 00 00 00", json!({"code": 0, "damping": 0.5})),
        (55, R5, TELL, "00 3F 00 00 00", json!({"code": 0, "damping": 0.5})),
        (56, R5, ASK, "00 00 01 00", json!({"code": 0, "serial_number": 256})),
        (56, R5, TELL, "00 00 01 00", json!({"code": 0, "serial_number": 256})),
        (
            79,
            R7,
            ASK,
            "00 01 39 42 48 00 00 C0",
            json!({"code": 0, "write_command": 1, "unit": 57, "value": 50.0, "status": 0xC0}),
        ),
        (
            79,
            R7,
            TELL,
            "00 01 39 42 48 00 00 C0",
            json!({"code": 0, "write_command": 1, "unit": 57, "value": 50.0, "status": 0xC0}),
        ),
        (80, R7, ASK, "01", json!({"code": 1})),
        (
            80,
            R7,
            TELL,
            "01 39 00 00 00 00 42 C8 00 00",
            json!({"code": 1, "unit": 57, "lower_trim_point": 0.0, "upper_trim_point": 100.0}),
        ),
        (81, R7, ASK, "01", json!({"code": 1})),
        (
            81,
            R7,
            TELL,
            "01 03 39 C1 20 00 00 41 20 00 00 42 48 00 00 42 C8 00 00 41 A0 00 00",
            json!({
                "code": 1, "points": 3, "unit": 57, "minimum_lower": -10.0, "maximum_lower": 10.0,
                "minimum_upper": 50.0, "maximum_upper": 100.0, "minimum_difference": 20.0,
            }),
        ),
        (82, R7, ASK, "01 02 39 42 C8 00 00", json!({"code": 1, "point": 2, "unit": 57, "value": 100.0})),
        (82, R7, TELL, "01 02 39 42 C8 00 00", json!({"code": 1, "point": 2, "unit": 57, "value": 100.0})),
        (83, R7, ASK, "01", json!({"code": 1})),
        (83, R7, TELL, "01", json!({"code": 1})),
        (
            110,
            R5,
            TELL,
            "39 42 48 00 00 39 42 C8 00 00 27 41 40 00 00 20 41 A0 00 00",
            json!({
                "pv_unit": 57, "pv": 50.0, "sv_unit": 57, "sv": 100.0, "tv_unit": 39, "tv": 12.0, "qv_unit": 32,
                "qv": 20.0,
            }),
        ),
        // Range, damping, unit of the primary variable.
        (34, R5, ASK, "3F 00 00 00", json!({"damping": 0.5})),
        (34, R5, TELL, "3F 00 00 00", json!({"damping": 0.5})),
        (
            35,
            R5,
            ASK,
            "39 42 C8 00 00 00 00 00 00",
            json!({"range_unit": 57, "upper_range_value": 100.0, "lower_range_value": 0.0}),
        ),
        (
            35,
            R5,
            TELL,
            "39 42 C8 00 00 00 00 00 00",
            json!({"range_unit": 57, "upper_range_value": 100.0, "lower_range_value": 0.0}),
        ),
        (44, R5, ASK, "07", json!({"pv_unit": 7})),
        (44, R5, TELL, "07", json!({"pv_unit": 7})),
        (47, R5, ASK, "0C", json!({"transfer_function": 12})),
        (47, R5, TELL, "0C", json!({"transfer_function": 12})),
        // The loop current.
        (40, R5, ASK, "41 40 00 00", json!({"loop_current": 12.0})),
        (40, R5, TELL, "41 40 00 00", json!({"loop_current": 12.0})),
        (45, R5, ASK, "40 80 00 00", json!({"measured_current": 4.0})),
        (45, R5, TELL, "40 80 00 00", json!({"measured_current": 4.0})),
        (46, R5, ASK, "41 A0 00 00", json!({"measured_current": 20.0})),
        (46, R5, TELL, "41 A0 00 00", json!({"measured_current": 20.0})),
        // The device as a whole. Packed ASCII: 19 4B 71 C3 18 20 is "FT-101" [TSHARK], 82 08 20 four spaces.
        (39, R5, ASK, "00", json!({"eeprom_control": 0})),
        (39, R5, TELL, "01", json!({"eeprom_control": 1})),
        (49, R5, ASK, "00 01 00", json!({"serial_number": 256})),
        (49, R5, TELL, "00 01 00", json!({"serial_number": 256})),
        (
            57,
            R5,
            TELL,
            "19 4B 71 C3 18 20 82 08 20 82 08 20 82 08 20 82 08 20 0F 01 6F",
            json!({"tag": "FT-101", "descriptor": "", "date": "2011-01-15"}),
        ),
        (
            58,
            R5,
            ASK,
            "19 4B 71 C3 18 20 82 08 20 82 08 20 82 08 20 82 08 20 0F 01 6F",
            json!({"tag": "FT-101", "descriptor": "", "date": "2011-01-15"}),
        ),
        (
            58,
            R5,
            TELL,
            "19 4B 71 C3 18 20 82 08 20 82 08 20 82 08 20 82 08 20 0F 01 6F",
            json!({"tag": "FT-101", "descriptor": "", "date": "2011-01-15"}),
        ),
        (59, R5, ASK, "05", json!({"preambles_reply": 5})),
        (59, R5, TELL, "05", json!({"preambles_reply": 5})),
        (95, R7, TELL, "01 02 01 00 00 03", json!({"requests": 258, "replies": 256, "bursts": 3})),
        // Analog channels.
        (60, R5, ASK, "00", json!({"channel": 0})),
        (
            60,
            R5,
            TELL,
            "00 27 41 40 00 00 42 48 00 00",
            json!({"channel": 0, "unit": 39, "level": 12.0, "percent_of_range": 50.0}),
        ),
        (
            61,
            R5,
            TELL,
            "27 41 40 00 00 39 42 48 00 00 39 42 C8 00 00 FA 7F A0 00 00 FA 7F A0 00 00",
            json!({
                "unit": 39, "level": 12.0, "pv_unit": 57, "pv": 50.0, "sv_unit": 57, "sv": 100.0, "tv_unit": 250,
                "tv": "not-a-number", "qv_unit": 250, "qv": "not-a-number",
            }),
        ),
        (62, R5, ASK, "00 01", json!({"slot0_channel": 0, "slot1_channel": 1})),
        (
            62,
            R5,
            TELL,
            "01 27 40 80 00 00",
            json!({"slot0_channel": 1, "slot0_unit": 39, "slot0_level": 4.0}),
        ),
        (63, R5, ASK, "00", json!({"channel": 0})),
        (
            63,
            R5,
            TELL,
            "00 FA 00 39 42 C8 00 00 00 00 00 00 3F 80 00 00",
            json!({
                "channel": 0, "alarm_selection": 250, "transfer_function": 0, "range_unit": 57,
                "upper_range_value": 100.0, "lower_range_value": 0.0, "damping": 1.0,
            }),
        ),
        (63, R7, ASK, "00", json!({"channel": 0})),
        (
            63,
            R7,
            TELL,
            "00 FA 00 39 42 C8 00 00 00 00 00 00 3F 80 00 00 01",
            json!({
                "channel": 0, "alarm_selection": 250, "transfer_function": 0, "range_unit": 57,
                "upper_range_value": 100.0, "lower_range_value": 0.0, "damping": 1.0, "analog_channel_flags": 1,
            }),
        ),
        (64, R5, ASK, "01 40 00 00 00", json!({"channel": 1, "damping": 2.0})),
        (64, R5, TELL, "01 40 00 00 00", json!({"channel": 1, "damping": 2.0})),
        (
            65,
            R5,
            ASK,
            "01 39 42 C8 00 00 41 20 00 00",
            json!({"channel": 1, "range_unit": 57, "upper_range_value": 100.0, "lower_range_value": 10.0}),
        ),
        (
            65,
            R5,
            TELL,
            "01 39 42 C8 00 00 41 20 00 00",
            json!({"channel": 1, "range_unit": 57, "upper_range_value": 100.0, "lower_range_value": 10.0}),
        ),
        (66, R5, ASK, "01 27 41 40 00 00", json!({"channel": 1, "unit": 39, "level": 12.0})),
        (66, R5, TELL, "01 27 41 40 00 00", json!({"channel": 1, "unit": 39, "level": 12.0})),
        (67, R5, ASK, "01 27 40 80 00 00", json!({"channel": 1, "unit": 39, "measured_level": 4.0})),
        (67, R5, TELL, "01 27 40 80 00 00", json!({"channel": 1, "unit": 39, "measured_level": 4.0})),
        (68, R5, ASK, "01 27 41 A0 00 00", json!({"channel": 1, "unit": 39, "measured_level": 20.0})),
        (68, R5, TELL, "01 27 41 A0 00 00", json!({"channel": 1, "unit": 39, "measured_level": 20.0})),
        (69, R5, ASK, "01 00", json!({"channel": 1, "transfer_function": 0})),
        (69, R5, TELL, "01 00", json!({"channel": 1, "transfer_function": 0})),
        (70, R5, ASK, "00", json!({"channel": 0})),
        (
            70,
            R5,
            TELL,
            "00 27 41 A0 00 00 40 80 00 00",
            json!({"channel": 0, "unit": 39, "upper_endpoint": 20.0, "lower_endpoint": 4.0}),
        ),
        (70, R7, ASK, "00", json!({"channel": 0})),
        (
            70,
            R7,
            TELL,
            "00 27 41 A0 00 00 40 80 00 00 42 48 00 00 00 00 00 00",
            json!({
                "channel": 0, "unit": 39, "upper_endpoint": 20.0, "lower_endpoint": 4.0, "upper_limit": 50.0,
                "lower_limit": 0.0,
            }),
        ),
        // Lock, squawk, find. The identity is the one of [TSHARK]'s message 8.
        (71, R7, ASK, "02", json!({"lock_code": 2})),
        (71, R7, TELL, "02", json!({"lock_code": 2})),
        (72, R7, ASK, "", json!({})),
        (72, R7, TELL, "01", json!({"squawk_control": 1})),
        (73, R7, TELL, IDENTITY, identity()),
        (76, R7, TELL, "05", json!({"lock_status": 5})),
        // I/O systems.
        (
            74,
            R7,
            TELL,
            "04 08 0F 00 10 02 01 03",
            json!({
                "max_cards": 4, "max_channels": 8, "max_sub_devices": 15, "devices_detected": 16,
                "max_delayed_responses": 2, "master_mode": 1, "retries": 3,
            }),
        ),
        (75, R7, ASK, "01 02 0F", json!({"io_card": 1, "channel": 2, "polling_address": 15})),
        (75, R7, TELL, IDENTITY, identity()),
        (84, R7, ASK, "00 01", json!({"index": 1})),
        (
            84,
            R7,
            TELL,
            sub_device,
            json!({
                "index": 1, "io_card": 2, "channel": 3, "manufacturer_id": 0xFD, "expanded_device_type": 0x3D0D,
                "device_id": 0x010203, "universal_revision": 7, "long_tag": "FV-3104", "device_revision": 4,
                "device_profile": 1, "private_label": 0xFD,
            }),
        ),
        (85, R7, ASK, "01 02", json!({"io_card": 1, "channel": 2})),
        (
            85,
            R7,
            TELL,
            "01 02 01 00 00 FF 00 03 00 02 00 01",
            json!({
                "io_card": 1, "channel": 2, "requests": 256, "replies": 255, "other_requests": 3,
                "other_replies": 2, "bursts": 1,
            }),
        ),
        (86, R7, ASK, "00 01", json!({"index": 1})),
        (
            86,
            R7,
            TELL,
            "00 01 00 04 00 03 00 02",
            json!({"index": 1, "requests": 4, "replies": 3, "bursts": 2}),
        ),
        (87, R7, ASK, "01", json!({"master_mode": 1})),
        (87, R7, TELL, "01", json!({"master_mode": 1})),
        (88, R7, ASK, "03", json!({"retries": 3})),
        (88, R7, TELL, "03", json!({"retries": 3})),
        // The clock: 06 FB 99 20 is 3661001 ms [TY-07], 7E = 126 is 2026.
        (
            89,
            R7,
            ASK,
            "01 19 0B 7E 06 FB 99 20 00 00",
            json!({"time_set": 1, "date": "2026-11-25", "time": 3661001.0, "reserved": 0}),
        ),
        (
            89,
            R7,
            TELL,
            "01 19 0B 7E 06 FB 99 20",
            json!({"time_set": 1, "date": "2026-11-25", "time": 3661001.0}),
        ),
        (
            90,
            R7,
            TELL,
            "19 0B 7E 06 FB 99 20 0F 01 6F 00 00 7D 00 02",
            json!({
                "date": "2026-11-25", "time": 3661001.0, "date_set": "2011-01-15", "time_of_setting": 1000.0,
                "clock_flags": 2,
            }),
        ),
        // Burst messages.
        (
            103,
            R7,
            ASK,
            "00 00 00 3E 80 00 00 7D 00",
            json!({"burst_message": 0, "update_period": 500.0, "maximum_update_period": 1000.0}),
        ),
        (
            103,
            R7,
            TELL,
            "00 00 00 3E 80 00 00 7D 00",
            json!({"burst_message": 0, "update_period": 500.0, "maximum_update_period": 1000.0}),
        ),
        (
            104,
            R7,
            ASK,
            "01 02 00 39 42 48 00 00",
            json!({"burst_message": 1, "trigger_mode": 2, "trigger_class": 0, "trigger_unit": 57, "trigger_level": 50.0}),
        ),
        (
            104,
            R7,
            TELL,
            "01 02 00 39 42 48 00 00",
            json!({"burst_message": 1, "trigger_mode": 2, "trigger_class": 0, "trigger_unit": 57, "trigger_level": 50.0}),
        ),
        (105, R7, ASK, "00", json!({"burst_message": 0})),
        (
            105,
            R7,
            TELL,
            "01 1F 00 01 FA FA FA FA FA FA 00 03 00 09 00 00 3E 80 00 00 7D 00 00 00 FA 7F A0 00 00",
            configuration(true),
        ),
        // The same by the older form: command 9 where 31 stands, and no 16 bits further on.
        (
            105,
            R7,
            TELL,
            "01 09 00 01 FA FA FA FA FA FA 00 03 00 00 3E 80 00 00 7D 00 00 00 FA 7F A0 00 00",
            configuration(false),
        ),
        (
            107,
            R5,
            ASK,
            "00 01 02 03",
            json!({"slot0_code": 0, "slot1_code": 1, "slot2_code": 2, "slot3_code": 3}),
        ),
        (
            107,
            R5,
            TELL,
            "00 01 02 03",
            json!({"slot0_code": 0, "slot1_code": 1, "slot2_code": 2, "slot3_code": 3}),
        ),
        (107, R7, ASK, "00 01 FA FA FA FA FA FA 02", eight()),
        (107, R7, TELL, "00 01 FA FA FA FA FA FA 02", eight()),
        (108, R5, ASK, "03", json!({"burst_command_8_bit": 3})),
        (108, R5, TELL, "03", json!({"burst_command_8_bit": 3})),
        (108, R7, ASK, "02 08 01", json!({"burst_command": 520, "burst_message": 1})),
        (108, R7, TELL, "09 01", json!({"burst_command_8_bit": 9, "burst_message": 1})),
        (109, R5, ASK, "01", json!({"burst_control": 1})),
        (109, R5, TELL, "01", json!({"burst_control": 1})),
        (109, R7, ASK, "01 00", json!({"burst_control": 1, "burst_message": 0})),
        (109, R7, TELL, "01 00", json!({"burst_control": 1, "burst_message": 0})),
        // Commands that carry others.
        (31, R7, ASK, "02 00", json!({"extended_command": 512})),
        (31, R7, ASK, "02 01 55 4B", json!({"extended_command": 513, "raw_data": "554B"})),
        (31, R6, TELL, "02 15 00 01", json!({"extended_command": 533, "extended_data": "0001"})),
        (
            77,
            R7,
            ASK,
            "01 02 05 82 BD 0D 01 02 03 00 00",
            json!({
                "io_card": 1, "channel": 2, "inner_preambles": 5, "inner_delimiter": 0x82,
                "inner_address": "BD0D010203", "inner_command": 0, "inner_byte_count": 0,
            }),
        ),
        (
            77,
            R7,
            TELL,
            "01 02 86 BD 0D 01 02 03 01 02 40 00",
            json!({
                "io_card": 1, "channel": 2, "inner_delimiter": 0x86, "inner_address": "BD0D010203",
                "inner_command": 1, "inner_byte_count": 2, "inner_data": "4000",
            }),
        ),
        (
            78,
            R7,
            ASK,
            "02 00 01 00 00 21 02 00 F6",
            json!({
                "count": 2, "slot0_command": 1, "slot0_byte_count": 0, "slot0_data": "", "slot1_command": 33,
                "slot1_byte_count": 2, "slot1_data": "00F6",
            }),
        ),
        (
            78,
            R7,
            TELL,
            "00 01 00 01 06 00 39 42 48 00 00",
            json!({"extended_status": 0, "count": 1, "slot0_command": 1, "slot0_byte_count": 6, "slot0_data": "003942480000"}),
        ),
    ]
}

const IDENTITY: &str = "FE 26 0D 05 07 02 01 08 00 00 15 11 05 04 00 07 01 00 26 00 26 01";

fn identity() -> Json {
    json!({
        "expansion": 254, "expanded_device_type": 0x260D, "preambles_request": 5, "universal_revision": 7,
        "device_revision": 2, "software_revision": 1, "hardware_revision": 1, "physical_signalling": 0, "flags": 0,
        "device_id": 0x1511, "preambles_reply": 5, "last_device_variable": 4, "configuration_change_counter": 7,
        "extended_status": 1, "manufacturer_id": 0x26, "private_label": 0x26, "device_profile": 1,
    })
}

fn configuration(newer: bool) -> Json {
    let mut json = json!({
        "burst_control": 1, "slot0_code": 0, "slot1_code": 1, "slot2_code": 250, "slot3_code": 250,
        "slot4_code": 250, "slot5_code": 250, "slot6_code": 250, "slot7_code": 250, "burst_message": 0,
        "maximum_burst_messages": 3, "update_period": 500.0, "maximum_update_period": 1000.0, "trigger_mode": 0,
        "trigger_class": 0, "trigger_unit": 250, "trigger_level": "not-a-number",
    });
    if newer {
        json["extension"] = 31.into();
        json["burst_command"] = 9.into();
    } else {
        json["burst_command_8_bit"] = 9.into();
    }
    json
}

fn eight() -> Json {
    json!({
        "slot0_code": 0, "slot1_code": 1, "slot2_code": 250, "slot3_code": 250, "slot4_code": 250,
        "slot5_code": 250, "slot6_code": 250, "slot7_code": 250, "burst_message": 2,
    })
}

#[test]
fn data_made_by_hand() {
    check(&goldens());
}

/// No layout of common practice is without data made by hand, but those that are not known.
#[test]
fn every_layout_has_data_made_by_hand() {
    let has: BTreeSet<_> =
        goldens().iter().map(|g| (g.0, spec(g.0).and_then(|s| s.form(g.1)).map(|f| f.from), g.2)).collect();
    let universal: BTreeSet<u16> = universal::ROWS.iter().map(|r| r.number).collect();
    let mut missing = Vec::new();
    for row in command::all().into_iter().filter(|r| !universal.contains(&r.number)) {
        for form in row.forms {
            for direction in [ASK, TELL] {
                let layout = form.layout(direction);
                let raw = matches!(layout, [command::Item::Rest(field)] if field.name == "raw_data");
                if !layout.is_empty() && !raw && !has.contains(&(row.number, Some(form.from), direction)) {
                    missing.push((row.number, form.from, direction));
                }
            }
        }
    }
    assert_eq!(missing, []);
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
        ("update_period", "00:00:01.000"),
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
