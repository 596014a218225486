//! Numbers that are not quite right: the worst corner, and samples by chance [WI-11].

use super::analyse;
use super::checks::{self, Kind};
use super::circuit::{Circuit, PartKind, Source, Transmits};
use oorandom::Rand64;

/// By how much numbers may be wrong, as a share of them; the defaults are our choice [WI-11].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Volts of supply or card.
    pub voltage: f64,
    /// Resistors and other parts in and across the wires.
    pub resistor: f64,
    /// Resistance of cores.
    pub core: f64,
    /// Capacitance of cables.
    pub capacitance: f64,
    /// Length of cables.
    pub length: f64,
    /// Impedance and capacitance of devices, master and card.
    pub impedance: f64,
    /// Levels that are transmitted.
    pub transmit: f64,
}

impl Default for Tolerance {
    fn default() -> Tolerance {
        Tolerance {
            voltage: 0.02,
            resistor: 0.01,
            core: 0.05,
            capacitance: 0.10,
            length: 0.05,
            impedance: 0.10,
            transmit: 0.10,
        }
    }
}

const GROUPS: usize = 7;

impl Tolerance {
    fn groups(&self) -> [f64; GROUPS] {
        [self.voltage, self.resistor, self.core, self.capacitance, self.length, self.impedance, self.transmit]
    }
}

/// The circuit with every number times what `factor` gives for its group.
fn spoil(circuit: &mut Circuit, factor: &mut dyn FnMut(usize) -> f64) {
    match &mut circuit.source {
        Source::Supply { voltage_v, resistor_ohm, .. } => {
            *voltage_v *= factor(0);
            *resistor_ohm *= factor(1);
        }
        Source::Card { compliance_v, impedance_ohm, capacitance_f, filter_ohm, filter_h } => {
            *compliance_v *= factor(0);
            *filter_ohm *= factor(1);
            *filter_h *= factor(1);
            *impedance_ohm *= factor(5);
            *capacitance_f *= factor(5);
        }
    }
    for part in &mut circuit.parts {
        match &mut part.kind {
            PartKind::Cable(c) => {
                c.core_ohm_per_m *= factor(2);
                c.capacitance_f_per_m *= factor(3);
                c.length_m *= factor(4);
            }
            PartKind::Series(s) => {
                let k = factor(1);
                s.resistance_ohm *= k;
                s.tones_ohm *= k;
            }
        }
    }
    for shunt in &mut circuit.shunts {
        let k = factor(1);
        shunt.resistance_ohm = shunt.resistance_ohm.map(|r| r * k);
    }
    let transmits = |t: &mut Transmits, k: f64| match t {
        Transmits::Current(a) => *a *= k,
        Transmits::Voltage(v, _) => *v *= k,
        Transmits::Nothing => {}
    };
    for device in &mut circuit.devices {
        let k = factor(5);
        device.impedance_ohm = device.impedance_ohm.map(|r| r * k);
        device.capacitance_f *= factor(5);
        transmits(&mut device.transmits, factor(6));
    }
    if let Some(master) = &mut circuit.master {
        let k = factor(5);
        master.impedance_ohm = master.impedance_ohm.map(|r| r * k);
        master.capacitance_f *= factor(5);
        transmits(&mut master.transmits, factor(6));
    }
}

/// The least margin of each kind of check, in the unit of the check.
fn margins(circuit: &Circuit) -> Vec<(Kind, &'static str, f64)> {
    let mut out: Vec<(Kind, &'static str, f64)> = Vec::new();
    // Wires are the wrong way round or not: no number is wrong there.
    for check in checks::values(circuit, &analyse(circuit)).iter().filter(|c| c.kind != Kind::Polarity) {
        match out.iter_mut().find(|(k, ..)| *k == check.kind) {
            Some((_, _, least)) => *least = least.min(check.margin()),
            None => out.push((check.kind, check.unit, check.margin())),
        }
    }
    out
}

/// What becomes of a kind of check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Which.
    pub kind: Kind,
    /// Unit of the margins.
    pub unit: &'static str,
    /// The least margin.
    pub least: f64,
    /// The margin that 1 sample of 100 falls short of.
    pub one_percent: f64,
    /// The margin in the middle.
    pub median: f64,
    /// How many samples fail.
    pub failed: usize,
}

/// Samples by chance.
#[derive(Clone, Debug, PartialEq)]
pub struct Samples {
    /// How many.
    pub count: usize,
    /// Their seed.
    pub seed: u64,
    /// Each kind of check.
    pub spreads: Vec<Spread>,
    /// Samples in which something fails that must hold.
    pub failed: usize,
}

/// The least margin of each kind over all corners: all numbers of a group at the same end together, every
/// combination of ends.
pub fn corner(circuit: &Circuit, tolerance: &Tolerance) -> Vec<Spread> {
    let groups = tolerance.groups();
    let mut out: Vec<Spread> = Vec::new();
    for ends in 0..1usize << GROUPS {
        let mut changed = circuit.clone();
        spoil(&mut changed, &mut |g| 1.0 + if ends >> g & 1 == 1 { groups[g] } else { -groups[g] });
        for (kind, unit, margin) in margins(&changed) {
            match out.iter_mut().find(|s| s.kind == kind) {
                Some(s) => {
                    s.least = s.least.min(margin);
                    s.failed += usize::from(margin < 0.0);
                }
                None => out.push(Spread {
                    kind,
                    unit,
                    least: margin,
                    one_percent: f64::NAN,
                    median: f64::NAN,
                    failed: usize::from(margin < 0.0),
                }),
            }
        }
    }
    out
}

/// Samples in which every number is wrong by chance, each on its own, evenly within its tolerance. A seed gives the
/// same samples on every machine.
pub fn sample(circuit: &Circuit, tolerance: &Tolerance, count: usize, seed: u64) -> Samples {
    let groups = tolerance.groups();
    let mut dice = Rand64::new(seed.into());
    let mut all: Vec<(Kind, &'static str, Vec<f64>)> = Vec::new();
    let mut failed = 0;
    for _ in 0..count {
        let mut changed = circuit.clone();
        spoil(&mut changed, &mut |g| 1.0 + groups[g] * (2.0 * dice.rand_float() - 1.0));
        let mut is_bad = false;
        for (kind, unit, margin) in margins(&changed) {
            is_bad |= kind.must_hold() && margin < 0.0;
            match all.iter_mut().find(|(k, ..)| *k == kind) {
                Some((_, _, list)) => list.push(margin),
                None => all.push((kind, unit, vec![margin])),
            }
        }
        failed += usize::from(is_bad);
    }
    let spreads = all.into_iter().map(|(kind, unit, mut list)| {
        list.sort_by(f64::total_cmp);
        Spread {
            kind,
            unit,
            least: list[0],
            one_percent: list[list.len() / 100],
            median: list[list.len() / 2],
            failed: list.iter().filter(|m| **m < 0.0).count(),
        }
    });
    Samples { count, seed, spreads: spreads.collect(), failed }
}
