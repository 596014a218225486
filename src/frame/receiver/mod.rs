//! Finds frames in a stream of stamped octets and finds its way back after damage.
//!
//! The receiver keeps an account: each octet that is pushed ends in exactly one [`Reception`].
//! A frame starts at two or more clean octets of FF and a delimiter that exists [FR-10]. When a
//! frame that began turns out wrong, what it swallowed is searched again, so that a byte count that
//! lies or a chance delimiter in noise cannot hide the real frame behind it [FR-11].

use crate::frame::legal::{DecodeErrorKind, Delimiter, Frame};
use crate::frame::octet::{Marks, Octet};
use crate::frame::reception::{Damage, Damaged, Good, Noise, Reception};
use crate::time::{Instant, Pace};
use bytes::BytesMut;
#[cfg(fuzzing)]
use core::sync::atomic::{AtomicBool, Ordering};
use core::time::Duration;
use std::collections::VecDeque;

/// Preambles needed before a delimiter [FR-10].
const MIN_PREAMBLES: usize = 2;
/// Preambles kept with a frame; what comes before is noise. A sender may use up to 20 [FR-02].
const MAX_PREAMBLES: usize = 40;
/// Octets of memory that frames share, a few dozen short ones or a handful of the longest.
const ARENA_STEP: usize = 4096;
/// The first step of a receiver; each is twice the one before it. Most receivers of a fleet need no more, for no frame is kept.
const FIRST_STEP: usize = 256;
/// Octets of noise in one item at most.
const MAX_NOISE: usize = 256;
/// Marks that end a frame in front of the octet that carries them [FR-11].
const BREAKS: Marks = Marks(Marks::GAP.0 | Marks::CARRIER_LOST.0 | Marks::OVERRUN.0);
/// Marks that spoil the octet itself.
const SPOILS: Marks = Marks(Marks::PARITY.0 | Marks::FRAMING.0);

/// A fault that only a fuzzer's build has, and only while this is set: not all octets that a lying byte
/// count swallowed are handed back. `.ci/fuzz` fails if the fuzzer does not notice.
#[cfg(fuzzing)]
pub static PLANTED_FAULT: AtomicBool = AtomicBool::new(false);

/// What the receiver takes for a pause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReceiverConfig {
    /// Longest time from the end of one octet to the end of the next inside a frame; `None` when
    /// the line's stamps cannot tell [LL-06].
    pub longest_step: Option<Duration>,
    /// Silence after which a frame that began is given up.
    pub give_up: Duration,
}

impl ReceiverConfig {
    /// For a line whose stamps are off by at most `stamp_error` and that runs at `pace`.
    ///
    /// Where stamps are good to half a character, an octet may come two characters after the last
    /// (its own and a pause of one, [LL-06]) plus the error. Worse stamps cannot tell a pause in the
    /// frame from one in the port, so pauses are not judged, and only long silence ends a frame
    /// [LI-04].
    pub fn for_line(pace: Pace, stamp_error: Duration) -> Self {
        let character = pace.character();
        if pace == Pace::Fast || stamp_error * 2 > character {
            let give_up = (stamp_error * 20).max(character * 4).max(Duration::from_millis(20));
            return ReceiverConfig { longest_step: None, give_up };
        }
        let longest_step = character * 2 + stamp_error * 2;
        ReceiverConfig { longest_step: Some(longest_step), give_up: longest_step + Duration::from_millis(1) }
    }

    /// For octets whose times mean nothing, such as a file of bare octets.
    pub const UNTIMED: ReceiverConfig =
        ReceiverConfig { longest_step: None, give_up: Duration::from_secs(u64::MAX / 4_000_000_000) };
}

/// The state machine. Push octets, drain [`Receiver::next`], and at the end [`Receiver::finish`].
#[derive(Clone, Debug)]
pub struct Receiver {
    config: ReceiverConfig,
    /// `config.longest_step` in nanoseconds: a plain number keeps the inner loop short.
    longest_step_ns: u64,
    /// Octets not yet accounted for.
    pending: Vec<Octet>,
    /// Nothing can be decided before `pending` holds this many octets, unless a marked one comes.
    need: usize,
    noise: Vec<Octet>,
    arena: BytesMut,
    room: Room,
    out: VecDeque<Reception>,
}

/// What one look at the front of the octets found.
enum Step {
    /// The first `n` octets are noise.
    Noise(usize),
    /// A frame took the first `n` octets and has been handed out.
    Taken(usize),
    /// More octets are needed, `n` in all.
    More(usize),
}

/// A frame that starts at `run` with its preambles and has its delimiter at `delimiter`.
struct Start {
    run: usize,
    delimiter: usize,
    kind: Delimiter,
}

/// Octets of the next step of memory for frames.
#[derive(Clone)]
struct Room(usize);

/// How much room there is says nothing of what was heard: a copy of a receiver begins with none, and goes on alike.
impl core::fmt::Debug for Room {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("Room")
    }
}

