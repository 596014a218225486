mod bursts;
mod described;
mod devices;
mod fleet;
mod kinds;
mod protocol_faults;
mod random_valve;
mod slow;
mod valve;
mod wires;

use super::*;
use crate::bench::Change;
use crate::bench::plan::LineKind;
use crate::line::{EchoUse, Endpoint, RtsUse, SerialOptions};
use crate::time::Instant;
use proptest::prelude::*;
use serde_json::json;

fn wrong(text: &str) -> FileError {
    match check(text, Path::new("b.toml")) {
        Ok(plan) => panic!("taken as right:\n{text}\n{plan:?}"),
        Err(e) => e,
    }
}

/// Text with a mark `«` where the fault is to be found; a device and a line are added behind it
/// unless the text has its own.
#[track_caller]
fn faulty(marked: &str, wrong_has: &str, right_has: &str) {
    let (before, after) = marked.split_once('«').expect("a mark");
    let text = format!("{before}{after}");
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
    let e = wrong(&text);
    let place = e.place.clone().unwrap();
    assert_eq!((place.line, place.column), (line, column), "{e}");
    assert!(e.wrong.contains(wrong_has), "{e}");
    assert!(e.right.contains(right_has), "{e}");
    let shown = e.to_string();
    assert!(shown.starts_with(&format!("b.toml:{line}:{column}: ")), "{shown}");
    assert!(shown.contains("\n  next: "), "{shown}");
}

/// What is set up of a positioner alone.
fn positioner(config: &DeviceConfig) -> &crate::device::PositionerConfig {
    match &config.kind {
        crate::device::KindConfig::Positioner(own) => own,
        other => panic!("{other:?}"),
    }
}

/// A device with these lines in its table, and a line.
fn in_device(lines: &str) -> String {
    format!("[[device]]\n{lines}\n[[line]]\nat = \"pty:\"\n")
}

#[track_caller]
fn faulty_device(lines: &str, wrong_has: &str, right_has: &str) {
    faulty(&in_device(lines), wrong_has, right_has);
}

#[test]
fn what_is_no_toml() {
    faulty("pace = «\n[[device]]\n", "no TOML", "key = value");
    faulty_device("tag = \"FV-3104\"\n«tag = \"FV-3105\"", "duplicate key", "");
    // The mark stands behind characters of more than one octet.
    faulty_device("long_tag = \"Zulauf süd\" «x", "no TOML", "");
}

#[test]
fn unknown_keys() {
    faulty_device("«revison = 7", "no key `revison`", "did you mean `revision`?");
    faulty(
        "«speed = 1\n",
        "no key `speed`",
        "the keys here are pace, seed, loop, api, gateway, fleet, device, master, wire_fault, line, event",
    );
    faulty_device("[device.valve]\n«time_constant = 1", "no key `time_constant`", "`time_constant_s`");
    faulty("[loop]\n«curent_ma = 4\n", "no key `curent_ma`", "`current_ma`");
    faulty("[[line]]\n«path = \"pty:\"\n", "no key `path`", "at");
    faulty("[[event]]\n«time = 1\n", "no key `time`", "at_s");
}

#[test]
fn wrong_types() {
    faulty_device("revision = «\"seven\"", "`\"seven\"` cannot stand here", "a whole number");
    faulty_device("polling_address = «1.5", "`1.5`", "a whole number");
    faulty_device("tag = «3104", "`3104`", "a string");
    faulty_device("write_protect = «1", "`1`", "a boolean");
    faulty_device("response_delay_ms = «\"10 ms\"", "10 ms", "a number");
    faulty("pace = «true\n", "`true`", "\"wire\", \"fast\" or a number");
    faulty_device("date = «20260301", "20260301", "2026-03-01");
    faulty("«[device]\ntag = \"A\"\n", "cannot stand here", "[[device]]");
}

