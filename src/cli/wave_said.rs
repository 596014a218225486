//! What was said, out of a log or hex text, as transmissions in the order of time: one after the other, never all at once.

use super::decode::is_readable;
use super::output::{Failure, tell};
use crate::capture::{Captured, ContentKind, Reader, io_words};
use crate::frame::{Marks, Octet, RawFrame, RawOctet, StampUnit};
use crate::ip::{Content, MAX_MESSAGE, Piece, split_datagram};
use crate::report::text::plural;
use crate::time::{BitTimes, Instant, Pace};
use crate::wave::{Talker, Transmission};
use core::time::Duration;
use std::collections::VecDeque;
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Cursor, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Pause between frames without times: more than a master waits between two of its own.
const PAUSE: Duration = Duration::from_millis(75);
/// Silence before the first and after the last carrier.
pub const EDGE: Duration = Duration::from_millis(50);
/// Longest pause between two transmissions that is made without being asked for.
pub const LONGEST_PAUSE: Duration = Duration::from_secs(60);
/// Octets of one transmission: more than any frame has, for somebody who never stops.
const MOST_OCTETS: usize = 4096;
/// Bytes of a pipe that are kept, because it cannot be read twice.
const MOST_PIPED: u64 = 64 << 20;

/// Who said something, as far as the wave differs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Who {
    /// A master.
    Master,
    /// A device.
    Device,
}

/// Somebody's transmission, or why reading ended.
pub type SaidItem = Result<(Who, Transmission), Failure>;

/// A file that can be read twice: once for its length, once for its octets.
pub struct Source {
    name: String,
    from: From,
}

enum From {
    File(PathBuf),
    Kept(Arc<[u8]>),
}

impl Source {
    /// A file; `-`, and what else is no plain file, is read to its end and kept.
    ///
    /// # Errors
    /// It cannot be read, or too much comes.
    pub fn open(path: &Path) -> Result<Source, Failure> {
        let name = super::decode::file_name(path);
        let failed = |e: io::Error| failed(&name, &e);
        let piped = path == Path::new("-");
        if !piped && fs::metadata(path).map_err(failed)?.is_file() {
            return Ok(Source { name, from: From::File(path.into()) });
        }
        let mut kept = Vec::new();
        let mut input: Box<dyn Read> =
            if piped { Box::new(io::stdin()) } else { Box::new(File::open(path).map_err(failed)?) };
        input.by_ref().take(MOST_PIPED + 1).read_to_end(&mut kept).map_err(failed)?;
        if kept.len() as u64 > MOST_PIPED {
            let wrong = format!("more than {} MiB come out of a pipe", MOST_PIPED >> 20);
            return Err(Failure::new(format!("reading {name}"), wrong, "put it into a file and name that"));
        }
        Ok(Source { name, from: From::Kept(kept.into()) })
    }

    /// All transmissions from the beginning, as `usual` talks. A pause longer than `longest` is shortened to that; without it, one longer than
    /// [`LONGEST_PAUSE`] is refused.
    ///
    /// # Errors
    /// It cannot be read, or holds no octets.
    pub fn said(&self, usual: Talker, longest: Option<Duration>) -> Result<Said, Failure> {
        let input: Box<dyn BufRead> = match &self.from {
            From::File(path) => {
                Box::new(BufReader::new(File::open(path).map_err(|e| failed(&self.name, &e))?))
            }
            From::Kept(bytes) => Box::new(Cursor::new(bytes.clone())),
        };
        let reader = Reader::new(input).map_err(|e| failed(&self.name, &e))?;
        if reader.kind() == ContentKind::Sound {
            let doing = format!("reading {}", self.name);
            return Err(Failure::new(
                doing,
                "it is a sound file already",
                "`looprig wave read` says what is in it",
            ));
        }
        is_readable(reader.kind(), &self.name)?;
        Ok(Said {
            name: self.name.clone(),
            reader,
            usual,
            longest,
            clock: Clock::UNTIMED,
            group: Vec::new(),
            line: 0,
            ready: VecDeque::new(),
            free: None,
            cut: Duration::ZERO,
            shortened: 0,
            skipped: 0,
            over: false,
        })
    }
}

fn failed(name: &str, e: &io::Error) -> Failure {
    Failure::new(format!("reading {name}"), io_words(e), "check the name, or give - to read standard input")
}

/// Transmissions as they are read; nothing is kept but the one that grows.
pub struct Said {
    name: String,
    reader: Reader<Box<dyn BufRead>>,
    usual: Talker,
    longest: Option<Duration>,
    clock: Clock,
    group: Vec<Octet>,
    /// Where the group begins.
    line: u64,
    ready: VecDeque<(Who, Transmission)>,
    /// When the last one ends.
    free: Option<Instant>,
    /// What was left out of pauses of this capture.
    cut: Duration,
    shortened: u64,
    skipped: usize,
    over: bool,
}

impl Said {
    /// Says what could not be read and which pauses are shorter than they were; once.
    pub fn tell_notes(&self) {
        if self.skipped > 0 {
            let lines = plural(self.skipped, "line");
            tell(&format!("reading {}: skipped {lines} that could not be read", self.name));
        }
        if self.shortened > 0 {
            let s = self.longest.unwrap_or(LONGEST_PAUSE).as_secs_f64();
            let pauses = plural(self.shortened as usize, "pause");
            tell(&format!(
                "reading {}: shortened {pauses} to {s} s; what follows comes earlier than it was",
                self.name
            ));
        }
    }

