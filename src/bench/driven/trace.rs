//! Quantities sampled at whole multiples of a period of bench time [BA-07].

use super::quantity::Value;
use crate::time::Instant;
use core::time::Duration;
use std::collections::VecDeque;

/// Shortest and longest period.
pub const PERIODS: (Duration, Duration) = (Duration::from_millis(1), Duration::from_secs(3600));
/// Most quantities in one trace.
pub const MOST_QUANTITIES: usize = 64;
/// Most values in the recording.
pub const MOST_RECORDED: usize = 1 << 20;
/// Most values that wait for the reader of a stream.
pub const MOST_WAITING: usize = 1 << 18;
/// Most streams.
pub const MOST_STREAMS: usize = 8;

/// The values of a trace at one moment, in the order of its quantities.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// When, bench time.
    pub at: Instant,
    /// One for each quantity.
    pub values: Vec<Value>,
}

/// What to sample how often.
#[derive(Clone, Debug, PartialEq)]
pub struct TracePlan {
    /// Full names of quantities, at most [`MOST_QUANTITIES`].
    pub quantities: Vec<String>,
    /// Their places among all quantities of the bench.
    pub(super) places: Vec<usize>,
    /// Within [`PERIODS`].
    pub period: Duration,
}

impl TracePlan {
    /// The first moment of its grid that is not before `t`.
    fn first_from(&self, t: Instant) -> Instant {
        let period = self.period.as_nanos().max(1) as u64;
        Instant::from_nanos(t.as_nanos().div_ceil(period).saturating_mul(period))
    }

    /// The first moment of its grid behind `t`.
    fn first_behind(&self, t: Instant) -> Instant {
        self.first_from(t + Duration::from_nanos(1))
    }
}

/// The newest samples of a trace, up to a bound.
#[derive(Clone, Debug)]
pub struct Recording {
    /// What is sampled.
    pub plan: TracePlan,
    /// The oldest first.
    pub samples: VecDeque<Sample>,
    /// How many were dropped because there was no room.
    pub dropped: u64,
    next: Instant,
}

impl Recording {
    fn new(plan: TracePlan, now: Instant) -> Recording {
        Recording { next: plan.first_from(now), plan, samples: VecDeque::new(), dropped: 0 }
    }

    fn push(&mut self, sample: Sample) {
        let room = MOST_RECORDED / self.plan.places.len().max(1);
        while self.samples.len() >= room {
            self.samples.pop_front();
            self.dropped += 1;
        }
        self.samples.push_back(sample);
    }
}

/// News for the reader of a stream.
#[derive(Clone, Debug, PartialEq)]
pub enum StreamNews {
    /// A sample.
    Sample(Sample),
    /// The bench was put back to a snapshot of that time, and goes on from there.
    Restored(Instant),
    /// The reader is too slow: this is the last.
    TooSlow,
}

/// What became of news that were offered to a reader.
pub enum Offered {
    /// The reader has them.
    Taken,
    /// The reader has no room now: here they are again.
    Full(Vec<StreamNews>),
    /// There is no reader any more.
    Gone,
}

/// Whoever reads a stream. It never waits.
pub trait Reader: Send {
    /// Takes news, or gives them back.
    fn offer(&mut self, news: Vec<StreamNews>) -> Offered;

    /// Whether there is still a reader.
    fn is_there(&self) -> bool;
}

struct Stream {
    plan: TracePlan,
    next: Instant,
    waiting: Vec<StreamNews>,
    /// More would wait than there is room for.
    is_too_slow: bool,
    reader: Box<dyn Reader>,
}

/// Most values that are handed over at once, and after so many they are handed over at the latest: what a reader has taken
/// and not yet passed on is bounded by this.
pub const MOST_AT_ONCE: usize = 4096;

impl Stream {
    fn push(&mut self, news: StreamNews) {
        if (self.waiting.len() + 1) * self.plan.places.len().max(1) > MOST_WAITING {
            // Time does not wait for a reader, and memory has an end.
            self.waiting.clear();
            self.is_too_slow = true;
            self.next = Instant::from_nanos(u64::MAX);
        }
        if self.is_too_slow {
            return;
        }
        self.waiting.push(news);
        if self.waiting.len().is_multiple_of(self.batch()) {
            self.hand_over();
        }
    }

