//! Octets over TCP, as they are on the wire, unescaped [LI-12]: one connection to somebody who
//! listens, or a place where several others connect.
//!
//! A thread of its own owns the sockets. Nothing here limits who may connect: whoever reaches a
//! listening end can speak on the line, so it is loopback unless the user names another address.

mod floor;
mod socket;
mod worker;

pub(super) use socket::tune;

use super::ports::{Feed, Port, Started, end_of};
use crate::frame::{Capabilities, StampUnit};
use crate::line::{CAPACITY, Endpoint, Error, Fault};
use crate::time::{BitTimes, Instant, Pace};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::mpsc::{UnboundedSender, unbounded_channel};
use worker::{Command, End, Worker};

/// How late a stamp can be: what collects octets into packets at the other end, and both schedulers
/// (common practice, no source). On a real network it can be any amount more.
const STAMP_ERROR: Duration = Duration::from_millis(20);

/// Silence after which the word is free: link quiet of a primary master, characters [LL-05].
const HOLD_CHARACTERS: u64 = 33;

/// One end of octets over TCP.
pub(super) struct Tcp {
    /// The line as the user names it, with the port that it really has.
    name: String,
    /// What others of this machine open to get there.
    reach: PathBuf,
    pace: Pace,
    feed: Feed,
    last_end: Instant,
    commands: Option<UnboundedSender<Command>>,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

/// What both threads look at.
#[derive(Default)]
struct Shared {
    /// Octets that were handed over and are with no socket yet. The queue of commands is bounded by it.
    waiting: AtomicUsize,
    /// Peers that are connected.
    peers: AtomicUsize,
}

impl Tcp {
    /// Connects to `endpoint`.
    pub(super) fn connect(endpoint: &Endpoint, pace: Pace, feed: Feed) -> Result<Tcp, Error> {
        let name = format!("tcp:{endpoint}");
        let stream = socket::connect(endpoint, &name, feed.clock)?;
        let reach = PathBuf::from(&name);
        Tcp::over(End::Connected(stream, endpoint.to_string()), name, reach, pace, feed)
    }

    /// Listens at `endpoint`.
    pub(super) fn listen(endpoint: &Endpoint, pace: Pace, feed: Feed) -> Result<Tcp, Error> {
        let asked = format!("tcp-listen:{endpoint}");
        let (listener, at) = socket::listen(endpoint, &asked)?;
        let real = Endpoint { host: endpoint.host.clone(), port: at.port() };
        let reach = PathBuf::from(format!("tcp:{}", from_here(at)));
        Tcp::over(End::Listening(listener), format!("tcp-listen:{real}"), reach, pace, feed)
    }

    fn over(end: End, name: String, reach: PathBuf, pace: Pace, feed: Feed) -> Result<Tcp, Error> {
        let shared = Arc::new(Shared::default());
        // A connected line has its peer from the start, whenever the thread gets going.
        shared.peers.store(usize::from(matches!(end, End::Connected(..))), Ordering::SeqCst);
        let (commands, received) = unbounded_channel();
        // What one peer sends at once may come in pieces that far apart.
        let hold = pace.scale(BitTimes::characters(HOLD_CHARACTERS).duration()).max(STAMP_ERROR);
        let character = pace.character();
        let thread = {
            let (shared, feed, name) = (Arc::clone(&shared), feed.clone(), name.clone());
            std::thread::Builder::new().name("looprig-tcp".to_string()).spawn(move || {
                Worker::run(end, name, (hold, character), feed, received, shared);
            })
        };
        let thread = thread.map_err(|e| Error::new("opening", &name, Fault::System, e))?;
        Ok(Tcp {
            name,
            reach,
            pace,
            feed,
            last_end: Instant::ZERO,
            commands: Some(commands),
            shared,
            thread: Some(thread),
        })
    }
}

/// The address by which programs of this machine reach what listens at `at`.
fn from_here(at: SocketAddr) -> SocketAddr {
    let ip = match at.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        ip => ip,
    };
    SocketAddr::new(ip, at.port())
}

impl Port for Tcp {
    fn describe(&self) -> String {
        self.name.clone()
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities {
            unit: StampUnit::Octets,
            stamp_error: STAMP_ERROR,
            parity_seen: false,
            carrier_seen: false,
            echo: false,
        }
    }

    fn path(&self) -> &Path {
        &self.reach
    }

    fn write(&mut self, octets: &[u8]) -> Result<bool, Error> {
        let lost = || Error::new("writing to", &self.name, Fault::PeerGone, "");
        let commands = self.commands.as_ref().filter(|c| !c.is_closed()).ok_or_else(lost)?;
        let waiting = self.shared.waiting.load(Ordering::SeqCst);
        let full = waiting > 0 && waiting.saturating_add(octets.len()) > CAPACITY;
        if full || self.shared.peers.load(Ordering::SeqCst) == 0 {
            return Ok(false);
        }
        self.shared.waiting.fetch_add(octets.len(), Ordering::SeqCst);
        commands.send(Command::Send(octets.to_vec())).map_err(|_| lost())?;
        Ok(true)
    }

    fn hang_up(&mut self) {
        if let Some(commands) = &self.commands {
            let _ = commands.send(Command::HangUp);
        }
    }

    fn send(&mut self, octets: &[u8]) -> Result<Started, Error> {
        let begun = self.feed.clock.now();
        let nobody = self.shared.peers.load(Ordering::SeqCst) == 0;
        if !self.write(octets)? && !nobody {
            return Err(Error::new("sending on", &self.name, Fault::Stuck, ""));
        }
        self.last_end = end_of(begun, self.last_end, octets.len(), self.pace);
        Ok(Started::EndsAt(self.last_end))
    }
}

impl Drop for Tcp {
    fn drop(&mut self) {
        // The end of the commands is what the thread waits for.
        drop(self.commands.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everywhere_is_reached_from_here_by_loopback() {
        for (at, from) in [
            ("0.0.0.0:5", "127.0.0.1:5"),
            ("[::]:5", "[::1]:5"),
            ("127.0.0.2:5", "127.0.0.2:5"),
            ("[::1]:5", "[::1]:5"),
        ] {
            assert_eq!(from_here(at.parse().unwrap()).to_string(), from);
        }
    }
}
