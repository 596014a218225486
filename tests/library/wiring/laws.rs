//! Laws that hold for every passive circuit, over circuits by chance.

use super::{circuit, near};
use looprig::wiring::{Circuit, Complex, PartKind, Source, Station, Transmits, ac, analyse, dc};
use proptest::prelude::*;

/// A loop by chance: supply or card, two or three cables with a barrier between, a spur, one or two devices.
fn loops() -> impl Strategy<Value = Circuit> {
    let cable = (0.0..3000.0f64, 0.5..4.0f64, 30.0..400.0f64, 0.1..2.0f64);
    let device = (100.0..100_000.0f64, 0.0..60.0f64);
    (
        any::<bool>(),
        prop::collection::vec(cable, 2..4),
        0.0..400.0f64,
        prop::collection::vec(device, 2),
        50.0..1000.0f64,
        prop::option::of(1.0..1000.0f64),
    )
        .prop_map(|(is_card, cables, barrier, devices, source, leak)| {
            let mut text = if is_card {
                format!("[card]\ncompliance_v = 60\nimpedance_ohm = {}\ncapacitance_nf = 3\n", source * 20.0)
            } else {
                format!("[supply]\nvoltage_v = 60\nresistor_ohm = {source}\nimpedance_ohm = 3\n")
            };
            text += "[master]\nat = \"source\"\nimpedance_ohm = 7000\ncapacitance_nf = 2\ntransmit_ma_pp = 2\n";
            for (n, (m, mm2, pf, uh)) in cables.iter().enumerate() {
                text += &format!(
                    "[[cable]]\nlength_m = {m}\ncross_section_mm2 = {mm2}\ncapacitance_pf_per_m = {pf}\n\
                     inductance_uh_per_m = {uh}\n"
                );
                if n == 0 {
                    text += &format!("[[series]]\nkind = \"barrier\"\nresistance_ohm = {barrier}\ncapacitance_nf = 1\n");
                }
            }
            text += "[[cable]]\nname = \"spur\"\nfrom = \"far end of cable 1\"\nlength_m = 40\ncross_section_mm2 = 1\n";
            if let Some(kohm) = leak {
                let ohm = kohm * 1e3;
                text += &format!("[[shunt]]\nkind = \"leak\"\nresistance_ohm = {ohm}\nat = \"far end of cable 2\"\n");
            }
            for (ohm, nf) in devices.iter().take(if is_card { 1 } else { 2 }) {
                text += &format!(
                    "[[device]]\nat = \"far end of cable 2\"\nmin_voltage_v = 9\nimpedance_ohm = {ohm}\ncapacitance_nf = {nf}\n"
                );
            }
            circuit(&text)
        })
}

