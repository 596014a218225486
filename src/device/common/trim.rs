//! Trims of the device variable that has one: 52, 80 to 83 [DV-16] [DV-22].

use super::variables::own_variable;
use crate::app::command::Value;
use crate::app::types::units;
use crate::device::commands::{Answer, Asked, code};
use crate::device::kind::TrimRules;
use crate::device::state::State;
use crate::device::stored::TwoPointTrim;
use crate::device::values::Values;
use crate::device::variables::unit;

const PROCESS_TOO_HIGH: u8 = 9;
const PROCESS_TOO_LOW: u8 = 10;
/// Trim points [TB-23].
const NO_POINTS: u8 = 0;
const LOWER_POINT: u8 = 1;
const UPPER_POINT: u8 = 2;
const BOTH_POINTS: u8 = 3;

/// The rules of the trim, if the variable that is asked for has one.
fn rules(state: &State, asked: &Asked<'_>) -> Option<&'static TrimRules> {
    let rules = &state.kind.traits().trim;
    (own_variable(state, asked) == Some(rules.variable)).then_some(rules)
}

/// Stores a trim if its points are apart, and says whether it did.
fn store(state: &mut State, asked: &Asked<'_>, rules: &TrimRules, trim: TwoPointTrim) -> bool {
    let sound = rules.are_apart(&trim);
    if sound {
        state.set_trim(asked.now, trim);
        state.count_write();
    }
    sound
}

/// [CM-052]: what is sensed now becomes 0.
pub(in crate::device) fn set_zero_of(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(rules) = rules(state, asked) else { return Answer::Refused(code::INVALID_SELECTION) };
    let Some(sensor) = state.kind.untrimmed().map(|x| x as f32) else { return Answer::Refused(code::DEVICE) };
    if sensor > rules.most_correction {
        return Answer::Refused(PROCESS_TOO_HIGH);
    }
    let trim = TwoPointTrim { lower: [sensor, 0.0], ..state.stored.trim };
    if sensor < -rules.most_correction || !store(state, asked, rules, trim) {
        return Answer::Refused(PROCESS_TOO_LOW);
    }
    Answer::Done(Values::new().number("code", rules.variable as u32))
}

/// [CM-080]
pub(in crate::device) fn read_points(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(rules) = rules(state, asked) else { return Answer::Refused(code::INVALID_SELECTION) };
    let trim = state.stored.trim;
    let told = |x: f32| state.told(rules.variable, x.into());
    Answer::Done(
        Values::new()
            .number("code", rules.variable as u32)
            .number("unit", state.stored.units[rules.variable])
            .float("lower_trim_point", told(trim.lower[1]))
            .float("upper_trim_point", told(trim.upper[1])),
    )
}

/// [CM-081]
pub(in crate::device) fn read_limits(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(index) = own_variable(state, asked) else { return Answer::Refused(code::INVALID_SELECTION) };
    const LIMITS: [&str; 5] =
        ["minimum_lower", "maximum_lower", "minimum_upper", "maximum_upper", "minimum_difference"];
    let values = Values::new().number("code", index as u32);
    let Some(rules) = rules(state, asked) else {
        let values = values.number("points", NO_POINTS).number("unit", unit::NOT_USED);
        return Answer::Done(LIMITS.into_iter().fold(values, |v, name| v.and(name, Value::NOT_A_NUMBER)));
    };
    let told = |x: f32| state.told(index, x.into());
    let ((least_lower, most_lower), (least_upper, most_upper)) = (rules.lower, rules.upper);
    let difference = state.difference_told(index, rules.least_difference.into());
    let limits = [told(least_lower), told(most_lower), told(least_upper), told(most_upper), difference];
    let values = values.number("points", BOTH_POINTS).number("unit", state.stored.units[index]);
    Answer::Done(LIMITS.into_iter().zip(limits).fold(values, |v, (name, limit)| v.float(name, limit)))
}

/// [CM-082]: what is sensed now becomes the value.
pub(in crate::device) fn write_point(state: &mut State, asked: &Asked<'_>) -> Answer {
    let (Some(point), Some(unit), Some(value)) =
        (asked.octet("point"), asked.octet("unit"), asked.float("value"))
    else {
        return Answer::Refused(code::TOO_FEW_DATA);
    };
    let Some(rules) = rules(state, asked) else { return Answer::Refused(code::DEVICE) };
    let own = state.quantities()[rules.variable].unit;
    let Some(value_told) = units::convert(value.into(), unit, own).map(|x| x as f32) else {
        return Answer::Refused(code::DEVICE);
    };
    // As a master is told it in the unit of the point: else 373.15 K would be beyond 100 degC.
    let limit = |x: f32| units::convert(x.into(), own, unit).map_or(x, |x| x as f32);
    let (least, most) = match point {
        LOWER_POINT => rules.lower,
        UPPER_POINT => rules.upper,
        _ => return Answer::Refused(code::DEVICE),
    };
    let Some(sensor) = state.kind.untrimmed().map(|x| x as f32) else { return Answer::Refused(code::DEVICE) };
    // What is no number is too large.
    let (above, below) = (value_told.is_nan() || value > limit(most), value < limit(least));
    let value_told = if above || below { value_told } else { value_told.clamp(least, most) };
    if above || value_told - sensor > rules.most_correction {
        return Answer::Refused(code::TOO_LARGE);
    }
    if below || sensor - value_told > rules.most_correction {
        return Answer::Refused(code::TOO_SMALL);
    }
    let mut trim = state.stored.trim;
    let near = if point == LOWER_POINT {
        trim.lower = [sensor, value_told];
        code::TOO_LARGE
    } else {
        trim.upper = [sensor, value_told];
        code::TOO_SMALL
    };
    if !store(state, asked, rules, trim) {
        return Answer::Refused(near);
    }
    Answer::Done(
        Values::new()
            .number("code", rules.variable as u32)
            .number("point", point)
            .number("unit", unit)
            .float("value", value.into()),
    )
}

/// [CM-083]
pub(in crate::device) fn reset(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(rules) = rules(state, asked) else { return Answer::Refused(code::INVALID_SELECTION) };
    state.set_trim(asked.now, rules.none);
    state.count_write();
    Answer::Done(Values::new().number("code", rules.variable as u32))
}
