//! A wiring sheet as it is written: every key, none of it judged yet.
//!
//! The comments here are the descriptions in the JSON Schema that editors show.

use crate::app::written::{Number, Whole};
use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

/// A looprig wiring sheet: a 4-20 mA loop as a circuit. Cables, series parts, shunts and devices stand in the
/// order in which one meets them on the way from the supply or card to the field; where the wires branch, `from`
/// or `at` names a place that a `to` has named before. The first place is called "source".
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "looprig wiring sheet")]
pub struct Sheet {
    /// What the loop is called.
    pub title: Option<String>,
    /// A voltage supply with a resistor in the loop; either this or a card.
    #[schemars(with = "Option<SupplyTable>")]
    pub supply: Option<Spanned<SupplyTable>>,
    /// An output card that drives the current; either this or a supply.
    #[schemars(with = "Option<CardTable>")]
    pub card: Option<Spanned<CardTable>>,
    /// Who asks the devices, where that is known.
    #[schemars(with = "Option<MasterTable>")]
    pub master: Option<Spanned<MasterTable>>,
    /// Noise where receivers are, where that is known or feared.
    #[schemars(with = "Option<NoiseTable>")]
    pub noise: Option<Spanned<NoiseTable>>,
    /// A length of cable, one pair of it.
    #[serde(default)]
    #[schemars(with = "Vec<CableTable>")]
    pub cable: Vec<Spanned<CableTable>>,
    /// Something in the wires: resistor, barrier, isolator, surge protection, terminals, indicator.
    #[serde(default)]
    #[schemars(with = "Vec<SeriesTable>")]
    pub series: Vec<Spanned<SeriesTable>>,
    /// Something across the two wires that is no device: a leak, a resistor, a capacitor.
    #[serde(default)]
    #[schemars(with = "Vec<ShuntTable>")]
    pub shunt: Vec<Spanned<ShuntTable>>,
    /// A device across the two wires; at least one. Several are multidrop.
    #[schemars(with = "Vec<DeviceTable>", length(min = 1))]
    pub device: Option<Vec<Spanned<DeviceTable>>>,
    /// By how much the numbers of this sheet may be wrong, for --tolerance.
    #[schemars(with = "Option<ToleranceTable>")]
    pub tolerance: Option<Spanned<ToleranceTable>>,
    /// The loop currents at which volts are computed, mA, 0.1 to 100. Default 3.6, 3.8, 4, 12, 20, 20.5, 21, 22.5.
    #[schemars(with = "Option<Vec<f64>>")]
    pub currents_ma: Option<Vec<Spanned<Number>>>,
}

/// A voltage supply.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplyTable {
    /// Its volts, 0 to 100.
    #[schemars(with = "f64", range(min = 0.0, max = 100.0))]
    pub voltage_v: Option<Spanned<Number>>,
    /// The resistor in the loop over which the signal is read, ohm, 0 (none) to 100000.
    #[schemars(with = "f64", range(min = 0.0, max = 100_000.0))]
    pub resistor_ohm: Option<Spanned<Number>>,
    /// What the supply itself resists, ohm, 0 to 10000. Default 0, an ideal supply.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub impedance_ohm: Option<Spanned<Number>>,
}

/// A card with a current output.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CardTable {
    /// The most volts that it can give, 0 to 100.
    #[schemars(with = "f64", range(min = 0.0, max = 100.0))]
    pub compliance_v: Option<Spanned<Number>>,
    /// Its impedance at 1200 and 2200 Hz, ohm, 0.001 to 1000000000. A card made for the signal has some
    /// thousand; one that is not may have next to none.
    #[schemars(with = "f64", range(min = 0.001, max = 1e9))]
    pub impedance_ohm: Option<Spanned<Number>>,
    /// Capacitance across its output, nF, 0 to 1000000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1_000_000.0))]
    pub capacitance_nf: Option<Spanned<Number>>,
    /// Resistance of a filter between the card and the loop, ohm, 0 to 100000. Default 0, no filter.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub filter_ohm: Option<Spanned<Number>>,
    /// Inductance of that filter, mH, 0 to 100000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub filter_mh: Option<Spanned<Number>>,
}

