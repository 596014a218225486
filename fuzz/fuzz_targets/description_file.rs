//! Any text as a description of a device type: one that is the same when it was written and read again, or refused with
//! a place and three parts. No rows are made: those would be leaked each time.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::app::command::Direction;
use looprig::app::command::described::{NUMBERS, check};
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match check(text, Path::new("d.toml")) {
        Ok(description) => {
            assert!(!description.types.is_empty() && !description.commands.is_empty());
            for command in &description.commands {
                assert!(NUMBERS.contains(&command.number));
                for revision in command.revisions() {
                    for (direction, room) in [(Direction::Request, 255), (Direction::Reply, 253)] {
                        let data = command.data_in(direction, revision);
                        let octets: usize =
                            data.iter().flat_map(|e| e.parts()).map(|p| p.kind.octets()).sum();
                        assert!(octets <= room, "{octets} octets in {text}");
                    }
                }
            }
            let written = description.to_toml();
            let again = check(&written, Path::new("d.toml")).unwrap_or_else(|e| panic!("{e}\n{written}"));
            assert_eq!(again, description, "{written}");
        }
        Err(e) => assert!(e.place.is_some() && e.to_string().contains("next: "), "{e}"),
    }
});
