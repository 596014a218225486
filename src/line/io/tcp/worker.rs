//! The thread that owns the sockets.

use super::super::ports::{Feed, PeerNews, PortEvent};
use super::floor::Floor;
use super::{Shared, socket};
use crate::line::{CAPACITY, Error, Fault};
use crate::time::Instant;
use std::collections::VecDeque;
use std::future::{Future, poll_fn};
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc::UnboundedReceiver;
use tokio::time::Sleep;

/// Peers at once; who comes on top is told by the connection's end.
const MOST_PEERS: usize = 16;

/// Octets that wait for one peer besides those in the system's buffers, ten minutes of a busy wire.
/// Who lets more pile up is dropped.
const MOST_WAITING: usize = 64 * 1024;

/// Octets that a peer may send ahead of the pace. Who goes on faster than the wire is read no faster
/// than the wire, else one who floods would make all others too slow.
const AHEAD: u32 = CAPACITY as u32;

/// How long nobody is accepted after the system has failed to, for want of descriptors perhaps.
const ACCEPT_AGAIN: Duration = Duration::from_millis(200);

/// Which end this is.
pub(super) enum End {
    /// We have connected, to whom the name says; when it ends the port is lost.
    Connected(std::net::TcpStream, String),
    /// Others come and go.
    Listening(std::net::TcpListener),
}

struct Peer {
    id: u64,
    name: String,
    stream: TcpStream,
    out: VecDeque<u8>,
    /// When what it has sent so far would have ended on a wire of this pace.
    spent: Instant,
    /// The last that it sent was not heard because another one had the word.
    in_vain: bool,
    /// Octets that were not heard and are still to be told.
    unheard: u64,
}

/// What the thread owns.
pub(super) struct Worker {
    listener: Option<TcpListener>,
    resume: Option<Pin<Box<Sleep>>>,
    /// When a peer that was too fast is read again.
    breath: Option<Pin<Box<Sleep>>>,
    character: Duration,
    peers: Vec<Peer>,
    next_id: u64,
    /// The peer that is looked at first, so that one who never stops does not hide the others.
    turn: usize,
    floor: Floor,
    feed: Feed,
    commands: UnboundedReceiver<Command>,
    shared: Arc<Shared>,
    buffer: [u8; 4096],
}

/// What the thread is told to do.
pub(super) enum Command {
    /// To send octets.
    Send(Vec<u8>),
    /// To close the connections of all peers of a listening end.
    HangUp,
}

/// What the thread woke up for.
enum Step {
    Command(Option<Command>),
    Accepted(io::Result<(TcpStream, SocketAddr)>),
    Wrote(usize, io::Result<usize>),
    Read(usize, io::Result<usize>),
}

/// Why [`Worker::serve`] ended.
enum Ended {
    /// Nobody is left to do it for.
    Done,
    /// The only connection is lost.
    Lost(&'static str, Fault, String),
}

impl Worker {
    /// Serves until the commands end, nobody fetches events, or the only connection is lost.
    pub(super) fn run(
        end: End,
        name: String,
        (hold, character): (Duration, Duration),
        feed: Feed,
        commands: UnboundedReceiver<Command>,
        shared: Arc<Shared>,
    ) {
        let (port, events) = (feed.port, feed.clone());
        let ended = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
            Err(e) => Ended::Lost("opening", Fault::System, e.to_string()),
            Ok(runtime) => runtime.block_on(async {
                match Worker::new(end, (hold, character), feed, commands, shared) {
                    Err(e) => Ended::Lost("opening", Fault::System, e.to_string()),
                    Ok(mut worker) => worker.serve().await,
                }
            }),
        };
        if let Ended::Lost(doing, fault, said) = ended {
            let error = Error::new(doing, &name, fault, said);
            events.put(PortEvent::Closed { port, error });
        }
    }

