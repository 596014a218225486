//! 24 hours of a busy loop through what `listen` is made of, on virtual time: nothing grows [LG-04].
//!
//! A test program of its own, because it counts what is allocated.
#![cfg(feature = "io")]

mod support;

use looprig::capture::{Annotator, Header, LogWriter, Recorder};
use looprig::frame::{Capabilities, Octet, ReceiverConfig, StampUnit};
use looprig::report::statistics::Statistics;
use looprig::report::summary::Summary;
use looprig::report::{Format, Options, write_item};
use looprig::time::{Instant, Pace};
use looprig::transaction::PairerConfig;
use std::alloc::{GlobalAlloc, Layout, System};
use std::io::{self, Write};
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

struct Counting;

/// Octets that are allocated and not yet given back.
static LIVE: AtomicUsize = AtomicUsize::new(0);

// SAFETY: everything is passed on to the system's allocator; the count touches no memory of it.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        LIVE.fetch_add(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller keeps to the same rules.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        LIVE.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller keeps to the same rules.
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// Takes everything and keeps only its length.
struct Sink(u64);

impl Write for Sink {
    fn write(&mut self, octets: &[u8]) -> io::Result<usize> {
        self.0 += octets.len() as u64;
        Ok(octets.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// The listener's chain: log first, then meaning, then text and counts.
struct Pipeline {
    recorder: Recorder,
    annotator: Annotator,
    log: LogWriter<Sink>,
    summary: Summary,
    octets: u64,
    text: String,
}

impl Pipeline {
    fn new() -> Self {
        let stamp_error = Duration::from_millis(20);
        let capabilities = Capabilities {
            unit: StampUnit::Octets,
            stamp_error,
            parity_seen: false,
            carrier_seen: false,
            echo: false,
        };
        let header = Header::new("virtual", "2026-11-25T00:00:00Z", Pace::Wire, capabilities);
        let receiver = ReceiverConfig::for_line(Pace::Wire, stamp_error);
        Pipeline {
            recorder: Recorder::new(receiver, Pace::Wire.character(), None),
            annotator: Annotator::new(receiver, PairerConfig::for_line(Pace::Wire, stamp_error * 2), None),
            log: LogWriter::new(Sink(0), Path::new("sink"), &header).unwrap(),
            summary: Summary::default(),
            octets: 0,
            text: String::new(),
        }
    }

    fn octet(&mut self, octet: Octet) {
        self.octets += 1;
        self.recorder.push(&[octet]);
        self.annotator.push(&[octet]);
        self.pass_on();
    }

    /// The line is silent until `at`.
    fn silence(&mut self, at: Instant) {
        self.recorder.handle_timeout(at);
        self.annotator.handle_timeout(at);
        self.pass_on();
    }

    fn pass_on(&mut self) {
        while let Some(record) = self.recorder.next() {
            self.log.write(&record).unwrap();
        }
        let options = Options { format: Format::Text, verbosity: 0, times: true, colour: false };
        while let Some(item) = self.annotator.next() {
            self.summary.add(&item);
            write_item(&item, options, &mut self.text);
        }
        self.text.clear();
    }
}

/// Requests and replies that were published, one after the other, at wire pace with pauses as on a
/// real loop; every tenth frame is spoilt at its 13th octet, and now and then there is noise.
#[test]
fn a_day_takes_no_more_memory_than_an_hour() {
    const HOUR: u64 = 3_600;
    let frames: Vec<Vec<u8>> =
        support::fixtures().into_iter().filter(|f| f.is_frame()).map(|f| f.octets).collect();
    assert!(frames.len() > 50);
    let mut pipeline = Pipeline::new();
    let character = Pace::Wire.character();
    let mut at = Instant::ZERO;
    let mut live = Vec::new();
    let (mut sent, mut hours) = (0usize, 0);
    while hours < 24 {
        let frame = &frames[sent % frames.len()];
        sent += 1;
        let preambles = [0xFF; 5];
        for (i, &value) in preambles.iter().filter(|_| frame[0] != 0xFF).chain(frame).enumerate() {
            at += character;
            let spoilt = sent.is_multiple_of(10) && i % 50 == 12;
            pipeline.octet(Octet::clean(at, if spoilt { value ^ 0x40 } else { value }));
        }
        if sent.is_multiple_of(37) {
            for value in [0x00, 0x55, sent as u8] {
                at += character;
                pipeline.octet(Octet::clean(at, value));
            }
        }
        at += Duration::from_millis(30 + sent as u64 % 400);
        pipeline.silence(at);
        while hours < 24 && at.as_secs_f64() >= (HOUR * (hours + 1)) as f64 {
            hours += 1;
            // The same state of the line at each measurement: all that passed has been accounted for.
            at += Duration::from_secs(2);
            pipeline.silence(at);
            live.push(LIVE.load(Ordering::Relaxed));
        }
    }
    let (first, last) = (live[0] as f64, live[23] as f64);
    let elapsed = at.since(Instant::ZERO);
    let s = Statistics { summary: &pipeline.summary, octets: pipeline.octets, elapsed, pace: Pace::Wire };
    let mut text = String::new();
    s.write(Format::Json, &mut text);
    println!("{sent} frames, live octets after each hour: {live:?}\n{text}");
    let (good, damaged) = pipeline.summary.frames();
    assert!(good > 100_000 && damaged > 5_000, "{good} good, {damaged} damaged");
    assert!(s.bus_load_percent().unwrap() > 30.0, "{text}");
    // Every octet is in the log as two digits.
    assert!(pipeline.log.length() > pipeline.octets * 2);
    assert!((last - first).abs() <= first * 0.05, "{first} octets after an hour, {last} after a day");
}
