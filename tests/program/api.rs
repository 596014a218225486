//! The API of a running bench over real connections: what it answers, what it refuses, who is let in [BA-01] to [BA-10].

mod answered;
mod process;
mod refused;
mod rig;

use looprig::bench::Notice;
use rig::{Running, Stream};
use serde_json::{Value as Json, json};
use std::io::Read;

/// Masters with dice, bursts and a computed loop: what a snapshot has to keep.
const LIVELY: &str = r#"
seed = 3
[loop]
current_ma = 12
[loop.card]
compliance_v = 24
impedance_ohm = 1000
[[loop.device]]
tag = "FV-3104"
min_voltage_v = 9
[[device]]
tag = "FV-3104"
polling_address = 4
jitter_ms = 3
[[device.burst]]
command = 3
update_period_s = 1
[[master]]
jitter_ms = 4
asks = [{ device = "FV-3104", command = 9, data = "00 01", every_s = 0.8 }]
[[wire_fault]]
kind = "bit_errors"
rate = 0.001
[[line]]
at = "tcp-listen:127.0.0.1:0"
"#;

fn number(of: &Json) -> f64 {
    of.as_f64().unwrap_or_else(|| panic!("no number: {of}"))
}

#[test]
fn time_is_paused_stepped_and_run() {
    let bench = Running::start(LIVELY);
    assert_eq!(bench.get("/time").json()["state"], "running");
    let paused = bench.post("/time/pause", None).json();
    assert_eq!((&paused["state"], &paused["lines_are_joined"]), (&json!("paused"), &json!(false)));
    let again = bench.get("/time").json();
    assert_eq!(again["at_s"], paused["at_s"], "time stands");
    let stepped = bench.post("/time/step", Some(json!({"by_s": 60}))).json();
    let by = number(&stepped["at_s"]) - number(&paused["at_s"]);
    assert!((by - 60.0).abs() < 1e-6 && stepped["state"] == "paused", "{stepped}");
    let fast = bench.post("/time/run", Some(json!({"speed": 50}))).json();
    assert_eq!((&fast["state"], &fast["speed"]), (&json!("running"), &json!(50.0)));
    let slow = bench.post("/time/run", Some(json!({}))).json();
    assert_eq!((&slow["speed"], &slow["lines_are_joined"]), (&json!(1.0), &json!(true)));
    bench.end();
}

/// [BA-06]: the same steps and the same change after a restore give the same table, octet for octet.
#[test]
fn the_trace_after_a_restore_is_the_same() {
    let bench = Running::start(LIVELY);
    bench.post("/time/pause", None).json();
    let quantities =
        json!(["FV-3104.travel_percent", "FV-3104.terminal_v", "wires.octets_spoilt", "FV-3104.power"]);
    bench.put("/recording", Some(json!({"quantities": quantities, "period_s": 0.013}))).json();
    bench.post("/time/step", Some(json!({"by_s": 3}))).json();
    bench.put("/snapshots/three", None).json();
    let goes_on = |current_ma: f64| {
        bench.post("/time/step", Some(json!({"by_s": 0.5}))).json();
        bench.post("/changes", Some(json!({"loop_current_ma": current_ma}))).json();
        bench.post("/time/step", Some(json!({"by_s": 20}))).json();
        bench.get("/recording.csv?most=10000").text()
    };
    let one = goes_on(16.0);
    assert!(
        one.starts_with(
            "at_s,FV-3104.travel_percent,FV-3104.terminal_v,wires.octets_spoilt,FV-3104.power\r\n"
        )
    );
    assert!(one.lines().count() > 1_700, "{} lines", one.lines().count());
    bench.post("/snapshots/three/restore", None).json();
    assert_eq!(goes_on(16.0), one);
    bench.post("/snapshots/three/restore", None).json();
    assert_ne!(goes_on(16.1), one);
    // A window of it: 0.013 s apart, both ends included.
    let window = bench.get("/recording?from_s=3.9&to_s=4.16&most=5").json();
    let times: Vec<f64> =
        window["samples"].as_array().expect("samples").iter().map(|s| number(&s["at_s"])).collect();
    assert_eq!(times, [3.9, 3.913, 3.926, 3.939, 3.952]);
    assert_eq!(window["more"], 16);
    bench.end();
}

