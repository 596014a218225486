//! Any text as a file of limits: limits that are the same when they were written and read again, or a message with a
//! place and what to do next.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::commission::travel::Limits;
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match Limits::from_text(text, Path::new("limits.toml")) {
        Ok(limits) => {
            let all = limits.both.iter().chain(&limits.sensor).chain(&limits.external);
            assert!(all.clone().count() > 0 && !limits.whose.is_empty());
            assert!(all.clone().all(|(_, most)| (0.0..=10_000.0).contains(most)));
            let written = limits.to_text();
            let again = Limits::from_text(&written, Path::new("limits.toml"));
            assert_eq!(again.as_ref(), Ok(&limits), "{written}");
        }
        Err(e) => assert!(e.place.is_some() && e.to_string().contains("next: "), "{e}"),
    }
});
