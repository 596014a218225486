//! Carriers that come and stay, and two that begin together.

use super::speech::*;
use super::stage::*;
use super::timeline::*;

/// [LL-15]: a carrier that is heard keeps everybody silent, and the silence begins anew with what was heard last on it. Masters
/// that only began to listen wait for RT1, 33 and 41.
#[test]
fn a_carrier_at_the_start() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).secondary_wants(poll(4));
    s.at(10.0).says("stuck modem", carrier(90.0));
    s.expect("RT1 from its end, at 100", PRIMARY.asks(poll(4)).at(133.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.hears("its first octet", |r| r.octets().len() == 1);
    s.silence(200.0);
}

/// [LL-15] [LL-04]: on a link that is known it is what was waited for last: RT2, 8, after its own answer.
#[test]
fn a_carrier_on_a_link_that_is_known() {
    let mut s = stage();
    s.device(4);
    s.secondary();
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1", SECONDARY.asks(poll(4)).at(41.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.later(5.0).says("stuck modem", carrier(60.0));
    s.later(10.0).secondary_wants(poll(4));
    s.expect("RT2 from its end", SECONDARY.asks(poll(4)).after(8.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.silence(200.0);
}

/// [LL-13] [LL-15]: the same when both want to speak. The turn that was the primary's is gone, whether it would have used it
/// or not: it waits RT2 + HOLD, 10, and lets the secondary begin at RT2. Else both would begin together.
#[test]
fn a_carrier_after_which_both_want_to_speak() {
    for disturbance in [carrier(60.0), noise(1), noise(30)] {
        let mut s = stage();
        s.device(4);
        s.primary();
        s.secondary();
        s.at(0.0).secondary_wants(poll(4));
        s.expect("RT1", SECONDARY.asks(poll(4)).at(41.0));
        s.expect("the device", device(4).answers(SECONDARY).after(2.0));
        s.later(15.0).says("stuck modem", disturbance);
        s.later(15.5).primary_wants(poll(4));
        s.later(15.5).secondary_wants(poll(4));
        s.expect("RT2 from its end", SECONDARY.asks(poll(4)).after(8.0));
        s.expect("the device", device(4).answers(SECONDARY).after(2.0));
        s.expect("HOLD", PRIMARY.asks(poll(4)).after(2.0));
        s.expect("the device", device(4).answers(PRIMARY).after(2.0));
        s.silence(200.0);
    }
}

/// [LL-15] [LL-16]: a carrier that does not go ends a request after 1000 characters, and that it was never sent is
/// told. When it has gone the next one has its turn.
#[test]
fn a_stuck_carrier() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(100.0).says("stuck modem", carrier(1200.0));
    s.at(110.0).primary_wants(poll(4));
    s.at(120.0).secondary_wants(poll(4));
    s.told("never sent [LL-16]", PRIMARY, Told::NoTurn);
    let waited = s.now() - 110.0;
    assert!((waited - 1000.0).abs() < 0.001, "{waited}\n{}", s.timeline);
    s.told("never sent [LL-16]", SECONDARY, Told::NoTurn);
    s.at(1350.0).secondary_wants(poll(4));
    s.expect("the link is free again", SECONDARY.asks(poll(4)).at(1350.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.silence(200.0);
}

/// [LL-15] [LL-13]: a carrier that stays for 6 characters after the last octet of an answer, and ends with an octet of
/// rubbish: at HOLD, 2, nobody begins, and the turn is gone. RT2 + HOLD, 8 + 2, from the rubbish.
#[test]
fn a_carrier_that_lasts_longer_than_its_answer() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(9));
    s.expect("RT1", PRIMARY.asks(poll(9)).at(33.0));
    s.during_it(1.0).secondary_wants(poll(4));
    s.later(5.0).says("device 9", joined(answer(PRIMARY, poll(9)), pause(noise(1), 0, 5.0)));
    s.expect("RT2 + HOLD from its end", SECONDARY.asks(poll(4)).after(10.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.hears("the rubbish", |r| r.octets().len() == 1);
    s.silence(200.0);
}

/// [LI-20] [LI-21] [LL-05]: a carrier is detected 4 bits after it begins, so two that begin within 3 bits of each other cannot know.
/// Neither hears the other, nobody answers, and both wait for RT1 from their own last character [LL-09]: the primary
/// is first by 41 - 33 = 8 characters. The secondary ends 3 bits later.
#[test]
fn two_begin_together() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(100.0).primary_wants(poll(4));
    s.at(100.0 + 3.0 * BIT).secondary_wants(poll(4));
    s.expect("the link is free", PRIMARY.asks(poll(4)).at(100.0));
    s.expect("no carrier yet", SECONDARY.asks(poll(4)).during_it(3.0 * BIT));
    s.expect("RT1 of the primary", PRIMARY.asks(poll(4)).after(33.0 - 3.0 * BIT));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD: both are in step again", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.told("at the second try", PRIMARY, Told::Answered(1));
    s.told("at the second try", SECONDARY, Told::Answered(1));
    s.silence(200.0);
}

/// The same where the secondary's request is 4 characters longer: the primary hears its end as noise, counts from there and
/// waits 4 more, still less than the 41 of the secondary [LL-22].
#[test]
fn two_begin_together_one_is_longer() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(100.0).primary_wants(poll(4));
    s.at(100.0 + 3.0 * BIT).secondary_wants(read(3, 4));
    s.expect("the link is free", PRIMARY.asks(poll(4)).at(100.0));
    s.expect("no carrier yet", SECONDARY.asks(read(3, 4)).during_it(3.0 * BIT));
    s.expect("RT1 and 4 from the end of the secondary's", PRIMARY.asks(poll(4)).after(37.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD", SECONDARY.asks(read(3, 4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.told("at the second try", PRIMARY, Told::Answered(1));
    s.told("at the second try", SECONDARY, Told::Answered(1));
    s.silence(200.0);
}

/// The same the other way round: the primary's is longer by 4 characters and ends last, but its RT1 is shorter by 8.
#[test]
fn two_begin_together_the_primarys_is_longer() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(100.0).secondary_wants(poll(4));
    s.at(100.0 + 3.0 * BIT).primary_wants(read(3, 4));
    s.expect("the link is free", SECONDARY.asks(poll(4)).at(100.0));
    s.expect("no carrier yet", PRIMARY.asks(read(3, 4)).during_it(3.0 * BIT));
    s.expect("RT1 of the primary", PRIMARY.asks(read(3, 4)).after(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.told("at the second try", PRIMARY, Told::Answered(1));
    s.told("at the second try", SECONDARY, Told::Answered(1));
    s.silence(200.0);
}

/// [LI-21] [LL-15]: 5 bits later the carrier is detected, and there is no collision.
#[test]
fn a_carrier_is_noticed_in_time() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(100.0).primary_wants(poll(4));
    s.at(100.0 + 5.0 * BIT).secondary_wants(poll(4));
    s.expect("the link is free", PRIMARY.asks(poll(4)).at(100.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.silence(200.0);
}
