//! The server's end as a state machine: sessions, requests that wait, what is answered [IP-12].

mod config;
mod replies;
mod session;

pub use config::{
    Answer, Limits, Masters, Nobody, Peer, Request, ServerConfig, ServerNews, ServerOutput, Ticket,
};

use super::audit::{AuditLog, AuditRecord, AuditRequest};
use super::body::{Content, Initiate};
use super::direct::DirectPdu;
use super::message::{Id, Message, Type, VERSION};
use super::splitter::{Piece, Splitter, split_datagram};
use super::told::Told;
use crate::frame::{Frame, FrameType, Master};
use crate::time::Instant;
use bytes::Bytes;
use core::time::Duration;
use session::{End, Open, Session};
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// A request that the devices have not answered yet.
#[derive(Clone, Debug)]
struct Waiting {
    peer: Peer,
    /// Which session of that peer: it may have begun another one since.
    session: u64,
    request: Message,
    /// Whether it may change something.
    changes: bool,
    until: Instant,
}

/// A TCP connection.
#[derive(Clone, Debug)]
struct Stream {
    splitter: Splitter,
    /// When it is closed unless it has a session.
    until: Instant,
}

/// The server. Tell it what comes with [`Server::datagram`], [`Server::stream_opened`], [`Server::stream`] and
/// [`Server::stream_gone`], what the devices answer with [`Server::answer`] and [`Server::publish`], and when
/// [`Server::wake_at`] has come with [`Server::handle_timeout`]; after each drain [`Server::poll_output`].
#[derive(Clone, Debug)]
pub struct Server {
    config: ServerConfig,
    sessions: BTreeMap<Peer, Session>,
    streams: BTreeMap<Peer, Stream>,
    /// TCP connections that are to be closed, until they are.
    closing: BTreeSet<Peer>,
    waiting: BTreeMap<Ticket, Waiting>,
    ended: VecDeque<AuditRecord>,
    sessions_begun: u64,
    tickets: u64,
    /// No deadline is earlier than this.
    wake: Option<Instant>,
    told: Told,
    /// The last peer whose news were left out.
    untold: Option<Peer>,
    out: VecDeque<ServerOutput>,
}

impl Server {
    /// A server without sessions.
    pub fn new(config: ServerConfig) -> Server {
        Server {
            config,
            sessions: BTreeMap::new(),
            streams: BTreeMap::new(),
            closing: BTreeSet::new(),
            waiting: BTreeMap::new(),
            ended: VecDeque::new(),
            sessions_begun: 0,
            tickets: 0,
            wake: None,
            told: Told::default(),
            untold: None,
            out: VecDeque::new(),
        }
    }

    /// How many sessions are open.
    pub fn sessions(&self) -> usize {
        self.sessions.len()
    }

    /// How many TCP connections there are, also those that are being closed.
    pub fn streams(&self) -> usize {
        self.streams.len() + self.closing.len()
    }

    /// How many requests wait for the devices.
    pub fn waiting(&self) -> usize {
        self.waiting.len()
    }

    /// What to do or tell next.
    pub fn poll_output(&mut self) -> Option<ServerOutput> {
        self.out.pop_front()
    }

    /// When [`Server::handle_timeout`] wants to be called; not later than the first deadline, perhaps earlier.
    pub fn wake_at(&self) -> Option<Instant> {
        self.wake
    }

    /// A datagram came.
    pub fn datagram(&mut self, now: Instant, from: Peer, octets: &Bytes) {
        for (n, piece) in split_datagram(octets, self.config.limits.message).into_iter().enumerate() {
            if n >= self.config.limits.in_datagram {
                self.tell(now, from, ServerNews::TurnedDown("too many messages in one datagram"));
                return;
            }
            self.piece(now, from, piece);
        }
    }

    /// Somebody connected by TCP; false when there are too many: then the connection is to be closed at once.
    pub fn stream_opened(&mut self, now: Instant, from: Peer) -> bool {
        if self.streams() >= self.config.limits.streams() {
            self.tell(now, from, ServerNews::Closed("too many connections"));
            return false;
        }
        let until = now + self.config.limits.idle_stream;
        self.look_at(until);
        self.closing.remove(&from);
        self.streams.insert(from, Stream { splitter: Splitter::new(self.config.limits.message), until });
        true
    }

    /// Octets came by TCP. Nothing is taken from a connection that was closed.
    pub fn stream(&mut self, now: Instant, from: Peer, octets: &[u8]) {
        let Some(stream) = self.streams.get_mut(&from) else { return };
        stream.splitter.push(octets);
        // A message may end the connection, and with it the splitter.
        while let Some(piece) = self.streams.get_mut(&from).and_then(|s| s.splitter.next()) {
            let lost = matches!(piece, Piece::Unreadable { .. });
            self.piece(now, from, piece);
            if lost {
                self.end(now, from, End::Aborted, "the stream cannot be read any more");
                self.close_stream(now, from, "where its next message begins is not known");
            }
        }
    }

