//! Signals in a recording by who talks, which the frames tell.

use super::output::Failure;
use super::recording::read_samples;
use crate::capture::io_words;
use crate::frame::{Address, Damage, FrameType, Octet, Receiver, ReceiverConfig, Reception};
use crate::line::io::SampledLine;
use crate::report::wave::{Came, Scale, TalkerKind, TalkerSignal, is_clear};
use crate::time::{BitTimes, Instant, Pace};
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
    let notes = read_samples(&name, &mut input, &mut recording, &mut take, &mut |_, _| {})?;
    talkers.finish(recording.seconds());
    let (scale, is_still) = (scale_of(&recording), recording.is_still());
    Ok(Talked { talkers: talkers.list, scale, is_still, notes })
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
    /// A message that broke off, not yet counted: it may be the end of the recording that did it.
    broken: Option<Broken>,
    /// Each by itself, in the order in which they were heard.
    pub list: Vec<TalkerSignal>,
    /// Whole frames.
    pub good: usize,
    /// Damaged ones.
    pub damaged: usize,
}

/// A message that broke off [WV-24].
struct Broken {
    /// Place of the talker.
    talker: usize,
    burst: Burst,
    /// When the message would have been over.
    until: Instant,
}

/// Characters that a message may still have had where it broke off before its byte count.
const MISSING_UNKNOWN: usize = 30;
/// A carrier that lasts to so near the end of a recording was cut off by that.
const AT_THE_END: BitTimes = BitTimes(3);

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
            broken: None,
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
                let octets = core::mem::take(&mut self.octets);
                let talker = self.transmission(&octets, b);
                self.octets = octets;
                self.octets.clear();
                return Some(talker);
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

    /// The recording is over, and is so long.
    pub fn finish(&mut self, seconds: f64) {
        self.receiver.finish();
        self.count();
        // What the end of the recording cut off did not break off on the loop.
        let at_the_end = |b: &Broken| (b.burst.off + AT_THE_END.duration()).as_secs_f64() > seconds;
        if !self.broken.as_ref().is_some_and(at_the_end) {
            self.count_broken();
        }
    }

    fn count_broken(&mut self) {
        if let Some(b) = self.broken.take() {
            self.list[b.talker].message(Came::BrokenOff, &b.burst);
        }
    }

    /// A transmission is over; gives the place of its talker.
    fn transmission(&mut self, octets: &[Octet], b: &Burst) -> usize {
        let sent = Sent::of(octets);
        // What goes on behind a gap begins without preambles, and says not who sends it.
        if let (None, Some(broken)) = (&sent.came, &self.broken)
            && b.on < broken.until
        {
            let talker = broken.talker;
            // Its carrier began long before.
            self.list[talker].add(&Burst { lost_start: None, first_start: None, ..*b });
            return talker;
        }
        self.count_broken();
        let who = match sent.who {
            Some((kind, name)) if sent.came == Some(Came::Whole) || is_clear(b) || self.knows(&name) => {
                (kind, name)
            }
            _ => (TalkerKind::Unknown, "unknown talker (no whole frame)".into()),
        };
        let broke_off = sent.came == Some(Came::BrokenOff);
        // Its carrier was to last longer.
        let talker = self.add(who.0, &who.1, &Burst { last_end: b.last_end.filter(|_| !broke_off), ..*b });
        match sent.came {
            Some(Came::BrokenOff) => {
                let until = b.off + BitTimes::characters(sent.missing as u64).duration();
                self.broken = Some(Broken { talker, burst: *b, until });
            }
            Some(came) => self.list[talker].message(came, b),
            None => {}
        }
        talker
    }

    fn knows(&self, name: &str) -> bool {
        self.list.iter().any(|t| t.name == name)
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

/// What the octets of a transmission say.
#[derive(Default)]
struct Sent {
    /// A master, or a device by its address; `None` where no header is right.
    who: Option<(TalkerKind, String)>,
    /// How its last message arrived; `None`: there is none.
    came: Option<Came>,
    /// Characters that are missing where it broke off.
    missing: usize,
}

impl Sent {
    fn of(octets: &[Octet]) -> Sent {
        let mut receiver = Receiver::new(ReceiverConfig::UNTIMED);
        receiver.push(octets);
        receiver.finish();
        let mut sent = Sent::default();
        while let Some(r) = receiver.next() {
            match r {
                Reception::Good(good) => {
                    // A whole frame is surer than what a damaged one says.
                    if sent.came != Some(Came::Whole) {
                        sent.who = Some(talker(good.frame.frame_type(), &good.frame.address()));
                    }
                    sent.came = Some(Came::Whole);
                }
                Reception::Damaged(d) => {
                    if sent.who.is_none() {
                        sent.who = d.header().map(|h| talker(h.delimiter.frame_type, &h.address));
                    }
                    sent.came = Some(if d.damage.breaks_off() { Came::BrokenOff } else { Came::Damaged });
                    if let Damage::Truncated { missing } = d.damage {
                        sent.missing = if missing == 0 { MISSING_UNKNOWN } else { missing };
                    }
                }
                Reception::Noise(_) => {}
            }
        }
        sent
    }
}

/// Whoever sends frames of this type and address.
fn talker(frame_type: FrameType, address: &Address) -> (TalkerKind, String) {
    if frame_type == FrameType::Stx {
        (TalkerKind::Master, format!("{} master", address.master.name()))
    } else {
        (TalkerKind::Device, format!("device {}", address.target))
    }
}
