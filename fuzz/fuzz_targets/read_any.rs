//! Any bytes as a captured file: log, hex text, bare octets or packets. Reading ends, and what is written of
//! it in every format is whole: JSON parses, text lines are ended.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::capture::{Annotator, Captured, MessageAnnotator, Reader};
use looprig::frame::ReceiverConfig;
use looprig::report::summary::Summary;
use looprig::report::{Format, Options, write_item};
use looprig::transaction::PairerConfig;

fuzz_target!(|bytes: &[u8]| {
    let mut reader = Reader::new(bytes).expect("memory can be read");
    let mut annotator = Annotator::new(ReceiverConfig::UNTIMED, PairerConfig::UNTIMED, None);
    let mut messages = MessageAnnotator::new(None);
    let mut summary = Summary::default();
    let mut out = String::new();
    loop {
        let captured = reader.next().expect("memory can be read");
        let ended = captured.is_none();
        match captured {
            Some(Captured::Start(h)) => {
                annotator.finish();
                let receiver = ReceiverConfig::for_line(h.pace(), h.stamp_error());
                annotator = Annotator::new(receiver, PairerConfig::for_line(h.pace(), h.stamp_error()), None);
            }
            Some(Captured::Octets(octets)) => {
                if let Some(first) = octets.first() {
                    annotator.handle_timeout(first.at);
                }
                annotator.push(&octets);
            }
            Some(Captured::Messages(passing)) => messages.push(passing.at, passing.flow, &passing.octets),
            Some(Captured::Remark(_)) => {}
            Some(Captured::Break) => annotator.push_break(),
            Some(Captured::Problem(p)) => assert!(!p.to_string().is_empty()),
            None => annotator.finish(),
        }
        while messages.next().is_some() {}
        while let Some(item) = annotator.next() {
            summary.add(&item);
            for format in [Format::Text, Format::Json, Format::Csv] {
                for verbosity in 0..3 {
                    out.clear();
                    write_item(&item, Options { format, verbosity, times: true, colour: false }, &mut out);
                    assert!(out.ends_with('\n'));
                    if format == Format::Json {
                        let parsed: Result<serde_json::Value, _> = serde_json::from_str(&out);
                        assert!(parsed.is_ok(), "{out}");
                    }
                }
            }
        }
        if ended {
            break;
        }
    }
    assert!(summary.text().ends_with('\n'));
});
