//! What the body of a message says.

use super::audit::{AuditLog, AuditRequest};
use super::direct::DirectPdu;
use super::message::{Id, Message, Type};
use bytes::Bytes;

/// The body of a session initiate, request and response [IP-05].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Initiate {
    /// 0 secondary, 1 primary; anything else is kept as it is.
    pub master_type: u8,
    /// After so long without a request the server ends the session, ms.
    pub inactivity_ms: u32,
}

impl Initiate {
    /// Reads a body; `None` of fewer than five octets.
    pub fn decode(body: &[u8]) -> Option<Initiate> {
        let &[master_type, a, b, c, d] = body.first_chunk::<5>()?;
        Some(Initiate { master_type, inactivity_ms: u32::from_be_bytes([a, b, c, d]) })
    }

    /// The octets of the body.
    pub fn encode(self) -> Bytes {
        let [a, b, c, d] = self.inactivity_ms.to_be_bytes();
        Bytes::copy_from_slice(&[self.master_type, a, b, c, d])
    }
}

/// What an error code means; `None` for one that no source explains [IP-07].
pub const fn error_text(code: u8) -> Option<&'static str> {
    Some(match code {
        0 => "session closed",
        1 => "primary session unavailable",
        2 => "service unavailable",
        _ => return None,
    })
}

/// A body read by the message's type and id.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// There is none.
    Empty,
    /// Of a session initiate.
    Initiate(Initiate),
    /// A frame from delimiter to check byte, whatever it is worth [IP-08].
    Frame {
        /// Octets of FF in front of it.
        preambles: usize,
        /// The rest.
        octets: Bytes,
    },
    /// Commands without frames [IP-09].
    Direct(DirectPdu),
    /// Of a request for the audit log.
    AuditRequest(AuditRequest),
    /// Of its response.
    AuditLog(AuditLog),
    /// Why there is no answer [IP-07].
    Error {
        /// The code.
        code: u8,
    },
    /// Anything else, and what is too short for what it should be.
    Other(Bytes),
}

impl Message {
    /// What the body says. Octets behind what an id needs are passed over.
    pub fn content(&self) -> Content {
        let body = self.body();
        if body.is_empty() {
            return Content::Empty;
        }
        let read = match (self.kind.kind(), self.id) {
            (Type::Error, _) => Some(Content::Error { code: body[0] }),
            (Type::Nak | Type::Unknown(_), _) => None,
            (_, Id::SessionInitiate) => Initiate::decode(body).map(Content::Initiate),
            (_, Id::TokenPdu) => {
                let preambles = body.iter().take_while(|&&o| o == 0xFF).count();
                Some(Content::Frame { preambles, octets: body.slice(preambles..) })
            }
            (_, Id::DirectPdu) => DirectPdu::decode(body).map(Content::Direct),
            (Type::Request, Id::ReadAuditLog) => AuditRequest::decode(body).map(Content::AuditRequest),
            (_, Id::ReadAuditLog) => AuditLog::decode(body).map(Content::AuditLog),
            _ => None,
        };
        read.unwrap_or_else(|| Content::Other(body.clone()))
    }
}
