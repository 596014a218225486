//! Any text as a bench file: it is a plan that makes sense, or refused with a place and three parts.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::bench::{check, in_process};
use looprig::line::{Event, Line};
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match check(text, Path::new("bench.toml")) {
        Ok(plan) => {
            // Whatever passed the check can be run.
            assert!(!plan.devices.is_empty() && !plan.lines.is_empty());
            let mut line = in_process(&plan);
            let mut events = 0;
            while events < 20 && !matches!(line.wait(None), Ok(Event::Closed) | Err(_)) {
                events += 1;
            }
        }
        Err(e) => assert!(e.to_string().contains("next: "), "{e}"),
    }
});
