//! The check of a host: faulty hosts on a simulated bus, each with what it breaks named before, and good ones, about
//! whom it is silent. Which requirement a fault breaks is from the protocol notes, in [HC-02] to [HC-05].

mod any;
mod closed;
mod faulty;
mod good;
mod lines;
mod rig;
mod rules;
