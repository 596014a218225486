//! Burst messages: 103 to 105, 107 to 109 [DV-30].

use crate::app::command::Value;
use crate::app::types::{TimeOfDay, units};
use crate::device::burst::{BurstTrigger, UNUSED, mode, nearest_period};
use crate::device::commands::{Answer, Asked, code};
use crate::device::state::State;
use crate::device::values::Values;

/// Codes of single commands [ST-04].
const ADJUSTED: u8 = 8;
const CONFLICT: u8 = 8;
const INVALID_MESSAGE: u8 = 9;
const INVALID_CLASS: u8 = 11;
const INVALID_UNIT: u8 = 12;
const INVALID_MODE: u8 = 13;
/// In the place of the command's number in the shorter form [CM-105].
const EXTENSION: u8 = 31;

/// The message that is meant; the only one where the request names none.
fn message(state: &State, asked: &Asked<'_>) -> Option<usize> {
    let number = asked.number("burst_message").unwrap_or(0) as usize;
    (number < state.burst_messages()).then_some(number)
}

fn done(warning: Option<u8>, values: Values) -> Answer {
    match warning {
        Some(code) => Answer::Warned(code, values),
        None => Answer::Done(values),
    }
}

fn wrote(state: &mut State, asked: &Asked<'_>, message: usize, turned_on: bool) {
    state.burst_was_set(asked.now, message, turned_on);
    state.count_write();
}

/// [CM-103]: the echo has the periods that are used.
pub(in crate::device) fn write_periods(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(i) = message(state, asked) else { return Answer::Refused(INVALID_MESSAGE) };
    let (Some(Value::Time(update)), Some(Value::Time(longest))) =
        (asked.value("update_period"), asked.value("maximum_update_period"))
    else {
        return Answer::Refused(code::TOO_FEW_DATA);
    };
    let used = nearest_period(update.0);
    let most = nearest_period(longest.0).max(used);
    let m = &mut state.stored.burst[i];
    (m.update_period, m.maximum_update_period) = (used, most);
    wrote(state, asked, i, false);
    let values = Values::new()
        .number("burst_message", i as u32)
        .and("update_period", Value::Time(TimeOfDay(used)))
        .and("maximum_update_period", Value::Time(TimeOfDay(most)));
    done(((used, most) != (update.0, longest.0)).then_some(ADJUSTED), values)
}

/// What a level can be of: classification and unit of the variable that is compared.
fn fits(state: &State, message: usize, trigger: &BurstTrigger) -> Result<(), u8> {
    if matches!(trigger.mode, mode::CONTINUOUS | mode::ON_CHANGE) {
        return Ok(());
    }
    let about = state.stored.burst[message].source().and_then(|source| state.about(source));
    // Where nothing is compared there can be no level.
    let Some(about) = about else { return Err(INVALID_MODE) };
    if trigger.class != about.class {
        Err(INVALID_CLASS)
    } else if trigger.unit != about.unit && units::convert(1.0, about.unit, trigger.unit).is_none() {
        Err(INVALID_UNIT)
    } else {
        Ok(())
    }
}

/// [CM-104]: the echo has the trigger that is used.
pub(in crate::device) fn write_trigger(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(i) = message(state, asked) else { return Answer::Refused(INVALID_MESSAGE) };
    let (Some(mode), Some(class), Some(unit), Some(level)) = (
        asked.octet("trigger_mode"),
        asked.octet("trigger_class"),
        asked.octet("trigger_unit"),
        asked.float("trigger_level"),
    ) else {
        return Answer::Refused(code::TOO_FEW_DATA);
    };
    let without = |trigger: BurstTrigger| {
        let as_asked = (class, unit) == (trigger.class, trigger.unit) && level.is_nan();
        (trigger, (!as_asked).then_some(ADJUSTED))
    };
    let (trigger, warning) = match mode {
        mode::CONTINUOUS => without(BurstTrigger::CONTINUOUS),
        mode::ON_CHANGE => without(BurstTrigger::ON_CHANGE),
        mode::WINDOW | mode::RISING | mode::FALLING => {
            (BurstTrigger { mode, class, unit, level: Some(level) }, None)
        }
        _ => return Answer::Refused(INVALID_MODE),
    };
    if let Err(code) = fits(state, i, &trigger) {
        return Answer::Refused(code);
    }
    match trigger.level {
        Some(x) if x.is_nan() || x == f32::INFINITY => return Answer::Refused(code::TOO_LARGE),
        Some(x) if x == f32::NEG_INFINITY || mode == mode::WINDOW && x < 0.0 => {
            return Answer::Refused(code::TOO_SMALL);
        }
        _ => {}
    }
    state.stored.burst[i].trigger = trigger;
    wrote(state, asked, i, false);
    let values = told(Values::new().number("burst_message", i as u32), &trigger);
    done(warning, values)
}

