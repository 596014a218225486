//! `looprig wave make`: octets to a WAV file, through a loop if wanted.

use super::files::{exists, is_special};
use super::output::{Ended, Failure, Output, tell};
use super::wave_args::{BitsArg, MakeArgs};
use super::wave_loop::Path as LoopPath;
use crate::capture::{Captured, Reader, io_words};
use crate::frame::{Octet, RawFrame, RawOctet, StampUnit};
use crate::ip::{Content, MAX_MESSAGE, Piece, split_datagram};
use crate::report::Format;
use crate::report::text::plural;
use crate::time::{BitTimes, Instant, Pace};
use crate::wave::wav::{SampleFormat, WavSpec};
use crate::wave::{Fir, Modulator, Talker, Transmission};
use crate::wiring::Noise;
use core::f64::consts::PI;
use core::fmt::Write as _;
use core::time::Duration;
use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Write};
use std::path::Path;

/// Pause between frames without times: more than a master waits between two of its own.
const PAUSE: Duration = Duration::from_millis(75);
/// Silence before the first and after the last carrier.
const EDGE: Duration = Duration::from_millis(50);
/// Samples made at once.
const BLOCK: usize = 4096;

/// Who said something, as far as the wave differs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// A master.
    Master,
    /// A device.
    Device,
}

/// Makes the file.
pub fn run(args: &MakeArgs, out: &mut Output) -> Result<Ended, Failure> {
    let bits = |n: f64| Duration::from_secs_f64(n / 1200.0);
    let usual = Talker { lead: bits(args.lead), tail: bits(args.tail), ..Talker::of(1.0) };
    let said = read(&args.input, usual)?;
    if said.is_empty() {
        let next = "give a looprig log, or octets as hex text such as `FF FF FF FF FF 02 80 00 00 82`";
        return Err(Failure::new(format!("reading {}", args.input.display()), "it holds no octets", next));
    }
    let path = match &args.through {
        Some(sheet) => Some(LoopPath::read(sheet, args.device.as_deref(), &args.at)?),
        None => None,
    };
    let rate_hz = f64::from(args.rate);
    let amplitude = args.level.unwrap_or(0.5) / 2.0;
    let talker = Talker {
        mark: amplitude,
        space: amplitude,
        tones: 1.0 + args.tones / 100.0,
        rate: 1.0 + args.bit_rate / 100.0,
        ..usual
    };
    let noise = args.noise.map(Noise::in_usual_band).or(path.as_ref().and_then(LoopPath::noise));
    let mut mixer = Mixer::new(&said, talker, path.as_ref(), noise, rate_hz, args.seed)?;
    let samples = mixer.left;
    let format = match args.bits {
        BitsArg::B8 => SampleFormat::U8,
        BitsArg::B16 => SampleFormat::I16,
        BitsArg::B24 => SampleFormat::I24,
        BitsArg::B32 => SampleFormat::I32,
        BitsArg::Float => SampleFormat::F32,
    };
    let spec = WavSpec { rate_hz: args.rate, channels: 1, format };
    let to_stdout = args.out == Path::new("-");
    let doing = format!("writing {}", args.out.display());
    if !to_stdout && !args.force && args.out.exists() && !is_special(&args.out) {
        return Err(exists(&doing));
    }
    let failed = |e: &io::Error| Failure::new(doing.as_str(), io_words(e), "name a file that can be written");
    let mut file: BufWriter<Box<dyn Write>> = BufWriter::new(if to_stdout {
        Box::new(io::stdout())
    } else {
        Box::new(File::create(&args.out).map_err(|e| failed(&e))?)
    });
    file.write_all(&spec.header(Some(samples))).map_err(|e| failed(&e))?;
    let (mut bytes, mut clipped, mut part) = (Vec::new(), 0u64, Vec::new());
    while mixer.next(&mut part) {
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
        told(args, &said, samples as f64 / rate_hz, path.as_ref(), noise, out);
    }
    Ok(Ended::Fine)
}

