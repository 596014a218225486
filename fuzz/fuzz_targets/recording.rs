//! Any bytes as a recording, WAV or table [WV-10] [WV-11]: read or refused with a place, never a panic; how they are cut into reads changes
//! nothing. The first byte is the cut, the second the channel.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::wave::table::looks_like_table;
use looprig::wave::{Heard, Recording, RecordingOptions};

/// A table of two rows may stand for hours: so many samples are enough.
const MOST: usize = 1 << 20;

fn read(bytes: &[u8], part: usize, channel: u16) -> Option<(String, String)> {
    let mut r = Recording::new(RecordingOptions { channel, rate_hz: Some(9600.0), full_scale_v: None });
    let mut heard: Vec<Heard> = Vec::new();
    let mut seen = 0;
    let mut failed = None;
    for p in bytes.chunks(part) {
        if let Err(e) = r.run(p, &mut heard, &mut |_, s| seen += s.len()) {
            failed = Some(e);
            break;
        }
        if seen > MOST {
            return None;
        }
    }
    let ended = match failed {
        Some(e) => Err(e),
        None => r.finish(&mut heard, &mut |_, s| seen += s.len()),
    };
    if let Err(e) = &ended {
        assert!(!e.to_string().is_empty());
    }
    // What was handed out before a failure may depend on the cut; what it is may not.
    let all = if ended.is_ok() { format!("{heard:?} {seen} {:?}", r.spec()) } else { String::new() };
    Some((format!("{ended:?}"), all))
}

fuzz_target!(|bytes: &[u8]| {
    let Some((&[cut, channel], rest)) = bytes.split_first_chunk::<2>() else { return };
    if let Ok(text) = core::str::from_utf8(rest) {
        looks_like_table(text);
    }
    let channel = u16::from(channel % 4);
    let whole = read(rest, rest.len().max(1), channel);
    let cut = read(rest, usize::from(cut) + 1, channel);
    if let (Some(whole), Some(cut)) = (whole, cut) {
        assert_eq!(whole, cut);
    }
});