#[test]
fn values_that_cannot_be() {
    faulty("pace = «\"quick\"\n", "\"quick\" is no pace", "\"wire\", \"fast\"");
    faulty("pace = «0\n", "\"0\" is no pace", "0.01 to 1000");
    faulty("[loop]\ncurrent_ma = «30.1\n[[device]]", "30.1 mA", "0 to 30 mA");
    faulty("[loop]\ncurrent_ma = «nan\n[[device]]", "NaN mA", "0 to 30 mA");
    faulty_device("revision = «9", "revision 9", "5, 6 or 7");
    faulty_device("revision = 5\npolling_address = «20", "polling_address is 20", "0 to 15");
    faulty_device("polling_address = «64", "polling_address is 64", "0 to 63");
    faulty_device("polling_address = «-1", "polling_address is -1", "0 to 63");
    faulty_device("tag = «\"FV-310499\"", "9 characters are more than 8", "8 characters");
    faulty_device("tag = «\"fv-3104\"", "character 1, 'f'", "tag = \"FV-3104\"");
    faulty_device("tag = «\"FV~3104\"", "character 3, '~'", "capital letters");
    faulty_device("descriptor = «\"12345678901234567\"", "17 characters", "16 characters");
    faulty_device("message = «\"Ä\"", "packed ASCII", "32 characters");
    faulty_device("long_tag = «\"5 € valve\"", "character 3, '€'", "Latin-1");
    faulty_device("revision = 5\nlong_tag = «\"x\"", "revision 5 has no long_tag", "revision = 6");
    faulty_device("revision = 5\nloop_current_mode_enabled = «true", "revision 5 has no", "revision = 6");
    faulty_device("date = «2026-02-30", "no such day", "2026-11-25");
    faulty_device("date = «\"2026-02-30\"", "2026-02-30", "year-month-day");
    faulty_device("date = «1899-12-31", "1899-12-31", "1900 to 2155");
    faulty_device("revision = 6\ndevice_type = «256", "device_type is 256", "0 to 255");
    faulty_device("device_type = «65536", "device_type is 65536", "0 to 65535");
    faulty_device("device_id = «0x1000000", "device_id is 16777216", "0 to 16777215");
    faulty_device("hardware_revision = «32", "hardware_revision is 32", "0 to 31");
    faulty_device("preambles_reply = «4", "preambles_reply is 4", "5 to 20");
    faulty_device("response_delay_ms = «257", "257 ms", "0 to 256 ms");
    faulty_device("memory = «\"\"", "no file", "fv-3104.memory");
    faulty_device("[device.valve]\ntime_constant_s = «-1", "-1 s", "0 to 3600 s");
    faulty_device("[device.valve]\ntravel_percent = «101", "101 %", "0 to 100 %");
    faulty_device("[device.valve]\nlever_angle_open_deg = «200", "200 degrees", "-180 to 180");
    faulty_device("[device.air]\nsupply_pressure_bar = «-0.5", "-0.5 bar", "0 to 20 bar");
    // C000 and 0 make the broadcast address [FR-07]: no single key is to blame.
    let text = format!("«{}", in_device("device_type = 0xC000\ndevice_id = 0"));
    faulty(&text, "broadcast", "change");
}

#[test]
fn devices_that_are_not_told_apart() {
    let two = |a: &str, b: &str| format!("[[device]]\n{a}\n[[device]]\n{b}\n[[line]]\nat = \"pty:\"\n");
    faulty(
        &two("polling_address = 3", "device_id = 1\npolling_address = «3"),
        "device 1 has polling address 3 too",
        "polling_address of its own",
    );
    faulty(
        &two("device_id = 7", "polling_address = 1\ndevice_id = «7"),
        "the unique address",
        "device_id of its own",
    );
    // Both left out: the second device's heading is shown.
    faulty("[[device]]\n«[[device]]\n[[line]]\nat = \"pty:\"\n", "polling address 0 too", "of its own");
    faulty(
        &two("memory = \"m\"", "polling_address = 1\ndevice_id = 1\nmemory = «\"m\""),
        "same memory file",
        "of its own",
    );
}

#[test]
fn what_is_missing() {
    faulty("«", "no device", "[[device]]");
    faulty("[[line]]\nat = \"pty:\"\n«", "no device", "[[device]]");
    faulty("[[device]]\n«", "no line", "[[line]]");
    faulty("[[device]]\n«[[line]]\n", "where it is", "pty:");
}

