//! Faults are named as what they are, remedies do what they say, tolerances are what they are said to be.

use super::{circuit, near};
use looprig::wiring::{Check, Kind, Knob, Tolerance, corner, judge, sample};

fn failing(text: &str) -> Vec<Kind> {
    let mut list: Vec<Kind> =
        judge(&circuit(text)).checks.iter().filter(|c| !c.holds()).map(|c| c.kind).collect();
    list.dedup();
    list
}

fn check(text: &str, kind: Kind) -> Check {
    judge(&circuit(text)).checks.into_iter().find(|c| c.kind == kind).unwrap()
}

const LOOP: &str = "[supply]\nvoltage_v = 24\nresistor_ohm = 250\n[master]\n[[cable]]\nlength_m = 200\n\
                    cross_section_mm2 = 1.5\ninsulation = \"pe\"\n[[device]]\ntag = \"T\"\nmin_voltage_v = 12\n";

#[test]
fn a_good_loop_has_no_faults() {
    assert_eq!(failing(LOOP), []);
}

#[test]
fn each_fault_by_its_name() {
    let without = LOOP.replace("resistor_ohm = 250", "resistor_ohm = 0");
    assert!(failing(&without).contains(&Kind::SourceShort));
    let short = check(&without, Kind::SourceShort);
    assert!(short.meaning.contains("without a resistor is a short"), "{}", short.meaning);
    let card = "[card]\ncompliance_v = 20\nimpedance_ohm = 10\n[[device]]\nmin_voltage_v = 9\nimpedance_ohm = 400\n\
                transmit_mv_pp = 600\n";
    assert!(check(card, Kind::SourceShort).meaning.contains("card's output shorts"));
    // With a filter of 250 ohm it is none: 260 ohm, and 600 mV x 260/(400 + 260) = 236 mV at the card's terminals.
    let filtered = card.replace("impedance_ohm = 10\n", "impedance_ohm = 10\nfilter_ohm = 250\n");
    assert_eq!(failing(&filtered), []);
    near("level", check(&filtered, Kind::Level).value, 0.6 * 260.0 / 660.0, 1e-3);
    assert_eq!(failing(&LOOP.replace("tag =", "reversed = true\ntag =")), [Kind::Polarity]);
    // Two turns are none, and a device with a bridge does not mind one.
    let twice =
        LOOP.replace("tag =", "reversed = true\ntag =").replace("length_m", "reversed = true\nlength_m");
    assert_eq!(failing(&twice), []);
    assert_eq!(failing(&LOOP.replace("tag =", "reversed = true\neither_polarity = true\ntag =")), []);
    let second = format!("{LOOP}[[shunt]]\nkind = \"resistor\"\nresistance_ohm = 250\n");
    assert!(failing(&second).contains(&Kind::SecondResistor));
    let isolator =
        LOOP.replace("[[cable]]", "[[series]]\nkind = \"isolator\"\npasses_signal = false\n[[cable]]");
    assert!(failing(&isolator).contains(&Kind::Level));
    let long = LOOP.replace("length_m = 200", "length_m = 6000");
    assert!(failing(&long).contains(&Kind::Rc));
}

/// 15 devices of 4 mA over 250 ohm take 15 V: of 24 V 9 V are left, of 28 V 13 V, the signal's peak off.
#[test]
fn multidrop_takes_its_volts() {
    let loop_of = |volts: f64| {
        let mut text = format!("[supply]\nvoltage_v = {volts}\nresistor_ohm = 250\n");
        for n in 0..15 {
            text += &format!("[[device]]\ntag = \"{n}\"\nmin_voltage_v = 10.5\ncapacitance_nf = 0\n");
        }
        text
    };
    assert_eq!(failing(&loop_of(24.0)), [Kind::Volts]);
    assert_eq!(failing(&loop_of(28.0)), []);
    // 1 mA peak to peak over 250 ohm: a peak of 125 mV.
    near("volts", check(&loop_of(28.0), Kind::Volts).value, 13.0 - 0.125, 1e-6);
}

