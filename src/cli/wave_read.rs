//! `looprig wave read`: what the signal in a recording is like.

use super::files::write_file;
use super::output::{Ended, Failure, Output, tell};
use super::recording::read_samples;
use super::wave_args::ReadArgs;
use super::wave_talkers::Talkers;
use crate::capture::io_words;
use crate::report::Format;
use crate::report::text::plural;
use crate::report::wave::{Eye, Spectrum, is_bad, write};
use crate::wave::{Character, Detector, Heard, Recording, RecordingOptions};
use core::fmt::Write;
use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::Path;

/// Windows of envelopes kept for the eye, 0.5 s: a transmission is drawn when its characters are known, soon after.
const KEPT: u64 = 4800;
/// Bits drawn at most.
const MOST_BITS: u64 = 200_000;

/// Reports.
pub fn run(args: &ReadArgs, out: &mut Output) -> Result<Ended, Failure> {
    let name = if args.input == Path::new("-") {
        "standard input".to_string()
    } else {
        args.input.display().to_string()
    };
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
                talkers.take(h);
            }
            Ok(())
        },
        &mut |spec, samples| {
            drawing.borrow_mut().see(spec.rate_hz, samples, args.eye.is_some(), args.spectrum.is_some());
        },
    )?;
    talkers.finish();
    let drawing = drawing.into_inner();
    let spec = recording.spec();
    let volts = spec.is_some_and(|s| s.volts.is_some());
    if let (Some(path), Some(eye)) = (&args.eye, Some(&drawing.eye)) {
        write_file(path, &eye.svg(&name), args.force, &format!("writing {}", path.display()))?;
    }
    if let (Some(path), Some(spectrum)) = (&args.spectrum, &drawing.spectrum) {
        write_file(path, &spectrum.svg(&name), args.force, &format!("writing {}", path.display()))?;
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
    write(&talkers.list, volts, out.options.format, out.text());
    if out.options.format == Format::Text && !out.quiet {
        let text = format!("\n{}, {} damaged.\n", plural(talkers.good, "whole frame"), talkers.damaged);
        out.text().push_str(&text);
    }
    Ok(if is_bad(&talkers.list, volts) { Ended::Failed } else { Ended::Fine })
}

/// What is drawn while the samples pass.
#[derive(Default)]
struct Drawing {
    detector: Option<Detector>,
    eye: Eye,
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

    /// The bits of a character that was read.
    fn bits(&mut self, c: &Character) {
        let Some(d) = &mut self.detector else { return };
        let level = (c.mark + c.space) / 2.0;
        if self.eye.bits() < MOST_BITS && level > 0.0 {
            let begin_s = c.begin.as_secs_f64();
            for bit in 0..11 {
                self.eye.add(|off| {
                    let at_s = begin_s + (f64::from(bit) + 0.5 + off) * c.bit_s;
                    let (mark, space) = d.between(at_s * Detector::RATE_HZ - Detector::MIDDLE)?;
                    Some((mark - space) / level)
                });
            }
        }
    }
}