#[test]
fn lines_and_events() {
    let line = |at: &str| format!("[[device]]\n[[line]]\nat = {at}\n");
    faulty(&line("«\"udp:localhost:1\""), "\"udp:localhost:1\" is no line", "tcp-listen:127.0.0.1:5500");
    faulty(&line("«\"tcp:localhost\""), "\"localhost\" is no port", "tcp:127.0.0.1:5500");
    faulty(&line("«\"tcp:localhost:0\""), "port 0", "tcp:127.0.0.1:5500");
    faulty(&line("«\"tcp-listen:::1:5\""), "colons of its own", "[::1]:5500");
    let twice = "\"tcp-listen:5500\"\n[[line]]\nat = «\"tcp-listen:127.0.0.1:5500\"";
    faulty(&line(twice), "two lines are at", "its own");
    faulty(&line("«\"/dev/ttyUSB0\""), "is no line", "serial:/dev/ttyUSB0");
    faulty(&line("«\"pty:?pace=20\""), "only a serial port has options", "pace = 20");
    faulty(&line("«\"serial:\""), "names no serial port", "serial:/dev/ttyUSB0");
    faulty(&line("«\"serial:?rts=on\""), "names no serial port", "serial:/dev/ttyUSB0");
    faulty(&line("«\"serial:/dev/ttyUSB0?pace=20\""), "no pace of its own", "pace = 20");
    faulty(&line("«\"serial:/dev/ttyUSB0?rts=yes\""), "\"rts=yes\" cannot be", "rts=tx|on|off");
    faulty(&line("«\"serial:/dev/ttyUSB0?echo=1\""), "\"echo=1\" cannot be", "echo=auto|on|off");
    faulty(&line("«\"serial:/dev/ttyUSB0?speed=9\""), "\"speed=9\" is no option", "dtr=on|off");
    let twice = "\"serial:/dev/ttyUSB0\"\n[[line]]\nat = «\"serial:/dev/ttyUSB0?dtr=off\"";
    faulty(&line(twice), "two lines are at", "its own");
    faulty(&line("\"pty:a\"\n[[line]]\nat = «\"pty:a\""), "two lines are at \"pty:a\"", "its own");
    let event = |e: &str| in_device(&format!("[[event]]\n{e}"));
    faulty(&event("at_s = «-1\nloop_current_ma = 4"), "at_s is -1 s", "0 to 31536000 s");
    faulty(&event("at_s = 1\nloop_current_ma = «31"), "31 mA", "0 to 30 mA");
    faulty(&event("at_s = 1\nloop_current_ma = 4\nsupply_pressure_bar = «4"), "two things", "[[event]]");
    faulty(&event("at_s = 1\narmed = true\nwrite_protect = «true"), "two things", "[[event]]");
    faulty(
        "[[device]]\n[[line]]\nat = \"pty:\"\n«[[event]]\nat_s = 1\n",
        "changes nothing",
        "loop_current_ma",
    );
    faulty("[[device]]\n[[line]]\nat = \"pty:\"\n«[[event]]\nloop_current_ma = 4\n", "no time", "at_s");
}

