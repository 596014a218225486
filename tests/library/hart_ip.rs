//! HART-IP messages and both ends of a session, without sockets and on virtual time.

mod bench;
mod client;
mod codec;
mod host;
mod server;

use bytes::Bytes;
use looprig::ip::{Message, Peer};
use looprig::time::Instant;

/// So many milliseconds after zero.
fn ms(n: u64) -> Instant {
    Instant::from_nanos(n * 1_000_000)
}

/// Octets in hex, spaces anywhere.
fn octets(hex: &str) -> Vec<u8> {
    let digits: String = hex.split_whitespace().collect();
    crate::support::octets(
        &digits.as_bytes().chunks(2).map(String::from_utf8_lossy).collect::<Vec<_>>().join(" "),
    )
}

fn bytes(hex: &str) -> Bytes {
    if hex.is_empty() { Bytes::new() } else { octets(hex).into() }
}

/// The one message in these octets.
fn message(octets: &Bytes) -> Message {
    let (message, len) = Message::parse(octets).expect("a message");
    assert_eq!(len, octets.len());
    message
}

/// A client of this number, by UDP.
fn udp(n: u16) -> Peer {
    Peer { address: ([127, 0, 0, 1], 40_000 + n).into(), stream: None }
}

/// A client of this number, by TCP.
fn tcp(n: u16) -> Peer {
    Peer { stream: Some(n.into()), ..udp(n) }
}