/// A master: the modem of a control system or of a hand-held computer.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "SheetMasterTable")]
pub struct MasterTable {
    /// Where it is connected: a place, or "resistor" for across the supply's resistor. Default: across the resistor,
    /// on a card "source".
    #[schemars(with = "Option<String>")]
    pub at: Option<Spanned<String>>,
    /// It transmits a current of so many mA peak to peak, 0.01 to 100. Either this or transmit_mv_pp.
    #[schemars(with = "Option<f64>", range(min = 0.01, max = 100.0))]
    pub transmit_ma_pp: Option<Spanned<Number>>,
    /// It transmits a voltage of so many mV peak to peak, 1 to 10000. Default 500, unless transmit_ma_pp is given.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 10_000.0))]
    pub transmit_mv_pp: Option<Spanned<Number>>,
    /// Its impedance while it transmits a voltage, ohm, 0 to 100000. Default 100 (our choice).
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub transmit_impedance_ohm: Option<Spanned<Number>>,
    /// Its impedance while it listens, ohm, 1 to 1000000000. Default 5000.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 1e9))]
    pub impedance_ohm: Option<Spanned<Number>>,
    /// Its capacitance number, steps of 5000 pF, 0 to 1000. Either this or capacitance_nf.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1000.0))]
    pub capacitance_number: Option<Spanned<Number>>,
    /// Its capacitance, nF, 0 to 10000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub capacitance_nf: Option<Spanned<Number>>,
    /// The capacitor in series that keeps direct current away, uF, 0.001 to 1000. Default none.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 1000.0))]
    pub coupling_uf: Option<Spanned<Number>>,
    /// White noise between its terminals, mV rms, 0 to 10000. Default that of [noise].
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub noise_rms_mv: Option<Spanned<Number>>,
}

/// White noise between the terminals of receivers. It is taken as given there; how it gets onto the wires is not computed.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NoiseTable {
    /// How much within the band, mV rms, 0 to 10000, at every receiver that has no noise_rms_mv of its own. Default none.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub rms_mv: Option<Spanned<Number>>,
    /// Where the band begins in which all noise of this sheet is given, Hz, 1 to 1200. Default 500.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 1200.0))]
    pub from_hz: Option<Spanned<Number>>,
    /// Where it ends, Hz, 2200 to 1000000. Default 10000.
    #[schemars(with = "Option<f64>", range(min = 2200.0, max = 1e6))]
    pub to_hz: Option<Spanned<Number>>,
}

/// A cable.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CableTable {
    /// What it is called. Default "cable 1" and so on.
    pub name: Option<String>,
    /// The place where it begins. Default: where the part above it ends.
    #[schemars(with = "Option<String>")]
    pub from: Option<Spanned<String>>,
    /// What the place where it ends is called. Default "far end of" and its name.
    #[schemars(with = "Option<String>")]
    pub to: Option<Spanned<String>>,
    /// Its length, m, 0 to 20000. Either this or length_ft.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20_000.0))]
    pub length_m: Option<Spanned<Number>>,
    /// Its length, feet, 0 to 65000.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 65_000.0))]
    pub length_ft: Option<Spanned<Number>>,
    /// Cross-section of a core, mm2, 0.02 to 50. Either this or awg or resistance_ohm_per_km.
    #[schemars(with = "Option<f64>", range(min = 0.02, max = 50.0))]
    pub cross_section_mm2: Option<Spanned<Number>>,
    /// Gauge of a core, American Wire Gauge, 0 to 40.
    #[schemars(with = "Option<u8>", range(max = 40))]
    pub awg: Option<Spanned<Whole>>,
    /// Resistance of both cores together at 20 degC, ohm/km, 0 to 100000.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub resistance_ohm_per_km: Option<Spanned<Number>>,
    /// Whether its cores are flexible, class 5 of IEC 60228. Default false, solid or stranded.
    pub flexible: Option<bool>,
    /// Temperature of the cores, degC, -60 to 120. Default 20.
    #[schemars(with = "Option<f64>", range(min = -60.0, max = 120.0))]
    pub temperature_c: Option<Spanned<Number>>,
    /// What kind it is, where its capacitance is not known: "pvc", "pe", "pe_screened" or "unknown". Default
    /// "unknown".
    #[schemars(with = "Option<InsulationWord>")]
    pub insulation: Option<Spanned<String>>,
    /// Capacitance between the cores, pF/m, 0 to 2000; it goes before insulation.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 2000.0))]
    pub capacitance_pf_per_m: Option<Spanned<Number>>,
    /// Capacitance between the cores, pF per foot, 0 to 600.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 600.0))]
    pub capacitance_pf_per_ft: Option<Spanned<Number>>,
    /// Inductance of both cores together, uH/m, 0 to 100. Default 0.65.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub inductance_uh_per_m: Option<Spanned<Number>>,
    /// Insulation resistance of a wet cable, kohm times km, 0.001 to 1000000: 1 km of it leaks through so many
    /// kohm. Default none, a dry one.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 1_000_000.0))]
    pub insulation_kohm_km: Option<Spanned<Number>>,
    /// Whether its wires are the wrong way round. Default false.
    pub reversed: Option<bool>,
}

