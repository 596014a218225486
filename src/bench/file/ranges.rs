//! `[device.range]` and the limits of `[device.air]`: what a new device holds, and what it takes.

use super::shape::{DeviceTable, Number, RangeTable};
use super::{Fault, SUPPLY_PRESSURE_BAR, number};
use crate::device::{DeviceConfig, KindConfig, KindName};
use core::ops::{Range, RangeInclusive};
use toml::Spanned;

/// Where limits and range values may lie at all; which of them fit together, the set-up of the device says.
const SET_POINT_PERCENT: RangeInclusive<f64> = -100.0..=200.0;
/// What the sensor of a temperature transmitter can measure [DV-61].
const SENSOR_DEGC: RangeInclusive<f64> = -200.0..=850.0;

/// Takes over what is given.
pub(super) fn ranges(t: &DeviceTable, c: &mut DeviceConfig) -> Result<(), Fault> {
    if let Some(range) = t.range.as_ref().map(Spanned::get_ref) {
        if let KindConfig::Positioner(own) = &mut c.kind {
            for (to, given, key, within) in [
                (
                    &mut own.set_point_limits_percent.0,
                    &range.set_point_lower_limit_percent,
                    "set_point_lower_limit_percent",
                    SET_POINT_PERCENT,
                ),
                (
                    &mut own.set_point_limits_percent.1,
                    &range.set_point_upper_limit_percent,
                    "set_point_upper_limit_percent",
                    SET_POINT_PERCENT,
                ),
                (
                    &mut own.minimum_span_percent,
                    &range.minimum_span_percent,
                    "minimum_span_percent",
                    0.0..=100.0,
                ),
            ] {
                if let Some(n) = given {
                    *to = number(n, key, "%", within)?;
                }
            }
        }
        // The device stores singles.
        let stored = &mut c.factory;
        for (given, key, unit, within, is_upper) in [
            (&range.lower_range_value_percent, "lower_range_value_percent", "%", SET_POINT_PERCENT, false),
            (&range.upper_range_value_percent, "upper_range_value_percent", "%", SET_POINT_PERCENT, true),
            (&range.lower_range_value_degc, "lower_range_value_degc", "degC", SENSOR_DEGC, false),
            (&range.upper_range_value_degc, "upper_range_value_degc", "degC", SENSOR_DEGC, true),
        ] {
            if let Some(n) = given {
                let to = if is_upper { &mut stored.upper_range_value } else { &mut stored.lower_range_value };
                *to = number(n, key, unit, within)? as f32;
            }
        }
        if let Some(n) = &range.damping_s {
            stored.damping_s = number(n, "damping_s", "s", 0.0..=60.0)? as f32;
        }
    }
    if let (Some(air), KindConfig::Positioner(own)) = (t.air.as_ref().map(Spanned::get_ref), &mut c.kind) {
        for (to, given, key) in [
            (
                &mut own.supply_pressure_limits_bar.0,
                &air.supply_pressure_lower_limit_bar,
                "supply_pressure_lower_limit_bar",
            ),
            (
                &mut own.supply_pressure_limits_bar.1,
                &air.supply_pressure_upper_limit_bar,
                "supply_pressure_upper_limit_bar",
            ),
        ] {
            if let Some(n) = given {
                *to = number(n, key, "bar", SUPPLY_PRESSURE_BAR)?;
            }
        }
    }
    Ok(())
}

/// The key to blame for a part of the set-up that does not fit, and what would be right; `None` where it is none of
/// those here.
pub(super) fn blame(t: &DeviceTable, kind: KindName, field: &str) -> Option<(Range<usize>, &'static str)> {
    let (range, air) = (t.range.as_ref().map(Spanned::get_ref), t.air.as_ref().map(Spanned::get_ref));
    let limits = range
        .map(|r| [&r.set_point_upper_limit_percent, &r.set_point_lower_limit_percent])
        .into_iter()
        .flatten();
    let span = |mut keys: Vec<&Option<Spanned<Number>>>| {
        keys.retain(|k| k.is_some());
        keys.first().and_then(|k| k.as_ref()).map(Spanned::span)
    };
    let (keys, right) = match field {
        "upper_range_value" | "lower_range_value" => {
            if kind == KindName::Temperature {
                return degc(range?, field);
            }
            let mut keys: Vec<_> = range
                .map(|r| [&r.upper_range_value_percent, &r.lower_range_value_percent])
                .into_iter()
                .flatten()
                .collect();
            if field.starts_with("lower") {
                keys.reverse();
            }
            // Without range values the limits are to blame, inside of which those of a new device do not lie.
            keys.extend(limits);
            let right = "give lower_range_value_percent and upper_range_value_percent, two different values within \
                         the limits of the set point (-5 to 105 % unless they are given)";
            (keys, right)
        }
        "damping_s" => (range.map(|r| vec![&r.damping_s])?, "give a multiple of 0.125 s"),
        "set_point_limits_percent" => (
            limits.collect(),
            "give a set_point_lower_limit_percent below the set_point_upper_limit_percent (-5 and 105 % unless given)",
        ),
        "supply_pressure_limits_bar" => (
            air.map(|a| vec![&a.supply_pressure_upper_limit_bar, &a.supply_pressure_lower_limit_bar])?,
            "give a supply_pressure_lower_limit_bar below the supply_pressure_upper_limit_bar (1.4 and 7 bar unless \
             given)",
        ),
        _ => return None,
    };
    Some((span(keys)?, right))
}

/// The same for the range of a temperature transmitter.
fn degc(range: &RangeTable, field: &str) -> Option<(Range<usize>, &'static str)> {
    let mut keys = [&range.upper_range_value_degc, &range.lower_range_value_degc];
    if field.starts_with("lower") {
        keys.reverse();
    }
    let at = keys.into_iter().flatten().next()?.span();
    Some((
        at,
        "give lower_range_value_degc and upper_range_value_degc, two different values from -200 to 850",
    ))
}