/// Raising the supply: 600 ohm at 22.5 mA take 13.5 V, the device 10.5 V and the peak of 1 mA over 600 ohm 0.3 V, so
/// 24.3 V are the least.
#[test]
fn remedies_are_just_enough() {
    let text = "[supply]\nvoltage_v = 24\nresistor_ohm = 600\n[[device]]\nmin_voltage_v = 10.5\ncapacitance_nf = 0\n";
    let beyond = check(text, Kind::VoltsBeyond);
    near("short of", beyond.margin(), -0.3, 1e-6);
    let texts: Vec<&str> = beyond.remedies.iter().map(|r| r.text.as_str()).collect();
    assert_eq!(texts[0], "raise the supply to 24.3 V (now 24)");
    // Or the resistor: (24 - 10.5)/(0.0225 + 0.0005) = 586.96 ohm.
    assert_eq!(texts[1], "take a resistor of 586 ohm (now 600)");
    assert!(beyond.remedies.iter().all(|r| r.still.is_empty()));
    assert!(beyond.remedies.windows(2).all(|w| w[0].change <= w[1].change));
}

/// A shortened cable is as long as the length that is said to be the most.
#[test]
fn length_left_and_remedy_agree() {
    let text = LOOP.replace("length_m = 200", "length_m = 4000");
    let judged = judge(&circuit(&text));
    let most =
        judged.lengths.as_ref().unwrap().limits.iter().find(|l| l.kind == Kind::Rc).unwrap().most_m.unwrap();
    let rc = judged.checks.iter().find(|c| c.kind == Kind::Rc).unwrap();
    let wanted = format!("shorten cable 1 to {:.0} m (now 4000)", most.floor());
    assert!(rc.remedies.iter().any(|r| r.text == wanted), "{wanted}: {:?}", rc.remedies);
    // By hand: (250 + 0.0242 L)(5 nF + 85 pF L) = 65 us.
    let product = |l: f64| (250.0 + 0.0242 * l) * (5e-9 + 85e-12 * l);
    near("product", product(most), 65e-6, 1e-4);
}

#[test]
fn several_faults_have_one_way_out() {
    let text = LOOP.replace("tag =", "reversed = true\ntag =").replace("24", "15");
    let judged = judge(&circuit(&text));
    assert!(judged.together.len() >= 2 && judged.together_suffices, "{:?}", judged.together);
}

/// No sample is outside the corners where margins are monotone, and a seed repeats itself.
#[test]
fn corners_bound_samples() {
    let c = circuit(&LOOP.replace("length_m = 200", "length_m = 900"));
    let tolerance = Tolerance::default();
    let (corners, samples) = (corner(&c, &tolerance), sample(&c, &tolerance, 500, 7));
    assert_eq!(samples, sample(&c, &tolerance, 500, 7));
    assert_ne!(samples.spreads, sample(&c, &tolerance, 500, 8).spreads);
    for kind in [Kind::Volts, Kind::VoltsBeyond, Kind::Level, Kind::Rc] {
        let worst = corners.iter().find(|s| s.kind == kind).unwrap().least;
        let s = samples.spreads.iter().find(|s| s.kind == kind).unwrap();
        assert!(worst <= s.least && s.least <= s.one_percent && s.one_percent <= s.median, "{kind:?} {s:?}");
    }
    // By hand: 24 V x 0.98, 250 ohm x 1.01, cable 900 m x 1.05 x 0.0242 x 1.05, 22.5 mA and a peak of the master's own.
    let v = 24.0 * 0.98 - 0.0225 * (250.0 * 1.01 + 900.0 * 1.05 * 0.0242 * 1.05) - 12.0;
    let worst = corners.iter().find(|s| s.kind == Kind::VoltsBeyond).unwrap().least;
    assert!(worst < v && worst > v - 0.5, "{worst} {v}");
    // Nothing varies: the corner is the loop itself.
    let nothing = Tolerance {
        voltage: 0.0,
        resistor: 0.0,
        core: 0.0,
        capacitance: 0.0,
        length: 0.0,
        impedance: 0.0,
        transmit: 0.0,
    };
    let own = judge(&c).checks.iter().find(|x| x.kind == Kind::Rc).unwrap().margin();
    near("rc", corner(&c, &nothing).iter().find(|s| s.kind == Kind::Rc).unwrap().least, own, 1e-12);
}

#[test]
fn names_of_knobs() {
    let c = circuit(LOOP);
    assert_eq!(Knob::parse("cable.length", &c), Ok(Knob::CableLength(0)));
    assert_eq!(Knob::parse("cable.1.length_m", &c), Ok(Knob::CableLength(0)));
    assert_eq!(Knob::parse("cable.cable 1.capacitance", &c), Ok(Knob::CableCapacitance(0)));
    assert_eq!(Knob::parse("device.T.impedance", &c), Ok(Knob::DeviceImpedance(0)));
    assert_eq!(Knob::parse("supply.resistor_ohm", &c), Ok(Knob::SupplyResistor));
    for wrong in ["length", "cable.2.length", "card.compliance", "cable.lenght", "series.resistance", ""] {
        assert!(Knob::parse(wrong, &c).is_err(), "{wrong}");
    }
}

