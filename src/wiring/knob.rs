//! Single numbers of a circuit that sweeps, tolerances and remedies turn.

use super::cable::{Cable, Insulation, core_ohm_per_m};
use super::circuit::{Circuit, PartKind, Source};

/// One number of a circuit.
#[derive(Clone, Debug, PartialEq)]
pub enum Knob {
    /// Volts of the supply, V.
    SupplyVoltage,
    /// The supply's resistor, ohm.
    SupplyResistor,
    /// Volts that the card can give, V.
    CardCompliance,
    /// Impedance of the card at the tones, ohm.
    CardImpedance,
    /// Resistance of the card's filter, ohm.
    CardFilter,
    /// Length of a part that is cable, m; the number is that of the part.
    CableLength(usize),
    /// Its capacitance, pF/m.
    CableCapacitance(usize),
    /// Its temperature, degC.
    CableTemperature(usize),
    /// Its cross-section, mm2.
    CableCrossSection(usize),
    /// Resistance of a part that is no cable, ohm, also at the tones.
    SeriesResistance(usize),
    /// Impedance of a device at the tones, ohm.
    DeviceImpedance(usize),
    /// Capacitance of a device, nF.
    DeviceCapacitance(usize),
    /// Noise at every receiver that has none of its own, mV rms.
    Noise,
    /// The master's own noise, mV rms.
    MasterNoise,
    /// A device's own noise, mV rms.
    DeviceNoise(usize),
}

/// What a sweep may name, for messages.
pub const NAMES: &str = "supply.voltage, supply.resistor, card.compliance, card.impedance, card.filter, \
                         cable.length, cable.capacitance, cable.temperature, cable.cross_section, \
                         series.resistance, device.impedance, device.capacitance, device.noise, master.noise, noise.rms; behind \
                         cable, series or device a name or number may stand: cable.2.length, device.FV-3104.impedance";

