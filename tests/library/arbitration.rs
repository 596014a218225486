//! Who may speak when: scenes with real masters, mock devices and whoever disturbs them on one simulated pair of
//! wires. Each scene is a list of steps, each step a transmission with the silence before it in characters; what is
//! expected comes from the notes, with the arithmetic beside it. A scene that fails prints all that happened.

mod bursting;
mod bursts;
mod carrier;
mod clocks;
mod damage;
mod disturbed;
mod multidrop;
mod one_bit;
mod silence;
mod speech;
mod stage;
mod stage_bites;
mod timeline;
mod turns;
