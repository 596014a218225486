//! Trims: of device variables the supply pressure has some: 52, 80 to 83 [DV-16] [DV-22].

use super::variables::own_variable;
use crate::app::command::Value;
use crate::app::types::units;
use crate::device::commands::{Answer, Asked, code};
use crate::device::state::State;
use crate::device::stored::PressureTrim;
use crate::device::values::Values;
use crate::device::variables::{SUPPLY_PRESSURE, unit};

const PROCESS_TOO_HIGH: u8 = 9;
const PROCESS_TOO_LOW: u8 = 10;
/// Trim points [TB-23].
const NO_POINTS: u8 = 0;
const LOWER_POINT: u8 = 1;
const UPPER_POINT: u8 = 2;
const BOTH_POINTS: u8 = 3;
/// Where the points may lie, and how far a point may be from what the sensor says, bar.
const LOWER_BAR: (f32, f32) = PressureTrim::LOWER_BAR;
const UPPER_BAR: (f32, f32) = PressureTrim::UPPER_BAR;
const MOST_CORRECTION_BAR: f32 = PressureTrim::MOST_CORRECTION_BAR;

/// A pressure in the unit in which the variable is told.
fn told(state: &State, bar: f32) -> f64 {
    let own = state.stored.units[SUPPLY_PRESSURE];
    units::convert(bar.into(), unit::BAR, own).unwrap_or(bar.into())
}

fn is_pressure(asked: &Asked<'_>) -> bool {
    own_variable(asked) == Some(SUPPLY_PRESSURE)
}

/// Stores a trim if its points are apart, and says whether it did.
fn store(state: &mut State, trim: PressureTrim) -> bool {
    let sound = trim.is_sound();
    if sound {
        state.stored.pressure_trim_bar = trim;
        state.count_write();
    }
    sound
}

/// [CM-052]: the pressure that is now becomes 0.
pub(in crate::device) fn set_zero_of(state: &mut State, asked: &Asked<'_>) -> Answer {
    if !is_pressure(asked) {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    let sensor = state.sensor_pressure_bar as f32;
    if sensor > MOST_CORRECTION_BAR {
        return Answer::Refused(PROCESS_TOO_HIGH);
    }
    let trim = PressureTrim { lower: [sensor, 0.0], ..state.stored.pressure_trim_bar };
    if sensor < -MOST_CORRECTION_BAR || !store(state, trim) {
        return Answer::Refused(PROCESS_TOO_LOW);
    }
    Answer::Done(Values::new().number("code", SUPPLY_PRESSURE as u32))
}

/// [CM-080]
pub(in crate::device) fn read_points(state: &mut State, asked: &Asked<'_>) -> Answer {
    if !is_pressure(asked) {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    let trim = state.stored.pressure_trim_bar;
    Answer::Done(
        Values::new()
            .number("code", SUPPLY_PRESSURE as u32)
            .number("unit", state.stored.units[SUPPLY_PRESSURE])
            .float("lower_trim_point", told(state, trim.lower[1]))
            .float("upper_trim_point", told(state, trim.upper[1])),
    )
}

/// [CM-081]
pub(in crate::device) fn read_limits(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(index) = own_variable(asked) else { return Answer::Refused(code::INVALID_SELECTION) };
    let trims = index == SUPPLY_PRESSURE;
    let values = Values::new()
        .number("code", index as u32)
        .number("points", if trims { BOTH_POINTS } else { NO_POINTS })
        .number("unit", if trims { state.stored.units[index] } else { unit::NOT_USED });
    let limits = [
        ("minimum_lower", LOWER_BAR.0),
        ("maximum_lower", LOWER_BAR.1),
        ("minimum_upper", UPPER_BAR.0),
        ("maximum_upper", UPPER_BAR.1),
        ("minimum_difference", PressureTrim::LEAST_DIFFERENCE_BAR),
    ];
    Answer::Done(limits.into_iter().fold(values, |values, (name, bar)| {
        if trims { values.float(name, told(state, bar)) } else { values.and(name, Value::NOT_A_NUMBER) }
    }))
}

/// [CM-082]: the pressure that is now becomes the value.
pub(in crate::device) fn write_point(state: &mut State, asked: &Asked<'_>) -> Answer {
    let (Some(point), Some(unit), Some(value)) =
        (asked.octet("point"), asked.octet("unit"), asked.float("value"))
    else {
        return Answer::Refused(code::TOO_FEW_DATA);
    };
    let bar = units::convert(value.into(), unit, unit::BAR).filter(|_| is_pressure(asked));
    let Some(bar) = bar.map(|x| x as f32) else { return Answer::Refused(code::DEVICE) };
    let (least, most) = match point {
        LOWER_POINT => LOWER_BAR,
        UPPER_POINT => UPPER_BAR,
        _ => return Answer::Refused(code::DEVICE),
    };
    let sensor = state.sensor_pressure_bar as f32;
    // What is no number is too large.
    if bar.is_nan() || bar > most || bar - sensor > MOST_CORRECTION_BAR {
        return Answer::Refused(code::TOO_LARGE);
    }
    if bar < least || sensor - bar > MOST_CORRECTION_BAR {
        return Answer::Refused(code::TOO_SMALL);
    }
    let mut trim = state.stored.pressure_trim_bar;
    let near = if point == LOWER_POINT {
        trim.lower = [sensor, bar];
        code::TOO_LARGE
    } else {
        trim.upper = [sensor, bar];
        code::TOO_SMALL
    };
    if !store(state, trim) {
        return Answer::Refused(near);
    }
    Answer::Done(
        Values::new()
            .number("code", SUPPLY_PRESSURE as u32)
            .number("point", point)
            .number("unit", unit)
            .float("value", value.into()),
    )
}

/// [CM-083]
pub(in crate::device) fn reset(state: &mut State, asked: &Asked<'_>) -> Answer {
    if !is_pressure(asked) {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    state.stored.pressure_trim_bar = PressureTrim::NONE;
    state.count_write();
    Answer::Done(Values::new().number("code", SUPPLY_PRESSURE as u32))
}
