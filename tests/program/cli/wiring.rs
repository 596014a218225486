//! `wiring`: verdicts, formats, sweeps, tolerances and what is refused.

use super::{WIDTH, table, too_long};
use crate::process::{run, scratch};
use serde_json::Value as Json;
use std::fs;
use std::path::Path;

fn sheet(name: &str) -> String {
    format!("{}/fixtures/sheets/{name}", env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn a_verdict_in_every_format() {
    let dir = scratch("wiring-formats");
    for (name, code, words) in [
        ("lt-3110-transmitter.toml", 0, ["Verdict: this loop carries current and signal.", "Fails above"]),
        ("short-of-volts.toml", 1, ["Verdict: NOT GOOD.", "All of it together"]),
        ("noisy.toml", 1, ["messages that noise damages", "Noise, white, 500 to 10000 Hz"]),
        ("multidrop-15.toml", 0, ["The weakest of each direction", "60 mA"]),
    ] {
        let told = run(&dir, &["wiring", &sheet(name)]);
        assert_eq!((told.code, told.err.as_str()), (code, ""), "{name}");
        assert!(words.iter().all(|w| told.out.contains(w)) || name.starts_with("multi"), "{}", told.out);
        assert!(told.out.contains("Hazardous areas") && told.out.contains("fail position"), "{}", told.out);
        for more in ["-q", "-v"] {
            let told = run(&dir, &["wiring", &sheet(name), more]);
            assert_eq!(too_long(&told.out), Vec::<&str>::new(), "wider than {WIDTH}");
            assert_eq!(told.out.contains("Hazardous areas"), more == "-v");
        }
        let json = run(&dir, &["--format", "json", "wiring", &sheet(name)]);
        let all = json.json();
        assert_eq!((json.code, all.len()), (code, 1));
        assert_eq!(all[0]["good"], code == 0);
        let checks = all[0]["checks"].as_array().unwrap();
        let csv = run(&dir, &["--format", "csv", "wiring", &sheet(name)]);
        assert_eq!(table(&csv.out).len(), checks.len());
        let bad = |c: &&Json| c["must_hold"] == true && c["holds"] == false;
        assert_eq!(checks.iter().filter(bad).count() > 0, code == 1);
        // Only a sheet with noise has it.
        let noise = all[0].get("noise").map(|n| n.as_array().unwrap().len());
        assert_eq!(noise, (name == "noisy.toml").then_some(2));
        assert_eq!(told.out.contains("Noise"), name == "noisy.toml");
    }
}

#[test]
fn a_page_of_its_own() {
    let dir = scratch("wiring-html");
    let told = run(
        &dir,
        &[
            "wiring",
            &sheet("fv-3104.toml"),
            "--tolerance",
            "--seed",
            "7",
            "--samples",
            "100",
            "--html",
            "page.html",
        ],
    );
    assert_eq!((told.code, told.err.as_str()), (0, ""), "{}", told.out);
    let page = fs::read_to_string(dir.join("page.html")).unwrap();
    assert_eq!(page.matches("<svg").count(), 2, "volts against current, level against length");
    assert!(
        !page.contains("http") && !page.contains("NaN") && !page.contains("<script"),
        "nothing from elsewhere"
    );
    for tag in ["table", "ul", "svg", "tr", "td", "p", "h2"] {
        let opened = page.matches(&format!("<{tag}>")).count() + page.matches(&format!("<{tag} ")).count();
        assert_eq!(opened, page.matches(&format!("</{tag}>")).count(), "{tag}");
    }
    // A title is text, whatever stands in it.
    fs::write(
        dir.join("s.toml"),
        "title = \"<b>&\"\n[supply]\nvoltage_v = 24\nresistor_ohm = 250\n[[device]]\nmin_voltage_v = 12\n",
    )
    .unwrap();
    assert_eq!(run(&dir, &["wiring", "s.toml", "--html", "s.html"]).code, 0);
    assert!(fs::read_to_string(dir.join("s.html")).unwrap().contains("<h1>&lt;b&gt;&amp;</h1>"));
    // What a file holds may be wanted.
    fs::write(dir.join("kept.html"), "kept").unwrap();
    let again = ["wiring", &sheet("fv-3104.toml"), "--html", "kept.html"];
    run(&dir, &again).refused(&["kept.html", "--force"]);
    assert_eq!(fs::read_to_string(dir.join("kept.html")).unwrap(), "kept");
    assert_eq!(run(&dir, &[&again[..], &["--force"]].concat()).code, 0);
    assert!(fs::read_to_string(dir.join("kept.html")).unwrap().contains("@page{size:A4"));
    run(&dir, &["wiring", &sheet("fv-3104.toml"), "--html", "none/page.html"]).refused(&["none/page.html"]);
}

#[test]
fn sweeps_and_tolerances() {
    let dir = scratch("wiring-sweep");
    let sweep = |what: &str| {
        run(&dir, &["--format", "csv", "wiring", &sheet("lt-3110-transmitter.toml"), "--sweep", what])
    };
    let rows = table(&sweep("cable.length=0..3000:500").out);
    let values: Vec<f64> = rows.iter().map(|r| r[0].parse().unwrap()).collect();
    assert_eq!(values, [0.0, 500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0]);
    let volts: Vec<f64> = rows.iter().map(|r| r[2].parse().unwrap()).collect();
    // 24.2 ohm/km: 500 m more take 22.5 mA x 12.1 ohm = 0.272 V; the signal's peak changes by less than 50 mV.
    assert!(volts.windows(2).all(|w| (0.222..0.322).contains(&(w[0] - w[1]))), "{volts:?}");
    let verdicts: Vec<&str> = rows.iter().map(|r| r[7].as_str()).collect();
    assert_eq!(verdicts[0], "good");
    assert_eq!(verdicts[6], "fails: rc");
    let all = run(&dir, &["wiring", &sheet("lt-3110-transmitter.toml"), "--tolerance", "--seed", "7"]);
    assert_eq!(too_long(&all.out), Vec::<&str>::new());
    assert!(all.out.contains("0 of 2000 samples fail a check that must hold (seed 7)."), "{}", all.out);
    let again = run(&dir, &["wiring", &sheet("lt-3110-transmitter.toml"), "--tolerance", "--seed", "7"]);
    assert_eq!(all.out, again.out);
    for (wrong, words) in [
        ("cable.length", ["has no =", "0..3000:100"]),
        ("cable.lenght=0..1:1", ["cable.lenght", "cable.length"]),
        ("card.compliance=0..1:1", ["no card", "supply"]),
        ("cable.length=0..3000:0", ["step of 0", "larger step"]),
        ("cable.length=5..x:1", ["no range", "0..3000:100"]),
        ("cable.length=0..99999:1", ["cannot go", "20000 m"]),
        ("device.impedance=100..200:10", ["gives no device.impedance", "sheet first"]),
    ] {
        sweep(wrong).refused(&words);
    }
}

#[test]
fn schema_and_refusals() {
    let dir = scratch("wiring-refused");
    let schema = run(&dir, &["wiring", "--schema"]);
    let schema: Json = serde_json::from_str(&schema.out).unwrap();
    assert_eq!(schema["title"], "looprig wiring sheet");
    // Every key that an example gives is in the schema.
    let text = fs::read_to_string(Path::new(&sheet("fv-3104.toml"))).unwrap();
    let all = schema.to_string();
    for key in text.lines().filter_map(|l| l.split_once(" = ")).map(|(key, _)| key) {
        assert!(all.contains(&format!("\"{key}\"")), "{key}");
    }
    run(&dir, &["wiring", "none.toml"]).refused(&[
        "reading the wiring sheet none.toml",
        "no such file",
        "--schema",
    ]);
    run(&dir, &["wiring"]).refused(&["SHEET.toml"]);
    fs::write(
        dir.join("two.toml"),
        "[supply]\nvoltage_v = 24\nresistor_ohm = 250\n[card]\ncompliance_v = 17\nimpedance_ohm = 1\n",
    )
    .unwrap();
    run(&dir, &["wiring", "two.toml"]).refused(&["two.toml:4:1", "two supplies", "[card]"]);
    run(&dir, &["wiring", &sheet("fv-3104.toml"), "--samples", "5"]).refused(&["samples"]);
}