/// A positioner that needs 4.5 mA on a card: 3.8 mA, where the signal begins, is too little, and it works from 4.5 mA on. One that
/// needs 3.2 works from there.
#[test]
fn the_least_current_of_a_device() {
    let with = |least: &str| {
        circuit(&format!(
            "[card]\ncompliance_v = 20\nimpedance_ohm = 500\n[[device]]\nmin_voltage_v = 9\n{least}"
        ))
    };
    let judged = judge(&with("min_current_ma = 4.5\n"));
    let check = judged.checks.iter().find(|c| c.kind == Kind::LeastCurrent).expect("the check");
    near("current", check.value, 0.0038, 1e-9);
    near("limit", check.limit, 0.0045, 1e-12);
    assert!(check.is_bad() && !judged.is_good());
    assert_eq!(check.remedies.len(), 1, "{:?}", check.remedies);
    assert_eq!(check.remedies[0].text, "take a device for device 1 that works from 3.8 mA on (now 4.5)");
    near("works from", judged.works_a.unwrap().0, 0.0045, 1e-9);
    assert!(judge(&with("min_current_ma = 4.5\n")).together_suffices);
    near("works from", judge(&with("min_current_ma = 3.2\n")).works_a.unwrap().0, 0.0032, 1e-9);
    near("works from", judge(&with("")).works_a.unwrap().0, 0.0036, 1e-9);
    // A leak of 10 kohm takes 9 V / 10 kohm = 0.9 mA first: of 3.8 mA 2.9 are left, and 4.5 mA of the card leave 3.6.
    let leak = judge(&with("[[shunt]]\nkind = \"leak\"\nresistance_ohm = 10000\n"));
    let check = leak.checks.iter().find(|c| c.kind == Kind::LeastCurrent).expect("the check");
    near("current", check.value, 0.0029, 1e-6);
    near("works from", leak.works_a.unwrap().0, 0.0045, 1e-6);
    assert!(check.remedies.iter().any(|r| r.text == "find and mend leak 1"), "{:?}", check.remedies);
    // A sheet whose device makes its current itself is not asked for more than it gives.
    let supply = circuit(LOOP);
    assert!(judge(&supply).checks.iter().all(|c| c.kind != Kind::LeastCurrent));
}

/// What is put right together turns no number twice: a supply that is short within the signal's range is short at the failure
/// currents too, a cable too long for the volts may be too long for the rule of 65 us as well.
#[test]
fn together_turns_a_number_once() {
    let orders = |volts: u32, ohm: u32, length: u32| {
        let c = circuit(&format!(
            "[supply]\nvoltage_v = {volts}\nresistor_ohm = {ohm}\n[master]\n[[cable]]\nname = \"C\"\nlength_m = {length}\n\
             cross_section_mm2 = 0.5\ninsulation = \"pvc\"\n[[device]]\nmin_voltage_v = 12\n"
        ));
        let judged = judge(&c);
        assert!(judged.together_suffices, "{:?}", judged.together);
        judged.together
    };
    let one = orders(16, 230, 500);
    assert!(
        one.len() == 1 && one[0].starts_with("raise the supply to ") && one[0].ends_with(" V (now 16)"),
        "{one:?}"
    );
    for (volts, ohm, length) in [(16, 100, 1500), (18, 150, 3000), (24, 230, 3000), (24, 600, 1500)] {
        let steps = orders(volts, ohm, length);
        let begins: Vec<String> =
            steps.iter().map(|s| s.chars().take_while(|c| !c.is_ascii_digit()).collect()).collect();
        let shortened = begins.iter().filter(|b| *b == "shorten C to ").count();
        let raised = begins.iter().filter(|b| *b == "raise the supply to ").count();
        assert!(shortened <= 1 && raised <= 1 && shortened + raised > 0, "{steps:?}");
        // What the number is now is what stands on the sheet.
        let now = format!("(now {length})");
        assert!(steps.iter().filter(|s| s.starts_with("shorten")).all(|s| s.ends_with(&now)), "{steps:?}");
    }
}