/// [BA-06]: peers of a listening port are disconnected by a restore; [BA-03]: what they send while time stands is dropped.
#[test]
fn sessions_end_with_a_restore() {
    let bench = Running::start(LIVELY);
    bench.post("/time/pause", None).json();
    bench.put("/snapshots/a", None).json();
    let mut peer = bench.peer();
    bench.notice(|n| matches!(n, Notice::Peer { .. }));
    use std::io::Write;
    peer.write_all(&[0xFF; 7]).expect("sent");
    let dropped = |_| bench.get("/time").json()["octets_dropped_in"] == 7;
    assert!((0..100_000).any(dropped), "the octets never came");
    bench.post("/snapshots/a/restore", None).json();
    let mut rest = Vec::new();
    peer.read_to_end(&mut rest).expect("the end of the connection");
    assert_eq!(rest, [0u8; 0]);
    bench.notice(|n| matches!(n, Notice::Restored(s) if s.name == "a"));
    bench.end();
}

#[test]
fn a_stream_tells_samples_and_restores() {
    let bench = Running::start(LIVELY);
    bench.post("/time/pause", None).json();
    bench.put("/snapshots/a", None).json();
    let at_s = number(&bench.get("/time").json()["at_s"]);
    let mut stream =
        Stream::open(&bench, "/trace?quantity=FV-3104.travel_percent,FV-3104.power&period_s=0.25");
    let (name, told) = stream.event();
    assert_eq!((name.as_str(), &told["quantities"][1]), ("trace", &json!("FV-3104.power")));
    bench.post("/time/step", Some(json!({"by_s": 1}))).json();
    // The first quarter that is not before now, and three more.
    let first = (at_s * 4.0).ceil() / 4.0;
    for i in 0..4 {
        let (name, sample) = stream.event();
        assert_eq!((name.as_str(), number(&sample["at_s"])), ("sample", first + f64::from(i) * 0.25));
        assert!(number(&sample["values"][0]) > 0.0 && sample["values"][1] == "on", "{sample}");
    }
    bench.post("/snapshots/a/restore", None).json();
    let (name, told) = stream.event();
    assert_eq!((name.as_str(), number(&told["at_s"])), ("restored", at_s));
    bench.end();
}

/// [BA-05]: a change does what an event does; the device may be named by key, by tag or by polling address.
#[test]
fn changes() {
    let bench = Running::start(LIVELY);
    bench.post("/time/pause", None).json();
    let read =
        |name: &str| bench.get(&format!("/quantities?name={name}")).json()["quantities"][0]["value"].clone();
    for (device, bar) in [(json!("FV-3104"), 1.5), (json!("fv-3104"), 2.5), (json!(4), 3.5)] {
        bench.post("/changes", Some(json!({"device": device, "supply_pressure_bar": bar}))).json();
        assert_eq!(read("FV-3104.supply_pressure_bar"), json!(bar));
    }
    bench.post("/changes", Some(json!({"loop_open": true}))).json();
    assert_eq!(read("FV-3104.power"), "off");
    bench.post("/changes", Some(json!({"loop_open": false}))).json();
    bench.post("/changes", Some(json!({"armed": true}))).json();
    assert_eq!((read("FV-3104.power"), read("FV-3104.armed")), (json!("starting"), json!(true)));
    bench.notice(|n| matches!(n, Notice::Ordered { change: looprig::bench::Change::Armed(true), .. }));
    // All quantities are told by name, with a view, and no name stands twice.
    let all = bench.get("/quantities").json();
    let all = all["quantities"].as_array().expect("a list").clone();
    let mut names: Vec<&str> = all.iter().filter_map(|q| q["name"].as_str()).collect();
    assert!(
        names.len() == all.len()
            && all.iter().all(|q| ["true", "device", "set"].contains(&q["view"].as_str().unwrap()))
    );
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), all.len());
    bench.end();
}

