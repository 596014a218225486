//! The measurement.

use looprig::bench::{self, Bench, Notice};
use looprig::frame::{Address, Frame, Master, PollingAddress, Target};
use looprig::time::{BitTimes, Pace};
use std::fs::File;
use std::io::{Read, Write};
use std::os::fd::AsRawFd;
use std::path::Path;
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

/// Response delay of the mock, ms.
const DELAY_MS: u64 = 25;
/// Slave time-out, characters: 28, which is 256.7 ms [LL-02].
const SLAVE_TIME_OUT: u64 = 28;
/// Silence of a wire on which nobody is heard any more, ms; ends a reply.
const QUIET_MS: i32 = 100;
/// Exchanges when no other number is given.
const EXCHANGES: usize = 40;

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn now() -> Instant {
    Instant::now()
}

#[allow(clippy::disallowed_methods, reason = "a UART sends octets one after the other")]
fn until(at: Instant) {
    std::thread::sleep(at.saturating_duration_since(now()));
}

/// Whether octets are there within `timeout_ms`.
fn readable(terminal: &File, timeout_ms: i32) -> bool {
    let mut fd = libc::pollfd { fd: terminal.as_raw_fd(), events: libc::POLLIN, revents: 0 };
    // SAFETY: one descriptor, which is open.
    unsafe { libc::poll(&raw mut fd, 1, timeout_ms) > 0 }
}

/// One exchange: from the last octet's leaving to the first octet of the reply.
fn exchange(terminal: &mut File, request: &[u8]) -> Duration {
    let character = BitTimes::characters(1).duration();
    let begun = now();
    for (i, octet) in request.iter().enumerate() {
        // The octet is written when its last bit would have left.
        until(begun + character * (i as u32 + 1));
        terminal.write_all(&[*octet]).expect("the mock takes octets");
    }
    let left = now();
    assert!(readable(terminal, 2000), "the mock does not answer");
    let first = now();
    // The rest of the reply, and that the first octet was a preamble and no rubbish.
    let mut reply = Vec::new();
    let mut buffer = [0; 256];
    while readable(terminal, QUIET_MS) {
        let n = terminal.read(&mut buffer).expect("the mock is there");
        reply.extend_from_slice(&buffer[..n]);
    }
    let start = reply.iter().position(|&o| o != 0xFF).expect("a reply");
    assert!(start >= 2 && reply[start] == 0x06, "no reply from a slave [FR-03]: {reply:02X?}");
    first.duration_since(left)
}

fn ms(d: Duration) -> f64 {
    d.as_secs_f64() * 1e3
}

/// Measures and prints.
pub fn run() {
    // Cargo passes `--bench`.
    let exchanges = std::env::args().skip(1).find_map(|a| a.parse().ok()).unwrap_or(EXCHANGES).max(1);
    let text = format!("[[device]]\nresponse_delay_ms = {DELAY_MS}\n[[line]]\nat = \"pty:\"\n");
    let mut plan = bench::check(&text, Path::new("latency.toml")).expect("a bench");
    plan.pace = Pace::Wire;
    let mut bench = Bench::open(plan).expect("a pseudo-terminal");
    let path = bench.places()[0].path.clone();
    let handle = bench.interrupt_handle();
    let (tell, hear) = channel();
    let running = std::thread::spawn(move || bench.run(&mut |notice| drop(tell.send(notice))));
    let mut terminal = File::options().read(true).write(true).open(path).expect("the terminal opens");
    while !matches!(hear.recv(), Ok(Notice::PeerCame { .. })) {}

    let target = Target::Polling(PollingAddress::default());
    let address = Address { master: Master::Secondary, burst: false, target };
    let request = Frame::request(address, 0, Vec::new()).expect("no data").encode_after(5);
    let mut times: Vec<Duration> = (0..exchanges).map(|_| exchange(&mut terminal, &request)).collect();
    handle.interrupt();
    running.join().expect("the bench ran").expect("the bench ended well");

    times.sort();
    // Nearest rank: the smallest that at least this part of all does not exceed.
    let rank = |part: f64| times[((times.len() as f64 * part).ceil() as usize).clamp(1, times.len()) - 1];
    let (median, p99) = (rank(0.5), rank(0.99));
    let limit = BitTimes::characters(SLAVE_TIME_OUT).duration();
    let least = Duration::from_millis(DELAY_MS) + BitTimes::characters(1).duration();
    println!("{exchanges} exchanges of command 0 over a pseudo-terminal at wire pace");
    println!(
        "last octet of the request to first octet of the reply: median {:.2} ms, 99th percentile {:.2} ms",
        ms(median),
        ms(p99)
    );
    println!("slave time-out {:.1} ms: 99th percentile / time-out = {:.3}", ms(limit), ms(p99) / ms(limit));
    println!(
        "response delay {DELAY_MS} ms, with the first character {:.2} ms: median / that = {:.3}, 99th percentile / that = {:.3}",
        ms(least),
        ms(median) / ms(least),
        ms(p99) / ms(least)
    );
}
