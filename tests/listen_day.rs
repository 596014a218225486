//! 24 hours of a busy loop through what `listen` runs, on virtual time: nothing grows [LG-04].
//!
//! A test program of its own, because it counts what is allocated.
#![cfg(feature = "io")]

mod support;

use looprig::capture::{Captured, Header, LogSeries, Reader, Rotation};
use looprig::cli::{Listening, Output, Terms, Wishes};
use looprig::frame::{Capabilities, Octet, StampUnit};
use looprig::line::{Error, Event, Line};
use looprig::report::{Format, Options};
use looprig::time::{Instant, Pace};
use std::collections::VecDeque;
use std::fs::{self, File};
use std::io::{self, BufReader};
use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::Duration;
use support::counting::{Counting, LIVE};

#[global_allocator]
static ALLOCATOR: Counting = Counting;

const HOUR: Duration = Duration::from_secs(3_600);
/// Octets that a port hands over at once.
const AT_ONCE: usize = 8;

/// A busy line on virtual time: requests and replies that were published, one after the other, at wire
/// pace with pauses as on a real loop; every tenth frame is spoilt at its 13th octet, and now and then
/// there is noise.
struct Busy {
    frames: Vec<Vec<u8>>,
    now: Instant,
    /// The end of the last octet that was made.
    made: Instant,
    waiting: VecDeque<Octet>,
    /// Frames so far, octets handed over.
    sent: usize,
    octets: u64,
    /// What was allocated after each hour.
    live: Vec<usize>,
    /// Waits in a row that took no time.
    idle: u32,
}

impl Busy {
    /// The next frame and what else comes with it.
    fn make(&mut self) {
        let frame = &self.frames[self.sent % self.frames.len()];
        self.sent += 1;
        self.made += Duration::from_millis(30 + self.sent as u64 % 400);
        if self.is_full_hour() {
            // The same state of the line at each measurement: all that passed has been accounted for.
            self.made += Duration::from_secs(2);
        }
        let noise = [0x00, 0x55, self.sent as u8];
        let noise = noise.iter().filter(|_| self.sent.is_multiple_of(37));
        let preambles = [0xFF; 5];
        let values = preambles.iter().filter(|_| frame[0] != 0xFF).chain(frame).chain(noise);
        for (i, &value) in values.enumerate() {
            self.made += Pace::Wire.character();
            let spoilt = self.sent.is_multiple_of(10) && i % 50 == 12;
            self.waiting.push_back(Octet::clean(self.made, if spoilt { value ^ 0x40 } else { value }));
        }
    }

    fn is_full_hour(&self) -> bool {
        self.made.since(Instant::ZERO) >= HOUR * (self.live.len() as u32 + 1)
    }
}

impl Line for Busy {
    fn describe(&self) -> String {
        "virtual".to_owned()
    }

    fn capabilities(&self) -> Capabilities {
        let stamp_error = Duration::from_millis(20);
        Capabilities {
            unit: StampUnit::Octets,
            stamp_error,
            parity_seen: false,
            carrier_seen: false,
            echo: false,
        }
    }

    fn pace(&self) -> Pace {
        Pace::Wire
    }

    fn now(&mut self) -> Instant {
        self.now
    }

    fn send(&mut self, _: &[u8]) -> Result<(), Error> {
        panic!("a listener sends nothing")
    }

    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        let before = self.now;
        if self.waiting.is_empty() {
            let hour_is_over = self.is_full_hour();
            self.make();
            if hour_is_over {
                // Handed out only when nothing else is to be done before it.
                self.live.push(0);
            }
        }
        // All octets that are read together have the stamp of the last.
        let n = self.waiting.len().min(AT_ONCE);
        let at = self.waiting[n - 1].at;
        let event = if until.is_some_and(|u| u < at) {
            self.now = self.now.max(until.unwrap_or_default());
            Event::TimeOut
        } else {
            if let Some(live @ 0) = self.live.last_mut() {
                *live = LIVE.load(Ordering::Relaxed);
            }
            self.now = at;
            self.octets += n as u64;
            Event::Octets(self.waiting.drain(..n).map(|o| Octet { at, ..o }).collect())
        };
        self.idle = if self.now == before { self.idle + 1 } else { 0 };
        assert!(self.idle < 10, "it does not wait, at {:?}", self.now);
        Ok(event)
    }
}

#[test]
fn a_day_takes_no_more_memory_than_an_hour() {
    // A log of a day waits for the disk 17,000 times, which in memory takes no time.
    let memory = Path::new("/dev/shm");
    let room = if memory.is_dir() { memory } else { Path::new(env!("CARGO_TARGET_TMPDIR")) };
    let dir = room.join(format!("looprig-listen-day-{}", std::process::id()));
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(&dir).unwrap();
    let frames: Vec<Vec<u8>> =
        support::fixtures().into_iter().filter(|f| f.is_frame()).map(|f| f.octets).collect();
    assert!(frames.len() > 50);
    let mut line = Busy {
        frames,
        now: Instant::ZERO,
        made: Instant::ZERO,
        waiting: VecDeque::with_capacity(1_000),
        sent: 0,
        octets: 0,
        live: Vec::with_capacity(30),
        idle: 0,
    };
    let header = Header::new("virtual", "2026-11-25T00:00:00Z", line.pace(), line.capabilities());
    let log = LogSeries::open(&dir.join("day.log"), Some(Rotation::Hour), header).unwrap();
    // A moment more than a day, so that the last hour is measured.
    let terms =
        Terms { log: Some(log), length: Some(HOUR * 24 + Duration::from_secs(30)), ..Terms::default() };
    let options = Options { format: Format::Text, verbosity: 0, times: true, colour: false };
    let mut out = Output::to(Box::new(io::sink()), options, true);
    let mut listening = Listening::new(&mut line, terms, &mut out).unwrap();
    listening.listen(&mut line, &Wishes::only_to_end()).unwrap();
    listening.finish(line.now).unwrap();
    let statistics = listening.statistics(line.now);
    let mut text = String::new();
    statistics.write(Format::Json, &mut text);
    println!("{} frames, live octets after each hour: {:?}\n{text}", line.sent, line.live);
    let (good, damaged) = listening.summary().frames();
    assert!(good > 100_000 && damaged > 5_000, "{good} good, {damaged} damaged");
    assert!(statistics.bus_load_percent().unwrap() > 30.0, "{text}");
    assert_eq!(statistics.octets, line.octets);
    // Every octet is in the log, which has a file an hour.
    let (mut files, mut logged) = (0, 0);
    for entry in fs::read_dir(&dir).unwrap() {
        files += 1;
        let mut reader = Reader::new(BufReader::new(File::open(entry.unwrap().path()).unwrap())).unwrap();
        while let Some(captured) = reader.next().unwrap() {
            match captured {
                Captured::Octets(octets) => logged += octets.len() as u64,
                Captured::Start(_) => {}
                other => panic!("{other:?}"),
            }
        }
    }
    assert_eq!((files, logged), (25, line.octets));
    let (first, last) = (line.live[0] as f64, line.live[23] as f64);
    assert!((last - first).abs() <= first * 0.05, "{first} octets after an hour, {last} after a day");
    fs::remove_dir_all(dir).unwrap();
}
