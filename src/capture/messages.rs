//! The whole chain for HART-IP messages that somebody else sent: messages, their frames, what those say.

use super::annotate::Item;
use crate::app::command::{Catalogue, Revision};
use crate::exchange::{Interpreter, read_direct, read_pair};
use crate::frame::{Frame, FrameType, Master};
use crate::ip::{
    Content, DirectPdu, Id, MAX_MESSAGE, Message, Piece, Side, Type, Unreadable, error_text, split_datagram,
};
use crate::time::Instant;
use crate::transaction::Outcome;
use bytes::Bytes;
use core::fmt::Write;
use serde_json::json;
use std::collections::{BTreeMap, VecDeque};

/// Pairs of client and server that are remembered; the least of the others is forgotten for another one.
const MOST_FLOWS: usize = 256;
/// Requests of one of them whose answer is awaited.
const MOST_PENDING: usize = 64;

/// One thing that passed, read.
#[derive(Clone, Debug)]
pub enum MessageItem {
    /// A frame, a command of a direct PDU, or several of them with their answers, each with its values.
    Exchange(Item),
    /// A message without commands, or one whose frame is none.
    Message {
        /// When it came.
        at: Instant,
        /// The message.
        message: Message,
        /// The commands of the request for whose answer it stands, by its sequence number; none of most messages.
        instead_of: Vec<u16>,
    },
    /// Octets that are no message.
    Unreadable {
        /// When they came.
        at: Instant,
        /// Why.
        why: Unreadable,
        /// The octets.
        octets: Bytes,
    },
}

impl MessageItem {
    /// What it is, in words; nothing of an exchange, which has its own.
    pub fn words(&self) -> String {
        match self {
            MessageItem::Exchange(_) => String::new(),
            MessageItem::Unreadable { why, octets, .. } => {
                format!("octets that are no message: {why}: {}", hex(octets))
            }
            MessageItem::Message { message, instead_of, .. } => {
                let said = match message.content() {
                    Content::Empty => String::new(),
                    Content::Initiate(i) => {
                        let master = match i.master_type {
                            0 => "secondary master".to_owned(),
                            1 => "primary master".to_owned(),
                            n => format!("master type {n}"),
                        };
                        format!(": {master}, inactivity timer {} ms", i.inactivity_ms)
                    }
                    Content::Error { code } => match error_text(code) {
                        Some(text) => format!(": {text}"),
                        None => format!(": error {code}"),
                    },
                    Content::AuditRequest(a) => format!(": {} records from number {}", a.count, a.start),
                    Content::AuditLog(log) => {
                        format!(
                            ": {} records from number {}, powered up {} s after 1970",
                            log.records.len(),
                            log.start,
                            log.powered_up.0
                        )
                    }
                    Content::Frame { octets, .. } => {
                        format!(": a frame that cannot be read: {}", hex(&octets))
                    }
                    Content::Direct(_) => String::new(),
                    Content::Other(octets) => format!(": {}", hex(&octets)),
                };
                let numbers: Vec<String> = instead_of.iter().map(u16::to_string).collect();
                let stands = match &numbers[..] {
                    [] => String::new(),
                    [one] => format!("; it stands for the answer to command {one}"),
                    many => format!("; it stands for the answers to commands {}", many.join(", ")),
                };
                format!("{message}{said}{stands}")
            }
        }
    }

    /// One JSON object without a line end; nothing of an exchange, which has its own.
    pub fn write_json(&self, out: &mut String) {
        match self {
            MessageItem::Exchange(_) => {}
            MessageItem::Unreadable { at, why, octets } => {
                let (at, why, octets) = (at.as_nanos(), why.to_string(), hex(octets));
                let _ = write!(
                    out,
                    "{}",
                    json!({"kind": "no_message", "t_ns": at, "why": why, "octets": octets})
                );
            }
            MessageItem::Message { at, message, instead_of } => {
                let m = message;
                let mut object = json!({
                    "kind": "message", "t_ns": at.as_nanos(), "version": m.version, "type": m.kind.kind().to_string(),
                    "id": m.id.to_string(), "status": m.status, "sequence": m.sequence, "words": self.words(),
                });
                if !instead_of.is_empty() {
                    object["instead_of_commands"] = json!(instead_of);
                }
                match m.content() {
                    Content::Initiate(i) => {
                        object["master_type"] = json!(i.master_type);
                        object["inactivity_ms"] = json!(i.inactivity_ms);
                    }
                    Content::Error { code } => object["error"] = json!(code),
                    Content::AuditLog(log) => object["records"] = json!(log.records.len()),
                    Content::Frame { octets, .. } | Content::Other(octets) => {
                        object["octets"] = json!(hex(&octets))
                    }
                    _ => {}
                }
                let _ = write!(out, "{object}");
            }
        }
    }
}

