//! What is wrong in a sheet is told with line, column and what would be right; any text is a circuit or a message.

use looprig::bench::{check, check_sheet};
use looprig::wiring::{Kind, judge};
use proptest::prelude::*;
use std::path::Path;

const GOOD: &str = "[supply]\nvoltage_v = 24\nresistor_ohm = 250\n[[cable]]\nlength_m = 100\ncross_section_mm2 = 1.5\n\
                    [[device]]\nmin_voltage_v = 12\n";

/// Where it is wrong, and words of the message.
fn refused(text: &str, line: usize, column: usize, words: &[&str]) {
    let e = check_sheet(text, Path::new("s.toml")).expect_err(text);
    let told = e.to_string();
    assert!(told.starts_with(&format!("s.toml:{line}:{column}: ")), "{told}");
    assert!(told.contains("\n  next: "), "{told}");
    for word in words {
        assert!(told.contains(word), "{word} is missing in: {told}");
    }
}

#[test]
fn faults_have_places() {
    refused(&GOOD.replace("length_m = 100", "length_m = -100"), 5, 12, &["length_m is -100 m", "0 to 20000"]);
    refused(&GOOD.replace("length_m = 100", "length_m = nan"), 5, 12, &["length_m is NaN"]);
    refused(&GOOD.replace("length_m", "lenght_m"), 5, 1, &["`lenght_m`", "did you mean `length_m`?"]);
    refused(&GOOD.replace("voltage_v = 24", "voltage_v = \"24\""), 2, 13, &["cannot stand here", "a number"]);
    refused(&format!("{GOOD}[card]\ncompliance_v = 17\nimpedance_ohm = 20000\n"), 9, 1, &["two supplies"]);
    refused("[[device]]\nmin_voltage_v = 12\n", 3, 1, &["nothing feeds this loop", "[supply]"]);
    refused("[supply]\nvoltage_v = 24\nresistor_ohm = 250\n", 4, 1, &["no return", "[[device]]"]);
    let card = "[card]\ncompliance_v = 17\nimpedance_ohm = 20000\n[[device]]\nmin_voltage_v = 9\n[[device]]\nmin_voltage_v = 9\n";
    refused(card, 6, 1, &["a card drives one device"]);
    refused(
        &GOOD.replace("[[device]]\n", "[[device]]\nat = \"box A\"\n"),
        8,
        6,
        &["no wires lead to \"box A\"", "far end of cable 1"],
    );
    refused(&GOOD.replace("length_m = 100", "length_m = 100\nlength_ft = 300"), 6, 13, &["twice"]);
    refused(&GOOD.replace("length_m = 100", "length_m = 100\nto = \"source\""), 6, 6, &["a ring"]);
    refused(&GOOD.replace("cross_section_mm2 = 1.5\n", ""), 4, 1, &["cross_section_mm2, awg or"]);
    refused(&GOOD.replace("min_voltage_v = 12", "volts_at_ma = [[20, 9], [4, 12]]"), 8, 26, &["do not rise"]);
    refused(
        &GOOD.replace("min_voltage_v = 12", "min_voltage_v = 12\ntransmit_mv_pp = 500"),
        9,
        18,
        &["which impedance"],
    );
    refused(
        &GOOD.replace("[[cable]]", "[[cable]]\ninsulation = \"pvcc\""),
        5,
        14,
        &["did you mean \"pvc\"?"],
    );
    refused(&format!("{GOOD}[master]\nat = \"resistr\"\n"), 10, 6, &["no wires lead"]);
    refused(&format!("{GOOD}[noise]\nrms_mv = -1\n"), 10, 10, &["rms_mv is -1 mV", "0 to 10000"]);
    refused(&format!("{GOOD}[noise]\nfrom_hz = 1300\n"), 10, 11, &["from_hz is 1300 Hz", "1 to 1200"]);
    refused(&format!("{GOOD}[noise]\nto_hz = 2000\n"), 10, 9, &["to_hz is 2000 Hz", "2200 to 1000000"]);
    refused(&format!("{GOOD}noise_rms_mv = 10001\n"), 9, 16, &["noise_rms_mv is 10001 mV"]);
    refused(&GOOD.replace("[supply]", "[supply"), 1, 8, &["no TOML"]);
}

/// A bench is no sheet and a sheet is no bench: told as such, with what to do with it.
#[test]
fn one_file_for_the_other() {
    let bench = "[[device]]\ntag = \"T\"\nrevision = 7\n[[line]]\nat = \"pty:\"\n";
    refused(bench, 3, 1, &["this is a bench file, no wiring sheet", "looprig mock"]);
    let e = check(GOOD, Path::new("b.toml")).expect_err("a sheet").to_string();
    assert!(e.starts_with("b.toml:4:1: this is a wiring sheet, no bench file"), "{e}");
    assert!(e.contains("next: judge it with looprig wiring"), "{e}");
    // A key that is only spelt wrong is told as that.
    let e = check("[[devise]]\n", Path::new("b.toml")).expect_err("no key").to_string();
    assert!(e.starts_with("b.toml:1:1: there is no key `devise` here"), "{e}");
}

