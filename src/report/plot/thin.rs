//! Long runs have more samples than a plot has columns: what is drawn keeps every peak.

/// The points of a line that are worth drawing: of each of `columns` equal parts of the time the first and the last
/// point, the lowest and the highest. Thus a peak of one sample stays, however long the run. At most four points a
/// column; times that rise, in the order of time. Points that are no numbers are left out.
pub fn thin(time: &[f64], values: &[f64], columns: usize) -> Vec<(f64, f64)> {
    let points: Vec<(f64, f64)> = time
        .iter()
        .copied()
        .zip(values.iter().copied())
        .filter(|(t, v)| t.is_finite() && v.is_finite())
        .collect();
    let (Some(&(start, _)), Some(&(end, _))) = (points.first(), points.last()) else { return points };
    let columns = columns.max(1);
    if points.len() <= 4 * columns || end <= start {
        return points;
    }
    let column = |t: f64| (((t - start) / (end - start) * columns as f64) as usize).min(columns - 1);
    let mut out = Vec::new();
    for part in points.chunk_by(|a, b| column(a.0) == column(b.0)) {
        let place = |least: bool| {
            let better = |a: f64, b: f64| if least { a < b } else { a > b };
            (0..part.len()).fold(0, |best, i| if better(part[i].1, part[best].1) { i } else { best })
        };
        let mut kept = [0, place(true), place(false), part.len() - 1];
        kept.sort_unstable();
        let mut before = None;
        for i in kept {
            if before != Some(i) {
                out.push(part[i]);
            }
            before = Some(i);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_peak_of_one_sample_stays() {
        let time: Vec<f64> = (0..100_000).map(|n| f64::from(n) * 1e-3).collect();
        let mut values = vec![1.0; time.len()];
        (values[54_321], values[54_400]) = (7.0, -3.0);
        let drawn = thin(&time, &values, 500);
        assert!(drawn.len() <= 2000);
        assert!(drawn.contains(&(time[54_321], 7.0)) && drawn.contains(&(time[54_400], -3.0)));
    }

    proptest! {
        #[test]
        fn nothing_is_invented_and_ends_and_peaks_stay(
            values in prop::collection::vec(-100.0f64..100.0, 1..600), columns in 1usize..60,
        ) {
            let time: Vec<f64> = (0..values.len()).map(|n| n as f64).collect();
            let drawn = thin(&time, &values, columns);
            prop_assert!(drawn.len() <= values.len().min((4 * columns).max(4)));
            prop_assert!(drawn.iter().all(|p| values[p.0 as usize] == p.1));
            prop_assert!(drawn.windows(2).all(|w| w[0].0 < w[1].0));
            prop_assert_eq!(drawn[0].0, 0.0);
            prop_assert_eq!(drawn.last().unwrap().0, time[time.len() - 1]);
            for of in [f64::min, f64::max] {
                let all = values.iter().copied().reduce(of);
                prop_assert_eq!(all, drawn.iter().map(|p| p.1).reduce(of));
            }
        }
    }
}
