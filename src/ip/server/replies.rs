//! Messages that answer a request: its id and its sequence number, version 1.

use crate::ip::message::{Message, Type};
use bytes::Bytes;

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

/// An error message [IP-07].
pub(super) fn error(request: &Message, code: u8) -> Message {
    let body = Bytes::copy_from_slice(&[code]);
    of(Type::Error, request, body).with_status(DEVICE_SPECIFIC)
}

/// Header status of every error message of ours.
const DEVICE_SPECIFIC: u8 = 6;
