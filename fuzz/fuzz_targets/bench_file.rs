//! Any text as a bench file: it is a plan that makes sense, or refused with a place and three parts.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::bench::{check, in_process};
use looprig::line::{Event, Line};
use looprig::time::Instant;
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match check(text, Path::new("bench.toml")) {
        Ok(plan) => {
            // Whatever passed the check can be run.
            assert!(!plan.devices.is_empty() && !plan.lines.is_empty());
            let mut line = in_process(&plan);
            let mut events = 0;
            // With a deadline: where every octet is lost a master of the bench goes on asking for ever.
            let until = Some(Instant::from_nanos(1_000_000_000));
            while events < 20 && !matches!(line.wait(until), Ok(Event::Closed | Event::TimeOut) | Err(_)) {
                events += 1;
            }
        }
        Err(e) => assert!(e.to_string().contains("next: "), "{e}"),
    }
});
