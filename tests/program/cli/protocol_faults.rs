//! Protocol faults on the command line: listed, put in, told.

use super::table;
use crate::process::{Process, run, scratch};
use looprig::device::ProtocolFault;
use std::fs;
use std::path::Path;

const BENCH: &str = r#"
[[device]]
tag = "FV-3104"
[[device]]
tag = "FV-3105"
revision = 5
polling_address = 2
device_id = 0x3105
[[line]]
at = "pty:"
"#;

/// `protocol-notes/faults.md` is what looprig makes of its rows, and has every row.
#[test]
fn the_page_of_faults_is_up_to_date() {
    let dir = scratch("faults-page");
    let ended = run(&dir, &["mock", "--protocol-faults"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocol-notes/faults.md");
    let kept = fs::read_to_string(&path).expect("protocol-notes/faults.md");
    let first = ended.out.lines().zip(kept.lines()).position(|(a, b)| a != b);
    assert!(
        ended.out == kept,
        "protocol-notes/faults.md differs from line {} on: make it again with `looprig mock --protocol-faults`",
        first.map_or(0, |n| n + 1)
    );
    let csv = table(&run(&dir, &["mock", "--protocol-faults", "--format", "csv"]).out);
    for (row, fault) in csv.iter().zip(ProtocolFault::all()) {
        assert_eq!((row[1].as_str(), row[3].as_str()), (fault.name(), fault.violates()));
        let cells = format!("\n| {} | {} | [{}] | ", fault.name(), fault.does(), fault.violates());
        assert!(kept.contains(&cells), "{} is missing", fault.name());
    }
    assert_eq!(csv.len(), ProtocolFault::all().count());
}

/// On a line of this process, by the bench file and by the line's name: one preamble more than command 0 tells, and
/// octet 0 of the identity 0 in the place of 254 [CM-000].
#[test]
fn a_mock_line_has_faulty_devices() {
    let dir = scratch("faults-line");
    fs::write(dir.join("b.toml"), BENCH).unwrap();
    let asked = |line: &str| run(&dir, &["ask", line, "0", "0", "--format", "json"]);
    let expansion = |line: &str| asked(line).json()[0]["reply"]["values"]["expansion"].clone();
    assert_eq!(expansion("mock:b.toml"), 254);
    assert_eq!(expansion("mock:b.toml?fault=identity_not_254"), 0);
    assert_eq!(expansion("mock:b.toml?fault=identity_not_254@FV-3104&for=60"), 0);
    assert_eq!(expansion("mock:b.toml?fault=identity_not_254@fv-3105"), 254);
    assert_eq!(expansion("mock:b.toml?fault=identity_not_254@2"), 254);
    let told = asked("mock:b.toml?fault=identity_not_254@FV-3104").err;
    for part in ["FV-3104 is deliberately faulty, identity_not_254: ", "0 and not 254. [CM-000]"] {
        assert!(told.contains(part), "{part:?} is missing in {told}");
    }
    let in_file = BENCH.replace("FV-3104\"\n", "FV-3104\"\nprotocol_faults = [\"identity_not_254\"]\n");
    fs::write(dir.join("b.toml"), in_file).unwrap();
    assert_eq!(expansion("mock:b.toml"), 0);
    let ended = asked("mock:b.toml?fault=identity_not_254@FV-3104");
    ended.refused(&["putting in the fault identity_not_254@FV-3104", "there already"]);
}

#[test]
fn faults_that_cannot_be_put_in() {
    let dir = scratch("faults-refused");
    fs::write(dir.join("b.toml"), BENCH).unwrap();
    let mock = |fault: &str| run(&dir, &["mock", "b.toml", "--fault", fault]);
    mock("check_byte_wrog")
        .refused(&["no protocol fault \"check_byte_wrog\"", "did you mean check_byte_wrong?"]);
    mock("check_byte_wrong@FV-9")
        .refused(&["no device of this bench is called \"FV-9\"", "FV-3104, FV-3105"]);
    mock("no_device_profile@FV-3105").refused(&["a fault of revision 7, and the device is one of 5"]);
    run(&dir, &["mock", "--protocol-faults", "b.toml"]).refused(&["--protocol-faults"]);
}

/// A mock on a port says beforehand what is wrong with it, for people and for programs; a device that cannot have the
/// fault is left alone where others can.
#[test]
fn a_mock_says_that_it_is_faulty() {
    let dir = scratch("faults-told");
    fs::write(dir.join("b.toml"), BENCH).unwrap();
    let mut mock = Process::start(
        &dir,
        &["mock", "b.toml", "--fault", "no_device_profile", "--fault", "two_preambles@2"],
    );
    let mut text = String::new();
    while !text.contains("Ctrl-C ends it") {
        text += &mock.line();
        text.push('\n');
    }
    assert!(text.contains("FV-3104 is deliberately faulty, no_device_profile: "), "{text}");
    assert!(text.contains("FV-3105 is deliberately faulty, two_preambles: "), "{text}");
    assert_eq!(text.matches("deliberately faulty").count(), 2, "{text}");
    let mut mock = Process::start(&dir, &["mock", "b.toml", "--format", "json", "--fault", "two_preambles"]);
    let ready: serde_json::Value = serde_json::from_str(&mock.line()).expect("JSON");
    assert_eq!(ready["devices"][1]["protocol_faults"], serde_json::json!(["two_preambles"]));
}
