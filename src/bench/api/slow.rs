//! Peers that are slow, or say nothing: bounded in time and memory, on a clock that nobody waits for [BA-09].

use super::connection::{BEHIND, MOST_KEPT, PATIENCE, STUCK, connection};
use super::server::{Shared, router};
use super::tests::plan;
use crate::bench::driven::{Answer, Driven, Offered, Order, Reader, Reply, StreamNews, TracePlan};
use crate::bench::{Orders, world};
use crate::line::io::Ports;
use crate::time::Instant;
use core::time::Duration;
use std::sync::Arc;
use std::sync::mpsc::Receiver;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
use tokio::sync::Semaphore;
use tokio::task::yield_now;
use tokio::time::{Instant as Clock, sleep, timeout};

const SECOND: Duration = Duration::from_secs(1);
/// Far more than anything here takes.
const LONG: Duration = Duration::from_secs(100_000);

/// The other end of a connection through which so many octets go that nobody has taken.
struct Peer {
    end: DuplexStream,
    /// The place that the connection takes.
    room: Arc<Semaphore>,
    orders: Receiver<(Order, Reply)>,
    begun: Clock,
    _ports: Ports,
}

impl Peer {
    fn new(octets: usize) -> Peer {
        let (orders, queue, ports) = Orders::by_hand();
        let shared = Arc::new(Shared { plan: plan(), orders, token: None });
        let (end, there) = duplex(octets);
        let room = Arc::new(Semaphore::new(1));
        let permit = Arc::clone(&room).try_acquire_owned().expect("room");
        tokio::spawn(connection(there, permit, router(&shared)));
        Peer { end, room, orders: queue, begun: Clock::now(), _ports: ports }
    }

    async fn say(&mut self, octets: &str) {
        self.end.write_all(octets.as_bytes()).await.expect("it is taken");
    }

    /// One octet every two seconds, for as long as they are taken.
    async fn drip(&mut self, octets: &str) {
        for octet in octets.bytes() {
            if self.end.write_all(&[octet]).await.is_err() {
                return;
            }
            sleep(2 * SECOND).await;
        }
    }

    /// What comes until the connection is closed, and when that is.
    async fn rest(&mut self) -> (String, Duration) {
        let mut octets = Vec::new();
        timeout(LONG, self.end.read_to_end(&mut octets)).await.expect("an end").expect("octets");
        (String::from_utf8(octets).expect("text"), self.begun.elapsed())
    }

    /// When its place is free again, while nothing more is read.
    async fn freed(&self) -> Duration {
        let _permit = timeout(LONG, self.room.acquire()).await.expect("an end").expect("a place");
        self.begun.elapsed()
    }

    /// The order that the server gives to the bench; no time passes.
    async fn order(&mut self) -> (Order, Reply) {
        loop {
            match self.orders.try_recv() {
                Ok(order) => return order,
                Err(_) => yield_now().await,
            }
        }
    }
}

/// Not before, and at most a second later.
fn about(took: Duration, wanted: Duration) {
    assert!(took >= wanted && took < wanted + SECOND, "{took:?} and not {wanted:?}");
}

const HEAD: &str = "GET /bench HTTP/1.1\r\nHost: localhost\r\n\r\n";

#[tokio::test(start_paused = true)]
async fn who_says_nothing_is_cut_off() {
    let mut peer = Peer::new(1024);
    let (said, took) = peer.rest().await;
    about(took, PATIENCE);
    assert_eq!(said, "");
    about(peer.freed().await, PATIENCE);
}

#[tokio::test(start_paused = true)]
async fn half_a_head_or_one_drop_by_drop() {
    let mut half = Peer::new(1024);
    half.say(&HEAD[..30]).await;
    about(half.rest().await.1, PATIENCE);
    let mut drops = Peer::new(1024);
    drops.drip(HEAD).await;
    // Each octet is no new beginning; it is seen when the next one is not taken.
    let took = drops.begun.elapsed();
    assert!((PATIENCE..PATIENCE + 3 * SECOND).contains(&took), "{took:?}");
    assert_eq!(drops.room.available_permits(), 1);
}

