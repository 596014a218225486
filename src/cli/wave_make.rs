//! `looprig wave make`: octets to a WAV file, through a loop if wanted.

use super::files::{self, exists, is_no_input, is_special};
use super::output::{Ended, Failure, Output, say, tell};
use super::wave_args::{BitsArg, MakeArgs};
use super::wave_loop::Path as LoopPath;
use super::wave_said::{EDGE, SaidItem, Source, Who, counted, ends};
use crate::report::Format;
use crate::report::text::plural;
use crate::time::Instant;
use crate::wave::wav::{SampleFormat, WavSpec};
use crate::wave::{Fir, MUST_IGNORE_V, Modulator, Talker, Transmission};
use crate::wiring::Noise;
use core::f64::consts::PI;
use core::fmt::Write as _;
use core::time::Duration;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

/// Samples made at once.
const BLOCK: usize = 4096;
/// Bytes of samples that a WAV file can hold, less than the 4 GiB that its header can count.
const MOST_BYTES: u64 = 4_000_000_000;
/// From so many on the size is told before it is written.
const TOLD_BYTES: u64 = 10_000_000;

/// What a file holds in all, from reading it once.
struct Totals {
    /// How many transmissions of how many characters that have to be right each kind of talker makes.
    lengths: BTreeMap<(Who, u32), u64>,
    end: Instant,
}

impl Totals {
    fn of(said: impl Iterator<Item = SaidItem>) -> Result<Totals, Failure> {
        let mut totals = Totals { lengths: BTreeMap::new(), end: Instant::ZERO };
        for item in said {
            let (who, t) = item?;
            *totals.lengths.entry((who, counted(&t))).or_default() += 1;
            totals.end = totals.end.max(ends(&t));
        }
        Ok(totals)
    }

    fn count(&self) -> usize {
        self.lengths.values().sum::<u64>() as usize
    }
}

/// Makes the file.
pub fn run(args: &MakeArgs, out: &mut Output) -> Result<Ended, Failure> {
    let bits = |n: f64| Duration::from_secs_f64(n / 1200.0);
    let amplitude = args.level.unwrap_or(0.5) / 2.0;
    let talker = Talker {
        tones: 1.0 + args.tones / 100.0,
        rate: 1.0 + args.bit_rate / 100.0,
        lead: bits(args.lead),
        tail: bits(args.tail),
        ..Talker::of(amplitude)
    };
    let source = Source::open(&args.input)?;
    let longest = args.longest_pause.map(Duration::from_secs_f64);
    let mut first = source.said(talker, longest)?;
    let totals = Totals::of(&mut first)?;
    first.tell_notes();
    drop(first);
    if totals.count() == 0 {
        let next = "give a looprig log, or octets as hex text such as `FF FF FF FF FF 02 80 00 00 82`";
        return Err(Failure::new(format!("reading {}", args.input.display()), "it holds no octets", next));
    }
    let path = match &args.through {
        Some(sheet) => Some(LoopPath::read(sheet, args.device.as_deref(), &args.at)?),
        None => None,
    };
    let rate_hz = f64::from(args.rate);
    let noise = args.noise.map(Noise::in_usual_band).or(path.as_ref().and_then(LoopPath::noise));
    let said = source.said(talker, longest)?;
    let mut mixer = Mixer::new(Box::new(said), totals.end, talker, path.as_ref(), noise, rate_hz, args.seed)?;
    let samples = mixer.left;
    let format = match args.bits {
        BitsArg::B8 => SampleFormat::U8,
        BitsArg::B16 => SampleFormat::I16,
        BitsArg::B24 => SampleFormat::I24,
        BitsArg::B32 => SampleFormat::I32,
        BitsArg::Float => SampleFormat::F32,
    };
    let spec = WavSpec { rate_hz: args.rate, channels: 1, format };
    say_size(samples, spec, out.quiet)?;
    let to_stdout = args.out == Path::new("-");
    let doing = format!("writing {}", args.out.display());
    is_no_input(&args.out, [args.input.as_path()], &doing)?;
    if !to_stdout && !args.force && args.out.exists() && !is_special(&args.out) {
        return Err(exists(&doing));
    }
    let failed = |e: &io::Error| files::failed(&doing, e);
    let mut file: BufWriter<Box<dyn Write>> = BufWriter::new(if to_stdout {
        Box::new(io::stdout())
    } else {
        Box::new(File::create(&args.out).map_err(|e| failed(&e))?)
    });
    file.write_all(&spec.header(Some(samples))).map_err(|e| failed(&e))?;
    let (mut bytes, mut clipped, mut part) = (Vec::new(), 0u64, Vec::new());
    while mixer.next(&mut part)? {
        for s in &mut part {
            *s /= args.full_scale as f32;
            clipped += u64::from(s.abs() > 1.0);
        }
        bytes.clear();
        spec.write(&part, &mut bytes);
        file.write_all(&bytes).map_err(|e| failed(&e))?;
    }
    file.flush().map_err(|e| failed(&e))?;
    if clipped > 0 && format != SampleFormat::F32 {
        let more = plural(clipped as usize, "sample");
        tell(&format!(
            "{more} did not fit into {} V and were cut off: give a larger --full-scale",
            args.full_scale
        ));
    }
    if !to_stdout {
        told(args, &totals, samples as f64 / rate_hz, path.as_ref(), noise, out);
    }
    Ok(Ended::Fine)
}

