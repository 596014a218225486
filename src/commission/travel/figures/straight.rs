//! Straight lines through points, by which non-linearity is told [TV-11]. Exact, no search.

use super::Line;

/// A line and how far the points are from it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Straight {
    /// Rise per unit of x.
    pub slope: f64,
    /// Value at x = 0.
    pub at_zero: f64,
    /// Largest distance of a point, along y, 0 or more.
    pub largest: f64,
    /// The x of the point that is furthest.
    pub at: f64,
}

/// The line of the given kind, and how far `points` (x, y) are from it. `None` with fewer than two different x, or with one x twice.
pub fn straight(points: &[(f64, f64)], line: Line) -> Option<Straight> {
    let mut points = points.to_vec();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    if points.len() < 2 || points.windows(2).any(|w| w[0].0 == w[1].0) {
        return None;
    }
    let (first, last) = (points[0], points[points.len() - 1]);
    let (slope, at_zero) = match line {
        Line::Independent => nearest_line(&points),
        // A set that is the same when it is turned round its first point has its nearest line through that point.
        Line::ZeroBased => {
            let ahead: Vec<_> = points.iter().map(|p| (p.0 - first.0, p.1 - first.1)).collect();
            let behind = ahead[1..].iter().rev().map(|p| (-p.0, -p.1));
            let slope = nearest_line(&behind.chain(ahead.iter().copied()).collect::<Vec<_>>()).0;
            (slope, first.1 - slope * first.0)
        }
        Line::Terminal => {
            let slope = (last.1 - first.1) / (last.0 - first.0);
            (slope, first.1 - slope * first.0)
        }
    };
    let away = |p: &(f64, f64)| (p.1 - (slope * p.0 + at_zero)).abs();
    let furthest = points.iter().max_by(|a, b| away(a).total_cmp(&away(b)))?;
    Some(Straight { slope, at_zero, largest: away(furthest), at: furthest.0 })
}

type Pair = (f64, f64);

/// Twice the area to the left of the way from `a` by `b` to `c`.
fn turn(a: Pair, b: Pair, c: Pair) -> f64 {
    (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0)
}

/// The hull below (`side` 1) or above (`side` -1) of points with rising x.
fn hull(points: &[Pair], side: f64) -> Vec<Pair> {
    let mut out: Vec<Pair> = Vec::new();
    for &p in points {
        while let [.., a, b] = out[..]
            && side * turn(a, b, p) <= 0.0
        {
            out.pop();
        }
        out.push(p);
    }
    out
}

/// Slope and value at 0 of the line from which the largest distance of the points is least: halfway between an edge of one
/// hull and the corner of the other hull that is furthest from it.
fn nearest_line(points: &[Pair]) -> Pair {
    let (below, above) = (hull(points, 1.0), hull(points, -1.0));
    // Distance of the hulls is largest at a corner of one of them: (distance, edge of the other, corner).
    let mut best = (f64::NEG_INFINITY, (points[0], points[points.len() - 1]), points[0]);
    for (corners, edges, sign) in [(&above, &below, 1.0), (&below, &above, -1.0)] {
        let mut n = 0;
        for &corner in corners {
            while n + 2 < edges.len() && edges[n + 1].0 < corner.0 {
                n += 1;
            }
            let (a, b) = (edges[n], edges[n + 1]);
            let on_edge = a.1 + (b.1 - a.1) * (corner.0 - a.0) / (b.0 - a.0);
            let distance = sign * (corner.1 - on_edge);
            if distance > best.0 {
                best = (distance, (a, b), corner);
            }
        }
    }
    let (_, (a, b), corner) = best;
    let slope = (b.1 - a.1) / (b.0 - a.0);
    let (edge, other) = (a.1 - slope * a.0, corner.1 - slope * corner.0);
    (slope, (edge + other) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LINES: [Line; 3] = [Line::Independent, Line::ZeroBased, Line::Terminal];

    fn largest(points: &[Pair]) -> [f64; 3] {
        LINES.map(|l| straight(points, l).expect("a line").largest)
    }

    fn near(found: [f64; 3], expected: [f64; 3]) {
        for (a, b) in found.into_iter().zip(expected) {
            // The expected ones are printed with four digits behind the point.
            assert!((a - b).abs() <= 5.1e-5, "{found:?} is not {expected:?}");
        }
    }

    /// Corners of a triangle by hand: (0, 0), (1, 1), (2, 0): independent half of 1, terminal 1; zero-based: distances s - 1 and 2s
    /// are alike at s = 1/3: 2/3.
    #[test]
    fn a_triangle() {
        near(largest(&[(0.0, 0.0), (1.0, 1.0), (2.0, 0.0)]), [0.5, 2.0 / 3.0, 1.0]);
        near(largest(&[(2.0, 7.0), (1.0, 4.0), (5.0, 16.0)]), [0.0; 3]);
    }

    /// The average of set A of [ALEX], kPa of 10. Computed by linear programming (another program, scipy), x 10 %.
    #[test]
    fn set_a() {
        let up = [-1.12, 0.21, 1.18, 2.09, 3.33, 4.50, 5.26, 6.59, 7.73, 8.68, 9.80];
        let down = [-0.69, 0.42, 1.65, 2.48, 3.62, 4.71, 5.87, 6.89, 7.92, 9.10, 10.20];
        let points: Vec<_> = (0..11).map(|n| (n as f64, (up[n] + down[n]) / 2.0 * 10.0)).collect();
        near(largest(&points), [1.0156, 1.225, 1.390].map(|x| x));
    }

    proptest! {
        /// No other line is nearer: those through two points moved up or down by half, which are all that could be, and lines by
        /// chance. The distance is the same for points that are moved, turned round or sheared.
        #[test]
        fn nothing_is_nearer(y in prop::collection::vec(-10.0f64..10.0, 3..12), slope in -5.0f64..5.0, at in -10.0f64..10.0) {
            let points: Vec<Pair> = y.iter().enumerate().map(|(n, y)| (n as f64, *y)).collect();
            let [independent, zero, terminal] = largest(&points);
            let worst = |s: f64, b: f64| points.iter().map(|p| (p.1 - s * p.0 - b).abs()).fold(0.0, f64::max);
            prop_assert!(independent <= worst(slope, at) + 1e-9);
            prop_assert!(zero <= worst(slope, y[0]) + 1e-9);
            for (i, a) in points.iter().enumerate() {
                for b in &points[i + 1..] {
                    let s = (b.1 - a.1) / (b.0 - a.0);
                    let over: Vec<f64> = points.iter().map(|p| p.1 - s * p.0).collect();
                    let most = over.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                    let least = over.iter().copied().fold(f64::INFINITY, f64::min);
                    prop_assert!(independent <= (most - least) / 2.0 + 1e-9);
                }
                if i > 0 {
                    prop_assert!(zero <= worst((a.1 - y[0]) / a.0, y[0]) + 1e-9);
                }
            }
            prop_assert!(independent <= zero + 1e-9 && zero <= terminal + 1e-9);
            let sheared: Vec<Pair> = points.iter().map(|p| (p.0 + 3.0, -(p.1 + slope * p.0 + at))).collect();
            for (a, b) in largest(&sheared).into_iter().zip([independent, zero, terminal]) {
                prop_assert!((a - b).abs() < 1e-9);
            }
        }
    }
}
