//! `protocol_faults` of a device.

use super::*;

fn names(text: &str) -> Vec<&'static str> {
    let plan = check(&in_device(text), Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    plan.devices[0].config.faults.iter().map(|f| f.name()).collect()
}

#[test]
fn protocol_faults_arrive_in_their_order() {
    assert_eq!(names(""), [""; 0]);
    assert_eq!(names("protocol_faults = []"), [""; 0]);
    let both = "protocol_faults = [\"two_preambles\", \"check_byte_wrong\"]";
    assert_eq!(names(both), ["two_preambles", "check_byte_wrong"]);
    let transmitter = "kind = \"temperature\"\nprotocol_faults = [\"current_not_fixed\"]";
    assert_eq!(names(transmitter), ["current_not_fixed"]);
}

#[test]
fn protocol_faults_that_cannot_be() {
    faulty_device(
        "protocol_faults = [«\"check_byte_wrog\"]",
        "no protocol fault \"check_byte_wrog\"",
        "did you mean check_byte_wrong? `looprig mock --protocol-faults` lists them",
    );
    // A fault of a valve is none of the protocol.
    faulty_device("protocol_faults = [«\"stem_seized\"]", "no protocol fault", "--protocol-faults");
    faulty_device(
        "revision = 5\nprotocol_faults = [«\"no_time_behind_slots\"]",
        "a fault of revision 7, and the device is one of 5",
        "another one",
    );
    faulty_device(
        "protocol_faults = [«\"current_not_fixed\"]",
        "a fault of a temperature transmitter, and the device is a positioner",
        "another one",
    );
    faulty_device(
        "protocol_faults = [\"two_preambles\", «\"two_preambles\"]",
        "there already",
        "leave one of the two out",
    );
    faulty_device("protocol_faults = «\"two_preambles\"", "cannot stand here", "[\"two_preambles\"]");
}

/// An editor knows them all.
#[test]
fn the_schema_has_their_names() {
    let schema: serde_json::Value = serde_json::from_str(&crate::bench::schema()).expect("JSON");
    let words = schema["$defs"]["ProtocolFaultWord"]["enum"].as_array().expect("names");
    assert_eq!(words.len(), crate::device::ProtocolFault::all().count());
    assert!(words.contains(&json!("check_byte_wrong")));
    let items = &schema["$defs"]["DeviceTable"]["properties"]["protocol_faults"]["items"];
    assert_eq!(items["$ref"], "#/$defs/ProtocolFaultWord");
}
