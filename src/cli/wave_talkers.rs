//! Signals in a recording by who talks, which the frames tell.

use super::output::Failure;
use super::recording::read_samples;
use crate::capture::io_words;
use crate::frame::{FrameType, Octet, Receiver, ReceiverConfig, Reception};
use crate::line::io::SampledLine;
use crate::report::wave::{Scale, TalkerKind, TalkerSignal};
use crate::time::Pace;
use crate::wave::{Burst, Heard, Recording, RecordingOptions};
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

/// A recording read to its end.
pub struct Talked {
    /// Each talker.
    pub talkers: Vec<TalkerSignal>,
    /// What is known of its scale.
    pub scale: Scale,
    /// The recorder heard nothing at all, not even noise [WV-21].
    pub is_still: bool,
    /// The largest sample without its sign, in volts where they are known.
    pub peak: f64,
    /// What was not as it should be in the file, a sentence each.
    pub notes: Vec<String>,
}

/// Reads a recording for who talks in it, as `looprig wave read` does.
///
/// # Errors
/// It cannot be read.
pub fn talkers_in(path: &Path, options: RecordingOptions) -> Result<Talked, Failure> {
    let name = path.display().to_string();
    let file = File::open(path).map_err(|e| {
        Failure::new(format!("opening {name}"), io_words(&e), "check the name of the recording")
    })?;
    let mut talkers = Talkers::new();
    let mut recording = Recording::new(options);
    let mut take = |heard: &[Heard], _| {
        for h in heard {
            talkers.take(h);
        }
        Ok(())
    };
    let mut input = BufReader::with_capacity(1 << 15, file);
    let mut peak = 0.0;
    let mut see = |_, samples: &[f32]| {
        peak = samples.iter().map(|s| f64::from(s.abs())).filter(|s| s.is_finite()).fold(peak, f64::max);
    };
    let notes = read_samples(&name, &mut input, &mut recording, &mut take, &mut see)?;
    talkers.finish();
    let (scale, is_still) = (scale_of(&recording), recording.is_still());
    Ok(Talked { talkers: talkers.list, scale, is_still, peak, notes })
}

/// What is known of the scale of a recording that was read.
pub fn scale_of(recording: &Recording) -> Scale {
    let volts = recording.spec().is_some_and(|s| s.volts.is_some());
    Scale { volts, cut_off: recording.is_cut_off() }
}

/// Signals by who talks, which the frames tell.
pub struct Talkers {
    receiver: Receiver,
    /// Octets of the transmission that goes on.
    octets: Vec<Octet>,
    /// Each by itself, in the order in which they were heard.
    pub list: Vec<TalkerSignal>,
    /// Whole frames.
    pub good: usize,
    /// Damaged ones.
    pub damaged: usize,
}

/// Talkers that are reported each by itself, more than there are polling addresses.
const MOST_TALKERS: usize = 100;
/// Octets of one transmission that are kept to tell who talks.
const MOST_OCTETS: usize = 1024;

impl Talkers {
    /// Nobody yet.
    pub fn new() -> Talkers {
        Talkers {
            receiver: Receiver::new(ReceiverConfig::for_line(
                Pace::Wire,
                SampledLine::CAPABILITIES.stamp_error,
            )),
            octets: Vec::new(),
            list: Vec::new(),
            good: 0,
            damaged: 0,
        }
    }

    /// Takes what was heard; gives the place of the talker whose transmission is over.
    pub fn take(&mut self, heard: &Heard) -> Option<usize> {
        match heard {
            Heard::Carrier(_) => self.octets.clear(),
            Heard::Character(c) => {
                if self.octets.len() < MOST_OCTETS {
                    self.octets.push(c.octet);
                }
                self.receiver.handle_timeout(c.octet.at);
                self.receiver.push(&[c.octet]);
                self.count();
            }
            Heard::Collision(..) => {}
            Heard::End(b) if b.characters > 0 => {
                let (kind, name) = talker_of(&self.octets);
                self.octets.clear();
                return Some(self.add(kind, &name, b));
            }
            Heard::End(_) => {}
        }
        None
    }

    fn count(&mut self) {
        while let Some(r) = self.receiver.next() {
            match r {
                Reception::Good(_) => self.good += 1,
                Reception::Damaged(_) => self.damaged += 1,
                Reception::Noise(_) => {}
            }
        }
    }

    /// The recording is over.
    pub fn finish(&mut self) {
        self.receiver.finish();
        self.count();
    }

    fn add(&mut self, kind: TalkerKind, name: &str, b: &Burst) -> usize {
        let full = self.list.len() >= MOST_TALKERS && self.list.iter().all(|t| t.name != name);
        let (kind, name) = if full { (TalkerKind::Unknown, "further talkers") } else { (kind, name) };
        let known = self.list.iter().position(|t| t.name == name);
        let at = known.unwrap_or_else(|| {
            self.list.push(TalkerSignal::new(name, kind));
            self.list.len() - 1
        });
        self.list[at].add(b);
        at
    }
}

/// Who sent octets: a master, or a device by its address; where no frame is whole, nobody is known.
fn talker_of(octets: &[Octet]) -> (TalkerKind, String) {
    let mut receiver = Receiver::new(ReceiverConfig::UNTIMED);
    receiver.push(octets);
    receiver.finish();
    while let Some(r) = receiver.next() {
        if let Reception::Good(good) = r {
            let frame = &good.frame;
            let master = frame.address().master.name();
            return if frame.frame_type() == FrameType::Stx {
                (TalkerKind::Master, format!("{master} master"))
            } else {
                (TalkerKind::Device, format!("device {}", frame.address().target))
            };
        }
    }
    (TalkerKind::Unknown, "unknown talker (no whole frame)".into())
}
