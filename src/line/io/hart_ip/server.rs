//! The server's sockets.

use super::super::hosted::Hosted;
use super::super::ports::{Feed, PeerNews, Port, PortEvent, Started};
use super::super::tcp::tune;
use super::{addresses, capabilities};
use crate::frame::{Capabilities, Frame};
use crate::ip::{Answer, Peer, Server as Machine, ServerNews, ServerOutput, Ticket};
use crate::line::{Error, Fault, HartIpServer};
use crate::time::Instant;
use bytes::Bytes;
use std::collections::BTreeMap;
use std::io::{self, ErrorKind};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener, UdpSocket};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, SystemTime, UNIX_EPOCH};
use tokio::io::AsyncReadExt;
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::sync::mpsc::{Receiver, Sender, UnboundedReceiver, UnboundedSender, channel, unbounded_channel};
use tokio::task::JoinHandle as Task;

/// Octets that wait for one TCP reader; who lets more pile up is disconnected [IP-13].
const MOST_WAITING: usize = 64 * 1024;
/// Pieces read from TCP that wait to be looked at; readers then leave octets with the system.
const PIECES: usize = 64;
/// How long a message may take to leave by TCP: who takes nothing for so long keeps no connection.
const TAKEN_WITHIN: Duration = Duration::from_secs(10);
/// How long all that still waits may take when a connection is to be closed [IP-13].
const FAREWELL: Duration = Duration::from_secs(5);
/// How long nobody is accepted after the system has failed to, for want of descriptors perhaps.
const ACCEPT_AGAIN: Duration = Duration::from_millis(200);
/// Datagrams that are taken up one after the other before anything else is looked at.
const AT_ONCE: usize = 32;
/// Tries to find a port that is free by UDP and by TCP.
const TRIES: usize = 20;

/// What the thread is told.
enum Command {
    Answer(Ticket, Answer),
    Publish(Frame),
    HangUp,
}

/// A server that listens.
pub(in super::super) struct Server {
    name: String,
    /// The LINE by which others of this machine reach it.
    reach: PathBuf,
    commands: Option<UnboundedSender<Command>>,
    /// Where it has no thread: what it is to be told when it runs.
    kept: Option<Vec<Command>>,
    thread: Option<JoinHandle<Rest>>,
}

/// What nobody was told yet at its end.
type Rest = Vec<(String, PeerNews)>;

impl Server {
    /// Listens, with a thread or among those that are hosted.
    pub(in super::super) fn listen(
        plan: &HartIpServer,
        feed: Feed,
        hosted: Option<&mut Hosted>,
    ) -> Result<Server, Error> {
        let (udp, tcp, at) = sockets(plan)?;
        let real =
            HartIpServer { at: crate::line::Endpoint { port: at.port(), ..plan.at.clone() }, ..plan.clone() };
        let name = real.to_string();
        let scheme = if plan.tcp_only { "hart-ip+tcp" } else { "hart-ip" };
        let reach = PathBuf::from(format!("{scheme}:{}", from_here(at)));
        let machine = Machine::new(plan.config(at.port(), zero_s(&feed)));
        let (commands, received) = unbounded_channel();
        let server =
            |thread, kept| Server { name: name.clone(), reach, commands: Some(commands), kept, thread };
        if let Some(hosted) = hosted {
            let port = feed.port;
            let rest = feed.clone();
            let worker = hosted.within(|| Worker::new(udp, tcp, machine, feed));
            let mut worker = worker.map_err(|e| Error::new("opening", &name, Fault::System, e))?;
            hosted.spawn(async move {
                for (peer, news) in worker.serve(received).await {
                    rest.put(PortEvent::Peer { port, peer, news });
                }
            });
            return Ok(server(None, Some(Vec::new())));
        }
        let told = name.clone();
        let thread = std::thread::Builder::new().name("looprig-hart-ip".to_owned());
        let thread = thread.spawn(move || run(udp, tcp, machine, feed, received, &told));
        let thread = thread.map_err(|e| Error::new("opening", &name, Fault::System, e))?;
        Ok(server(Some(thread), None))
    }

    fn tell(&mut self, command: Command) {
        match (&mut self.kept, &self.commands) {
            (Some(kept), _) => kept.push(command),
            // A server that is lost says so by its own event.
            (None, Some(commands)) => _ = commands.send(command),
            (None, None) => {}
        }
    }
}

/// Seconds since 1970 when the clock of the ports was zero.
#[allow(clippy::disallowed_methods, reason = "`line::io` is where the machine's clock is read")]
fn zero_s(feed: &Feed) -> u32 {
    let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    let passed = feed.clock.now().since(Instant::ZERO);
    u32::try_from(now.saturating_sub(passed).as_secs()).unwrap_or(u32::MAX)
}

