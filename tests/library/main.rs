//! The library as its users meet it, on virtual time. One program for all, because each test program of its
//! own costs a build of what they share; a test that needs a process of its own is a file in `tests/`.

mod arbitration;
mod benches;
mod common_practice;
mod conform;
mod current_loop;
mod described;
mod device_commands;
mod exchanges;
mod fixtures;
mod handover;
mod hart_ip;
mod host_check;
mod host_in_process;
mod inside;
mod line_script;
mod link_master;
mod notes_agree;
mod packets;
mod plant;
mod protocol_faults;
mod published_frames;
mod reach;
mod receiver_properties;
mod settings;
#[path = "../support/mod.rs"]
mod support;
mod travel;
mod triage;
mod triage_measured;
mod tshark_vectors;
mod wave;
mod wiring;
mod world_copy;
