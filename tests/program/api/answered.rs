//! What the API says becomes of keys and of a calibration that is asked for, and what displays show [BA-05] [DV-98] [DV-99].

use super::rig::Running;
use looprig::bench::Notice;
use serde_json::{Value as Json, json};

/// A valve that was calibrated, on a loop that can go dark.
fn bench(rest: &str) -> Running {
    Running::start(&format!(
        "[loop]\ncurrent_ma = 12\n[loop.card]\ncompliance_v = 24\nimpedance_ohm = 1000\n\
         [[loop.device]]\ntag = \"FV-3104\"\nmin_voltage_v = 9\n\
         [[device]]\ntag = \"FV-3104\"\npolling_address = 1\ndevice_id = 1\n[device.air]\nsupply_pressure_bar = 1.4\n\
         [device.valve]\nstroke_mm = 20\n[device.positioner]\ncalibrated = true\n\
         [[line]]\nat = \"tcp-listen:127.0.0.1:0\"\n{rest}"
    ))
}

fn step(bench: &Running, s: f64) {
    bench.post("/time/step", Some(json!({"by_s": s}))).json();
}

/// The one answer of the one device that has keys.
fn became(bench: &Running, change: Json) -> Json {
    let told = bench.post("/changes", Some(change.clone())).json();
    let all = told["became"].as_array().unwrap_or_else(|| panic!("{change}: {told}"));
    assert_eq!((all.len(), &all[0]["device"]), (1, &json!("FV-3104")), "{change}: {told}");
    all[0].clone()
}

/// Done or not, and these words in what became of it and in what to do next.
fn is(told: &Json, done: bool, what: &str, next: Option<&str>) {
    assert_eq!(told["done"], done, "{told}");
    assert!(told["what"].as_str().is_some_and(|w| w.contains(what)), "{told}");
    match next {
        Some(next) => assert!(told["next"].as_str().is_some_and(|n| n.contains(next)), "{told}"),
        None => assert!(told["next"].is_null(), "{told}"),
    }
}

fn refused(bench: &Running, wrong: &str, next: &str) {
    let answer = bench.post("/changes", Some(json!({"calibrate": true})));
    assert_eq!(answer.status, 409, "{}", answer.body);
    let problem = answer.any_json();
    assert!(
        problem["wrong"].as_str().is_some_and(|w| w.starts_with("FV-3104: ") && w.contains(wrong)),
        "{problem}"
    );
    assert!(problem["next"].as_str().is_some_and(|n| n.contains(next)), "{problem}");
}

#[test]
fn a_calibration_that_no_device_begins_is_refused() {
    let bench = bench("");
    bench.post("/time/pause", None).json();
    step(&bench, 5.0);
    for (key, off, on, wrong, next) in [
        ("write_protect", true, false, "write-protected", "take write protect off"),
        ("calibration_allowed", false, true, "the process does not allow", "calibration_allowed = true"),
        ("loop_open", true, false, "no power", "give it its loop current"),
        ("header_pressure_bar", false, true, "no supply pressure", "open the air"),
    ] {
        let value = |on: bool| {
            if key == "header_pressure_bar" { json!(if on { 1.4 } else { 0.0 }) } else { json!(on) }
        };
        bench.post("/changes", Some(json!({key: value(off)}))).json();
        step(&bench, 120.0);
        refused(&bench, wrong, next);
        bench.post("/changes", Some(json!({key: value(on)}))).json();
        step(&bench, 20.0);
    }
    is(&became(&bench, json!({"calibrate": true})), true, "a calibration has begun", None);
    refused(&bench, "a calibration is running", "\"acknowledge\"");
    // Other changes are nobody's own affair.
    assert_eq!(bench.post("/changes", Some(json!({"armed": true}))).json()["became"], json!([]));
    // Each of the five stands in what the mock tells.
    let mut left = vec!["write-protected", "does not allow", "no power", "no supply", "is running"];
    bench.notice(|n| {
        if let Notice::Positioner { device: 0, news, .. } = n {
            let told = news.to_string();
            left.retain(|word| !told.starts_with("no calibration is begun: ") || !told.contains(word));
        }
        left.is_empty()
    });
    bench.end();
}

