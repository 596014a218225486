//! A recording, whatever its form, from bytes to what was heard in it.

use super::table::{TableError, TableOptions, TableReader};
use super::wav::{WavError, WavReader};
use super::{Demodulator, DemodulatorConfig, Heard, RateError};
use core::fmt;

/// Samples worked on at once.
const BLOCK: usize = 1 << 16;
/// Bytes by which the form is told.
const FORM_BYTES: usize = 12;

fn is_wav(start: &[u8]) -> bool {
    start.starts_with(b"RIFF") || start.starts_with(b"RF64")
}

/// The form of sound that bytes begin, where it is one that is not read; the marks are from memory.
fn other_sound(start: &[u8]) -> Option<&'static str> {
    let at = |from: usize, mark: &[u8]| start.get(from..from + mark.len()) == Some(mark);
    let forms: [(usize, &[u8], &str); 7] = [
        (4, b"ftyp", "an MPEG-4 sound file (m4a), as telephones record it"),
        (0, b"ID3", "an MP3 file"),
        (0, b"OggS", "an Ogg file"),
        (0, b"fLaC", "a FLAC file"),
        (0, b"#!AMR", "an AMR file"),
        (0, b"caff", "a CAF file"),
        (0, b"FORM", "an AIFF file"),
    ];
    forms.into_iter().find(|(from, mark, _)| at(*from, mark)).map(|f| f.2)
}

/// What the user knows of a recording.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RecordingOptions {
    /// Channel, from 0.
    pub channel: u16,
    /// Samples a second, for a table without times.
    pub rate_hz: Option<f64>,
    /// Volts that full scale of a sound file stands for, or one unit of a table whose unit is no volt.
    pub full_scale_v: Option<f64>,
}

/// Why a recording cannot be read.
#[derive(Clone, Debug, PartialEq)]
pub enum RecordingError {
    /// As a sound file.
    Wav(WavError),
    /// As a table.
    Table(TableError),
    /// Its rate of samples holds no tones.
    Rate(RateError),
    /// It is sound in a form that is not read.
    Form(&'static str),
}

impl fmt::Display for RecordingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RecordingError::Wav(e) => e.fmt(f),
            RecordingError::Table(e) => e.fmt(f),
            RecordingError::Rate(e) => e.fmt(f),
            RecordingError::Form(form) => write!(f, "it is {form}, and only WAV is read"),
        }
    }
}

impl core::error::Error for RecordingError {}

#[derive(Clone, Debug)]
enum Form {
    /// Too little is known.
    Unknown(Vec<u8>),
    Wav(WavReader),
    Table(Box<TableReader>),
}

/// What a recording turned out to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecordingSpec {
    /// Samples a second.
    pub rate_hz: f64,
    /// Channels there are.
    pub channels: usize,
    /// Volts of an amplitude of 1; `None` where nobody said.
    pub volts: Option<f64>,
}

/// Takes the bytes of a recording as they come; memory does not grow with its length.
#[derive(Clone, Debug)]
pub struct Recording {
    options: RecordingOptions,
    form: Form,
    spec: Option<RecordingSpec>,
    demodulator: Option<Demodulator>,
    samples: Vec<f32>,
    taken: u64,
}

impl Recording {
    /// With nothing read.
    pub fn new(options: RecordingOptions) -> Recording {
        Recording {
            options,
            form: Form::Unknown(Vec::new()),
            spec: None,
            demodulator: None,
            samples: Vec::new(),
            taken: 0,
        }
    }

    /// What it is, once that is known. Amplitudes of what is heard are volts where it says how many volts an amplitude of 1 is.
    pub fn spec(&self) -> Option<RecordingSpec> {
        self.spec
    }

    /// How far it has been read, s.
    pub fn seconds(&self) -> f64 {
        self.spec.map_or(0.0, |s| self.taken as f64 / s.rate_hz)
    }

    /// Takes all of `bytes`, appends what was heard, and hands every piece of samples to `see`, in volts where they are known.
    ///
    /// # Errors
    /// It cannot be read; nothing more can then.
    pub fn run(
        &mut self,
        bytes: &[u8],
        heard: &mut Vec<Heard>,
        see: &mut dyn FnMut(RecordingSpec, &[f32]),
    ) -> Result<(), RecordingError> {
        if let Form::Unknown(held) = &mut self.form {
            held.extend_from_slice(bytes);
            if held.len() < FORM_BYTES {
                return Ok(());
            }
            let held = core::mem::take(held);
            self.form = self.form_of(&held)?;
            return self.run(&held, heard, see);
        }
        for part in bytes.chunks(BLOCK) {
            match &mut self.form {
                Form::Wav(r) => r.run(part, &mut self.samples).map_err(RecordingError::Wav)?,
                Form::Table(r) => r.run(part, &mut self.samples).map_err(RecordingError::Table)?,
                Form::Unknown(_) => {}
            }
            self.listen(heard, see)?;
        }
        Ok(())
    }

