//! Recordings of the tones: read to the end, with what was heard in them.

use super::output::Failure;
use crate::capture::{ContentKind, io_words, recognise};
use crate::wave::table::looks_like_table;
use crate::wave::{Heard, Recording, RecordingOptions, RecordingSpec};
use std::io::BufRead;

/// Whether bytes begin a recording: sound, or a table of numbers.
pub fn is_recording(start: &[u8]) -> bool {
    match recognise(start) {
        ContentKind::Sound => true,
        ContentKind::Hex => {
            let valid = core::str::from_utf8(start).map_or_else(|e| e.valid_up_to(), str::len);
            core::str::from_utf8(&start[..valid]).is_ok_and(looks_like_table)
        }
        _ => start.starts_with(b"RF64"),
    }
}

/// Reads a recording to its end and hands on what is heard, piece by piece. Gives what was not as it should be.
///
/// # Errors
/// It cannot be read, or whoever is handed something fails.
pub fn read_recording(
    name: &str,
    input: &mut impl BufRead,
    options: RecordingOptions,
    each: &mut dyn FnMut(&[Heard]) -> Result<(), Failure>,
) -> Result<Vec<String>, Failure> {
    let mut recording = Recording::new(options);
    let notes = read_samples(name, input, &mut recording, each, &mut |_, _| {})?;
    Ok(notes)
}

/// The same, with the samples handed on as well.
///
/// # Errors
/// As [`read_recording`].
pub fn read_samples(
    name: &str,
    input: &mut impl BufRead,
    recording: &mut Recording,
    each: &mut dyn FnMut(&[Heard]) -> Result<(), Failure>,
    see: &mut dyn FnMut(RecordingSpec, &[f32]),
) -> Result<Vec<String>, Failure> {
    let doing = || format!("reading {name}");
    let next = "record as WAV, 16 bits, 8000 samples a second or more, or export time and volts as a table";
    let mut heard = Vec::new();
    let mut collisions: Vec<crate::time::Instant> = Vec::new();
    let mut pass_on = |heard: &mut Vec<Heard>| {
        for h in heard.iter() {
            if let Heard::Collision(from, _) = h {
                collisions.push(*from);
            }
        }
        let passed = each(heard);
        heard.clear();
        passed
    };
    loop {
        let part = input.fill_buf().map_err(|e| {
            Failure::new(
                doing(),
                io_words(&e),
                "see whether the disk or the connection that it comes from still works",
            )
        })?;
        if part.is_empty() {
            break;
        }
        let n = part.len();
        recording.run(part, &mut heard, see).map_err(|e| Failure::new(doing(), e.to_string(), next))?;
        input.consume(n);
        pass_on(&mut heard)?;
    }
    let note = recording.finish(&mut heard, see).map_err(|e| Failure::new(doing(), e.to_string(), next))?;
    pass_on(&mut heard)?;
    let mut notes: Vec<String> = note.into_iter().collect();
    if let Some(first) = collisions.first() {
        let times = if collisions.len() == 1 { "once".into() } else { format!("{} times", collisions.len()) };
        notes.push(format!("two talked at once {times}, first at {first} s"));
    }
    Ok(notes)
}
