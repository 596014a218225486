//! Any text as a bench file: it is a plan that makes sense, or refused with a place and three parts.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::bench::{check, in_process};
use looprig::line::{Event, Line};
use looprig::plant::valve::Valve;
use looprig::time::Instant;
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match check(text, Path::new("bench.toml")) {
        Ok(plan) => {
            // Whatever passed the check can be run.
            assert!(!plan.devices.is_empty() && !plan.lines.is_empty());
            for device in &plan.devices {
                let Some(valve) = &device.valve else { continue };
                let mut run = Valve::new(valve.config, 1).expect("what passed the check can be built");
                for fault in &valve.faults {
                    // A valve may not have the part that would be faulty.
                    let _ = run.inject(fault.name, fault.severity);
                }
                run.set_drive(1.0);
                run.advance(Instant::from_nanos(20_000_000));
                let r = run.readings();
                assert!(r.travel_percent.is_finite() && r.chamber_gauge_pa.iter().all(|pa| pa.is_finite()));
            }
            let loops = plan.loops();
            let plan = match loops {
                1 => plan,
                // Of a fleet the last: its numbers are the longest and the highest.
                _ => {
                    let (first, last) = (plan.loop_plan(0), plan.loop_plan(loops - 1));
                    for (a, b) in first.devices.iter().zip(&last.devices) {
                        let (a, b) = (&a.config, &b.config);
                        assert_ne!(a.identity.unique_address(), b.identity.unique_address());
                        assert_eq!((a.check(), b.check()), (Ok(()), Ok(())));
                        assert!(a.factory.tag.is_empty() || a.factory.tag != b.factory.tag);
                    }
                    last
                }
            };
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
