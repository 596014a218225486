//! What stands in a sheet as a circuit: one table after the other in the order of the text.

use super::optional;
use super::shape::{
    CableTable, CardTable, DeviceTable, MasterTable, NoiseTable, SeriesTable, Sheet, ShuntTable, SupplyTable,
};
use crate::app::written::{Fault, Number, number, whole, words};
use crate::wiring::cable::{self, Cable};
use crate::wiring::noise::{self, Noise};
use crate::wiring::{
    CAPACITANCE_NUMBER_F, Circuit, Coupling, Device, Master, Part, PartKind, Series, Shunt, Source,
    Transmits, knob,
};
use core::ops::Range;
use toml::Spanned;

const FOOT_M: f64 = 0.3048;
/// More parts than any loop has, so that a file of a megabyte cannot keep a machine busy.
const MOST_PARTS: usize = 500;
/// What a place is called where the source is.
const SOURCE: &str = "source";
/// The currents that matter, mA [WI-01].
const CURRENTS_MA: [f64; 8] = [3.6, 3.8, 4.0, 12.0, 20.0, 20.5, 21.0, 22.5];
/// A listener that claims the high-impedance class, ohm [WI-06].
const LISTENING_OHM: f64 = 5000.0;

/// A table of the text, whatever its kind.
enum Table<'a> {
    Cable(&'a Spanned<CableTable>),
    Series(&'a Spanned<SeriesTable>),
    Shunt(&'a Spanned<ShuntTable>),
    Device(&'a Spanned<DeviceTable>),
}

impl Table<'_> {
    fn span(&self) -> Range<usize> {
        match self {
            Table::Cable(t) => t.span(),
            Table::Series(t) => t.span(),
            Table::Shunt(t) => t.span(),
            Table::Device(t) => t.span(),
        }
    }
}

/// The circuit of a sheet.
pub(super) fn circuit(sheet: &Sheet, text: &str) -> Result<Circuit, Fault> {
    let end = text.len()..text.len();
    let source = match (&sheet.supply, &sheet.card) {
        (Some(supply), None) => supply_source(supply)?,
        (None, Some(card)) => card_source(card)?,
        (Some(a), Some(b)) => {
            let second = if a.span().start > b.span().start { a.span() } else { b.span() };
            let right = "leave one of [supply] and [card] out: one of them feeds the loop";
            return Err(Fault::new(&second, "this loop has two supplies", right));
        }
        (None, None) => {
            let right = "add one, such as:\n    [supply]\n    voltage_v = 24\n    resistor_ohm = 250";
            return Err(Fault::new(&end, "nothing feeds this loop", right));
        }
    };
    let devices = sheet.device.as_deref().unwrap_or_default();
    if devices.is_empty() {
        let right = "add one, such as:\n    [[device]]\n    tag = \"FV-3104\"\n    min_voltage_v = 12";
        return Err(Fault::new(&end, "the loop has no device, so its wires have no return", right));
    }
    if let (true, Some(second)) = (source.is_card(), devices.get(1)) {
        let right = "give every device a card of its own; loops with two devices one behind the other are not computed yet";
        return Err(Fault::new(
            &second.span(),
            "a card drives one device: two across its wires share its current, nobody knows how",
            right,
        ));
    }
    let mut tables: Vec<Table> = sheet.cable.iter().map(Table::Cable).collect();
    tables.extend(sheet.series.iter().map(Table::Series));
    tables.extend(sheet.shunt.iter().map(Table::Shunt));
    tables.extend(devices.iter().map(Table::Device));
    tables.sort_by_key(|t| t.span().start);
    if let Some(surplus) = tables.get(MOST_PARTS) {
        let wrong = format!("this is part {} of the loop", MOST_PARTS + 1);
        return Err(Fault::new(
            &surplus.span(),
            wrong,
            format!("leave parts out: {MOST_PARTS} are the most"),
        ));
    }
    let currents_a = match &sheet.currents_ma {
        None => CURRENTS_MA.map(|ma| ma / 1e3).to_vec(),
        Some(list) => {
            let one = |n| Ok(number(n, "currents_ma", "mA", 0.1..=100.0)? / 1e3);
            list.iter().take(1000).map(one).collect::<Result<Vec<_>, Fault>>()?
        }
    };
    let mut circuit = Circuit {
        title: sheet.title.clone().unwrap_or_default(),
        source,
        places: vec![SOURCE.to_owned()],
        parts: Vec::new(),
        shunts: Vec::new(),
        devices: Vec::new(),
        master: None,
        noise: None,
        currents_a: if currents_a.is_empty() { CURRENTS_MA.map(|ma| ma / 1e3).to_vec() } else { currents_a },
    };
    let band_hz = band(&sheet.noise)?;
    if let Some(t) = sheet.noise.as_ref().map(Spanned::get_ref) {
        circuit.noise = noise_of(&t.rms_mv, "rms_mv", band_hz)?;
    }
    let mut build = Build { circuit: &mut circuit, here: 0, is_multidrop: devices.len() > 1, band_hz };
    for table in &tables {
        build.add(table)?;
    }
    if let Some(table) = &sheet.master {
        circuit.master = Some(master(table, &circuit, band_hz)?);
    }
    Ok(circuit)
}

fn missing(at: &Range<usize>, what: &str, such_as: &str) -> Fault {
    Fault::new(at, format!("{what} is missing here"), format!("give it, such as {such_as}"))
}

fn supply_source(table: &Spanned<SupplyTable>) -> Result<Source, Fault> {
    let (t, at) = (table.get_ref(), table.span());
    let voltage = t.voltage_v.as_ref().ok_or_else(|| missing(&at, "voltage_v", "voltage_v = 24"))?;
    let resistor = t.resistor_ohm.as_ref().ok_or_else(|| {
        let right = "give it, such as resistor_ohm = 250, or 0 if there is none";
        Fault::new(&at, "resistor_ohm is missing here", right)
    })?;
    Ok(Source::Supply {
        voltage_v: number(voltage, "voltage_v", "V", 0.0..=100.0)?,
        resistor_ohm: number(resistor, "resistor_ohm", "ohm", 0.0..=100_000.0)?,
        impedance_ohm: optional(&t.impedance_ohm, "impedance_ohm", "ohm", 0.0..=10_000.0)?.unwrap_or(0.0),
    })
}

fn card_source(table: &Spanned<CardTable>) -> Result<Source, Fault> {
    let (t, at) = (table.get_ref(), table.span());
    let compliance =
        t.compliance_v.as_ref().ok_or_else(|| missing(&at, "compliance_v", "compliance_v = 17.5"))?;
    let impedance = t.impedance_ohm.as_ref().ok_or_else(|| {
        let right = "give what the card is at 1200 and 2200 Hz, such as impedance_ohm = 20000; its data sheet says it";
        Fault::new(&at, "impedance_ohm is missing here", right)
    })?;
    Ok(Source::Card {
        compliance_v: number(compliance, "compliance_v", "V", 0.0..=100.0)?,
        impedance_ohm: number(impedance, "impedance_ohm", "ohm", 0.001..=1e9)?,
        capacitance_f: optional(&t.capacitance_nf, "capacitance_nf", "nF", 0.0..=1e6)?.unwrap_or(0.0) * 1e-9,
        filter_ohm: optional(&t.filter_ohm, "filter_ohm", "ohm", 0.0..=100_000.0)?.unwrap_or(0.0),
        filter_h: optional(&t.filter_mh, "filter_mh", "mH", 0.0..=100_000.0)?.unwrap_or(0.0) * 1e-3,
    })
}

/// Of two ways to say the same thing only one may be given.
fn not_both(a: Option<Range<usize>>, b: Option<Range<usize>>, names: &str) -> Result<(), Fault> {
    match (a, b) {
        (Some(a), Some(b)) => {
            let later = if a.start > b.start { a } else { b };
            Err(Fault::new(&later, format!("{names} say the same thing twice"), "leave one of them out"))
        }
        _ => Ok(()),
    }
}

fn span<T>(of: &Option<Spanned<T>>) -> Option<Range<usize>> {
    of.as_ref().map(Spanned::span)
}

/// Capacitance of a device or a master, F.
fn capacitance(
    number_: &Option<Spanned<Number>>,
    nf: &Option<Spanned<Number>>,
    default_number: f64,
) -> Result<f64, Fault> {
    not_both(span(number_), span(nf), "capacitance_number and capacitance_nf")?;
    let c_n = optional(number_, "capacitance_number", "", 0.0..=1000.0)?;
    let nf = optional(nf, "capacitance_nf", "nF", 0.0..=10_000.0)?;
    Ok(nf.map_or(c_n.unwrap_or(default_number) * CAPACITANCE_NUMBER_F, |nf| nf * 1e-9))
}

fn transmits(
    ma: &Option<Spanned<Number>>,
    mv: &Option<Spanned<Number>>,
    ohm: Option<f64>,
    default: Transmits,
) -> Result<Transmits, Fault> {
    not_both(span(ma), span(mv), "transmit_ma_pp and transmit_mv_pp")?;
    if let Some(ma) = optional(ma, "transmit_ma_pp", "mA", 0.01..=100.0)? {
        return Ok(Transmits::Current(ma / 1e3));
    }
    match (mv, ohm) {
        (None, _) => Ok(default),
        (Some(mv), Some(ohm)) => {
            Ok(Transmits::Voltage(number(mv, "transmit_mv_pp", "mV", 1.0..=10_000.0)? / 1e3, ohm))
        }
        (Some(mv), None) => {
            let right = "give transmit_impedance_ohm too, such as 250";
            Err(Fault::new(&mv.span(), "behind which impedance this voltage stands is not told", right))
        }
    }
}

/// The band in which noise of a sheet is given, Hz.
fn band(table: &Option<Spanned<NoiseTable>>) -> Result<(f64, f64), Fault> {
    let (from, to) = noise::BAND_HZ;
    let Some(t) = table.as_ref().map(Spanned::get_ref) else { return Ok((from, to)) };
    // White noise that leaves a tone out would not be white; so the band holds both.
    Ok((
        optional(&t.from_hz, "from_hz", "Hz", 1.0..=1200.0)?.unwrap_or(from),
        optional(&t.to_hz, "to_hz", "Hz", 2200.0..=1e6)?.unwrap_or(to),
    ))
}

fn noise_of(mv: &Option<Spanned<Number>>, key: &str, band_hz: (f64, f64)) -> Result<Option<Noise>, Fault> {
    let mv = optional(mv, key, "mV", 0.0..=10_000.0)?;
    Ok(mv.map(|mv| Noise { rms_v: mv / 1e3, band_hz }))
}

fn master(table: &Spanned<MasterTable>, circuit: &Circuit, band_hz: (f64, f64)) -> Result<Master, Fault> {
    let t = table.get_ref();
    let has_resistor = matches!(circuit.source, Source::Supply { resistor_ohm, .. } if resistor_ohm > 0.0);
    let coupling = match &t.at {
        None if has_resistor => Coupling::AcrossResistor,
        None => Coupling::At(0),
        Some(name) if name.get_ref() == "resistor" && has_resistor => Coupling::AcrossResistor,
        Some(name) if name.get_ref() == "resistor" => {
            let right = format!("name a place: {}", circuit.places.join(", "));
            return Err(Fault::new(&name.span(), "this loop's source has no resistor to read across", right));
        }
        Some(name) => Coupling::At(place(name, circuit)?),
    };
    let ohm = optional(&t.transmit_impedance_ohm, "transmit_impedance_ohm", "ohm", 0.0..=100_000.0)?;
    let ohm = ohm.unwrap_or(100.0);
    Ok(Master {
        coupling,
        transmits: transmits(&t.transmit_ma_pp, &t.transmit_mv_pp, Some(ohm), Transmits::Voltage(0.5, ohm))?,
        impedance_ohm: Some(
            optional(&t.impedance_ohm, "impedance_ohm", "ohm", 1.0..=1e9)?.unwrap_or(LISTENING_OHM),
        ),
        capacitance_f: capacitance(&t.capacitance_number, &t.capacitance_nf, 0.0)?,
        noise: noise_of(&t.noise_rms_mv, "noise_rms_mv", band_hz)?,
        coupling_f: optional(&t.coupling_uf, "coupling_uf", "uF", 0.001..=1000.0)?.map(|uf| uf * 1e-6),
    })
}

/// The number of a place that was named before.
fn place(name: &Spanned<String>, circuit: &Circuit) -> Result<usize, Fault> {
    circuit.places.iter().position(|p| p == name.get_ref()).ok_or_else(|| {
        let near = words::nearest(name.get_ref(), &circuit.places);
        let near = near.map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
        let right = format!(
            "{near}name a place that stands above it: {}; a cable's or a part's `to` names one",
            circuit.places.join(", ")
        );
        Fault::new(&name.span(), format!("no wires lead to \"{}\"", name.get_ref()), right)
    })
}

/// A circuit as it grows.
struct Build<'a> {
    circuit: &'a mut Circuit,
    /// The place where the part above ended.
    here: usize,
    is_multidrop: bool,
    band_hz: (f64, f64),
}

impl Build<'_> {
    fn add(&mut self, table: &Table) -> Result<(), Fault> {
        match table {
            Table::Cable(t) => {
                let number = self.circuit.cables().count() + 1;
                let (t, at) = (t.get_ref(), t.span());
                let name = t.name.clone().unwrap_or_else(|| format!("cable {number}"));
                let kind = PartKind::Cable(cable(t, &at)?);
                let to = format!("far end of {name}");
                self.part(name, &t.from, &t.to, to, kind, t.reversed.unwrap_or(false), &at)
            }
            Table::Series(t) => {
                let (t, at) = (t.get_ref(), t.span());
                let series = series(t, &at)?;
                let same = |p: &&Part| matches!(&p.kind, PartKind::Series(s) if s.what == series.what);
                let number = self.circuit.parts.iter().filter(same).count() + 1;
                let name = t.name.clone().unwrap_or_else(|| format!("{} {number}", series.what));
                let to = format!("far side of {name}");
                let kind = PartKind::Series(series);
                self.part(name, &t.from, &t.to, to, kind, t.reversed.unwrap_or(false), &at)
            }
            Table::Shunt(t) => {
                let shunt = shunt(t, self.at(&t.get_ref().at)?, self.circuit.shunts.len() + 1)?;
                self.circuit.shunts.push(shunt);
                Ok(())
            }
            Table::Device(t) => {
                let number = self.circuit.devices.len() + 1;
                let mut device = device(t, self.at(&t.get_ref().at)?, number, self.is_multidrop)?;
                device.noise = noise_of(&t.get_ref().noise_rms_mv, "noise_rms_mv", self.band_hz)?;
                if self.circuit.devices.iter().any(|d| d.tag == device.tag) {
                    let wrong = format!("another device has the tag {} too", device.tag);
                    return Err(Fault::new(&t.span(), wrong, "give every device a tag of its own"));
                }
                self.circuit.devices.push(device);
                Ok(())
            }
        }
    }

    fn at(&self, name: &Option<Spanned<String>>) -> Result<usize, Fault> {
        name.as_ref().map_or(Ok(self.here), |name| place(name, self.circuit))
    }

    #[allow(clippy::too_many_arguments, reason = "two tables that have all of it in common")]
    fn part(
        &mut self,
        name: String,
        from: &Option<Spanned<String>>,
        to: &Option<Spanned<String>>,
        default_to: String,
        kind: PartKind,
        is_reversed: bool,
        at: &Range<usize>,
    ) -> Result<(), Fault> {
        let from = self.at(from)?;
        let span = to.as_ref().map_or(at.clone(), Spanned::span);
        let to = to.as_ref().map_or(default_to, |t| t.get_ref().clone());
        if to == "resistor" {
            return Err(Fault::new(
                &span,
                "\"resistor\" is the resistor of the supply",
                "call the place otherwise",
            ));
        }
        if self.circuit.places.contains(&to) {
            let wrong = format!("wires lead to \"{to}\" already: a second way would make a ring");
            return Err(Fault::new(&span, wrong, "give the place where this part ends a name of its own"));
        }
        if self.circuit.parts.iter().any(|p| p.name == name) {
            let wrong = format!("another part has the name {name} too");
            return Err(Fault::new(at, wrong, "give every part a name of its own"));
        }
        self.circuit.parts.push(Part { name, from, kind, is_reversed });
        self.circuit.places.push(to);
        self.here = self.circuit.places.len() - 1;
        Ok(())
    }
}