/// The kinds of insulation, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum InsulationWord {
    /// PVC: 250 pF/m.
    Pvc,
    /// Polyethylene without screens of pairs: 85 pF/m.
    Pe,
    /// Polyethylene with screened pairs: 120 pF/m.
    PeScreened,
    /// Not known: 200 pF/m.
    Unknown,
}

/// Something in the wires.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SeriesTable {
    /// What it is: "resistor", "barrier", "isolator", "surge", "terminal" or "indicator".
    #[schemars(with = "SeriesWord")]
    pub kind: Option<Spanned<String>>,
    /// What it is called. Default its kind and a number.
    pub name: Option<String>,
    /// The place where it begins. Default: where the part above it ends.
    #[schemars(with = "Option<String>")]
    pub from: Option<Spanned<String>>,
    /// What the place behind it is called. Default "far side of" and its name.
    #[schemars(with = "Option<String>")]
    pub to: Option<Spanned<String>>,
    /// Its resistance for direct current, both wires together, ohm, 0 to 100000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub resistance_ohm: Option<Spanned<Number>>,
    /// Its resistance at 1200 and 2200 Hz, ohm, 0 to 100000. Default as for direct current.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub tones_ohm: Option<Spanned<Number>>,
    /// Its inductance, mH, 0 to 100000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub inductance_mh: Option<Spanned<Number>>,
    /// Volts that it takes whatever the current, 0 to 100. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub drop_v: Option<Spanned<Number>>,
    /// Capacitance across the wires at its far side, nF, 0 to 10000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub capacitance_nf: Option<Spanned<Number>>,
    /// Whether 1200 and 2200 Hz pass. Default true.
    pub passes_signal: Option<bool>,
    /// Whether the wires behind it are the wrong way round. Default false.
    pub reversed: Option<bool>,
}

/// The kinds of parts in the wires, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum SeriesWord {
    /// A resistor besides that of the supply.
    Resistor,
    /// A safety barrier.
    Barrier,
    /// An isolator that the loop feeds; one with a supply of its own begins a sheet of its own.
    Isolator,
    /// Surge protection.
    Surge,
    /// Terminals, fuses, contacts.
    Terminal,
    /// An indicator in the loop.
    Indicator,
}

/// Something across the wires.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ShuntTable {
    /// What it is: "leak", "resistor" or "capacitor".
    #[schemars(with = "ShuntWord")]
    pub kind: Option<Spanned<String>>,
    /// What it is called. Default its kind and a number.
    pub name: Option<String>,
    /// Its place. Default: where the part above it ends.
    #[schemars(with = "Option<String>")]
    pub at: Option<Spanned<String>>,
    /// Its resistance, ohm, 0.001 to 1000000000. Default none, open.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 1e9))]
    pub resistance_ohm: Option<Spanned<Number>>,
    /// Its capacitance, nF, 0 to 1000000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1_000_000.0))]
    pub capacitance_nf: Option<Spanned<Number>>,
}

