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
/// A character.
const CHARACTER: Duration = Duration::from_nanos(9_166_667);
/// Less than a tenth of a bit is the error of a stamp [WV-05].
const STAMP_ERROR: Duration = Duration::from_micros(80);
/// Silence between two carriers: where one begins at once behind another, its phase jumps there, and what a receiver takes that for is its first character [WV-31].
const SEAM: Duration = Duration::from_micros(2_500);
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
            pushed: 0,
            pushed_most: Duration::ZERO,
            cut: Duration::ZERO,
            shortened: 0,
            skipped: 0,
            unstopped: 0,
            is_fast: false,
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
    /// Transmissions that begin later than in the capture, because the carrier before them was still on, and by how much at most.
    pushed: u64,
    pushed_most: Duration,
    /// What was left out of pauses of this capture.
    cut: Duration,
    shortened: u64,
    skipped: usize,
    /// Octets without a stop bit, which a wave cannot be given.
    unstopped: usize,
    /// It is a log, or has a part, whose times are those of no line.
    is_fast: bool,
    over: bool,
}

impl Said {
    /// Says what could not be read, which pauses are shorter than they were, and whether times are not kept [WV-23]; once.
    pub fn tell_notes(&self) {
        if self.skipped > 0 {
            let lines = plural(self.skipped, "line");
            tell(&format!("reading {}: skipped {lines} that could not be read", self.name));
        }
        if self.unstopped > 0 {
            let octets = plural(self.unstopped, "octet");
            tell(&format!("reading {}: {octets} without a stop bit; the wave gives each one", self.name));
        }
        if self.shortened > 0 {
            let s = self.longest.unwrap_or(LONGEST_PAUSE).as_secs_f64();
            let pauses = plural(self.shortened as usize, "pause");
            tell(&format!(
                "reading {}: shortened {pauses} to {s} s; what follows comes earlier than it was",
                self.name
            ));
        }
        if self.is_fast {
            tell(&format!(
                "reading {}: the log's times are not those of a line (pace fast), so they are not kept: {} ms are left between messages",
                self.name,
                PAUSE.as_millis()
            ));
        }
        if self.pushed > 0 {
            let (n, begin) = (
                plural(self.pushed as usize, "transmission"),
                if self.pushed == 1 { "begins" } else { "begin" },
            );
            tell(&format!(
                "reading {}: {n} {begin} later than it says, by {:.1} ms at most, for the carrier before was still on; --lead and --tail are its lengths",
                self.name,
                self.pushed_most.as_secs_f64() * 1e3
            ));
        }
    }