    fn take(&mut self, captured: Captured) -> Result<(), Failure> {
        match captured {
            Captured::Start(h) => {
                self.close()?;
                let factor = match h.pace() {
                    Pace::Wire => 1.0,
                    Pace::Scaled(f) => f,
                    Pace::Fast => 0.0,
                };
                let c = h.capabilities();
                // Only where each octet has a good time of its own are the pauses between them known.
                let half = BitTimes::characters(1).duration() / 2;
                let stamped = c.unit == StampUnit::Octets && c.stamp_error <= half && factor == 1.0;
                self.clock = Clock { timed: factor > 0.0, stamped, factor, zero: None };
                self.cut = Duration::ZERO;
            }
            Captured::Octets(octets) => {
                for o in octets {
                    // Where stamps are bad, a record is what belongs together.
                    let apart = self.group.last().is_some_and(|last| {
                        self.clock.stamped && o.at.since(last.at) > longest_step()
                            || self.group.len() >= MOST_OCTETS
                    });
                    if apart {
                        self.close()?;
                    }
                    if self.group.is_empty() {
                        self.line = self.reader.line();
                    }
                    self.clock.zero = self.clock.zero.or(Some(o.at));
                    self.group.push(o);
                }
                if self.clock.timed && !self.clock.stamped {
                    self.close()?;
                }
            }
            Captured::Break => self.close()?,
            // What a server passes on was on a wire with preambles.
            Captured::Messages(passing) => {
                for piece in split_datagram(&passing.octets, MAX_MESSAGE) {
                    let Piece::Message(message) = piece else { continue };
                    let Content::Frame { octets, .. } = message.content() else { continue };
                    let values = [0xFF; 5].into_iter().chain(octets.iter().copied());
                    self.group.extend(values.map(|value| Octet::clean(Instant::ZERO, value)));
                    self.close()?;
                }
            }
            Captured::Problem(_) => self.skipped += 1,
        }
        Ok(())
    }

    /// Makes a transmission of the octets that belong together.
    fn close(&mut self) -> Result<(), Failure> {
        let Some(head) = self.group.first().copied() else { return Ok(()) };
        let character = BitTimes::characters(1).duration();
        let mut octets: Vec<RawOctet> = self
            .group
            .iter()
            .map(|o| RawOctet { bad_parity: o.marks.contains(Marks::PARITY), ..RawOctet::from(o.value) })
            .collect();
        if self.clock.stamped {
            for (k, pair) in self.group.windows(2).enumerate() {
                // Less than a tenth of a bit is the error of a stamp.
                let gap = pair[1].at.since(pair[0].at).saturating_sub(character);
                octets[k + 1].gap_before = if gap > Duration::from_micros(80) { gap } else { Duration::ZERO };
            }
        }
        let start = self.start(head.at)?;
        let who = match self.group.iter().find(|o| o.value != 0xFF).map(|o| o.value & 7) {
            Some(2) => Who::Master,
            _ => Who::Device,
        };
        let t = Transmission::starting(start, RawFrame { octets }, self.usual);
        self.free = Some(ends(&t));
        self.ready.push_back((who, t));
        self.group.clear();
        Ok(())
    }

    /// When the first character of what was heard at `at` is made.
    fn start(&mut self, at: Instant) -> Result<Instant, Failure> {
        let lead = self.usual.lead;
        let free = self.free.unwrap_or(Instant::ZERO + EDGE);
        let zero = match self.clock.zero {
            Some(zero) if self.clock.timed => zero,
            _ => return Ok(free + lead + if self.free.is_some() { PAUSE } else { Duration::ZERO }),
        };
        let begins = |cut: Duration| {
            let since = self.clock.wire(at.since(zero)).saturating_sub(cut);
            (Instant::ZERO + EDGE + lead + since).max(free + lead)
        };
        let pause = begins(self.cut).since(free + lead);
        match self.longest {
            Some(longest) if pause > longest => {
                self.cut += pause - longest;
                self.shortened += 1;
            }
            None if pause > LONGEST_PAUSE => {
                return Err(Failure::new(
                    format!("reading {}", self.name),
                    format!(
                        "line {}: {} of silence before it, and each second of it would be written",
                        self.line,
                        length(pause)
                    ),
                    "--longest-pause 10 shortens every pause to 10 s at most; or give it as many seconds as the silence may last",
                ));
            }
            _ => {}
        }
        Ok(begins(self.cut))
    }
}

impl Iterator for Said {
    type Item = SaidItem;

    fn next(&mut self) -> Option<SaidItem> {
        loop {
            if let Some(said) = self.ready.pop_front() {
                return Some(Ok(said));
            }
            if self.over {
                return None;
            }
            let done = match self.reader.next() {
                Ok(Some(captured)) => self.take(captured),
                Ok(None) => {
                    self.over = true;
                    self.close()
                }
                Err(e) => Err(failed(&self.name, &e)),
            };
            if let Err(f) = done {
                self.over = true;
                return Some(Err(f));
            }
        }
    }
}

/// A length of time for people.
fn length(d: Duration) -> String {
    let s = d.as_secs();
    match s {
        0..600 => format!("{s} s"),
        600..36_000 => format!("{} min", s / 60),
        36_000..259_200 => format!("{} hours", s / 3600),
        _ => format!("{} days", s / 86_400),
    }
}

/// When a transmission is over.
pub fn ends(t: &Transmission) -> Instant {
    let gaps: Duration = t.frame.octets.iter().map(|o| o.gap_before).sum();
    // Slow talkers and all ramps are in within 6 %.
    let characters = BitTimes::characters(t.frame.octets.len() as u64).duration();
    t.begin + t.talker.lead + characters + characters / 16 + gaps + t.talker.tail
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
    const UNTIMED: Clock = Clock { timed: false, stamped: false, factor: 1.0, zero: None };

    /// How long that is on the wire.
    fn wire(&self, d: Duration) -> Duration {
        d.mul_f64(self.factor)
    }
}