    /// It is over: appends what is still to be told, and says what was not as it should be.
    ///
    /// # Errors
    /// It was no recording, or one without samples.
    pub fn finish(
        &mut self,
        heard: &mut Vec<Heard>,
        see: &mut dyn FnMut(RecordingSpec, &[f32]),
    ) -> Result<Option<String>, RecordingError> {
        if let Form::Unknown(held) = &mut self.form {
            let held = core::mem::take(held);
            if held.is_empty() {
                let what = "it is empty".into();
                return Err(RecordingError::Table(TableError { line: 1, what, needs_rate: false }));
            }
            self.form = self.form_of(&held)?;
            self.run(&held, heard, see)?;
        }
        let mut note = match &mut self.form {
            Form::Wav(r) => r.finish().map_err(RecordingError::Wav)?.map(|n| n.to_string()),
            Form::Table(r) => {
                let notes = r.finish(&mut self.samples).map_err(RecordingError::Table)?;
                Some(notes.to_string()).filter(|n| !n.is_empty())
            }
            Form::Unknown(_) => None,
        };
        self.listen(heard, see)?;
        if let Some(d) = &mut self.demodulator {
            let mut some = [Heard::default(); 16];
            loop {
                let n = d.finish(&mut some);
                if n == 0 {
                    break;
                }
                heard.extend_from_slice(&some[..n]);
            }
        }
        if self.options.full_scale_v.is_some() && self.is_in_volts() {
            let more = "its header says which volts it is in, so the scale that was given is not used";
            note = Some(note.map_or(more.into(), |n| format!("{n}; {more}")));
        }
        Ok(note)
    }

    /// Whether it is a table whose header names volts.
    fn is_in_volts(&self) -> bool {
        matches!(&self.form, Form::Table(r) if r.spec().is_some_and(|s| s.volts.is_some() && s.unit.is_some()))
    }

    /// Whether bytes begin sound, in a form that is read or in one that is not.
    pub fn is_sound(start: &[u8]) -> bool {
        is_wav(start) || other_sound(start).is_some()
    }

    fn form_of(&self, start: &[u8]) -> Result<Form, RecordingError> {
        if is_wav(start) {
            return Ok(Form::Wav(WavReader::new(self.options.channel)));
        }
        if let Some(form) = other_sound(start) {
            return Err(RecordingError::Form(form));
        }
        let options = TableOptions { channel: self.options.channel.into(), rate_hz: self.options.rate_hz };
        Ok(Form::Table(Box::new(TableReader::new(options))))
    }

    fn listen(
        &mut self,
        heard: &mut Vec<Heard>,
        see: &mut dyn FnMut(RecordingSpec, &[f32]),
    ) -> Result<(), RecordingError> {
        if self.samples.is_empty() {
            return Ok(());
        }
        if self.spec.is_none() {
            self.spec = match &self.form {
                Form::Wav(r) => r.spec().map(|s| RecordingSpec {
                    rate_hz: s.rate_hz.into(),
                    channels: s.channels.into(),
                    volts: self.options.full_scale_v,
                }),
                Form::Table(r) => r.spec().map(|s| RecordingSpec {
                    rate_hz: s.rate_hz,
                    channels: s.channels,
                    // Volts that the header names are volts; else whoever gives a scale knows.
                    volts: match s.unit {
                        Some(_) if s.volts.is_some() => Some(1.0),
                        _ => self.options.full_scale_v.or(s.volts),
                    },
                }),
                Form::Unknown(_) => None,
            };
        }
        let Some(spec) = self.spec else { return Ok(()) };
        if let Some(volts) = spec.volts.filter(|v| *v != 1.0) {
            for s in &mut self.samples {
                *s *= volts as f32;
            }
        }
        let d = match &mut self.demodulator {
            Some(d) => d,
            none => {
                let config = match spec.volts {
                    Some(_) => DemodulatorConfig::volts(spec.rate_hz),
                    None => DemodulatorConfig::full_scale(spec.rate_hz),
                };
                none.insert(Demodulator::new(config).map_err(RecordingError::Rate)?)
            }
        };
        see(spec, &self.samples);
        let mut rest = &self.samples[..];
        let mut some = [Heard::default(); 64];
        while !rest.is_empty() {
            let p = d.run(rest, &mut some);
            heard.extend_from_slice(&some[..p.produced]);
            rest = &rest[p.consumed..];
        }
        self.taken += self.samples.len() as u64;
        self.samples.clear();
        Ok(())
    }
}
