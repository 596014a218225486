//! What the universal commands do. No universal write carries a float, so none of them answers
//! "too large" or "too small" [ST-03].

use super::commands::{Answer, Asked, code};
use super::identity::MANUFACTURER;
use super::kind::PRIMARY;
use super::state::State;
use super::values::Values;
use super::variables::{unit, variable_status};
use crate::app::command::{Revision, Value};
use crate::app::types::Date;

/// Codes of single commands [ST-04].
const INVALID_DATE: u8 = 9;
const COUNTER_MISMATCH: u8 = 9;
const INVALID_MODE: u8 = 12;
const STATUS_MISMATCH: u8 = 14;
/// Highest device variable code that [TY-09] gives a meaning; 250 marks an unused slot.
pub(super) const LAST_VARIABLE_CODE: u8 = 250;
/// Alarm selection and the reserved octet of command 15: not used [TB-01] [CM-015].
const NOT_USED: u8 = 250;
/// The channel is an input [TB-10].
const INPUT_CHANNEL: u8 = 0x01;

/// [CM-000]
pub(super) fn read_identity(state: &mut State, _: &Asked<'_>) -> Answer {
    let i = state.config.identity;
    Answer::Done(
        Values::new()
            .number("expansion", 254u8)
            .number("manufacturer", MANUFACTURER)
            .number("device_type", i.device_type)
            .number("expanded_device_type", i.device_type)
            .number("preambles_request", i.preambles_request)
            .number("universal_revision", i.revision.number())
            .number("device_revision", i.device_revision)
            .number("software_revision", i.software_revision)
            .number("hardware_revision", i.hardware_revision)
            // Bell 202 current [TB-04].
            .number("physical_signalling", 0u8)
            .number("flags", i.flags)
            .number("device_id", i.device_id)
            .number("preambles_reply", state.preambles_reply())
            .number("last_device_variable", state.quantities().len() as u32 - 1)
            .number("configuration_change_counter", state.stored.configuration_change_counter)
            .number("extended_status", state.extended_status())
            .number("manufacturer_id", MANUFACTURER)
            .number("private_label", i.private_label)
            .number("device_profile", i.device_profile),
    )
}

/// [CM-001]
pub(super) fn read_primary_variable(state: &mut State, asked: &Asked<'_>) -> Answer {
    Answer::Done(dynamic_variable(state, asked, Values::new(), 246, "pv_unit", "pv"))
}

/// [CM-002]
pub(super) fn read_loop_current(state: &mut State, asked: &Asked<'_>) -> Answer {
    let current = state.loop_current(asked.now);
    Answer::Done(
        Values::new().float("loop_current", current.ma).float("percent_of_range", current.percent_of_range),
    )
}

/// [CM-003]
pub(super) fn read_dynamic_variables(state: &mut State, asked: &Asked<'_>) -> Answer {
    let mut values = Values::new().float("loop_current", state.loop_current(asked.now).ma);
    // The answer ends behind the last variable that there is.
    for (code, unit, value) in
        [(246, "pv_unit", "pv"), (247, "sv_unit", "sv"), (248, "tv_unit", "tv"), (249, "qv_unit", "qv")]
            .into_iter()
            .take(state.kind.traits().dynamic_variables)
    {
        values = dynamic_variable(state, asked, values, code, unit, value);
    }
    Answer::Done(values)
}

pub(super) fn dynamic_variable(
    state: &State,
    asked: &Asked<'_>,
    values: Values,
    code: u8,
    unit: &'static str,
    value: &'static str,
) -> Values {
    match state.variable(code, asked.now) {
        Some(v) => values.number(unit, v.unit).and(value, v.value),
        None => values.number(unit, unit::NOT_USED).and(value, Value::NOT_A_NUMBER),
    }
}

