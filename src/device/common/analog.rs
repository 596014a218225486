//! The loop current as analog channel 0: 60 to 63, 70 [DV-16].

use crate::app::command::Value;
use crate::device::commands::{Answer, Asked, code};
use crate::device::state::State;
use crate::device::universal::{self, dynamic_variable};
use crate::device::values::{Values, single};
use crate::device::variables::unit;

/// The only channel there is.
pub(super) const LOOP: u8 = 0;

/// The channel that is asked for, if there is one.
fn channel(asked: &Asked<'_>) -> Result<u8, Answer> {
    match asked.octet("channel") {
        Some(LOOP) => Ok(LOOP),
        _ => Err(Answer::Refused(code::INVALID_SELECTION)),
    }
}

/// [CM-060]
pub(in crate::device) fn read_channel(state: &mut State, asked: &Asked<'_>) -> Answer {
    let channel = match channel(asked) {
        Ok(channel) => channel,
        Err(refused) => return refused,
    };
    let current = state.loop_current(asked.now);
    Answer::Done(
        Values::new()
            .number("channel", channel)
            .number("unit", unit::MILLIAMPERE)
            .float("level", current.ma)
            .float("percent_of_range", current.percent_of_range),
    )
}

/// [CM-061]
pub(in crate::device) fn read_channel_and_variables(state: &mut State, asked: &Asked<'_>) -> Answer {
    let level = state.loop_current(asked.now).ma;
    let mut values = Values::new().number("unit", unit::MILLIAMPERE).float("level", level);
    for (code, unit, value) in
        [(246, "pv_unit", "pv"), (247, "sv_unit", "sv"), (248, "tv_unit", "tv"), (249, "qv_unit", "qv")]
    {
        values = dynamic_variable(state, asked, values, code, unit, value);
    }
    Answer::Done(values)
}

/// [CM-062]: a channel that the device does not have is told as a variable that it does not have.
pub(in crate::device) fn read_channels(state: &mut State, asked: &Asked<'_>) -> Answer {
    let mut values = Values::new();
    for (slot, channel) in asked.slots("channel").into_iter().enumerate() {
        let (unit, level) = match channel {
            LOOP => (unit::MILLIAMPERE, single(state.loop_current(asked.now).ma)),
            _ => (unit::NOT_USED, Value::NOT_A_NUMBER),
        };
        values = values
            .number(format!("slot{slot}_channel"), channel)
            .number(format!("slot{slot}_unit"), unit)
            .and(format!("slot{slot}_level"), level);
    }
    Answer::Done(values)
}

/// [CM-063]: as in command 15.
pub(in crate::device) fn read_information(state: &mut State, asked: &Asked<'_>) -> Answer {
    let channel = match channel(asked) {
        Ok(channel) => channel,
        Err(refused) => return refused,
    };
    Answer::Done(universal::channel(state).number("channel", channel))
}

/// [CM-070]: the ends are where the range ends, the limits are the least and most that the channel can be.
pub(in crate::device) fn read_endpoints(state: &mut State, asked: &Asked<'_>) -> Answer {
    let channel = match channel(asked) {
        Ok(channel) => channel,
        Err(refused) => return refused,
    };
    let (low_ma, high_ma) = state.channel_limits_ma();
    Answer::Done(
        Values::new()
            .number("channel", channel)
            .number("unit", unit::MILLIAMPERE)
            .float("upper_endpoint", 20.0)
            .float("lower_endpoint", 4.0)
            .float("upper_limit", high_ma)
            .float("lower_limit", low_ma),
    )
}
