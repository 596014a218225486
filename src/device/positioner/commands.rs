//! The positioner's own commands, 128 to 146: what they do is in protocol-notes/positioner.toml.

use super::rows::FAULTS_AT_ONCE;
use super::{
    Calibrated, Characteristic, EndPosition, Ending, Kind, Outcome, POINTS, RANGEABILITY, Refusal, SetUpError,
};
use crate::app::command::Revision::R5;
use crate::app::command::Value;
use crate::app::types::{Date, TimeOfDay};
use crate::device::commands::{Answer, Asked, Handler, Open, READ, SELECTING, code, row};
use crate::device::response::NotBegun;
use crate::device::state::State;
use crate::device::values::{Values, single};
use core::ops::RangeInclusive;

/// Codes of single commands, as the description has them.
const WHILE_CALIBRATING: u8 = 9;
const NO_SUPPLY: u8 = 10;
const NO_CURRENT: u8 = 11;
const NOT_ALLOWED: u8 = 12;
const NOT_RUNNING: u8 = 9;
const POINTS_DO_NOT_RISE: u8 = 9;
const LIMITS_CROSS: u8 = 9;

/// The codes of the commands that write, beside those of [DV-28].
const GIVES: &[u8] = &[0, 2, 3, 4, 5, 6, 7, 9, 16, 32];
const STARTS: &[u8] = &[0, 2, 5, 6, 7, 10, 11, 12, 16, 32];
const ABORTS: &[u8] = &[0, 6, 9, 32];
const CLEARS: &[u8] = &[0, 6, 7, 16, 32];

/// Below this speed the valve counts as at rest, percent/s.
const MOVES_PERCENT_PER_S: f64 = 0.5;
/// So near to an end of the travel it counts as at the stop, percent.
const AT_STOP_PERCENT: f64 = 0.5;

/// Every one, by number; only positioners with electronics have them [DV-80].
#[rustfmt::skip]
pub(in crate::device) static OWN: &[Handler] = &[
    row(128, R5, "DV-81", Open::ToAll, READ, read_source),
    row(129, R5, "DV-81", Open::Unlocked, GIVES, write_source),
    row(130, R5, "DV-80", Open::ToAll, READ, read_travel),
    row(131, R5, "DV-91", Open::Unlocked, STARTS, start_calibration),
    row(132, R5, "DV-91", Open::ToAll, READ, read_progress),
    // Whoever sees that something goes wrong may stop it.
    row(133, R5, "DV-91", Open::ToAll, ABORTS, abort_calibration),
    row(134, R5, "DV-91", Open::ToAll, READ, read_result),
    row(135, R5, "DV-83", Open::ToAll, READ, read_ends),
    row(136, R5, "DV-83", Open::Unlocked, GIVES, write_ends),
    row(137, R5, "DV-82", Open::ToAll, READ, read_characteristic),
    row(138, R5, "DV-82", Open::Unlocked, GIVES, write_characteristic),
    row(139, R5, "DV-82", Open::ToAll, SELECTING, read_point),
    row(140, R5, "DV-82", Open::Unlocked, GIVES, write_point),
    row(141, R5, "DV-83", Open::ToAll, READ, read_limits),
    row(142, R5, "DV-83", Open::Unlocked, GIVES, write_limits),
    row(143, R5, "DV-89", Open::ToAll, SELECTING, read_faults),
    row(144, R5, "DV-89", Open::Unlocked, CLEARS, clear_faults),
    row(145, R5, "DV-84", Open::ToAll, READ, read_counters),
    row(146, R5, "DV-84", Open::Unlocked, CLEARS, clear_counters),
];

/// A value of the request within a range; else the code that says on which side it is.
fn within(asked: &Asked<'_>, name: &str, range: RangeInclusive<f32>) -> Result<f32, u8> {
    match asked.float(name) {
        None => Err(code::TOO_FEW_DATA),
        Some(x) if range.contains(&x) => Ok(x),
        Some(x) if x < *range.start() => Err(code::TOO_SMALL),
        Some(x) if x > *range.end() => Err(code::TOO_LARGE),
        Some(_) => Err(code::INVALID_SELECTION),
    }
}