    /// The client sends nothing more by TCP: its session is over, and what was answered may still leave.
    pub fn stream_ended(&mut self, now: Instant, from: Peer) {
        self.finish(now, from);
        if self.streams.remove(&from).is_some() {
            self.closing.insert(from);
            self.out.push_back(ServerOutput::Close(from));
        }
    }

    /// A TCP connection is gone, whoever ended it; also to be told after a [`ServerOutput::Close`], for until then it counts.
    pub fn stream_gone(&mut self, now: Instant, from: Peer) {
        self.finish(now, from);
        self.streams.remove(&from);
        self.closing.remove(&from);
    }

    fn finish(&mut self, now: Instant, from: Peer) {
        if let Some(stream) = self.streams.get_mut(&from)
            && let Some(Piece::Unreadable { why, .. }) = stream.splitter.finish()
        {
            self.tell(now, from, ServerNews::Unreadable(why));
        }
        self.end(now, from, End::Aborted, "the connection is gone");
    }

    /// What became of an [`ServerOutput::Ask`]. A ticket whose request nobody waits for any more is passed over.
    pub fn answer(&mut self, now: Instant, ticket: Ticket, answer: Answer) {
        let Some(waiting) = self.waiting.remove(&ticket) else { return };
        let request = &waiting.request;
        let reply = match answer {
            Answer::Frame(frame) => replies::with_body(request, frame.encode()),
            Answer::Direct(pdu) => replies::with_body(request, pdu.encode()),
            Answer::Silent => replies::nobody(request, self.config.nobody),
            Answer::Unavailable => replies::error(request, 2),
        };
        self.settle(now, ticket, &waiting, &reply);
    }

    /// A device spoke unasked: every session is told.
    pub fn publish(&mut self, frame: &Frame) {
        if self.sessions.is_empty() {
            return;
        }
        let body = frame.encode();
        for (peer, session) in &mut self.sessions {
            let sequence = session.next_publication();
            if let Ok(message) = Message::new(Type::Publish, Id::TokenPdu, sequence, body.clone()) {
                self.out.push_back(ServerOutput::Send { to: *peer, octets: message.encode() });
            }
        }
    }

    /// Ends every session and closes every connection.
    pub fn hang_up(&mut self, now: Instant) {
        let peers: Vec<Peer> = self.sessions.keys().copied().collect();
        peers.into_iter().for_each(|peer| self.end(now, peer, End::Aborted, "the server ends it"));
        let streams: Vec<Peer> = self.streams.keys().copied().collect();
        streams.into_iter().for_each(|peer| self.close_stream(now, peer, "the server ends it"));
    }

    /// Time passed.
    pub fn handle_timeout(&mut self, now: Instant) {
        if self.wake.is_none_or(|at| now < at) {
            return;
        }
        let late: Vec<Ticket> =
            self.waiting.iter().filter(|(_, w)| w.until <= now).map(|(ticket, _)| *ticket).collect();
        for ticket in late {
            self.answer(now, ticket, Answer::Unavailable);
            self.out.push_back(ServerOutput::Forget(ticket));
        }
        let silent = self.sessions.iter().filter(|(_, s)| s.ends_at() <= now).map(|(peer, _)| *peer);
        for peer in silent.collect::<Vec<Peer>>() {
            self.end(now, peer, End::TimedOut, "nothing came for as long as its inactivity timer");
            self.close_stream(now, peer, "its session is over");
        }
        let idle = self.streams.iter().filter(|(p, s)| s.until <= now && !self.sessions.contains_key(p));
        for peer in idle.map(|(peer, _)| *peer).collect::<Vec<Peer>>() {
            self.close_stream(now, peer, "it has no session");
        }
        let rest = self.told.rest(now);
        self.tell_rest(rest);
        let sessions = self.sessions.values().map(Session::ends_at);
        let streams =
            self.streams.iter().filter(|(p, _)| !self.sessions.contains_key(p)).map(|(_, s)| s.until);
        let waiting = self.waiting.values().map(|w| w.until);
        self.wake = sessions.chain(streams).chain(waiting).chain(self.told.rest_at()).min();
    }

    /// The end: how many news were left out and not told yet.
    pub fn close(&mut self) {
        let rest = self.told.close();
        self.tell_rest(rest);
    }

    fn tell_rest(&mut self, left_out: Option<u64>) {
        if let (Some(left_out), Some(peer)) = (left_out, self.untold.take()) {
            self.out.push_back(ServerOutput::News { peer, news: ServerNews::LeftOut, left_out });
        }
    }