    fn new(
        end: End,
        (hold, character): (Duration, Duration),
        feed: Feed,
        commands: UnboundedReceiver<Command>,
        shared: Arc<Shared>,
    ) -> io::Result<Worker> {
        let mut worker = Worker {
            listener: None,
            resume: None,
            breath: None,
            character,
            peers: Vec::new(),
            next_id: 0,
            turn: 0,
            floor: Floor::new(hold),
            feed,
            commands,
            shared,
            buffer: [0; 4096],
        };
        match end {
            End::Listening(listener) => worker.listener = Some(TcpListener::from_std(listener)?),
            End::Connected(stream, name) => worker.admit(TcpStream::from_std(stream)?, name),
        }
        Ok(worker)
    }

    fn admit(&mut self, stream: TcpStream, name: String) {
        socket::tune(&stream);
        let id = self.next_id;
        self.next_id += 1;
        self.peers.push(Peer {
            id,
            name,
            stream,
            out: VecDeque::new(),
            spent: Instant::ZERO,
            in_vain: false,
            unheard: 0,
        });
        self.shared.peers.store(self.peers.len(), Ordering::SeqCst);
    }

    async fn serve(&mut self) -> Ended {
        loop {
            let fetched = match poll_fn(|cx| self.poll(cx)).await {
                Step::Command(None) => {
                    self.write_what_goes();
                    return Ended::Done;
                }
                Step::Command(Some(Command::HangUp)) => self.listener.is_none() || self.dismiss_all(),
                Step::Command(Some(Command::Send(octets))) => {
                    if self.listener.is_some() {
                        self.shared.waiting.fetch_sub(octets.len(), Ordering::SeqCst);
                    }
                    self.hand_out(None, &octets)
                }
                Step::Accepted(result) => self.accepted(result),
                Step::Wrote(i, Ok(n)) if n > 0 => {
                    self.peers[i].out.drain(..n);
                    if self.listener.is_none() {
                        self.shared.waiting.fetch_sub(n, Ordering::SeqCst);
                    }
                    true
                }
                Step::Read(i, Ok(n)) if n > 0 => self.heard(i, n),
                step @ (Step::Read(..) | Step::Wrote(..)) => {
                    let (doing, i, result) = match step {
                        Step::Wrote(i, result) => ("writing to", i, result),
                        Step::Read(i, result) => ("reading from", i, result),
                        Step::Command(_) | Step::Accepted(_) => continue,
                    };
                    let said = result.err().map(|e| e.to_string());
                    if self.listener.is_none() {
                        return Ended::Lost(doing, Fault::PeerGone, said.unwrap_or_default());
                    }
                    self.dismiss(i, |unheard| PeerNews::Gone { unheard, said: said.unwrap_or_default() })
                }
            };
            if !fetched {
                return Ended::Done;
            }
        }
    }

    /// The next thing to do. Commands come first: they are bounded, peers are not.
    fn poll(&mut self, cx: &mut Context<'_>) -> Poll<Step> {
        if let Poll::Ready(command) = self.commands.poll_recv(cx) {
            return Poll::Ready(Step::Command(command));
        }
        let (bounded, now) = (self.listener.is_some(), self.feed.clock.now());
        let mut soonest: Option<Instant> = None;
        for n in 0..self.peers.len() {
            let i = (self.turn + n) % self.peers.len();
            let peer = &mut self.peers[i];
            let out = peer.out.as_slices().0;
            if !out.is_empty()
                && let Poll::Ready(r) = Pin::new(&mut peer.stream).poll_write(cx, out)
            {
                return Poll::Ready(Step::Wrote(i, r));
            }
            let from = peer.spent.before(self.character * AHEAD);
            if bounded && from > now {
                soonest = Some(soonest.map_or(from, |s| s.min(from)));
                continue;
            }
            let mut space = ReadBuf::new(&mut self.buffer);
            if let Poll::Ready(r) = Pin::new(&mut peer.stream).poll_read(cx, &mut space) {
                self.turn = i + 1;
                return Poll::Ready(Step::Read(i, r.map(|()| space.filled().len())));
            }
        }
        self.breath = soonest.map(|at| Box::pin(tokio::time::sleep(at.since(now))));
        if let Some(breath) = &mut self.breath
            && breath.as_mut().poll(cx).is_ready()
        {
            cx.waker().wake_by_ref();
        }
        if let Some(resume) = &mut self.resume {
            if resume.as_mut().poll(cx).is_pending() {
                return Poll::Pending;
            }
            self.resume = None;
        }
        match &self.listener {
            Some(listener) => listener.poll_accept(cx).map(Step::Accepted),
            None => Poll::Pending,
        }
    }

