//! Volumes of air and the restrictions between them, stepped together [PL-04].
//!
//! A step replaces every flow by a straight line in the pressures at its ends and solves for all of them at
//! once. Where the line would turn a flow round within the step, the step is done again with the chord of each
//! flow, which cannot: so no pressure ever leaves the range of those that it is connected to, whatever the
//! step, the volumes and the conductances.

use super::air::{Flow, GAS_CONSTANT_J_PER_KG_K, Restriction, density_factor};

/// Volumes that a network has room for.
pub const NODES: usize = 7;
/// Links that a network has room for.
pub const LINKS: usize = 24;

/// A volume of air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Node {
    /// Pressure, Pa absolute, above 0.
    pub pressure_pa: f64,
    /// Volume, m3, above 0.
    pub volume_m3: f64,
    /// Polytropic exponent, 1 (isothermal) to 1.4 (adiabatic).
    pub exponent: f64,
}

impl Node {
    /// Its air at a temperature, K, as that of an ideal gas, kg.
    pub fn mass_kg(&self, temperature_k: f64) -> f64 {
        self.pressure_pa * self.volume_m3 / (GAS_CONSTANT_J_PER_KG_K * temperature_k)
    }

    /// Gives it another volume, m3, no air coming or going: p V^n stays.
    pub fn squeeze(&mut self, volume_m3: f64) {
        self.pressure_pa *= power(self.volume_m3 / volume_m3, self.exponent);
        self.volume_m3 = volume_m3;
    }
}

/// `ratio` to the power of `exponent`; for ratios close to 1, which is every step, without logarithms.
fn power(ratio: f64, exponent: f64) -> f64 {
    let e = ratio - 1.0;
    if exponent == 1.0 {
        ratio
    } else if e.abs() < 1e-3 {
        (1.0 + 0.5 * (exponent + 1.0) * e) / (1.0 - 0.5 * (exponent - 1.0) * e)
    } else {
        ratio.powf(exponent)
    }
}

/// Where a link begins or ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum End {
    /// A volume, by its place.
    Node(usize),
    /// So much air that its pressure, Pa absolute, does not change: the header, the atmosphere.
    Fixed(f64),
}

/// What a link does besides restricting.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Duty {
    /// Nothing: air passes both ways.
    Plain,
    /// Air passes from `from` to `to` only: a check valve.
    OneWay,
    /// Opens as far as the pressure at `to` lies below `set_pa` (absolute), in full at `band_pa` below:
    /// a pressure regulator [PL-05].
    Regulates {
        /// Pressure at which it is shut, Pa absolute.
        set_pa: f64,
        /// How far below that it is fully open, Pa, above 0.
        band_pa: f64,
    },
}

/// A restriction between two ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// Where a positive flow comes from.
    pub from: End,
    /// Where it goes to.
    pub to: End,
    /// What it passes.
    pub restriction: Restriction,
    /// What else it does.
    pub duty: Duty,
}

impl Link {
    /// A link that does nothing but restrict.
    pub const fn plain(from: End, to: End, restriction: Restriction) -> Link {
        Link { from, to, restriction, duty: Duty::Plain }
    }

    /// A check valve: passes from `from` to `to` only.
    pub const fn one_way(from: End, to: End, restriction: Restriction) -> Link {
        Link { from, to, restriction, duty: Duty::OneWay }
    }
}

/// A flow as it goes into the equations: `rest + by_from * change at from + by_to * change at to`.
#[derive(Clone, Copy, Default)]
struct Line {
    rest: f64,
    by_from: f64,
    by_to: f64,
}

/// How the flows are made straight.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    Tangent,
    Chord,
}