fn cable(t: &CableTable, at: &Range<usize>) -> Result<Cable, Fault> {
    not_both(span(&t.length_m), span(&t.length_ft), "length_m and length_ft")?;
    not_both(span(&t.cross_section_mm2), span(&t.awg), "cross_section_mm2 and awg")?;
    not_both(span(&t.awg), span(&t.resistance_ohm_per_km), "awg and resistance_ohm_per_km")?;
    not_both(
        span(&t.cross_section_mm2),
        span(&t.resistance_ohm_per_km),
        "cross_section_mm2 and resistance_ohm_per_km",
    )?;
    not_both(
        span(&t.capacitance_pf_per_m),
        span(&t.capacitance_pf_per_ft),
        "capacitance_pf_per_m and capacitance_pf_per_ft",
    )?;
    let metres = optional(&t.length_m, "length_m", "m", 0.0..=20_000.0)?;
    let feet = optional(&t.length_ft, "length_ft", "ft", 0.0..=65_000.0)?;
    let length_m = metres.or(feet.map(|ft| ft * FOOT_M));
    let length_m = length_m.ok_or_else(|| missing(at, "length_m or length_ft", "length_m = 400"))?;
    let mm2 = optional(&t.cross_section_mm2, "cross_section_mm2", "mm2", 0.02..=50.0)?;
    let gauge = t.awg.as_ref().map(|n| whole::<u8>(n, "awg", 0..=40)).transpose()?;
    let per_km = optional(&t.resistance_ohm_per_km, "resistance_ohm_per_km", "ohm/km", 0.0..=100_000.0)?;
    let mm2 = mm2.or(gauge.map(|n| cable::awg_mm2(f64::from(n))));
    let (cross_section_mm2, (core_ohm_per_m, core_source)) = match (mm2, per_km) {
        (Some(mm2), _) => (mm2, cable::core_ohm_per_m(mm2, t.flexible.unwrap_or(false))),
        // Both cores of a km, so half of it each; the cross-section is that of copper.
        (None, Some(ohm)) => (17.241 / (ohm / 2.0).max(1e-3), (ohm / 2e3, "the sheet")),
        (None, None) => {
            return Err(missing(
                at,
                "cross_section_mm2, awg or resistance_ohm_per_km",
                "cross_section_mm2 = 1.5",
            ));
        }
    };
    let kinds: Vec<_> = cable::INSULATIONS.iter().map(|i| (i.name, i.name)).collect();
    let kind = t.insulation.as_ref().map(|w| words::one_of(w, "insulation", &kinds)).transpose()?;
    let table = knob::insulation(kind.unwrap_or("unknown"));
    let per_m = optional(&t.capacitance_pf_per_m, "capacitance_pf_per_m", "pF/m", 0.0..=2000.0)?;
    let per_ft = optional(&t.capacitance_pf_per_ft, "capacitance_pf_per_ft", "pF/ft", 0.0..=600.0)?;
    let (capacitance_f_per_m, capacitance_source) = match per_m.or(per_ft.map(|pf| pf / FOOT_M)) {
        Some(pf) => (pf * 1e-12, "the sheet"),
        None => table.map_or((200e-12, ""), |i| (i.capacitance_f_per_m, i.source)),
    };
    let inductance = optional(&t.inductance_uh_per_m, "inductance_uh_per_m", "uH/m", 0.0..=100.0)?;
    let leak = optional(&t.insulation_kohm_km, "insulation_kohm_km", "kohm km", 0.001..=1e6)?;
    Ok(Cable {
        length_m,
        cross_section_mm2,
        core_ohm_per_m,
        core_source,
        temperature_c: optional(&t.temperature_c, "temperature_c", "\u{b0}C", -60.0..=120.0)?.unwrap_or(20.0),
        capacitance_f_per_m,
        capacitance_source,
        inductance_h_per_m: inductance.map_or(cable::USUAL_INDUCTANCE_H_PER_M, |uh| uh * 1e-6),
        insulation_ohm_m: leak.map(|kohm_km| kohm_km * 1e6),
    })
}

