//! Many devices on one pair of wires: the one that is asked answers, and nobody else [DV-12].

use super::speech::*;
use super::stage::*;
use super::timeline::*;

/// [DV-12] [FR-05]: 15 devices, asked by polling address and by unique address, by both masters.
#[test]
fn only_the_one_that_is_asked_answers() {
    let mut s = stage();
    (1..=15).for_each(|polling| s.device_with_delay(polling, 1.0 + f64::from(polling)));
    s.primary();
    s.secondary();
    for polling in 1..=15 {
        s.at(0.0).primary_wants(poll(polling));
        s.at(0.0).secondary_wants(read(3, 16 - polling));
    }
    for polling in 1..=15 {
        let due = PRIMARY.asks(poll(polling));
        s.expect("its turn", if polling == 1 { due.at(33.0) } else { due.after(2.0) });
        s.expect("only this one", device(polling).answers(PRIMARY).after(1.0 + f64::from(polling)));
        s.expect("its turn", SECONDARY.asks(read(3, 16 - polling)).after(2.0));
        let delay = 1.0 + f64::from(16 - polling);
        s.expect("only this one", device(16 - polling).answers(SECONDARY).after(delay));
    }
    s.all_is_well();
    s.silence(200.0);
}

/// [DV-12] [FR-14]: nobody answers at an address where nobody is, nor a short frame with another command than 0.
#[test]
fn nobody_answers_for_another() {
    let mut s = stage();
    (1..=15).for_each(|polling| s.device(polling));
    s.master(PRIMARY, 0);
    s.at(0.0).primary_wants(poll(0));
    s.at(0.0).primary_wants(read(0, 0));
    s.at(0.0).primary_wants(read(3, 7).shortly());
    s.at(0.0).primary_wants(poll(7));
    s.expect("RT1", PRIMARY.asks(poll(0)).at(33.0));
    s.expect("silence, RT1", PRIMARY.asks(read(0, 0)).after(33.0));
    s.expect("silence, RT1", PRIMARY.asks(read(3, 7).shortly()).after(33.0));
    s.expect("silence, RT1", PRIMARY.asks(poll(7)).after(33.0));
    s.expect("the device", device(7).answers(PRIMARY).after(2.0));
    for _ in 0..3 {
        s.told("nobody", PRIMARY, Told::Silent(0));
    }
    s.silence(200.0);
}

/// [DV-12]: answers and bursts of others are not answered either.
#[test]
fn devices_do_not_answer_each_other() {
    let mut s = stage();
    (1..=15).for_each(|polling| s.device(polling));
    s.at(10.0).says("a sixteenth", answer(PRIMARY, poll(3)));
    s.at(100.0).says("a sixteenth", burst(PRIMARY, 3));
    s.silence(300.0);
}
