//! The whole valve: figures of the reference actuator, the table of faults and their symptoms, fail action, and what holds for
//! every valve that is accepted.

#[path = "plant/fail_action.rs"]
mod fail_action;
#[path = "plant/properties.rs"]
mod properties;
#[path = "plant/reference.rs"]
mod reference;
#[path = "plant/run.rs"]
mod run;
#[path = "plant/symptoms.rs"]
mod symptoms;
