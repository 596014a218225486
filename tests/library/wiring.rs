//! The loop as a circuit: published worked examples, laws that hold for any circuit, sheets and their messages.
#![cfg(feature = "bench-file")]

mod laws;
mod messages;
mod noise;
mod published;
mod sheets;
mod verdicts;

use looprig::bench::check_sheet;
use looprig::wiring::{Circuit, Transmits};
use std::path::Path;

/// The circuit of a sheet that is right.
fn circuit(text: &str) -> Circuit {
    check_sheet(text, Path::new("sheet.toml")).unwrap_or_else(|e| panic!("{e}\n{text}")).circuit
}

/// The same without any signal, as the published budgets for direct current have it: they leave the peak out.
fn silent(text: &str) -> Circuit {
    let mut circuit = circuit(text);
    for device in &mut circuit.devices {
        device.transmits = Transmits::Nothing;
    }
    circuit
}

/// They agree to so many parts of the larger.
fn near(what: &str, value: f64, right: f64, share: f64) {
    let off = (value - right).abs();
    assert!(off <= share * right.abs().max(1e-12), "{what}: {value}, should be {right}");
}