/// A code of the request up to `last`.
fn choice(asked: &Asked<'_>, name: &str, last: u8) -> Result<u8, u8> {
    asked.octet(name).filter(|n| *n <= last).ok_or(code::INVALID_SELECTION)
}

/// What came of a request whose values were looked at one by one.
fn answer(made: Result<Values, u8>) -> Answer {
    made.map_or_else(Answer::Refused, Answer::Done)
}

fn percent(x: Option<f64>) -> Value {
    x.map_or(Value::NOT_A_NUMBER, single)
}

/// Every handler is one of a device with electronics; one without answers as if it were broken.
fn no_electronics() -> Answer {
    Answer::Refused(code::DEVICE)
}

/// The selector at the positioner stands on local: no master moves the valve [DV-112].
fn is_local(state: &State) -> bool {
    state.positioning().is_some_and(|own| own.is_local())
}

fn read_source(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(source(state))
}

fn source(state: &State) -> Values {
    let by_hand = state.positioning().and_then(|own| own.by_hand());
    let set_point = state.valve_percent(state.now).map(|v| v.0);
    Values::new().number("source", by_hand.is_some()).and("set_point", percent(set_point))
}

fn write_source(state: &mut State, asked: &Asked<'_>) -> Answer {
    if is_local(state) {
        return Answer::Refused(code::RESTRICTED);
    }
    let calibrates = state.positioning().is_some_and(|own| own.electronics().progress().is_some());
    let made = || {
        let given = match choice(asked, "source", 1)? {
            0 => None,
            _ => Some(f64::from(within(asked, "set_point", 0.0..=100.0)?)),
        };
        if calibrates { Err(WHILE_CALIBRATING) } else { Ok(given) }
    };
    match made() {
        Ok(given) => {
            state.set_by_hand(asked.now, given);
            Answer::Done(source(state))
        }
        Err(code) => Answer::Refused(code),
    }
}

fn read_travel(state: &mut State, asked: &Asked<'_>) -> Answer {
    let set_point = state.valve_percent(asked.now).map(|v| v.0);
    let Some(own) = state.positioning() else { return no_electronics() };
    let e = own.electronics();
    let travel = e.travel_percent();
    let deviation = e.deviation_percent();
    let flags = [
        (travel.is_some_and(|x| x <= AT_STOP_PERCENT), 0x01),
        (travel.is_some_and(|x| x >= 100.0 - AT_STOP_PERCENT), 0x02),
        (e.speed_percent_per_s().abs() > MOVES_PERCENT_PER_S, 0x04),
        (e.deviates(), 0x08),
        (e.progress().is_some(), 0x10),
        (own.by_hand().is_some(), 0x20),
        (e.calibrated().is_none(), 0x40u8),
    ];
    Answer::Done(
        Values::new()
            .and("set_point", percent(set_point))
            .and("travel", percent(travel))
            .and("deviation", percent(deviation))
            .and("lever_angle", percent(e.lever_rad().map(f64::to_degrees)))
            .number("travel_flags", flags.iter().filter(|f| f.0).fold(0, |octet, f| octet | f.1)),
    )
}

/// 0 at once; it goes on by itself.
fn start_calibration(state: &mut State, asked: &Asked<'_>) -> Answer {
    if is_local(state) {
        return Answer::Refused(code::RESTRICTED);
    }
    let Some(kind) = asked.octet("calibration").and_then(Kind::from_code) else {
        return Answer::Refused(code::INVALID_SELECTION);
    };
    match state.begin_calibration(asked.now, kind) {
        Ok(()) => Answer::Done(Values::new().number("calibration", kind.code())),
        Err(NotBegun::Refused(Refusal::Running)) => Answer::Refused(code::BUSY),
        Err(NotBegun::Refused(Refusal::NoSupply)) => Answer::Refused(NO_SUPPLY),
        Err(NotBegun::Refused(Refusal::NoCurrent)) => Answer::Refused(NO_CURRENT),
        Err(NotBegun::NotAllowed) => Answer::Refused(NOT_ALLOWED),
        // Whether this master may was asked before, and a device without power answers nothing.
        Err(NotBegun::WriteProtected | NotBegun::Locked) => Answer::Refused(code::WRITE_PROTECTED),
        Err(NotBegun::NoElectronics | NotBegun::NoPower) => no_electronics(),
    }
}

