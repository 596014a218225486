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

/// A link through which air may pass in this step. Ends that are fixed share the place [`FIXED`].
#[derive(Clone, Copy, Default)]
struct Active {
    line: Line,
    /// Change of the flow with the pressure at `from`.
    slope: f64,
    from_pa: f64,
    to_pa: f64,
    /// The pressure towards which it fills: that at `from`, or the set point of a regulator.
    top_pa: f64,
    at: u8,
    from: u8,
    to: u8,
    /// Nothing may pass backwards that did not before.
    one_sided: bool,
}

/// The row and column of whatever has a fixed pressure: written to, never read.
const FIXED: usize = NODES;

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
    let factor = density_factor(temperature_k);
    let gas = 1.0 / (GAS_CONSTANT_J_PER_KG_K * temperature_k);
    // Stored kg for a change of pressure, and its inverse times the step; of what is fixed the latter is 0.
    let (mut stores, mut speeds) = ([0.0; NODES + 1], [0.0; NODES + 1]);
    for (i, node) in nodes.iter().enumerate().take(n) {
        stores[i] = node.volume_m3 * gas / node.exponent;
        speeds[i] = dt_s / stores[i];
    }
    let end = |end: End| match end {
        End::Node(i) => nodes[..n].get(i).map(|node| (i, node.pressure_pa)),
        End::Fixed(pa) => Some((FIXED, pa)),
    };
    let (mut active, mut count) = ([Active::default(); LINKS], 0);
    for (at, link) in links.iter().enumerate().take(LINKS.min(flows_kg_per_s.len())) {
        let open = link.restriction.conductance_m3_per_s_pa > 0.0;
        if open && let (Some((from, from_pa)), Some((to, to_pa))) = (end(link.from), end(link.to)) {
            if link.duty == Duty::OneWay && from_pa <= to_pa {
                continue;
            }
            let mut flow = link.restriction.flow(from_pa, to_pa, factor);
            let top_pa = regulated(link.duty, &mut flow, from_pa, to_pa);
            active[count] = Active {
                line: tangent(&flow, speeds[from], speeds[to]),
                slope: flow.by_from_kg_per_s_pa,
                from_pa,
                to_pa,
                top_pa,
                at: at as u8,
                from: from as u8,
                to: to as u8,
                one_sided: link.duty != Duty::Plain,
            };
            count += 1;
        }
    }
    let active = &mut active[..count];
    let mut way = Way::Tangent;
    loop {
        let mut change = solved(active, &stores, dt_s, n);
        change[FIXED] = 0.0;
        let mut again = false;
        for link in active.iter_mut() {
            let (from, to) = (change[usize::from(link.from)], change[usize::from(link.to)]);
            let flow = link.line.rest + link.line.by_from * from + link.line.by_to * to;
            flows_kg_per_s[usize::from(link.at)] = flow;
            let rest = link.line.rest;
            if way == Way::Tangent {
                let top_pa = if link.top_pa == link.from_pa { link.from_pa + from } else { link.top_pa };
                let turned = (link.from_pa - link.to_pa) * (top_pa - link.to_pa - to) < 0.0;
                again |= rest != 0.0 && (turned || flow * rest < 0.0);
            } else if link.one_sided && rest > 0.0 && flow < 0.0 {
                // It would pass backwards: it shuts instead.
                link.line = Line::default();
                flows_kg_per_s[usize::from(link.at)] = 0.0;
                again = true;
            }
        }
        if !again {
            for (node, change) in nodes.iter_mut().zip(&change).take(n) {
                node.pressure_pa += change;
            }
            return;
        }
        if way == Way::Tangent {
            way = Way::Chord;
            for link in active.iter_mut() {
                link.line = chord(link);
            }
        }
    }
}

/// Takes a regulator's opening off the flow; returns the pressure towards which it fills.
#[inline]
fn regulated(duty: Duty, flow: &mut Flow, from_pa: f64, to_pa: f64) -> f64 {
    let Duty::Regulates { set_pa, band_pa } = duty else {
        return from_pa;
    };
    let open = ((set_pa - to_pa) / band_pa).clamp(0.0, 1.0);
    let full = flow.kg_per_s;
    flow.kg_per_s *= open;
    flow.by_from_kg_per_s_pa *= open;
    flow.by_to_kg_per_s_pa *= open;
    if open <= 0.0 || full <= 0.0 {
        return from_pa;
    }
    if open < 1.0 {
        flow.by_to_kg_per_s_pa -= full / band_pa;
    }
    from_pa.min(set_pa)
}

/// Half of the slope is exact to second order, the whole of it never overshoots [PL-04]. The speeds are the
/// changes of pressure at both ends that a flow makes in one step.
#[inline]
fn tangent(flow: &Flow, from_speed: f64, to_speed: f64) -> Line {
    let (by_from, by_to) = (flow.by_from_kg_per_s_pa, flow.by_to_kg_per_s_pa);
    let stiff = by_from * from_speed - by_to * to_speed;
    let share = (0.5 + stiff * (1.0 / 12.0)).min(1.0);
    Line { rest: flow.kg_per_s, by_from: share * by_from, by_to: share * by_to }
}

/// The chord from the flow there is to no flow where there is no difference.
fn chord(link: &Active) -> Line {
    let rest = link.line.rest;
    if link.top_pa != link.from_pa {
        // Towards the regulator's set point, whatever its header does.
        return Line { rest, by_from: 0.0, by_to: -rest / (link.top_pa - link.to_pa) };
    }
    let across_pa = link.from_pa - link.to_pa;
    let chord = if across_pa == 0.0 { link.slope } else { rest / across_pa };
    Line { rest, by_from: chord, by_to: -chord }
}

/// The changes of pressure, Pa, with which all flows agree.
///
/// The matrix is an M-matrix: each diagonal element outweighs its column, so no rows need be exchanged.
#[inline]
fn solved(active: &[Active], stores: &[f64; NODES + 1], dt_s: f64, n: usize) -> [f64; NODES + 1] {
    let mut matrix = [[0.0; NODES + 1]; NODES + 1];
    let mut right = [0.0; NODES + 1];
    for i in 0..n {
        matrix[i][i] = stores[i];
    }
    for &Active { from, to, line, .. } in active {
        let (from, to) = (usize::from(from), usize::from(to));
        let (rest, by_from, by_to) = (dt_s * line.rest, dt_s * line.by_from, dt_s * line.by_to);
        right[from] -= rest;
        right[to] += rest;
        matrix[from][from] += by_from;
        matrix[from][to] += by_to;
        matrix[to][to] -= by_to;
        matrix[to][from] -= by_from;
    }
    let mut over = [0.0; NODES];
    for k in 0..n {
        let row = matrix[k];
        over[k] = 1.0 / row[k];
        for i in k + 1..n {
            if matrix[i][k] != 0.0 {
                let share = matrix[i][k] * over[k];
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
        right[k] = sum * over[k];
    }
    right
}

#[cfg(test)]
mod tests;
