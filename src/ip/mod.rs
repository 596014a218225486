//! HART-IP: frames of the protocol in messages for UDP and TCP, version 1 [IP-02].
//!
//! Two levels, as with frames: a [`Message`] has a header that says its own length, so its encoder
//! is total; whatever octets come, [`Splitter`] and [`split_datagram`] make [`Piece`]s of them and lose none. Codes
//! that nobody knows survive as numbers.
//!
//! [`Server`] and [`Client`] are the two ends as state machines: octets and times go in, octets and requests come out.
//! They own no socket and read no clock.

mod audit;
mod body;
mod client;
mod direct;
mod harmless;
mod message;
mod server;
mod splitter;
mod told;

pub use audit::{AuditLog, AuditRecord, AuditRequest};
pub use body::{Content, Initiate, error_text};
pub use client::{Client, ClientConfig, ClientNews, ClientOutput};
pub use direct::{DirectCommand, DirectPdu};
pub use harmless::Harmless;
pub use message::{
    HEADER, Id, MAX_BODY, MAX_MESSAGE, Message, Side, Type, TypeBits, VERSION, status_is_warning, status_text,
};
pub use server::{
    Answer, Limits, Masters, Nobody, Peer, Request, Server, ServerConfig, ServerNews, ServerOutput, Ticket,
};
pub use splitter::{Piece, Splitter, Unreadable, split_datagram};

/// The port where servers are found, UDP and TCP [IP-01].
pub const PORT: u16 = 5094;
