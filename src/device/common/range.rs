//! Range, damping, unit and transfer function of PV: 34 to 37, 44, 47, 55, 64, 65, 69 [DV-18].

use super::analog::LOOP;
use crate::app::command::Revision;
use crate::app::types::units;
use crate::device::commands::{Answer, Asked, code};
use crate::device::kind::PRIMARY;
use crate::device::state::State;
use crate::device::stored::{DAMPING_STEPS, MOST_DAMPING_S};
use crate::device::values::Values;
use crate::device::variables::single_side;

/// Codes of commands 35 and 65 [ST-04].
mod range_code {
    pub const LOWER_TOO_HIGH: u8 = 9;
    pub const LOWER_TOO_LOW: u8 = 10;
    pub const UPPER_TOO_HIGH: u8 = 11;
    pub const UPPER_TOO_LOW: u8 = 12;
    pub const BOTH_OUT: u8 = 13;
    pub const SPAN_TOO_SMALL: u8 = 14;
    pub const INVALID_CHANNEL: u8 = 15;
    pub const UNIT: u8 = 18;
    /// In command 35 before revision 7.
    pub const RANGE_UNIT: u8 = 28;
    pub const INVALID_SPAN: u8 = 29;
}
const PROCESS_TOO_HIGH: u8 = 9;
const PROCESS_TOO_LOW: u8 = 10;
const IN_MULTIDROP: u8 = 11;
const INVALID_FUNCTION: u8 = 13;
/// Linear [TB-02].
const LINEAR: u32 = 0;

/// The damping that is used for one that is asked for, and whether it is another.
fn nearest_damping(asked: f32) -> Result<(f32, bool), u8> {
    if asked.is_nan() || asked < 0.0 {
        Err(code::TOO_SMALL)
    } else if asked > MOST_DAMPING_S {
        Err(code::TOO_LARGE)
    } else {
        let used = (asked * DAMPING_STEPS).round() / DAMPING_STEPS;
        // Minus zero is zero.
        Ok((used + 0.0, used != asked))
    }
}

fn damp(state: &mut State, asked: &Asked<'_>, values: Values) -> Answer {
    let Some(wanted) = asked.float("damping") else { return Answer::Refused(code::TOO_FEW_DATA) };
    let (used, other) = match nearest_damping(wanted) {
        Ok(found) => found,
        Err(code) => return Answer::Refused(code),
    };
    state.set_damping_s(asked.now, used);
    state.count_write();
    let values = values.float("damping", used.into());
    if other { Answer::Warned(code::NEAREST, values) } else { Answer::Done(values) }
}

/// [CM-034]
pub(in crate::device) fn write_damping(state: &mut State, asked: &Asked<'_>) -> Answer {
    damp(state, asked, Values::new())
}

/// [CM-055]: PV alone is damped.
pub(in crate::device) fn write_damping_of(state: &mut State, asked: &Asked<'_>) -> Answer {
    match asked.octet("code") {
        Some(c) if usize::from(c) == PRIMARY => damp(state, asked, Values::new().number("code", c)),
        _ => Answer::Refused(code::INVALID_SELECTION),
    }
}

/// [CM-064]: the list has no code for a channel that is not there but 6.
pub(in crate::device) fn write_damping_of_channel(state: &mut State, asked: &Asked<'_>) -> Answer {
    match asked.octet("channel") {
        Some(LOOP) => damp(state, asked, Values::new().number("channel", LOOP)),
        _ => Answer::Refused(code::DEVICE),
    }
}

/// [CM-035]
pub(in crate::device) fn write_range(state: &mut State, asked: &Asked<'_>) -> Answer {
    let wrong_unit = match state.revision() {
        Revision::R7 => range_code::UNIT,
        Revision::R5 | Revision::R6 => range_code::RANGE_UNIT,
    };
    set_range(state, asked, wrong_unit, Values::new())
}

/// [CM-065]
pub(in crate::device) fn write_range_of_channel(state: &mut State, asked: &Asked<'_>) -> Answer {
    match asked.octet("channel") {
        Some(LOOP) => set_range(state, asked, range_code::RANGE_UNIT, Values::new().number("channel", LOOP)),
        _ => Answer::Refused(range_code::INVALID_CHANNEL),
    }
}

