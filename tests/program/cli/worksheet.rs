//! `worksheet`: filled in from a device and from settings, as Markdown and as a page; what is refused.

use crate::process::{run, scratch};
use std::fs;

fn bench() -> String {
    format!("mock:{}/fixtures/benches/brackenmoor.toml", env!("CARGO_MANIFEST_DIR"))
}

/// The tag and descriptor of the bench file stand on the sheet, with where they come from; the head and the cautions stand before the steps [TV-50].
#[test]
fn a_device_fills_in_its_names() {
    let dir = scratch("worksheet-device");
    let ended = run(&dir, &["worksheet", "first-start", &bench()]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let caution = ended.out.find("**Moving parts.**").expect("a caution");
    let tag = ended.out.find("| tag | **FV-3104** (read from the device) |").expect("the tag");
    assert!(tag < caution && ended.out.contains("[ ] |"), "{}", ended.out);
    let saved = run(&dir, &["settings", "save", &bench(), "fv.toml"]);
    assert_eq!(saved.code, 0, "{}", saved.err);
    let page = run(&dir, &["worksheet", "first-start", "--settings", "fv.toml", "--page", "--out", "a.html"]);
    assert_eq!((page.code, page.err.as_str()), (0, ""));
    let html = fs::read_to_string(dir.join("a.html")).expect("it was written");
    assert!(html.contains("FV-3104 <span class=\"from\">fv.toml</span>"), "{html}");
    // What is there already is not overwritten.
    let again = run(&dir, &["worksheet", "air", "--out", "a.html"]);
    assert_eq!(again.code, 2, "{}", again.out);
    assert!(
        again.err.contains("--force") && fs::read_to_string(dir.join("a.html")).is_ok_and(|now| now == html)
    );
}

#[test]
fn what_there_is_not_is_named() {
    let dir = scratch("worksheet-refused");
    let unknown = run(&dir, &["worksheet", "polish"]);
    assert_eq!(unknown.code, 2);
    assert!(unknown.err.contains("\"polish\"") && unknown.err.contains("output-stage"), "{}", unknown.err);
    fs::write(dir.join("r.json"), "{}").expect("a scratch file");
    let bad = run(&dir, &["worksheet", "air", "--record", "r.json"]);
    assert_eq!((bad.code, bad.out.as_str()), (2, ""));
    assert!(bad.err.contains("reading the record r.json"), "{}", bad.err);
    assert_eq!(run(&dir, &["worksheet"]).code, 2);
    let list = run(&dir, &["worksheet", "--list"]);
    assert!(list.code == 0 && list.out.contains("mounting-part-turn"), "{}", list.out);
}

/// [TV-80]: what a device answers is on the sheet: its unique address, where it was found, the current that it reads, and empty texts as such.
#[test]
fn a_device_fills_in_what_it_answers() {
    let dir = scratch("worksheet-answers");
    let bench = format!("mock:{}/fixtures/benches/valve-calibrated.toml", env!("CARGO_MANIFEST_DIR"));
    let wiring = run(&dir, &["worksheet", "wiring", &bench, "--site", "Brackenmoor, inlet"]);
    assert_eq!((wiring.code, wiring.err.as_str()), (0, ""));
    // Device type 0xFD71, of which an address has 14 bits, and device id 0x003104; the bench's current is 12 mA.
    for line in [
        "| unique address | **3D71003104** (read from the device) |",
        "| device id | **0x003104** (read from the device) |",
        "| site | **Brackenmoor, inlet** (given) |",
        "polling address: **0** (read from the device)",
        "read by the device, mA: **12.00** (read from the device)",
        "asked, mA: ____",
    ] {
        assert!(wiring.out.contains(line), "{line}\n{}", wiring.out);
    }
    assert!(wiring.out.contains("| date of the work | **20"), "{}", wiring.out);
    let described = format!("{}/protocol-notes/positioner.toml", env!("CARGO_MANIFEST_DIR"));
    let calibration = run(&dir, &["worksheet", "calibration", &bench, "--description", &described]);
    let told = "as it tells: **calibration end stops, stroke times and friction; state done at the factory;";
    assert!(calibration.out.contains(told), "{}", calibration.out);
    let start = run(&dir, &["worksheet", "first-start", &bench]);
    assert!(start.out.contains("descriptor: **none** (read from the device)"), "{}", start.out);
}

/// [TV-80]: settings that were saved with a description need none for a sheet; what is no settings file stays refused.
#[test]
fn settings_with_commands_of_a_device_type() {
    let dir = scratch("worksheet-described");
    let root = env!("CARGO_MANIFEST_DIR");
    let bench = format!("mock:{root}/fixtures/benches/valve-calibrated.toml");
    let described = format!("{root}/protocol-notes/positioner.toml");
    let saved = run(&dir, &["settings", "save", &bench, "set.toml", "--description", &described]);
    assert_eq!(saved.code, 0, "{}", saved.err);
    let text = fs::read_to_string(dir.join("set.toml")).expect("it was written");
    assert!(text.contains("[described_"), "{text}");
    let sheet = run(&dir, &["worksheet", "first-start", "--settings", "set.toml"]);
    assert_eq!((sheet.code, sheet.err.as_str()), (0, ""));
    for line in ["| unique address | **3D71003104** (set.toml) |", "file: **set.toml** (given)"] {
        assert!(sheet.out.contains(line), "{line}\n{}", sheet.out);
    }
    fs::write(dir.join("bad.toml"), text.replace("[message]", "[massage]")).expect("a scratch file");
    let bad = run(&dir, &["worksheet", "first-start", "--settings", "bad.toml"]);
    assert!(bad.code == 2 && bad.err.contains("`massage`"), "{}", bad.err);
    // Who writes settings back needs the description as before.
    let compared = run(&dir, &["settings", "compare", "set.toml", "set.toml"]);
    assert!(compared.code == 2 && compared.err.contains("--description"), "{}", compared.err);
}

/// [TV-152] [TV-153]: a test as left fills its lines and no others, with its verdict by the limits that are given; one that closes where it is said to open says both.
#[test]
fn a_record_with_its_verdict() {
    let dir = super::travel::bench("worksheet-verdict", "", "");
    let test = ["--cycles", "1", "--as-left", "--loss", "air", "--fails-to", "open", "--record", "left.json"];
    fs::write(dir.join("answers.toml"), ANSWERS).expect("a scratch file");
    let ended = super::travel::travel(&dir, &[&test[..], &["--answers", "answers.toml"]].concat());
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    let sheet = run(&dir, &["worksheet", "calibration", "--record", "left.json"]);
    for told in [
        "mock:bench.toml, virtual time): NOT IN ORDER: ",
        "(looprig's own defaults, from no standard)",
        "**Look: left.json (travel test, as left) came out as NOT IN ORDER",
        "**Look: it is said (left.json) that the valve opens without air or signal; in the test (left.json), loss of air: it closes",
    ] {
        assert!(sheet.out.contains(told), "{told}\n{}", sheet.out);
    }
    let (found, left) = sheet.out.split_once("## As left").expect("both parts");
    assert!(found.contains("hysteresis, %: ____") && left.contains("hysteresis, %: **"), "{}", sheet.out);
    let air = run(&dir, &["worksheet", "air", "--record", "left.json"]);
    for told in [
        "now, without air, it: ____",
        "it is said that without air or signal it: **opens** (left.json)",
        "in a test without air it: **closes by the eye of a person; closes, at ",
    ] {
        assert!(air.out.contains(told), "{told}\n{}", air.out);
    }
    fs::write(dir.join("l.toml"), "whose = \"works\"\n[limits]\naccuracy_percent = 0.001\n").expect("a file");
    let strict = run(&dir, &["worksheet", "air", "--record", "left.json", "--limits", "l.toml"]);
    assert!(strict.out.contains("BEYOND LIMITS: ") && strict.out.contains("(works)"), "{}", strict.out);
}

const ANSWERS: &str = "\"travel/start\" = \"yes\"\n\"travel/loss/air\" = \"yes\"\n\"travel/loss/air/seen\" = \"closed\"\n\"travel/loss/air/time\" = \"?\"\n";
