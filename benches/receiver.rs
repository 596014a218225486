//! How fast the receiver finds frames, beside the least that any program must do with the same
//! records: look at each value once and keep the record.
//!
//! Run with `cargo bench --bench receiver`; the last line tells how many times longer the receiver
//! takes than the copy. It should stay within [`AIM`].

use criterion::{Criterion, Throughput};
use looprig::frame::{Address, Frame, Master, Octet, PollingAddress, Target, UniqueAddress};
use looprig::frame::{Receiver, ReceiverConfig, Reception};
use looprig::time::{BitTimes, Instant, Pace};
use std::hint::black_box;
use std::time::Duration;

/// Times that the receiver may take longer than the copy.
const AIM: f64 = 4.0;
/// Frames in the stream.
const FRAMES: usize = 10_000;
/// Octets handed over at once, as from a port that was read or a file's buffer.
const SLICE: usize = 4096;
/// Times that the whole stream is measured for the last line; the quickest counts.
const ROUNDS: usize = 30;

/// Universal replies with the length of their data in revision 7, where that yields 20 to 40 octets
/// [CM-000] [CM-003] [CM-009] [CM-013] [CM-014] [CM-015] [CM-020].
const REPLIES: [(u8, usize); 7] = [(0, 22), (3, 24), (9, 29), (13, 21), (14, 16), (15, 18), (20, 20)];

/// Replies one after the other, each after five preambles and a pause, stamped as on the wire.
fn stream() -> Vec<Octet> {
    let character = BitTimes::characters(1).duration();
    let mut at = Instant::ZERO;
    let mut out = Vec::new();
    let mut seed = 1u32;
    let mut random = || {
        // Multiplier and increment of the common 32-bit linear congruence; its high octet will do.
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 24) as u8
    };
    for n in 0..FRAMES {
        let (command, len) = REPLIES[n % REPLIES.len()];
        let target = if n % 5 == 0 {
            Target::Polling(PollingAddress::default())
        } else {
            Target::Unique(UniqueAddress::new([0x00, 0xFD], [0, random(), random()]))
        };
        let master = if n % 3 == 0 { Master::Primary } else { Master::Secondary };
        let data: Vec<u8> = (0..len).map(|_| random()).collect();
        let frame = Frame::reply(false, Address { master, burst: false, target }, command, [0; 2], data)
            .expect("at most 29 octets of data");
        at += character * u32::from(3 + random() % 30);
        for value in frame.encode_after(5) {
            at += character;
            out.push(Octet::clean(at, value));
        }
    }
    out
}

/// Feeds the stream and says how many frames were good.
fn receive(receiver: &mut Receiver, octets: &[Octet]) -> usize {
    let mut good = 0;
    for slice in octets.chunks(SLICE) {
        receiver.push(black_box(slice));
        while let Some(reception) = receiver.next() {
            good += usize::from(matches!(black_box(&reception), Reception::Good(_)));
        }
    }
    receiver.finish();
    while let Some(reception) = receiver.next() {
        good += usize::from(matches!(black_box(&reception), Reception::Good(_)));
    }
    good
}

/// Looks at each value once and keeps the record.
fn copy(kept: &mut Vec<Octet>, octets: &[Octet]) -> u8 {
    let mut check = 0;
    for slice in octets.chunks(SLICE) {
        kept.clear();
        for o in black_box(slice) {
            check ^= o.value;
            kept.push(*o);
        }
        black_box(&*kept);
    }
    check
}

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn time(run: impl FnOnce()) -> Duration {
    let from = std::time::Instant::now();
    run();
    from.elapsed()
}

fn main() {
    let octets = stream();
    let config = ReceiverConfig::for_line(Pace::Wire, Duration::ZERO);
    let mut receiver = Receiver::new(config);
    let mut kept = Vec::with_capacity(SLICE);
    assert_eq!(receive(&mut receiver, &octets), FRAMES, "the receiver missed frames");

    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group("octets");
    group.throughput(Throughput::Elements(octets.len() as u64));
    group.bench_function("receive", |b| b.iter(|| receive(&mut receiver, &octets)));
    group.bench_function("copy", |b| b.iter(|| copy(&mut kept, &octets)));
    group.finish();
    criterion.final_summary();

    // In turns, so that both meet the same machine; the shortest is the least disturbed.
    let (mut received, mut copied) = (Duration::MAX, Duration::MAX);
    for _ in 0..ROUNDS {
        received = received.min(time(|| {
            black_box(receive(&mut receiver, &octets));
        }));
        copied = copied.min(time(|| {
            black_box(copy(&mut kept, &octets));
        }));
    }
    let rate = |d: Duration| octets.len() as f64 / d.as_secs_f64() / 1e6;
    println!(
        "receiver {:.0} million octets/s, copy {:.0} million octets/s: ratio {:.2} (aim: at most {AIM})",
        rate(received),
        rate(copied),
        received.as_secs_f64() / copied.as_secs_f64()
    );
}
