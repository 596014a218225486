//! `[loop]` of a bench file: what is refused, and where.

use looprig::bench::{self, WiringSheet};
use looprig::wiring::Coupling;
use std::collections::BTreeSet;
use std::path::Path;

const GOOD: &str = r#"[loop]
current_ma = 12
[loop.supply]
voltage_v = 24
resistor_ohm = 250
[[loop.device]]
tag = "FV-3104"
min_voltage_v = 10
[[device]]
tag = "FV-3104"
[[line]]
at = "pty:"
"#;

fn refused(text: &str) -> String {
    bench::check(text, Path::new("loop.toml")).expect_err("it is refused").to_string()
}

/// Line and column of the place, and words of what is wrong and of what to do.
fn told(text: &str, place: &str, words: &[&str]) {
    let told = refused(text);
    assert!(told.starts_with(&format!("loop.toml:{place}: ")), "{told}");
    for word in words {
        assert!(told.contains(word), "{word:?} is missing in\n{told}");
    }
}

#[test]
fn what_is_wrong_and_where() {
    let with = |from: &str, to: &str| {
        assert!(GOOD.contains(from), "{from}");
        GOOD.replacen(from, to, 1)
    };
    assert!(bench::check(GOOD, Path::new("loop.toml")).is_ok());
    told(&with("voltage_v = 24", "voltage_v = 240"), "4:13", &["voltage_v is 240 V", "0 to 100"]);
    told(&with("voltage_v", "voltage"), "4:1", &["voltage"]);
    told(
        &with("[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n", ""),
        "1:1",
        &["nothing feeds", "[loop.supply]"],
    );
    told(
        &with("[[loop.device]]\ntag = \"FV-3104\"\nmin_voltage_v = 10\n", ""),
        "1:1",
        &["no device", "[[loop.device]]"],
    );
    told(
        &with("[[device]]\ntag = \"FV-3104\"", "[[device]]\ntag = \"FV-3105\""),
        "10:7",
        &["FV-3105 is not on the loop", "did you mean \"FV-3104\""],
    );
    let two = with("[[device]]", "[[loop.device]]\ntag = \"FV-3105\"\nmin_voltage_v = 10\n[[device]]");
    told(&two, "1:1", &["no FV-3105"]);
    let transmitter =
        with("[[device]]", "[[device]]\nkind = \"temperature\"").replace("current_ma = 12\n", "");
    assert!(bench::check(&transmitter, Path::new("loop.toml")).is_ok());
    let card = transmitter.replace(
        "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250",
        "[loop.card]\ncompliance_v = 24\nimpedance_ohm = 500",
    );
    told(&card, "8:1", &["a card drives the current", "positioner"]);
    told(
        &with("current_ma = 12", "current_ma = 12\nsheet = \"s.toml\""),
        "4:1",
        &["in a sheet of its own and here too"],
    );
    told(
        &with("min_voltage_v = 10", "min_voltage_v = 10\nmin_current_ma = -1"),
        "9:18",
        &["min_current_ma is -1 mA"],
    );
    told(&with("[[line]]", "startup_s = 0\n[[line]]"), "11:13", &["startup_s is 0 s", "0.1 to 600"]);
}

/// What makes no difference to a mock is to be right all the same.
#[test]
fn tolerances_are_looked_at() {
    let text = format!("{GOOD}[loop.tolerance]\nvoltage_percent = 95\n");
    told(&text, "14:19", &["voltage_percent is 95 %", "0 to 90"]);
    assert!(bench::check(&text.replace("95", "5"), Path::new("loop.toml")).is_ok());
}

/// A sheet without a master gets one, and that is known.
#[test]
fn a_usual_master_is_known_as_such() {
    let taken = |text: &str| {
        let wires =
            bench::check(text, Path::new("loop.toml")).expect("it makes sense").wires.expect("a loop");
        assert!(wires.circuit.master.is_some());
        wires.takes_usual_master
    };
    assert!(taken(GOOD));
    assert!(!taken(&format!("{GOOD}[loop.master]\ntransmit_mv_pp = 400\n")));
}

