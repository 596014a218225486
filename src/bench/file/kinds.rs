//! What is set up of one kind of device alone: `kind`, `[device.valve]`, `[device.air]`, `[device.process]`,
//! `[device.output]`, and whose keys of `[device.range]` are whose [DV-60].

use super::shape::{DeviceTable, Number};
use super::{Fault, SUPPLY_PRESSURE_BAR, TEMPERATURE_DEGC, electronics, number, ranges, valve, words};
use crate::bench::plan::ValvePlan;
use crate::device::{DeviceConfig, KindName, PositionerConfig, TemperatureConfig};
use core::ops::Range;
use toml::Spanned;

/// Which kind a table is about.
pub(super) fn kind(t: &DeviceTable) -> Result<KindName, Fault> {
    let Some(word) = &t.kind else { return Ok(KindName::Positioner) };
    words::one_of(word, "kind", &KindName::ALL.map(|kind| (kind.word(), kind)))
}

/// Takes over what belongs to its kind, and refuses what belongs to another; of a positioner its valve.
pub(super) fn own(
    t: &DeviceTable,
    current_ma: Option<f64>,
    c: &mut DeviceConfig,
) -> Result<Option<ValvePlan>, Fault> {
    let kind = c.kind.name();
    for (of, given, key) in keys(t) {
        if let Some(at) = given.filter(|_| of != kind) {
            let right = match key {
                "lower_range_value_percent" => "give lower_range_value_degc".to_owned(),
                "upper_range_value_percent" => "give upper_range_value_degc".to_owned(),
                "lower_range_value_degc" => "give lower_range_value_percent".to_owned(),
                "upper_range_value_degc" => "give upper_range_value_percent".to_owned(),
                _ => format!("leave it out, or give the device kind = \"{}\"", of.word()),
            };
            return Err(Fault::new(&at, format!("a {} has no {key}", kind.words()), right));
        }
    }
    ranges::ranges(t, c)?;
    match kind {
        KindName::Positioner => {
            positioner(t, current_ma, c.positioner())?;
            let mut plan = valve::valve(t.valve.as_ref(), c.positioner().supply_pressure_bar)?;
            electronics::electronics(t.positioner.as_ref(), &mut plan, c)?;
            Ok(Some(plan))
        }
        KindName::Temperature => temperature(t, c.transmitter()).map(|()| None),
    }
}

/// Every key that one kind alone has, where it stands.
fn keys(t: &DeviceTable) -> Vec<(KindName, Option<Range<usize>>, &'static str)> {
    fn at<T>(key: &Option<Spanned<T>>) -> Option<Range<usize>> {
        key.as_ref().map(Spanned::span)
    }
    use KindName::{Positioner as P, Temperature as T};
    let mut keys = vec![
        (P, at(&t.valve), "[device.valve]"),
        (P, at(&t.positioner), "[device.positioner]"),
        (P, at(&t.air), "[device.air]"),
        (T, at(&t.process), "[device.process]"),
        (T, at(&t.output), "[device.output]"),
    ];
    if let Some(range) = t.range.as_ref().map(Spanned::get_ref) {
        keys.extend([
            (P, at(&range.lower_range_value_percent), "lower_range_value_percent"),
            (P, at(&range.upper_range_value_percent), "upper_range_value_percent"),
            (P, at(&range.set_point_lower_limit_percent), "set_point_lower_limit_percent"),
            (P, at(&range.set_point_upper_limit_percent), "set_point_upper_limit_percent"),
            (P, at(&range.minimum_span_percent), "minimum_span_percent"),
            (T, at(&range.lower_range_value_degc), "lower_range_value_degc"),
            (T, at(&range.upper_range_value_degc), "upper_range_value_degc"),
        ]);
    }
    keys
}

fn positioner(t: &DeviceTable, current_ma: Option<f64>, c: &mut PositionerConfig) -> Result<(), Fault> {
    if let Some(ma) = current_ma {
        c.loop_current_ma = ma;
    }
    let valve = t.valve.as_ref().map(Spanned::get_ref);
    let air = t.air.as_ref().map(Spanned::get_ref);
    let angle = -180.0..=180.0;
    for (to, given, key, unit, range) in [
        (
            &mut c.time_constant_s,
            valve.and_then(|v| v.time_constant_s.as_ref()),
            "time_constant_s",
            "s",
            0.0..=3600.0,
        ),
        (
            &mut c.travel_percent,
            valve.and_then(|v| v.travel_percent.as_ref()),
            "travel_percent",
            "%",
            0.0..=100.0,
        ),
        (
            &mut c.lever_angle_closed_deg,
            valve.and_then(|v| v.lever_angle_closed_deg.as_ref()),
            "lever_angle_closed_deg",
            "degrees",
            angle.clone(),
        ),
        (
            &mut c.lever_angle_open_deg,
            valve.and_then(|v| v.lever_angle_open_deg.as_ref()),
            "lever_angle_open_deg",
            "degrees",
            angle,
        ),
        (
            &mut c.supply_pressure_bar,
            air.and_then(|a| a.supply_pressure_bar.as_ref()),
            "supply_pressure_bar",
            "bar",
            SUPPLY_PRESSURE_BAR,
        ),
    ] {
        if let Some(n) = given {
            *to = number(n, key, unit, range)?;
        }
    }
    Ok(())
}

fn temperature(t: &DeviceTable, c: &mut TemperatureConfig) -> Result<(), Fault> {
    let degc = |n: &Option<Spanned<Number>>, key, to: &mut f64| match n {
        Some(n) => number(n, key, "degC", TEMPERATURE_DEGC).map(|x| *to = x),
        None => Ok(()),
    };
    if let Some(process) = t.process.as_ref().map(Spanned::get_ref) {
        degc(&process.temperature_degc, "temperature_degc", &mut c.process_temperature_degc)?;
        degc(&process.ambient_degc, "ambient_degc", &mut c.ambient_temperature_degc)?;
        if let Some(word) = &process.sensor {
            c.sensor_broken = words::one_of(word, "sensor", &[("ok", false), ("broken", true)])?;
        }
    }
    if let Some(output) = t.output.as_ref().map(Spanned::get_ref) {
        if let Some(word) = &output.alarm {
            c.alarm_is_low = words::one_of(word, "alarm", &[("high", false), ("low", true)])?;
        }
        if let Some(n) = &output.error_ma {
            c.output_error_ma = number(n, "error_ma", "mA", -1.0..=1.0)?;
        }
    }
    Ok(())
}