/// A fault of a heading stands at its bracket, also where only a table below it is written; one in a list stays there.
#[test]
fn faults_of_headings() {
    let loops = "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n[[device]]\n[[line]]\nat = \"pty:\"\n";
    for (text, place) in [
        (loops, "1:1"),
        ("[[loop.device]]\n[[device]]\n[[line]]\nat = \"pty:\"\n", "1:1"),
        (" [[lime]]\n", "1:2"),
    ] {
        let e = check(text, Path::new("b.toml")).expect_err(text).to_string();
        assert!(e.starts_with(&format!("b.toml:{place}: ")), "{e}");
    }
    refused(&GOOD.replace("min_voltage_v = 12", "volts_at_ma = [[-1, 9]]"), 8, 17, &["volts_at_ma is -1 mA"]);
    refused(
        &GOOD.replace("min_voltage_v = 12", "volts_at_ma = [\n[-1, 9]]"),
        9,
        2,
        &["volts_at_ma is -1 mA"],
    );
}

/// Pieces of sheets, right and wrong, in any order.
fn pieces() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "[supply]\nvoltage_v = 24\nresistor_ohm = 250\n",
        "[supply]\nvoltage_v = 0\nresistor_ohm = 0\n",
        "[card]\ncompliance_v = 17\nimpedance_ohm = 0.001\n",
        "[[cable]]\nlength_m = 0\ncross_section_mm2 = 1.5\n",
        "[[cable]]\nlength_ft = 65000\nawg = 40\ninsulation_kohm_km = 0.001\n",
        "[[cable]]\nlength_m = 20000\nresistance_ohm_per_km = 0\ninductance_uh_per_m = 0\ncapacitance_pf_per_m = 0\n",
        "[[series]]\nkind = \"isolator\"\npasses_signal = false\n",
        "[[series]]\nkind = \"indicator\"\ndrop_v = 100\nreversed = true\n",
        "[[shunt]]\nkind = \"resistor\"\nresistance_ohm = 0.001\n",
        "[[shunt]]\nkind = \"capacitor\"\ncapacitance_nf = 1000000\n",
        "[[device]]\nmin_voltage_v = 12\n",
        "[[device]]\nvolts_at_ma = [[3.6, 12.0], [20.0, 10.5]]\ntransmit_mv_pp = 1\ntransmit_impedance_ohm = 0\n",
        "[master]\ncoupling_uf = 0.001\n",
        "currents_ma = [0.1, 100]\n",
        "[noise]\nrms_mv = 0\n",
        "[noise]\nrms_mv = 10000\nfrom_hz = 1200\nto_hz = 2200\n",
        "[[device]]\nmin_voltage_v = 12\nnoise_rms_mv = 50\n",
        "title = \"x\"\n",
        "nonsense",
        "[[device]]\n",
    ]);
    prop::collection::vec(piece, 1..7).prop_map(|p| p.concat())
}

/// A voltage that an isolator keeps from the receiver for good: the level fails, the tones are not compared, and every
/// number is one.
#[test]
fn no_signal_at_all() {
    let text = "[[series]]\nkind = \"isolator\"\npasses_signal = false\n[supply]\nvoltage_v = 24\nresistor_ohm = 250\n\
                [[device]]\nvolts_at_ma = [[3.6, 12.0], [20.0, 10.5]]\ntransmit_mv_pp = 1\ntransmit_impedance_ohm = 0\n";
    let judged = judge(&check_sheet(text, Path::new("s.toml")).unwrap().circuit);
    assert!(judged.checks.iter().any(|c| c.kind == Kind::Level && c.value < c.limit));
    assert!(judged.checks.iter().all(|c| !matches!(c.kind, Kind::Twist | Kind::Delay) && !c.value.is_nan()));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever passes can be judged, and every number of it is one.
    #[test]
    fn any_sheet(text in pieces()) {
        match check_sheet(&text, Path::new("s.toml")) {
            Err(e) => prop_assert!(e.place.is_some() && e.to_string().contains("next: ")),
            Ok(sheet) => {
                let judged = judge(&sheet.circuit);
                for row in &judged.analysis.dc {
                    prop_assert!(row.margin_after_peak_v.is_finite(), "{text}");
                }
                for check in &judged.checks {
                    prop_assert!(!check.value.is_nan() && check.limit.is_finite(), "{check:?}\n{text}");
                }
            }
        }
    }
}
