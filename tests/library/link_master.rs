//! The master's state machine on virtual time, fed by hand and on a simulated bus. Expected octets and times come from
//! the protocol notes with the arithmetic shown; the octets on the wire are made here, without looprig's encoder.

mod answers;
mod any;
mod bus;
mod carrier;
mod duplicate;
mod late;
mod limits;
mod rig;
mod sharing;
mod turns;
