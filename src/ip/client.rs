//! The client's end as a state machine: a session that is opened, kept, and opened again when it is lost.

use super::body::{Content, Initiate, error_text};
use super::harmless::Harmless;
use super::message::{Id, Message, Type, VERSION, status_is_warning, status_text};
use super::splitter::{Piece, Splitter, Unreadable, split_datagram};
use super::told::Told;
use crate::frame::{Frame, Master};
use crate::time::Instant;
use bytes::Bytes;
use core::fmt;
use core::net::SocketAddr;
use core::time::Duration;
use std::collections::VecDeque;

/// Most requests that wait for an answer; the oldest is given up for another.
const MOST_ASKED: usize = 16;
/// Most published frames that wait until an answer is there; the oldest is dropped for another.
const MOST_HELD: usize = 256;
/// Longest message that is taken.
const LONGEST: usize = 4096;
/// Most messages of one datagram that are looked at [IP-13].
const IN_DATAGRAM: usize = 64;
/// First status octet of the frame by which a server tells that nobody answers [IP-08].
const NOBODY: [u8; 2] = [0x84, 0];
/// After so long without a word from the server it is asked whether it is there.
const PROBE: Duration = Duration::from_secs(4);
/// After so long its session counts as lost.
const LOST: Duration = Duration::from_secs(8);
/// From one session initiate to the next.
const INITIATE_AGAIN: Duration = Duration::from_secs(1);
/// The same after a refusal.
const REFUSED_AGAIN: Duration = Duration::from_secs(5);

/// How a client behaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClientConfig {
    /// Where the server is.
    pub server: SocketAddr,
    /// By TCP; else by UDP.
    pub stream: bool,
    /// The master that it is.
    pub master: Master,
    /// The inactivity timer that it asks for; the server may keep another.
    pub inactivity: Duration,
    /// By UDP a request is sent again after so long without an answer, with the same sequence number.
    pub repeat: Duration,
    /// After so long there will be no answer.
    pub patience: Duration,
    /// Requests that may be done twice: these alone are asked again in a new session.
    pub harmless: Harmless,
}

impl ClientConfig {
    /// A client of the server there, with the times that looprig uses: 30 s, 2 s, 10 s. It asks nothing twice
    /// but by UDP in the same session, where the server knows a repeat.
    pub const fn new(server: SocketAddr, stream: bool, master: Master) -> ClientConfig {
        ClientConfig {
            server,
            stream,
            master,
            inactivity: Duration::from_secs(30),
            repeat: Duration::from_secs(2),
            patience: Duration::from_secs(10),
            harmless: Harmless::NONE,
        }
    }
}

/// What is to be done, or what came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ClientOutput {
    /// Send these octets.
    Send {
        /// To whom, by UDP.
        to: SocketAddr,
        /// A whole message.
        octets: Bytes,
    },
    /// Connect by TCP, and tell [`Client::connected`] or [`Client::gone`].
    Connect,
    /// The answer to a request: a frame, whatever it is worth.
    Answer(Bytes),
    /// There will be no answer to a request.
    NoAnswer,
    /// A device spoke unasked: its frame.
    Published(Bytes),
    /// Something to be told.
    News(ClientNews),
}

/// What is to be told of a session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ClientNews {
    /// It is open, with the timer that the server keeps.
    Open(Initiate),
    /// The server refuses it.
    Refused(String),
    /// It is lost and opened anew.
    Lost(&'static str),
    /// The server says that nobody answered: a frame with a communication error, 84 00 [IP-08].
    Silent,
    /// Nobody knows whether this command, which may change something, was done: it went out, and its answer did not come
    /// back. `None` for octets that are no frame.
    Unknown(Option<u8>),
    /// The server says why there is no answer.
    Denied(String),
    /// Octets that are no message, or one that nobody asked for.
    Odd(String),
    /// So many of these were left out since the one before, because there were too many.
    LeftOut(u64),
}

impl ClientNews {
    /// Whether something is wrong or lost.
    pub const fn is_trouble(&self) -> bool {
        !matches!(self, ClientNews::Open(_) | ClientNews::Silent)
    }
}