type Sockets = (Option<UdpSocket>, TcpListener, SocketAddr);

/// Both sockets at one port.
fn sockets(plan: &HartIpServer) -> Result<Sockets, Error> {
    let name = plan.to_string();
    let failed = |e: io::Error| {
        let fault = match e.kind() {
            ErrorKind::AddrInUse => Fault::AddressTaken,
            ErrorKind::AddrNotAvailable => Fault::AddressNotHere,
            ErrorKind::PermissionDenied => Fault::PermissionDenied,
            _ => Fault::System,
        };
        Error::new("opening", &name, fault, e)
    };
    let places = addresses(&plan.at, &name)?;
    let bound = |place: SocketAddr| -> io::Result<Sockets> {
        let tcp = TcpListener::bind(place)?;
        tcp.set_nonblocking(true)?;
        let at = tcp.local_addr()?;
        let udp = match plan.tcp_only {
            true => None,
            false => {
                let udp = UdpSocket::bind(at)?;
                udp.set_nonblocking(true)?;
                Some(udp)
            }
        };
        Ok((udp, tcp, at))
    };
    let mut last = io::Error::from(ErrorKind::AddrNotAvailable);
    for place in places {
        // The system chooses a port that is free by TCP, which may be taken by UDP.
        for _ in 0..if place.port() == 0 { TRIES } else { 1 } {
            match bound(place) {
                Ok(sockets) => return Ok(sockets),
                Err(e) => last = e,
            }
        }
    }
    Err(failed(last))
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

impl Port for Server {
    fn describe(&self) -> String {
        self.name.clone()
    }

    /// What it hands on are whole requests, which the wires' own master stamps.
    fn capabilities(&self) -> Capabilities {
        Capabilities { stamp_error: Duration::ZERO, ..capabilities() }
    }

    fn path(&self) -> &Path {
        &self.reach
    }

    /// It is no wire: what passes there goes to its clients as answers and bursts.
    fn write(&mut self, _: &[u8]) -> Result<bool, Error> {
        Ok(false)
    }

    fn send(&mut self, _: &[u8]) -> Result<Started, Error> {
        Err(Error::new("sending on", &self.name, Fault::CannotSend, "a server only answers"))
    }

    fn hang_up(&mut self) {
        self.tell(Command::HangUp);
    }

    fn answer(&mut self, ticket: Ticket, answer: Answer) {
        self.tell(Command::Answer(ticket, answer));
    }

    fn publish(&mut self, frame: &Frame) {
        self.tell(Command::Publish(frame.clone()));
    }

    fn hand_on(&mut self) {
        if let (Some(kept), Some(commands)) = (&mut self.kept, &self.commands) {
            kept.drain(..).for_each(|command| _ = commands.send(command));
        }
    }

    /// The end of the commands is what the thread or the task waits for.
    fn end(&mut self) -> Rest {
        drop(self.commands.take());
        self.thread.take().and_then(|thread| thread.join().ok()).unwrap_or_default()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.end();
    }
}

fn run(
    udp: Option<UdpSocket>,
    tcp: TcpListener,
    machine: Machine,
    feed: Feed,
    commands: UnboundedReceiver<Command>,
    name: &str,
) -> Rest {
    let (port, events) = (feed.port, feed.clone());
    let ended = tokio::runtime::Builder::new_current_thread().enable_all().build().and_then(|runtime| {
        runtime.block_on(async {
            let mut worker = Worker::new(udp, tcp, machine, feed)?;
            Ok(worker.serve(commands).await)
        })
    });
    ended.unwrap_or_else(|e| {
        events.put(PortEvent::Closed { port, error: Error::new("opening", name, Fault::System, e) });
        Rest::new()
    })
}

/// Octets of a TCP connection, or its end.
enum Piece {
    Octets(Peer, Bytes),
    /// It sends nothing more, or takes nothing more.
    Ended(Peer),
    /// Its socket is closed.
    Gone(Peer),
}

/// A TCP connection.
struct Stream {
    write: Arc<OwnedWriteHalf>,
    /// What the system does not take at once.
    out: UnboundedSender<Bytes>,
    /// Octets handed over that are with no socket yet.
    waiting: Arc<AtomicUsize>,
    reader: Task<()>,
    writer: Task<()>,
}

struct Worker {
    udp: Option<tokio::net::UdpSocket>,
    tcp: tokio::net::TcpListener,
    machine: Machine,
    feed: Feed,
    streams: BTreeMap<Peer, Stream>,
    opened: u64,
    pieces_in: Sender<Piece>,
    pieces: Receiver<Piece>,
}

impl Worker {
    /// Within a runtime.
    fn new(udp: Option<UdpSocket>, tcp: TcpListener, machine: Machine, feed: Feed) -> io::Result<Worker> {
        let udp = udp.map(tokio::net::UdpSocket::from_std).transpose()?;
        let tcp = tokio::net::TcpListener::from_std(tcp)?;
        let (pieces_in, pieces) = channel(PIECES);
        Ok(Worker { udp, tcp, machine, feed, streams: BTreeMap::new(), opened: 0, pieces_in, pieces })
    }

    async fn serve(&mut self, mut commands: UnboundedReceiver<Command>) -> Rest {
        let mut buffer = vec![0; 65_536];
        let mut accept_at = None;
        // A timer is made anew only where it is to ring at another time.
        let mut sleep = std::pin::pin!(tokio::time::sleep(Duration::ZERO));
        let mut rings = None;
        loop {
            if !self.outputs() {
                return Rest::new();
            }
            let now = self.feed.clock.now();
            let wake = self.machine.wake_at();
            if let Some(at) = wake.filter(|_| wake != rings) {
                sleep.set(tokio::time::sleep(at.since(now)));
            }
            rings = wake;
            let udp = self.udp.as_ref();
            tokio::select! {
                command = commands.recv() => match command {
                    None => return self.farewell(),
                    Some(Command::Answer(ticket, answer)) => self.machine.answer(now, ticket, answer),
                    Some(Command::Publish(frame)) => self.machine.publish(&frame),
                    Some(Command::HangUp) => self.machine.hang_up(now),
                },
                // A socket that fails, because an earlier datagram found nobody perhaps, is read again.
                came = received(udp, &mut buffer) => if let Ok((n, from)) = came
                    && !self.datagrams(n, from, &mut buffer)
                {
                    return Rest::new();
                },
                Some(piece) = self.pieces.recv() => match piece {
                    Piece::Octets(peer, octets) => self.machine.stream(self.feed.clock.now(), peer, &octets),
                    Piece::Ended(peer) => self.machine.stream_ended(self.feed.clock.now(), peer),
                    Piece::Gone(peer) => self.machine.stream_gone(self.feed.clock.now(), peer),
                },
                accepted = accepted(&self.tcp, accept_at) => {
                    accept_at = match accepted {
                        Ok((stream, address)) => {
                            self.accept(stream, address);
                            None
                        }
                        Err(_) => Some(ACCEPT_AGAIN),
                    };
                }
                () = &mut sleep, if rings.is_some() => rings = None,
            }
            self.machine.handle_timeout(self.feed.clock.now());
        }
    }

    /// Takes up a datagram, and those that have come with it; false when nobody fetches events any more.
    fn datagrams(&mut self, n: usize, from: SocketAddr, buffer: &mut [u8]) -> bool {
        let (mut n, mut address) = (n, from);
        for left in (0..AT_ONCE).rev() {
            let octets = Bytes::copy_from_slice(&buffer[..n]);
            self.machine.datagram(self.feed.clock.now(), Peer { address, stream: None }, &octets);
            if !self.outputs() {
                return false;
            }
            let next = self.udp.as_ref().filter(|_| left > 0).map(|udp| udp.try_recv_from(buffer));
            let Some(Ok(came)) = next else { break };
            (n, address) = came;
        }
        true
    }

    fn accept(&mut self, stream: tokio::net::TcpStream, address: SocketAddr) {
        self.opened += 1;
        let peer = Peer { address, stream: Some(self.opened) };
        if !self.machine.stream_opened(self.feed.clock.now(), peer) {
            return;
        }
        tune(&stream);
        let (read, write) = stream.into_split();
        let write = Arc::new(write);
        let (out, to_write) = unbounded_channel();
        let waiting = Arc::new(AtomicUsize::new(0));
        let reader = tokio::spawn(read_on(read, peer, self.pieces_in.clone()));
        let ended = self.pieces_in.clone();
        let writer = tokio::spawn(write_on(Arc::clone(&write), to_write, Arc::clone(&waiting), peer, ended));
        self.streams.insert(peer, Stream { write, out, waiting, reader, writer });
    }

    /// Does what the machine wants; false when nobody fetches events any more.
    fn outputs(&mut self) -> bool {
        let port = self.feed.port;
        while let Some(output) = self.machine.poll_output() {
            let heard = match output {
                ServerOutput::Send { to, octets } => {
                    self.send(to, octets);
                    true
                }
                ServerOutput::Close(peer) => {
                    self.close(peer);
                    true
                }
                ServerOutput::Ask { ticket, request } => {
                    self.feed.put(PortEvent::Asked { port, ticket, request })
                }
                ServerOutput::Forget(ticket) => self.feed.put(PortEvent::Forgotten { port, ticket }),
                ServerOutput::News { peer, news, left_out } => {
                    let news = PeerNews::Session { news, left_out };
                    self.feed.put(PortEvent::Peer { port, peer: peer.to_string(), news })
                }
            };
            if !heard {
                return false;
            }
        }
        true
    }

    fn send(&mut self, to: Peer, mut octets: Bytes) {
        if to.stream.is_none() {
            // What the system does not take is lost, as on any network [IP-13].
            if let Some(udp) = &self.udp {
                let _ = udp.try_send_to(&octets, to.address);
            }
            return;
        }
        let Some(stream) = self.streams.get(&to) else { return };
        if stream.waiting.load(Ordering::SeqCst) == 0 {
            match stream.write.try_write(&octets) {
                Ok(n) if n == octets.len() => return,
                Ok(n) => octets = octets.slice(n..),
                // The writer finds out what is wrong.
                Err(_) => {}
            }
        }
        let waiting = stream.waiting.fetch_add(octets.len(), Ordering::SeqCst) + octets.len();
        if waiting > MOST_WAITING {
            stream.writer.abort();
            self.machine.stream_ended(self.feed.clock.now(), to);
            let news = PeerNews::TooSlow { waiting, unheard: 0 };
            self.feed.put(PortEvent::Peer { port: self.feed.port, peer: to.to_string(), news });
        } else {
            let _ = stream.out.send(octets);
        }
    }

    /// Nothing more is read; what was handed over still leaves, if that does not take too long. The machine counts the
    /// connection until then.
    fn close(&mut self, peer: Peer) {
        let Some(stream) = self.streams.remove(&peer) else { return };
        let (reader, mut writer, gone) = (stream.reader, stream.writer, self.pieces_in.clone());
        reader.abort();
        // The writer ends when it has written what it was given; the last that has this half ends the stream.
        drop((stream.out, stream.write));
        tokio::spawn(async move {
            if tokio::time::timeout(FAREWELL, &mut writer).await.is_err() {
                writer.abort();
                let _ = writer.await;
            }
            // Each of them has one half of the socket.
            let _ = reader.await;
            let _ = gone.send(Piece::Gone(peer)).await;
        });
    }

    fn farewell(&mut self) -> Rest {
        self.machine.close();
        self.machine.hang_up(self.feed.clock.now());
        let mut rest = Rest::new();
        while let Some(output) = self.machine.poll_output() {
            if let ServerOutput::News { peer, news: news @ ServerNews::LeftOut, left_out } = output {
                rest.push((peer.to_string(), PeerNews::Session { news, left_out }));
            }
        }
        rest
    }
}

async fn received(udp: Option<&tokio::net::UdpSocket>, buffer: &mut [u8]) -> io::Result<(usize, SocketAddr)> {
    match udp {
        Some(udp) => udp.recv_from(buffer).await,
        None => std::future::pending().await,
    }
}

async fn accepted(
    tcp: &tokio::net::TcpListener,
    pause: Option<Duration>,
) -> io::Result<(tokio::net::TcpStream, SocketAddr)> {
    if let Some(pause) = pause {
        tokio::time::sleep(pause).await;
    }
    tcp.accept().await
}

/// Reads a connection to its end.
async fn read_on(mut from: OwnedReadHalf, peer: Peer, to: Sender<Piece>) {
    let mut buffer = vec![0; 4096];
    while let Ok(n) = from.read(&mut buffer).await {
        if n == 0 || to.send(Piece::Octets(peer, Bytes::copy_from_slice(&buffer[..n]))).await.is_err() {
            break;
        }
    }
    let _ = to.send(Piece::Ended(peer)).await;
}

/// Writes what is handed over, and then the end of the connection. Who takes nothing any more is gone: nobody would get what
/// its requests come to.
async fn write_on(
    to: Arc<OwnedWriteHalf>,
    mut from: UnboundedReceiver<Bytes>,
    waiting: Arc<AtomicUsize>,
    peer: Peer,
    ended: Sender<Piece>,
) {
    while let Some(octets) = from.recv().await {
        if !matches!(tokio::time::timeout(TAKEN_WITHIN, write_all(&to, &octets)).await, Ok(Ok(()))) {
            break;
        }
        waiting.fetch_sub(octets.len(), Ordering::SeqCst);
    }
    drop(to);
    let _ = ended.send(Piece::Ended(peer)).await;
}

async fn write_all(to: &OwnedWriteHalf, mut octets: &[u8]) -> io::Result<()> {
    while !octets.is_empty() {
        to.writable().await?;
        match to.try_write(octets) {
            Ok(0) => return Err(ErrorKind::WriteZero.into()),
            Ok(n) => octets = &octets[n..],
            Err(e) if e.kind() == ErrorKind::WouldBlock => {}
            Err(e) => return Err(e),
        }
    }
    Ok(())
}
