//! Burst frames: who goes next, and what they do to a request that waits. The reading of the master bit is that of two
//! sources; the notes tell the other one [LL-10].

use super::speech::*;
use super::stage::*;
use super::timeline::*;

/// [LL-10] [LL-03]: of two that want to speak the one that the burst names begins after HOLD, 2; the other one has its turn
/// after that.
#[test]
fn a_burst_names_who_goes_next() {
    for (named, other) in [(PRIMARY, SECONDARY), (SECONDARY, PRIMARY)] {
        let mut s = stage();
        s.device(4);
        s.primary();
        s.secondary();
        s.at(100.0).says("bursting device", burst(named, 7));
        s.at(105.0).primary_wants(poll(4));
        s.at(105.0).secondary_wants(poll(4));
        // 21 characters long.
        s.expect("HOLD after the burst", named.asks(poll(4)).at(100.0 + 21.0 + 2.0));
        s.expect("the device", device(4).answers(named).after(2.0));
        s.expect("HOLD after the other's answer", other.asks(poll(4)).after(2.0));
        s.expect("the device", device(4).answers(other).after(2.0));
        s.silence(200.0);
    }
}

/// [LL-10] [LL-04]: the other one may begin after RT2, 8, when the one that is named is silent.
#[test]
fn a_burst_names_somebody_who_wants_nothing() {
    for (named, other) in [(PRIMARY, SECONDARY), (SECONDARY, PRIMARY)] {
        let mut s = stage();
        s.device(4);
        s.primary();
        s.secondary();
        s.at(100.0).says("bursting device", burst(named, 7));
        match other {
            PRIMARY => s.at(105.0).primary_wants(poll(4)),
            _ => s.at(105.0).secondary_wants(poll(4)),
        }
        s.expect("RT2 after the burst", other.asks(poll(4)).after(8.0));
        s.expect("the device", device(4).answers(other).after(2.0));
        s.silence(200.0);
    }
}

/// [LL-10]: bursts that alternate give each master its turn; both are busy all the time.
#[test]
fn bursts_that_alternate() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    let mut at = 100.0;
    for (named, other) in [(PRIMARY, SECONDARY), (SECONDARY, PRIMARY), (PRIMARY, SECONDARY)] {
        s.at(at).says("bursting device", burst(named, 7));
        s.at(at + 5.0).primary_wants(poll(4));
        s.at(at + 5.0).secondary_wants(poll(4));
        s.expect("HOLD after the burst", named.asks(poll(4)).at(at + 21.0 + 2.0));
        s.expect("the device", device(4).answers(named).after(2.0));
        s.expect("HOLD after the other's answer", other.asks(poll(4)).after(2.0));
        s.expect("the device", device(4).answers(other).after(2.0));
        at += 200.0;
    }
    s.silence(200.0);
}

/// [LL-12] [LL-10]: a burst where the answer was to come ends the try. The primary repeats it, HOLD after the burst if that
/// names it, RT2 if not.
#[test]
fn a_burst_instead_of_an_answer() {
    for (named, begins) in [(PRIMARY, 2.0), (SECONDARY, 8.0)] {
        let mut s = stage();
        s.primary();
        s.secondary();
        s.at(0.0).primary_wants(poll(9));
        s.expect("RT1", PRIMARY.asks(poll(9)).at(33.0));
        s.later(5.0).says("bursting device", burst(named, 7));
        s.expect("the repeat", PRIMARY.asks(poll(9)).after(begins));
        s.later(2.0).says("device 9", answer(PRIMARY, poll(9)));
        s.told("at the second try", PRIMARY, Told::Answered(1));
        s.silence(200.0);
    }
}

/// The same where the secondary, which is named, has something to ask: then the repeat comes HOLD after its answer.
#[test]
fn a_burst_instead_of_an_answer_lets_the_other_go_first() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(9));
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(9)).at(33.0));
    s.later(5.0).says("bursting device", burst(SECONDARY, 7));
    s.expect("HOLD after the burst", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.expect("HOLD after the other's answer", PRIMARY.asks(poll(9)).after(2.0));
    s.later(2.0).says("device 9", answer(PRIMARY, poll(9)));
    s.told("at the second try", PRIMARY, Told::Answered(1));
    s.silence(200.0);
}

/// [LL-10]: a burst 4 characters after an answer, before RT2 is over: RT2 counts from its end.
#[test]
fn a_burst_after_an_answer() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).primary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.later(4.0).says("bursting device", burst(SECONDARY, 7));
    s.expect("RT2 after the burst", PRIMARY.asks(poll(4)).after(8.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.silence(200.0);
}

/// [LI-20]: a burst that begins while a request is leaving, by one that does not listen: nobody hears either as it
/// was. The primary was talked over: its request is repeated RT1 and 4, 37, after the end of what it heard [LL-22].
#[test]
fn a_burst_into_a_request() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.at(0.0).primary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.during_it(3.0).says("bursting device", burst(SECONDARY, 7));
    s.expect("RT1 and 4 from the end of the burst", PRIMARY.asks(poll(4)).after(37.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.told("at the second try", PRIMARY, Told::Answered(1));
    s.silence(200.0);
}