impl fmt::Display for ClientNews {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ClientNews::Open(i) => write!(f, "session open, inactivity timer {} ms", i.inactivity_ms),
            ClientNews::Refused(why) => write!(f, "the server opens no session: {why}"),
            ClientNews::Lost(why) => write!(f, "session lost: {why}; it is opened anew"),
            ClientNews::Silent => f.write_str("the server says that no device answers"),
            ClientNews::Unknown(command) => {
                match command {
                    Some(n) => write!(f, "whether command {n} was done is not known")?,
                    None => f.write_str("whether a request was done is not known")?,
                }
                f.write_str(": it was sent, and its answer was lost or never came. It is not sent again; read back what it changes first")
            }
            ClientNews::LeftOut(n) => {
                write!(f, "{n} messages that say nothing of use were left out")
            }
            ClientNews::Denied(why) => write!(f, "the server does not answer: {why}"),
            ClientNews::Odd(what) => write!(f, "{what}"),
        }
    }
}

#[derive(Clone, Debug)]
struct Asked {
    sequence: u16,
    body: Bytes,
    /// How often it was sent since it was last known that nothing was done.
    sent: u32,
    /// When it is sent, or sent again; `None` when once was enough.
    next: Option<Instant>,
    until: Instant,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// No connection; one is tried then.
    Unconnected { again: Instant },
    /// A connection is being made.
    Connecting,
    /// The session initiate with this sequence number has no answer; the next one goes out then.
    Initiating { sequence: u16, again: Instant },
    /// In a session with this timer.
    Open { timer: Duration },
    /// The end.
    Closed,
}

/// The client. It begins at once; tell it what comes, and drain [`Client::poll_output`] after each call.
#[derive(Clone, Debug)]
pub struct Client {
    config: ClientConfig,
    /// Who answered the session initiate [IP-01].
    server: SocketAddr,
    state: State,
    splitter: Splitter,
    sequence: u16,
    asked: VecDeque<Asked>,
    sent_at: Instant,
    /// When the last session was opened.
    opened_at: Option<Instant>,
    /// Since when something of ours has had no echo of any kind.
    silent_since: Option<Instant>,
    probed: bool,
    /// What was published while an answer is awaited: whoever reads the line as a wire would take it for a sign that
    /// none comes.
    held: VecDeque<Bytes>,
    told: Told,
    out: VecDeque<ClientOutput>,
}

impl Client {
    /// A client that opens its session from `now` on. By TCP it wants a connection first.
    pub fn new(config: ClientConfig, now: Instant) -> Client {
        let mut client = Client {
            config,
            server: config.server,
            state: State::Unconnected { again: now },
            splitter: Splitter::new(LONGEST),
            sequence: 0,
            asked: VecDeque::new(),
            sent_at: now,
            opened_at: None,
            silent_since: None,
            probed: false,
            held: VecDeque::new(),
            told: Told::default(),
            out: VecDeque::new(),
        };
        client.begin(now);
        client
    }

    /// Whether a session is open.
    pub fn is_open(&self) -> bool {
        matches!(self.state, State::Open { .. })
    }

    /// What to do or tell next.
    pub fn poll_output(&mut self) -> Option<ClientOutput> {
        let next = self.out.pop_front();
        if next.is_none() && self.asked.is_empty() {
            return self.held.pop_front().map(ClientOutput::Published);
        }
        next
    }

    /// Asks: a frame from delimiter to check byte. What comes of it is [`ClientOutput::Answer`] or
    /// [`ClientOutput::NoAnswer`].
    pub fn ask(&mut self, now: Instant, frame: Bytes) {
        if self.asked.len() >= MOST_ASKED
            && let Some(oldest) = self.asked.pop_front()
        {
            self.give_up(&oldest);
        }
        let sequence = self.next_sequence();
        let until = now + self.config.patience;
        self.asked.push_back(Asked { sequence, body: frame, sent: 0, next: Some(now), until });
        self.send_due(now);
    }