fn hex(octets: &[u8]) -> String {
    octets.iter().map(|o| format!("{o:02X}")).collect::<Vec<_>>().join(" ")
}

/// What was asked and has no answer yet.
#[derive(Clone, Debug)]
enum Asked {
    Frame(Frame),
    Direct(DirectPdu),
}

#[derive(Clone, Debug)]
struct Flow {
    interpreter: Interpreter,
    /// The master type of its session [IP-05].
    master: Master,
    pending: VecDeque<(u16, Instant, Asked)>,
}

impl Flow {
    /// Accounts for what has no answer yet.
    fn give_up(&mut self, out: &mut Out) {
        for (_, at, asked) in core::mem::take(&mut self.pending) {
            alone(self, at, asked, out);
        }
    }

    /// A message without commands.
    fn tell(&mut self, at: Instant, message: Message, out: &mut Out) {
        let instead_of = self.turned_down(&message, out);
        out.push_back(MessageItem::Message { at, message, instead_of });
    }

    /// Accounts for the request that the server turns down with this message; gives its commands.
    fn turned_down(&mut self, message: &Message, out: &mut Out) -> Vec<u16> {
        let kind = message.kind.kind();
        let its = |(sequence, _, asked): &(u16, Instant, Asked)| {
            let id = match asked {
                Asked::Frame(_) => Id::TokenPdu,
                Asked::Direct(_) => Id::DirectPdu,
            };
            // No source tells which id an error has [IP-07].
            *sequence == message.sequence && (id == message.id || kind == Type::Error)
        };
        let turns_down = matches!(kind, Type::Error | Type::Nak | Type::Response);
        let found = self.pending.iter().position(its).filter(|_| turns_down);
        let Some((_, at, asked)) = found.and_then(|i| self.pending.remove(i)) else { return Vec::new() };
        let commands = match &asked {
            Asked::Frame(frame) => vec![frame.command().into()],
            Asked::Direct(pdu) => pdu.commands.iter().map(|c| c.number).collect(),
        };
        let from = out.len();
        alone(self, at, asked, out);
        for item in out.iter_mut().skip(from) {
            if let MessageItem::Exchange(Item::Exchange(e)) = item {
                e.transaction.outcome = Outcome::Silent;
            }
        }
        commands
    }
}

/// Reads messages of any number of clients and servers. Requests and answers belong together by their sequence number.
#[derive(Clone, Debug)]
pub struct MessageAnnotator {
    revision: Option<Revision>,
    catalogue: Catalogue,
    /// Whether the times of messages are facts.
    timed: bool,
    flows: BTreeMap<u64, Flow>,
    out: VecDeque<MessageItem>,
}

impl MessageAnnotator {
    /// A chain; `revision` overrides what devices say of themselves.
    pub fn new(revision: Option<Revision>) -> MessageAnnotator {
        let catalogue = Catalogue::default();
        MessageAnnotator { revision, catalogue, timed: true, flows: BTreeMap::new(), out: VecDeque::new() }
    }

    /// The same, with rows for the commands of these device types.
    #[must_use]
    pub fn with_catalogue(mut self, catalogue: Catalogue) -> MessageAnnotator {
        self.catalogue = catalogue;
        self
    }

    /// The same for messages whose times mean nothing: no answer has a response time.
    #[must_use]
    pub fn untimed(mut self) -> MessageAnnotator {
        self.timed = false;
        self
    }

    /// Takes the octets of a datagram, or whole messages of a stream; `flow` is the same number for all that pass between
    /// one client and one server.
    pub fn push(&mut self, at: Instant, flow: u64, octets: &Bytes) {
        for piece in split_datagram(octets, MAX_MESSAGE) {
            match piece {
                Piece::Message(message) => self.message(at, flow, message),
                Piece::Unreadable { why, octets } => {
                    self.out.push_back(MessageItem::Unreadable { at, why, octets });
                }
            }
        }
    }

