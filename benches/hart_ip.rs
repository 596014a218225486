//! How many requests a second a mock answers over HART-IP, and how late the slowest hundredth: command 3 of a device at
//! `pace = "fast"`, by UDP and by TCP, beside a bare tokio server of the same run that sends back what it gets.
//!
//! Run with `cargo bench --bench hart_ip`; with `--quick` a fraction of the time. Clients, echo and mock share the processors of
//! one machine, so the ratio says more than the rates. Both are measured by turns; of each the round in the middle counts.
//!
//! At `pace = "fast"` the server has no thread of its own, since a change of threads took longer than all that is done with a
//! request. What is left, by `perf` on 2026-11-30 (two processors with much other work, some 11,000 requests by UDP and TCP): 21 us of
//! processor time a request, 33 with a thread, against 9 us of the echo. Of the 21 the kernel takes 43 % (sending 28, which wakes the
//! client; waiting 8, receiving 5), memory and its copies 16 %, the wires 9 %, tokio 8 %; the rest are device, masters, frames and
//! the server. The kernel alone is as much as the echo, so where the server's thread is what limits, 0.7 would need all that is
//! not kernel to take less than 4 us: that is not reached. Where the clients limit it may be.

use looprig::bench::{self, Bench};
use looprig::frame::{Address, Frame, Master, PollingAddress, Target, UniqueAddress};
use looprig::ip::{Content, Id, Initiate, Message, Type};
use std::net::SocketAddr;
use std::path::Path;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream, UdpSocket};
use tokio::runtime::{Builder, Runtime};

/// Clients that each have one request under way.
const CLIENTS: [usize; 2] = [1, 64];
/// Of the echo's rate, with many clients.
const AIM: f64 = 0.7;
const BENCH: &str = "pace = \"fast\"\n[[device]]\n[[line]]\nat = \"hart-ip::0\"\nsessions = 200\n";

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn now() -> std::time::Instant {
    std::time::Instant::now()
}

fn runtime() -> Runtime {
    Builder::new_current_thread().enable_all().build().expect("a runtime")
}

/// A connection or a datagram socket of one client.
enum Peer {
    Udp(UdpSocket),
    Tcp(TcpStream),
}

impl Peer {
    async fn to(server: SocketAddr, tcp: bool) -> Peer {
        match tcp {
            true => {
                let stream = TcpStream::connect(server).await.expect("a server");
                stream.set_nodelay(true).expect("a stream");
                Peer::Tcp(stream)
            }
            false => {
                let socket = UdpSocket::bind("127.0.0.1:0").await.expect("a port");
                socket.connect(server).await.expect("an address");
                Peer::Udp(socket)
            }
        }
    }

    /// Sends a message and receives one: its octets.
    async fn ask<'b>(&mut self, octets: &[u8], buffer: &'b mut [u8]) -> &'b [u8] {
        let n = match self {
            Peer::Udp(socket) => {
                socket.send(octets).await.expect("a socket");
                socket.recv(buffer).await.expect("an answer")
            }
            Peer::Tcp(stream) => {
                stream.write_all(octets).await.expect("a stream");
                stream.read_exact(&mut buffer[..8]).await.expect("a header");
                let count = usize::from(u16::from_be_bytes([buffer[6], buffer[7]]));
                stream.read_exact(&mut buffer[8..count]).await.expect("a body");
                count
            }
        };
        &buffer[..n]
    }
}

/// Sends back what it gets, for ever.
async fn echo(udp: UdpSocket, tcp: TcpListener) {
    tokio::spawn(async move {
        let mut buffer = vec![0; 2048];
        while let Ok((n, from)) = udp.recv_from(&mut buffer).await {
            let _ = udp.send_to(&buffer[..n], from).await;
        }
    });
    while let Ok((mut stream, _)) = tcp.accept().await {
        let _ = stream.set_nodelay(true);
        tokio::spawn(async move {
            let mut buffer = vec![0; 2048];
            while let Ok(n) = stream.read(&mut buffer).await {
                if n == 0 || stream.write_all(&buffer[..n]).await.is_err() {
                    break;
                }
            }
        });
    }
}

/// The port of an echo that runs in a thread of its own until the program ends.
fn start_echo() -> SocketAddr {
    let (tell, told) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        runtime().block_on(async {
            let tcp = TcpListener::bind("127.0.0.1:0").await.expect("a port");
            let at = tcp.local_addr().expect("an address");
            let udp = UdpSocket::bind(at).await.expect("the same port by UDP");
            tell.send(at).expect("somebody who waits");
            echo(udp, tcp).await;
        });
    });
    told.recv().expect("an address")
}