    /// The connection that was wanted is there.
    pub fn connected(&mut self, now: Instant) {
        if self.state == State::Connecting {
            self.splitter = Splitter::new(LONGEST);
            self.initiate(now);
        }
    }

    /// The connection is gone, or could not be made.
    pub fn gone(&mut self, now: Instant) {
        if self.state != State::Closed {
            self.lose(now, "the connection is gone", INITIATE_AGAIN);
        }
    }

    /// Octets came by TCP.
    pub fn stream(&mut self, now: Instant, octets: &[u8]) {
        self.splitter.push(octets);
        while let Some(piece) = self.splitter.next() {
            match piece {
                Piece::Message(m) => self.message(now, &m),
                Piece::Unreadable { why, .. } => {
                    self.unreadable(now, why);
                    self.lose(now, "the stream cannot be read any more", INITIATE_AGAIN);
                    return;
                }
            }
        }
    }

    /// A datagram came. Before a session is open the server may answer from another port; afterwards nobody else
    /// is listened to [IP-01].
    pub fn datagram(&mut self, now: Instant, from: SocketAddr, octets: &Bytes) {
        let initiating = matches!(self.state, State::Initiating { .. });
        let known = from == self.server || initiating && from.ip() == self.config.server.ip();
        if !known {
            return;
        }
        for (n, piece) in split_datagram(octets, LONGEST).into_iter().enumerate() {
            if n >= IN_DATAGRAM {
                self.odd(now, "too many messages in one datagram".to_owned());
                break;
            }
            match piece {
                Piece::Message(m) => {
                    self.message(now, &m);
                    if initiating && self.is_open() {
                        self.server = from;
                    }
                }
                Piece::Unreadable { why, .. } => self.unreadable(now, why),
            }
        }
        self.send_due(now);
    }

    /// Says farewell; nothing more is done.
    pub fn close(&mut self, now: Instant) {
        let rest = self.told.close();
        self.out.extend(rest.map(|n| ClientOutput::News(ClientNews::LeftOut(n))));
        if self.is_open() {
            let sequence = self.next_sequence();
            self.send(now, &Message::bare(Type::Request, Id::SessionClose, sequence));
        }
        self.state = State::Closed;
    }

    /// When [`Client::handle_timeout`] wants to be called.
    pub fn wake_at(&self) -> Option<Instant> {
        let state = match self.state {
            State::Unconnected { again } | State::Initiating { again, .. } => Some(again),
            State::Open { timer } => Some(self.sent_at + timer / 3),
            State::Connecting => None,
            State::Closed => return None,
        };
        let silence = self.silent_since.filter(|_| self.is_open());
        let silence = silence.map(|since| since + if self.probed { LOST } else { PROBE });
        let next = self.asked.iter().filter_map(|a| a.next.filter(|_| self.is_open()));
        let until = self.asked.iter().map(|a| a.until);
        next.chain(until).chain(silence).chain(state).chain(self.told.rest_at()).min()
    }

    /// Time passed.
    pub fn handle_timeout(&mut self, now: Instant) {
        if self.state == State::Closed {
            return;
        }
        self.give_up_those(|a| a.until <= now);
        let rest = self.told.rest(now);
        self.out.extend(rest.map(|n| ClientOutput::News(ClientNews::LeftOut(n))));
        match self.state {
            State::Unconnected { again } if again <= now => self.begin(now),
            State::Initiating { again, .. } if again <= now => self.initiate(now),
            State::Open { timer } => {
                let silent = self.silent_since.map(|since| now.since(since));
                if silent.is_some_and(|d| d >= LOST) && self.probed {
                    self.lose(now, "the server is silent", Duration::ZERO);
                } else if silent.is_some_and(|d| d >= PROBE) && !self.probed {
                    self.probed = true;
                    self.keep_alive(now);
                } else if self.sent_at + timer / 3 <= now {
                    self.keep_alive(now);
                }
            }
            _ => {}
        }
        self.send_due(now);
    }

    fn next_sequence(&mut self) -> u16 {
        self.sequence = self.sequence.wrapping_add(1);
        self.sequence
    }

