//! Answers that come late or not at all, one's own and the other master's.

use super::speech::*;
use super::stage::*;
use super::timeline::*;

/// A device that the script plays answers so many characters after the first request.
fn answered_after(delay: f64) -> Stage {
    let mut s = stage();
    s.primary();
    s.at(0.0).primary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.later(delay).says("device 4", answer(PRIMARY, poll(4)));
    s
}

/// [LL-02]: the slowest device that may be, 28 characters less a tenth.
#[test]
fn a_slow_device() {
    let mut s = stage();
    s.device_with_delay(4, 27.9);
    s.primary();
    s.at(0.0).primary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("below STO", device(4).answers(PRIMARY).after(27.9));
    s.told("at the first try", PRIMARY, Told::Answered(0));
    s.silence(200.0);
}

/// [LL-02] [LL-17] [LL-19]: an answer is in time up to 28 characters, and the observer allows one more before it says fault.
#[test]
fn an_answer_just_in_time() {
    for delay in [28.0, 28.9] {
        let mut s = answered_after(delay);
        s.told("at the first try", PRIMARY, Told::Answered(0));
        s.silence(200.0);
    }
}

/// [LL-02] [LL-19]: a later one is a fault; the master takes it all the same if it begins before the repeat is due, at RT1,
/// 33 characters. It goes on as after any answer.
#[test]
fn an_answer_just_late() {
    for delay in [29.1, 29.9, 30.5, 32.5] {
        let mut s = answered_after(delay);
        s.later(delay + 5.0).primary_wants(poll(4));
        s.told("the repeat had not begun", PRIMARY, Told::Answered(0));
        s.finds("later than STO [LL-02]", "LL-02");
        s.expect("RT2 after its answer [LL-04]", PRIMARY.asks(poll(4)).after(8.0));
        s.later(2.0).says("device 4", answer(PRIMARY, poll(4)));
        s.silence(200.0);
    }
}

/// [LL-07] [LL-09] [HO-04]: a request without an answer is repeated by its master RT1, 33, after its own end, and is
/// told as silence with the repeats.
#[test]
fn no_answer() {
    let mut s = stage();
    s.primary();
    s.at(0.0).primary_wants(poll(9));
    s.expect("RT1", PRIMARY.asks(poll(9)).at(33.0));
    for _ in 0..3 {
        s.expect("RT1 after its own request [LL-09]", PRIMARY.asks(poll(9)).after(33.0));
    }
    s.told("3 repeats [HO-04]", PRIMARY, Told::Silent(3));
    s.silence(200.0);
}

/// The same as secondary: 41.
#[test]
fn no_answer_to_the_secondary() {
    let mut s = stage();
    s.master(SECONDARY, 1);
    s.at(0.0).secondary_wants(poll(9));
    s.expect("RT1", SECONDARY.asks(poll(9)).at(41.0));
    s.expect("RT1 after its own request [LL-09]", SECONDARY.asks(poll(9)).after(41.0));
    s.told("1 repeat", SECONDARY, Told::Silent(1));
    s.silence(200.0);
}

