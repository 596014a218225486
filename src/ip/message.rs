//! One message: header and body.

use bytes::{BufMut, Bytes, BytesMut};
use core::fmt;

/// Octets of the header [IP-02].
pub const HEADER: usize = 8;
/// Most octets of a message: as many as its byte count can say [IP-02].
pub const MAX_MESSAGE: usize = 0xFFFF;
/// Most octets of a body.
pub const MAX_BODY: usize = MAX_MESSAGE - HEADER;
/// The version that looprig speaks [IP-14].
pub const VERSION: u8 = 1;

/// What a message is for [IP-03]: the low four bits of its second octet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Type {
    /// A client asks.
    Request,
    /// The server answers.
    Response,
    /// The server speaks unasked.
    Publish,
    /// The server says why it does not answer.
    Error,
    /// The server did not understand.
    Nak,
    /// A value that no source explains, 4 to 14.
    Unknown(u8),
}

impl Type {
    /// From the low four bits of an octet.
    pub const fn of(octet: u8) -> Type {
        match octet & 0x0F {
            0 => Type::Request,
            1 => Type::Response,
            2 => Type::Publish,
            3 => Type::Error,
            15 => Type::Nak,
            n => Type::Unknown(n),
        }
    }

    /// The four bits.
    pub const fn bits(self) -> u8 {
        match self {
            Type::Request => 0,
            Type::Response => 1,
            Type::Publish => 2,
            Type::Error => 3,
            Type::Nak => 15,
            Type::Unknown(n) => n & 0x0F,
        }
    }
}

impl fmt::Display for Type {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Type::Request => f.write_str("request"),
            Type::Response => f.write_str("response"),
            Type::Publish => f.write_str("publish"),
            Type::Error => f.write_str("error"),
            Type::Nak => f.write_str("NAK"),
            Type::Unknown(n) => write!(f, "message type {n}"),
        }
    }
}

/// The whole octet that a type stands in, its high four bits kept [IP-02].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TypeBits(pub u8);

impl TypeBits {
    /// The type.
    pub const fn kind(self) -> Type {
        Type::of(self.0)
    }

    /// The high four bits, which should be zero.
    pub const fn reserved(self) -> u8 {
        self.0 >> 4
    }
}

impl From<Type> for TypeBits {
    fn from(kind: Type) -> Self {
        TypeBits(kind.bits())
    }
}

/// What a message is about [IP-04].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Id {
    /// A session begins.
    SessionInitiate,
    /// A session ends.
    SessionClose,
    /// A session goes on although nothing is asked.
    KeepAlive,
    /// A frame as on the wire.
    TokenPdu,
    /// Commands for the device at the server itself.
    DirectPdu,
    /// What the server remembers of sessions.
    ReadAuditLog,
    /// An id that no source explains.
    Unknown(u8),
}

impl Id {
    /// From its octet.
    pub const fn of(octet: u8) -> Id {
        match octet {
            0 => Id::SessionInitiate,
            1 => Id::SessionClose,
            2 => Id::KeepAlive,
            3 => Id::TokenPdu,
            4 => Id::DirectPdu,
            5 => Id::ReadAuditLog,
            n => Id::Unknown(n),
        }
    }

    /// The octet.
    pub const fn octet(self) -> u8 {
        match self {
            Id::SessionInitiate => 0,
            Id::SessionClose => 1,
            Id::KeepAlive => 2,
            Id::TokenPdu => 3,
            Id::DirectPdu => 4,
            Id::ReadAuditLog => 5,
            Id::Unknown(n) => n,
        }
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Id::SessionInitiate => f.write_str("session initiate"),
            Id::SessionClose => f.write_str("session close"),
            Id::KeepAlive => f.write_str("keep-alive"),
            Id::TokenPdu => f.write_str("token-passing PDU"),
            Id::DirectPdu => f.write_str("direct PDU"),
            Id::ReadAuditLog => f.write_str("read audit log"),
            Id::Unknown(n) => write!(f, "message id {n}"),
        }
    }
}

/// What a header status means; `None` for a value that no source explains [IP-06].
pub const fn status_text(status: u8) -> Option<&'static str> {
    Some(match status {
        0 => "success",
        2 => "invalid selection",
        5 => "too few data octets",
        6 => "device-specific error",
        8 => "set to the nearest possible value",
        9 => "security not initialised",
        14 => "protocol version not supported",
        15 => "all sessions in use",
        16 => "access restricted",
        30 => "insecure session exists",
        _ => return None,
    })
}

