//! What is read of a device, and how two readings compare.

use super::script::Script;
use looprig::app::command::setting::Part;
use looprig::app::command::{Revision, Value};
use looprig::bench;
use looprig::commission::settings::{
    Allowed, Content, Origin, ReadError, Section, Settings, compare, from_text, other_device, other_type,
    plan, read, to_text,
};
use looprig::frame::PollingAddress;
use looprig::host::{Device, Host};
use looprig::line::InProcess;
use looprig::link::MasterConfig;
use looprig::sim::Participant;
use std::path::Path;

const BENCH: &str = r#"
[[device]]
tag = "FV-3104"
descriptor = "FILTER 4 INLET"
message = "BRACKENMOOR"
date = 2026-11-25
final_assembly_number = 3104
polling_address = 4
[[line]]
at = "pty:"
"#;

/// The mock of a revision at polling address 4.
pub fn mock(revision: Revision) -> (Host<InProcess<Participant>>, Device) {
    mock_with(revision, "")
}

/// The same with a line more in its table.
pub fn mock_with(revision: Revision, line: &str) -> (Host<InProcess<Participant>>, Device) {
    let text = BENCH.replace("[[line]]", &format!("revision = {revision}\n{line}\n[[line]]"));
    let plan = bench::check(&text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let mut host = Host::new(bench::in_process(&plan), MasterConfig::default());
    let (_, device) = host.poll(PollingAddress::new(4).unwrap(), None).unwrap();
    (host, device.expect("it answers"))
}

pub fn text(settings: &Settings, heading: &str, name: &str) -> Option<String> {
    let section = settings.section(Part::of(heading).unwrap(), None)?;
    section.entry(name).map(|e| section.text(e, settings.revision))
}

/// The mock tells what its bench file says.
#[test]
fn the_mock_of_every_revision() {
    for revision in Revision::NEWEST_FIRST {
        let (mut host, device) = mock(revision);
        let settings = read(&mut host, &device, Origin::default(), &mut |_| {}).unwrap();
        for (heading, name, want) in [
            ("tag", "tag", "FV-3104"),
            ("tag", "descriptor", "FILTER 4 INLET"),
            ("tag", "date", "2026-11-25"),
            ("message", "message", "BRACKENMOOR"),
            ("final_assembly", "final_assembly_number", "3104"),
            // [DV-02]: the set point in percent, a range from 0 to 100.
            ("pv", "pv_unit", "%"),
            ("output", "upper_range_value", "100 %"),
            ("output", "lower_range_value", "0 %"),
        ] {
            assert_eq!(text(&settings, heading, name).as_deref(), Some(want), "{revision}: {name}");
        }
        // [CM-007] [CM-020]: from revision 6 on.
        let newer = revision >= Revision::R6;
        assert_eq!(text(&settings, "loop", "polling_address"), newer.then(|| "4".to_owned()));
        assert_eq!(settings.section(Part::of("long_tag").unwrap(), None).is_some(), newer);
        assert_eq!(settings.identity("universal_revision").unwrap().value.to_string(), revision.to_string());
        // Nothing that changes by itself is kept.
        assert!(settings.identity("configuration_change_counter").is_none());
        let again = read(&mut host, &device, Origin::default(), &mut |_| {}).unwrap();
        assert_eq!(again, settings);
        assert_eq!(from_text(&to_text(&settings)).as_ref(), Ok(&settings));
    }
}

/// A positioner with device variables 0 and 2, one more channel and two burst messages.
pub fn full() -> Script {
    let mut s = Script::new(Revision::R7);
    s.number("identity", None, "last_device_variable", 2);
    s.put("tag", None, "tag", Value::Text("FV-3104".into()));
    s.put("message", None, "message", Value::Text("AS FOUND".into()));
    s.number("assignment", None, "pv_code", 0);
    for n in [0, 2] {
        s.number("device_variable", Some(n), "unit", 57);
        s.float("device_variable", Some(n), "damping", 0.5);
    }
    s.number("pv", None, "pv_unit", 57);
    s.number("output", None, "range_unit", 57);
    s.float("output", None, "upper_range_value", 100.0);
    s.float("output", None, "lower_range_value", 0.0);
    s.float("output", None, "damping", 1.0);
    s.float("analog_channel", Some(1), "damping", 2.0);
    s.number("preambles", None, "preambles_reply", 5);
    for n in [0, 1] {
        s.number("burst_message", Some(n), "extension", 31);
        s.number("burst_message", Some(n), "maximum_burst_messages", 2);
        s.number("burst_message", Some(n), "burst_command", 3);
    }
    s.number("loop", None, "polling_address", 4);
    s.number("loop", None, "loop_current_mode", 1);
    s
}

#[test]
fn every_one_of_several() {
    let mut device = full();
    let settings = device.read();
    let numbers = |heading: &str| -> Vec<Option<u8>> {
        let of = settings.sections.iter().filter(|s| s.part.heading == heading);
        of.map(|s| s.number).collect()
    };
    assert_eq!(numbers("device_variable"), [Some(0), Some(2)]);
    assert_eq!(numbers("analog_channel"), [Some(1)]);
    assert_eq!(numbers("burst_message"), [Some(0), Some(1)]);
    // Variables up to the last one that it tells, channels up to the first that it refuses, messages as
    // many as it says.
    let asked = |command: u8| -> Vec<u8> {
        device.heard.iter().filter(|(c, _)| *c == command).map(|(_, data)| data[0]).collect()
    };
    assert_eq!((asked(54), asked(63), asked(105)), (vec![0, 1, 2], vec![1, 2], vec![0, 1]));
    // What it has not is noted.
    let io_system = settings.section(Part::of("io_system").unwrap(), None).unwrap();
    assert_eq!(io_system.content, Content::Refused(64));
    assert_eq!(from_text(&to_text(&settings)).as_ref(), Ok(&settings));
    // Reading writes nothing.
    assert!(device.written().is_empty());
}

/// Revision 5 does not tell how many variables it has.
#[test]
fn variables_of_revision_5_until_it_refuses() {
    let mut device = Script::new(Revision::R5);
    for n in 0..3 {
        device.number("device_variable", Some(n), "unit", 57);
    }
    let settings = device.read();
    assert_eq!(settings.sections.iter().filter(|s| s.part.heading == "device_variable").count(), 3);
    let asked: Vec<u8> = device.heard.iter().filter(|(c, _)| *c == 54).map(|(_, d)| d[0]).collect();
    assert_eq!(asked, [0, 1, 2, 3]);
}

#[test]
fn silence_ends_a_reading() {
    let mut device = full();
    device.deaf_to = vec![15];
    let d = device.device;
    let e = read(&mut device, &d, Origin::default(), &mut |_| {}).unwrap_err();
    assert!(matches!(e, ReadError::Silent { command: 15 }), "{e}");
}

fn not_whole(settings: &Settings) -> Vec<String> {
    settings.not_whole().map(Section::name).collect()
}

/// [HO-07]: busy is waited for ten times, a second between, a delayed response for a minute; then the rest is read, and the
/// file says so.
#[test]
fn a_busy_device_is_read_as_far_as_it_answers() {
    let whole = full().read();
    // [ST-03]: 32 busy; 33 to 36 a delayed response begun, running, lost, in conflict.
    for code in 32..=36 {
        let mut device = full();
        device.busy.insert(12, (9, code));
        assert_eq!(device.read(), whole, "{code}");
        let runs = code == 33 || code == 34;
        // [HO-10]: 0.5 s until 2 s have passed, then a quarter of the time: 0.5 5 times, 0.625, 0.78, 0.98, 1.22 s.
        assert_eq!(device.rested.as_secs(), if runs { 6 } else { 9 });
        let mut device = full();
        device.busy.insert(12, (1000, code));
        device.busy.insert(20, (1000, code));
        let settings = device.read();
        assert_eq!(not_whole(&settings), ["message", "long_tag"]);
        let asked = |command: u8| device.heard.iter().filter(|(c, _)| *c == command).count();
        // Once it stayed busy, the next is not waited for as long.
        assert_eq!(device.rested.as_secs(), if runs { 60 + 12 } else { 9 + 1 });
        if !runs {
            assert_eq!((asked(12), asked(20)), (10, 2));
        }
        let text = to_text(&settings);
        assert!(
            text.contains(&format!(
                "[message]\n# read message (command 12), written by 17\nunread = {code} # "
            )),
            "{text}"
        );
        assert_eq!(from_text(&text).as_ref(), Ok(&settings));
        // What is not known is not equal.
        let got = compare(&settings, &whole);
        assert_eq!(got.not_compared, ["message", "long_tag"]);
        assert!(got.differences.iter().any(|d| d.as_found.contains("not read")), "{got:?}");
        let both = compare(&settings, &settings);
        assert!(both.differences.is_empty() && both.not_compared.len() == 2, "{both:?}");
        // And it is not restored in silence.
        let planned = plan(&settings, &whole, Allowed { moves: true, polling_address: true });
        let left: Vec<_> =
            planned.left_out.iter().map(|l| (&*l.value.section, &*l.value.name, l.expected)).collect();
        assert_eq!(left, [("message", "(all)", false), ("long_tag", "(all)", false)]);
    }
}

/// A device variable that stays busy hides those behind it only where nobody knows how many there are.
#[test]
fn a_busy_variable() {
    let mut device = full();
    device.busy.insert(54, (10, 32));
    let settings = device.read();
    let found = |s: &Settings| -> Vec<String> {
        s.sections.iter().map(Section::name).filter(|n| n.starts_with("device_variable")).collect()
    };
    assert_eq!(
        (found(&settings), not_whole(&settings)),
        (vec!["device_variable 0".into(), "device_variable 2".into()], vec!["device_variable 0".into()])
    );
    let mut device = Script::new(Revision::R5);
    device.number("device_variable", Some(0), "unit", 57);
    device.busy.insert(54, (1000, 32));
    assert_eq!(found(&device.read()), ["device_variable 0"]);
}

/// [HO-07]: a late answer to the request before is not taken for the next one's.
#[test]
fn a_late_answer_is_not_mixed_up() {
    let whole = full().read();
    let mut device = full();
    device.late.insert(54, 2);
    assert_eq!(device.read(), whole);
    assert_eq!(device.rested.as_secs(), 2);
    let mut device = full();
    device.late.insert(54, 3);
    let unit = device.device;
    let e = read(&mut device, &unit, Origin::default(), &mut |_| {}).unwrap_err();
    assert!(matches!(e, ReadError::Astray { command: 54, asked: 1, told: 0 }), "{e:?}");
    assert!(e.to_string().contains("about number 1 and answered about number 0"), "{e}");
}

/// An answer that ends too early is not saved as a whole one.
#[test]
fn an_answer_cut_short_is_told() {
    let whole = full().read();
    let mut device = full();
    // [CM-015]: the unit in octet 2, the upper range value in 3 to 6, the lower one in 7 to 10.
    device.cuts.insert(15, 9);
    let settings = device.read();
    assert_eq!(not_whole(&settings), ["output"]);
    let output = settings.section(Part::of("output").unwrap(), None).unwrap();
    assert!(matches!(output.content, Content::CutShort(_)), "{output:?}");
    assert!(output.entry("upper_range_value").is_some() && output.entry("lower_range_value").is_none());
    let text = to_text(&settings);
    assert!(text.contains("cut_short = true"), "{text}");
    assert_eq!(from_text(&text).as_ref(), Ok(&settings));
    let got = compare(&whole, &settings);
    let row = got.differences.iter().find(|d| d.name == "lower_range_value").unwrap();
    assert_eq!(
        (row.as_left.as_str(), got.not_compared),
        ("not read, answer cut short", vec!["output".to_owned()])
    );
    // Half a range is not written [HO-06].
    device.cuts.clear();
    device.float("output", None, "upper_range_value", 40.0);
    let planned = plan(&settings, &device.read(), Allowed { moves: true, polling_address: true });
    assert!(planned.changes.is_empty(), "{planned:?}");
    let left: Vec<&str> = planned.left_out.iter().map(|l| &*l.value.name).collect();
    assert_eq!(left, ["(rest)", "upper_range_value"]);
    // One of the two parts of an answer may be whole: octet 12 of [CM-000] has the preambles.
    let mut device = full();
    device.cuts.insert(0, 14);
    assert_eq!(not_whole(&device.read()), ["identity"]);
    // No data at all.
    let mut device = full();
    device.cuts.insert(12, 0);
    assert_eq!(not_whole(&device.read()), ["message"]);
}

#[test]
fn differences_alone_are_shown() {
    let mut device = full();
    let found = device.read();
    let same = compare(&found, &device.read());
    assert!(same.differences.is_empty() && same.equal > 20, "{same:?}");
    device.put("message", None, "message", Value::Text("AS LEFT".into()));
    // One in the last place of 100: 42C80000 and 42C80001.
    device.put("output", None, "upper_range_value", Value::Float(0x42C8_0001));
    device.memory.remove(&("burst_message", Some(1)));
    device.number("identity", None, "software_revision", 9);
    // 80000000 is -0, as good as 0.
    device.put("output", None, "lower_range_value", Value::Float(0x8000_0000));
    let left = device.read();
    let got = compare(&found, &left);
    let rows: Vec<(&str, &str, bool, &str, &str)> = got
        .differences
        .iter()
        .filter(|d| d.section != "burst_message 1")
        .map(|d| (&*d.section, &*d.name, d.setting, &*d.as_found, &*d.as_left))
        .collect();
    assert_eq!(
        rows,
        [
            ("identity", "software_revision", false, "0", "9"),
            ("message", "message", true, "AS FOUND", "AS LEFT"),
            // 2^-17 more: the spacing of singles between 64 and 128.
            ("output", "upper_range_value", true, "100 %", "100.00001 %"),
        ]
    );
    let gone: Vec<_> = got.differences.iter().filter(|d| d.section == "burst_message 1").collect();
    assert!(!gone.is_empty() && gone.iter().all(|d| d.as_left == "-"), "{gone:?}");
    assert_eq!(got.equal + got.differences.len(), same.equal);
}

#[test]
fn another_type_and_another_device_are_told_apart() {
    let mut device = full();
    let found = device.read();
    assert!(other_type(&found, &device.read()).is_empty() && other_device(&found, &device.read()).is_none());
    device.number("identity", None, "device_id", 0x3105);
    let left = device.read();
    assert!(other_type(&found, &left).is_empty());
    assert_eq!(other_device(&found, &left).unwrap().as_left, "0x003105");
    for name in ["manufacturer_id", "expanded_device_type", "device_revision", "universal_revision"] {
        let mut device = full();
        device.number("identity", None, name, 99);
        let others = other_type(&found, &device.read());
        assert_eq!(others.len(), 1, "{name}");
        assert_eq!(others[0].name, name);
    }
    // Nothing that is not there can vouch for being the same.
    let mut nameless = found.clone();
    nameless.sections.retain(|s| s.part.heading != "identity");
    assert!(!other_type(&nameless, &found).is_empty());
}
