//! WAV: bytes to samples and back [WV-10].
//!
//! Written by hand and not taken from a library, because the reader is fed bytes as they come: a pipe or a file that grows has no length,
//! and what a header says about lengths is not to be trusted.

use core::fmt;

/// Channels at most; more than any recorder has.
const MOST_CHANNELS: u16 = 64;
/// A longer chunk before the samples is a sign that this is no sound file.
const LONGEST_CHUNK: u32 = 16 << 20;
/// A length from here on was written by somebody who did not know it.
const UNKNOWN_LENGTH: u64 = 0x7FFF_0000;

/// How a sample is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SampleFormat {
    /// 8 bits without sign; 128 is zero.
    U8,
    /// 16 bits with sign.
    I16,
    /// 24 bits with sign.
    I24,
    /// 32 bits with sign.
    I32,
    /// 32 bits, floating.
    F32,
    /// 64 bits, floating.
    F64,
}

impl SampleFormat {
    /// Bytes of a sample.
    pub const fn bytes(self) -> usize {
        match self {
            SampleFormat::U8 => 1,
            SampleFormat::I16 => 2,
            SampleFormat::I24 => 3,
            SampleFormat::I32 | SampleFormat::F32 => 4,
            SampleFormat::F64 => 8,
        }
    }

    /// The least step, full scale being 1; `None` where a sample floats.
    pub const fn step(self) -> Option<f32> {
        match self {
            SampleFormat::U8 => Some(1.0 / 128.0),
            SampleFormat::I16 => Some(1.0 / 32_768.0),
            SampleFormat::I24 | SampleFormat::I32 => Some(1.0 / 8_388_608.0),
            SampleFormat::F32 | SampleFormat::F64 => None,
        }
    }

    const fn is_float(self) -> bool {
        matches!(self, SampleFormat::F32 | SampleFormat::F64)
    }

    /// The sample that begins `b`, full scale being 1.
    fn read(self, b: &[u8]) -> f32 {
        match (self, b) {
            (SampleFormat::U8, &[a, ..]) => (f32::from(a) - 128.0) / 128.0,
            (SampleFormat::I16, &[a, b, ..]) => f32::from(i16::from_le_bytes([a, b])) / 32_768.0,
            (SampleFormat::I24, &[a, b, c, ..]) => {
                (i32::from_le_bytes([0, a, b, c]) >> 8) as f32 / 8_388_608.0
            }
            (SampleFormat::I32, &[a, b, c, d, ..]) => {
                (f64::from(i32::from_le_bytes([a, b, c, d])) / 2_147_483_648.0) as f32
            }
            (SampleFormat::F32, &[a, b, c, d, ..]) => f32::from_le_bytes([a, b, c, d]),
            (SampleFormat::F64, &[a, b, c, d, e, f, g, h, ..]) => {
                f64::from_le_bytes([a, b, c, d, e, f, g, h]) as f32
            }
            _ => 0.0,
        }
    }

    fn write(self, sample: f32, out: &mut Vec<u8>) {
        let scaled = |full: f64| (f64::from(sample).clamp(-1.0, 1.0) * full).round().clamp(-full, full - 1.0);
        match self {
            SampleFormat::U8 => out.push((scaled(128.0) + 128.0) as u8),
            SampleFormat::I16 => out.extend((scaled(32_768.0) as i16).to_le_bytes()),
            SampleFormat::I24 => out.extend(&(scaled(8_388_608.0) as i32).to_le_bytes()[..3]),
            SampleFormat::I32 => out.extend((scaled(2_147_483_648.0) as i32).to_le_bytes()),
            SampleFormat::F32 => out.extend(sample.to_le_bytes()),
            SampleFormat::F64 => out.extend(f64::from(sample).to_le_bytes()),
        }
    }
}

/// What a WAV header says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WavSpec {
    /// Samples a second of each channel.
    pub rate_hz: u32,
    /// Channels.
    pub channels: u16,
    /// How a sample is stored.
    pub format: SampleFormat,
}

impl WavSpec {
    fn frame(self) -> usize {
        self.format.bytes() * usize::from(self.channels)
    }