fn abort_calibration(state: &mut State, asked: &Asked<'_>) -> Answer {
    match state.abort_calibration(asked.now) {
        true => Answer::Done(Values::new()),
        false => Answer::Refused(NOT_RUNNING),
    }
}

/// The codes of states: never run, running, done, aborted, failed, done at the factory.
fn state_of(outcome: Option<&Outcome>, learned: Option<&Calibrated>) -> u8 {
    match outcome.map(|o| o.ending) {
        None if learned.is_some() => 5,
        None => 0,
        Some(Ending::Done) => 2,
        Some(Ending::Aborted) => 3,
        Some(Ending::Failed(_)) => 4,
    }
}

/// The code of what was to be learned; of what came with the device by what it knows.
fn kind_of(outcome: Option<&Outcome>, learned: Option<&Calibrated>) -> u8 {
    match (outcome, learned) {
        (Some(outcome), _) => outcome.kind.code(),
        (None, None) => 0,
        (None, Some(c)) if c.friction_pa.is_some() => Kind::Friction.code(),
        (None, Some(c)) if c.opening_s.is_some() => Kind::StrokeTimes.code(),
        (None, Some(_)) => Kind::EndStops.code(),
    }
}

fn seconds(s: f64) -> u16 {
    s.clamp(0.0, f64::from(u16::MAX)) as u16
}

fn read_progress(state: &mut State, _: &Asked<'_>) -> Answer {
    let Some(e) = state.positioning().map(|own| own.electronics()) else { return no_electronics() };
    let values = Values::new();
    Answer::Done(match (e.progress(), e.result()) {
        (Some(p), _) => values
            .number("calibration", p.kind.code())
            .number("state", 1u8)
            .number("step", p.stage.code())
            .number("progress", p.percent)
            .number("elapsed", seconds(p.elapsed_s)),
        (None, outcome) => values
            .number("calibration", kind_of(outcome, e.calibrated()))
            .number("state", state_of(outcome, e.calibrated()))
            .number("step", 0u8)
            .number("progress", if [2, 5].contains(&state_of(outcome, e.calibrated())) { 100u8 } else { 0 })
            .number("elapsed", outcome.map_or(0, |o| seconds(o.lasted_s))),
    })
}

fn read_result(state: &mut State, _: &Asked<'_>) -> Answer {
    let Some(e) = state.positioning().map(|own| own.electronics()) else { return no_electronics() };
    let (outcome, learned) = (e.result(), e.calibrated());
    let fault = match outcome.map(|o| o.ending) {
        Some(Ending::Failed(cause)) => cause.code(),
        _ => 0,
    };
    let date = state.stored.positioner.as_ref().and_then(|s| s.ended).map(|ended| ended.date);
    Answer::Done(
        Values::new()
            .number("calibration", kind_of(outcome, learned))
            .number("state", state_of(outcome, learned))
            .number("fault", fault)
            .and("date", Value::Date(Date::from_bytes(date.unwrap_or([1, 1, 0]))))
            .and("lever_angle_closed", percent(learned.map(|c| c.closed_rad.to_degrees())))
            .and("lever_angle_open", percent(learned.map(|c| c.open_rad.to_degrees())))
            .and("stroke_time_opening", percent(learned.and_then(|c| c.opening_s)))
            .and("stroke_time_closing", percent(learned.and_then(|c| c.closing_s)))
            .and("friction", percent(learned.and_then(|c| c.friction_pa).map(|pa| pa / 1e5))),
    )
}

/// Puts a change of what is stored in force; `refused` where no single value is to blame.
fn rewritten(
    state: &mut State,
    made: Result<Result<(), SetUpError>, u8>,
    refused: u8,
    told: fn(&State) -> Values,
) -> Answer {
    answer(match made {
        Ok(Ok(())) => Ok(told(state)),
        Ok(Err(_)) => Err(refused),
        Err(code) => Err(code),
    })
}

