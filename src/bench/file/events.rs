//! `[[event]]`: what changes while the bench runs.

use super::names::named;
use super::shape::EventTable;
use super::{Fault, LOOP_CURRENT_MA, SUPPLY_PRESSURE_BAR, TIME_S, number};
use crate::bench::Change;
use crate::bench::plan::{DevicePlan, EventPlan};
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
    for (given, change) in [
        (&t.armed, Change::Armed as fn(bool) -> Change),
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
            let right = "give loop_current_ma, supply_pressure_bar, armed, write_protect, busy, malfunction or \
                         power_cycle";
            return Err(Fault::new(&table.span(), "this event changes nothing", right));
        }
        [(_, change)] => change,
        [_, (ref second, _), ..] => {
            let right = "write an [[event]] for each, at the same at_s";
            return Err(Fault::new(second, "this event changes two things", right));
        }
    };
    Ok(EventPlan { at: Instant::ZERO + Duration::from_secs_f64(at_s), device, change })
}