/// [BA-11]: faults of a computed valve are put in and repaired, and seen where they are.
#[test]
fn faults_of_a_valve() {
    let bench = Running::start(
        "[loop]\ncurrent_ma = 12\n[[device]]\ntag = \"FV-3104\"\n[device.air]\nsupply_pressure_bar = 1.4\n\
         [device.valve]\nstroke_mm = 20\n[device.positioner]\ncalibrated = true\n\
         [[line]]\nat = \"tcp-listen:127.0.0.1:0\"\n",
    );
    bench.post("/time/pause", None).json();
    bench.post("/time/step", Some(json!({"by_s": 20}))).json();
    let read = |name: &str| {
        number(&bench.get(&format!("/quantities?name=FV-3104.{name}")).json()["quantities"][0]["value"])
    };
    assert!((read("travel_percent") - 50.0).abs() < 2.0, "12 mA are 50 %");
    bench.post("/changes", Some(json!({"loop_current_ma": 20}))).json();
    bench.post("/time/step", Some(json!({"by_s": 20}))).json();
    let fault = json!({"device": "FV-3104", "fault": "handwheel_engaged", "severity": 1});
    bench.post("/changes", Some(fault)).json();
    bench.post("/changes", Some(json!({"loop_current_ma": 4}))).json();
    bench.post("/time/step", Some(json!({"by_s": 20}))).json();
    // [PL-33]: at 1 the valve closes no further than 60 %.
    assert!((read("travel_percent") - 60.0).abs() < 0.1, "{}", read("travel_percent"));
    assert_eq!(read("fault_handwheel_engaged"), 1.0);
    bench.post("/changes", Some(json!({"fault": "handwheel_engaged", "severity": 0}))).json();
    bench.post("/time/step", Some(json!({"by_s": 20}))).json();
    assert!(read("travel_percent") < 2.0, "{}", read("travel_percent"));
    for body in [
        json!({"fault": "handwheel_engaged"}),
        json!({"fault": "handwheel", "severity": 1}),
        json!({"fault": "handwheel_engaged", "severity": 1.01}),
        json!({"fault": "handwheel_engaged", "severity": null}),
        json!({"severity": 1}),
        json!({"busy": true, "severity": 1}),
    ] {
        assert_eq!(bench.post("/changes", Some(body.clone())).status, 422, "{body}");
    }
    bench.end();
}

/// [BA-10]: the document is what is served, every reference in it leads somewhere, and every operation has an answer.
#[test]
fn the_document() {
    let bench = Running::start(LIVELY);
    let document = bench.get("/openapi.json").json();
    assert_eq!(document, looprig::bench::api::document());
    fn references(of: &Json, out: &mut Vec<String>) {
        match of {
            Json::Object(members) => {
                out.extend(members.get("$ref").and_then(Json::as_str).map(str::to_owned));
                members.values().for_each(|v| references(v, out));
            }
            Json::Array(list) => list.iter().for_each(|v| references(v, out)),
            _ => {}
        }
    }
    let mut all = Vec::new();
    references(&document, &mut all);
    assert!(!all.is_empty());
    for reference in all {
        let pointer = reference.strip_prefix('#').expect("a place in the document");
        assert!(document.pointer(pointer).is_some(), "{reference} leads nowhere");
    }
    for (path, operations) in document["paths"].as_object().expect("paths") {
        for (method, operation) in operations.as_object().expect("operations") {
            if path == "/trace" {
                continue;
            }
            let given = operation.get("requestBody").map(|_| json!({}));
            let answer = bench.ask(&method.to_uppercase(), &path.replace("{name}", "none"), given);
            let status = answer.status.to_string();
            assert!(
                operation["responses"][&status].is_object(),
                "{method} {path}: {status} is not described"
            );
        }
    }
    bench.end();
}