fn series(t: &SeriesTable, at: &Range<usize>) -> Result<Series, Fault> {
    let kinds = ["resistor", "barrier", "isolator", "surge", "terminal", "indicator"].map(|k| (k, k));
    let kind = t.kind.as_ref().ok_or_else(|| missing(at, "kind", "kind = \"barrier\""))?;
    let ohm = optional(&t.resistance_ohm, "resistance_ohm", "ohm", 0.0..=100_000.0)?.unwrap_or(0.0);
    Ok(Series {
        what: words::one_of(kind, "kind", &kinds)?.to_owned(),
        resistance_ohm: ohm,
        tones_ohm: optional(&t.tones_ohm, "tones_ohm", "ohm", 0.0..=100_000.0)?.unwrap_or(ohm),
        inductance_h: optional(&t.inductance_mh, "inductance_mh", "mH", 0.0..=100_000.0)?.unwrap_or(0.0)
            * 1e-3,
        drop_v: optional(&t.drop_v, "drop_v", "V", 0.0..=100.0)?.unwrap_or(0.0),
        capacitance_f: optional(&t.capacitance_nf, "capacitance_nf", "nF", 0.0..=10_000.0)?.unwrap_or(0.0)
            * 1e-9,
        passes_signal: t.passes_signal.unwrap_or(true),
    })
}