#[tokio::test(start_paused = true)]
async fn half_a_body_or_one_drop_by_drop() {
    let head = "POST /time/run HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 12\r\n\r\n";
    for drip in [false, true] {
        let mut peer = Peer::new(4096);
        peer.say(head).await;
        match drip {
            true => peer.drip("{\"speed\":").await,
            false => peer.say("{\"spe").await,
        }
        let (said, _) = peer.rest().await;
        assert!(said.starts_with("HTTP/1.1 408 "), "{said}");
        assert!(said.contains("did not come within 10 s"), "{said}");
        let freed = peer.freed().await;
        assert!(freed < 3 * PATIENCE, "{freed:?}");
    }
}

/// A connection that is kept for another request, and none comes.
#[tokio::test(start_paused = true)]
async fn nothing_after_an_answer() {
    let mut peer = Peer::new(1 << 20);
    sleep(5 * SECOND).await;
    peer.say(HEAD).await;
    let (said, took) = peer.rest().await;
    assert!(said.starts_with("HTTP/1.1 200 "), "{said}");
    about(took, 5 * SECOND + PATIENCE);
}

/// A head without end is not kept: refused as soon as it is longer than what is kept.
#[tokio::test(start_paused = true)]
async fn a_head_without_end() {
    let mut peer = Peer::new(1 << 20);
    peer.say("GET /bench HTTP/1.1\r\nX: ").await;
    peer.say(&"a".repeat(2 * MOST_KEPT)).await;
    let (said, took) = peer.rest().await;
    assert!(said.starts_with("HTTP/1.1 431 "), "{said}");
    assert!(took < SECOND, "{took:?}");
}

/// An answer that nobody takes, and one that is taken so slowly that its end is never seen.
#[tokio::test(start_paused = true)]
async fn an_answer_that_is_not_taken() {
    let ask = "GET /openapi.json HTTP/1.1\r\nHost: localhost\r\n\r\n";
    let mut peer = Peer::new(256);
    peer.say(ask).await;
    about(peer.freed().await, STUCK);
    let mut slow = Peer::new(256);
    slow.say(ask).await;
    let mut taken = 0;
    while slow.room.available_permits() == 0 {
        sleep(20 * SECOND).await;
        taken += slow.end.read(&mut [0; 16]).await.unwrap_or(0);
        assert!(slow.begun.elapsed() < 2 * BEHIND, "it is never cut off");
    }
    assert!(taken > 100, "it took something all the time");
    // It is looked at every 20 s.
    assert!(slow.begun.elapsed() >= BEHIND && slow.begun.elapsed() <= BEHIND + 20 * SECOND);
}

fn driven() -> Driven {
    let plan = plan();
    let (world, _) = world(&plan, &[], Duration::ZERO, Instant::ZERO);
    let mut bus = world.into_bus();
    bus.add_port();
    let mut driven = Driven::new(plan, bus);
    driven.obey(Instant::ZERO, Order::Pause, Box::new(drop));
    driven
}

const TRACE: &str =
    "GET /trace?quantity=wires.octets_sent&period_s=0.001 HTTP/1.1\r\nHost: localhost\r\n\r\n";

/// Time of the bench goes on by so much.
fn step(driven: &mut Driven, s: u64) {
    driven.obey(Instant::ZERO, Order::Step { by: Duration::from_secs(s) }, Box::new(drop));
    let target = driven.target(Instant::ZERO);
    let mut last = None;
    while last != Some(target) {
        last = Some(driven.turn(target, last).1);
    }
    driven.settle(Instant::ZERO);
}