#[test]
fn a_key_says_what_it_does() {
    let bench = bench("");
    bench.post("/time/pause", None).json();
    step(&bench, 20.0);
    let key = |key: &str, pressed: bool| became(&bench, json!({key: pressed}));
    is(&key("key_open", true), true, "\"open\" moves the valve", None);
    is(&key("key_open", true), false, "like that before", None);
    is(&key("key_close", true), false, "both pressed", Some("let one of them go"));
    is(&key("key_close", false), true, "let go", None);
    is(&key("key_open", false), true, "let go", None);
    is(&key("key_acknowledge", true), true, "follows the loop current again", None);
    key("key_acknowledge", false);
    is(&key("key_acknowledge", true), false, "nothing to take note of", None);
    key("key_acknowledge", false);
    is(&key("key_find", true), true, "armed to be found", None);
    key("key_find", false);
    is(&key("key_find", true), true, "no longer armed", None);
    // Held for too short, then long enough.
    is(&key("key_calibrate", true), true, "when it is held for 3 s", Some("hold it for 3 s"));
    step(&bench, 2.5);
    is(&key("key_calibrate", false), false, "after 2.5 s", Some("hold it for 3 s"));
    key("key_calibrate", true);
    step(&bench, 3.0);
    is(&key("key_calibrate", false), true, "a calibration has begun", None);
    is(&key("key_close", true), false, "a calibration is running", Some("\"acknowledge\""));
    key("key_close", false);
    key("key_acknowledge", false);
    is(&key("key_acknowledge", true), true, "the calibration was ended", None);
    // What will come to nothing is said before the 3 s are over, and what did behind them.
    bench.post("/changes", Some(json!({"calibration_allowed": false}))).json();
    is(&key("key_calibrate", true), false, "starts no calibration: the process", Some("calibration_allowed"));
    step(&bench, 4.0);
    is(
        &key("key_calibrate", false),
        false,
        "no calibration is begun: the process",
        Some("calibration_allowed"),
    );
    bench.post("/changes", Some(json!({"write_protect": true}))).json();
    is(&key("key_open", true), false, "write-protected", Some("take write protect off"));
    bench.post("/changes", Some(json!({"loop_open": true}))).json();
    step(&bench, 1.0);
    is(&key("key_open", false), false, "no power", Some("loop current"));
    bench.end();
}

/// Events say the same, in the mock's text, when it comes to nothing.
#[test]
fn events_that_come_to_nothing_are_told() {
    let bench = bench(
        "[[event]]\nat_s = 10\nwrite_protect = true\n[[event]]\nat_s = 11\ncalibrate = true\n\
         [[event]]\nat_s = 12\nkey_open = true\n[[event]]\nat_s = 13\nkey_open = false\n\
         [[event]]\nat_s = 14\nkey_calibrate = true\n",
    );
    bench.post("/time/pause", None).json();
    step(&bench, 20.0);
    let mut told = Vec::new();
    bench.notice(|n| {
        if let Notice::Positioner { at, news, .. } = n {
            told.push(format!("{:.2} {news}", at.as_nanos() as f64 / 1e9));
        }
        told.len() == 3
    });
    // The hold is looked at every 10 ms.
    let next = "the device is write-protected; next: take write protect off";
    assert_eq!(
        told,
        [
            format!("11.00 no calibration is begun: {next}"),
            format!("12.00 \"open\" does nothing: {next}"),
            format!("17.00 no calibration is begun: {next}"),
        ]
    );
    bench.end();
}

