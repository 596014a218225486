//! What damage does, and how everybody finds back into step.

use super::speech::*;
use super::stage::*;
use super::timeline::*;
use looprig::frame::{Damage, Marks, RawFrame, Reception};
use looprig::line::{FaultKind, FaultOf};

/// The place of the byte count in a short frame after 5 preambles: delimiter, address, command, count.
const COUNT: usize = 8;

fn is_noise(r: &Reception) -> bool {
    matches!(r, Reception::Noise(_))
}

fn damage(r: &Reception) -> Option<Damage> {
    match r {
        Reception::Damaged(d) => Some(d.damage),
        _ => None,
    }
}

fn is_damaged(r: &Reception) -> bool {
    damage(r).is_some()
}

/// The primary asks a device that the script plays, and both masters want to speak afterwards.
fn asked() -> Stage {
    let mut s = stage();
    s.device(5);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s.at(1.0).secondary_wants(poll(5));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s
}

/// Nobody could tell whose frame it was: RT1 from the last octet of it, 33 for the primary, which is before the 41 of the
/// secondary. The repeat is answered, and the secondary has its turn.
fn asked_again(mut s: Stage) {
    s.expect("RT1 from the last octet [LL-05]", PRIMARY.asks(poll(4)).after(33.0));
    s.later(2.0).says("device 4", answer(PRIMARY, poll(4)));
    in_step(&mut s);
    s.told("at the second try", PRIMARY, Told::Answered(1));
    s.silence(200.0);
}

/// The secondary begins HOLD after the answer to the primary.
fn in_step(s: &mut Stage) {
    s.expect("HOLD: all are in step", SECONDARY.asks(poll(5)).after(2.0));
    s.expect("the device", device(5).answers(SECONDARY).after(2.0));
}

/// [FR-10] [FR-11]: rubbish right before an answer, without a silence between, hides nothing.
#[test]
fn noise_before_an_answer() {
    let mut s = asked();
    s.later(2.0).says("device 4", joined(noise(6), answer(PRIMARY, poll(4))));
    in_step(&mut s);
    s.told("at the first try", PRIMARY, Told::Answered(0));
    s.hears("the rubbish", is_noise);
    s.silence(200.0);
}

/// [LL-13]: rubbish behind it, where HOLD would be over, takes the turn away: RT2 + HOLD, 8 + 2, after it.
#[test]
fn noise_after_an_answer() {
    let mut s = asked();
    s.later(2.0).says("device 4", answer(PRIMARY, poll(4)));
    s.later(2.0 + 22.0 + 1.5).says("spark", noise(3));
    s.expect("RT2 + HOLD after the noise", SECONDARY.asks(poll(5)).after(10.0));
    s.expect("the device", device(5).answers(SECONDARY).after(2.0));
    s.hears("the rubbish", is_noise);
    s.silence(200.0);
}

/// [FR-11]: an answer that breaks off after its first data octets.
#[test]
fn a_truncated_answer() {
    let mut s = asked();
    s.later(2.0).says("device 4", cut(answer(PRIMARY, poll(4)), 15));
    s.hears("22 octets were to come", |r| damage(r) == Some(Damage::Truncated { missing: 7 }));
    asked_again(s);
}

/// [FR-11]: a byte count that promises 64 octets more than there are.
#[test]
fn a_byte_count_that_lies() {
    let mut s = asked();
    s.later(2.0).says("device 4", answer(PRIMARY, poll(4)).flip(COUNT, 0x40));
    s.hears("64 octets were to come", |r| damage(r) == Some(Damage::Truncated { missing: 64 }));
    asked_again(s);
}

/// [FR-11] [LL-13]: the true answer behind it, without a silence between, is found when the silence after it shows that
/// no more will come: 2 characters and 1 ms, 0.109 characters. HOLD is over by then, the turn at 3 characters.
#[test]
fn an_answer_behind_a_byte_count_that_lies() {
    let mut s = asked();
    let liar = cut(answer(PRIMARY, poll(4)).flip(COUNT, 0x40), 12);
    s.later(2.0).says("device 4", joined(liar, answer(PRIMARY, poll(4))));
    s.expect("within its turn", SECONDARY.asks(poll(5)).after(2.5).give_or_take(0.5));
    s.expect("the device", device(5).answers(SECONDARY).after(2.0));
    s.told("at the first try", PRIMARY, Told::Answered(0));
    s.hears("the liar", is_damaged);
    s.silence(200.0);
}

/// [FR-11]: a byte count that is too small: the frame ends early with a wrong check byte, and what follows is rubbish.
#[test]
fn a_byte_count_that_is_too_small() {
    let mut s = asked();
    // 12 becomes 4.
    s.later(2.0).says("device 4", answer(PRIMARY, poll(4)).flip(COUNT, 0x08));
    s.hears("a wrong check byte", |r| matches!(damage(r), Some(Damage::Check { .. })));
    s.hears("the other 8 octets", |r| is_noise(r) && r.octets().len() == 8);
    asked_again(s);
}

/// [LL-06]: a pause inside an answer below one character is none; from a good character on the frame is given up.
#[test]
fn a_short_pause_inside() {
    let mut s = asked();
    s.later(2.0).says("device 4", pause(answer(PRIMARY, poll(4)), 14, 0.9));
    in_step(&mut s);
    s.all_is_well();
    s.silence(200.0);

    // From 1.109 characters on, 2 characters and 1 ms after the last octet, it is given up before the next one comes.
    let gap = Damage::Gap { at: 14, marks: Marks::GAP };
    for (long, told) in [(1.05, gap), (1.2, Damage::Truncated { missing: 8 })] {
        let mut s = asked();
        s.later(2.0).says("device 4", pause(answer(PRIMARY, poll(4)), 14, long));
        s.hears("the first piece", |r| damage(r) == Some(told));
        s.hears("the second piece", |r| is_noise(r) && r.octets().len() == 8);
        asked_again(s);
    }
}

