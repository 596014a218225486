//! The client's socket.

use super::super::ports::{Feed, PeerNews, Port, PortEvent, Started};
use super::{addresses, capabilities};
use crate::frame::Capabilities;
use crate::ip::{Client as Machine, ClientConfig, ClientNews, ClientOutput};
use crate::line::{Error, Fault, HartIpClient};
use bytes::Bytes;
use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{RecvTimeoutError, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpStream, UdpSocket};
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};

/// Time to open a session when the line is opened.
const OPENING: Duration = Duration::from_secs(5);
/// Octets of FF before a frame: what reads the line knows frames by them [FR-10].
const PREAMBLES: usize = 5;

/// A client in a session.
pub(in super::super) struct Client {
    name: String,
    /// The server's address.
    peer: String,
    reach: PathBuf,
    feed: Feed,
    asks: Option<UnboundedSender<Bytes>>,
    thread: Option<JoinHandle<Vec<ClientNews>>>,
}

impl Client {
    /// Opens a session.
    pub(in super::super) fn connect(plan: &HartIpClient, feed: Feed) -> Result<Client, Error> {
        let name = plan.to_string();
        let found = addresses(&plan.to, &name)?;
        // A name may stand for both kinds of address, and a server of this machine listens at the older one.
        let server = found.iter().find(|a| a.is_ipv4()).copied().unwrap_or(found[0]);
        let config = ClientConfig::new(server, plan.tcp, plan.session);
        let config = ClientConfig { harmless: plan.harmless, ..config };
        let (asks, received) = unbounded_channel();
        let (opened, first) = sync_channel(1);
        let thread = {
            let (feed, name) = (feed.clone(), name.clone());
            let thread = std::thread::Builder::new().name("looprig-hart-ip".to_owned());
            thread.spawn(move || run(config, feed, received, opened, &name))
        };
        let thread = thread.map_err(|e| Error::new("opening", &name, Fault::System, e))?;
        let reach = PathBuf::from(&name);
        // Dropping it ends the thread, also where the session does not open.
        let client = Client {
            name: name.clone(),
            peer: server.to_string(),
            reach,
            feed,
            asks: Some(asks),
            thread: Some(thread),
        };
        match first.recv_timeout(OPENING) {
            Ok(Ok(())) => Ok(client),
            Ok(Err((fault, said))) => Err(Error::new("opening", &name, fault, said)),
            Err(RecvTimeoutError::Timeout) => {
                Err(Error::new("opening", &name, Fault::NoAnswer, "no answer to its session initiate in 5 s"))
            }
            Err(RecvTimeoutError::Disconnected) => Err(Error::new("opening", &name, Fault::System, "")),
        }
    }
}

impl Port for Client {
    fn describe(&self) -> String {
        self.name.clone()
    }

    fn capabilities(&self) -> Capabilities {
        capabilities()
    }

    fn path(&self) -> &Path {
        &self.reach
    }

    fn write(&mut self, octets: &[u8]) -> Result<bool, Error> {
        let lost = || Error::new("writing to", &self.name, Fault::Lost, "");
        let frame = octets.iter().position(|&o| o != 0xFF).map_or(&[][..], |from| &octets[from..]);
        let asks = self.asks.as_ref().ok_or_else(lost)?;
        asks.send(Bytes::copy_from_slice(frame)).map_err(|_| lost())?;
        Ok(true)
    }

    /// A message takes no time that anybody could tell.
    fn send(&mut self, octets: &[u8]) -> Result<Started, Error> {
        let now = self.feed.clock.now();
        self.write(octets)?;
        Ok(Started::EndsAt(now))
    }

    fn end(&mut self) -> Vec<(String, PeerNews)> {
        drop(self.asks.take());
        let rest = self.thread.take().and_then(|thread| thread.join().ok()).unwrap_or_default();
        rest.into_iter().map(|news| (self.peer.clone(), PeerNews::Server(news))).collect()
    }
}

impl Drop for Client {
    fn drop(&mut self) {
        self.end();
    }
}

/// Told once, when the session is open or will not be.
type Opened = SyncSender<Result<(), (Fault, String)>>;

/// Gives what nobody was told yet at its end.
fn run(
    config: ClientConfig,
    feed: Feed,
    asks: UnboundedReceiver<Bytes>,
    opened: Opened,
    name: &str,
) -> Vec<ClientNews> {
    let (port, events) = (feed.port, feed.clone());
    let ended = tokio::runtime::Builder::new_current_thread().enable_all().build().and_then(|runtime| {
        runtime.block_on(async {
            let machine = Machine::new(config, feed.clock.now());
            let mut worker = Worker { config, machine, feed, udp: None, tcp: None, opened: Some(opened) };
            if !config.stream {
                worker.udp = Some(UdpSocket::bind(any_port(config.server)).await?);
            }
            worker.serve(asks).await;
            Ok(worker.farewell().await)
        })
    });
    ended.unwrap_or_else(|e| {
        events.put(PortEvent::Closed { port, error: Error::new("opening", name, Fault::System, e) });
        Vec::new()
    })
}

/// Any free port of the same kind of address.
fn any_port(server: SocketAddr) -> SocketAddr {
    let ip = match server.ip() {
        IpAddr::V4(_) => IpAddr::V4(Ipv4Addr::UNSPECIFIED),
        IpAddr::V6(_) => IpAddr::V6(Ipv6Addr::UNSPECIFIED),
    };
    SocketAddr::new(ip, 0)
}