    /// A header for so many samples of each channel; where that is not known yet, one that readers take to the end of the file. Floating formats have
    /// what a format that is not PCM must have: a longer format chunk, and a chunk that counts the samples.
    pub fn header(self, samples: Option<u64>) -> Vec<u8> {
        let float = self.format.is_float();
        let rest: u32 = if float { 50 } else { 36 };
        let frame = self.frame() as u32;
        let data = samples
            .and_then(|n| u32::try_from(n.checked_mul(u64::from(frame))?).ok())
            .filter(|n| *n < u32::MAX - rest)
            .unwrap_or(u32::MAX - rest);
        let mut h = Vec::with_capacity(58);
        h.extend(b"RIFF");
        h.extend((data + rest).to_le_bytes());
        h.extend(b"WAVEfmt ");
        h.extend((if float { 18u32 } else { 16 }).to_le_bytes());
        h.extend((if float { 3u16 } else { 1 }).to_le_bytes());
        h.extend(self.channels.to_le_bytes());
        h.extend(self.rate_hz.to_le_bytes());
        h.extend(self.rate_hz.saturating_mul(frame).to_le_bytes());
        h.extend((frame as u16).to_le_bytes());
        h.extend((self.format.bytes() as u16 * 8).to_le_bytes());
        if float {
            h.extend(0u16.to_le_bytes());
            h.extend(b"fact");
            h.extend(4u32.to_le_bytes());
            h.extend((data / frame.max(1)).to_le_bytes());
        }
        h.extend(b"data");
        h.extend(data.to_le_bytes());
        h
    }

    /// Appends samples of one channel as bytes; what is beyond full scale is cut off, except in floating formats.
    pub fn write(self, samples: &[f32], out: &mut Vec<u8>) {
        for s in samples {
            self.format.write(*s, out);
        }
    }
}

/// Why a file is no WAV that can be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WavError {
    /// Byte of the file where that shows.
    pub at: u64,
    /// What is wrong.
    pub what: String,
    /// How many channels there are, where one is wanted that is not among them.
    pub channels: Option<u16>,
}

impl fmt::Display for WavError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {}: {}", self.at, self.what)
    }
}

impl core::error::Error for WavError {}

/// Something about a file that was read all the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WavNote {
    /// The header promised so many samples of each channel, and there were only so many.
    Short {
        /// Promised.
        promised: u64,
        /// There.
        there: u64,
    },
    /// There were more samples than the header says; they were read.
    Longer {
        /// Promised.
        promised: u64,
    },
}

impl fmt::Display for WavNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            WavNote::Short { promised, there } => {
                write!(
                    f,
                    "its header promises {promised} samples and it holds {there}: the recording was cut off, or goes on"
                )
            }
            WavNote::Longer { promised } => {
                write!(
                    f,
                    "its header says {promised} samples, but it goes on: what follows was read as samples too"
                )
            }
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    /// The 12 bytes of the beginning.
    Riff,
    /// The 8 bytes that begin a chunk.
    Chunk,
    /// So many bytes of the format chunk.
    Format(u32),
    /// So many bytes of a chunk that is passed over.
    Skip(u64),
    /// So many bytes of samples are promised still; `None` to the end.
    Data(Option<u64>),
    /// The promised samples are over: what follows is looked at, 8 bytes.
    Behind,
}

/// Takes the bytes of a WAV as they come.
#[derive(Clone, Debug)]
pub struct WavReader {
    channel: u16,
    state: State,
    /// Bytes that are not enough for what comes next.
    held: Vec<u8>,
    at: u64,
    spec: Option<WavSpec>,
    promised: Option<u64>,
    samples: u64,
    longer: bool,
}

/// Chunks that are known to follow samples.
const BEHIND: &[&[u8; 4]] = &[
    b"LIST", b"id3 ", b"ID3 ", b"fact", b"cue ", b"smpl", b"inst", b"bext", b"iXML", b"PEAK", b"junk",
    b"JUNK", b"PAD ", b"FLLR", b"afsp", b"DISP", b"plst", b"note", b"labl", b"adtl", b"cart", b"acid",
    b"_PMX", b"SNDM", b"MD5 ", b"levl", b"axml", b"chna", b"ICMT",
];

impl WavReader {
    /// A reader of one channel, counted from 0.
    pub fn new(channel: u16) -> WavReader {
        WavReader {
            channel,
            state: State::Riff,
            held: Vec::new(),
            at: 0,
            spec: None,
            promised: None,
            samples: 0,
            longer: false,
        }
    }

