//! Messages that answer a request: its id and its sequence number, version 1.

use super::Nobody;
use crate::frame::Frame;
use crate::ip::body::Content;
use crate::ip::message::{Message, Type};
use bytes::Bytes;

/// First status octet of a frame to which nobody answers [IP-08].
const NOBODY: u8 = 0x84;

fn of(kind: Type, request: &Message, body: Bytes) -> Message {
    let bare = Message::bare(kind, request.id, request.sequence);
    // No body of ours is that long.
    Message::new(kind, request.id, request.sequence, body).unwrap_or(bare)
}

/// A response with a body.
pub(super) fn with_body(request: &Message, body: Bytes) -> Message {
    of(Type::Response, request, body)
}

/// A response without one.
pub(super) fn bare(request: &Message, status: u8) -> Message {
    of(Type::Response, request, Bytes::new()).with_status(status)
}

/// A NAK.
pub(super) fn nak(request: &Message, status: u8) -> Message {
    of(Type::Nak, request, Bytes::new()).with_status(status)
}

/// That nobody answers on the wires. A direct PDU has no frame that could say so.
pub(super) fn nobody(request: &Message, how: Nobody) -> Message {
    let asked = match (how, request.content()) {
        (Nobody::CommunicationError, Content::Frame { octets, .. }) => Frame::parse(&octets).ok(),
        _ => None,
    };
    let reply = asked
        .and_then(|f| Frame::reply(false, f.address(), f.command(), [NOBODY, 0], Bytes::new()).ok())
        .map(|f| with_body(request, f.encode()));
    reply.unwrap_or_else(|| nak(request, DEVICE_SPECIFIC))
}

/// An error message [IP-07].
pub(super) fn error(request: &Message, code: u8) -> Message {
    let body = Bytes::copy_from_slice(&[code]);
    of(Type::Error, request, body).with_status(DEVICE_SPECIFIC)
}

/// Header status of every error message of ours.
const DEVICE_SPECIFIC: u8 = 6;
