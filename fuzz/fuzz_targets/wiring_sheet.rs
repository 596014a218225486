//! Any text as a wiring sheet: a circuit whose every number is one, or a message with a place and what to do next.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::bench::check_sheet;
use looprig::report::wiring::{WiringReport, html, json, text};
use looprig::wiring::{judge, sample};
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(sheet) = core::str::from_utf8(bytes) else { return };
    match check_sheet(sheet, Path::new("sheet.toml")) {
        Ok(sheet) => {
            let circuit = &sheet.circuit;
            // A hundred devices are a hundred by a hundred levels: right, but slow.
            if circuit.devices.len() > 8 || circuit.parts.len() > 30 || circuit.currents_a.len() > 20 {
                return;
            }
            let judged = judge(circuit);
            for tone in &judged.analysis.tones {
                for t in &tone.transmissions {
                    assert!(t.places.iter().all(|v| v.abs().is_finite()), "{:?}", t.by);
                }
            }
            for row in &judged.analysis.dc {
                assert!(row.margin_after_peak_v.is_finite() && row.places_v.iter().all(|v| v.is_finite()));
            }
            let samples = sample(circuit, &sheet.tolerance, 3, 1);
            let report = WiringReport { circuit, judged: &judged, corner: None, samples: Some(&samples) };
            let mut out = String::new();
            text(&report, 1, true, false, &mut out);
            assert!(out.contains("Verdict: ") && html(&report).ends_with("</html>\n"));
            assert_eq!(json(&report)["good"], judged.is_good());
        }
        Err(e) => assert!(e.place.is_some() && e.to_string().contains("next: "), "{e}"),
    }
});
