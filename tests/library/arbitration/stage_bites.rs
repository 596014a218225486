//! The stage itself: a scene that is not what happened fails, and shows what did.

use super::speech::*;
use super::stage::*;
use super::timeline::*;

fn one_request() -> Stage {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s
}

#[test]
#[should_panic(expected = "it was 33.0000 and not 33.0010 characters")]
fn a_wrong_time() {
    one_request().expect("almost", PRIMARY.asks(poll(4)).at(33.001));
}

#[test]
#[should_panic(
    expected = "   33.000    33.000    43.000  primary asks command 0 of polling address 4 as primary"
)]
fn the_timeline_is_shown() {
    one_request().expect("somebody else", SECONDARY.asks(poll(4)).at(33.0));
}

#[test]
#[should_panic(expected = "it was another message")]
fn another_message() {
    one_request().expect("another device", PRIMARY.asks(poll(5)).at(33.0));
}

#[test]
#[should_panic(expected = "nobody spoke")]
fn nobody_spoke() {
    let mut s = one_request();
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("it wants nothing", SECONDARY.asks(poll(4)));
}

#[test]
#[should_panic(expected = "not in the scene: the device 4 spoke")]
fn somebody_more() {
    let mut s = one_request();
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.silence(100.0);
}

/// A device that answers after 30 characters [LL-02].
#[test]
#[should_panic(expected = "not in the scene: the observer found the answer to command 0")]
fn a_finding_that_no_step_tells() {
    let mut s = stage();
    s.primary();
    s.at(0.0).primary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.later(30.0).says("device 4", answer(PRIMARY, poll(4)));
    s.silence(100.0);
}

#[test]
#[should_panic(expected = "the primary was told Some(Silent(0)) and not Answered(0)")]
fn another_outcome() {
    let mut s = stage();
    s.master(PRIMARY, 0);
    s.at(0.0).primary_wants(poll(4));
    s.told("nobody is there", PRIMARY, Told::Answered(0));
}