    fn look_at(&mut self, at: Instant) {
        self.wake = Some(self.wake.map_or(at, |w| w.min(at)));
    }

    fn tell(&mut self, now: Instant, peer: Peer, news: ServerNews) {
        match self.told.may_tell(now) {
            Some(left_out) => self.out.push_back(ServerOutput::News { peer, news, left_out }),
            None => {
                self.untold = Some(peer);
                self.told.rest_at().into_iter().for_each(|at| self.look_at(at));
            }
        }
    }

    fn send(&mut self, to: Peer, message: &Message) {
        self.out.push_back(ServerOutput::Send { to, octets: message.encode() });
    }

    fn close_stream(&mut self, now: Instant, peer: Peer, why: &'static str) {
        if self.streams.remove(&peer).is_some() {
            self.closing.insert(peer);
            self.out.push_back(ServerOutput::Close(peer));
            self.tell(now, peer, ServerNews::Closed(why));
        }
    }

    /// Nobody waits any more for what this session asked.
    fn forget(&mut self, session: u64) {
        let of_it = self.waiting.extract_if(.., |_, w| w.session == session);
        let forgotten: Vec<Ticket> = of_it.map(|(ticket, _)| ticket).collect();
        self.out.extend(forgotten.into_iter().map(ServerOutput::Forget));
    }

    /// Ends a session, if there is one.
    fn end(&mut self, now: Instant, peer: Peer, how: End, why: &'static str) {
        let Some(session) = self.sessions.remove(&peer) else { return };
        self.forget(session.number);
        if self.config.limits.audit > 0 {
            while self.ended.len() >= self.config.limits.audit {
                self.ended.pop_front();
            }
            self.ended.push_back(session.record(peer, self.config.port, now, self.config.zero_s, how));
        }
        if let Some(stream) = self.streams.get_mut(&peer) {
            stream.until = now + self.config.limits.idle_stream;
            let until = stream.until;
            self.look_at(until);
        }
        self.tell(now, peer, ServerNews::Ended(why));
    }

    fn piece(&mut self, now: Instant, from: Peer, piece: Piece) {
        match piece {
            Piece::Unreadable { why, .. } => self.tell(now, from, ServerNews::Unreadable(why)),
            Piece::Message(m) if m.kind.kind() != Type::Request => {
                self.tell(now, from, ServerNews::TurnedDown("a message that is no request"));
            }
            Piece::Message(m) if m.id == Id::SessionInitiate => self.initiate(now, from, &m),
            Piece::Message(m) if m.version != VERSION => {
                self.tell(now, from, ServerNews::TurnedDown("a version other than 1 [IP-14]"));
                self.send(from, &replies::nak(&m, 14));
            }
            Piece::Message(m) => match self.sessions.get_mut(&from) {
                None => {
                    self.tell(now, from, ServerNews::TurnedDown("a request without a session"));
                    self.send(from, &replies::error(&m, 0));
                }
                Some(session) => {
                    session.heard(now);
                    self.request(now, from, m);
                }
            },
        }
    }

    fn initiate(&mut self, now: Instant, from: Peer, m: &Message) {
        let refuse = |server: &mut Server, reply: Message, why| {
            server.tell(now, from, ServerNews::Refused(why));
            server.send(from, &reply);
        };
        let Some(asked) = Initiate::decode(m.body()) else {
            return refuse(self, replies::bare(m, 5), "the session initiate is too short");
        };
        let echo = |status| replies::with_body(m, asked.encode()).with_status(status);
        let primary = asked.master_type == 1;
        if asked.master_type > 1 || !primary && self.config.masters == Masters::Primary {
            return refuse(self, echo(2), "its master type is not allowed");
        }
        let another_primary = self.sessions.iter().any(|(p, s)| *p != from && s.is_primary());
        if primary && self.config.one_primary && another_primary {
            return refuse(self, replies::error(m, 1), "another primary session is open");
        }
        if !self.sessions.contains_key(&from) && self.sessions.len() >= self.config.limits.sessions {
            return refuse(self, echo(15), "all sessions are in use");
        }
        let (least, most) = (self.config.limits.least_timer, self.config.limits.most_timer);
        let wanted = Duration::from_millis(asked.inactivity_ms.into());
        let timer = wanted.clamp(least, most.max(least));
        let given = Initiate { inactivity_ms: u32::try_from(timer.as_millis()).unwrap_or(u32::MAX), ..asked };
        let status = match (m.version, timer == wanted) {
            (VERSION, true) => 0,
            (VERSION, false) => 8,
            _ => 14,
        };
        if let Some(before) = self.sessions.remove(&from) {
            self.forget(before.number);
        }
        self.sessions_begun += 1;
        let session = Session::new(self.sessions_begun, given, now);
        self.look_at(session.ends_at());
        self.sessions.insert(from, session);
        self.tell(now, from, ServerNews::Opened(given));
        self.send(from, &replies::with_body(m, given.encode()).with_status(status));
    }