/// The part of V I* that is power, W peak-to-peak squared: only ratios matter.
fn power(v: Complex, i: Complex) -> f64 {
    (v * i.conj()).re
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Reciprocity: what the device's current makes at the master is what the master's makes at the device.
    #[test]
    fn both_ways_alike(mut c in loops(), hz in 300.0..4000.0f64) {
        if let Some(master) = &mut c.master {
            master.transmits = Transmits::Current(1e-3);
        }
        let tone = ac::tone(&c, hz);
        let of = |by| tone.transmissions.iter().find(|t| t.by == by).unwrap();
        let there = of(Station::Device(0)).at(&c, Station::Master);
        let back = of(Station::Master).at(&c, Station::Device(0));
        prop_assert!((there - back).abs() <= 1e-9 * there.abs().max(1e-9), "{there:?} {back:?}");
    }

    /// Passivity: a passive network only takes power, whoever drives it.
    #[test]
    fn no_network_gives_power(c in loops(), hz in 300.0..4000.0f64) {
        for t in &ac::tone(&c, hz).transmissions {
            prop_assert!(t.load_ohm.re >= -1e-9 * t.load_ohm.abs(), "{:?}: {:?}", t.by, t.load_ohm);
            prop_assert!(t.places.iter().all(|v| v.re.is_finite() && v.im.is_finite()));
        }
    }

    /// Balance at the tones: on a loop without loss in cables and barrier the power that a device gives is the
    /// power that resistors take.
    #[test]
    fn power_at_the_tones(mut c in loops(), hz in 300.0..4000.0f64) {
        for part in &mut c.parts {
            match &mut part.kind {
                PartKind::Cable(cable) => cable.core_ohm_per_m = 0.0,
                PartKind::Series(s) => s.tones_ohm = 0.0,
            }
        }
        let tone = ac::tone(&c, hz);
        let t = &tone.transmissions[0];
        let given = power(t.places[c.devices[0].at], (1e-3).into());
        let in_ohm = |place: usize, ohm: f64| t.places[place].abs().powi(2) / ohm;
        let mut taken: f64 = c.devices.iter().map(|d| in_ohm(d.at, d.impedance_ohm.unwrap())).sum();
        taken += c.shunts.iter().map(|s| in_ohm(s.at, s.resistance_ohm.unwrap())).sum::<f64>();
        taken += in_ohm(0, c.master.as_ref().and_then(|m| m.impedance_ohm).unwrap());
        taken += match c.source {
            Source::Supply { resistor_ohm, impedance_ohm, .. } => in_ohm(0, resistor_ohm + impedance_ohm),
            Source::Card { impedance_ohm, .. } => in_ohm(0, impedance_ohm),
        };
        prop_assert!((given - taken).abs() <= 1e-9 * given.abs(), "{given} {taken}");
    }

    /// Balance for direct current: what the source gives is what devices, leaks and copper take.
    #[test]
    fn power_of_direct_current(c in loops(), ma in 3.6..22.5f64) {
        let row = dc::at(&c, ma / 1e3, &[]);
        let given = row.places_v[0] * row.source_current_a;
        let mut taken: f64 = row.devices.iter().map(|d| d.power_w).sum();
        taken += c.shunts.iter().map(|s| row.places_v[s.at].powi(2) / s.resistance_ohm.unwrap()).sum::<f64>();
        for (n, part) in c.parts.iter().enumerate() {
            let drop = row.places_v[part.from] - row.places_v[n + 1];
            if part.resistance_ohm() > 1e-9 {
                taken += drop * drop / part.resistance_ohm();
            }
        }
        prop_assert!((given - taken).abs() <= 1e-7 * given.abs().max(1e-6), "{given} {taken}");
    }

    /// Cutting a cable in two changes nothing.
    #[test]
    fn a_cable_cut_in_two(m in 1.0..5000.0f64, share in 0.0..1.0f64, kohm_km in 50.0..5000.0f64) {
        let sheet = |lengths: &[f64]| {
            let mut text = String::from("[supply]\nvoltage_v = 30\nresistor_ohm = 250\n");
            for length in lengths {
                text += &format!(
                    "[[cable]]\nlength_m = {length}\ncross_section_mm2 = 1.5\ninsulation_kohm_km = {kohm_km}\n"
                );
            }
            circuit(&(text + "[[device]]\nmin_voltage_v = 5\n"))
        };
        let (one, two) = (sheet(&[m]), sheet(&[m * share, m * (1.0 - share)]));
        let (a, b) = (analyse(&one), analyse(&two));
        for (x, y) in a.tones.iter().zip(&b.tones) {
            let (x, y) = (x.transmissions[0].places[0], y.transmissions[0].places[0]);
            prop_assert!((x - y).abs() <= 1e-9 * x.abs());
        }
        let (x, y) = (a.dc[4].devices[0].volts_v, b.dc[4].devices[0].volts_v);
        prop_assert!((x - y).abs() < 1e-7, "{x} {y}");
    }
}

/// A wet cable by hand: so short that its copper does not matter, 1 kohm km over 10 m leak as 100 kohm.
#[test]
fn a_wet_cable_leaks() {
    let c = circuit(
        "[supply]\nvoltage_v = 24\nresistor_ohm = 250\n[[cable]]\nlength_m = 10\nresistance_ohm_per_km = 0\n\
         insulation_kohm_km = 1\n[[device]]\nmin_voltage_v = 5\n",
    );
    let row = dc::at(&c, 0.012, &[]);
    // V = 24 - 250 (0.012 + V/100e3): V = 21/1.0025.
    near("volts", row.devices[0].volts_v, 21.0 / 1.0025, 1e-9);
    near("leak", row.source_current_a - 0.012, 21.0 / 1.0025 / 100e3, 1e-6);
}

