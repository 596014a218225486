//! How long 10,000 tolerance samples of a loop with 15 devices take on one core, beside the least that any such computing
//! must do: the nodal equations of the same network alone, at both tones for every transmitter and for direct current, on
//! numbers that are there already.
//!
//! Run with `cargo bench --bench wiring`. The aim is under 2 s.

use looprig::wiring::{Circuit, Complex, Tolerance, analyse, sample};
use std::hint::black_box;

/// The samples of one run.
const SAMPLES: usize = 10_000;
/// The quickest of so many runs counts.
const ROUNDS: usize = 3;

/// The trunk with two boxes and fifteen spurs of `fixtures/sheets/multidrop-15.toml`.
fn circuit() -> Circuit {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/sheets/multidrop-15.toml");
    looprig::bench::read_sheet(path.as_ref()).expect("a sheet that is right").circuit
}

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn now() -> std::time::Instant {
    std::time::Instant::now()
}

fn least(mut measure: impl FnMut()) -> f64 {
    let round = |_| {
        let begun = now();
        measure();
        begun.elapsed().as_secs_f64()
    };
    (0..ROUNDS).map(round).fold(f64::INFINITY, f64::min)
}

/// A part as the bare equations need it: where it begins, and its chain matrix.
type Bare = (usize, [Complex; 3]);

/// Volts at every place with the current of one transmitter: once from the ends to the source, once back.
fn bare(parts: &[Bare], across: &mut [(Complex, Complex)], volts: &mut [Complex]) {
    for (n, (from, [a, b, c])) in parts.iter().enumerate().rev() {
        let (y, j) = across[n + 1];
        let seen = (*c + *a * y) / (*a + *b * y);
        let fed = *a * j - seen * (*b * j);
        across[*from].0 = across[*from].0 + seen;
        across[*from].1 = across[*from].1 + fed;
    }
    volts[0] = across[0].1 / across[0].0;
    for (n, (from, [a, b, _])) in parts.iter().enumerate() {
        let (y, j) = across[n + 1];
        volts[n + 1] = (volts[*from] + *b * j) / (*a + *b * y);
    }
}

fn main() {
    let circuit = circuit();
    let places = circuit.places.len();
    let transmitters = circuit.devices.len() + 1;
    // Cables of some length, so that the numbers are of the usual size.
    let parts: Vec<Bare> = circuit
        .parts
        .iter()
        .map(|p| (p.from, [Complex::new(1.0, 1e-5), Complex::new(1.0, 0.2), Complex::new(0.0, 1e-5)]))
        .collect();
    let took = least(|| {
        black_box(sample(&circuit, &Tolerance::default(), SAMPLES, 7));
    });
    let mut across = vec![(Complex::ZERO, Complex::ZERO); places];
    let mut volts = vec![Complex::ZERO; places];
    let floor = least(|| {
        for _ in 0..SAMPLES {
            // Two tones for each transmitter, and direct current once.
            for who in 0..2 * transmitters + 1 {
                across.fill((Complex::new(0.0, 1e-5), Complex::ZERO));
                across[0].0 = Complex::new(4e-3, 0.0);
                across[who % places].1 = Complex::new(1e-3, 0.0);
                bare(black_box(&parts), &mut across, &mut volts);
                black_box(&volts);
            }
        }
    });
    let whole = analyse(&circuit);
    println!("{SAMPLES} tolerance samples of a loop with {} devices, {places} places", circuit.devices.len());
    println!(
        "  {took:.2} s (aim: under 2 s); {} transmissions at two tones each",
        whole.tones[0].transmissions.len()
    );
    println!("  {:.1} times what the nodal equations alone need", took / floor);
}