/// [CM-006], [DV-15]
pub(super) fn write_polling_address(state: &mut State, asked: &Asked<'_>) -> Answer {
    let highest = state.config.identity.highest_polling();
    let address = match asked.number("polling_address").map(u8::try_from) {
        Some(Ok(a)) if a <= highest => a,
        _ => return Answer::Refused(code::INVALID_SELECTION),
    };
    let enabled = match (state.revision(), asked.number("loop_current_mode")) {
        (Revision::R5, _) => state.stored.loop_current_mode_enabled,
        (_, Some(0)) => false,
        (_, Some(1)) => true,
        (_, Some(_)) => return Answer::Refused(INVALID_MODE),
        (_, None) if state.config.accepts_older_masters => address == 0,
        (_, None) => return Answer::Refused(code::TOO_FEW_DATA),
    };
    state.set_loop_configuration(asked.now, address, enabled);
    state.count_write();
    Answer::Done(loop_configuration(state))
}

/// [CM-007]
pub(super) fn read_loop_configuration(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(loop_configuration(state))
}

fn loop_configuration(state: &State) -> Values {
    Values::new()
        .number("polling_address", state.stored.polling_address)
        .number("loop_current_mode", state.stored.loop_current_mode_enabled)
}

/// [CM-008]
pub(super) fn read_classifications(state: &mut State, asked: &Asked<'_>) -> Answer {
    let mut values = Values::new();
    for (code, name) in [(246, "pv_class"), (247, "sv_class"), (248, "tv_class"), (249, "qv_class")] {
        values = values.number(name, state.variable(code, asked.now).map_or(NOT_USED, |v| v.class));
    }
    Answer::Done(values)
}

