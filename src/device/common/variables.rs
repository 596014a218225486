//! Device variables: 33, 49 to 51, 53, 54, 56, 110 [DV-19].

use crate::app::command::{Revision, Value};
use crate::app::types::TimeOfDay;
use crate::device::commands::{Answer, Asked, code};
use crate::device::kind::PRIMARY;
use crate::device::state::State;
use crate::device::universal::{LAST_VARIABLE_CODE, dynamic_variable};
use crate::device::values::Values;
use crate::device::variables::unit;

/// Codes of command 53 [ST-04].
const INVALID_VARIABLE: u8 = 11;
const INVALID_UNIT: u8 = 12;
/// Device variable properties [TB-25].
const IS_INPUT: u8 = 0x01;
const IS_SIMULATED: u8 = 0x80;

/// The numbered variable that a write means.
pub(super) fn own_variable(state: &State, asked: &Asked<'_>) -> Option<usize> {
    asked.octet("code").map(usize::from).filter(|&i| i < state.quantities().len())
}

/// [CM-033]: as in command 9, a variable that the device does not have is answered as such.
pub(in crate::device) fn read_variables(state: &mut State, asked: &Asked<'_>) -> Answer {
    let codes = asked.slots("code");
    if codes.iter().any(|&c| c > LAST_VARIABLE_CODE) {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    let mut values = Values::new();
    for (slot, code) in codes.into_iter().enumerate() {
        let (unit, value) = match state.variable(code, asked.now) {
            Some(v) => (v.unit, v.value),
            None => (unit::NOT_USED, Value::NOT_A_NUMBER),
        };
        values = values
            .number(format!("slot{slot}_code"), code)
            .number(format!("slot{slot}_unit"), unit)
            .and(format!("slot{slot}_value"), value);
    }
    Answer::Done(values)
}

/// [CM-110]
pub(in crate::device) fn read_dynamic_variables(state: &mut State, asked: &Asked<'_>) -> Answer {
    let mut values = Values::new();
    for (code, unit, value) in
        [(246, "pv_unit", "pv"), (247, "sv_unit", "sv"), (248, "tv_unit", "tv"), (249, "qv_unit", "qv")]
    {
        values = dynamic_variable(state, asked, values, code, unit, value);
    }
    Answer::Done(values)
}

/// [CM-049]: that of PV.
pub(in crate::device) fn write_serial_number(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(number) = asked.number("serial_number") else { return Answer::Refused(code::TOO_FEW_DATA) };
    state.stored.transducer_serial_numbers[PRIMARY] = number;
    state.count_write();
    Answer::Done(Values::new().number("serial_number", number))
}

/// [CM-056]
pub(in crate::device) fn write_serial_number_of(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(index) = own_variable(state, asked) else { return Answer::Refused(code::INVALID_SELECTION) };
    let Some(number) = asked.number("serial_number") else { return Answer::Refused(code::TOO_FEW_DATA) };
    state.stored.transducer_serial_numbers[index] = number;
    state.count_write();
    Answer::Done(Values::new().number("code", index as u32).number("serial_number", number))
}

/// [CM-050]
pub(in crate::device) fn read_assignments(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(assignments(state))
}

const ASSIGNED: [&str; 4] = ["pv_code", "sv_code", "tv_code", "qv_code"];

fn assignments(state: &State) -> Values {
    let each = ASSIGNED.into_iter().zip(state.stored.assignments);
    each.fold(Values::new(), |values, (name, code)| values.number(name, code))
}

/// [CM-051]: what is not named stays; PV stays, for the loop current carries it.
pub(in crate::device) fn write_assignments(state: &mut State, asked: &Asked<'_>) -> Answer {
    let mut wanted = state.stored.assignments;
    for (place, name) in wanted.iter_mut().zip(ASSIGNED) {
        if let Some(code) = asked.octet(name) {
            *place = code;
        }
    }
    if !state.kind.traits().can_be_assigned(&wanted) {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    state.stored.assignments = wanted;
    state.count_write();
    Answer::Done(assignments(state))
}

/// [CM-053]
pub(in crate::device) fn write_unit_of(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(index) = own_variable(state, asked) else { return Answer::Refused(INVALID_VARIABLE) };
    match asked.octet("unit") {
        Some(unit)
            if state.quantities()[index].offers_unit(unit) && state.set_unit(asked.now, index, unit) =>
        {
            state.count_write();
            Answer::Done(Values::new().number("code", index as u32).number("unit", unit))
        }
        _ => Answer::Refused(INVALID_UNIT),
    }
}

/// [CM-054]
pub(in crate::device) fn read_information(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some((code, about)) = asked.octet("code").and_then(|c| Some((c, state.about(c)?))) else {
        return Answer::Refused(code::INVALID_SELECTION);
    };
    let span = about.minimum_span.map_or(Value::NOT_A_NUMBER, |x| Value::float(x as f32));
    let values = Values::new()
        .number("code", code)
        .number("serial_number", about.serial_number)
        .number("unit", about.unit)
        .float("upper_limit", about.limits.1)
        .float("lower_limit", about.limits.0)
        .float("damping", about.damping_s)
        .and("minimum_span", span)
        .number("class", about.class)
        .number("family", about.family)
        .and("update_period", Value::Time(TimeOfDay(about.update_period)));
    if state.revision() < Revision::R7 {
        return Answer::Done(values);
    }
    let bit = |set, bit: u8| if set { bit } else { 0 };
    let properties = bit(about.is_input, IS_INPUT) | bit(about.is_simulated, IS_SIMULATED);
    Answer::Done(values.number("properties", properties))
}