/// Says what was made, and what is to be expected of it.
fn told(
    args: &MakeArgs,
    said: &[(Who, Transmission)],
    seconds: f64,
    path: Option<&LoopPath>,
    noise: Option<Noise>,
    out: &mut Output,
) {
    let characters = |who| -> Vec<u32> {
        said.iter().filter(|s| s.0 == who).map(|s| s.1.frame.octets.len() as u32).collect()
    };
    let mut expected = 0.0;
    let mut rows = Vec::new();
    for (who, name) in [(Who::Master, "master"), (Who::Device, "device")] {
        let lengths = characters(who);
        if lengths.is_empty() {
            continue;
        }
        let level = args.level.unwrap_or(0.5);
        let reception = path.map_or(crate::wiring::Reception { levels_v: [level; 2], noise }, |p| {
            crate::wiring::Reception { noise, ..p.reception(who) }
        });
        let damaged: f64 = lengths.iter().map(|n| reception.damaged_share(*n)).sum();
        expected += damaged;
        rows.push((name, lengths.len(), reception, damaged));
    }
    let frames = said.len();
    if out.options.format == Format::Json {
        let _ = writeln!(
            out.text(),
            "{{\"file\":{},\"seconds\":{seconds},\"frames\":{frames},\"expected_damaged_frames\":{expected}}}",
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
    for (name, count, r, damaged) in rows {
        let _ = write!(
            text,
            "  {name}: {}, {:.1} and {:.1} mV peak to peak (tones of a 1 and of a 0)",
            plural(count, "transmission"),
            r.levels_v[0] * 1e3,
            r.levels_v[1] * 1e3
        );
        if let Some(db) = r.eb_n0_db() {
            let _ = write!(
                text,
                ", Eb/N0 {db:.1} dB, {:.3} of {} expected to be damaged",
                damaged,
                plural(count, "transmission")
            );
        }
        text.push('\n');
    }
}

/// One kind of talker with his way to where it is heard.
struct Voice {
    list: Vec<Transmission>,
    done: usize,
    modulator: Modulator,
    filter: Option<Fir>,
    samples: Vec<f32>,
}

impl Voice {
    fn add_to(&mut self, sum: &mut [f32]) {
        let part = &mut self.samples[..sum.len()];
        self.done += self.modulator.run(&self.list[self.done..], part).consumed;
        if let Some(filter) = &mut self.filter {
            filter.run(part);
        }
        for (s, x) in sum.iter_mut().zip(part) {
            *s += *x;
        }
    }
}

/// Makes the samples of what was said, piece by piece, in volts.
pub struct Mixer {
    voices: Vec<Voice>,
    sigma: f64,
    dice: oorandom::Rand64,
    /// Samples still to come.
    left: u64,
}

impl Mixer {
    /// Of transmissions by `talker`, or at the level that arrives over `path`, with noise on top.
    ///
    /// # Errors
    /// At that rate no tones can be made.
    pub fn new(
        said: &[(Who, Transmission)],
        talker: Talker,
        path: Option<&LoopPath>,
        noise: Option<Noise>,
        rate_hz: f64,
        seed: u64,
    ) -> Result<Mixer, Failure> {
        // A loop changes what each talker sends in its own way: each has its own wave. A unit goes in, volts come out.
        let talker = if path.is_some() { Talker { mark: 1.0, space: 1.0, ..talker } } else { talker };
        let delay = if path.is_some() { LoopPath::delay(rate_hz) } else { Duration::ZERO };
        let mut voices = Vec::new();
        for who in [Who::Master, Who::Device] {
            let mine = said.iter().filter(|s| s.0 == who);
            let list = mine
                .map(|(_, t)| Transmission { begin: t.begin.before(delay), frame: t.frame.clone(), talker })
                .collect();
            let modulator = Modulator::new(rate_hz)
                .map_err(|e| Failure::new("making the wave", e.to_string(), "give --rate 48000"))?;
            let filter = path.map(|p| p.filter(who, rate_hz));
            voices.push(Voice { list, done: 0, modulator, filter, samples: vec![0.0; BLOCK] });
        }
        let sigma = noise.map_or(0.0, |n| (n.density_v2_per_hz() * rate_hz / 2.0).sqrt());
        let end = said.iter().map(|(_, t)| ends(t)).max().unwrap_or(Instant::ZERO) + EDGE;
        let left = (end.as_secs_f64() * rate_hz).ceil() as u64;
        Ok(Mixer { voices, sigma, dice: oorandom::Rand64::new(seed.into()), left })
    }

    /// The next samples instead of what is in `part`; false when there are none.
    pub fn next(&mut self, part: &mut Vec<f32>) -> bool {
        let n = self.left.min(BLOCK as u64) as usize;
        part.clear();
        part.resize(n, 0.0);
        for v in &mut self.voices {
            v.add_to(part);
        }
        if self.sigma > 0.0 {
            for s in part.iter_mut() {
                *s += (self.sigma * normal(&mut self.dice)) as f32;
            }
        }
        self.left -= n as u64;
        n > 0
    }
}

/// Two even numbers make a normal one.
fn normal(dice: &mut oorandom::Rand64) -> f64 {
    let (u, v) = (dice.rand_float().max(f64::MIN_POSITIVE), dice.rand_float());
    (-2.0 * u.ln()).sqrt() * (2.0 * PI * v).cos()
}

fn ends(t: &Transmission) -> Instant {
    let gaps: Duration = t.frame.octets.iter().map(|o| o.gap_before).sum();
    // Slow talkers and all ramps are in within 6 %.
    let characters = BitTimes::characters(t.frame.octets.len() as u64).duration();
    t.begin + t.talker.lead + characters + characters / 16 + gaps + t.talker.tail
}

/// All transmissions of a file in the order of time, and who says each, as `usual` talks.
pub fn read(path: &Path, usual: Talker) -> Result<Vec<(Who, Transmission)>, Failure> {
    let doing = || format!("reading {}", path.display());
    let failed = |e: io::Error| {
        Failure::new(doing(), io_words(&e), "check the name, or give - to read standard input")
    };
    let input: Box<dyn Read> = if path == Path::new("-") {
        Box::new(io::stdin())
    } else {
        Box::new(File::open(path).map_err(failed)?)
    };
    let mut reader = Reader::new(BufReader::new(input)).map_err(failed)?;
    let mut said: Vec<(Who, Transmission)> = Vec::new();
    let mut group: Vec<Octet> = Vec::new();
    let mut clock = Clock { timed: false, stamped: false, factor: 1.0, zero: None };
    let mut skipped = 0usize;
    while let Some(captured) = reader.next().map_err(failed)? {
        match captured {
            Captured::Start(h) => {
                close(&mut group, &mut said, &clock, usual);
                let factor = match h.pace() {
                    Pace::Wire => 1.0,
                    Pace::Scaled(f) => f,
                    Pace::Fast => 0.0,
                };
                let c = h.capabilities();
                // Only where each octet has a good time of its own are the pauses between them known.
                let half = BitTimes::characters(1).duration() / 2;
                let stamped = c.unit == StampUnit::Octets && c.stamp_error <= half && factor == 1.0;
                clock = Clock { timed: factor > 0.0, stamped, factor, zero: None };
            }
            Captured::Octets(octets) => {
                for o in octets {
                    // Where stamps are bad, a record is what belongs together.
                    let apart = group
                        .last()
                        .is_some_and(|last| clock.stamped && o.at.since(last.at) > longest_step());
                    if apart {
                        close(&mut group, &mut said, &clock, usual);
                    }
                    clock.zero = clock.zero.or(Some(o.at));
                    group.push(o);
                }
                if clock.timed && !clock.stamped {
                    close(&mut group, &mut said, &clock, usual);
                }
            }
            Captured::Break => close(&mut group, &mut said, &clock, usual),
            // What a server passes on was on a wire with preambles.
            Captured::Messages(passing) => {
                for piece in split_datagram(&passing.octets, MAX_MESSAGE) {
                    let Piece::Message(message) = piece else { continue };
                    let Content::Frame { octets, .. } = message.content() else { continue };
                    let values = [0xFF; 5].into_iter().chain(octets.iter().copied());
                    group.extend(values.map(|value| Octet::clean(Instant::ZERO, value)));
                    close(&mut group, &mut said, &clock, usual);
                }
            }
            Captured::Problem(_) => skipped += 1,
        }
    }
    close(&mut group, &mut said, &clock, usual);
    if skipped > 0 {
        tell(&format!("{}: skipped {} that could not be read", doing(), plural(skipped, "line")));
    }
    Ok(said)
}

/// More than two characters from end to end is a new transmission.
fn longest_step() -> Duration {
    BitTimes::characters(2).duration() + Duration::from_millis(1)
}

/// What the times of a file mean.
struct Clock {
    /// They mean something.
    timed: bool,
    /// Each octet has a good one.
    stamped: bool,
    /// How many times faster than the wire they run.
    factor: f64,
    /// The first.
    zero: Option<Instant>,
}

impl Clock {
    /// How long that is on the wire.
    fn wire(&self, d: Duration) -> Duration {
        d.mul_f64(self.factor)
    }
}

/// Makes a transmission of octets that belong together.
fn close(group: &mut Vec<Octet>, said: &mut Vec<(Who, Transmission)>, clock: &Clock, usual: Talker) {
    let Some(head) = group.first().copied() else { return };
    let character = BitTimes::characters(1).duration();
    let free = said.last().map_or(Instant::ZERO + EDGE, |(_, t)| ends(t));
    let mut octets: Vec<RawOctet> = group
        .iter()
        .map(|o| RawOctet {
            bad_parity: o.marks.contains(crate::frame::Marks::PARITY),
            ..RawOctet::from(o.value)
        })
        .collect();
    if clock.stamped {
        for (k, pair) in group.windows(2).enumerate() {
            let step = pair[1].at.since(pair[0].at);
            // Less than a tenth of a bit is the error of a stamp.
            let gap = step.saturating_sub(character);
            octets[k + 1].gap_before = if gap > Duration::from_micros(80) { gap } else { Duration::ZERO };
        }
    }
    let mut start = free + usual.lead + if said.is_empty() { Duration::ZERO } else { PAUSE };
    if clock.timed
        && let Some(zero) = clock.zero
    {
        let since = clock.wire(head.at.since(zero));
        start = (Instant::ZERO + EDGE + usual.lead + since).max(free + usual.lead);
    }
    let who = match group.iter().find(|o| o.value != 0xFF).map(|o| o.value & 7) {
        Some(2) => Who::Master,
        _ => Who::Device,
    };
    said.push((who, Transmission::starting(start, RawFrame { octets }, usual)));
    group.clear();
}
