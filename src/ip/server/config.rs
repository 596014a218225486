//! How a server is set up, and what it hands out and takes back.

use crate::frame::{Frame, Master};
use crate::ip::body::Initiate;
use crate::ip::direct::{DirectCommand, DirectPdu};
use crate::ip::harmless::Harmless;
use crate::ip::splitter::Unreadable;
use bytes::Bytes;
use core::fmt;
use core::net::SocketAddr;
use core::time::Duration;

/// Which master types may have a session [IP-05].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Masters {
    /// Primary and secondary.
    #[default]
    Both,
    /// Primary only; any other type is refused with status 2.
    Primary,
}

/// What a server answers to a frame for which nobody answers on the wires [IP-08].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Nobody {
    /// The device's frame with a communication error, 84 00, as in captures [IP-08].
    #[default]
    CommunicationError,
    /// A NAK with status 6.
    Nak,
}

/// What a server keeps within [IP-13].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Most sessions at once, at least 1.
    pub sessions: usize,
    /// Most octets of a message, at least 8.
    pub message: usize,
    /// Most messages of one datagram that are looked at.
    pub in_datagram: usize,
    /// Most commands of a direct PDU.
    pub in_direct: usize,
    /// Most requests of one session that wait.
    pub of_session: usize,
    /// Most requests of all sessions that wait.
    pub waiting: usize,
    /// Most answers of one session to requests that change something, kept for repeats.
    pub changes_kept: usize,
    /// The same of requests that change nothing.
    pub reads_kept: usize,
    /// Most octets of the answers that a session keeps, and of their requests.
    pub octets_kept: usize,
    /// How long a request waits for the wires.
    pub patience: Duration,
    /// How long a TCP connection may be without a session.
    pub idle_stream: Duration,
    /// Shortest inactivity timer that is kept.
    pub least_timer: Duration,
    /// Longest inactivity timer that is kept.
    pub most_timer: Duration,
    /// Most ended sessions in the audit log.
    pub audit: usize,
}

impl Limits {
    /// Connections beyond the number of sessions that are let in, so that who is refused a session is told so.
    pub const SPARE_STREAMS: usize = 8;

    /// Most TCP connections at once.
    pub fn streams(&self) -> usize {
        self.sessions + Limits::SPARE_STREAMS
    }
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            sessions: 32,
            message: 4096,
            in_datagram: 64,
            in_direct: 64,
            of_session: 8,
            waiting: 256,
            changes_kept: 64,
            reads_kept: 16,
            octets_kept: 65_536,
            patience: Duration::from_secs(30),
            idle_stream: Duration::from_secs(10),
            least_timer: Duration::from_secs(1),
            most_timer: Duration::from_secs(3600),
            audit: 64,
        }
    }
}

/// How a server behaves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ServerConfig {
    /// Which master types may have a session.
    pub masters: Masters,
    /// Whether there is one primary session at most; another is refused with error 1 [IP-12].
    pub one_primary: bool,
    /// What it answers where nobody answers.
    pub nobody: Nobody,
    /// Requests that may be done twice.
    pub harmless: Harmless,
    /// What it keeps within.
    pub limits: Limits,
    /// The port that it tells in its audit log.
    pub port: u16,
    /// Seconds since 1970 at the zero of its clock, for the audit log.
    pub zero_s: u32,
}

/// Who speaks to the server.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Peer {
    /// Where it is.
    pub address: SocketAddr,
    /// The number of its TCP connection, all of them different; `None` by UDP.
    pub stream: Option<u64>,
}

impl fmt::Display for Peer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.address, if self.stream.is_some() { "TCP" } else { "UDP" })
    }
}

/// By which an answer finds its request.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ticket(pub u64);

/// What a client wants of the devices.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Request {
    /// The answer to a request that it gives as a frame.
    Frame(Frame),
    /// The answers to these commands, of the device at the server itself [IP-15].
    Direct {
        /// The master that its session is.
        master: Master,
        /// At least one.
        commands: Vec<DirectCommand>,
    },
}

/// What became of a [`Request`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// The device's frame.
    Frame(Frame),
    /// The answers to all commands, or to the first ones where the next has none [IP-15].
    Direct(DirectPdu),
    /// Nobody answered on the wires.
    Silent,
    /// It could not be asked now.
    Unavailable,
}

/// What is to be done, or told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ServerOutput {
    /// Send these octets: a datagram, or a part of a stream.
    Send {
        /// To whom.
        to: Peer,
        /// A whole message.
        octets: Bytes,
    },
    /// Close this TCP connection; nothing more is taken from it.
    Close(Peer),
    /// Ask the devices, and bring the answer with [`Server::answer`](super::Server::answer).
    Ask {
        /// To be given back with it.
        ticket: Ticket,
        /// What.
        request: Request,
    },
    /// Nobody waits for this answer any more: it need not be asked for.
    Forget(Ticket),
    /// Something to be logged.
    News {
        /// Whom it is about.
        peer: Peer,
        /// What happened.
        news: ServerNews,
        /// How many news were left out before this one, because there were too many.
        left_out: u64,
    },
}

/// Something that a log should have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ServerNews {
    /// A session began, or was initiated anew.
    Opened(Initiate),
    /// A session was refused.
    Refused(&'static str),
    /// A session ended.
    Ended(&'static str),
    /// Octets that are no message.
    Unreadable(Unreadable),
    /// A message was dropped or turned down.
    TurnedDown(&'static str),
    /// A TCP connection was not let in, or closed.
    Closed(&'static str),
    /// Nothing new: only that news were left out since the last, of this peer among others.
    LeftOut,
}

impl ServerNews {
    /// Whether something is wrong or lost.
    pub const fn is_trouble(&self) -> bool {
        !matches!(self, ServerNews::Opened(_) | ServerNews::Ended(_))
    }
}

impl fmt::Display for ServerNews {
    /// To stand behind the peer and a colon.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ServerNews::Opened(i) => {
                let master = match i.master_type {
                    0 => "secondary",
                    1 => "primary",
                    _ => "other",
                };
                write!(f, "session begins, {master} master, inactivity timer {} ms", i.inactivity_ms)
            }
            ServerNews::Refused(why) => write!(f, "no session: {why}"),
            ServerNews::Ended(why) => write!(f, "session ends: {why}"),
            ServerNews::Unreadable(why) => write!(f, "octets that are no message: {why}"),
            ServerNews::TurnedDown(why) => write!(f, "turned down: {why}"),
            ServerNews::Closed(why) => write!(f, "connection closed: {why}"),
            ServerNews::LeftOut => f.write_str("nothing new"),
        }
    }
}