/// Says how large a long file will be, before it is written.
fn say_size(samples: u64, spec: WavSpec, quiet: bool) -> Result<(), Failure> {
    let bytes = samples.saturating_mul(spec.format.bytes() as u64);
    let seconds = samples as f64 / f64::from(spec.rate_hz);
    if bytes > MOST_BYTES {
        return Err(Failure::new(
            "making the wave",
            format!(
                "{seconds:.0} s at {} samples a second are {:.1} GB, and a WAV file holds 4",
                spec.rate_hz,
                bytes as f64 / 1e9
            ),
            "give --longest-pause 1, --rate 8000 or --bits 8, or a part of the log",
        ));
    }
    if bytes >= TOLD_BYTES && !quiet {
        say(&format!("Writing {:.0} MB, {seconds:.0} s of sound.", bytes as f64 / 1e6));
    }
    Ok(())
}

/// Says what was made, and what is to be expected of it.
fn told(
    args: &MakeArgs,
    totals: &Totals,
    seconds: f64,
    path: Option<&LoopPath>,
    noise: Option<Noise>,
    out: &mut Output,
) {
    let mut expected = 0.0;
    let mut rows = Vec::new();
    for (who, name) in [(Who::Master, "master"), (Who::Device, "device")] {
        let lengths: Vec<(u32, u64)> =
            totals.lengths.iter().filter(|(of, _)| of.0 == who).map(|(of, n)| (of.1, *n)).collect();
        if lengths.is_empty() {
            continue;
        }
        let level = args.level.unwrap_or(0.5);
        let reception = path.map_or(crate::wiring::Reception { levels_v: [level; 2], noise }, |p| {
            crate::wiring::Reception { noise, ..p.reception(who) }
        });
        let count = lengths.iter().map(|l| l.1).sum::<u64>() as usize;
        let unheard = reception.levels_v[0].min(reception.levels_v[1]) < MUST_IGNORE_V;
        let damaged: f64 = match unheard {
            true => count as f64,
            false => lengths.iter().map(|(length, n)| reception.damaged_share(*length) * *n as f64).sum(),
        };
        expected += damaged;
        rows.push((name, count, reception, damaged, unheard));
    }
    let frames = totals.count();
    if out.options.format == Format::Json {
        let _ = writeln!(
            out.text(),
            "{{\"file\":{},\"seconds\":{seconds},\"frames\":{frames},\"expected_damaged_frames\":{expected:.0}}}",
            serde_json::Value::from(args.out.display().to_string())
        );
        return;
    }
    let text = out.text();
    let _ = writeln!(
        text,
        "{}: {seconds:.3} s, {}, full scale {} V",
        args.out.display(),
        plural(frames, "transmission"),
        args.full_scale
    );
    for (name, count, r, damaged, unheard) in rows {
        let _ = write!(
            text,
            "  {name}: {}, {:.1} and {:.1} mV peak to peak (tones of a 1 and of a 0)",
            plural(count, "transmission"),
            r.levels_v[0] * 1e3,
            r.levels_v[1] * 1e3
        );
        text.push('\n');
        let of = plural(count, "transmission");
        match r.eb_n0_db() {
            _ if unheard => {
                let _ = writeln!(
                    text,
                    "    weaker than the 80 mV that a receiver must ignore: all of {of} expected to be lost"
                );
            }
            Some(db) => {
                let _ = writeln!(
                    text,
                    "    Eb/N0 {db:.1} dB: {} of {of} expected to be damaged, by theory; looprig loses fewer",
                    if damaged < 0.5 { "none".to_string() } else { format!("about {damaged:.0}") },
                );
            }
            None => {}
        }
    }
}