    /// What the header says, once it was read.
    pub fn spec(&self) -> Option<WavSpec> {
        self.spec
    }

    /// Samples of the channel that were read.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Takes all of `bytes` and appends the samples of the channel.
    ///
    /// # Errors
    /// It is no WAV, or of a kind that is not read; nothing more can be read from it then.
    pub fn run(&mut self, bytes: &[u8], out: &mut Vec<f32>) -> Result<(), WavError> {
        let mut bytes = bytes;
        loop {
            let wanted = self.wanted();
            let enough = self.held.len() + bytes.len() >= wanted;
            match self.state {
                State::Skip(n) => {
                    let k = n.min(bytes.len() as u64);
                    bytes = &bytes[k as usize..];
                    self.at += k;
                    self.state = if k == n { State::Chunk } else { State::Skip(n - k) };
                    if k < n {
                        return Ok(());
                    }
                }
                State::Data(left) if self.held.is_empty() => {
                    // Whole frames straight from the input.
                    let frame = wanted;
                    let here = left.map_or(bytes.len() as u64, |l| l.min(bytes.len() as u64)) as usize;
                    let whole = here / frame * frame;
                    let offset = self.spec.map_or(0, |s| s.format.bytes() * usize::from(self.channel));
                    if let Some(spec) = self.spec {
                        out.extend(
                            bytes[..whole].chunks_exact(frame).map(|f| spec.format.read(&f[offset..])),
                        );
                    }
                    self.samples += (whole / frame) as u64;
                    self.at += whole as u64;
                    bytes = &bytes[whole..];
                    let left = left.map(|l| l - whole as u64);
                    self.state = State::Data(left);
                    match left {
                        // A length that is no whole number of frames ends with the last whole one.
                        Some(l) if l < frame as u64 => {
                            self.state = if l > 0 { State::Skip(l) } else { State::Behind };
                        }
                        _ => {
                            self.held.extend_from_slice(bytes);
                            return Ok(());
                        }
                    }
                }
                _ if !enough => {
                    self.held.extend_from_slice(bytes);
                    return Ok(());
                }
                _ => {
                    let more = wanted.saturating_sub(self.held.len());
                    self.held.extend_from_slice(&bytes[..more]);
                    bytes = &bytes[more..];
                    let part = core::mem::take(&mut self.held);
                    self.take(&part, out)?;
                }
            }
            if bytes.is_empty() && !matches!(self.state, State::Skip(0) | State::Data(Some(0))) {
                return Ok(());
            }
        }
    }

    /// The stream is over.
    ///
    /// # Errors
    /// It ended before there were samples.
    pub fn finish(&self) -> Result<Option<WavNote>, WavError> {
        let Some(spec) = self.spec else {
            return Err(self.error("it ends before its header does".into()));
        };
        if matches!(self.state, State::Chunk | State::Skip(_) | State::Format(_)) && self.samples == 0 {
            return Err(self.error("it has no samples: the chunk `data` is missing".into()));
        }
        let promised = self.promised.map(|bytes| bytes / spec.frame() as u64);
        Ok(match promised {
            Some(promised) if self.longer => Some(WavNote::Longer { promised }),
            Some(promised) if self.samples < promised => {
                Some(WavNote::Short { promised, there: self.samples })
            }
            _ => None,
        })
    }

    fn error(&self, what: String) -> WavError {
        WavError { at: self.at, what, channels: None }
    }

    fn wanted(&self) -> usize {
        match self.state {
            State::Riff => 12,
            State::Chunk | State::Behind => 8,
            State::Format(n) => n as usize,
            State::Skip(_) => 0,
            State::Data(_) => self.spec.map_or(1, WavSpec::frame),
        }
    }