#[test]
fn every_key_arrives() {
    let plan = check(
        r#"
pace = 20
[loop]
current_ma = 12
[[device]]
revision = 6
polling_address = 5
tag = "FV-3104"
descriptor = "INLET"
date = "2011-01-15"
message = "HELLO"
long_tag = "Übung"
final_assembly_number = 9
device_type = 0x77
device_id = 0x123456
device_revision = 2
software_revision = 3
hardware_revision = 4
preambles_request = 6
preambles_reply = 7
private_label = 8
loop_current_mode_enabled = false
write_protect = true
reset_passes_write_protect = false
response_delay_ms = 12.5
answers_damaged = false
accepts_older_masters = false
reset_answers = false
busy = true
memory = "fv.memory"
[device.valve]
time_constant_s = 3
travel_percent = 40
lever_angle_closed_deg = -20
lever_angle_open_deg = 25.5
[device.air]
supply_pressure_bar = 5
[[line]]
at = "pty:link"
[[line]]
at = "serial:/dev/ttyUSB0"
[[line]]
at = "serial:/dev/ttyUSB1?rts=on&dtr=off&echo=on"
[[line]]
at = "tcp-listen:0"
[[line]]
at = "tcp-listen:0"
[[line]]
at = "tcp:[::1]:5500"
[[event]]
at_s = 2
supply_pressure_bar = 1
[[event]]
at_s = 1.5
loop_current_ma = 20
[[event]]
at_s = 3
armed = true
[[event]]
at_s = 4
write_protect = false
"#,
        Path::new("some/where/b.toml"),
    )
    .unwrap();
    assert_eq!(plan.pace, Pace::Scaled(20.0));
    let d = &plan.devices[0];
    let id = d.config.identity;
    assert_eq!(
        (id.revision, id.device_type, id.device_id, id.device_revision, id.software_revision),
        (Revision::R6, 0x77, 0x12_3456, 2, 3)
    );
    assert_eq!(
        (id.hardware_revision, id.preambles_request, id.preambles_reply, id.private_label),
        (4, 6, 7, 8)
    );
    let s = &d.config.factory;
    assert_eq!((s.polling_address, s.final_assembly_number, s.loop_current_mode_enabled), (5, 9, false));
    assert_eq!(
        (s.tag.as_str(), s.descriptor.as_str(), s.message.as_str(), s.long_tag.as_str()),
        ("FV-3104", "INLET", "HELLO", "Übung")
    );
    // 2011 − 1900 = 111.
    assert_eq!(s.date, [15, 1, 111]);
    let c = &d.config;
    assert_eq!(
        (c.write_protected, c.reset_passes_write_protect, c.answers_damaged, c.accepts_older_masters, c.busy),
        (true, false, false, false, true)
    );
    assert!(!c.reset_answers);
    assert_eq!(c.response_delay, Duration::from_micros(12_500));
    let c = positioner(c);
    assert_eq!((c.loop_current_ma, c.supply_pressure_bar), (12.0, 5.0));
    assert_eq!((c.time_constant_s, c.travel_percent), (3.0, 40.0));
    assert_eq!((c.lever_angle_closed_deg, c.lever_angle_open_deg), (-20.0, 25.5));
    assert_eq!(d.memory.as_deref(), Some(Path::new("some/where/fv.memory")));
    assert_eq!(plan.lines[0].kind, LineKind::Pty(Some("some/where/link".into())));
    assert_eq!(plan.lines[1].kind, LineKind::Serial("/dev/ttyUSB0".into(), SerialOptions::default()));
    let options = SerialOptions { rts: RtsUse::On, dtr: false, echo: EchoUse::On };
    assert_eq!(plan.lines[2].kind, LineKind::Serial("/dev/ttyUSB1".into(), options));
    for line in &plan.lines[3..5] {
        assert_eq!(line.kind, LineKind::TcpListen(Endpoint { host: "127.0.0.1".into(), port: 0 }));
    }
    assert_eq!(plan.lines[5].kind, LineKind::Tcp(Endpoint { host: "::1".into(), port: 5500 }));
    // In order of time.
    assert_eq!(plan.events[0].at, Instant::from_nanos(1_500_000_000));
    assert_eq!(plan.events[0].change, Change::LoopCurrentMa(20.0));
    assert_eq!(plan.events[1].change, Change::SupplyPressureBar(1.0));
    assert_eq!(plan.events[2].change, Change::Armed(true));
    assert_eq!(plan.events[3].change, Change::WriteProtect(false));
}

#[test]
fn a_date_of_toml_is_a_date() {
    let plan = check(&in_device("date = 2026-03-01"), Path::new("b.toml")).unwrap();
    assert_eq!(plan.devices[0].config.factory.date, [1, 3, 126]);
}

/// The schema knows every key, and the keys that the reader names are the schema's.
#[test]
fn the_schema_describes_every_key() {
    let text = schema();
    assert!(!text.contains("null"), "TOML has no null");
    let schema: serde_json::Value = serde_json::from_str(&text).unwrap();
    let mut tables = vec![&schema];
    tables.extend(schema["$defs"].as_object().unwrap().values().filter(|t| t["properties"].is_object()));
    let sheet: serde_json::Value = serde_json::from_str(&crate::bench::sheet_schema()).unwrap();
    let sheet: Vec<_> =
        sheet["$defs"].as_object().unwrap().values().filter(|t| t["properties"].is_object()).collect();
    let of_sheet: usize = sheet.iter().map(|t| t["properties"].as_object().unwrap().len()).sum();
    assert_eq!(
        tables.len() - sheet.len(),
        28,
        "tables of a sheet; file, loop, api, gateway, fleet, device, slow command, burst, described command, valve with part-turn, supply, stage, linkage, sensor, \
         fail, follower and fault, positioner, range, air, process, output, master, ask, wire fault, line, event"
    );
    let mut keys = 0;
    for table in tables {
        assert_eq!(table["additionalProperties"], false, "{table}");
        for (key, about) in table["properties"].as_object().unwrap() {
            keys += 1;
            let text = about["description"].as_str().unwrap_or("");
            assert!(!text.is_empty(), "{key} is not described");
            for (end, unit) in [("_ma", "mA"), ("_bar", "bar"), ("_ms", "ms"), ("_deg", "degrees")] {
                assert!(!key.ends_with(end) || text.contains(unit), "{key}: {text}");
            }
        }
    }
    // 11 of the file, 1 of the API, 3 of the gateway, 2 of a fleet, 13 of the loop, 31 and 10 tables of a device, 2 of a slow command, 8 of its bursts, 5 of a described
    // command, 26 of the valve and 8 tables of it with 6, 6, 7, 8, 5, 8, 2 and 4, 17 of its positioner, 8 of its range, 3 of the air, 3 of the process, 2 of the output, 7 of a master, 5 of what it
    // asks, 10 of a fault on the wires, 5 of a line, 27 of an event; and those of a sheet's tables.
    assert_eq!(keys - of_sheet, 255);
    assert_eq!(schema["required"], json!(["device", "line"]));
    assert_eq!(schema["$defs"]["LineTable"]["required"], json!(["at"]));
    let address = &schema["$defs"]["DeviceTable"]["properties"]["polling_address"];
    assert_eq!(
        (&address["type"], &address["minimum"], &address["maximum"]),
        (&"integer".into(), &0.into(), &63.into())
    );
    assert_eq!(schema["properties"]["loop"]["$ref"], "#/$defs/LoopTable");
}