impl Knob {
    /// The knob of a name such as `cable.length` or `cable.2.length`.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn parse(name: &str, circuit: &Circuit) -> Result<Knob, String> {
        let unknown = || format!("\"{name}\" is nothing that can be varied");
        let (what, rest) = name.split_once('.').ok_or_else(unknown)?;
        let (which, key) = match rest.rsplit_once('.') {
            Some((which, key)) => (Some(which), key),
            None => (None, rest),
        };
        // Units are those of the sheet; a name may carry them, but no others.
        let units = ["_m", "_pf_per_m", "_c", "_mm2", "_ohm", "_nf", "_v", "_mv", "_rms_mv"];
        let keys = [
            "length",
            "capacitance",
            "temperature",
            "cross_section",
            "resistance",
            "impedance",
            "voltage",
            "resistor",
            "compliance",
            "filter",
            "rms",
            "noise",
        ];
        let key = units.iter().filter_map(|u| key.strip_suffix(u)).find(|k| keys.contains(k)).unwrap_or(key);
        let parts = |is_cable: bool| -> Vec<(usize, &str)> {
            let all = circuit.parts.iter().enumerate();
            let kind = all.filter(|(_, p)| matches!(p.kind, PartKind::Cable(_)) == is_cable);
            kind.map(|(n, p)| (n, p.name.as_str())).collect()
        };
        let one = |list: Vec<(usize, &str)>| match which {
            None if list.len() == 1 => Ok(list[0].0),
            None if list.is_empty() => Err(format!("the sheet has no {what}")),
            None => Err(format!(
                "the sheet has {} of the kind {what}: say which, such as {what}.1.{key}",
                list.len()
            )),
            Some(which) => {
                let number = which.parse::<usize>().ok().and_then(|n| list.get(n.checked_sub(1)?));
                let named = list.iter().find(|(_, name)| *name == which);
                named.or(number).map(|(n, _)| *n).ok_or_else(|| format!("the sheet has no {what} {which}"))
            }
        };
        let card = circuit.source.is_card();
        let devices = || circuit.devices.iter().enumerate().map(|(n, d)| (n, d.tag.as_str())).collect();
        Ok(match (what, key) {
            ("supply", _) if card => return Err("the sheet has no supply, it has a card".into()),
            ("card", _) if !card => return Err("the sheet has no card, it has a supply".into()),
            ("supply", "voltage") if which.is_none() => Knob::SupplyVoltage,
            ("supply", "resistor") if which.is_none() => Knob::SupplyResistor,
            ("card", "compliance") if which.is_none() => Knob::CardCompliance,
            ("card", "impedance") if which.is_none() => Knob::CardImpedance,
            ("card", "filter") if which.is_none() => Knob::CardFilter,
            ("noise", "rms") if which.is_none() => whole_noise(circuit)?,
            ("master", "noise") if which.is_none() && circuit.master.is_none() => {
                return Err("the sheet has no master".into());
            }
            ("master", "noise") if which.is_none() => Knob::MasterNoise,
            ("device", "noise") => Knob::DeviceNoise(one(devices())?),
            ("cable", "length") => Knob::CableLength(one(parts(true))?),
            ("cable", "capacitance") => Knob::CableCapacitance(one(parts(true))?),
            ("cable", "temperature") => Knob::CableTemperature(one(parts(true))?),
            ("cable", "cross_section") => Knob::CableCrossSection(one(parts(true))?),
            ("series", "resistance") => Knob::SeriesResistance(one(parts(false))?),
            ("device", "impedance") => Knob::DeviceImpedance(one(devices())?),
            ("device", "capacitance") => Knob::DeviceCapacitance(one(devices())?),
            _ => return Err(unknown()),
        })
    }

    /// Its unit.
    pub fn unit(&self) -> &'static str {
        match self {
            Knob::SupplyVoltage | Knob::CardCompliance => "V",
            Knob::CableLength(_) => "m",
            Knob::CableCapacitance(_) => "pF/m",
            Knob::CableTemperature(_) => "\u{b0}C",
            Knob::CableCrossSection(_) => "mm\u{b2}",
            Knob::DeviceCapacitance(_) => "nF",
            Knob::Noise | Knob::MasterNoise | Knob::DeviceNoise(_) => "mV rms",
            _ => "ohm",
        }
    }

    /// The values that it may take.
    pub fn range(&self) -> core::ops::RangeInclusive<f64> {
        match self {
            Knob::SupplyVoltage | Knob::CardCompliance => 0.0..=100.0,
            Knob::CableLength(_) => 0.0..=20_000.0,
            Knob::CableCapacitance(_) => 0.0..=2000.0,
            Knob::CableTemperature(_) => -60.0..=120.0,
            Knob::CableCrossSection(_) => 0.02..=50.0,
            Knob::DeviceCapacitance(_) | Knob::Noise | Knob::MasterNoise | Knob::DeviceNoise(_) => {
                0.0..=10_000.0
            }
            Knob::CardImpedance | Knob::DeviceImpedance(_) => 0.001..=1e9,
            _ => 0.0..=100_000.0,
        }
    }

    fn cable<'a>(&self, circuit: &'a Circuit) -> Option<&'a Cable> {
        match self {
            Knob::CableLength(n)
            | Knob::CableCapacitance(n)
            | Knob::CableTemperature(n)
            | Knob::CableCrossSection(n) => match &circuit.parts.get(*n)?.kind {
                PartKind::Cable(c) => Some(c),
                PartKind::Series(_) => None,
            },
            _ => None,
        }
    }

    /// What it stands at; `None` where the circuit has no such thing.
    pub fn get(&self, circuit: &Circuit) -> Option<f64> {
        match (self, &circuit.source) {
            (Knob::SupplyVoltage, Source::Supply { voltage_v, .. }) => Some(*voltage_v),
            (Knob::SupplyResistor, Source::Supply { resistor_ohm, .. }) => Some(*resistor_ohm),
            (Knob::CardCompliance, Source::Card { compliance_v, .. }) => Some(*compliance_v),
            (Knob::CardImpedance, Source::Card { impedance_ohm, .. }) => Some(*impedance_ohm),
            (Knob::CardFilter, Source::Card { filter_ohm, .. }) => Some(*filter_ohm),
            (Knob::CableLength(_), _) => self.cable(circuit).map(|c| c.length_m),
            (Knob::CableCapacitance(_), _) => self.cable(circuit).map(|c| c.capacitance_f_per_m * 1e12),
            (Knob::CableTemperature(_), _) => self.cable(circuit).map(|c| c.temperature_c),
            (Knob::CableCrossSection(_), _) => self.cable(circuit).map(|c| c.cross_section_mm2),
            (Knob::SeriesResistance(n), _) => circuit.parts.get(*n).map(super::circuit::Part::resistance_ohm),
            (Knob::DeviceImpedance(n), _) => circuit.devices.get(*n)?.impedance_ohm,
            (Knob::DeviceCapacitance(n), _) => circuit.devices.get(*n).map(|d| d.capacitance_f * 1e9),
            (Knob::Noise, _) => circuit.noise.map(|noise| noise.rms_v * 1e3),
            (Knob::MasterNoise, _) => circuit.master.as_ref()?.noise.map(|noise| noise.rms_v * 1e3),
            (Knob::DeviceNoise(n), _) => circuit.devices.get(*n)?.noise.map(|noise| noise.rms_v * 1e3),
            _ => None,
        }
    }

    /// Turns it; nothing happens where the circuit has no such thing.
    pub fn set(&self, circuit: &mut Circuit, value: f64) {
        match (self, &mut circuit.source) {
            (Knob::SupplyVoltage, Source::Supply { voltage_v, .. }) => *voltage_v = value,
            (Knob::SupplyResistor, Source::Supply { resistor_ohm, .. }) => *resistor_ohm = value,
            (Knob::CardCompliance, Source::Card { compliance_v, .. }) => *compliance_v = value,
            (Knob::CardImpedance, Source::Card { impedance_ohm, .. }) => *impedance_ohm = value,
            (Knob::CardFilter, Source::Card { filter_ohm, .. }) => *filter_ohm = value,
            (Knob::DeviceImpedance(n), _) => {
                if let Some(d) = circuit.devices.get_mut(*n) {
                    d.impedance_ohm = Some(value);
                }
            }
            (Knob::DeviceCapacitance(n), _) => {
                if let Some(d) = circuit.devices.get_mut(*n) {
                    d.capacitance_f = value * 1e-9;
                }
            }
            (Knob::Noise | Knob::MasterNoise | Knob::DeviceNoise(_), _) => {
                let noise = match self {
                    Knob::MasterNoise => circuit.master.as_mut().and_then(|m| m.noise.as_mut()),
                    Knob::DeviceNoise(n) => circuit.devices.get_mut(*n).and_then(|d| d.noise.as_mut()),
                    _ => circuit.noise.as_mut(),
                };
                if let Some(noise) = noise {
                    noise.rms_v = value * 1e-3;
                }
            }
            (
                Knob::CableLength(n)
                | Knob::CableCapacitance(n)
                | Knob::CableTemperature(n)
                | Knob::CableCrossSection(n)
                | Knob::SeriesResistance(n),
                _,
            ) => match (self, circuit.parts.get_mut(*n).map(|p| &mut p.kind)) {
                (Knob::SeriesResistance(_), Some(PartKind::Series(s))) => {
                    s.tones_ohm = (s.tones_ohm + value - s.resistance_ohm).max(0.0);
                    s.resistance_ohm = value;
                }
                (Knob::CableLength(_), Some(PartKind::Cable(c))) => c.length_m = value,
                (Knob::CableCapacitance(_), Some(PartKind::Cable(c))) => {
                    c.capacitance_f_per_m = value * 1e-12
                }
                (Knob::CableTemperature(_), Some(PartKind::Cable(c))) => c.temperature_c = value,
                (Knob::CableCrossSection(_), Some(PartKind::Cable(c))) => {
                    c.cross_section_mm2 = value;
                    (c.core_ohm_per_m, c.core_source) = core_ohm_per_m(value, false);
                }
                _ => {}
            },
            _ => {}
        }
    }
}

/// The noise of the whole loop, where every receiver has it: one that has noise of its own would not feel it.
fn whole_noise(circuit: &Circuit) -> Result<Knob, String> {
    let master = circuit.master.iter().filter(|m| m.noise.is_some());
    let mut own: Vec<(&str, String)> = master.map(|_| ("the master", "master.noise".to_owned())).collect();
    let devices = circuit.devices.iter().filter(|d| d.noise.is_some());
    own.extend(devices.map(|d| (d.tag.as_str(), format!("device.{}.noise", d.tag))));
    let Some((_, first)) = own.first() else { return Ok(Knob::Noise) };
    let mut names: Vec<&str> = own.iter().take(4).map(|(name, _)| *name).collect();
    let more = format!("{} more", own.len().saturating_sub(4));
    if own.len() > 4 {
        names.push(&more);
    }
    Err(format!(
        "noise.rms changes nothing at {}, where the sheet gives a noise_rms_mv of its own: vary {first}, or take \
         noise_rms_mv out of the sheet",
        names.join(", ")
    ))
}

/// The insulation of a name.
pub fn insulation(name: &str) -> Option<&'static Insulation> {
    super::cable::INSULATIONS.iter().find(|i| i.name == name)
}
