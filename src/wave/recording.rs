//! A recording, whatever its form, from bytes to what was heard in it.

use super::table::{TableError, TableOptions, TableReader};
use super::wav::{WavError, WavReader};
use super::{Demodulator, DemodulatorConfig, Heard, RateError};
use core::fmt;

/// Samples worked on at once.
const BLOCK: usize = 1 << 16;
/// From this amplitude on a tone counts where a recording tells volts: 10 mV peak to peak, below what a receiver must ignore, so that a weak
/// signal can be read and reported as such [WV-03].
const LEAST_V: f64 = 0.005;

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
}

impl fmt::Display for RecordingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RecordingError::Wav(e) => e.fmt(f),
            RecordingError::Table(e) => e.fmt(f),
            RecordingError::Rate(e) => e.fmt(f),
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
            if held.len() < 4 {
                return Ok(());
            }
            let held = core::mem::take(held);
            self.form = if held.starts_with(b"RIFF") || held.starts_with(b"RF64") {
                Form::Wav(WavReader::new(self.options.channel))
            } else {
                let options =
                    TableOptions { channel: self.options.channel.into(), rate_hz: self.options.rate_hz };
                Form::Table(Box::new(TableReader::new(options)))
            };
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
        let note = match &mut self.form {
            Form::Wav(r) => r.finish().map_err(RecordingError::Wav)?.map(|n| n.to_string()),
            Form::Table(r) => {
                let notes = r.finish(&mut self.samples).map_err(RecordingError::Table)?;
                Some(notes.to_string()).filter(|n| !n.is_empty())
            }
            Form::Unknown(_) => {
                return Err(RecordingError::Table(TableError { line: 1, what: "it is empty".into() }));
            }
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
        Ok(note)
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
                    volts: s.volts.map(|_| 1.0).or(self.options.full_scale_v),
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
                let mut config = DemodulatorConfig::full_scale(spec.rate_hz);
                if spec.volts.is_some() {
                    config.least_amplitude = LEAST_V;
                }
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
