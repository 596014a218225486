//! Octets on the line and the frames that they make.
//!
//! Two levels: a [`Frame`] can only be legal and its encoder is total; a [`RawFrame`] is any octets
//! at all. A damaged frame is a result, not an error.

mod octet;

pub use octet::{Capabilities, Marks, Octet, StampUnit};