/// [LL-06]: an answer in two pieces, 20 characters of silence between them: the wait begins anew after the second.
#[test]
fn an_answer_in_two_pieces() {
    let mut s = asked();
    let whole = answer(PRIMARY, poll(4));
    let rest = RawFrame { octets: whole.octets[14..].to_vec() };
    s.later(2.0).says("device 4", cut(whole, 14));
    s.later(2.0 + 14.0 + 20.0).says("device 4", rest);
    s.hears("the first piece", is_damaged);
    s.hears("the second piece", |r| is_noise(r) && r.octets().len() == 8);
    asked_again(s);
}

/// [LI-22] [FR-11]: what happens to a real device's first answer on the way: the primary asks again RT1, 33, after its last
/// octet; the secondary waits.
fn first_answer(seed: u64, kind: FaultKind, heard: impl Fn(&Reception) -> bool) {
    let mut s = stage_with_seed(seed);
    s.device(4);
    s.primary();
    s.secondary();
    // Only the first transmission of a device, which begins at 33 + 10 + 2.
    s.rule(kind, FaultOf::Answers, 44.0, 46.0);
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.hears("damaged", heard);
    s.expect("RT1 from the last octet", PRIMARY.asks(poll(4)).after(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.told("at the second try", PRIMARY, Told::Answered(1));
    s.silence(200.0);
}

/// One octet is lost in its time.
#[test]
fn a_lost_octet() {
    first_answer(3, FaultKind::LostOctets { count: 1 }, |r| {
        matches!(damage(r), Some(Damage::Truncated { missing: 1 }))
    });
}

/// Two that nobody sent stand in the middle.
#[test]
fn inserted_octets() {
    first_answer(3, FaultKind::InsertedOctets { count: 2 }, is_damaged);
}

/// The carrier goes for one character in the middle, or for twelve, which is enough to be given up and to be noticed by
/// whoever waits for the link to be free [LL-15].
#[test]
fn a_lost_carrier() {
    let lost = |r: &Reception| matches!(damage(r), Some(Damage::Gap { marks, .. }) if marks.contains(Marks::CARRIER_LOST));
    first_answer(8, FaultKind::CarrierLost { octets: 1 }, lost);
    let cut = |r: &Reception| matches!(damage(r), Some(Damage::Truncated { .. }));
    first_answer(8, FaultKind::CarrierLost { octets: 12 }, cut);
}

/// [FR-10]: one preamble alone is heard, which begins no frame.
#[test]
fn too_few_preambles() {
    first_answer(3, FaultKind::ShortPreamble { left: 1 }, is_noise);
}

/// [LL-18] [LL-19]: the answer comes twice, 3 characters apart with the carrier on. The first ends the request; the second is no
/// one's. The carrier keeps the secondary from beginning at HOLD, and it begins HOLD after the second.
#[test]
fn an_answer_that_comes_twice() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.rule(FaultKind::Repeated { after_characters: 3.0 }, FaultOf::Answers, 44.0, 46.0);
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD after the second answer", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.expect("HOLD", PRIMARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.finds("the second was not asked for [DV-12]", "DV-12");
    s.silence(200.0);
}

/// [LL-08] [HO-04] [ST-01]: a spark spoils the check byte of the request, its tenth octet. The device says so; that was a
/// turn, so the secondary has its own, and the primary asks again HOLD after that.
#[test]
fn a_damaged_request_that_is_answered() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.during_it(9.0).says("spark", noise(1));
    s.expect("communication error", device(4).answers_damaged(PRIMARY).after(2.0));
    s.expect("HOLD", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.expect("once more, HOLD after the other's answer", PRIMARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.told("it was not obeyed [HO-04]", PRIMARY, Told::Again);
    s.told("answered", PRIMARY, Told::Answered(0));
    s.hears("the request", is_damaged);
    s.silence(200.0);
}

/// [HO-04] [LL-04]: alone, RT2 after that answer; and not for ever: each counts as a try.
#[test]
fn a_request_that_always_arrives_damaged() {
    let mut s = stage();
    s.device(4);
    s.master(PRIMARY, 2);
    s.at(0.0).primary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    for _ in 0..2 {
        s.during_it(9.0).says("spark", noise(1));
        s.expect("communication error", device(4).answers_damaged(PRIMARY).after(2.0));
        s.expect("RT2", PRIMARY.asks(poll(4)).after(8.0));
    }
    s.during_it(9.0).says("spark", noise(1));
    s.expect("communication error", device(4).answers_damaged(PRIMARY).after(2.0));
    s.told("the first", PRIMARY, Told::Again);
    s.told("the second", PRIMARY, Told::Again);
    s.told("3 tries: that is its answer", PRIMARY, Told::Answered(0));
    s.silence(200.0);
}

/// [LL-08] [FR-11]: a spark spoils the address, the seventh octet: silence, and RT1 after the request.
#[test]
fn a_damaged_address() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.during_it(6.0).says("spark", noise(1));
    s.expect("RT1 after its own request", PRIMARY.asks(poll(4)).after(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.told("at the second try", PRIMARY, Told::Answered(1));
    s.silence(200.0);
}
