//! A recording, whatever its form, from bytes to what was heard in it.

use super::extremes::Extremes;
use super::table::{TableError, TableOptions, TableReader};
use super::wav::{WavError, WavReader};
use super::{Demodulator, DemodulatorConfig, Heard, RateError};
use core::fmt;

/// More than any loop carries, peak to peak [WV-27].
pub const MOST_ON_A_LOOP_V: f64 = 30.0;
/// Samples worked on at once.
const BLOCK: usize = 1 << 16;
/// So many pairs of samples at full scale are more than a tone that just reaches it has.
const CUT_OFF: u64 = 20;
/// Bytes by which the form is told.
const FORM_BYTES: usize = 12;

/// The strongest tone of the transmissions that ended, and of those before.
fn loudest(before: f64, heard: &[Heard]) -> f64 {
    let of = |h: &Heard| if let Heard::End(b) = h { b.mark.max(b.space) } else { 0.0 };
    heard.iter().map(of).fold(before, f64::max)
}

fn is_wav(start: &[u8]) -> bool {
    start.starts_with(b"RIFF") || start.starts_with(b"RF64")
}

/// A table as some programs save it.
const UTF16: &str = "text in UTF-16";

/// The form of sound that bytes begin, where it is one that is not read; the marks are from memory.
fn other_sound(start: &[u8]) -> Option<&'static str> {
    let at = |from: usize, mark: &[u8]| start.get(from..from + mark.len()) == Some(mark);
    let forms: [(usize, &[u8], &str); 10] = [
        (4, b"ftyp", "an MPEG-4 sound file (m4a), as telephones record it"),
        (0, b"ID3", "an MP3 file"),
        (0, b"OggS", "an Ogg file"),
        (0, b"fLaC", "a FLAC file"),
        (0, b"#!AMR", "an AMR file"),
        (0, b"caff", "a CAF file"),
        (0, b"FORM", "an AIFF file"),
        (0, b"RIFX", "a WAV file with its bytes the other way round (RIFX)"),
        (0, b"riff", "a Wave64 file"),
        (0, b".snd", "an AU file"),
    ];
    // Without a letter behind them these two octets may come from a wire.
    if at(0, b"\xFF\xFE") && start.get(3) == Some(&0) && start.get(2).is_some_and(|b| *b != 0) {
        return Some(UTF16);
    }
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
    /// None of its samples, so many, is a number that a voltage can be.
    NoNumbers(u64),
}

impl fmt::Display for RecordingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RecordingError::Wav(e) => e.fmt(f),
            RecordingError::Table(e) => e.fmt(f),
            RecordingError::Rate(e) => e.fmt(f),
            RecordingError::NoNumbers(n) => {
                write!(f, "none of its {n} samples is a number, or one below 1e9")
            }
            RecordingError::Form(form) => {
                write!(f, "it is {form}, and only WAV and plain text (UTF-8) are read")
            }
        }
    }
}

impl RecordingError {
    /// How many channels there are, where one was wanted that is not among them.
    pub fn channels(&self) -> Option<usize> {
        match self {
            RecordingError::Wav(e) => e.channels.map(usize::from),
            RecordingError::Table(e) => e.channels,
            _ => None,
        }
    }