fn read_ends(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(ends(state))
}

fn ends(state: &State) -> Values {
    let stored = state.stored.positioner.clone().unwrap_or_default();
    Values::new()
        .number("lower_action", stored.lower_end.held)
        .float("lower_set_point", stored.lower_end.set_point_percent)
        .number("upper_action", stored.upper_end.held)
        .float("upper_set_point", stored.upper_end.set_point_percent)
}

fn write_ends(state: &mut State, asked: &Asked<'_>) -> Answer {
    let end = |action: &str, set_point: &str, range| -> Result<EndPosition, u8> {
        let held = choice(asked, action, 1)? == 1;
        Ok(EndPosition { held, set_point_percent: within(asked, set_point, range)?.into() })
    };
    let both = end("lower_action", "lower_set_point", 0.0..=50.0)
        .and_then(|lower| Ok((lower, end("upper_action", "upper_set_point", 50.0..=100.0)?)));
    let made = both.map(|(lower, upper)| {
        state.rewrite_positioner(asked.now, |s| (s.lower_end, s.upper_end) = (lower, upper))
    });
    rewritten(state, made, LIMITS_CROSS, ends)
}

fn read_characteristic(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(characteristic(state))
}

fn characteristic(state: &State) -> Values {
    let stored = state.stored.positioner.clone().unwrap_or_default();
    let code = match stored.characteristic {
        Characteristic::Linear => 0u8,
        Characteristic::EqualPercentage { .. } => 1,
        Characteristic::QuickOpening => 2,
        Characteristic::ByPoints(_) => 3,
    };
    Values::new().number("characteristic", code).float("rangeability", stored.rangeability.into())
}

fn write_characteristic(state: &mut State, asked: &Asked<'_>) -> Answer {
    let (least, most) = (*RANGEABILITY.start() as f32, *RANGEABILITY.end() as f32);
    let by_points = state.stored.positioner.as_ref().and_then(|s| s.characteristic_by_points());
    let made = choice(asked, "characteristic", 3).and_then(|code| {
        let rangeability = within(asked, "rangeability", least..=most)?;
        let chosen = match code {
            0 => Characteristic::Linear,
            1 => Characteristic::EqualPercentage { rangeability: rangeability.into() },
            2 => Characteristic::QuickOpening,
            _ => by_points.ok_or(POINTS_DO_NOT_RISE)?,
        };
        Ok(state.rewrite_positioner(asked.now, |s| {
            (s.characteristic, s.rangeability) = (chosen, rangeability);
        }))
    });
    rewritten(state, made, code::INVALID_SELECTION, characteristic)
}

fn read_point(state: &mut State, asked: &Asked<'_>) -> Answer {
    answer(choice(asked, "point", POINTS as u8 - 1).map(|n| point(state, n)))
}

fn point(state: &State, n: u8) -> Values {
    let stored = state.stored.positioner.clone().unwrap_or_default();
    let (set_point, travel) = stored.points[usize::from(n)];
    Values::new().number("point", n).float("set_point", set_point.into()).float("travel", travel.into())
}

/// While the points do not rise, those that did last stay in force: so several can be written one after the other.
fn write_point(state: &mut State, asked: &Asked<'_>) -> Answer {
    let given = choice(asked, "point", POINTS as u8 - 1).and_then(|n| {
        Ok((n, within(asked, "set_point", 0.0..=100.0)?, within(asked, "travel", 0.0..=100.0)?))
    });
    let (n, set_point, travel) = match given {
        Ok(given) => given,
        Err(code) => return Answer::Refused(code),
    };
    let made = state.rewrite_positioner(asked.now, |s| {
        s.points[usize::from(n)] = (set_point, travel);
        if let (Characteristic::ByPoints(_), Some(risen)) = (&s.characteristic, s.characteristic_by_points())
        {
            s.characteristic = risen;
        }
    });
    match made {
        Ok(()) => Answer::Done(point(state, n)),
        Err(_) => Answer::Refused(code::INVALID_SELECTION),
    }
}

