//! `[[event]]`: what changes while the bench runs.

use super::names::named;
use super::shape::{EventTable, Given};
use super::{Fault, TIME_S, number, words};
use crate::bench::Change;
use crate::bench::changes::{self, CHANGES, SEVERITY, Takes, fault_change, fault_words};
use crate::bench::plan::{DevicePlan, EventPlan, LoopPlan};
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
    for spec in CHANGES {
        let Some(given) = t.given(spec.key) else { continue };
        changes.push(match (given, &spec.takes) {
            (Given::Number(n), Takes::Number { unit, range, make }) => {
                (n.span(), make(number(n, spec.key, unit, range.clone())?))
            }
            (Given::Switch(on), Takes::Switch(make)) => (on.span(), make(*on.get_ref())),
            (Given::Switch(on), Takes::Moment(change)) => {
                if !on.get_ref() {
                    let (wrong, right) = (
                        format!("{} = false changes nothing", spec.key),
                        format!("give {} = true, or leave the event out", spec.key),
                    );
                    return Err(Fault::new(&on.span(), wrong, right));
                }
                (on.span(), *change)
            }
            (Given::Word(word), Takes::Fault) => (word.span(), fault(word, t)?),
            // The shape and the table agree about each key: a test looks.
            _ => continue,
        });
    }
    if let (Some(_), Some(name)) = (&t.loop_current_ma, &t.device) {
        let wrong = "the current of the loop passes every positioner, so no single one can have it";
        return Err(Fault::new(&name.span(), wrong, "leave device out of this event"));
    }
    let (at, change) = match &changes[..] {
        [] => {
            let right = format!("give {}", changes::keys());
            return Err(Fault::new(&table.span(), "this event changes nothing", right));
        }
        [(at, change)] => (at, *change),
        [_, (second, _), ..] => {
            let right = "write an [[event]] for each, at the same at_s";
            return Err(Fault::new(second, "this event changes two things", right));
        }
    };
    if let Some((wrong, right)) = changes::no_site(devices, wires, device, change) {
        return Err(Fault::new(at, wrong, right));
    }
    let is_fault = matches!(change, Change::ValveFault { .. } | Change::SiteFault { .. });
    if change.is_of_the_loop() && !is_fault && !matches!(change, Change::LoopCurrentMa(_)) {
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
    if let (Some(n), false) = (&t.severity, is_fault) {
        let wrong = "severity is that of a fault, and this event has none";
        return Err(Fault::new(&n.span(), wrong, "leave severity out, or give fault = \"packing_tight\""));
    }
    if let Some((wrong, right)) = changes::no_valve(devices, device, change) {
        return Err(Fault::new(at, wrong, right));
    }
    if let Some(kind) = changes::sensed_by(change) {
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

/// The fault of an event with its severity [PL-33] [DV-110].
fn fault(word: &Spanned<String>, t: &EventTable) -> Result<Change, Fault> {
    let all: Vec<(&str, &str)> = fault_words().map(|(word, _)| (word, word)).collect();
    let name = words::one_of(word, "fault", &all)?;
    let Some(n) = &t.severity else {
        let right = "give severity, 0 (repaired) to 1, such as severity = 0.6";
        return Err(Fault::new(&word.span(), "this fault has no severity", right));
    };
    let severity = number(n, SEVERITY, "", 0.0..=1.0)?;
    let unknown = || Fault::new(&word.span(), "there is no such fault", "see `looprig mock --faults`");
    fault_change(name, severity).ok_or_else(unknown)
}