/// [LL-09]: the other master waits for the answer to a request that has none: RT1 from its end, 41 for the secondary. A
/// repeat after 33 comes first, so its turn comes after the last.
#[test]
fn the_primarys_unanswered_request() {
    let mut s = stage();
    s.device(4);
    s.master(PRIMARY, 1);
    s.secondary();
    s.at(0.0).primary_wants(poll(9));
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(9)).at(33.0));
    s.expect("RT1 after its own request", PRIMARY.asks(poll(9)).after(33.0));
    s.expect("RT1 of the secondary after the other's request", SECONDARY.asks(poll(4)).after(41.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.told("1 repeat", PRIMARY, Told::Silent(1));
    s.silence(200.0);
}

/// [LL-09]: the other way round RT1 of the primary, 33, is over before the secondary's repeat, 41. Then the secondary
/// repeats HOLD after the primary's answer.
#[test]
fn the_secondarys_unanswered_request() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.master(SECONDARY, 1);
    s.at(0.0).secondary_wants(poll(9));
    s.expect("RT1", SECONDARY.asks(poll(9)).at(41.0));
    s.during_it(1.0).primary_wants(poll(4));
    s.expect("RT1 of the primary after the other's request", PRIMARY.asks(poll(4)).after(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("its repeat, HOLD after the other's answer", SECONDARY.asks(poll(9)).after(2.0));
    s.told("1 repeat", SECONDARY, Told::Silent(1));
    s.silence(200.0);
}

/// [LL-09]: while a device takes its time the other master waits for its answer, however long ago the link was free.
#[test]
fn the_others_answer_is_waited_for() {
    let mut s = stage();
    s.device_with_delay(4, 27.0);
    s.primary();
    s.secondary();
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1", SECONDARY.asks(poll(4)).at(41.0));
    s.during_it(1.0).primary_wants(poll(4));
    s.expect("within STO", device(4).answers(SECONDARY).after(27.0));
    s.expect("HOLD", PRIMARY.asks(poll(4)).after(2.0));
    s.expect("within STO", device(4).answers(PRIMARY).after(27.0));
    s.silence(200.0);
}

/// [LL-18]: the device was late and not deaf: it answers the first try in the middle of the repeat's silence, and the
/// repeat after that. The first answer ends the request; the next request waits RT1, 33, from it or from what comes then,
/// so the second answer meets nobody.
#[test]
fn an_answer_to_both_tries() {
    let mut s = stage();
    s.device(5);
    s.primary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).primary_wants(poll(5));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    // 33 + 10 + 7 characters after the first try, and as long after the repeat: 7 + 43.
    s.expect("RT1 after its own request", PRIMARY.asks(poll(4)).after(33.0));
    s.later(7.0).says("late device", answer(PRIMARY, poll(4)));
    s.later(50.0).says("late device", answer(PRIMARY, poll(4)));
    s.told("by the first answer", PRIMARY, Told::Answered(1));
    // The first answer ends 7 + 22 after the repeat, the second begins at 50: within 29 + 33 = 62. After it an answer to
    // the primary has been heard: RT2.
    s.expect("after the second answer", PRIMARY.asks(poll(5)).after(8.0));
    s.expect("the device", device(5).answers(PRIMARY).after(2.0));
    s.finds("the second was not asked for [DV-12]", "DV-12");
    s.silence(200.0);
}

/// [LL-18]: and if the second answer does not come, RT1 after the first.
#[test]
fn an_answer_to_the_repeat_alone() {
    let mut s = stage();
    s.device(5);
    s.primary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).primary_wants(poll(5));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("RT1 after its own request", PRIMARY.asks(poll(4)).after(33.0));
    s.later(7.0).says("device", answer(PRIMARY, poll(4)));
    s.told("by the repeat", PRIMARY, Told::Answered(1));
    s.expect("RT1: another answer may come", PRIMARY.asks(poll(5)).after(33.0));
    s.expect("the device", device(5).answers(PRIMARY).after(2.0));
    s.silence(200.0);
}

/// [LI-20] [LL-05]: an answer that begins 34 characters after the request meets the repeat, which began at 33: where both are
/// on, nothing survives. The answer ends last, and RT1 and 4 count from there, since the primary was talked over [LL-22].
#[test]
fn an_answer_into_the_repeat() {
    let mut s = answered_after(34.0);
    s.expect("RT1 after its own request", PRIMARY.asks(poll(4)).after(33.0));
    s.expect("RT1 and 4 after the answer that nobody understood", PRIMARY.asks(poll(4)).after(37.0));
    s.later(5.0).says("device 4", answer(PRIMARY, poll(4)));
    s.told("at the third try", PRIMARY, Told::Answered(2));
    // 22 characters of answer, of which the primary's request covered nine.
    s.hears("what the two together make", |r| r.octets().len() >= 13);
    s.silence(300.0);
}

/// [LL-16]: what begins in time and does not end is no answer 307 characters after STO, and 2 of margin [LL-17]: 28 + 2 + 307 = 337
/// after the request. By then no other master had a chance for 250 characters, so the next request waits 41 + 8 after the
/// noise [LL-14].
#[test]
fn an_answer_without_an_end() {
    let mut s = stage();
    s.device(5);
    s.master(PRIMARY, 0);
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).primary_wants(poll(5));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.later(5.0).says("chatterer", noise(400));
    s.told("not whole", PRIMARY, Told::Silent(0));
    // The request ends at 43.
    assert!((s.now() - 380.0).abs() < 0.001, "{}\n{}", s.now(), s.timeline);
    s.expect("a chance for another master", PRIMARY.asks(poll(5)).after(49.0));
    s.expect("the device", device(5).answers(PRIMARY).after(2.0));
    s.silence(200.0);
}
