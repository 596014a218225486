//! Any text as a file of answers: answers of which each question gets one line, or a message with a place and what to do next.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::commission::answers::Answers;
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match Answers::from_text(text, Path::new("answers.toml")) {
        Ok(mut answers) => {
            let ids: Vec<String> = answers.unused().map(str::to_owned).collect();
            assert!(!ids.is_empty());
            for id in ids {
                for asked in [id.clone(), format!("{id}/1"), format!("{id}/2"), id] {
                    if let Some(typed) = answers.answer(&asked) {
                        assert!(!typed.text.contains('\n') && typed.place.starts_with("answers.toml:"));
                    }
                }
            }
        }
        Err(e) => assert!(e.place.is_some() && e.to_string().contains("next: "), "{e}"),
    }
});
