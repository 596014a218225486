//! Signals in a recording by who talks, which the frames tell.

use super::output::Failure;
use super::recording::read_samples;
use crate::capture::io_words;
use crate::frame::{FrameType, Octet, Receiver, ReceiverConfig, Reception};
use crate::line::io::SampledLine;
use crate::report::wave::{TalkerSignal, Who};
use crate::time::Pace;
use crate::wave::{Burst, Heard, Recording, RecordingOptions};
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

/// A recording read to its end.
pub struct Talked {
    /// Each talker.
    pub talkers: Vec<TalkerSignal>,
    /// Amplitudes are volts.
    pub volts: bool,
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
        heard.iter().for_each(|h| talkers.take(h));
        Ok(())
    };
    let mut input = BufReader::with_capacity(1 << 15, file);
    let notes = read_samples(&name, &mut input, &mut recording, &mut take, &mut |_, _| {})?;
    talkers.finish();
    let volts = recording.spec().is_some_and(|s| s.volts.is_some());
    Ok(Talked { talkers: talkers.list, volts, notes })
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

    /// Takes what was heard.
    pub fn take(&mut self, heard: &Heard) {
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
                let (who, name) = talker_of(&self.octets);
                self.add(who, &name, b);
                self.octets.clear();
            }
            Heard::End(_) => {}
        }
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

    fn add(&mut self, who: Who, name: &str, b: &Burst) {
        let (who, name) =
            if self.list.len() < MOST_TALKERS { (who, name) } else { (Who::Unknown, "further talkers") };
        let known = self.list.iter().position(|t| t.name == name);
        let at = known.unwrap_or_else(|| {
            self.list.push(TalkerSignal::of(who, name));
            self.list.len() - 1
        });
        self.list[at].add(b);
    }
}

/// Who sent octets: a master, or a device by its address; where no frame is whole, nobody is known.
fn talker_of(octets: &[Octet]) -> (Who, String) {
    let mut receiver = Receiver::new(ReceiverConfig::UNTIMED);
    receiver.push(octets);
    receiver.finish();
    while let Some(r) = receiver.next() {
        if let Reception::Good(good) = r {
            let frame = &good.frame;
            let master = frame.address().master.name();
            return if frame.frame_type() == FrameType::Stx {
                (Who::Master, format!("{master} master"))
            } else {
                (Who::Device, format!("device {}", frame.address().target))
            };
        }
    }
    (Who::Unknown, "unknown talker (no whole frame)".into())
}