impl Receiver {
    /// A receiver with nothing pending.
    pub fn new(config: ReceiverConfig) -> Self {
        Receiver {
            config,
            longest_step_ns: config
                .longest_step
                .map_or(u64::MAX, |d| u64::try_from(d.as_nanos()).unwrap_or(u64::MAX)),
            pending: Vec::new(),
            need: 0,
            noise: Vec::new(),
            arena: BytesMut::new(),
            room: Room(FIRST_STEP),
            out: VecDeque::new(),
        }
    }

    /// Takes octets in the order of their times.
    pub fn push(&mut self, octets: &[Octet]) {
        let mut octets = octets;
        while !self.pending.is_empty() && !octets.is_empty() {
            // Only as many as can bring a decision: the rest need not be copied.
            let n = self.need.saturating_sub(self.pending.len()).clamp(1, octets.len());
            let before = self.pending.len() - 1;
            self.pending.extend_from_slice(&octets[..n]);
            octets = &octets[n..];
            if self.pending.len() >= self.need || !self.runs_clean(&self.pending[before..]) {
                self.work_pending(false);
            }
        }
        let used = self.work(octets, false);
        self.pending.extend_from_slice(&octets[used..]);
    }

    /// The next item, oldest first.
    #[allow(
        clippy::should_implement_trait,
        reason = "an iterator would be over at the first pause of the line"
    )]
    pub fn next(&mut self) -> Option<Reception> {
        self.out.pop_front()
    }

    /// When [`Receiver::handle_timeout`] wants to be called; `None` while nothing is pending.
    pub fn deadline(&self) -> Option<Instant> {
        let last = self.pending.last().or(self.noise.last())?;
        Some(last.at + self.config.give_up)
    }

    /// Gives up what is pending if its time has come.
    pub fn handle_timeout(&mut self, now: Instant) {
        if self.deadline().is_some_and(|d| d <= now) {
            self.finish();
        }
    }

    /// No more octets will come: accounts for all that is pending.
    pub fn finish(&mut self) {
        self.work_pending(true);
        self.flush_noise();
    }

    fn work_pending(&mut self, end: bool) {
        let pending = core::mem::take(&mut self.pending);
        let used = self.work(&pending, end);
        self.pending = pending;
        self.pending.drain(..used);
    }

    /// Accounts for as many of `octets` as can be decided and says how many that were.
    fn work(&mut self, octets: &[Octet], end: bool) -> usize {
        let mut used = 0;
        loop {
            let rest = &octets[used..];
            if rest.is_empty() {
                self.need = 0;
                return used;
            }
            match self.step(rest, end) {
                Step::Noise(n) => {
                    self.add_noise(&rest[..n]);
                    used += n;
                }
                Step::Taken(n) => used += n,
                Step::More(n) => {
                    self.need = n;
                    return used;
                }
            }
        }
    }

    fn step(&mut self, octets: &[Octet], end: bool) -> Step {
        match self.find_start(octets, end) {
            Ok(start) if start.run > 0 => Step::Noise(start.run),
            Ok(start) => self.candidate(octets, &start, end),
            Err(0) => Step::More(octets.len() + 1),
            Err(noise) => Step::Noise(noise),
        }
    }

    /// The first start of a frame; else how many octets in front can be no part of one.
    fn find_start(&self, octets: &[Octet], end: bool) -> Result<Start, usize> {
        let mut run = 0;
        for (i, o) in octets.iter().enumerate() {
            if i > 0 && self.breaks(octets, i) {
                run = i;
            }
            if o.marks.0 & SPOILS.0 != 0 {
                run = i + 1;
            } else if o.value != 0xFF {
                if i - run >= MIN_PREAMBLES
                    && let Some(kind) = Delimiter::parse(o.value)
                {
                    return Ok(Start { run: run.max(i.saturating_sub(MAX_PREAMBLES)), delimiter: i, kind });
                }
                run = i + 1;
            }
        }
        // A trailing run of preambles may still become a frame.
        let run = if end { octets.len() } else { run.max(octets.len().saturating_sub(MAX_PREAMBLES)) };
        Err(run)
    }

    /// Whether the line fell silent, or lost octets, before the octet `i`.
    #[inline]
    fn breaks(&self, octets: &[Octet], i: usize) -> bool {
        octets[i].marks.0 & BREAKS.0 != 0 || i > 0 && self.pause(octets[i - 1].at, octets[i].at)
    }

    /// Whether the time from one octet to the next is too long inside a frame [LL-06].
    #[inline]
    fn pause(&self, from: Instant, to: Instant) -> bool {
        to.as_nanos().saturating_sub(from.as_nanos()) > self.longest_step_ns
    }

    /// Whether no octet but the first is marked or comes after a pause: what is true of nearly all
    /// frames is found out in one pass without branches.
    fn runs_clean(&self, octets: &[Octet]) -> bool {
        let (mut marks, mut longest_ns) = (Marks::NONE, 0);
        for w in octets.windows(2) {
            marks |= w[1].marks;
            longest_ns = longest_ns.max(w[1].at.as_nanos().saturating_sub(w[0].at.as_nanos()));
        }
        marks.is_empty() && longest_ns <= self.longest_step_ns
    }

    fn candidate(&mut self, octets: &[Octet], start: &Start, end: bool) -> Step {
        let d = start.delimiter;
        let body = d + start.kind.header_len();
        // Without a byte count the header alone is waited for.
        let whole = octets.get(body - 1).map_or(body, |count| body + usize::from(count.value) + 1);
        let have = whole.min(octets.len());
        let mut spoiled = None;
        if !self.runs_clean(&octets[d - 1..have]) {
            for i in d..have {
                if self.breaks(octets, i) {
                    return self.broken(octets, start, i);
                }
                let marks = octets[i].marks;
                if marks.0 & SPOILS.0 != 0 && i < body {
                    return self.damaged(octets, start, i + 1, Damage::Header { at: i, marks });
                }
                if marks.0 & SPOILS.0 != 0 && spoiled.is_none() {
                    spoiled = Some(Damage::Character { at: i, marks });
                }
            }
        }
        if octets.len() < whole {
            let missing = if octets.len() < body { 0 } else { whole - octets.len() };
            return if end {
                self.damaged(octets, start, octets.len(), Damage::Truncated { missing })
            } else {
                Step::More(whole)
            };
        }
        if let Some(damage) = spoiled {
            return self.damaged(octets, start, whole, damage);
        }
        // In steps, not for each frame: a frame that somebody keeps holds one step's memory at most.
        let len = whole - d;
        // Where nobody keeps one, the next takes its place.
        if self.arena.capacity() < len && !self.arena.try_reclaim(len) {
            self.arena = BytesMut::with_capacity(self.room.0.max(len));
            self.room.0 = (2 * self.room.0).min(ARENA_STEP);
        }
        self.arena.resize(len, 0);
        for (value, o) in self.arena.iter_mut().zip(&octets[d..whole]) {
            *value = o.value;
        }
        match Frame::parse(&self.arena.split().freeze()) {
            Ok(frame) => {
                self.flush_noise();
                let octets = octets[..whole].to_vec();
                self.out.push_back(Reception::Good(Good { frame, preambles: d, octets }));
                Step::Taken(whole)
            }
            Err(e) => {
                let damage = match e.kind {
                    DecodeErrorKind::Check { computed, received } => Damage::Check { computed, received },
                    DecodeErrorKind::NoStatus { .. } => {
                        return self.take_damaged(octets, start, whole, Damage::NoStatus);
                    }
                    _ => Damage::Truncated { missing: 0 },
                };
                self.damaged(octets, start, whole, damage)
            }
        }
    }

    fn broken(&mut self, octets: &[Octet], start: &Start, at: usize) -> Step {
        let marks = Marks(octets[at].marks.0 & BREAKS.0);
        let marks = if marks.is_empty() { Marks::GAP } else { marks };
        self.damaged(octets, start, at, Damage::Gap { at, marks })
    }

    /// Gives up the frame that `start` began, which had taken `upto` octets, but hands back what
    /// inside it looks like the start of another.
    fn damaged(&mut self, octets: &[Octet], start: &Start, upto: usize, damage: Damage) -> Step {
        let inner = &octets[start.delimiter + 1..upto];
        let (back, another) = match self.find_start(inner, false) {
            Ok(s) => (s.run, true),
            Err(noise) => (noise, false),
        };
        let cut = start.delimiter + 1 + back;
        #[cfg(fuzzing)]
        let lied = matches!(damage, Damage::Check { .. });
        let beyond = match damage {
            Damage::Header { at, .. } | Damage::Character { at, .. } => at >= cut,
            Damage::Gap { .. } => false,
            _ => another,
        };
        // What follows the cut is another frame's: this one simply stopped.
        let damage = if beyond { Damage::Truncated { missing: upto - cut } } else { damage };
        let step = self.take_damaged(octets, start, cut, damage);
        #[cfg(fuzzing)]
        if lied && another && PLANTED_FAULT.load(Ordering::Relaxed) {
            return Step::Taken(cut + 1);
        }
        step
    }

    fn take_damaged(&mut self, octets: &[Octet], start: &Start, n: usize, damage: Damage) -> Step {
        self.flush_noise();
        let octets = octets[..n].to_vec();
        self.out.push_back(Reception::Damaged(Damaged { damage, preambles: start.delimiter, octets }));
        Step::Taken(n)
    }

    fn add_noise(&mut self, octets: &[Octet]) {
        for o in octets {
            let paused = self.noise.last().is_some_and(|last| self.pause(last.at, o.at));
            if paused || self.noise.len() >= MAX_NOISE || o.marks.contains(Marks::GAP) {
                self.flush_noise();
            }
            self.noise.push(*o);
        }
    }

    fn flush_noise(&mut self) {
        if !self.noise.is_empty() {
            let octets = core::mem::take(&mut self.noise);
            self.out.push_back(Reception::Noise(Noise { octets }));
        }
    }
}

#[cfg(test)]
mod tests;
