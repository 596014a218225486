//! `[[event]]`: what changes while the bench runs.

use super::names::named;
use super::shape::EventTable;
use super::{Fault, LOOP_CURRENT_MA, SUPPLY_PRESSURE_BAR, TEMPERATURE_DEGC, TIME_S, number};
use crate::bench::Change;
use crate::bench::plan::{DevicePlan, EventPlan};
use crate::device::KindName;
use crate::time::Instant;
use core::time::Duration;
use toml::Spanned;

/// An event, for one of the devices of the file or for all.
pub(super) fn event(table: &Spanned<EventTable>, devices: &[DevicePlan]) -> Result<EventPlan, Fault> {
    let t = table.get_ref();
    let Some(at) = &t.at_s else {
        let right = "give at_s, seconds since the bench started, such as at_s = 30";
        return Err(Fault::new(&table.span(), "this event has no time", right));
    };
    let at_s = number(at, "at_s", "s", TIME_S)?;
    let device = t.device.as_ref().map(|name| named(name, devices)).transpose()?;
    let mut changes = Vec::new();
    if let Some(n) = &t.loop_current_ma {
        let ma = number(n, "loop_current_ma", "mA", LOOP_CURRENT_MA)?;
        changes.push((n.span(), Change::LoopCurrentMa(ma)));
        if let Some(name) = &t.device {
            let wrong = "the current of the loop passes every device, so no single one can have it";
            return Err(Fault::new(&name.span(), wrong, "leave device out of this event"));
        }
    }
    if let Some(n) = &t.supply_pressure_bar {
        let bar = number(n, "supply_pressure_bar", "bar", SUPPLY_PRESSURE_BAR)?;
        changes.push((n.span(), Change::SupplyPressureBar(bar)));
    }
    if let Some(n) = &t.process_temperature_degc {
        let degc = number(n, "process_temperature_degc", "degC", TEMPERATURE_DEGC)?;
        changes.push((n.span(), Change::ProcessTemperatureDegc(degc)));
    }
    for (given, change) in [
        (&t.sensor_broken, Change::SensorBroken as fn(bool) -> Change),
        (&t.armed, Change::Armed),
        (&t.write_protect, Change::WriteProtect),
        (&t.busy, Change::Busy),
        (&t.malfunction, Change::Malfunction),
    ] {
        if let Some(on) = given {
            changes.push((on.span(), change(*on.get_ref())));
        }
    }
    if let Some(cycle) = &t.power_cycle {
        if !cycle.get_ref() {
            let right = "give power_cycle = true, or leave the event out";
            return Err(Fault::new(&cycle.span(), "power_cycle = false changes nothing", right));
        }
        changes.push((cycle.span(), Change::PowerCycle));
    }
    let change = match changes[..] {
        [] => {
            let right = "give loop_current_ma, supply_pressure_bar, process_temperature_degc, sensor_broken, armed, \
                         write_protect, busy, malfunction or power_cycle";
            return Err(Fault::new(&table.span(), "this event changes nothing", right));
        }
        [(_, change)] => change,
        [_, (ref second, _), ..] => {
            let right = "write an [[event]] for each, at the same at_s";
            return Err(Fault::new(second, "this event changes two things", right));
        }
    };
    // What no device of that kind is there for changes nothing, either.
    let own = match change {
        Change::LoopCurrentMa(_) => Some((KindName::Positioner, &t.loop_current_ma)),
        Change::SupplyPressureBar(_) => Some((KindName::Positioner, &t.supply_pressure_bar)),
        Change::ProcessTemperatureDegc(_) => Some((KindName::Temperature, &t.process_temperature_degc)),
        _ => None,
    };
    let own = own.map(|(kind, n)| (kind, n.as_ref().map(Spanned::span)));
    let own = match change {
        Change::SensorBroken(_) => Some((KindName::Temperature, t.sensor_broken.as_ref().map(Spanned::span))),
        _ => own,
    };
    if let Some((kind, Some(at))) = own {
        let kinds = |i: usize| devices[i].config.kind.name();
        let wrong = match device {
            Some(i) if kinds(i) != kind => format!("this changes nothing at a {}", kinds(i).words()),
            None if (0..devices.len()).all(|i| kinds(i) != kind) => {
                format!("this changes nothing: the bench has no {}", kind.words())
            }
            _ => String::new(),
        };
        if !wrong.is_empty() {
            let right = format!("leave the event out, or have it happen to a {}", kind.words());
            return Err(Fault::new(&at, wrong, right));
        }
    }
    Ok(EventPlan { at: Instant::ZERO + Duration::from_secs_f64(at_s), device, change })
}