/// [BA-09]: samples come far faster than they are taken. What waits is bounded, and whoever is dropped for it is told so behind
/// what he got, however late he reads on.
#[tokio::test(start_paused = true)]
async fn a_stream_that_is_read_too_slowly() {
    let mut driven = driven();
    let mut peer = Peer::new(1024);
    // 64 values each ms: after 4.1 s more than 262144 wait; nobody runs meanwhile who could take some.
    let names = ["wires.octets_sent"; 64].join(",");
    peer.say(&TRACE.replace("wires.octets_sent", &names)).await;
    let (order, reply) = peer.order().await;
    driven.obey(Instant::ZERO, order, reply);
    step(&mut driven, 5);
    let mut told = Vec::new();
    loop {
        let mut octets = [0; 4096];
        match timeout(LONG, peer.end.read(&mut octets)).await.expect("in time").expect("octets") {
            0 => break,
            n => told.extend_from_slice(&octets[..n]),
        }
        // What a bench does every 20 ms while something waits.
        driven.settle(Instant::ZERO);
    }
    let told = String::from_utf8(told).expect("text");
    let samples = told.matches("event: sample").count();
    // Eight batches of 64 on their way, 4096 values each, and not the 4096 that had waited.
    assert!((1..=9 * 64).contains(&samples), "{samples} samples");
    let last = told.rfind("event: ").map(|at| &told[at..]).expect("an event");
    assert!(last.starts_with("event: too_slow\n") && last.contains("ask for fewer quantities"), "{last}");
}

/// A reader for the stream that is asked for, and the plan of it.
async fn opened(peer: &mut Peer) -> Box<dyn Reader> {
    let (order, reply) = peer.order().await;
    let Order::Stream { quantities, period, reader } = order else { panic!("another order") };
    let (tell, told) = std::sync::mpsc::channel();
    let other = super::stream::pair().0;
    let order = Order::Stream { quantities, period, reader: other };
    driven().obey(Instant::ZERO, order, Box::new(move |answer| drop(tell.send(answer))));
    let plan: TracePlan = match told.try_recv() {
        Ok(Ok(Answer::Tracing(plan))) => plan,
        _ => panic!("no trace"),
    };
    reply(Ok(Answer::Tracing(plan)));
    reader
}

/// A stream that nobody takes is given up, and the bench notices.
#[tokio::test(start_paused = true)]
async fn a_stream_that_is_not_read() {
    let mut peer = Peer::new(256);
    peer.say(TRACE).await;
    let mut reader = opened(&mut peer).await;
    let news = |n: u64| vec![StreamNews::Restored(Instant::from_nanos(n)); 100];
    let mut offered = 0;
    while let Offered::Taken = reader.offer(news(offered)) {
        offered += 1;
        assert!(offered < 1000, "there is no end of what it takes");
        yield_now().await;
    }
    about(peer.freed().await, STUCK);
    assert!(!reader.is_there());
    assert!(matches!(reader.offer(news(0)), Offered::Gone));
}

/// A stream that is read as it comes lasts, longer than any of the bounds; while nothing happens it says so.
#[tokio::test(start_paused = true)]
async fn a_stream_that_is_read_lasts() {
    let mut peer = Peer::new(4096);
    peer.say(TRACE).await;
    let mut reader = opened(&mut peer).await;
    let (mut told, mut octets) = (String::new(), [0; 4096]);
    for n in 0..1000u64 {
        // Every second, then nothing for as long again.
        if n < 500 {
            assert!(matches!(
                reader.offer(vec![StreamNews::Restored(Instant::from_nanos(n))]),
                Offered::Taken
            ));
        }
        if let Ok(read) = timeout(SECOND, peer.end.read(&mut octets)).await {
            let read = read.expect("octets");
            assert_ne!(read, 0, "closed after {n} s");
            told.push_str(core::str::from_utf8(&octets[..read]).expect("text"));
        }
        sleep(SECOND).await;
    }
    assert_eq!(told.matches("event: restored").count(), 500);
    assert!(told.matches(": still here").count() > 30, "{}", told.matches(": still here").count());
    assert!(reader.is_there() && peer.begun.elapsed() > 3 * BEHIND);
}