    /// Transmissions so far that begin later than the capture says.
    pub fn pushed(&self) -> u64 {
        self.pushed
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
                self.clock = Clock { records: true, timed: factor > 0.0, stamped, factor, zero: None };
                self.cut = Duration::ZERO;
                self.is_fast |= factor == 0.0;
            }
            Captured::Octets(octets) => {
                for o in octets {
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
                // Where stamps are bad, or there are none, a record is what belongs together.
                if self.clock.records && !self.clock.stamped {
                    self.close()?;
                }
            }
            Captured::Break => self.close()?,
            // Who talked at the same time is not known any more.
            Captured::Remark(_) => {}
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

    /// Makes a transmission of the octets that belong together [WV-15].
    fn close(&mut self) -> Result<(), Failure> {
        let Some(head) = self.group.first().copied() else { return Ok(()) };
        self.unstopped += self.group.iter().filter(|o| o.marks.contains(Marks::FRAMING)).count();
        let mut octets: Vec<RawOctet> = self
            .group
            .iter()
            .map(|o| RawOctet { bad_parity: o.marks.contains(Marks::PARITY), ..RawOctet::from(o.value) })
            .collect();
        let rate = if self.clock.stamped { rate_of(&self.group) } else { 1.0 };
        if self.clock.stamped {
            // Against the first one, so that what is too small for a pause does not add up.
            let character = CHARACTER.div_f64(rate);
            let mut end = head.at;
            for (o, made) in self.group.iter().zip(&mut octets).skip(1) {
                end += character;
                let gap = o.at.since(end);
                if gap > STAMP_ERROR {
                    made.gap_before = gap;
                    end = o.at;
                }
            }
        }
        let start = self.start(head.at, rate)?;
        let who = match self.group.iter().find(|o| o.value != 0xFF).map(|o| o.value & 7) {
            Some(2) => Who::Master,
            _ => Who::Device,
        };
        let talker = Talker { rate: self.usual.rate * rate, ..self.usual };
        let t = Transmission::starting(start, RawFrame { octets }, talker);
        self.free = Some(ends(&t));
        self.ready.push_back((who, t));
        self.group.clear();
        Ok(())
    }

    /// When the first character of what was heard at `at`, at so many times the bit rate, is made.
    fn start(&mut self, at: Instant, rate: f64) -> Result<Instant, Failure> {
        let lead = self.usual.lead;
        let free = self.free.map_or(Instant::ZERO + EDGE, |end| end + SEAM);
        let zero = match self.clock.zero {
            Some(zero) if self.clock.timed => zero,
            _ => return Ok(free + lead + if self.free.is_some() { PAUSE } else { Duration::ZERO }),
        };
        // A stamp is a character's end, and a slow talker's began earlier.
        let longer = CHARACTER.div_f64(rate);
        let wanted = |cut: Duration| {
            let since = self.clock.wire(at.since(zero)).saturating_sub(cut);
            (Instant::ZERO + EDGE + lead + since + CHARACTER).before(longer)
        };
        let begins = |cut: Duration| wanted(cut).max(free + lead);
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
        let begin = begins(self.cut);
        let pushed = begin.since(wanted(self.cut));
        if self.free.is_some() && pushed > STAMP_ERROR {
            self.pushed += 1;
            self.pushed_most = self.pushed_most.max(pushed);
        }
        Ok(begin)
    }
}

/// How many times the nominal bit rate a talker has, from the longest run of characters without a pause; 1 where that is within the error of stamps.
fn rate_of(octets: &[Octet]) -> f64 {
    let character_s = CHARACTER.as_secs_f64();
    let close =
        |pair: &[Octet]| (0.95..1.05).contains(&(pair[1].at.since(pair[0].at).as_secs_f64() / character_s));
    let (mut best, mut from) = ((0, 0), 0);
    for (k, pair) in octets.windows(2).enumerate() {
        if !close(pair) {
            from = k + 1;
        } else if k + 1 - from > best.1 - best.0 {
            best = (from, k + 1);
        }
    }
    let nominal_s = (best.1 - best.0) as f64 * character_s;
    let took_s = octets.get(best.1).map_or(0.0, |o| o.at.since(octets[best.0].at).as_secs_f64());
    if (took_s - nominal_s).abs() > STAMP_ERROR.as_secs_f64() { nominal_s / took_s } else { 1.0 }
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

/// Characters of a transmission that have to be right: of its preambles a receiver needs two [FR-02].
pub fn counted(t: &Transmission) -> u32 {
    let preambles = t.frame.octets.iter().take_while(|o| o.value == 0xFF).count();
    (t.frame.octets.len() - preambles.saturating_sub(2)) as u32
}

/// When a transmission is over.
pub fn ends(t: &Transmission) -> Instant {
    let gaps: Duration = t.frame.octets.iter().map(|o| o.gap_before).sum();
    let characters = BitTimes::characters(t.frame.octets.len() as u64).duration().div_f64(t.talker.rate);
    t.begin + t.talker.lead + characters + gaps + t.talker.tail
}

/// More than two characters from end to end is a new transmission.
fn longest_step() -> Duration {
    BitTimes::characters(2).duration() + Duration::from_millis(1)
}

/// What the times of a file mean.
struct Clock {
    /// Octets come in records of a log.
    records: bool,
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
    const UNTIMED: Clock = Clock { records: false, timed: false, stamped: false, factor: 1.0, zero: None };

    /// How long that is on the wire.
    fn wire(&self, d: Duration) -> Duration {
        d.mul_f64(self.factor)
    }
}