#[test]
fn a_file_that_is_not_there() {
    let e = read(Path::new("no/such/bench.toml")).unwrap_err();
    assert_eq!(e.place, None);
    assert!(e.to_string().contains("no such file") && e.right.contains("--schema"), "{e}");
    assert!(read(Path::new(".")).unwrap_err().wrong.contains("directory"));
}

/// Pieces of bench files in any order, which get further than any characters do.
fn pieces() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "[[device]]\n",
        "[[line]]\n",
        "[[event]]\n",
        "[loop]\n",
        "[device.valve]\n",
        "[device.air]\n",
        "at = \"pty:\"\n",
        "at = \"serial:x\"\n",
        "at = \"é:\"\n",
        "pace = \"fast\"\n",
        "pace = -1e400\n",
        "at_s = 1e300\n",
        "at_s = 0.1\n",
        "loop_current_ma = inf\n",
        "current_ma = 12\n",
        "tag = \"É\"\n",
        "device_id = 9223372036854775807\n",
        "polling_address = -9223372036854775808\n",
        "revision = 5\n",
        "date = 2026-03-01T00:00:00Z\n",
        "date = 10:00:00\n",
        "date = { \"$__toml_private_datetime\" = \"é\" }\n",
        "message = '''\n",
        "x.y.z = [[[[",
        "\"é\" = 1\n",
        "\u{FEFF}",
        "\0",
        "\r",
        "response_delay_ms = 256\n",
        "memory = \"/\"\n",
        "time_constant_s = -0.0\n",
        "polling_address = 3\n",
        "seed = 9223372036854775808\n",
        "[[master]]\n",
        "asks = [{ device = 0, command = 3, every_s = 0 }]\n",
        "asks = [{ device = \"É\", command = 0 }]\n",
        "[[wire_fault]]\n",
        "kind = \"noise\"\noctets = 255\nevery_s = 0.001\n",
        "kind = \"gap\"\ncharacters = 1000\n",
        "clock_ppm = -20000\njitter_ms = 1e3\n",
        "share = 0\n",
    ]);
    prop::collection::vec(piece, 0..12).prop_map(|p| p.concat())
}

fn place_is_in(text: &str, e: &FileError) {
    let place = e.place.as_ref().unwrap();
    assert!(place.line >= 1 && place.line <= text.matches('\n').count() + 1, "{e}");
    assert!(place.column >= 1 && place.column <= place.text.chars().count() + 2, "{e}");
    assert!(!e.wrong.is_empty() && !e.right.is_empty());
    let _ = e.to_string();
}

proptest! {
    #[test]
    fn no_text_panics(text in prop_oneof![".*", "(?s).{0,200}", pieces()]) {
        match check(&text, Path::new("b.toml")) {
            Ok(plan) => {
                // What passes can be run.
                for device in &plan.devices {
                    prop_assert_eq!(device.config.check(), Ok(()));
                }
                let _ = crate::bench::in_process(&plan);
            }
            Err(e) => place_is_in(&text, &e),
        }
    }

    #[test]
    fn no_cut_or_changed_file_panics(at in any::<prop::sample::Index>(), octet in any::<char>()) {
        let good = include_str!("../../../fixtures/benches/brackenmoor.toml");
        let at = at.index(good.len());
        for text in [good[..at].to_owned(), format!("{}{octet}{}", &good[..at], &good[at + 1..])] {
            if let Err(e) = check(&text, Path::new("b.toml")) {
                place_is_in(&text, &e);
            }
        }
    }
}