/// Whether with this header status what was asked was done all the same [IP-06].
pub const fn status_is_warning(status: u8) -> bool {
    matches!(status, 8 | 14 | 30)
}

/// Which end speaks in a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Side {
    /// A request.
    Client,
    /// Everything else.
    Server,
}

/// One message. Cloning is cheap.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Message {
    /// Protocol version; looprig speaks [`VERSION`].
    pub version: u8,
    /// Message type, with the bits beside it.
    pub kind: TypeBits,
    /// Message id.
    pub id: Id,
    /// Header status, 0 for success [IP-06].
    pub status: u8,
    /// Sequence number: an answer has that of its request.
    pub sequence: u16,
    body: Bytes,
}

impl Message {
    /// A message of version 1 with status 0.
    ///
    /// # Errors
    /// More than [`MAX_BODY`] octets of body: they are given back.
    pub fn new(kind: Type, id: Id, sequence: u16, body: impl Into<Bytes>) -> Result<Message, Bytes> {
        let body = body.into();
        if body.len() > MAX_BODY {
            return Err(body);
        }
        Ok(Message { version: VERSION, kind: kind.into(), id, status: 0, sequence, body })
    }

    /// A message of version 1 without body.
    pub fn bare(kind: Type, id: Id, sequence: u16) -> Message {
        Message { version: VERSION, kind: kind.into(), id, status: 0, sequence, body: Bytes::new() }
    }

    /// The same message with this header status.
    #[must_use]
    pub fn with_status(mut self, status: u8) -> Message {
        self.status = status;
        self
    }

    /// The same message, without holding on to the octets that came with it.
    #[must_use]
    pub(super) fn alone(mut self) -> Message {
        self.body = Bytes::copy_from_slice(&self.body);
        self
    }

    /// Which end says it.
    pub fn side(&self) -> Side {
        match self.kind.kind() {
            Type::Request => Side::Client,
            _ => Side::Server,
        }
    }

    /// What follows the header.
    pub fn body(&self) -> &Bytes {
        &self.body
    }

    /// Octets of the message, header included: what its byte count says.
    pub fn len(&self) -> usize {
        HEADER + self.body.len()
    }

    /// Never: there is always a header.
    pub fn is_empty(&self) -> bool {
        false
    }

    /// The octets.
    pub fn encode(&self) -> Bytes {
        let mut out = BytesMut::with_capacity(self.len());
        self.encode_to(&mut out);
        out.freeze()
    }

    /// The octets behind what is in `out` already.
    pub fn encode_to(&self, out: &mut BytesMut) {
        out.put_slice(&[self.version, self.kind.0, self.id.octet(), self.status]);
        out.put_u16(self.sequence);
        // The body is never longer than [`MAX_BODY`].
        out.put_u16(self.len() as u16);
        out.put_slice(&self.body);
    }

    /// Reads a header; `None` of fewer than eight octets. The second value is the byte count, whatever it says.
    pub fn header(octets: &[u8]) -> Option<(Message, usize)> {
        let &[version, kind, id, status, s1, s0, c1, c0] = octets.first_chunk::<HEADER>()?;
        let message = Message {
            version,
            kind: TypeBits(kind),
            id: Id::of(id),
            status,
            sequence: u16::from_be_bytes([s1, s0]),
            body: Bytes::new(),
        };
        Some((message, usize::from(u16::from_be_bytes([c1, c0]))))
    }

    /// The message at the start of `octets`, and how many of them it takes; `None` where its header or its body is not
    /// whole, or its byte count is below 8.
    pub fn parse(octets: &Bytes) -> Option<(Message, usize)> {
        let (mut message, count) = Message::header(octets)?;
        if count < HEADER || count > octets.len() {
            return None;
        }
        message.body = octets.slice(HEADER..count);
        Some((message, count))
    }
}

impl fmt::Display for Message {
    /// What it is in a few words, without its body.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, {}, sequence {}", self.id, self.kind.kind(), self.sequence)?;
        if self.version != VERSION {
            write!(f, ", version {}", self.version)?;
        }
        match (self.status, status_text(self.status)) {
            (0, _) => Ok(()),
            (status, Some(text)) => write!(f, ", status {status} ({text})"),
            (status, None) => write!(f, ", status {status}"),
        }
    }
}
