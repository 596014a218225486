//! Two masters with one bit: one stops when it has heard the other twice, and says so with both requests [HO-03].

use super::speech::*;
use super::stage::*;
use super::timeline::*;
use looprig::frame::{Frame, Master as Role};
use looprig::link::{Severity, Violation};

fn frames(v: &Violation) -> Vec<Frame> {
    v.evidence.iter().map(|e| e.frame.clone()).collect()
}

/// [HO-03]: one that only listens stops at the second request with its bit. It has none of its own to show.
#[test]
fn one_that_listens() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.master(TWIN, 0);
    s.at(0.0).primary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.later(50.0).primary_wants(poll(4));
    s.expect("on an idle link at once", PRIMARY.asks(poll(4)).after(50.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.told("a second request with its bit", TWIN, Told::Stopped);
    assert_eq!(s.why_stopped(TWIN).requirement, "HO-03");
    assert_eq!(frames(s.why_stopped(TWIN)), [poll(4), poll(4)].map(|a| a.frame(Role::Primary)));
    // What it wants afterwards is not sent.
    s.later(100.0).twin_wants(poll(4));
    s.silence(500.0);
}

/// [HO-03]: its own request arrived damaged, so the other one goes on; when it does so twice, the first stops with its own last
/// request and the other's. The wires look as if there was one master, so the observer finds nothing.
#[test]
fn one_that_has_asked() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.master(TWIN, 0);
    s.at(100.0).twin_wants(poll(9));
    s.expect("the link is free", TWIN.asks(poll(9)).at(100.0));
    s.during_it(6.0).says("spark", noise(1));
    s.during_it(8.0).primary_wants(poll(4));
    s.expect("RT1 after the damaged request", PRIMARY.asks(poll(4)).after(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.told("nobody heard it", TWIN, Told::Silent(0));
    s.later(50.0).primary_wants(poll(4));
    s.expect("on an idle link at once", PRIMARY.asks(poll(4)).after(50.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.told("a second request with its bit", TWIN, Told::Stopped);
    assert_eq!(frames(s.why_stopped(TWIN)), [poll(9), poll(4), poll(4)].map(|a| a.frame(Role::Primary)));
    s.silence(300.0);
}

/// [HO-03] [LL-19]: the primary's modem takes up to 40 characters until it begins ([LI-23]), so the other one asks in
/// between, and each hears the other's request whole, twice: both stop, each with both requests. So does the observer
/// tell it: two requests with one bit, less than STO less the margin, 28 - 1 characters apart.
#[test]
fn both_find_each_other() {
    let mut s = stage_with_seed(1);
    s.clocks(0, characters(40.0));
    s.primary();
    s.clocks(0, characters(0.0));
    s.master(TWIN, 3);
    s.at(100.0).primary_wants(poll(8));
    s.at(101.0).twin_wants(poll(9));
    s.expect("nobody is heard yet", TWIN.asks(poll(9)).at(101.0));
    // It ends at 111, and 27 more are 138: the dice of seed 1 begin the primary's between.
    s.expect("it was leaving already", PRIMARY.asks(poll(8)).after(13.5).give_or_take(13.5));
    // Once may be chance, so both go on: RT1, and the jitter of one of them.
    s.expect("RT1 after the other's request", TWIN.asks(poll(9)).after(33.0));
    s.expect("it was leaving already", PRIMARY.asks(poll(8)).after(20.0).give_or_take(20.0));
    s.told("it heard the other before its own began", PRIMARY, Told::Stopped);
    s.told("it heard the other instead of an answer", TWIN, Told::Stopped);
    let both = [poll(8), poll(9)].map(|a| a.frame(Role::Primary));
    let [ours, theirs] = &both;
    assert_eq!(frames(s.why_stopped(PRIMARY)), [ours, theirs, theirs].map(Clone::clone));
    assert!(s.why_stopped(PRIMARY).what.starts_with("while sending"));
    assert_eq!(frames(s.why_stopped(TWIN)), [theirs, ours, ours].map(Clone::clone));
    assert!(s.why_stopped(TWIN).what.starts_with("while waiting for the answer"));
    let found = s.finds("two masters with one bit [LL-19]", "LL-09");
    assert_eq!(found.severity, Severity::Fault);
    assert_eq!(frames(&found.violation), [both[1].clone(), both[0].clone()]);
    s.silence(500.0);
}

/// [HO-03] [LL-05]: two of one kind that begin together cannot hear each other, and as they wait for the same RT1 they
/// do so again, until the tries of one are over; the one that tries once more is heard by it.
#[test]
fn both_begin_together() {
    let mut s = stage();
    s.master(PRIMARY, 2);
    s.master(TWIN, 1);
    s.at(100.0).primary_wants(poll(9));
    s.at(100.0).twin_wants(poll(9));
    s.expect("the link is free", PRIMARY.asks(poll(9)).at(100.0));
    s.expect("at the same time", TWIN.asks(poll(9)).during_it(0.0));
    s.expect("RT1", PRIMARY.asks(poll(9)).after(33.0));
    s.expect("the same RT1", TWIN.asks(poll(9)).during_it(0.0));
    s.expect("RT1", PRIMARY.asks(poll(9)).after(33.0));
    s.told("nobody is at 9", TWIN, Told::Silent(1));
    s.told("now it heard the other", TWIN, Told::Stopped);
    assert_eq!(frames(s.why_stopped(TWIN)), [poll(9), poll(9)].map(|a| a.frame(Role::Primary)));
    s.told("nobody is at 9", PRIMARY, Told::Silent(2));
    s.silence(300.0);
}
