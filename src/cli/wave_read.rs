//! `looprig wave read`: what the signal in a recording is like.

use super::files::{exists, is_no_input, is_special, write_file};
use super::output::{Ended, Failure, Output, tell};
use super::recording::read_samples;
use super::wave_args::ReadArgs;
use super::wave_talkers::{Talkers, scale_of};
use crate::capture::io_words;
use crate::report::Format;
use crate::report::text::plural;
use crate::report::wave::{Eye, Spectrum, eyes_svg, is_bad, write};
use crate::wave::{Character, Detector, Heard, Recording, RecordingOptions};
use core::fmt::Write;
use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::Path;

/// Windows of envelopes kept for the eye, 0.5 s: a transmission is drawn when its characters are known, soon after.
const KEPT: u64 = 4800;
/// Bits of a talker drawn at most.
const MOST_BITS: u64 = 200_000;

/// Reports.
pub fn run(args: &ReadArgs, out: &mut Output) -> Result<Ended, Failure> {
    let name = if args.input == Path::new("-") {
        "standard input".to_string()
    } else {
        args.input.display().to_string()
    };
    drawings_can_be_written(args)?;
    let input: Box<dyn Read> = if args.input == Path::new("-") {
        Box::new(io::stdin())
    } else {
        Box::new(File::open(&args.input).map_err(|e| {
            Failure::new(
                format!("opening {name}"),
                io_words(&e),
                "check the name, or give - to read standard input",
            )
        })?)
    };
    let options =
        RecordingOptions { channel: args.channel - 1, rate_hz: args.rate, full_scale_v: args.full_scale };
    let mut recording = Recording::new(options);
    let mut talkers = Talkers::new();
    let drawing = core::cell::RefCell::new(Drawing::default());
    let notes = read_samples(
        &name,
        &mut BufReader::with_capacity(1 << 15, input),
        &mut recording,
        &mut |heard, _| {
            for h in heard {
                if let Heard::Character(c) = h
                    && args.eye.is_some()
                {
                    drawing.borrow_mut().bits(c);
                }
                match (h, talkers.take(h)) {
                    (_, Some(talker)) => drawing.borrow_mut().belongs_to(talker),
                    (Heard::End(_), None) => drawing.borrow_mut().now = Eye::default(),
                    _ => {}
                }
            }
            Ok(())
        },
        &mut |spec, samples| {
            drawing.borrow_mut().see(spec.rate_hz, samples, args.eye.is_some(), args.spectrum.is_some());
        },
    )?;
    talkers.finish(recording.seconds());
    let drawing = drawing.into_inner();
    let spec = recording.spec();
    let scale = scale_of(&recording);
    if let Some(path) = &args.eye {
        let none = Eye::default();
        let eyes: Vec<(&str, &Eye)> = talkers
            .list
            .iter()
            .enumerate()
            .map(|(n, t)| (t.name.as_str(), drawing.eyes.get(n).unwrap_or(&none)))
            .collect();
        write_file(path, &eyes_svg(&name, &eyes), args.force, &format!("writing {}", path.display()))?;
    }
    if let (Some(path), Some(spectrum)) = (&args.spectrum, &drawing.spectrum) {
        let svg = spectrum.svg(&name, scale.volts);
        write_file(path, &svg, args.force, &format!("writing {}", path.display()))?;
    }
    notes.iter().for_each(|note| tell(&format!("reading {name}: {note}")));
    if out.options.format == Format::Text
        && !out.quiet
        && let Some(s) = spec
    {
        let _ = writeln!(
            out.text(),
            "{name}: {:.3} s, {:.0} samples/s, channel {} of {}\n",
            recording.seconds(),
            s.rate_hz,
            args.channel,
            s.channels
        );
    }
    if talkers.list.is_empty() {
        return Err(Failure::new(
            format!("reading {name}"),
            format!("no transmission was found in {:.3} s", recording.seconds()),
            "look at the spectrum (--spectrum FILE.svg): are there tones of 1200 and 2200 Hz? Another channel, a higher level?",
        ));
    }
    write(&talkers.list, scale, out.options.format, out.text());
    if out.options.format == Format::Text && !out.quiet {
        let text = format!("\n{}, {} damaged.\n", plural(talkers.good, "whole frame"), talkers.damaged);
        out.text().push_str(&text);
    }
    Ok(if is_bad(&talkers.list, scale) { Ended::Failed } else { Ended::Fine })
}

/// Before the recording is read: a drawing is to destroy neither it nor the other drawing, nor what is there.
fn drawings_can_be_written(args: &ReadArgs) -> Result<(), Failure> {
    for path in [&args.eye, &args.spectrum].into_iter().flatten() {
        let doing = format!("writing {}", path.display());
        is_no_input(path, [args.input.as_path()], &doing)?;
        if !args.force && path.exists() && !is_special(path) {
            return Err(exists(&doing));
        }
    }
    match (&args.eye, &args.spectrum) {
        (Some(a), Some(b)) if a == b && !is_special(a) => Err(Failure::new(
            format!("writing {}", a.display()),
            "--eye and --spectrum name the same file, and the second would destroy the first",
            "name another file for one of them",
        )),
        _ => Ok(()),
    }
}

/// What is drawn while the samples pass.
#[derive(Default)]
struct Drawing {
    detector: Option<Detector>,
    /// Bits of the transmission that goes on.
    now: Eye,
    /// Those of each talker.
    eyes: Vec<Eye>,
    spectrum: Option<Spectrum>,
}

impl Drawing {
    fn see(&mut self, rate_hz: f64, samples: &[f32], eye: bool, spectrum: bool) {
        if eye {
            if self.detector.is_none() {
                self.detector = Detector::new(rate_hz).ok();
            }
            if let Some(d) = &mut self.detector {
                // What was drawn by now is no longer needed.
                d.forget(d.end().saturating_sub(KEPT));
                for part in samples.chunks(4096) {
                    d.run(part);
                }
            }
        }
        if spectrum {
            self.spectrum.get_or_insert_with(|| Spectrum::new(rate_hz)).add(samples);
        }
    }

    /// The transmission is over, and whose it was is known.
    fn belongs_to(&mut self, talker: usize) {
        while self.eyes.len() <= talker {
            self.eyes.push(Eye::default());
        }
        if self.eyes[talker].bits() < MOST_BITS {
            self.eyes[talker].merge(&self.now);
        }
        self.now = Eye::default();
    }

    /// The bits of a character that was read.
    fn bits(&mut self, c: &Character) {
        let Some(d) = &mut self.detector else { return };
        let level = (c.mark + c.space) / 2.0;
        if self.now.bits() < MOST_BITS && level > 0.0 {
            let begin_s = c.begin.as_secs_f64();
            for bit in 0..11 {
                self.now.add(|off| {
                    let at_s = begin_s + (f64::from(bit) + 0.5 + off) * c.bit_s;
                    let (mark, space) = d.between(at_s * Detector::RATE_HZ - Detector::MIDDLE)?;
                    Some((mark - space) / level)
                });
            }
        }
    }
}