    /// Accounts for all requests whose answer did not come.
    pub fn finish(&mut self) {
        self.flows.values_mut().for_each(|flow| flow.give_up(&mut self.out));
    }

    /// The next item, oldest first.
    #[allow(clippy::should_implement_trait, reason = "an iterator would be over before the next message")]
    pub fn next(&mut self) -> Option<MessageItem> {
        let mut item = self.out.pop_front()?;
        if let (MessageItem::Exchange(Item::Exchange(e)), false) = (&mut item, self.timed) {
            e.transaction.response_time = None;
        }
        Some(item)
    }

    fn message(&mut self, at: Instant, key: u64, message: Message) {
        if !self.flows.contains_key(&key)
            && self.flows.len() >= MOST_FLOWS
            && let Some((_, mut flow)) = self.flows.pop_first()
        {
            flow.give_up(&mut self.out);
        }
        let (revision, catalogue) = (self.revision, &self.catalogue);
        let flow = self.flows.entry(key).or_insert_with(|| Flow {
            interpreter: Interpreter::new(revision).with_catalogue(catalogue.clone()),
            master: Master::Primary,
            pending: VecDeque::new(),
        });
        let sequence = message.sequence;
        let asked = match (message.content(), message.side()) {
            (Content::Frame { octets, .. }, side) => match Frame::parse(&octets) {
                Ok(frame) if (frame.frame_type() == FrameType::Stx) == (side == Side::Client) => {
                    Asked::Frame(frame)
                }
                _ => return flow.tell(at, message, &mut self.out),
            },
            (Content::Direct(pdu), _) => Asked::Direct(pdu),
            (content, _) => {
                if let (Content::Initiate(i), Id::SessionInitiate) = (content, message.id) {
                    flow.master = if i.master_type == 0 { Master::Secondary } else { Master::Primary };
                }
                return flow.tell(at, message, &mut self.out);
            }
        };
        if message.side() == Side::Client {
            if flow.pending.len() >= MOST_PENDING
                && let Some((_, at, asked)) = flow.pending.pop_front()
            {
                alone(flow, at, asked, &mut self.out);
            }
            // The same once more: the first one found no answer.
            if let Some(i) = flow.pending.iter().position(|p| p.0 == sequence)
                && let Some((_, at, asked)) = flow.pending.remove(i)
            {
                alone(flow, at, asked, &mut self.out);
            }
            return flow.pending.push_back((sequence, at, asked));
        }
        let same = |p: &(u16, Instant, Asked)| {
            p.0 == sequence
                && matches!(
                    (&p.2, &asked),
                    (Asked::Frame(_), Asked::Frame(_)) | (Asked::Direct(_), Asked::Direct(_))
                )
        };
        let unasked = message.kind.kind() == Type::Publish;
        let before = flow.pending.iter().position(same).filter(|_| !unasked);
        let before = before.and_then(|i| flow.pending.remove(i));
        match (before, asked) {
            (Some((_, asked_at, Asked::Frame(request))), Asked::Frame(reply)) => {
                pair(flow, Some((request, asked_at)), Some((reply, at)), &mut self.out);
            }
            (Some((_, asked_at, Asked::Direct(request))), Asked::Direct(reply)) => {
                direct(flow, Some((&request, asked_at)), Some((&reply, at)), &mut self.out);
            }
            (_, Asked::Frame(reply)) => pair(flow, None, Some((reply, at)), &mut self.out),
            (_, Asked::Direct(reply)) => direct(flow, None, Some((&reply, at)), &mut self.out),
        }
    }
}

type Out = VecDeque<MessageItem>;

/// A request that nobody answered.
fn alone(flow: &mut Flow, at: Instant, asked: Asked, out: &mut Out) {
    match asked {
        Asked::Frame(frame) => pair(flow, Some((frame, at)), None, out),
        Asked::Direct(pdu) => direct(flow, Some((&pdu, at)), None, out),
    }
}

fn pair(flow: &mut Flow, request: Option<(Frame, Instant)>, reply: Option<(Frame, Instant)>, out: &mut Out) {
    let read = read_pair(&mut flow.interpreter, request, reply);
    out.extend(read.map(|e| MessageItem::Exchange(Item::Exchange(Box::new(e)))));
}

