//! Octets on the line and the frames that they make.
//!
//! Two levels: a [`Frame`] can only be legal and its encoder is total; a [`RawFrame`] is any octets
//! at all. A damaged frame is a result, not an error: [`Receiver`] turns stamped octets into
//! [`Reception`]s and loses none of them.

mod address;
mod legal;
mod octet;
mod raw;
mod receiver;
mod reception;

pub use address::{Address, Master, PollingAddress, Target, UniqueAddress};
pub use legal::{
    DecodeError, DecodeErrorKind, Delimiter, Expansion, Frame, FrameType, Header, MAX_BYTE_COUNT, MAX_FRAME,
    MAX_REPLY_DATA, TooLong, check_byte,
};
pub use octet::{Capabilities, Marks, Octet, StampUnit};
pub use raw::{RawFrame, RawOctet};
#[cfg(fuzzing)]
pub use receiver::PLANTED_FAULT;
pub use receiver::{Receiver, ReceiverConfig};
pub use reception::{Damage, Damaged, Good, Noise, Reception};
