//! The device as a whole: 39, 41, 42, 59, 95, 106 [DV-20] [DV-21] [DV-26] [DV-40].

use crate::device::commands::{Answer, Asked, code};
use crate::device::state::State;
use crate::device::stored::REPLY_PREAMBLES;
use crate::device::values::Values;

/// [CM-039]: what is written is in both memories at once, so both are the same already.
pub(in crate::device) fn control_eeprom(_: &mut State, asked: &Asked<'_>) -> Answer {
    // Burn and restore [TB-19].
    match asked.number("eeprom_control") {
        Some(control @ (0 | 1)) => Answer::Done(Values::new().number("eeprom_control", control)),
        _ => Answer::Refused(code::INVALID_SELECTION),
    }
}

/// [CM-041]: it finds what is known.
pub(in crate::device) fn self_test(_: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(Values::new())
}

/// [CM-042]: when the answer is out, or at once where none is given.
pub(in crate::device) fn reset(state: &mut State, _: &Asked<'_>) -> Answer {
    state.starts_again = true;
    if state.config.reset_answers { Answer::Done(Values::new()) } else { Answer::Silent }
}

/// [CM-059]: from this answer on.
pub(in crate::device) fn write_preambles(state: &mut State, asked: &Asked<'_>) -> Answer {
    match asked.octet("preambles_reply") {
        None => Answer::Refused(code::TOO_FEW_DATA),
        Some(n) if n > *REPLY_PREAMBLES.end() => Answer::Refused(code::TOO_LARGE),
        Some(n) if n < *REPLY_PREAMBLES.start() => Answer::Refused(code::TOO_SMALL),
        Some(n) => {
            state.stored.preambles_reply = Some(n);
            state.count_write();
            Answer::Done(Values::new().number("preambles_reply", n))
        }
    }
}

/// [CM-095]: with this request and without its answer.
pub(in crate::device) fn read_counters(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(
        Values::new()
            .number("requests", state.counters.requests)
            .number("replies", state.counters.replies)
            .number("bursts", state.counters.bursts),
    )
}

/// Warning of command 106.
const SOME_RUN_ON: u8 = 8;

/// [CM-106]: those of the master that asks.
pub(in crate::device) fn flush_delayed(state: &mut State, asked: &Asked<'_>) -> Answer {
    match state.delayed.flush(asked.master) {
        true => Answer::Warned(SOME_RUN_ON, Values::new()),
        false => Answer::Done(Values::new()),
    }
}
