//! The host over a bench in this process, on virtual time: finding, asking, writing, two roles, and bad wires.
//! Expected values come from the protocol notes with the arithmetic shown.

#[path = "host_in_process/bursts.rs"]
mod bursts;
#[path = "host_in_process/commands.rs"]
mod commands;
#[path = "host_in_process/delayed.rs"]
mod delayed;
#[path = "host_in_process/find.rs"]
mod find;
#[path = "host_in_process/rig.rs"]
mod rig;
#[path = "host_in_process/swarm.rs"]
mod swarm;
#[path = "host_in_process/values.rs"]
mod values;
#[path = "host_in_process/wires.rs"]
mod wires;