/// The kinds of shunts, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum ShuntWord {
    /// Water in a terminal box.
    Leak,
    /// A resistor that somebody connected across the wires.
    Resistor,
    /// A filter or a surge arrester.
    Capacitor,
}

/// A device.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "SheetDeviceTable")]
pub struct DeviceTable {
    /// Its tag. Default "device 1" and so on.
    pub tag: Option<String>,
    /// Its place. Default: where the part above it ends.
    #[schemars(with = "Option<String>")]
    pub at: Option<Spanned<String>>,
    /// The least volts between its terminals, 0 to 100; on a card the volts that it takes. Either this or volts.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub min_voltage_v: Option<Spanned<Number>>,
    /// The same for several currents: pairs of mA and V, currents rising, such as [[3.6, 12.0], [20.0, 10.5]].
    #[schemars(with = "Option<Vec<[f64; 2]>>")]
    pub volts_at_ma: Option<Spanned<Vec<[Spanned<Number>; 2]>>>,
    /// Ohm that come on top of that: the volts rise with the current, 0 to 10000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub resistance_ohm: Option<Spanned<Number>>,
    /// Its impedance at 1200 and 2200 Hz, ohm, 1 to 1000000000. Default as good as open.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 1e9))]
    pub impedance_ohm: Option<Spanned<Number>>,
    /// Its capacitance number, steps of 5000 pF, 0 to 1000. Default 1, unless capacitance_nf is given.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1000.0))]
    pub capacitance_number: Option<Spanned<Number>>,
    /// Its capacitance, nF, 0 to 10000.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub capacitance_nf: Option<Spanned<Number>>,
    /// It transmits a current of so many mA peak to peak, 0.01 to 100. Default 1, unless transmit_mv_pp is given.
    #[schemars(with = "Option<f64>", range(min = 0.01, max = 100.0))]
    pub transmit_ma_pp: Option<Spanned<Number>>,
    /// It transmits a voltage of so many mV peak to peak behind transmit_impedance_ohm, 1 to 10000.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 10_000.0))]
    pub transmit_mv_pp: Option<Spanned<Number>>,
    /// Its impedance while it transmits a voltage, ohm, 0 to 100000. Default impedance_ohm.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub transmit_impedance_ohm: Option<Spanned<Number>>,
    /// White noise between its terminals, mV rms, 0 to 10000. Default that of [noise].
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub noise_rms_mv: Option<Spanned<Number>>,
    /// The current that it holds whatever it measures, mA, 0.1 to 100, as in multidrop. Default: a device that is
    /// alone follows the loop's current, several hold 4. A transmitter of a bench in loop current mode does not: it draws
    /// what it sends.
    #[schemars(with = "Option<f64>", range(min = 0.1, max = 100.0))]
    pub holds_ma: Option<Spanned<Number>>,
    /// The least current at which it works where it does not make the current itself, mA, 0 to 100: the signal must not
    /// go below it from 3.8 to 20.5 mA, and below it the mock of a bench is without power. Default 3.6.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub min_current_ma: Option<Spanned<Number>>,
    /// Whether it works either way round. Default false.
    pub either_polarity: Option<bool>,
    /// Whether its wires are the wrong way round. Default false.
    pub reversed: Option<bool>,
}

/// By how much numbers may be wrong, percent of them, 0 to 90; the defaults are our choice.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ToleranceTable {
    /// Volts of the supply, or that the card can give. Default 2.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub voltage_percent: Option<Spanned<Number>>,
    /// Resistors, barriers and the other series parts. Default 1.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub resistor_percent: Option<Spanned<Number>>,
    /// Resistance of cores. Default 5.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub core_percent: Option<Spanned<Number>>,
    /// Capacitance of cables. Default 10.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub capacitance_percent: Option<Spanned<Number>>,
    /// Length of cables. Default 5.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub length_percent: Option<Spanned<Number>>,
    /// Impedance and capacitance of devices, master and card. Default 10.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub impedance_percent: Option<Spanned<Number>>,
    /// Levels that are transmitted. Default 10: a chip's 0.9 to 1.1 mA.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub transmit_percent: Option<Spanned<Number>>,
}
