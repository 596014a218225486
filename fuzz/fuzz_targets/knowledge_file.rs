//! Any text as a file of knowledge: knowledge whose likelihoods are likelihoods, or a message with a place and what to do next.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::commission::triage::{Knowledge, LEVELS, Session};
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match Knowledge::from_text(text, Path::new("knowledge.toml")) {
        Ok(known) => {
            for (_, table) in known.causes.iter().flat_map(|c| &c.expects) {
                for level in 0..LEVELS {
                    let sum: f64 = table.iter().map(|v| v[level]).sum();
                    assert!((sum - 1.0).abs() < 1e-6, "{sum}");
                }
            }
            let sum: f64 = Session::new(&known, true).ranks().iter().map(|r| r.share).sum();
            assert!((sum - 1.0).abs() < 1e-6, "{sum}");
        }
        Err(e) => assert!(e.place.is_some() && e.to_string().contains("next: "), "{e}"),
    }
});