    /// Whether it is a table that only has to be saved as plain text.
    pub fn is_text(&self) -> bool {
        matches!(self, RecordingError::Form(UTF16))
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
    /// Samples that are no numbers, or none that a voltage can be.
    no_numbers: u64,
    /// Samples at full scale beside another that is there too.
    at_full_scale: u64,
    /// The sample before; 0 at the beginning.
    last_sample: f32,
    /// The strongest tone of a transmission, half of peak to peak.
    loudest: f64,
    /// How high and how low they go; known with the form.
    extremes: Option<Extremes>,
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
            no_numbers: 0,
            at_full_scale: 0,
            last_sample: 0.0,
            loudest: 0.0,
            extremes: None,
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
                return Err(RecordingError::Table(TableError {
                    line: 1,
                    what,
                    needs_rate: false,
                    channels: None,
                }));
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
            let begun = heard.len();
            let mut some = [Heard::default(); 16];
            loop {
                let n = d.finish(&mut some);
                if n == 0 {
                    break;
                }
                heard.extend_from_slice(&some[..n]);
            }
            self.loudest = loudest(self.loudest, &heard[begun..]);
        }
        if self.taken > 0 && self.no_numbers == self.taken {
            return Err(RecordingError::NoNumbers(self.taken));
        }
        let mut add =
            |more: String| note = Some(note.take().map_or(more.clone(), |n| format!("{n}; {more}")));
        if self.options.full_scale_v.is_some() && self.is_in_volts() {
            add("its header says which volts it is in, so the scale that was given is not used".into());
        }
        if self.options.rate_hz.is_some() && matches!(self.form, Form::Wav(_)) {
            add("a sound file says its rate itself, so the one that was given is not used".into());
        }
        if self.no_numbers > 0 {
            add(format!(
                "{} of {} samples are no numbers below 1e9 and were taken for 0 or 1e9",
                self.no_numbers, self.taken
            ));
        }
        let peak_to_peak_v = 2.0 * self.loudest;
        if self.options.full_scale_v.is_some() && peak_to_peak_v > MOST_ON_A_LOOP_V {
            add(format!(
                "by its scale the signal has {peak_to_peak_v:.0} V peak to peak, and no loop carries {MOST_ON_A_LOOP_V}: is the scale right? --full-scale (`volts=` of a line) is the volts that the highest sample of a sound file stands for (0.5 where the recorder takes 500 mV), of a table without volts those of one unit"
            ));
        }
        let where_cut = match self.at_full_scale {
            CUT_OFF.. => Some((self.at_full_scale, "at full scale")),
            _ if self.flat() >= CUT_OFF => Some((self.flat(), "at one level, the highest or the lowest")),
            _ => None,
        };
        if let Some((samples, place)) = where_cut {
            add(format!(
                "{samples} samples stand {place}: the recording is cut off there, and its levels are not known; turn the input down and record again"
            ));
        }
        Ok(note)
    }

    /// Whether the recorder was driven beyond what it takes, so that levels mean nothing: samples stand one beside the other at full scale [WV-18], or at
    /// one level anywhere else that none goes beyond [WV-22].
    pub fn is_cut_off(&self) -> bool {
        self.at_full_scale >= CUT_OFF || self.flat() >= CUT_OFF
    }

    /// Whether the recorder heard nothing at all, not even noise [WV-21].
    pub fn is_still(&self) -> bool {
        self.extremes.is_none_or(|e| e.is_still())
    }

    fn flat(&self) -> u64 {
        self.extremes.map_or(0, |e| e.flat())
    }

    /// Counts what is no sample of a wave [WV-18] [WV-22].
    fn inspect(&mut self) {
        self.no_numbers += self.samples.iter().filter(|s| s.is_nan() || s.abs() > 1e9).count() as u64;
        let step = match &self.form {
            Form::Wav(r) => r.spec().and_then(|s| s.format.step()),
            _ => None,
        };
        self.extremes.get_or_insert_with(|| Extremes::new(step)).see(&self.samples);
        if let Some(step) = step {
            let most = 1.0 - step * 1.5;
            // A pair may lie in two reads.
            for &sample in &self.samples {
                let is_pair = sample.abs() > most
                    && self.last_sample.abs() > most
                    && (sample > 0.0) == (self.last_sample > 0.0);
                self.at_full_scale += u64::from(is_pair);
                self.last_sample = sample;
            }
        }
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
        self.inspect();
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
        let begun = heard.len();
        let mut rest = &self.samples[..];
        let mut some = [Heard::default(); 64];
        while !rest.is_empty() {
            let p = d.run(rest, &mut some);
            heard.extend_from_slice(&some[..p.produced]);
            rest = &rest[p.consumed..];
        }
        self.loudest = loudest(self.loudest, &heard[begun..]);
        self.taken += self.samples.len() as u64;
        self.samples.clear();
        Ok(())
    }
}
