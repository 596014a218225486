//! Recordings of the tones: read to the end, with what was heard in them.

use super::output::Failure;
use crate::capture::{ContentKind, io_words, parse_hex_line, recognise};
use crate::wave::table::{holds_numbers, looks_like_table};
use crate::wave::{Heard, Recording, RecordingError, RecordingOptions, RecordingSpec};
use std::io::{BufRead, ErrorKind};

/// Takes what was heard, and whether its amplitudes are volts.
pub type Listener<'a> = &'a mut dyn FnMut(&[Heard], bool) -> Result<(), Failure>;

/// Whether bytes begin a recording: sound, or a table of numbers.
pub fn is_recording(start: &[u8]) -> bool {
    match recognise(start) {
        ContentKind::Sound => true,
        ContentKind::Hex => {
            let valid = core::str::from_utf8(start).map_or_else(|e| e.valid_up_to(), str::len);
            core::str::from_utf8(&start[..valid])
                .is_ok_and(|text| looks_like_table(text) || holds_numbers(text) && !has_hex(text))
        }
        // Sound in forms that are not read is refused with better words than octets would get. Text that is no UTF-8 may be a table whose header
        // writes its mu or its degrees in another way.
        ContentKind::Octets => {
            Recording::is_sound(start) || {
                let control = |b: &u8| *b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r');
                !start.iter().any(control) && looks_like_table(&String::from_utf8_lossy(start))
            }
        }
        _ => false,
    }
}

/// Lines that are looked at for hex text.
const MOST_LOOKED_AT: usize = 50;

/// Whether one of the first lines is octets in hex digits. Two octets without a letter may be a number as well, where many such lines stand together.
fn has_hex(text: &str) -> bool {
    let many = text.lines().count() > MOST_LOOKED_AT;
    text.lines().take(MOST_LOOKED_AT).any(|l| {
        let letters = l.contains(|c: char| c.is_ascii_alphabetic());
        parse_hex_line(l).is_ok_and(|octets| octets.len() > 2 || !octets.is_empty() && (letters || !many))
    })
}

/// Reads a recording to its end and hands on what is heard, piece by piece. Gives what was not as it should be.
///
/// # Errors
/// It cannot be read, or whoever is handed something fails.
pub fn read_recording(
    name: &str,
    input: &mut impl BufRead,
    options: RecordingOptions,
    each: Listener<'_>,
) -> Result<Vec<String>, Failure> {
    let mut recording = Recording::new(options);
    read_samples(name, input, &mut recording, each, &mut |_, _| {})
}

/// The same, with the samples handed on as well.
///
/// # Errors
/// As [`read_recording`].
pub fn read_samples(
    name: &str,
    input: &mut impl BufRead,
    recording: &mut Recording,
    each: Listener<'_>,
    see: &mut dyn FnMut(RecordingSpec, &[f32]),
) -> Result<Vec<String>, Failure> {
    let doing = || format!("reading {name}");
    let mut heard = Vec::new();
    let refused = |e: RecordingError| Failure::new(doing(), e.to_string(), next_for(&e, name));
    let mut pass_on = |heard: &mut Vec<Heard>, volts: bool| {
        let passed = each(heard, volts);
        heard.clear();
        passed
    };
    loop {
        let part = input.fill_buf().map_err(|e| {
            let next = match e.kind() {
                ErrorKind::IsADirectory => "name a file in that directory",
                _ => "see whether the disk or the connection that it comes from still works",
            };
            Failure::new(doing(), io_words(&e), next)
        })?;
        if part.is_empty() {
            break;
        }
        let n = part.len();
        recording.run(part, &mut heard, see).map_err(refused)?;
        input.consume(n);
        pass_on(&mut heard, recording.spec().is_some_and(|s| s.volts.is_some()))?;
    }
    let note = recording.finish(&mut heard, see).map_err(refused)?;
    pass_on(&mut heard, recording.spec().is_some_and(|s| s.volts.is_some()))?;
    Ok(note.into_iter().collect())
}

/// What to do about a recording that is refused.
fn next_for(e: &RecordingError, name: &str) -> String {
    // Standard input has another name for whoever types it.
    let name = if name == "standard input" { "-" } else { name };
    match e {
        _ if e.is_text() => "save it as plain text (UTF-8), or as CSV".into(),
        RecordingError::NoNumbers(_) => {
            "look at how it was stored: float samples that are no numbers come from a converter or a recorder that failed; record again as WAV, 16 bits".into()
        }
        _ if let Some(there) = e.channels() => match there {
            1 => "there is one channel: leave --channel (`channel=` of a line) out".into(),
            n => format!("give --channel 1 to {n} (`channel=` of a line)"),
        },
        RecordingError::Table(t) if t.needs_rate => format!(
            "`looprig wave read {name} --rate HZ`, `looprig decode {name} --rate HZ` or `looprig listen 'wav:{name}?rate=HZ'`, with the samples a second in place of HZ"
        ),
        RecordingError::Form(_) => "convert it into WAV, 16 bits, such as `sox FILE out.wav` or `ffmpeg -i FILE out.wav` do; better record as WAV, for what such forms leave out may be the tones".into(),
        _ => "record as WAV, 16 bits, 8000 samples a second or more, or export time and volts as a table".into(),
    }
}
