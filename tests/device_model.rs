//! The mock device driven with long random sequences of legal and illegal requests by two masters, next to a model
//! that says what each answer must be. The model shares no code with `app` and `device`: it holds its own values
//! and makes and reads octets by itself, from the protocol notes.

#[path = "device_model/burst.rs"]
mod burst;
#[path = "device_model/commands.rs"]
mod commands;
#[path = "device_model/delayed.rs"]
mod delayed;
#[path = "device_model/drive.rs"]
mod drive;
#[path = "device_model/model.rs"]
mod model;
#[path = "library/device_commands/rig.rs"]
#[allow(dead_code, reason = "shared with the tests of single commands")]
mod rig;
#[path = "device_model/whole.rs"]
mod whole;
