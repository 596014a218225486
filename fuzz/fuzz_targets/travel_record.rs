//! Any text as the record of a travel test: figures that are numbers or say why they are none, and the same record when it was
//! written and read again; or a message that says what to do next.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::commission::travel::figures::figures;
use looprig::commission::travel::limits::judge;
use looprig::commission::travel::{Limits, Record};

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match Record::from_json(text) {
        Ok(record) => {
            let all = figures(&record);
            for f in &all {
                assert!(
                    f.value.is_some_and(f64::is_finite) || f.value.is_none() && !f.remark.is_empty(),
                    "{f:?}"
                );
                assert!(f.uncertainty.is_none_or(|by| by.is_finite() && by >= 0.0), "{f:?}");
            }
            assert_eq!(judge(all.clone(), &Limits::own()).len(), all.len());
            let written = record.to_json();
            assert_eq!(Record::from_json(&written).as_ref(), Ok(&record), "{written}");
        }
        Err(e) => assert!(e.to_string().contains("next: ") && !e.wrong.is_empty(), "{e}"),
    }
});
