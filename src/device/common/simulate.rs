//! Device variables that a master says: 79 [DV-23].

use super::variables::own_variable;
use crate::app::command::Value;
use crate::device::commands::{Answer, Asked, code};
use crate::device::state::State;
use crate::device::values::Values;
use crate::device::variables::{Simulated, can_be_told, variable_status};

/// Codes of command 79 [ST-04].
const FAMILY_BITS_NOT_SET: u8 = 8;
const INVALID_COMMAND_CODE: u8 = 10;
const INVALID_INDEX: u8 = 17;
const INVALID_UNIT: u8 = 18;
/// What to do [TB-15].
const NORMAL: u8 = 0;
const FIXED_VALUE: u8 = 1;

/// [CM-079]
pub(in crate::device) fn write_variable(state: &mut State, asked: &Asked<'_>) -> Answer {
    let (Some(what), Some(unit), Some(value), Some(status)) =
        (asked.octet("write_command"), asked.octet("unit"), asked.float("value"), asked.octet("status"))
    else {
        return Answer::Refused(code::TOO_FEW_DATA);
    };
    let Some(index) = own_variable(state, asked) else { return Answer::Refused(INVALID_INDEX) };
    let quantity = &state.quantities()[index];
    let echo = |status: u8| {
        Values::new()
            .number("code", index as u32)
            .number("write_command", what)
            .number("unit", unit)
            .and("value", asked.value("value").unwrap_or(Value::NOT_A_NUMBER))
            .number("status", status)
    };
    match what {
        NORMAL => {
            state.simulate(asked.now, index, None);
            Answer::Done(echo(status))
        }
        FIXED_VALUE if !quantity.offers_unit(unit) => Answer::Refused(INVALID_UNIT),
        FIXED_VALUE if !can_be_told(quantity, unit, value) => Answer::Refused(code::INVALID_SELECTION),
        FIXED_VALUE => {
            let kept = status & !variable_status::FAMILY;
            state.simulate(asked.now, index, Some(Simulated { unit, value, status: kept }));
            if kept == status {
                Answer::Done(echo(status))
            } else {
                Answer::Warned(FAMILY_BITS_NOT_SET, echo(kept))
            }
        }
        _ => Answer::Refused(INVALID_COMMAND_CODE),
    }
}