/// The keys below [loop] are those of a sheet, and two of its own.
#[test]
fn a_loop_has_the_keys_of_a_sheet() {
    let keys = |of: &serde_json::Value| -> BTreeSet<String> {
        of["properties"].as_object().expect("properties").keys().cloned().collect()
    };
    let bench: serde_json::Value = serde_json::from_str(&bench::schema()).expect("a schema");
    let sheet: serde_json::Value = serde_json::from_str(&bench::sheet_schema()).expect("a schema");
    let mut of_loop = keys(&bench["$defs"]["LoopTable"]);
    assert!(of_loop.remove("current_ma") && of_loop.remove("sheet"));
    assert_eq!(of_loop, keys(&sheet));
}

/// Who holds its own current follows nobody's.
#[test]
fn a_current_that_nobody_follows() {
    let held = GOOD.replace("min_voltage_v = 10", "min_voltage_v = 10\nholds_ma = 4");
    told(&held, "2:14", &["holds its own current", "leave it out"]);
    let held = held.replace("current_ma = 12\n", "");
    assert!(bench::check(&held, Path::new("loop.toml")).is_ok());
    told(&format!("{held}[[event]]\nat_s = 1\nloop_current_ma = 5\n"), "15:19", &["holds its own current"]);
}

#[test]
fn events_of_the_loop() {
    let event = |key: &str| format!("{GOOD}[[event]]\nat_s = 1\n{key}\n");
    for good in [
        "loop_supply_v = 20",
        "loop_open = true",
        "loop_extra_ohm = 5",
        "loop_leak_ohm = 1e4",
        "loop_current_ma = 4",
    ] {
        assert!(bench::check(&event(good), Path::new("loop.toml")).is_ok(), "{good}");
    }
    told(&event("loop_supply_v = 101"), "15:17", &["0 to 100 V"]);
    told(&event("loop_leak_ohm = 0"), "15:17", &["loop_leak_ohm is 0 ohm"]);
    told(&event("loop_open = true\ndevice = \"FV-3104\""), "16:10", &["all its devices"]);
    // A bench that has a current alone cannot lose its supply.
    let old = "[loop]\ncurrent_ma = 12\n[[device]]\n[[line]]\nat = \"pty:\"\n";
    let plan = bench::check(old, Path::new("loop.toml")).expect("it is as before");
    assert_eq!(plan.wires, None);
    told(
        &format!("{old}[[event]]\nat_s = 1\nloop_open = true\n"),
        "8:13",
        &["does not compute its loop", "[loop.card]"],
    );
    told(&old.replace("[[device]]", "[[device]]\nstartup_s = 4"), "4:13", &["always have power"]);
}

/// The same sheet serves `looprig wiring` and the bench, and a fault in it is told with its own place.
#[test]
fn a_sheet_of_its_own() {
    let text = "[loop]\ncurrent_ma = 12\nsheet = \"fv-3104.toml\"\n[[device]]\ntag = \"FV-3104\"\n[[line]]\nat = \"pty:\"\n";
    let at = |name: &str| Path::new("bench").join(name);
    let mut asked = Vec::new();
    let sheet = include_str!("../../../fixtures/sheets/fv-3104.toml");
    let read = |text: &str| -> Result<WiringSheet, bench::FileError> {
        bench::check_sheet(text, &at("fv-3104.toml"))
    };
    let plan = bench::check_all(text, &at("b.toml"), &mut |_| unreachable!(), &mut |path| {
        asked.push(path.to_path_buf());
        read(sheet)
    });
    let wires = plan.expect("it makes sense").wires.expect("its loop is computed");
    assert_eq!(asked, [at("fv-3104.toml")]);
    assert_eq!(wires.circuit, read(sheet).unwrap().circuit);
    assert_eq!(wires.circuit.master.expect("a master").coupling, Coupling::At(0));
    let bad = sheet.replace("length_m = 1000", "length_m = 100000");
    let e = bench::check_all(text, &at("b.toml"), &mut |_| unreachable!(), &mut |_| read(&bad))
        .expect_err("it is refused");
    assert!(e.to_string().starts_with("bench/fv-3104.toml:17:12: length_m is 100000 m"), "{e}");
    // Nothing is opened where only the text is looked at.
    told(text, "3:9", &["only the text", "[loop.supply]"]);
}
