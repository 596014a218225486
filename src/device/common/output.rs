//! A loop current that the device makes, fixed and trimmed: 40, 45, 46, 66 to 68 [DV-62].

use super::analog::LOOP;
use crate::app::command::Value;
use crate::device::commands::{Answer, Asked, code};
use crate::device::kind::MOST_CORRECTION_MA;
use crate::device::state::State;
use crate::device::values::Values;
use crate::device::variables::unit;

/// Codes of single commands [ST-04].
const NOT_FIXED: u8 = 9;
const IN_MULTIDROP: u8 = 11;
const INVALID_UNIT: u8 = 12;
const INVALID_CHANNEL: u8 = 15;

/// Fixes the current, or lets it go.
fn fix(state: &mut State, ma: f32) -> Result<(), u8> {
    let Some(rules) = &state.kind.traits().output else { return Err(code::DEVICE) };
    if state.around().in_multidrop() {
        return Err(IN_MULTIDROP);
    }
    let ma = f64::from(ma);
    // What is no number is too large; 0 lets it go.
    if ma.is_nan() || ma > rules.most_ma {
        return Err(code::TOO_LARGE);
    }
    if ma < f64::from(rules.least_ma as f32) && ma != 0.0 {
        return Err(code::TOO_SMALL);
    }
    let output = state.output().ok_or(code::DEVICE)?;
    output.fixed_ma = (ma != 0.0).then_some(ma);
    Ok(())
}

/// The end of the range of the current that is trimmed, mA.
#[derive(Clone, Copy, PartialEq)]
enum End {
    Zero,
    Gain,
}

/// From here on the current that was fixed flows, where `measured_ma` did [DV-62].
fn trim(state: &mut State, end: End, measured_ma: f32) -> Result<(), u8> {
    if state.around().in_multidrop() && state.kind.traits().output.is_some() {
        return Err(IN_MULTIDROP);
    }
    let output = state.output().ok_or(code::DEVICE)?;
    let meant = if end == End::Zero { 4.0 } else { 20.0 };
    if output.fixed_ma != Some(meant) {
        return Err(NOT_FIXED);
    }
    let mut trim = state.stored.output_trim_ma;
    let place = if end == End::Zero { &mut trim.at_4_ma } else { &mut trim.at_20_ma };
    *place += meant as f32 - measured_ma;
    // A larger measured current takes more away; what is no number is too large.
    if place.is_nan() || *place < -MOST_CORRECTION_MA {
        return Err(code::TOO_LARGE);
    }
    if *place > MOST_CORRECTION_MA {
        return Err(code::TOO_SMALL);
    }
    state.stored.output_trim_ma = trim;
    state.count_write();
    Ok(())
}

/// The echo of a float, or the code that refuses.
fn told(done: Result<(), u8>, asked: &Asked<'_>, name: &'static str, values: Values) -> Answer {
    match done {
        Ok(()) => Answer::Done(values.and(name, asked.value(name).unwrap_or(Value::NOT_A_NUMBER))),
        Err(code) => Answer::Refused(code),
    }
}

/// [CM-040]
pub(in crate::device) fn fix_current(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(ma) = asked.float("loop_current") else { return Answer::Refused(code::TOO_FEW_DATA) };
    told(fix(state, ma), asked, "loop_current", Values::new())
}

/// [CM-045]
pub(in crate::device) fn trim_zero(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(ma) = asked.float("measured_current") else { return Answer::Refused(code::TOO_FEW_DATA) };
    told(trim(state, End::Zero, ma), asked, "measured_current", Values::new())
}

/// [CM-046]
pub(in crate::device) fn trim_gain(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(ma) = asked.float("measured_current") else { return Answer::Refused(code::TOO_FEW_DATA) };
    told(trim(state, End::Gain, ma), asked, "measured_current", Values::new())
}

/// The same of channel 0, in mA alone.
fn of_channel(
    state: &mut State,
    asked: &Asked<'_>,
    name: &'static str,
    run: impl FnOnce(&mut State, f32) -> Result<(), u8>,
) -> Answer {
    let Some(level) = asked.float(name) else { return Answer::Refused(code::TOO_FEW_DATA) };
    if state.kind.traits().output.is_none() {
        return Answer::Refused(code::DEVICE);
    }
    if asked.octet("channel") != Some(LOOP) {
        return Answer::Refused(INVALID_CHANNEL);
    }
    if asked.octet("unit") != Some(unit::MILLIAMPERE) {
        return Answer::Refused(INVALID_UNIT);
    }
    let values = Values::new().number("channel", LOOP).number("unit", unit::MILLIAMPERE);
    told(run(state, level), asked, name, values)
}

/// [CM-066]
pub(in crate::device) fn fix_channel(state: &mut State, asked: &Asked<'_>) -> Answer {
    of_channel(state, asked, "level", fix)
}

/// [CM-067]
pub(in crate::device) fn trim_zero_of_channel(state: &mut State, asked: &Asked<'_>) -> Answer {
    of_channel(state, asked, "measured_level", |state, ma| trim(state, End::Zero, ma))
}

/// [CM-068]
pub(in crate::device) fn trim_gain_of_channel(state: &mut State, asked: &Asked<'_>) -> Answer {
    of_channel(state, asked, "measured_level", |state, ma| trim(state, End::Gain, ma))
}
