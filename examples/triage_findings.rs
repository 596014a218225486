//! Computes anew what follows from what a line told: `cargo run --example triage_findings COLLECTED.json...`, one that
//! `looprig triage --collected` kept, prints a line for each symptom.

use looprig::commission::triage::watch::{Watched, findings};

fn main() {
    for path in std::env::args().skip(1) {
        let read = std::fs::read_to_string(&path).map_err(|e| e.to_string());
        match read.and_then(|text| Watched::from_json(&text)) {
            Ok(watched) => {
                for f in findings(&watched) {
                    println!("{path}: {} {}: {}", f.symptom, f.value, f.words);
                }
            }
            Err(wrong) => eprintln!("{path}: {wrong}"),
        }
    }
}