/// Steps `nodes` by `dt_s`, s, all air at `temperature_k`, K; writes the mean flow through each link, kg/s,
/// into `flows_kg_per_s`.
///
/// At most [`NODES`] nodes and [`LINKS`] links take part, and as many links as there is room for flows; a link
/// to a node that does not exist counts as shut, and so does every link where `dt_s` is not above 0. For the
/// exponent 1 what flows in less what flows out is what is stored, to rounding. A regulator's header is to be
/// [`End::Fixed`].
pub fn step(nodes: &mut [Node], links: &[Link], flows_kg_per_s: &mut [f64], dt_s: f64, temperature_k: f64) {
    let n = nodes.len().min(NODES);
    flows_kg_per_s.fill(0.0);
    if !(dt_s > 0.0 && dt_s.is_finite()) {
        return;
    }
    let links = &links[..links.len().min(LINKS).min(flows_kg_per_s.len())];
    let factor = density_factor(temperature_k);
    let mut stores = [0.0; NODES];
    for (store, node) in stores.iter_mut().zip(nodes.iter()) {
        *store = node.volume_m3 / (node.exponent * GAS_CONSTANT_J_PER_KG_K * temperature_k);
    }
    let pressure = |nodes: &[Node], end: End| match end {
        End::Node(i) => nodes[i].pressure_pa,
        End::Fixed(pa) => pa,
    };
    // One bit a link.
    let mut blocked = 0u32;
    for (at, link) in links.iter().enumerate() {
        let missing = |end: End| matches!(end, End::Node(i) if i >= n);
        if link.restriction.conductance_m3_per_s_pa <= 0.0 || missing(link.from) || missing(link.to) {
            blocked |= 1 << at;
        }
    }
    let mut way = Way::Tangent;
    let mut lines = [Line::default(); LINKS];
    loop {
        let mut matrix = [[0.0; NODES]; NODES];
        let mut change = [0.0; NODES];
        for i in 0..n {
            matrix[i][i] = stores[i];
        }
        for (at, (link, line)) in links.iter().zip(&mut lines).enumerate() {
            if blocked & (1 << at) != 0 {
                continue;
            }
            let (from_pa, to_pa) = (pressure(nodes, link.from), pressure(nodes, link.to));
            *line = if link.duty == Duty::OneWay && from_pa <= to_pa {
                Line::default()
            } else {
                let flow = link.restriction.flow(from_pa, to_pa, factor);
                let stiff = |end: End, slope: f64| match end {
                    End::Node(i) => dt_s * slope.abs() / stores[i],
                    End::Fixed(_) => 0.0,
                };
                straight(link, flow, from_pa, to_pa, way, |f, t| stiff(link.from, f) + stiff(link.to, t))
            };
            let Line { rest, by_from, by_to } = *line;
            if let End::Node(i) = link.from {
                change[i] -= dt_s * rest;
                matrix[i][i] += dt_s * by_from;
                if let End::Node(j) = link.to {
                    matrix[i][j] += dt_s * by_to;
                }
            }
            if let End::Node(j) = link.to {
                change[j] += dt_s * rest;
                matrix[j][j] -= dt_s * by_to;
                if let End::Node(i) = link.from {
                    matrix[j][i] -= dt_s * by_from;
                }
            }
        }
        solve(&mut matrix, &mut change, n);
        let moved = |end: End| match end {
            End::Node(i) => change[i],
            End::Fixed(_) => 0.0,
        };
        let mut again = false;
        for (at, (link, line)) in links.iter().zip(&lines).enumerate() {
            if blocked & (1 << at) != 0 {
                continue;
            }
            let flow = line.rest + line.by_from * moved(link.from) + line.by_to * moved(link.to);
            flows_kg_per_s[at] = flow;
            let (from_pa, to_pa) = (pressure(nodes, link.from), pressure(nodes, link.to));
            let (from_after, to_after) = (from_pa + moved(link.from), to_pa + moved(link.to));
            if way == Way::Tangent {
                let top_pa = match link.duty {
                    Duty::Regulates { set_pa, .. } if from_pa > to_pa => from_after.min(set_pa),
                    _ => from_after,
                };
                let turned = (from_pa - to_pa) * (top_pa - to_after) < 0.0 || flow * line.rest < 0.0;
                again |= turned && line.rest != 0.0;
            } else if link.duty != Duty::Plain && line.rest > 0.0 && flow < 0.0 {
                blocked |= 1 << at;
                flows_kg_per_s[at] = 0.0;
                again = true;
            }
        }
        if !again {
            for (node, change) in nodes.iter_mut().zip(&change).take(n) {
                node.pressure_pa += change;
            }
            return;
        }
        way = Way::Chord;
    }
}

/// A link's flow made straight; `stiff` tells how fast the ends follow slopes, in steps.
#[inline]
fn straight(
    link: &Link,
    flow: Flow,
    from_pa: f64,
    to_pa: f64,
    way: Way,
    stiff: impl Fn(f64, f64) -> f64,
) -> Line {
    let (mut rest, mut by_from, mut by_to) =
        (flow.kg_per_s, flow.by_from_kg_per_s_pa, flow.by_to_kg_per_s_pa);
    let (mut top_pa, mut opening) = (from_pa, 1.0);
    if let Duty::Regulates { set_pa, band_pa } = link.duty {
        let open = ((set_pa - to_pa) / band_pa).clamp(0.0, 1.0);
        let full = rest;
        (rest, by_from, by_to, opening) = (rest * open, by_from * open, by_to * open, open);
        if open > 0.0 && full > 0.0 {
            top_pa = top_pa.min(set_pa);
            if open < 1.0 {
                by_to -= full / band_pa;
            }
        }
    }
    match way {
        Way::Tangent => {
            // Half of the slope is exact to second order, the whole of it never overshoots [PL-04].
            let share = (0.5 + stiff(by_from, by_to) / 12.0).min(1.0);
            Line { rest, by_from: share * by_from, by_to: share * by_to }
        }
        Way::Chord if top_pa != from_pa => {
            // Towards the regulator's set point, whatever its header does.
            Line { rest, by_from: 0.0, by_to: -rest / (top_pa - to_pa) }
        }
        Way::Chord => {
            let chord = flow.chord_kg_per_s_pa * opening;
            Line { rest, by_from: chord, by_to: -chord }
        }
    }
}

/// Solves in place; `right` becomes the solution. The matrix is an M-matrix: each diagonal element outweighs
/// its column, so no rows need be exchanged.
#[inline]
fn solve(matrix: &mut [[f64; NODES]; NODES], right: &mut [f64; NODES], n: usize) {
    for k in 0..n {
        let row = matrix[k];
        let over = 1.0 / row[k];
        for i in k + 1..n {
            if matrix[i][k] != 0.0 {
                let share = matrix[i][k] * over;
                for (element, above) in matrix[i].iter_mut().zip(&row).skip(k + 1) {
                    *element -= share * above;
                }
                right[i] -= share * right[k];
            }
        }
    }
    for k in (0..n).rev() {
        let mut sum = right[k];
        for j in k + 1..n {
            sum -= matrix[k][j] * right[j];
        }
        right[k] = sum / matrix[k][k];
    }
}
