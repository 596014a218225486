//! The whole valve: figures of the reference actuator, the table of faults and their symptoms, fail action, and what holds for
//! every valve that is accepted.

mod fail_action;
mod hand;
mod properties;
mod reference;
mod run;
mod symptoms;