fn shunt(table: &Spanned<ShuntTable>, place: usize, number: usize) -> Result<Shunt, Fault> {
    let (t, at) = (table.get_ref(), table.span());
    let kinds = ["leak", "resistor", "capacitor"].map(|k| (k, k));
    let kind = t.kind.as_ref().ok_or_else(|| missing(&at, "kind", "kind = \"leak\""))?;
    let kind = words::one_of(kind, "kind", &kinds)?;
    let resistance_ohm = optional(&t.resistance_ohm, "resistance_ohm", "ohm", 0.001..=1e9)?;
    let nf = optional(&t.capacitance_nf, "capacitance_nf", "nF", 0.0..=1e6)?;
    if kind != "capacitor" && resistance_ohm.is_none() {
        return Err(missing(&at, "resistance_ohm", "resistance_ohm = 10000"));
    }
    if kind == "capacitor" && nf.is_none() {
        return Err(missing(&at, "capacitance_nf", "capacitance_nf = 10"));
    }
    Ok(Shunt {
        name: t.name.clone().unwrap_or_else(|| format!("{kind} {number}")),
        at: place,
        resistance_ohm,
        capacitance_f: nf.unwrap_or(0.0) * 1e-9,
        is_resistor: kind == "resistor",
    })
}

fn device(
    table: &Spanned<DeviceTable>,
    place: usize,
    number: usize,
    is_multidrop: bool,
) -> Result<Device, Fault> {
    let (t, at) = (table.get_ref(), table.span());
    not_both(span(&t.min_voltage_v), span(&t.volts_at_ma), "min_voltage_v and volts_at_ma")?;
    let needs = match (optional(&t.min_voltage_v, "min_voltage_v", "V", 0.0..=100.0)?, &t.volts_at_ma) {
        (Some(v), _) => vec![(0.0, v)],
        (None, Some(curve)) => points(curve)?,
        (None, None) => return Err(missing(&at, "min_voltage_v or volts_at_ma", "min_voltage_v = 12")),
    };
    let impedance_ohm = optional(&t.impedance_ohm, "impedance_ohm", "ohm", 1.0..=1e9)?;
    let behind = optional(&t.transmit_impedance_ohm, "transmit_impedance_ohm", "ohm", 0.0..=100_000.0)?;
    let holds_ma = optional(&t.holds_ma, "holds_ma", "mA", 0.1..=100.0)?;
    Ok(Device {
        tag: t.tag.clone().unwrap_or_else(|| format!("device {}", number)),
        at: place,
        needs,
        needs_ohm: optional(&t.resistance_ohm, "resistance_ohm", "ohm", 0.0..=10_000.0)?.unwrap_or(0.0),
        impedance_ohm,
        capacitance_f: capacitance(&t.capacitance_number, &t.capacitance_nf, 1.0)?,
        transmits: transmits(
            &t.transmit_ma_pp,
            &t.transmit_mv_pp,
            behind.or(impedance_ohm),
            Transmits::Current(1e-3),
        )?,
        noise: None,
        holds_a: holds_ma.or(is_multidrop.then_some(4.0)).map(|ma| ma / 1e3),
        takes_either_polarity: t.either_polarity.unwrap_or(false),
        is_reversed: t.reversed.unwrap_or(false),
    })
}

/// A curve with rising currents.
fn points(curve: &Spanned<Vec<[Spanned<Number>; 2]>>) -> Result<Vec<(f64, f64)>, Fault> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    for [ma, v] in curve.get_ref() {
        let a = number(ma, "a current of volts_at_ma", "mA", 0.0..=100.0)? / 1e3;
        if out.last().is_some_and(|last| last.0 >= a) {
            let wrong = "the currents of volts_at_ma do not rise";
            return Err(Fault::new(&ma.span(), wrong, "write the pairs in the order of their currents"));
        }
        out.push((a, number(v, "a voltage of volts_at_ma", "V", 0.0..=100.0)?));
    }
    if out.is_empty() || out.len() > 100 {
        let right = "give 1 to 100 pairs, such as [[3.6, 12.0], [20.0, 10.5]]";
        return Err(Fault::new(&curve.span(), format!("volts_at_ma has {} pairs", out.len()), right));
    }
    Ok(out)
}
