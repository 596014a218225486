//! How long the longest cable may become, by this network and by the handbooks' formula.

use super::checks::{self, Kind, RC_S};
use super::circuit::{Circuit, PartKind};
use super::knob::Knob;
use super::{Analysis, analyse};

/// Beyond this nobody looks, m.
pub const MOST_M: f64 = 20_000.0;

/// The longest cable's room.
#[derive(Clone, Debug, PartialEq)]
pub struct Lengths {
    /// Number of its part.
    pub part: usize,
    /// Its length, m.
    pub length_m: f64,
    /// To each limit.
    pub limits: Vec<RoomLeft>,
    /// What the handbooks' formula says of it, m; negative where there is no room at all [WI-07].
    pub formula_m: f64,
}

/// How long it may be for one limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoomLeft {
    /// Which limit.
    pub kind: Kind,
    /// The longest at which it holds, m; `None` where even none fails, 20 km where nothing sets a limit.
    pub most_m: Option<f64>,
}

/// The formula of the handbooks: L = 65e6/(R C) - (Cf + 10000)/C, with R in ohm, C in pF/m, Cf in pF; m [WI-07].
pub fn handbook_m(resistance_ohm: f64, cable_pf_per_m: f64, devices_pf: f64) -> f64 {
    RC_S * 1e12 / (resistance_ohm * cable_pf_per_m) - (devices_pf + 10_000.0) / cable_pf_per_m
}

pub(super) fn lengths(circuit: &Circuit, analysis: &Analysis) -> Option<Lengths> {
    let cables = circuit.parts.iter().enumerate().filter_map(|(n, p)| match &p.kind {
        PartKind::Cable(c) => Some((n, c)),
        PartKind::Series(_) => None,
    });
    let (part, cable) = cables.max_by(|a, b| a.1.length_m.total_cmp(&b.1.length_m))?;
    let kinds =
        [Kind::Volts, Kind::VoltsBeyond, Kind::Level, Kind::Noise, Kind::Rc, Kind::Twist, Kind::Delay];
    let known = checks::values(circuit, analysis);
    let kinds = kinds.into_iter().filter(|k| known.iter().any(|c| c.kind == *k));
    let limits = kinds.map(|kind| RoomLeft { kind, most_m: most(circuit, part, kind) }).collect();
    let pf_per_m = cable.capacitance_f_per_m * 1e12;
    let devices_pf: f64 = circuit.devices.iter().map(|d| d.capacitance_f * 1e12).sum();
    let formula_m = handbook_m(analysis.rc.resistance_ohm, pf_per_m, devices_pf);
    Some(Lengths { part, length_m: cable.length_m, limits, formula_m })
}

/// Whether all checks of a kind hold.
pub(super) fn holds(circuit: &Circuit, kind: Kind) -> bool {
    checks::values(circuit, &analyse(circuit)).iter().filter(|c| c.kind == kind).all(checks::Check::holds)
}

fn most(circuit: &Circuit, part: usize, kind: Kind) -> Option<f64> {
    let with = |m: f64| {
        let mut changed = circuit.clone();
        Knob::CableLength(part).set(&mut changed, m);
        holds(&changed, kind)
    };
    if !with(0.0) {
        return None;
    }
    // A step that doubles finds the first failure even where a longer cable would be better again.
    let (mut good, mut bad) = (0.0, 25.0);
    while with(bad) {
        good = bad;
        bad *= 1.25;
        if good >= MOST_M {
            return Some(MOST_M);
        }
    }
    while bad - good > 0.01 {
        let middle = 0.5 * (good + bad);
        *if with(middle) { &mut good } else { &mut bad } = middle;
    }
    Some(good)
}
