//! The sequence of loop check, travel test and device check on virtual time: a valve by rules that are written here, whoever moves its set point,
//! and a person who answers by a rule.

mod device_check;
mod driven;
mod ended;
mod fake;
mod losses;
mod on_the_mock;
mod plants;
mod sequence;
mod valves;