    /// From nothing to a session.
    fn begin(&mut self, now: Instant) {
        if self.config.stream {
            self.state = State::Connecting;
            self.out.push_back(ClientOutput::Connect);
        } else {
            self.initiate(now);
        }
    }

    fn initiate(&mut self, now: Instant) {
        self.server = self.config.server;
        let sequence = self.next_sequence();
        self.state = State::Initiating { sequence, again: now + INITIATE_AGAIN };
        let asked = Initiate {
            master_type: u8::from(self.config.master == Master::Primary),
            inactivity_ms: u32::try_from(self.config.inactivity.as_millis()).unwrap_or(u32::MAX),
        };
        let bare = Message::bare(Type::Request, Id::SessionInitiate, sequence);
        let message =
            Message::new(Type::Request, Id::SessionInitiate, sequence, asked.encode()).unwrap_or(bare);
        self.send(now, &message);
    }

    fn keep_alive(&mut self, now: Instant) {
        let sequence = self.next_sequence();
        self.send(now, &Message::bare(Type::Request, Id::KeepAlive, sequence));
    }

    fn send(&mut self, now: Instant, message: &Message) {
        self.sent_at = now;
        self.silent_since = self.silent_since.or(Some(now));
        self.out.push_back(ClientOutput::Send { to: self.server, octets: message.encode() });
    }

    /// No answer to this will come. If it may have been done, that is told.
    fn give_up(&mut self, asked: &Asked) {
        if asked.sent > 0 && !self.config.harmless.has_frame(&asked.body) {
            let command = Frame::parse(&asked.body).ok().map(|f| f.command());
            self.out.push_back(ClientOutput::News(ClientNews::Unknown(command)));
        }
        self.out.push_back(ClientOutput::NoAnswer);
    }

    fn give_up_those(&mut self, which: impl Fn(&Asked) -> bool) {
        let (gone, kept) = core::mem::take(&mut self.asked).into_iter().partition(which);
        self.asked = kept;
        let gone: VecDeque<Asked> = gone;
        gone.iter().for_each(|asked| self.give_up(asked));
    }

    /// The session is gone: what certainly was not done, or may be done twice, is asked again in the next one.
    fn lose(&mut self, now: Instant, why: &'static str, again: Duration) {
        if self.is_open() {
            self.out.push_back(ClientOutput::News(ClientNews::Lost(why)));
        }
        self.silent_since = None;
        self.probed = false;
        let harmless = self.config.harmless;
        self.give_up_those(|a| a.sent > 0 && !harmless.has_frame(&a.body));
        self.asked.iter_mut().for_each(|a| a.next = Some(now));
        // A server that opens sessions and does not keep them is not asked without end.
        let again = match self.opened_at {
            Some(at) if now.since(at) < INITIATE_AGAIN => again.max(INITIATE_AGAIN),
            _ => again,
        };
        self.state = State::Unconnected { again: now + again };
        if again.is_zero() {
            self.begin(now);
        }
    }

    fn unreadable(&mut self, now: Instant, why: Unreadable) {
        self.odd(now, format!("octets that are no message: {why}"));
    }

    /// A bad server makes as many of these as it likes.
    fn odd(&mut self, now: Instant, what: String) {
        let Some(left_out) = self.told.may_tell(now) else { return };
        if left_out > 0 {
            self.out.push_back(ClientOutput::News(ClientNews::LeftOut(left_out)));
        }
        self.out.push_back(ClientOutput::News(ClientNews::Odd(what)));
    }

    fn send_due(&mut self, now: Instant) {
        if !self.is_open() {
            return;
        }
        let again = (!self.config.stream).then_some(now + self.config.repeat);
        let mut due = Vec::new();
        for asked in self.asked.iter_mut().filter(|a| a.until > now && a.next.is_some_and(|at| at <= now)) {
            asked.next = again;
            asked.sent = asked.sent.saturating_add(1);
            due.push((asked.sequence, asked.body.clone()));
        }
        for (sequence, body) in due {
            if let Ok(message) = Message::new(Type::Request, Id::TokenPdu, sequence, body) {
                self.send(now, &message);
            }
        }
    }