fn set_range(state: &mut State, asked: &Asked<'_>, wrong_unit: u8, values: Values) -> Answer {
    let (Some(upper), Some(lower)) = (asked.float("upper_range_value"), asked.float("lower_range_value"))
    else {
        return Answer::Refused(code::TOO_FEW_DATA);
    };
    let offered = |unit: &u8| state.kind.traits().offers_unit(PRIMARY, *unit);
    let Some(unit) = asked.octet("range_unit").filter(offered) else { return Answer::Refused(wrong_unit) };
    let own = state.stored.units[PRIMARY];
    let converted = |x: f32| units::convert(x.into(), unit, own).map_or(x, |x| x as f32);
    let (told_lower, told_upper) = (lower, upper);
    let (lower, upper) = (converted(lower), converted(upper));
    // What is no number is above every limit.
    let limits = state.limits_told(PRIMARY);
    let place = |x: f32| if x.is_nan() { 1 } else { single_side(x, limits) };
    match (place(lower), place(upper)) {
        (0, 0) => {}
        (0, 1) => return Answer::Refused(range_code::UPPER_TOO_HIGH),
        (0, _) => return Answer::Refused(range_code::UPPER_TOO_LOW),
        (1, 0) => return Answer::Refused(range_code::LOWER_TOO_HIGH),
        (_, 0) => return Answer::Refused(range_code::LOWER_TOO_LOW),
        _ => return Answer::Refused(range_code::BOTH_OUT),
    }
    if upper == lower {
        return Answer::Refused(range_code::INVALID_SPAN);
    }
    state.set_range(asked.now, lower, upper);
    state.count_write();
    let values = values
        .number("range_unit", unit)
        .float("upper_range_value", told_upper.into())
        .float("lower_range_value", told_lower.into());
    if is_small(state, unit, told_lower, told_upper) {
        Answer::Warned(range_code::SPAN_TOO_SMALL, values)
    } else {
        Answer::Done(values)
    }
}

/// Whether a range in `unit` has less than the least span. Each end is the single nearest to what was meant, so both
/// together may be off by a step of the larger one.
fn is_small(state: &State, unit: u8, lower: f32, upper: f32) -> bool {
    let larger = lower.abs().max(upper.abs());
    let step = f64::from(larger.next_up()) - f64::from(larger);
    (f64::from(upper) - f64::from(lower)).abs() + step < state.minimum_span_in(unit)
}

/// [CM-036]
pub(in crate::device) fn take_upper(state: &mut State, asked: &Asked<'_>) -> Answer {
    take(state, asked, true)
}

/// [CM-037]
pub(in crate::device) fn take_lower(state: &mut State, asked: &Asked<'_>) -> Answer {
    take(state, asked, false)
}

/// The applied process becomes an end of the range, and the other end stays.
fn take(state: &mut State, asked: &Asked<'_>, is_upper: bool) -> Answer {
    if state.around().in_multidrop() {
        return Answer::Refused(IN_MULTIDROP);
    }
    let Some(process) = state.kind.applied_process(state.around(), asked.now) else {
        return Answer::Refused(code::DEVICE);
    };
    let process = process as f32;
    match single_side(process, state.limits_told(PRIMARY)) {
        1 => return Answer::Refused(PROCESS_TOO_HIGH),
        -1 => return Answer::Refused(PROCESS_TOO_LOW),
        _ => {}
    }
    let (was_lower, was_upper) = (state.stored.lower_range_value, state.stored.upper_range_value);
    let (lower, upper) = if is_upper { (was_lower, process) } else { (process, was_upper) };
    let unit = state.stored.units[PRIMARY];
    if lower == upper || is_small(state, unit, lower, upper) {
        // Too near the other end: it would have to go on in the direction of the range that is now.
        let rises = was_upper > was_lower;
        return Answer::Refused(if rises == is_upper { PROCESS_TOO_LOW } else { PROCESS_TOO_HIGH });
    }
    state.set_range(asked.now, lower, upper);
    state.count_write();
    Answer::Done(Values::new())
}

/// [CM-044]
pub(in crate::device) fn write_unit(state: &mut State, asked: &Asked<'_>) -> Answer {
    match asked.octet("pv_unit") {
        Some(unit)
            if state.kind.traits().offers_unit(PRIMARY, unit) && state.set_unit(asked.now, PRIMARY, unit) =>
        {
            state.count_write();
            Answer::Done(Values::new().number("pv_unit", unit))
        }
        _ => Answer::Refused(code::INVALID_SELECTION),
    }
}

/// [CM-047]: linear alone is offered.
pub(in crate::device) fn write_transfer_function(state: &mut State, asked: &Asked<'_>) -> Answer {
    if asked.number("transfer_function") != Some(LINEAR) {
        return Answer::Refused(INVALID_FUNCTION);
    }
    state.count_write();
    Answer::Done(Values::new().number("transfer_function", LINEAR))
}

/// [CM-069]: the list has no 13.
pub(in crate::device) fn write_transfer_function_of_channel(state: &mut State, asked: &Asked<'_>) -> Answer {
    if asked.octet("channel") != Some(LOOP) || asked.number("transfer_function") != Some(LINEAR) {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    state.count_write();
    Answer::Done(Values::new().number("channel", LOOP).number("transfer_function", LINEAR))
}
