//! Any text as the record of a device check: the same record when it was written and read again, and something to show of it; or a message
//! that says what to do next.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::commission::device_check::DeviceCheck;
use looprig::report::handover::OtherCheck;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match DeviceCheck::from_json(text) {
        Ok(check) => {
            let told = OtherCheck::from(&check);
            assert!(told.is_good != Some(true) || !told.ended_early, "{told:?}");
            let written = check.to_json();
            assert_eq!(DeviceCheck::from_json(&written).as_ref(), Ok(&check), "{written}");
        }
        Err(e) => assert!(e.to_string().contains("next: ") && !e.wrong.is_empty(), "{e}"),
    }
});
