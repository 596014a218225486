//! Any text where a person types: who is meant, values of commands, paces, hex. Nothing panics, and
//! what is taken can be said again.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::app::command::{self, Revision};
use looprig::capture::parse_hex_line;
use looprig::frame::UniqueAddress;
use looprig::host::{To, encode, names};
use looprig::time::Pace;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    let _ = To::parse(text);
    let _ = parse_hex_line(text);
    if let Ok(u) = UniqueAddress::parse(text) {
        assert_eq!(UniqueAddress::parse(&u.to_string()), Ok(u));
    }
    if let Ok(pace) = Pace::parse(text) {
        assert_eq!(Pace::parse(&pace.to_string()), Ok(pace));
    }
    // The same text as every value of every request.
    for row in command::all() {
        // Extended commands are asked by command 31.
        let Ok(number) = u8::try_from(row.number) else { continue };
        for revision in Revision::NEWEST_FIRST {
            let values: Vec<(String, String)> =
                names(row, revision).into_iter().map(|n| (n, text.to_owned())).collect();
            if let Ok(data) = encode(number, revision, &values) {
                assert!(data.len() <= 255, "command {}: {} octets", row.number, data.len());
            }
        }
    }
});