    /// Works on a part that is complete.
    fn take(&mut self, part: &[u8], out: &mut Vec<f32>) -> Result<(), WavError> {
        match self.state {
            State::Riff => {
                if !(part.starts_with(b"RIFF") || part.starts_with(b"RF64"))
                    || part.get(8..12) != Some(b"WAVE")
                {
                    return Err(self.error("it does not begin like a WAV file (RIFF, WAVE)".into()));
                }
                self.state = State::Chunk;
            }
            State::Chunk => self.chunk(part)?,
            State::Format(_) => {
                self.spec = Some(self.format(part)?);
                self.state = State::Chunk;
            }
            State::Data(left) => {
                if let Some(spec) = self.spec {
                    out.push(spec.format.read(&part[spec.format.bytes() * usize::from(self.channel)..]));
                }
                self.samples += 1;
                self.state = State::Data(left.map(|l| l - part.len() as u64));
                if let State::Data(Some(0)) = self.state {
                    self.state = State::Behind;
                }
            }
            State::Behind => {
                let id: [u8; 4] = [part[0], part[1], part[2], part[3]];
                let size = u32::from_le_bytes([part[4], part[5], part[6], part[7]]);
                if BEHIND.iter().any(|b| **b == id) && u64::from(size) < UNKNOWN_LENGTH {
                    self.state = State::Skip(u64::from(size) + u64::from(size % 2));
                } else {
                    // No chunk: whoever wrote the header went on after it.
                    self.longer = true;
                    self.state = State::Data(None);
                    let part = part.to_vec();
                    return self.run(&part, out);
                }
            }
            State::Skip(_) => {}
        }
        self.at += part.len() as u64;
        Ok(())
    }

    fn chunk(&mut self, part: &[u8]) -> Result<(), WavError> {
        let id = &part[..4];
        let size = u32::from_le_bytes([part[4], part[5], part[6], part[7]]);
        let padded = u64::from(size) + u64::from(size % 2);
        match id {
            b"fmt " if self.spec.is_none() => {
                if !(16..=1024).contains(&size) {
                    return Err(self.error(format!("its format chunk has {size} bytes, which none has")));
                }
                self.state = State::Format(padded as u32);
            }
            b"data" => {
                let Some(spec) = self.spec else {
                    return Err(self.error("samples come before the chunk that says what they are".into()));
                };
                let open = size == 0 || u64::from(size) >= UNKNOWN_LENGTH;
                self.promised = (!open).then_some(u64::from(size));
                let frame = spec.frame() as u64;
                self.state = State::Data(self.promised);
                if self.promised.is_some_and(|p| p < frame) {
                    self.state = State::Skip(padded);
                }
            }
            _ if self.samples == 0 && size > LONGEST_CHUNK => {
                let name = String::from_utf8_lossy(id).escape_debug().to_string();
                return Err(
                    self.error(format!("a chunk \"{name}\" of {size} bytes stands before the samples"))
                );
            }
            _ => self.state = State::Skip(padded),
        }
        Ok(())
    }

    fn format(&self, b: &[u8]) -> Result<WavSpec, WavError> {
        let two = |at: usize| b.get(at..at + 2).map_or(0, |x| u16::from_le_bytes([x[0], x[1]]));
        let four = |at: usize| b.get(at..at + 4).map_or(0, |x| u32::from_le_bytes([x[0], x[1], x[2], x[3]]));
        let (mut tag, channels, rate_hz, frame, bits) = (two(0), two(2), four(4), two(12), two(14));
        if tag == 0xFFFE {
            tag = two(24);
        }
        let format = match (tag, bits) {
            (1, 8) => SampleFormat::U8,
            (1, 16) => SampleFormat::I16,
            (1, 24) => SampleFormat::I24,
            (1, 32) => SampleFormat::I32,
            (3, 32) => SampleFormat::F32,
            (3, 64) => SampleFormat::F64,
            (1 | 3, _) => {
                return Err(
                    self.error(format!("samples of {bits} bits are not read; 8, 16, 24, 32 and float are"))
                );
            }
            _ => {
                return Err(self.error(format!(
                    "its samples are compressed (format {tag}); save it as plain PCM, 16 bits"
                )));
            }
        };
        if channels == 0 || channels > MOST_CHANNELS {
            return Err(self.error(format!("it has {channels} channels; 1 to {MOST_CHANNELS} are read")));
        }
        let spec = WavSpec { rate_hz, channels, format };
        if usize::from(frame) != spec.frame() {
            return Err(self.error(format!(
                "its header contradicts itself: {channels} channels of {bits} bits are {} bytes, and it says {frame}",
                spec.frame()
            )));
        }
        if self.channel >= channels {
            let what = format!("channel {} is wanted, and it has {channels}", u32::from(self.channel) + 1);
            return Err(WavError { channels: Some(channels), ..self.error(what) });
        }
        Ok(spec)
    }
}

#[cfg(test)]
mod tests;
