//! Who may speak when: scenes with real masters, mock devices and whoever disturbs them on one simulated pair of
//! wires. Each scene is a list of steps, each step a transmission with the silence before it in characters; what is
//! expected comes from the notes, with the arithmetic beside it. A scene that fails prints all that happened.

#[path = "arbitration/bursting.rs"]
mod bursting;
#[path = "arbitration/bursts.rs"]
mod bursts;
#[path = "arbitration/carrier.rs"]
mod carrier;
#[path = "arbitration/clocks.rs"]
mod clocks;
#[path = "arbitration/damage.rs"]
mod damage;
#[path = "arbitration/disturbed.rs"]
mod disturbed;
#[path = "arbitration/multidrop.rs"]
mod multidrop;
#[path = "arbitration/one_bit.rs"]
mod one_bit;
#[path = "arbitration/silence.rs"]
mod silence;
#[path = "arbitration/speech.rs"]
mod speech;
#[path = "arbitration/stage.rs"]
mod stage;
#[path = "arbitration/stage_bites.rs"]
mod stage_bites;
#[path = "arbitration/timeline.rs"]
mod timeline;
#[path = "arbitration/turns.rs"]
mod turns;