    /// False when nobody fetches events any more; the same below.
    fn accepted(&mut self, result: io::Result<(TcpStream, SocketAddr)>) -> bool {
        match result {
            Err(e) => {
                self.resume = Some(Box::pin(tokio::time::sleep(ACCEPT_AGAIN)));
                self.tell(String::new(), PeerNews::Refused { why: e.to_string() })
            }
            Ok((_, address)) if self.peers.len() >= MOST_PEERS => {
                let why = format!("{MOST_PEERS} are there already");
                self.tell(address.to_string(), PeerNews::Refused { why })
            }
            Ok((stream, address)) => {
                self.admit(stream, address.to_string());
                self.tell(address.to_string(), PeerNews::Came)
            }
        }
    }

    /// The first `n` octets of the buffer came from a peer.
    fn heard(&mut self, i: usize, n: usize) -> bool {
        let at = self.feed.clock.now();
        let port = self.feed.port;
        let octets = self.buffer[..n].to_vec();
        if self.listener.is_none() {
            return self.feed.put(PortEvent::Octets { port, values: octets, marks: Vec::new(), at });
        }
        let peer = &mut self.peers[i];
        let (id, name) = (peer.id, peer.name.clone());
        peer.spent = peer.spent.max(at) + self.character * n as u32;
        let heard = self.floor.speaks(id, at);
        let first = !heard && !peer.in_vain;
        peer.in_vain = !heard;
        peer.unheard += if heard { 0 } else { n as u64 };
        // The first of a run is told at once, the others together when the run is over.
        if (first || heard) && peer.unheard > 0 {
            let octets = std::mem::take(&mut peer.unheard);
            if !self.tell(name, PeerNews::Unheard { octets }) {
                return false;
            }
        }
        if !heard {
            return true;
        }
        // The others hear it as on a wire: before what is answered to it.
        self.hand_out(Some(id), &octets)
            && self.feed.put(PortEvent::Octets { port, values: octets, marks: Vec::new(), at })
    }

    /// Gives octets to every peer but `from`.
    fn hand_out(&mut self, from: Option<u64>, octets: &[u8]) -> bool {
        let bounded = self.listener.is_some();
        let mut slow = Vec::new();
        for peer in self.peers.iter_mut().filter(|p| from != Some(p.id)) {
            if bounded && peer.out.len() + octets.len() > MOST_WAITING {
                slow.push(peer.id);
            } else {
                peer.out.extend(octets);
            }
        }
        slow.iter().all(|id| match self.peers.iter().position(|p| p.id == *id) {
            Some(i) => {
                let waiting = self.peers[i].out.len();
                self.dismiss(i, |unheard| PeerNews::TooSlow { waiting, unheard })
            }
            None => true,
        })
    }

    /// Closes a peer's connection; `news` is given how many octets were not heard since it was told.
    fn dismiss(&mut self, i: usize, news: impl FnOnce(u64) -> PeerNews) -> bool {
        let peer = self.peers.remove(i);
        self.floor.gone(peer.id);
        self.shared.peers.store(self.peers.len(), Ordering::SeqCst);
        self.tell(peer.name, news(peer.unheard))
    }

    fn dismiss_all(&mut self) -> bool {
        while !self.peers.is_empty() {
            let said = "disconnected: the bench was put back to a snapshot".to_owned();
            if !self.dismiss(0, |unheard| PeerNews::Gone { unheard, said }) {
                return false;
            }
        }
        true
    }

    fn tell(&self, peer: String, news: PeerNews) -> bool {
        self.feed.put(PortEvent::Peer { port: self.feed.port, peer, news })
    }

    /// Last words, as far as the system takes them without waiting.
    fn write_what_goes(&mut self) {
        for peer in &mut self.peers {
            let out = peer.out.make_contiguous();
            let _ = peer.stream.try_write(out);
        }
    }
}
