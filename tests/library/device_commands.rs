//! The mock device asked on virtual time, octet by octet, and its answers octet by octet. Expected octets come
//! from the protocol notes with the arithmetic shown; nothing here uses looprig's encoder or decoder.

mod any;
mod burst;
mod delayed;
mod events;
mod link;
mod locks;
mod memory;
mod ranges;
mod reads;
mod rig;
mod simulation;
mod status;
mod temperature;
mod transmitter;
mod variables;
mod whole;
mod writes;
