//! The mock device asked on virtual time, octet by octet, and its answers octet by octet. Expected octets come
//! from the protocol notes with the arithmetic shown; nothing here uses looprig's encoder or decoder.

#[path = "device/any.rs"]
mod any;
#[path = "device/burst.rs"]
mod burst;
#[path = "device/delayed.rs"]
mod delayed;
#[path = "device/events.rs"]
mod events;
#[path = "device/link.rs"]
mod link;
#[path = "device/locks.rs"]
mod locks;
#[path = "device/memory.rs"]
mod memory;
#[path = "device/ranges.rs"]
mod ranges;
#[path = "device/reads.rs"]
mod reads;
#[path = "device/rig.rs"]
mod rig;
#[path = "device/simulation.rs"]
mod simulation;
#[path = "device/status.rs"]
mod status;
#[path = "device/temperature.rs"]
mod temperature;
#[path = "device/transmitter.rs"]
mod transmitter;
#[path = "device/variables.rs"]
mod variables;
#[path = "device/whole.rs"]
mod whole;
#[path = "device/writes.rs"]
mod writes;
