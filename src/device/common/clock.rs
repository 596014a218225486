//! The clock: 89, 90 [DV-24].

use crate::app::command::Value;
use crate::device::clock::UNITS_PER_DAY;
use crate::device::commands::{Answer, Asked, code};
use crate::device::state::State;
use crate::device::values::Values;

/// What to do [TB-21].
const READ_RECEIPT: u8 = 0;
const WRITE: u8 = 1;
/// Clock flags [TB-20]; the other one stands for a battery, which the mock lacks.
const NEVER_SET: u8 = 0x02;

/// [CM-089]: who is locked out may read alone.
pub(in crate::device) fn set(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(what) = asked.octet("time_set") else { return Answer::Refused(code::TOO_FEW_DATA) };
    match what {
        READ_RECEIPT => {}
        WRITE if state.is_locked_out(asked.master) => return Answer::Refused(code::RESTRICTED),
        WRITE => match (asked.value("date"), asked.value("time")) {
            (Some(Value::Date(date)), Some(Value::Time(time)))
                if date.is_calendar() && time.0 < UNITS_PER_DAY =>
            {
                state.clock.set(asked.now, date, time);
            }
            _ => return Answer::Refused(code::INVALID_SELECTION),
        },
        _ => return Answer::Refused(code::INVALID_SELECTION),
    }
    let (date, time) = state.clock.read(asked.now);
    Answer::Done(
        Values::new().number("time_set", what).and("date", Value::Date(date)).and("time", Value::Time(time)),
    )
}

/// [CM-090]
pub(in crate::device) fn read(state: &mut State, asked: &Asked<'_>) -> Answer {
    let (date, time) = state.clock.read(asked.now);
    let (date_set, time_of_setting) = state.clock.last_set();
    Answer::Done(
        Values::new()
            .and("date", Value::Date(date))
            .and("time", Value::Time(time))
            .and("date_set", Value::Date(date_set))
            .and("time_of_setting", Value::Time(time_of_setting))
            .number("clock_flags", if state.clock.was_set { 0 } else { NEVER_SET }),
    )
}