/// One kind of talker with his way to where it is heard.
struct Voice {
    who: Who,
    /// What begins soon.
    soon: Vec<Transmission>,
    modulator: Modulator,
    filter: Option<Fir>,
    samples: Vec<f32>,
}

impl Voice {
    fn add_to(&mut self, sum: &mut [f32]) {
        let part = &mut self.samples[..sum.len()];
        let begun = self.modulator.run(&self.soon, part).consumed;
        self.soon.drain(..begun);
        if let Some(filter) = &mut self.filter {
            filter.run(part);
        }
        for (s, x) in sum.iter_mut().zip(part) {
            *s += *x;
        }
    }
}

/// Makes the samples of what was said, piece by piece, in volts; it takes no more of it than begins within a piece.
pub struct Mixer<'a> {
    said: Box<dyn Iterator<Item = SaidItem> + 'a>,
    voices: Vec<Voice>,
    talker: Talker,
    /// How much earlier all begins, for the filters give it later.
    delay: Duration,
    rate_hz: f64,
    made: u64,
    sigma: f64,
    dice: oorandom::Rand64,
    /// Samples still to come.
    left: u64,
}

impl<'a> Mixer<'a> {
    /// Of transmissions by `talker`, or at the level that arrives over `path`, with noise on top; the last is over at `end`.
    ///
    /// # Errors
    /// At that rate no tones can be made.
    pub fn new(
        said: Box<dyn Iterator<Item = SaidItem> + 'a>,
        end: Instant,
        talker: Talker,
        path: Option<&LoopPath>,
        noise: Option<Noise>,
        rate_hz: f64,
        seed: u64,
    ) -> Result<Mixer<'a>, Failure> {
        // A loop changes what each talker sends in its own way: each has its own wave. A unit goes in, volts come out.
        let talker = if path.is_some() { Talker { mark: 1.0, space: 1.0, ..talker } } else { talker };
        let delay = if path.is_some() { LoopPath::delay(rate_hz) } else { Duration::ZERO };
        let mut voices = Vec::new();
        for who in [Who::Master, Who::Device] {
            let modulator = Modulator::new(rate_hz)
                .map_err(|e| Failure::new("making the wave", e.to_string(), "give --rate 48000"))?;
            let filter = path.map(|p| p.filter(who, rate_hz));
            voices.push(Voice { who, soon: Vec::new(), modulator, filter, samples: vec![0.0; BLOCK] });
        }
        let sigma = noise.map_or(0.0, |n| (n.density_v2_per_hz() * rate_hz / 2.0).sqrt());
        let left = ((end + EDGE).as_secs_f64() * rate_hz).ceil() as u64;
        Ok(Mixer {
            said,
            voices,
            talker,
            delay,
            rate_hz,
            made: 0,
            sigma,
            dice: oorandom::Rand64::new(seed.into()),
            left,
        })
    }

    /// The next samples instead of what is in `part`; false when there are none.
    ///
    /// # Errors
    /// What was said cannot be read any more.
    pub fn next(&mut self, part: &mut Vec<f32>) -> Result<bool, Failure> {
        let n = self.left.min(BLOCK as u64) as usize;
        part.clear();
        part.resize(n, 0.0);
        self.fetch((self.made + n as u64) as f64 / self.rate_hz)?;
        for v in &mut self.voices {
            v.add_to(part);
        }
        if self.sigma > 0.0 {
            for s in part.iter_mut() {
                *s += (self.sigma * normal(&mut self.dice)) as f32;
            }
        }
        self.made += n as u64;
        self.left -= n as u64;
        Ok(n > 0)
    }

    /// Takes what begins before `end_s`, and the first that does not.
    fn fetch(&mut self, end_s: f64) -> Result<(), Failure> {
        let later = |t: &Transmission| t.begin.as_secs_f64() >= end_s;
        while !self.voices.iter().any(|v| v.soon.last().is_some_and(later)) {
            let Some(item) = self.said.next() else { break };
            let (who, t) = item?;
            let talker = Talker { rate: t.talker.rate, ..self.talker };
            let t = Transmission { begin: t.begin.before(self.delay), talker, ..t };
            self.voices.iter_mut().filter(|v| v.who == who).for_each(|v| v.soon.push(t.clone()));
        }
        Ok(())
    }
}

/// Two even numbers make a normal one.
fn normal(dice: &mut oorandom::Rand64) -> f64 {
    let (u, v) = (dice.rand_float().max(f64::MIN_POSITIVE), dice.rand_float());
    (-2.0 * u.ln()).sqrt() * (2.0 * PI * v).cos()
}