/// What a card can carry [WI-14], by arithmetic: 12.5 V, 52.851 ohm of cable, a device of 9 V and 50 ohm (invented). At 20 mA
/// 11.057 V are needed; 100 ohm more leave 3.5/202.851 = 17.2540 mA, 1000 ohm 3.5/1102.851 = 3.17359 mA, and of 8 V nothing
/// is carried.
#[test]
fn what_a_card_carries() {
    let carried = |compliance: f64, ohm: f64, device: &str| {
        let text = format!(
            "[card]\ncompliance_v = {compliance}\nimpedance_ohm = 5000\n[[series]]\nkind = \"terminal\"\nresistance_ohm = {ohm}\n\
             [[cable]]\nlength_m = 1000\nresistance_ohm_per_km = 52.851\n[[device]]\n{device}\n"
        );
        dc::carried_a(&circuit(&text), 0.02) * 1e3
    };
    let plain = "min_voltage_v = 9\nresistance_ohm = 50";
    for (compliance, ohm, ma) in [
        (12.5, 0.0, 20.0),
        (12.5, 72.0, 20.0),
        (12.5, 100.0, 17.2540),
        (12.5, 1000.0, 3.17359),
        (8.0, 0.0, 0.0),
    ] {
        let is = carried(compliance, ohm, plain);
        assert!((is - ma).abs() < 6e-5, "{compliance} V, {ohm} ohm: {is} mA");
    }
    // One that takes 20 V below 4 mA and 9 V from 8 mA on, in a straight line between: over 52.851 ohm 12.5 V carry from
    // 20 - 2750 (I - 0.004) + 52.851 I = 12.5, I = 6.8589 mA, on; of 20 mA everything is carried, though less is not.
    assert_eq!(carried(12.5, 0.0, "volts_at_ma = [[4.0, 20.0], [8.0, 9.0]]"), 20.0);
    // 447.149 ohm make 500: 9 + 500 I = 12.5 at 7 mA, where 11.75 V are taken: nothing is left between. 20 - 2750 (I - 0.004) +
    // 500 I = 12.5 at 8.22 mA is beyond its line, so none of its currents is carried.
    assert_eq!(carried(12.5, 447.149, "volts_at_ma = [[4.0, 20.0], [8.0, 9.0]]"), 0.0);
    // With 300 ohm in all 9 + 300 I = 12.5 at 11.6667 mA.
    let is = carried(12.5, 247.149, "volts_at_ma = [[4.0, 20.0], [8.0, 9.0]]");
    assert!((is - 11.6667).abs() < 6e-5, "{is}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]
    /// Nothing is carried beyond what is wanted or what the volts allow, and with a step more they do not.
    #[test]
    fn no_card_carries_more_than_it_can(
        compliance in 1.0..40.0f64, ohm in 0.0..3000.0f64, needs in 1.0..20.0f64, leak in 500.0..1e6f64, wanted_ma in 0.0..25.0f64,
    ) {
        let text = format!(
            "[card]\ncompliance_v = {compliance}\nimpedance_ohm = 5000\n[[series]]\nkind = \"terminal\"\nresistance_ohm = {ohm}\n\
             [[device]]\nmin_voltage_v = {needs}\n[[shunt]]\nkind = \"leak\"\nresistance_ohm = {leak}\n"
        );
        let c = circuit(&text);
        let carried = dc::carried_a(&c, wanted_ma / 1e3);
        prop_assert!((0.0..=wanted_ma / 1e3).contains(&carried));
        let left = |a: f64| dc::at(&c, a, &[]).margin_v;
        prop_assert!(carried == 0.0 || left(carried) >= 0.0);
        prop_assert!(carried == wanted_ma / 1e3 || left(carried + 1e-6) < 0.0);
    }
}
