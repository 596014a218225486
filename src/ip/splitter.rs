//! Where messages begin and end in a datagram and in a stream [IP-11].

use super::message::{HEADER, Message};
use bytes::{Bytes, BytesMut};
use core::fmt;

/// Why octets are no message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unreadable {
    /// They end within a header.
    HeaderCut {
        /// Octets still missing.
        missing: usize,
    },
    /// They end within a message.
    BodyCut {
        /// Octets still missing by the byte count.
        missing: usize,
    },
    /// The byte count does not even cover the header.
    TooShort {
        /// What it says.
        count: usize,
    },
    /// The message is longer than whoever reads allows [IP-13].
    TooLong {
        /// What its byte count says.
        count: usize,
        /// What is allowed.
        most: usize,
    },
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unreadable::HeaderCut { missing } => write!(f, "ends within a header, {missing} octets missing"),
            Unreadable::BodyCut { missing } => write!(f, "ends within a message, {missing} octets missing"),
            Unreadable::TooShort { count } => {
                write!(f, "byte count {count}, less than the {HEADER} octets of the header")
            }
            Unreadable::TooLong { count, most } => {
                write!(f, "byte count {count}, more than the {most} octets that are taken")
            }
        }
    }
}

/// What octets turned out to be; every octet ends in exactly one piece.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Piece {
    /// A whole message.
    Message(Message),
    /// Octets that are none, to the end of the datagram or stream.
    Unreadable {
        /// Why.
        why: Unreadable,
        /// The octets, as many of them as came.
        octets: Bytes,
    },
}

/// What is wrong with the header at the start of `octets`, apart from being cut short.
fn lie(octets: &[u8], most: usize) -> Option<Unreadable> {
    match Message::header(octets)?.1 {
        count if count < HEADER => Some(Unreadable::TooShort { count }),
        count if count > most => Some(Unreadable::TooLong { count, most }),
        _ => None,
    }
}

/// What is missing at the end of `octets`, which hold no whole message.
fn cut(octets: &[u8]) -> Unreadable {
    match Message::header(octets) {
        None => Unreadable::HeaderCut { missing: HEADER - octets.len().min(HEADER) },
        Some((_, count)) => Unreadable::BodyCut { missing: count.saturating_sub(octets.len()) },
    }
}

/// The messages of one datagram, none of them longer than `most` octets; none of an empty one.
pub fn split_datagram(octets: &Bytes, most: usize) -> Vec<Piece> {
    let mut out = Vec::new();
    let mut rest = octets.clone();
    while !rest.is_empty() {
        match (lie(&rest, most), Message::parse(&rest)) {
            (None, Some((message, len))) => {
                out.push(Piece::Message(message));
                rest = rest.slice(len..);
            }
            (why, _) => {
                let why = why.unwrap_or_else(|| cut(&rest));
                out.push(Piece::Unreadable { why, octets: rest });
                break;
            }
        }
    }
    out
}

/// Cuts a stream into messages. Push octets, drain [`Splitter::next`]. It keeps less than one message and what was pushed
/// last.
#[derive(Clone, Debug)]
pub struct Splitter {
    most: usize,
    kept: BytesMut,
    lost: bool,
}

impl Splitter {
    /// A stream whose messages have at most `most` octets, 8 or more.
    pub fn new(most: usize) -> Splitter {
        Splitter { most: most.max(HEADER), kept: BytesMut::new(), lost: false }
    }

    /// Takes octets as they come. After [`Piece::Unreadable`] they are dropped: nobody knows where a message begins.
    pub fn push(&mut self, octets: &[u8]) {
        if !self.lost {
            self.kept.extend_from_slice(octets);
        }
    }

    /// Whether the stream can no longer be read.
    pub fn is_lost(&self) -> bool {
        self.lost
    }

    /// Octets that wait for the rest of their message.
    pub fn waiting(&self) -> usize {
        self.kept.len()
    }

    /// The next message; `None` while none is whole.
    #[allow(clippy::should_implement_trait, reason = "an iterator would be over at the first half message")]
    pub fn next(&mut self) -> Option<Piece> {
        if let Some(why) = lie(&self.kept, self.most) {
            self.lost = true;
            return Some(Piece::Unreadable { why, octets: self.kept.split().freeze() });
        }
        let (_, count) = Message::header(&self.kept)?;
        if self.kept.len() < count {
            return None;
        }
        let octets = self.kept.split_to(count).freeze();
        Message::parse(&octets).map(|(message, _)| Piece::Message(message))
    }

    /// The stream has ended: what is left of it, if anything is.
    pub fn finish(&mut self) -> Option<Piece> {
        self.lost = true;
        let octets = self.kept.split().freeze();
        (!octets.is_empty()).then(|| Piece::Unreadable { why: cut(&octets), octets })
    }
}