fn direct(
    flow: &mut Flow,
    request: Option<(&DirectPdu, Instant)>,
    reply: Option<(&DirectPdu, Instant)>,
    out: &mut Out,
) {
    let read = read_direct(&mut flow.interpreter, flow.master, request, reply);
    out.extend(read.exchanges.into_iter().map(|e| MessageItem::Exchange(Item::Exchange(Box::new(e)))));
}

/// Whether octets are one HART-IP message or several, none of them cut, with a version, a type and an id that the notes know.
/// A frame of the wire never looks so: it would be a burst without status octets, or one whose check byte is wrong.
pub fn is_messages(octets: &[u8]) -> bool {
    let octets = Bytes::copy_from_slice(octets);
    let known = |m: &Message| {
        (1..=2).contains(&m.version)
            && m.kind.reserved() == 0
            && !matches!(m.kind.kind(), Type::Unknown(_))
            && !matches!(m.id, Id::Unknown(_))
    };
    let pieces = split_datagram(&octets, MAX_MESSAGE);
    !pieces.is_empty()
        && pieces.iter().all(|p| matches!(p, Piece::Message(m) if known(m)))
        && Frame::parse(&octets).is_err()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(hex: &str) -> Bytes {
        super::super::parse_hex_line(hex).expect("hex").into()
    }

    fn at(ms: u64) -> Instant {
        Instant::from_nanos(ms * 1_000_000)
    }

    /// Command and whether request and reply are there, or the words of a message.
    fn told(chain: &mut MessageAnnotator) -> Vec<String> {
        core::iter::from_fn(|| chain.next())
            .map(|item| match &item {
                MessageItem::Exchange(Item::Exchange(e)) => {
                    let (t, ms) = (&e.transaction, e.transaction.response_time.map(|d| d.as_millis()));
                    format!("{} {} {} {ms:?}", e.full_number(), t.tries.len(), t.reply.is_some())
                }
                other => other.words(),
            })
            .collect()
    }

    /// Commands 1 and 0 to the device of the first capture [ICS], by two clients whose sequence numbers are the same: the
    /// answers find their own requests, in whatever order they come.
    #[test]
    fn answers_find_their_requests() {
        let mut chain = MessageAnnotator::new(None);
        for (ms, flow, hex) in [
            (0, 1, "01 00 00 00 00 02 00 0d 01 00 00 75 30"),
            (10, 1, "01 00 03 00 00 03 00 11 82 26 4e 00 00 d2 00 00 38"),
            (20, 1, "01 00 03 00 00 04 00 11 82 26 4e 00 00 d2 01 00 39"),
            (30, 2, "01 00 03 00 00 04 00 11 82 26 4e 00 00 d2 02 00 3a"),
            (40, 1, "01 01 03 00 00 04 00 18 86 26 4e 00 00 d2 01 07 00 d0 fb 00 00 00 00 11"),
            (90, 2, "01 01 03 00 00 04 00 1b 86 26 4e 00 00 d2 02 0a 00 d0 7f a0 00 00 00 00 00 00 3b"),
        ] {
            chain.push(at(ms), flow, &bytes(hex));
        }
        assert_eq!(
            told(&mut chain),
            [
                "session initiate, request, sequence 2: primary master, inactivity timer 30000 ms",
                "1 1 true Some(20)",
                "2 1 true Some(60)"
            ]
        );
        chain.finish();
        assert_eq!(told(&mut chain), ["0 1 false None"]);
    }

    /// Two commands in one direct PDU, one of them above 255; a repeat of a sequence number; what is no answer at all.
    #[test]
    fn direct_pdus_and_what_does_not_fit() {
        let mut chain = MessageAnnotator::new(None);
        chain.push(at(0), 1, &bytes("01 00 04 00 00 04 00 15 00 00 00 03 00 02 14 05 00 00 00 00 00"));
        chain.push(at(5), 1, &bytes("01 01 04 00 00 04 00 12 00 00 00 03 01 40 02 14 01 20"));
        // Cut: a datagram that ends within a message.
        chain.push(at(6), 1, &bytes("01 00 02 00 00 05 00 0a 00"));
        chain.push(at(7), 1, &bytes("01 0f 03 06 00 07 00 08 01 02 03 00 00 01 00 0f 01 00 01 02 00 00 02"));
        let told = told(&mut chain);
        assert_eq!(
            told,
            [
                "3 1 true Some(5)",
                "532 1 true Some(5)",
                "octets that are no message: ends within a message, 1 octets missing: 01 00 02 00 00 05 00 0A 00",
                "token-passing PDU, NAK, sequence 7, status 6 (device-specific error)",
                "1 0 true None"
            ]
        );
    }

    /// A NAK, an error and a response without a frame stand for the answer: the request is told as one without an answer, not
    /// as one at the end of the record. A NAK to something else leaves it alone.
    #[test]
    fn what_a_server_turns_down() {
        for (hex, words) in [
            (
                "01 0f 03 06 00 04 00 08",
                "token-passing PDU, NAK, sequence 4, status 6 (device-specific error)",
            ),
            (
                "01 03 03 06 00 04 00 09 02",
                "token-passing PDU, error, sequence 4, status 6 (device-specific error): service unavailable",
            ),
            (
                "01 01 03 10 00 04 00 08",
                "token-passing PDU, response, sequence 4, status 16 (access restricted)",
            ),
        ] {
            let mut chain = MessageAnnotator::new(None);
            chain.push(at(0), 1, &bytes("01 00 03 00 00 04 00 0d 02 80 03 00 81"));
            chain.push(at(1), 1, &bytes("01 0f 02 02 00 04 00 08"));
            chain.push(at(2), 1, &bytes(hex));
            chain.push(at(3), 1, &bytes(hex));
            chain.finish();
            let mut items = Vec::new();
            while let Some(item) = chain.next() {
                items.push(match &item {
                    MessageItem::Exchange(Item::Exchange(e)) => {
                        format!("{} {}", e.full_number(), e.transaction.outcome)
                    }
                    other => other.words(),
                });
            }
            let stands = format!("{words}; it stands for the answer to command 3");
            let other = "keep-alive, NAK, sequence 4, status 2 (invalid selection)";
            assert_eq!(items, [other, "3 no answer", &stands, words]);
        }
    }

    /// A response with fewer answers than there are commands: the others were not answered [IP-15].
    #[test]
    fn direct_pdus_that_are_partly_done() {
        let mut chain = MessageAnnotator::new(None);
        chain.push(at(0), 1, &bytes("01 00 04 00 00 05 00 10 00 00 00 03 00 00 01 00"));
        chain.push(at(5), 1, &bytes("01 01 04 00 00 05 00 0e 00 00 00 03 01 40"));
        let mut outcomes = Vec::new();
        while let Some(item) = chain.next() {
            if let MessageItem::Exchange(Item::Exchange(e)) = item {
                outcomes.push((e.full_number(), e.transaction.outcome));
            }
        }
        assert_eq!(outcomes, [(3, Outcome::Answered), (1, Outcome::Silent)]);
    }

    /// Of 257 clients the first one makes room, and what it asked is told.
    #[test]
    fn flows_that_make_room_lose_nothing() {
        let mut chain = MessageAnnotator::new(None);
        for flow in 0..257 {
            chain.push(at(0), flow, &bytes("01 00 03 00 00 04 00 0d 02 80 03 00 81"));
        }
        assert_eq!(told(&mut chain), ["3 1 false None"]);
        chain.finish();
        assert_eq!(told(&mut chain).len(), 256);
    }

    #[test]
    fn frames_of_the_wire_are_no_messages() {
        assert!(is_messages(&bytes("01 00 02 00 00 0c 00 08")));
        assert!(is_messages(&bytes("01 00 02 00 00 0c 00 08 01 01 02 00 00 0c 00 08")));
        for hex in [
            "02 80 00 00 82",
            "01 00 02 00 00 0c 00 09",
            "01 00 02 00 00 0c 00",
            "01 07 02 00 00 0c 00 08",
            "01 00 06 00 00 0c 00 08",
            // A burst with a good check byte whose octets 6 and 7 say its length: command 2, status 00 00, data 00 0A 00.
            "01 80 02 05 00 00 00 0A 00 8C",
        ] {
            assert!(!is_messages(&bytes(hex)), "{hex}");
        }
    }
}
