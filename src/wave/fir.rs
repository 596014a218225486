//! A wave through a channel that is known by its response to a pulse.

/// A filter with finite memory; the first samples see silence before them.
#[derive(Clone, Debug)]
pub struct Fir {
    /// The latest first, so that products run along the memory.
    taps: Vec<f64>,
    memory: Vec<f64>,
}

impl Fir {
    /// What becomes of a single sample of 1, one value a sample.
    pub fn new(response: &[f64]) -> Fir {
        let taps: Vec<f64> = response.iter().rev().copied().collect();
        Fir { memory: vec![0.0; taps.len().saturating_sub(1)], taps }
    }

    /// Replaces samples by what comes out.
    pub fn run(&mut self, samples: &mut [f32]) {
        let held = self.memory.len();
        self.memory.extend(samples.iter().map(|s| f64::from(*s)));
        for (n, s) in samples.iter_mut().enumerate() {
            let part = &self.memory[n..n + self.taps.len().min(held + 1)];
            *s = part.iter().zip(&self.taps).map(|(x, t)| x * t).sum::<f64>() as f32;
        }
        self.memory.drain(..samples.len());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pulse_comes_out_as_the_response_however_it_is_cut() {
        let response = [0.5, -1.0, 0.25, 2.0];
        for part in [1, 2, 3, 10] {
            let mut f = Fir::new(&response);
            let mut x = [0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 3.0];
            x.chunks_mut(part).for_each(|p| f.run(p));
            assert_eq!(x, [0.0, 0.5, -1.0, 0.25, 2.0, 0.0, 1.5]);
        }
    }
}