/// [CM-009]: a variable that the device does not have is answered as such; a number that can be no
/// variable is an invalid selection.
pub(super) fn read_device_variables(state: &mut State, asked: &Asked<'_>) -> Answer {
    let codes = asked.slots("code");
    if codes.iter().any(|&c| c > LAST_VARIABLE_CODE) {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    let mut values = Values::new()
        .number("extended_status", state.extended_status())
        .and("time", Value::Time(state.clock.read(asked.now).1));
    for (slot, code) in codes.into_iter().enumerate() {
        let (class, unit, value, status) = match state.variable(code, asked.now) {
            Some(v) => (v.class, v.unit, v.value, v.status),
            None => (0, unit::NOT_USED, Value::NOT_A_NUMBER, variable_status::UNSUPPORTED),
        };
        values = values
            .number(format!("slot{slot}_code"), code)
            .number(format!("slot{slot}_class"), class)
            .number(format!("slot{slot}_unit"), unit)
            .and(format!("slot{slot}_value"), value)
            .number(format!("slot{slot}_status"), status);
    }
    Answer::Done(values)
}

/// [CM-011]
pub(super) fn read_identity_by_tag(state: &mut State, asked: &Asked<'_>) -> Answer {
    // Spaces at the end are padding [TY-04].
    if asked.text("tag") == state.stored.tag.trim_end_matches(' ') {
        read_identity(state, asked)
    } else {
        Answer::Silent
    }
}

/// [CM-012]
pub(super) fn read_message(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(message(state))
}

fn message(state: &State) -> Values {
    Values::new().text("message", &state.stored.message)
}

/// [CM-013]
pub(super) fn read_description(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(description(state))
}

fn description(state: &State) -> Values {
    Values::new()
        .text("tag", &state.stored.tag)
        .text("descriptor", &state.stored.descriptor)
        .and("date", Value::Date(Date::from_bytes(state.stored.date)))
}

/// [CM-014]
pub(super) fn read_transducer(state: &mut State, _: &Asked<'_>) -> Answer {
    let (lower, upper) = state.limits_told(PRIMARY);
    Answer::Done(
        Values::new()
            .number("serial_number", state.stored.transducer_serial_numbers[PRIMARY])
            .number("transducer_unit", state.stored.units[PRIMARY])
            .float("upper_limit", upper)
            .float("lower_limit", lower)
            .float("minimum_span", state.minimum_span_told()),
    )
}

/// [CM-015]
pub(super) fn read_device_information(state: &mut State, _: &Asked<'_>) -> Answer {
    let [_, private_label] = state.config.identity.private_label.to_be_bytes();
    Answer::Done(
        channel(state)
            .number("write_protect", state.config.write_protected)
            .number("private_label", private_label)
            .number("reserved", NOT_USED),
    )
}

/// What commands 15 and 63 tell of the loop current.
pub(super) fn channel(state: &State) -> Values {
    Values::new()
        .number("alarm_selection", state.kind.alarm_selection().unwrap_or(NOT_USED))
        // Linear [TB-02].
        .number("transfer_function", 0u8)
        .number("range_unit", state.stored.units[PRIMARY])
        .float("upper_range_value", state.stored.upper_range_value.into())
        .float("lower_range_value", state.stored.lower_range_value.into())
        .float("damping", state.stored.damping_s.into())
        .number("analog_channel_flags", if state.kind.traits().output.is_none() { INPUT_CHANNEL } else { 0 })
}

/// [CM-016]
pub(super) fn read_final_assembly_number(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(assembly(state))
}

fn assembly(state: &State) -> Values {
    Values::new().number("final_assembly_number", state.stored.final_assembly_number)
}

/// [CM-017]
pub(super) fn write_message(state: &mut State, asked: &Asked<'_>) -> Answer {
    state.stored.message = asked.text("message");
    state.count_write();
    Answer::Done(message(state))
}

/// [CM-018]; a date that no calendar has is refused [TY-06].
pub(super) fn write_description(state: &mut State, asked: &Asked<'_>) -> Answer {
    let date = match asked.value("date") {
        Some(Value::Date(d)) if d.is_calendar() => d,
        _ => return Answer::Refused(INVALID_DATE),
    };
    state.stored.tag = asked.text("tag");
    state.stored.descriptor = asked.text("descriptor");
    state.stored.date = date.to_bytes();
    state.count_write();
    Answer::Done(description(state))
}

/// [CM-019]
pub(super) fn write_final_assembly_number(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(number) = asked.number("final_assembly_number") else {
        return Answer::Refused(code::TOO_FEW_DATA);
    };
    state.stored.final_assembly_number = number;
    state.count_write();
    Answer::Done(assembly(state))
}

/// [CM-020]
pub(super) fn read_long_tag(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(long_tag(state))
}

fn long_tag(state: &State) -> Values {
    Values::new().text("long_tag", &state.stored.long_tag)
}

/// [CM-021]
pub(super) fn read_identity_by_long_tag(state: &mut State, asked: &Asked<'_>) -> Answer {
    // Octets of 00 at the end are filling [TY-05].
    if asked.text("long_tag") == state.stored.long_tag.trim_end_matches('\0') {
        read_identity(state, asked)
    } else {
        Answer::Silent
    }
}

/// [CM-022]
pub(super) fn write_long_tag(state: &mut State, asked: &Asked<'_>) -> Answer {
    state.stored.long_tag = asked.text("long_tag");
    state.count_write();
    Answer::Done(long_tag(state))
}

/// [CM-038]: the bit goes out for the master that asks, the counter stays [ST-09].
pub(super) fn reset_configuration_changed(state: &mut State, asked: &Asked<'_>) -> Answer {
    let counter = state.stored.configuration_change_counter;
    if state.revision() == Revision::R7 {
        match asked.number("configuration_change_counter") {
            Some(n) if n == u32::from(counter) => {}
            Some(_) => return Answer::Refused(COUNTER_MISMATCH),
            None if state.config.accepts_older_masters => {}
            None => return Answer::Refused(code::TOO_FEW_DATA),
        }
    }
    let changed = &mut state.stored.configuration_changed[asked.master.index()];
    state.unsaved |= *changed;
    *changed = false;
    Answer::Done(Values::new().number("configuration_change_counter", counter))
}

/// [CM-048]: in revision 7 a master that sends the status back as it stands has seen it [ST-07].
pub(super) fn read_additional_status(state: &mut State, asked: &Asked<'_>) -> Answer {
    let values = state.status_values();
    if state.revision() < Revision::R7 || asked.data.is_empty() {
        return Answer::Done(values);
    }
    let status = state.additional_status();
    if asked.data.len() < status.len() {
        Answer::Refused(code::TOO_FEW_DATA)
    } else if asked.data.starts_with(&status) {
        state.more_status[asked.master.index()] = false;
        Answer::Done(values)
    } else {
        Answer::Warned(STATUS_MISMATCH, values)
    }
}
