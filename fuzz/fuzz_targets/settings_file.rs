//! Any text as a settings file: settings that are the same when they were written and read again, or a message
//! with a place and what to do next.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::commission::settings::{Allowed, compare, from_text, other_type, plan, to_text};

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match from_text(text) {
        Ok(settings) => {
            let written = to_text(&settings);
            let again = from_text(&written).unwrap_or_else(|e| panic!("{e}\n{written}"));
            assert_eq!(again, settings, "{written}");
            assert_eq!(to_text(&again), written);
            // With itself nothing differs, so nothing is to be written.
            assert!(compare(&settings, &again).differences.is_empty());
            assert!(other_type(&settings, &again).is_empty());
            let allowed = Allowed { moves: true, polling_address: true };
            assert!(plan(&settings, &again, allowed).changes.is_empty());
        }
        Err(e) => {
            let lines = text.split('\n').count();
            assert!(e.place.line <= lines && e.to_string().contains("next: "), "{e}");
        }
    }
});
