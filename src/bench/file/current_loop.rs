//! `[loop]`: which device of the bench hangs where, and what feeds it [WI-14].

use super::shape::{DeviceTable, LoopTable};
use super::{Fault, FileError, LoadSheet, words};
use crate::bench::plan::{DevicePlan, LoopPlan};
use crate::bench::sheet::{circuit, tolerance, usual_master};
use crate::device::KindName;
use crate::wiring::Circuit;
use std::path::Path;
use toml::Spanned;

/// The loop of a bench file, where it says more than a current. What goes wrong in a sheet of its own is left in
/// `failure`, to be told instead of the place that names it.
pub(super) fn current_loop(
    table: Spanned<LoopTable>,
    current_ma: Option<f64>,
    (devices, tables): (&[DevicePlan], &[Spanned<DeviceTable>]),
    directory: &Path,
    load: &mut LoadSheet<'_>,
    failure: &mut Option<FileError>,
) -> Result<Option<LoopPlan>, Fault> {
    let whole = table.span();
    let table = table.into_inner();
    let mut circuit = match &table.sheet {
        None if !table.has_tables() => return Ok(None),
        None => {
            let sheet = table.into_sheet();
            let circuit = circuit(&sheet, &whole, "loop.")?;
            // It makes no difference here, but what stands there is to be right.
            tolerance(&sheet)?;
            circuit
        }
        Some(name) if table.has_tables() => {
            let at = table.first_table_at().unwrap_or(name.span());
            let right = "leave sheet out, or leave the sheet's tables out of this file";
            return Err(Fault::new(&at, "this loop stands in a sheet of its own and here too", right));
        }
        Some(name) => {
            let sheet = load(&directory.join(name.get_ref())).map_err(|e| {
                let fault =
                    Fault::new(&name.span(), format!("{}: {}", e.location(), e.wrong), e.right.clone());
                // A file that is not there is best looked for where it is named.
                *failure = Some(e).filter(|e| e.place.is_some());
                fault
            })?;
            sheet.circuit
        }
    };
    let mut places = Vec::new();
    for (i, (device, table)) in devices.iter().zip(tables).enumerate() {
        let at = place(i, device, &circuit).ok_or_else(|| not_there(i, device, table, &circuit))?;
        if places.contains(&at) {
            let wrong = format!("two devices of this bench are {} on its loop", circuit.devices[at].tag);
            return Err(Fault::new(
                &table.span(),
                wrong,
                "give every device a tag of its own, and the sheet too",
            ));
        }
        if circuit.source.is_card() && device.config.kind.name() != KindName::Positioner {
            let right = "feed it from [loop.supply], or give the device kind = \"positioner\"";
            let wrong = "a card drives the current of its loop, and a transmitter makes its current itself";
            return Err(Fault::new(&table.span(), wrong, right));
        }
        places.push(at);
    }
    let unknown = (0..circuit.devices.len()).find(|at| !places.contains(at));
    if let Some(at) = unknown {
        let tag = &circuit.devices[at].tag;
        let right = format!(
            "add a [[device]] with tag = \"{tag}\", or call the loop's device as one of this bench: {}",
            names(devices)
        );
        return Err(Fault::new(&whole, format!("this bench has no {tag}, which is on its loop"), right));
    }
    let takes_usual_master = circuit.master.is_none();
    if takes_usual_master {
        circuit.master = Some(usual_master(&circuit));
    }
    Ok(Some(LoopPlan { circuit, places, current_ma: current_ma.unwrap_or(4.0), takes_usual_master }))
}

/// Which device of the circuit the bench's device `i` is: the one with its tag or long tag, else the one without a
/// tag with its number.
fn place(i: usize, device: &DevicePlan, circuit: &Circuit) -> Option<usize> {
    let stored = &device.config.factory;
    let called = |tag: &str| {
        let is_tag = !stored.tag.is_empty() && stored.tag == tag.to_uppercase();
        is_tag || !stored.long_tag.is_empty() && stored.long_tag == tag
    };
    let by_tag = circuit.devices.iter().position(|d| called(&d.tag));
    by_tag.or_else(|| circuit.devices.iter().position(|d| d.tag == format!("device {}", i + 1)))
}

fn names(devices: &[DevicePlan]) -> String {
    let name = |d: &DevicePlan| match d.config.factory.tag.as_str() {
        "" => "one without a tag".to_owned(),
        tag => tag.to_owned(),
    };
    let names: Vec<String> = devices.iter().take(8).map(name).collect();
    names.join(", ")
}

fn not_there(i: usize, device: &DevicePlan, table: &Spanned<DeviceTable>, circuit: &Circuit) -> Fault {
    let stored = &device.config.factory;
    let tags: Vec<String> = circuit.devices.iter().map(|d| d.tag.clone()).collect();
    let there = tags.iter().take(8).cloned().collect::<Vec<_>>().join(", ");
    let t = table.get_ref();
    let (at, tag) = match &t.tag {
        Some(tag) => (tag.span(), stored.tag.clone()),
        None => (table.span(), format!("device {}", i + 1)),
    };
    let near = words::nearest(&tag, &tags);
    let near = near.map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
    let right = format!("{near}add a device with tag = \"{tag}\" to the loop; it has {there}");
    Fault::new(&at, format!("{tag} is not on the loop of this bench, so nothing feeds it"), right)
}