/// The same of a mock.
fn start_mock() -> SocketAddr {
    let plan = bench::check(BENCH, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let mut bench = Bench::open(plan).unwrap_or_else(|e| panic!("{e}"));
    let open = bench.places()[0].open.clone().expect("a LINE that reaches it");
    std::thread::spawn(move || {
        let _ = bench.run(&mut drop);
    });
    let port = open.rsplit(':').next().and_then(|p| p.parse().ok()).expect("a port");
    SocketAddr::from(([127, 0, 0, 1], port))
}

fn request(id: Id, sequence: u16, body: impl Into<bytes::Bytes>) -> Vec<u8> {
    Message::new(Type::Request, id, sequence, body).expect("a short body").encode().to_vec()
}

/// A frame of the device, from an answer.
fn frame(octets: &[u8]) -> Frame {
    let (message, _) = Message::parse(&octets.to_vec().into()).expect("a message");
    let Content::Frame { octets, .. } = message.content() else { panic!("{message}") };
    Frame::parse(&octets).unwrap_or_else(|e| panic!("{e}"))
}

/// One client for so long: how late each answer was.
async fn client(server: SocketAddr, tcp: bool, real: bool, lasts: Duration) -> Vec<Duration> {
    let mut peer = Peer::to(server, tcp).await;
    let mut buffer = vec![0; 2048];
    let polled = Address::new(Master::Secondary, Target::Polling(PollingAddress::default()));
    // What the echo gets has the same length.
    let mut to = Address::new(Master::Secondary, Target::Unique(UniqueAddress::new([0x3D, 0x71], [0, 0, 1])));
    if real {
        let initiate = Initiate { master_type: 0, inactivity_ms: 30_000 };
        peer.ask(&request(Id::SessionInitiate, 1, initiate.encode()), &mut buffer).await;
        let who = Frame::request(polled, 0, vec![]).expect("a short frame");
        let identity = frame(peer.ask(&request(Id::TokenPdu, 2, who.encode()), &mut buffer).await);
        let d = identity.data();
        let unique = UniqueAddress::new([d[1], d[2]], [d[9], d[10], d[11]]);
        to = Address::new(Master::Secondary, Target::Unique(unique));
    }
    let body = Frame::request(to, 3, vec![]).expect("a short frame").encode();
    let (begun, mut took, mut sequence) = (now(), Vec::new(), 3_u16);
    while begun.elapsed() < lasts {
        sequence = sequence.wrapping_add(1);
        let octets = request(Id::TokenPdu, sequence, body.clone());
        let from = now();
        let answer = peer.ask(&octets, &mut buffer).await;
        took.push(from.elapsed());
        assert_eq!(answer[4..6], sequence.to_be_bytes());
        // Command 3 and its data, or the request itself.
        assert_eq!((answer[1], answer[14]), (u8::from(real), 3), "{answer:02X?}");
    }
    if real {
        peer.ask(&request(Id::SessionClose, 2, vec![]), &mut buffer).await;
    }
    took
}

/// Requests a second, and the delay that 99 of 100 answers keep to.
fn measure(server: SocketAddr, tcp: bool, real: bool, clients: usize, lasts: Duration) -> (f64, Duration) {
    runtime().block_on(async {
        let tasks: Vec<_> = (0..clients).map(|_| tokio::spawn(client(server, tcp, real, lasts))).collect();
        let mut all = Vec::new();
        for task in tasks {
            all.extend(task.await.expect("a client that ends"));
        }
        all.sort_unstable();
        (all.len() as f64 / lasts.as_secs_f64(), all[all.len() * 99 / 100])
    })
}

fn middle(mut rounds: Vec<(f64, Duration)>) -> (f64, Duration) {
    rounds.sort_by(|a, b| a.0.total_cmp(&b.0));
    rounds[rounds.len() / 2]
}

fn main() {
    let quick = std::env::args().any(|a| a == "--quick");
    let (lasts, rounds) = if quick { (Duration::from_millis(300), 1) } else { (Duration::from_secs(2), 5) };
    let (bare, mock) = (start_echo(), start_mock());
    println!("command 3 of a mock over HART-IP at this machine, beside a bare echo of the same run:");
    for tcp in [false, true] {
        for clients in CLIENTS {
            let (mut theirs, mut ours) = (Vec::new(), Vec::new());
            for _ in 0..rounds {
                theirs.push(measure(bare, tcp, false, clients, lasts));
                ours.push(measure(mock, tcp, true, clients, lasts));
            }
            let ((bare_rate, bare_late), (rate, late)) = (middle(theirs), middle(ours));
            let us = |d: Duration| d.as_secs_f64() * 1e6;
            println!(
                "{} {clients:3} clients: {rate:7.0} requests/s, 99 % within {:6.0} us; echo {bare_rate:7.0}/s, {:6.0} us; ratio \
                 {:.2}{}",
                if tcp { "TCP" } else { "UDP" },
                us(late),
                us(bare_late),
                rate / bare_rate,
                if clients > 1 { format!(" (aim {AIM})") } else { String::new() }
            );
        }
    }
}