    /// How many news are handed over at once.
    fn batch(&self) -> usize {
        (MOST_AT_ONCE / self.plan.places.len().max(1)).max(1)
    }

    /// Hands over what waits; false when the stream is at its end.
    fn hand_over(&mut self) -> bool {
        if self.is_too_slow {
            // Whoever has no room is told when he has, if he lives to see it.
            return matches!(self.reader.offer(vec![StreamNews::TooSlow]), Offered::Full(_));
        }
        let mut handed = 0;
        let there = loop {
            let batch: Vec<StreamNews> =
                self.waiting.iter().skip(handed).take(self.batch()).cloned().collect();
            if batch.is_empty() {
                break self.reader.is_there();
            }
            let many = batch.len();
            match self.reader.offer(batch) {
                Offered::Taken => handed += many,
                Offered::Full(_) => break true,
                Offered::Gone => break false,
            }
        };
        self.waiting.drain(..handed);
        there
    }
}

/// All traces of a bench.
#[derive(Default)]
pub struct Traces {
    recording: Option<Recording>,
    streams: Vec<Stream>,
}

impl Traces {
    /// The recording, if there is one.
    pub fn recording(&self) -> Option<&Recording> {
        self.recording.as_ref()
    }

    /// Records from `now` on, in place of what was recorded before.
    pub fn record(&mut self, plan: Option<TracePlan>, now: Instant) {
        self.recording = plan.map(|plan| Recording::new(plan, now));
    }

    /// How many streams there are.
    pub fn streams(&self) -> usize {
        self.streams.len()
    }

    /// One more stream, from `now` on.
    pub fn stream(&mut self, plan: TracePlan, reader: Box<dyn Reader>, now: Instant) {
        let next = plan.first_from(now);
        self.streams.push(Stream { plan, next, waiting: Vec::new(), is_too_slow: false, reader });
    }

    /// When the next sample is due.
    pub fn next_at(&self) -> Option<Instant> {
        let recording = self.recording.iter().map(|r| r.next);
        recording.chain(self.streams.iter().map(|s| s.next)).min()
    }

    /// Takes the samples that are due at `now`; `read` gives all values of the bench.
    pub fn take(&mut self, now: Instant, read: impl FnOnce() -> Vec<Value>) {
        if self.next_at().is_none_or(|t| t > now) {
            return;
        }
        let all = read();
        let sample = |plan: &TracePlan| Sample {
            at: now,
            values: plan.places.iter().map(|&i| all.get(i).copied().unwrap_or(Value::None)).collect(),
        };
        if let Some(recording) = self.recording.as_mut().filter(|r| r.next <= now) {
            let sample = sample(&recording.plan);
            recording.push(sample);
            recording.next = recording.plan.first_behind(now);
        }
        for stream in self.streams.iter_mut().filter(|s| s.next <= now) {
            stream.next = stream.plan.first_behind(now);
            let sample = sample(&stream.plan);
            stream.push(StreamNews::Sample(sample));
        }
    }

    /// Hands to the readers what waits for them.
    pub fn hand_over(&mut self) {
        self.streams.retain_mut(Stream::hand_over);
    }

    /// Whether something waits for a reader.
    pub fn waits(&self) -> bool {
        self.streams.iter().any(|s| !s.waiting.is_empty() || s.is_too_slow)
    }

    /// The bench is put back to `at`: what was recorded behind it has not happened.
    pub fn restored(&mut self, at: Instant) {
        if let Some(recording) = &mut self.recording {
            while recording.samples.pop_back_if(|s| s.at > at).is_some() {}
            recording.next = match recording.samples.back() {
                Some(last) if last.at == at => recording.plan.first_behind(at),
                _ => recording.plan.first_from(at),
            };
        }
        for stream in &mut self.streams {
            stream.next = stream.plan.first_behind(at);
            stream.push(StreamNews::Restored(at));
        }
    }
}
