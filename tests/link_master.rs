//! The master's state machine on virtual time, fed by hand and on a simulated bus. Expected octets and times come from
//! the protocol notes with the arithmetic shown; the octets on the wire are made here, without looprig's encoder.

#[path = "link_master/answers.rs"]
mod answers;
#[path = "link_master/any.rs"]
mod any;
#[path = "link_master/bus.rs"]
mod bus;
#[path = "link_master/carrier.rs"]
mod carrier;
#[path = "link_master/duplicate.rs"]
mod duplicate;
#[path = "link_master/late.rs"]
mod late;
#[path = "link_master/limits.rs"]
mod limits;
#[path = "link_master/rig.rs"]
mod rig;
#[path = "link_master/sharing.rs"]
mod sharing;
#[path = "link_master/turns.rs"]
mod turns;