/// [DV-99]: four lines of at most 24 characters; none in the dark; none of a device without a display.
#[test]
fn displays() {
    let bench = bench("");
    bench.post("/time/pause", None).json();
    step(&bench, 20.0);
    let shown = || {
        let told = bench.get("/displays").json();
        assert_eq!(
            (told["displays"].as_array().map(Vec::len), &told["displays"][0]["device"]),
            (Some(1), &json!("FV-3104"))
        );
        let lines = told["displays"][0]["lines"].as_array().expect("lines").clone();
        lines.iter().map(|l| l.as_str().expect("text").to_owned()).collect::<Vec<_>>()
    };
    let word = || bench.get("/quantities?name=FV-3104.display").json()["quantities"][0]["value"].clone();
    let lines = shown();
    assert_eq!((lines.len(), lines[3].as_str()), (4, "follows the loop"), "{lines:?}");
    assert!(lines.iter().all(|l| l.chars().count() <= 24), "{lines:?}");
    // 12 mA are 50 %; the lever is square at mid travel.
    assert_eq!(lines[1], "set point    50.0 %");
    let number = |line: &str| {
        line.split_whitespace().rev().nth(1).and_then(|n| n.parse::<f64>().ok()).expect("a number")
    };
    assert!((number(&lines[0]) - 50.0).abs() < 0.5 && lines[0].starts_with("travel "), "{lines:?}");
    assert!(
        number(&lines[2]).abs() < 2.0 && lines[2].starts_with("lever ") && lines[2].ends_with(" deg"),
        "{lines:?}"
    );
    became(&bench, json!({"key_calibrate": true}));
    step(&bench, 1.5);
    assert_eq!((shown()[3].as_str(), word()), ("hold 2 s to calibrate", json!("hold to calibrate")));
    step(&bench, 3.0);
    let line = shown()[3].clone();
    assert!(line.contains(" % ") && word() == "calibrating", "{line}");
    bench.post("/changes", Some(json!({"loop_open": true}))).json();
    step(&bench, 1.0);
    assert_eq!((shown(), word()), (Vec::new(), Json::Null));
    bench.end();
}

/// One without keys has no say, and nothing is told of it: it is only refused where it alone is meant.
#[test]
fn devices_without_keys() {
    let bench = Running::start(
        "[[device]]\ntag = \"TT-3105\"\nkind = \"temperature\"\npolling_address = 2\ndevice_id = 2\n\
         [[device]]\ntag = \"FV-3104\"\npolling_address = 1\ndevice_id = 1\n[device.valve]\nstroke_mm = 20\n\
         [[line]]\nat = \"tcp-listen:127.0.0.1:0\"\n",
    );
    bench.post("/time/pause", None).json();
    step(&bench, 5.0);
    let only = json!({"calibrate": true, "device": "TT-3105"});
    assert_eq!(bench.post("/changes", Some(only)).status, 409);
    is(&became(&bench, json!({"calibrate": true})), true, "has begun", None);
    is(&became(&bench, json!({"key_open": true})), false, "a calibration is running", Some("wait"));
    assert_eq!(bench.get("/displays").json()["displays"].as_array().map(Vec::len), Some(1));
    bench.notice(|n| {
        let of = if let Notice::Positioner { device, .. } = n { Some(*device) } else { None };
        assert_ne!(of, Some(0), "{n:?}");
        matches!(n, Notice::Positioner { news, .. } if news.to_string().starts_with("\"open\" does nothing"))
    });
    bench.end();
}

/// [PL-37] [BA-05]: a hand moves the valve by the API, in 20 s from end to end, holds it whatever the loop asks for, and lets go.
#[test]
fn a_hand_on_the_valve() {
    let bench = bench("");
    bench.post("/time/pause", None).json();
    let travel = |bench: &Running| {
        let all = bench.get("/quantities").json();
        let of = |name: &str| {
            all["quantities"].as_array().and_then(|q| q.iter().find(|q| q["name"] == name)).cloned()
        };
        (of("FV-3104.travel_percent"), of("FV-3104.hand_percent"))
    };
    step(&bench, 30.0);
    assert_eq!(travel(&bench).1.expect("a quantity")["value"], Json::Null);
    for percent in [0.0, 80.0] {
        bench.post("/changes", Some(json!({"hand_percent": percent}))).json();
        step(&bench, 21.0);
        let (there, wanted) = travel(&bench);
        let there = there.and_then(|q| q["value"].as_f64()).expect("a travel");
        assert!((there - percent).abs() < 1e-3, "{there}");
        assert_eq!(wanted.expect("a quantity")["value"], json!(percent));
    }
    let wrong = bench.post("/changes", Some(json!({"hand_percent": 101})));
    assert_eq!(wrong.status, 422, "{}", wrong.body);
    bench.post("/changes", Some(json!({"hand_off": true}))).json();
    bench.post("/changes", Some(json!({"loop_current_ma": 8.0}))).json();
    step(&bench, 30.0);
    let there = travel(&bench).0.and_then(|q| q["value"].as_f64()).expect("a travel");
    assert!((there - 25.0).abs() < 2.0, "8 mA are 25 %: {there}");
    bench.end();
}
