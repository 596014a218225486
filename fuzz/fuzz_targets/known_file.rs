//! Any text as a list of known deviations: cases that exist, each once and with a reason, or a message with a place
//! and what to do next.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::conform::{Known, all};
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    let ids: Vec<&str> = all().iter().map(|c| c.id).collect();
    match Known::from_text(text, Path::new("known.toml"), &ids) {
        Ok(known) => {
            assert!(!known.is_empty());
            for (i, k) in known.iter().enumerate() {
                assert!(ids.contains(&k.id.as_str()) && !k.reason.trim().is_empty());
                assert!(known[..i].iter().all(|other| other.id != k.id));
            }
        }
        Err(e) => assert!(e.place.is_some() && e.to_string().contains("next: "), "{e}"),
    }
});