struct Worker {
    config: ClientConfig,
    machine: Machine,
    feed: Feed,
    udp: Option<UdpSocket>,
    tcp: Option<TcpStream>,
    opened: Option<Opened>,
}

impl Worker {
    async fn serve(&mut self, mut asks: UnboundedReceiver<Bytes>) {
        let (mut buffer, mut piece) = (vec![0; 65_536], vec![0; 4096]);
        loop {
            if !self.outputs().await {
                return;
            }
            let sleep = self.machine.wake_at().map(|at| at.since(self.feed.clock.now()));
            tokio::select! {
                asked = asks.recv() => match asked {
                    Some(frame) => self.machine.ask(self.feed.clock.now(), frame),
                    None => return,
                },
                came = datagram(self.udp.as_ref(), &mut buffer) => if let Ok((n, from)) = came {
                    let octets = Bytes::copy_from_slice(&buffer[..n]);
                    self.machine.datagram(self.feed.clock.now(), from, &octets);
                },
                came = stream(self.tcp.as_mut(), &mut piece) => match came {
                    Ok(n) if n > 0 => self.machine.stream(self.feed.clock.now(), &piece[..n]),
                    Ok(_) | Err(_) => self.broken("the server closed the connection"),
                },
                () = slept(sleep) => {}
            }
            self.machine.handle_timeout(self.feed.clock.now());
        }
    }

    /// Says so to the server, and gives what is left to be told.
    async fn farewell(&mut self) -> Vec<ClientNews> {
        self.machine.close(self.feed.clock.now());
        let mut rest = Vec::new();
        while let Some(output) = self.machine.poll_output() {
            match output {
                ClientOutput::Send { to, octets } => self.send(to, &octets).await,
                ClientOutput::News(news @ ClientNews::LeftOut(_)) => rest.push(news),
                _ => {}
            }
        }
        rest
    }

    fn broken(&mut self, why: &str) {
        self.tcp = None;
        self.machine.gone(self.feed.clock.now());
        self.tell_opened(Err((Fault::ConnectionRefused, why.to_owned())));
    }

    fn tell_opened(&mut self, how: Result<(), (Fault, String)>) {
        if let Some(opened) = self.opened.take() {
            let _ = opened.send(how);
        }
    }

    /// Does what the machine wants; false when nobody fetches events any more.
    async fn outputs(&mut self) -> bool {
        let port = self.feed.port;
        while let Some(output) = self.machine.poll_output() {
            let at = self.feed.clock.now();
            let heard = match output {
                ClientOutput::Send { to, octets } => {
                    self.send(to, &octets).await;
                    true
                }
                ClientOutput::Connect => {
                    self.connect().await;
                    true
                }
                ClientOutput::Answer(frame) | ClientOutput::Published(frame) => {
                    let mut values = vec![0xFF; PREAMBLES];
                    values.extend_from_slice(&frame);
                    self.feed.put(PortEvent::Octets { port, values, marks: Vec::new(), at })
                }
                ClientOutput::NoAnswer => self.feed.put(PortEvent::NoAnswer { port, at }),
                ClientOutput::News(news) => {
                    match &news {
                        ClientNews::Open(_) => self.tell_opened(Ok(())),
                        ClientNews::Refused(why) => {
                            self.tell_opened(Err((Fault::SessionRefused, why.clone())));
                        }
                        _ => {}
                    }
                    let peer = self.config.server.to_string();
                    self.feed.put(PortEvent::Peer { port, peer, news: PeerNews::Server(news) })
                }
            };
            if !heard {
                return false;
            }
        }
        true
    }

    async fn send(&mut self, to: SocketAddr, octets: &[u8]) {
        if let Some(udp) = &self.udp {
            // A datagram that does not leave is repeated like one that is lost.
            let _ = udp.send_to(octets, to).await;
        } else if let Some(tcp) = &mut self.tcp
            && tcp.write_all(octets).await.is_err()
        {
            self.broken("writing to the connection failed");
        }
    }

    async fn connect(&mut self) {
        match tokio::time::timeout(OPENING, TcpStream::connect(self.config.server)).await {
            Ok(Ok(tcp)) => {
                let _ = tcp.set_nodelay(true);
                self.tcp = Some(tcp);
                self.machine.connected(self.feed.clock.now());
            }
            Ok(Err(e)) => {
                let fault = match e.kind() {
                    io::ErrorKind::ConnectionRefused => Fault::ConnectionRefused,
                    _ => Fault::NoAnswer,
                };
                self.tell_opened(Err((fault, e.to_string())));
                self.machine.gone(self.feed.clock.now());
            }
            Err(_) => self.machine.gone(self.feed.clock.now()),
        }
    }
}

async fn datagram(udp: Option<&UdpSocket>, buffer: &mut [u8]) -> io::Result<(usize, SocketAddr)> {
    match udp {
        Some(udp) => udp.recv_from(buffer).await,
        None => std::future::pending().await,
    }
}

async fn stream(tcp: Option<&mut TcpStream>, buffer: &mut [u8]) -> io::Result<usize> {
    match tcp {
        Some(tcp) => tcp.read(buffer).await,
        None => std::future::pending().await,
    }
}

async fn slept(time: Option<Duration>) {
    match time {
        Some(time) => tokio::time::sleep(time).await,
        None => std::future::pending().await,
    }
}
