//! `[[event]]`: what changes while the bench runs.

use super::names::named;
use super::shape::EventTable;
use super::{Fault, LOOP_CURRENT_MA, SUPPLY_PRESSURE_BAR, TEMPERATURE_DEGC, TIME_S, number};
use crate::bench::Change;
use crate::bench::plan::{DevicePlan, EventPlan, LoopPlan};
use crate::device::KindName;
use crate::time::Instant;
use core::time::Duration;
use toml::Spanned;

/// An event, for one of the devices of the file or for all.
pub(super) fn event(
    table: &Spanned<EventTable>,
    devices: &[DevicePlan],
    wires: Option<&LoopPlan>,
) -> Result<EventPlan, Fault> {
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
            let wrong = "the current of the loop passes every positioner, so no single one can have it";
            return Err(Fault::new(&name.span(), wrong, "leave device out of this event"));
        }
    }
    for (given, key, unit, range, change) in [
        (&t.loop_supply_v, "loop_supply_v", "V", 0.0..=100.0, Change::LoopSupplyV as fn(f64) -> Change),
        (&t.loop_extra_ohm, "loop_extra_ohm", "ohm", 0.0..=100_000.0, Change::LoopExtraOhm),
        (&t.loop_leak_ohm, "loop_leak_ohm", "ohm", 0.001..=f64::INFINITY, Change::LoopLeakOhm),
    ] {
        if let Some(n) = given {
            changes.push((n.span(), change(number(n, key, unit, range)?)));
        }
    }
    if let Some(open) = &t.loop_open {
        changes.push((open.span(), Change::LoopOpen(*open.get_ref())));
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
    let (at, change) = match &changes[..] {
        [] => {
            let right = "give loop_current_ma, loop_supply_v, loop_open, loop_extra_ohm, loop_leak_ohm, supply_pressure_bar, process_temperature_degc, sensor_broken, armed, \
                         write_protect, busy, malfunction or power_cycle";
            return Err(Fault::new(&table.span(), "this event changes nothing", right));
        }
        [(at, change)] => (at, *change),
        [_, (second, _), ..] => {
            let right = "write an [[event]] for each, at the same at_s";
            return Err(Fault::new(second, "this event changes two things", right));
        }
    };
    if change.is_of_the_loop() && !matches!(change, Change::LoopCurrentMa(_)) {
        if wires.is_none() {
            let right = "say what feeds the loop and where its devices are, as on a wiring sheet: [loop.supply] or \
                         [loop.card], [[loop.device]], or sheet = \"FILE.toml\" in [loop]";
            return Err(Fault::new(
                at,
                "this bench does not compute its loop, so this changes nothing",
                right,
            ));
        }
        if let Some(name) = &t.device {
            let wrong = "what happens to the loop happens to all its devices";
            return Err(Fault::new(&name.span(), wrong, "leave device out of this event"));
        }
    }
    if let (Change::LoopCurrentMa(_), Some(wires)) = (change, wires) {
        wires.follows().map_err(|(wrong, right)| Fault::new(at, wrong, right))?;
    }
    if let Some(kind) = sensed_by(change) {
        let kinds = |i: usize| devices[i].config.kind.name();
        let at_whom = match device {
            Some(i) if kinds(i) != kind => Some(format!(" at a {}", kinds(i).words())),
            None if (0..devices.len()).all(|i| kinds(i) != kind) => {
                Some(format!(": the bench has no {}", kind.words()))
            }
            _ => None,
        };
        if let Some(whom) = at_whom {
            let right = format!("leave the event out, or have it happen to a {}", kind.words());
            return Err(Fault::new(at, format!("this changes nothing{whom}"), right));
        }
    }
    Ok(EventPlan { at: Instant::ZERO + Duration::from_secs_f64(at_s), device, change })
}

/// The kind of device that alone senses what changes [DV-60].
fn sensed_by(change: Change) -> Option<KindName> {
    match change {
        Change::LoopCurrentMa(_) | Change::SupplyPressureBar(_) => Some(KindName::Positioner),
        Change::ProcessTemperatureDegc(_) | Change::SensorBroken(_) => Some(KindName::Temperature),
        Change::LoopSupplyV(_)
        | Change::LoopOpen(_)
        | Change::LoopExtraOhm(_)
        | Change::LoopLeakOhm(_)
        | Change::Armed(_)
        | Change::WriteProtect(_)
        | Change::Busy(_)
        | Change::Malfunction(_)
        | Change::PowerCycle => None,
    }
}
