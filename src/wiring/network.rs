//! A tree of two-ports: the nodal equations of a pair of wires with branches, solved from the ends to the
//! source and back.
//!
//! A pair of wires is a tree, so its nodal equations need no matrix: seen from a place, all that hangs behind it
//! is one admittance with a current source beside it. Each part between two places turns the one seen behind it into
//! the one seen before it. Nothing divides by the impedance of a part, so a cable of no length is a part like others.

use super::Complex;

/// A part between two places: V1 = A V2 + B I2 + drop, I1 = C V2 + D I2, currents away from the source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct TwoPort {
    pub a: Complex,
    pub b: Complex,
    pub c: Complex,
    pub d: Complex,
    /// Volts that are lost whatever the current.
    pub drop: Complex,
}

impl TwoPort {
    /// An impedance in one of the wires, ohm, and volts that are lost besides.
    pub fn series(z: Complex, drop: f64) -> TwoPort {
        TwoPort { a: Complex::ONE, b: z, c: Complex::ZERO, d: Complex::ONE, drop: drop.into() }
    }
}

/// Where a part begins and what it is; it ends at the place one behind its own number.
#[derive(Clone, Copy, Debug)]
pub(super) struct Link {
    pub from: usize,
    pub port: TwoPort,
}

/// What is connected across the wires at a place: an admittance, S, and a current that it feeds in, A.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Across {
    pub y: Complex,
    pub j: Complex,
}

/// Volts at each place; place 0 is the source's, link `n` ends at place `n + 1` and begins at one before it.
///
/// `across` has one entry a place and is used up: afterwards it holds what is seen from each place away from
/// the source.
pub(super) fn solve(links: &[Link], across: &mut [Across]) -> Vec<Complex> {
    for (n, link) in links.iter().enumerate().rev() {
        let (p, behind) = (&link.port, across[n + 1]);
        let y = (p.c + p.d * behind.y) / (p.a + p.b * behind.y);
        let j = p.d * behind.j - y * (p.b * behind.j - p.drop);
        let before = &mut across[link.from];
        before.y = before.y + y;
        before.j = before.j + j;
    }
    let mut volts = Vec::with_capacity(across.len());
    volts.push(across[0].j / across[0].y);
    for (n, link) in links.iter().enumerate() {
        let (p, behind) = (&link.port, across[n + 1]);
        volts.push((volts[link.from] + p.b * behind.j - p.drop) / (p.a + p.b * behind.y));
    }
    volts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_divider_with_a_branch_and_a_drop() {
        // 10 V behind 2 ohm; 3 ohm to a place with 5 ohm across; from there 1 V lost to an open end.
        let series = |ohm, drop| TwoPort::series(Complex::new(ohm, 0.0), drop);
        let links = [Link { from: 0, port: series(3.0, 0.0) }, Link { from: 1, port: series(0.0, 1.0) }];
        let mut across = [Across::default(); 3];
        across[0] = Across { y: 0.5.into(), j: 5.0.into() };
        across[1].y = 0.2.into();
        let volts = solve(&links, &mut across);
        for (v, right) in volts.iter().zip([8.0, 5.0, 4.0]) {
            assert!((*v - Complex::new(right, 0.0)).abs() < 1e-12, "{volts:?}");
        }
    }
}
