//! Any text as the place where travel is read: one that reads the same again and never panics on a number, or a sentence.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::commission::travel::{Reading, Source};

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match Reading::read(text) {
        Ok(reading) => {
            assert_eq!(Source::read(&reading.source.to_string()).as_ref(), Ok(&reading.source));
            assert!(reading.scale.is_none_or(|(a, b)| a != b && a.is_finite() && b.is_finite()));
            let _ = reading.scaled(1.5);
        }
        Err(e) => assert!(e.contains("give")),
    }
});