fn told(values: Values, trigger: &BurstTrigger) -> Values {
    values
        .number("trigger_mode", trigger.mode)
        .number("trigger_class", trigger.class)
        .number("trigger_unit", trigger.unit)
        .and("trigger_level", trigger.level.map_or(Value::NOT_A_NUMBER, Value::float))
}

fn slots(mut values: Values, codes: &[u8]) -> Values {
    for (slot, &code) in codes.iter().enumerate() {
        values = values.number(format!("slot{slot}_code"), code);
    }
    values
}

/// [CM-105]
pub(in crate::device) fn read_configuration(state: &mut State, asked: &Asked<'_>) -> Answer {
    // No list says what 9 means here; what 2 means holds for every command.
    let Some(i) = message(state, asked) else { return Answer::Refused(code::INVALID_SELECTION) };
    let m = state.stored.burst[i];
    let values = Values::new()
        .number("burst_control", m.on)
        .number("extension", EXTENSION)
        .number("burst_message", i as u32)
        .number("maximum_burst_messages", state.burst_messages() as u32)
        .number("burst_command", m.command)
        .and("update_period", Value::Time(TimeOfDay(m.update_period)))
        .and("maximum_update_period", Value::Time(TimeOfDay(m.maximum_update_period)));
    Answer::Done(told(slots(values, &m.variables), &m.trigger))
}

/// A level that no longer fits is given up: then the message is sent all the time.
fn conflict(state: &mut State, message: usize) -> Option<u8> {
    let trigger = state.stored.burst[message].trigger;
    fits(state, message, &trigger).err().map(|_| {
        state.stored.burst[message].trigger = BurstTrigger::CONTINUOUS;
        CONFLICT
    })
}

/// [CM-107]: variables that the device has, or none; the first slot is used.
pub(in crate::device) fn write_variables(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(i) = message(state, asked) else { return Answer::Refused(INVALID_MESSAGE) };
    let codes = asked.slots("code");
    let exists = |&code: &u8| code == UNUSED || state.about(code).is_some();
    if codes.first().is_none_or(|&first| first == UNUSED) || !codes.iter().all(exists) {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    let variables = &mut state.stored.burst[i].variables;
    *variables = [UNUSED; _];
    for (to, &from) in variables.iter_mut().zip(&codes) {
        *to = from;
    }
    let warning = conflict(state, i);
    wrote(state, asked, i, false);
    done(warning, slots(Values::new(), &codes).number("burst_message", i as u32))
}

/// [CM-108]
pub(in crate::device) fn write_command(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(i) = message(state, asked) else { return Answer::Refused(INVALID_MESSAGE) };
    let (name, number) = match asked.number("burst_command") {
        Some(n) => ("burst_command", Some(n)),
        None => ("burst_command_8_bit", asked.number("burst_command_8_bit")),
    };
    let Some(number) = number else { return Answer::Refused(code::TOO_FEW_DATA) };
    let Some(command) = u8::try_from(number).ok().filter(|&c| state.can_burst(c)) else {
        return Answer::Refused(code::INVALID_SELECTION);
    };
    state.stored.burst[i].command = command;
    let warning = conflict(state, i);
    wrote(state, asked, i, false);
    done(warning, Values::new().number(name, command).number("burst_message", i as u32))
}

/// [CM-109]: off, or on the token-passing link; the device has no other.
pub(in crate::device) fn control(state: &mut State, asked: &Asked<'_>) -> Answer {
    // The list has no code for a wrong message; 9 means something else here.
    let (Some(i), Some(control @ (0 | 1))) = (message(state, asked), asked.number("burst_control")) else {
        return Answer::Refused(code::INVALID_SELECTION);
    };
    let on = control == 1;
    let was_on = core::mem::replace(&mut state.stored.burst[i].on, on);
    wrote(state, asked, i, on && !was_on);
    Answer::Done(Values::new().number("burst_control", control).number("burst_message", i as u32))
}