fn read_limits(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(limits(state))
}

fn limits(state: &State) -> Values {
    let stored = state.stored.positioner.clone().unwrap_or_default();
    Values::new()
        .float("lower_travel_limit", stored.lower_limit_percent)
        .float("upper_travel_limit", stored.upper_limit_percent)
        .float("deviation_limit", stored.deviation.limit_percent)
        .float("deviation_time", stored.deviation.time_s)
}

fn write_limits(state: &mut State, asked: &Asked<'_>) -> Answer {
    let given = || {
        Ok::<[f64; 4], u8>([
            within(asked, "lower_travel_limit", 0.0..=100.0)?.into(),
            within(asked, "upper_travel_limit", 0.0..=100.0)?.into(),
            within(asked, "deviation_limit", 0.1..=100.0)?.into(),
            within(asked, "deviation_time", 0.0..=9999.0)?.into(),
        ])
    };
    let made = given().map(|[lower, upper, limit, time]| {
        state.rewrite_positioner(asked.now, |s| {
            (s.lower_limit_percent, s.upper_limit_percent) = (lower, upper);
            (s.deviation.limit_percent, s.deviation.time_s) = (limit, time);
        })
    });
    rewritten(state, made, LIMITS_CROSS, limits)
}

fn read_faults(state: &mut State, asked: &Asked<'_>) -> Answer {
    let first = asked.octet("first_entry").unwrap_or_default();
    let faults = state.stored.positioner.as_ref().map_or(&[][..], |s| &s.faults);
    if first != 0 && usize::from(first) >= faults.len() {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    let mut values = Values::new().number("first_entry", first).number("count", faults.len() as u32);
    let shown = faults.iter().skip(usize::from(first)).take(usize::from(FAULTS_AT_ONCE));
    let mut entries: Vec<_> =
        shown.map(|f| (f.fault, f.date, f.time, f.travel_percent.map(f64::from))).collect();
    if entries.is_empty() {
        entries.push((0, [1, 1, 0], 0, None));
    }
    for (slot, (fault, date, time, travel)) in entries.into_iter().enumerate() {
        values = values
            .number(format!("slot{slot}_fault"), fault)
            .and(format!("slot{slot}_date"), Value::Date(Date::from_bytes(date)))
            .and(format!("slot{slot}_time"), Value::Time(TimeOfDay(time)))
            .and(format!("slot{slot}_travel"), percent(travel));
    }
    Answer::Done(values)
}

fn clear_faults(state: &mut State, asked: &Asked<'_>) -> Answer {
    state.clear_faults(asked.now);
    Answer::Done(Values::new())
}

fn read_counters(state: &mut State, _: &Asked<'_>) -> Answer {
    let Some(c) = state.positioning().map(|own| own.electronics().counters()) else {
        return no_electronics();
    };
    Answer::Done(
        Values::new()
            .number("strokes", c.strokes)
            .float("travel_sum", c.travel_strokes)
            .number("time_near_closed", c.near_closed_s as u32)
            .number("time_in_service", c.in_service_s as u32),
    )
}

fn clear_counters(state: &mut State, asked: &Asked<'_>) -> Answer {
    state.clear_positioner_counters(asked.now);
    Answer::Done(Values::new())
}

#[cfg(test)]
mod tests {
    use super::super::rows::OWN_COMMANDS;
    use super::*;
    use crate::app::command::Effect;

    /// Each described command has a handler, and what changes something is closed by a lock but for the abort.
    #[test]
    fn handlers_and_rows_are_the_same() {
        let numbers: Vec<u8> = OWN.iter().map(|h| h.number).collect();
        assert_eq!(numbers, OWN_COMMANDS.iter().map(|c| c.number).collect::<Vec<_>>());
        for (handler, row) in OWN.iter().zip(&OWN_COMMANDS) {
            let changes = row.effect >= Effect::Writes;
            assert_eq!(handler.open == Open::Unlocked, changes, "command {}", row.number);
        }
    }
}
