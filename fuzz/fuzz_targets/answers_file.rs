//! Any text as a file of answers: answers of which each question gets one line, or a message with a place and what to do next; a kept
//! session of fault finding is ranked again.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::commission::answers::Answers;
use looprig::commission::triage::{Kept, Knowledge, wrong_answer};
use std::path::Path;
use std::sync::OnceLock;

static KNOWN: OnceLock<Knowledge> = OnceLock::new();

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = core::str::from_utf8(bytes) else { return };
    match Answers::from_text(text, Path::new("answers.toml")) {
        Ok(mut answers) => {
            let ids: Vec<String> = answers.unused().map(str::to_owned).collect();
            assert!(!ids.is_empty());
            let known = KNOWN.get_or_init(|| Knowledge::own().unwrap_or_else(|e| panic!("{e}")));
            if wrong_answer(known, &answers).is_none()
                && let Some(kept) = Kept::of(known, &mut answers.clone())
            {
                assert!(!kept.again(known).causes.is_empty());
            }
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
