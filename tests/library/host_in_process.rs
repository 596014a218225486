//! The host over a bench in this process, on virtual time: finding, asking, writing, two roles, and bad wires.
//! Expected values come from the protocol notes with the arithmetic shown.

mod bursts;
mod commands;
mod delayed;
mod find;
mod rig;
mod swarm;
mod values;
mod wires;