    /// A request in an open session.
    fn request(&mut self, now: Instant, from: Peer, m: Message) {
        match m.id {
            Id::KeepAlive => self.send(from, &replies::bare(&m, 0)),
            Id::SessionClose => {
                self.send(from, &replies::bare(&m, 0));
                self.end(now, from, End::Closed, "its client closes it");
            }
            Id::ReadAuditLog => self.audit(now, from, &m),
            Id::TokenPdu | Id::DirectPdu => self.pdu(now, from, m),
            Id::SessionInitiate | Id::Unknown(_) => {
                self.tell(now, from, ServerNews::TurnedDown("a message id that is not known"));
                self.send(from, &replies::nak(&m, 2));
            }
        }
    }

    fn audit(&mut self, now: Instant, from: Peer, m: &Message) {
        let Some(AuditRequest { start, count }) = AuditRequest::decode(m.body()) else {
            self.tell(now, from, ServerNews::TurnedDown("a message that is too short"));
            return self.send(from, &replies::nak(m, 5));
        };
        let records = self.ended.iter().skip(start.into()).take(count.into()).copied().collect();
        let log = AuditLog::new(start, self.config.zero_s, records);
        let status = if log.count == count { 0 } else { 8 };
        self.send(from, &replies::with_body(m, log.encode()).with_status(status));
    }

    fn pdu(&mut self, now: Instant, from: Peer, m: Message) {
        let Some(session) = self.sessions.get_mut(&from) else { return };
        match session.before(now, &m) {
            Some(Open::Answered(reply)) => {
                self.out.push_back(ServerOutput::Send { to: from, octets: reply });
                return self.tell(now, from, ServerNews::TurnedDown("a repeat, answered from memory"));
            }
            // Slow wires make repeats: they are no news.
            Some(Open::UnderWay) => return,
            None => {}
        }
        let (m, master) = (m.alone(), session.master());
        let (session_full, number) = (session.waiting() >= self.config.limits.of_session, session.number);
        let request = match read(&m, master, self.config.limits.in_direct) {
            Ok(request) => request,
            Err((status, why)) => {
                self.tell(now, from, ServerNews::TurnedDown(why));
                return self.send(from, &replies::nak(&m, status));
            }
        };
        if session_full || self.waiting.len() >= self.config.limits.waiting {
            self.tell(now, from, ServerNews::TurnedDown("too many requests wait"));
            return self.send(from, &replies::error(&m, 2));
        }
        self.tickets += 1;
        let ticket = Ticket(self.tickets);
        let until = now + self.config.limits.patience;
        self.look_at(until);
        if let Some(session) = self.sessions.get_mut(&from) {
            session.asks(ticket, &m);
        }
        let changes = !self.config.harmless.has_all(&request);
        self.waiting.insert(ticket, Waiting { peer: from, session: number, request: m, changes, until });
        self.out.push_back(ServerOutput::Ask { ticket, request });
    }

    /// Sends the reply to a request that has waited.
    fn settle(&mut self, now: Instant, ticket: Ticket, waiting: &Waiting, reply: &Message) {
        let octets = reply.encode();
        let session = self.sessions.get_mut(&waiting.peer).filter(|s| s.number == waiting.session);
        if let Some(session) = session {
            session.answered(ticket);
            // By TCP no answer is lost while the connection lasts, and so the session.
            if waiting.peer.stream.is_none() {
                let limits = &self.config.limits;
                session.remember(now, limits, waiting.request.clone(), octets.clone(), waiting.changes);
            }
            self.out.push_back(ServerOutput::Send { to: waiting.peer, octets });
        }
    }
}

/// What a PDU asks; else the status of the NAK and what is wrong with it.
fn read(m: &Message, master: Master, in_direct: usize) -> Result<Request, (u8, &'static str)> {
    match m.content() {
        Content::Frame { octets, .. } => match Frame::parse(&octets) {
            Ok(frame) if frame.frame_type() == FrameType::Stx => Ok(Request::Frame(frame)),
            Ok(_) => Err((6, "a frame that is no request")),
            Err(e) if e.is_short() => Err((5, "a frame that is cut short")),
            Err(_) => Err((6, "octets that are no frame")),
        },
        Content::Direct(pdu) if pdu.commands.len() > in_direct => {
            Err((6, "too many commands in a direct PDU"))
        }
        Content::Direct(DirectPdu { commands, rest, .. }) if rest.is_empty() && !commands.is_empty() => {
            Ok(Request::Direct { master, commands })
        }
        _ => Err((5, "a PDU that is cut short")),
    }
}