    fn message(&mut self, now: Instant, m: &Message) {
        self.silent_since = None;
        self.probed = false;
        match (m.kind.kind(), m.id) {
            (Type::Request | Type::Unknown(_), _) => {
                self.odd(now, format!("not asked for: {m}"));
            }
            (Type::Publish, _) => {
                if let Content::Frame { octets, .. } = m.content() {
                    if self.held.len() >= MOST_HELD {
                        self.held.pop_front();
                    }
                    self.held.push_back(octets);
                }
            }
            (_, Id::SessionInitiate) => self.initiated(now, m),
            (Type::Error, _) if matches!(m.content(), Content::Error { code: 0 }) => {
                if self.is_open() {
                    // What went out once, and was turned down so, was not done. Of a repeat that is not known.
                    let one = self.asked.iter_mut().find(|a| a.sequence == m.sequence && a.sent == 1);
                    one.into_iter().for_each(|a| a.sent = 0);
                    self.lose(now, "the server says that it is closed", Duration::ZERO);
                }
            }
            (_, Id::SessionClose) if self.is_open() => {
                self.lose(now, "the server closes it", INITIATE_AGAIN);
            }
            _ => self.answered(m),
        }
    }

    fn initiated(&mut self, now: Instant, m: &Message) {
        let State::Initiating { sequence, .. } = self.state else { return };
        if m.sequence != sequence {
            return;
        }
        let done = m.kind.kind() == Type::Response && (m.status == 0 || status_is_warning(m.status));
        match Initiate::decode(m.body()) {
            Some(given) if done => {
                self.opened_at = Some(now);
                self.state = State::Open { timer: Duration::from_millis(given.inactivity_ms.max(1).into()) };
                self.out.push_back(ClientOutput::News(ClientNews::Open(given)));
                self.send_due(now);
            }
            _ => {
                let why = if done { "its answer is too short".to_owned() } else { denial(m) };
                self.state = State::Unconnected { again: now + REFUSED_AGAIN };
                self.out.push_back(ClientOutput::News(ClientNews::Refused(why)));
            }
        }
    }

    /// An answer to something that was asked, or to a keep-alive.
    fn answered(&mut self, m: &Message) {
        let Some(i) = self.asked.iter().position(|a| a.sequence == m.sequence) else { return };
        self.asked.remove(i);
        let fine = m.kind.kind() == Type::Response && (m.status == 0 || status_is_warning(m.status));
        match m.content() {
            Content::Frame { octets, .. } if fine && m.id == Id::TokenPdu && !says_nobody(&octets) => {
                self.out.push_back(ClientOutput::Answer(octets));
            }
            content => {
                let silent = fine && matches!(content, Content::Frame { .. });
                self.out.push_back(ClientOutput::News(match silent {
                    true => ClientNews::Silent,
                    false => ClientNews::Denied(denial(m)),
                }));
                self.out.push_back(ClientOutput::NoAnswer);
            }
        }
    }
}

/// Whether a frame is none of a device, but the server's word that nobody answers: of a device this bit is never set [ST-01].
fn says_nobody(octets: &Bytes) -> bool {
    Frame::parse(octets).is_ok_and(|f| f.status() == Some(NOBODY) && f.data().is_empty())
}

/// Why a server does not do what it was asked, in words.
fn denial(m: &Message) -> String {
    let status = match status_text(m.status) {
        Some(text) => format!("status {} ({text})", m.status),
        None => format!("status {}", m.status),
    };
    match m.content() {
        Content::Error { code } => match error_text(code) {
            Some(text) => format!("error {code} ({text})"),
            None => format!("error {code}"),
        },
        Content::Empty if m.kind.kind() == Type::Nak && m.status == 6 => {
            format!("NAK, {status}: nobody may have answered it, or it could not be asked")
        }
        _ if m.version != VERSION => format!("{}, version {}, {status}", m.kind.kind(), m.version),
        _ => format!("{}, {status}", m.kind.kind()),
    }
}
