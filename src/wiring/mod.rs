//! The loop as a circuit: will it carry current and signal?
//!
//! A pair of wires is a tree: from the supply or the card through cables and parts in the wires to devices across
//! them. [`judge`] computes what direct current leaves of the volts at each device ([`dc`]), what of each
//! transmission arrives where at both tones ([`ac`]), and compares that with limits ([`Check`]). It knows no protocol.
//! Quantities are SI; where a name carries another unit it says so. Rules and their sources: [WI-01] to [WI-13].

pub mod ac;
pub mod cable;
mod checks;
mod circuit;
mod complex;
pub mod dc;
pub mod knob;
mod length;
mod network;
pub mod noise;
mod remedy;
mod tolerance;

pub use ac::{Station, TONES_HZ, Tone, Transmission, tone};
pub use cable::Cable;
pub use checks::{Check, Kind, digits};
pub use circuit::{
    CAPACITANCE_NUMBER_F, Circuit, Coupling, Device, Master, Part, PartKind, Series, Shunt, Source, Transmits,
};
pub use complex::Complex;
pub use dc::{DcDevice, DcRow};
pub use knob::Knob;
pub use length::{Lengths, RoomLeft, handbook_m};
pub use noise::{Noise, Reception};
pub use remedy::{Remedy, bring_noise_down};
pub use tolerance::{Samples, Spread, Tolerance, corner, sample};

/// What was computed of a loop.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysis {
    /// The loop at each current.
    pub dc: Vec<DcRow>,
    /// The two tones.
    pub tones: Vec<Tone>,
    /// Peak of the signal at each place, V.
    pub peaks_v: Vec<f64>,
    /// Resistance and capacitance of the loop as the rule of 65 us counts them.
    pub rc: Rc,
}

/// Resistance times capacitance [WI-07].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rc {
    /// Resistance: source, and the way to the farthest device, ohm.
    pub resistance_ohm: f64,
    /// Capacitance of all cables, parts, devices and the master, F.
    pub capacitance_f: f64,
}

impl Rc {
    /// The product, s.
    pub fn seconds(&self) -> f64 {
        self.resistance_ohm * self.capacitance_f
    }
}

/// A loop with its verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// What was computed.
    pub analysis: Analysis,
    /// Between which currents all devices have their volts, A; `None` nowhere, or where none follows the signal.
    pub works_a: Option<(f64, f64)>,
    /// Every check.
    pub checks: Vec<Check>,
    /// How long the longest cable may become.
    pub lengths: Option<Lengths>,
    /// Changes that together put right what fails, in order; empty where nothing fails.
    pub together: Vec<String>,
    /// Whether nothing that must hold fails after all of them.
    pub together_suffices: bool,
}

impl Judged {
    /// Whether nothing that must hold fails.
    pub fn is_good(&self) -> bool {
        !self.checks.iter().any(Check::is_bad)
    }
}

/// Computes a loop.
pub fn analyse(circuit: &Circuit) -> Analysis {
    let tones: Vec<Tone> = TONES_HZ.iter().map(|&hz| ac::tone(circuit, hz)).collect();
    let peaks_v = ac::peaks_v(circuit, &tones);
    let dc = circuit.test_currents_a().iter().map(|&a| dc::at(circuit, a, &peaks_v)).collect();
    Analysis { dc, tones, peaks_v, rc: rc(circuit) }
}

/// Computes and checks a loop; neither remedies nor lengths are looked for, which take a hundred times as long.
pub fn judge_briefly(circuit: &Circuit) -> Judged {
    let analysis = analyse(circuit);
    let works_a = if circuit.follows() { dc::works(circuit, &analysis.peaks_v) } else { None };
    let checks = checks::checks(circuit, &analysis);
    let together_suffices = !checks.iter().any(Check::is_bad);
    Judged { works_a, checks, lengths: None, together: Vec::new(), together_suffices, analysis }
}

/// Computes a loop, checks it and looks for remedies.
pub fn judge(circuit: &Circuit) -> Judged {
    let mut judged = judge_briefly(circuit);
    remedy::find(circuit, &mut judged.checks);
    (judged.together, judged.together_suffices) = remedy::together(circuit, &judged.checks);
    judged.lengths = length::lengths(circuit, &judged.analysis);
    judged
}

/// Resistance and capacitance as the rule of 65 us counts them [WI-07].
fn rc(circuit: &Circuit) -> Rc {
    let ohm = |n: usize| match &circuit.parts[n].kind {
        PartKind::Cable(c) => c.resistance_ohm(),
        PartKind::Series(s) => s.tones_ohm,
    };
    let way = |d: &Device| circuit.path(d.at).map(ohm).sum::<f64>();
    let farthest = circuit.devices.iter().map(way).fold(0.0, f64::max);
    let (source_ohm, source_f) = match circuit.source {
        Source::Supply { resistor_ohm, impedance_ohm, .. } => (resistor_ohm + impedance_ohm, 0.0),
        // What a current output resists is beside the device's own impedance, and the smaller one counts.
        Source::Card { impedance_ohm, capacitance_f, filter_ohm, .. } => {
            let device = circuit.devices.iter().filter_map(|d| d.impedance_ohm).fold(f64::INFINITY, f64::min);
            ((impedance_ohm + filter_ohm).min(device), if filter_ohm > 0.0 { 0.0 } else { capacitance_f })
        }
    };
    let parts: f64 = circuit
        .parts
        .iter()
        .map(|p| match &p.kind {
            PartKind::Cable(c) => c.capacitance_f(),
            PartKind::Series(s) => s.capacitance_f,
        })
        .sum();
    let capacitance_f = source_f
        + parts
        + circuit.shunts.iter().map(|s| s.capacitance_f).sum::<f64>()
        + circuit.devices.iter().map(|d| d.capacitance_f).sum::<f64>()
        + circuit.master.as_ref().map_or(0.0, |m| m.capacitance_f);
    Rc { resistance_ohm: source_ohm + farthest, capacitance_f }
}
