//! `[device.range]` and the limits of `[device.air]`: what a new device holds, and what it takes.

use super::shape::{DeviceTable, Number};
use super::{Fault, SUPPLY_PRESSURE_BAR, number};
use crate::device::DeviceConfig;
use core::ops::{Range, RangeInclusive};
use toml::Spanned;

/// Where limits and range values may lie at all; which of them fit together, the set-up of the device says.
const SET_POINT_PERCENT: RangeInclusive<f64> = -100.0..=200.0;

/// Takes over what is given.
pub(super) fn ranges(t: &DeviceTable, c: &mut DeviceConfig) -> Result<(), Fault> {
    if let Some(range) = &t.range {
        for (to, given, key, unit, within) in [
            (
                &mut c.set_point_limits_percent.0,
                &range.set_point_lower_limit_percent,
                "set_point_lower_limit_percent",
                "%",
                SET_POINT_PERCENT,
            ),
            (
                &mut c.set_point_limits_percent.1,
                &range.set_point_upper_limit_percent,
                "set_point_upper_limit_percent",
                "%",
                SET_POINT_PERCENT,
            ),
            (
                &mut c.minimum_span_percent,
                &range.minimum_span_percent,
                "minimum_span_percent",
                "%",
                0.0..=100.0,
            ),
        ] {
            if let Some(n) = given {
                *to = number(n, key, unit, within)?;
            }
        }
        // The device stores singles.
        let stored = &mut c.factory;
        for (to, given, key, unit, within) in [
            (
                &mut stored.lower_range_value_percent,
                &range.lower_range_value_percent,
                "lower_range_value_percent",
                "%",
                SET_POINT_PERCENT,
            ),
            (
                &mut stored.upper_range_value_percent,
                &range.upper_range_value_percent,
                "upper_range_value_percent",
                "%",
                SET_POINT_PERCENT,
            ),
            (&mut stored.damping_s, &range.damping_s, "damping_s", "s", 0.0..=60.0),
        ] {
            if let Some(n) = given {
                *to = number(n, key, unit, within)? as f32;
            }
        }
    }
    if let Some(air) = &t.air {
        for (to, given, key) in [
            (
                &mut c.supply_pressure_limits_bar.0,
                &air.supply_pressure_lower_limit_bar,
                "supply_pressure_lower_limit_bar",
            ),
            (
                &mut c.supply_pressure_limits_bar.1,
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
pub(super) fn blame(t: &DeviceTable, field: &str) -> Option<(Range<usize>, &'static str)> {
    let (range, air) = (t.range.as_ref(), t.air.as_ref());
    let limits = range
        .map(|r| [&r.set_point_upper_limit_percent, &r.set_point_lower_limit_percent])
        .into_iter()
        .flatten();
    let span = |mut keys: Vec<&Option<Spanned<Number>>>| {
        keys.retain(|k| k.is_some());
        keys.first().and_then(|k| k.as_ref()).map(Spanned::span)
    };
    let (keys, right) = match field {
        "upper_range_value_percent" | "lower_range_value_percent" => {
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
