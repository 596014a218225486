//! `[fleet]`: the file as the template of many loops [IP-17].

use super::shape::{BenchFile, DeviceTable, LineTable};
use super::{Fault, whole};
use crate::bench::fleet::{FleetPlan, MOST_LOOPS, MOST_WITH_PORTS, numbered, numbered_path};
use crate::bench::plan::{BenchPlan, LineKind};
use crate::device::{Gateway, Identity};
use crate::frame::UniqueAddress;
use core::ops::Range;
use std::collections::BTreeMap;
use toml::Spanned;

/// Highest number of a first loop: eight digits, as a tag has room for.
const HIGHEST_FIRST: i64 = 99_999_999;
/// Highest device id.
const HIGHEST_ID: u64 = 0xFF_FFFF;

/// The fleet of the file, if it is one; `plan` is all the rest of it.
pub(super) fn fleet(file: &BenchFile, plan: &BenchPlan) -> Result<Option<FleetPlan>, Fault> {
    let Some(table) = &file.fleet else { return Ok(None) };
    let t = table.get_ref();
    let Some(count) = &t.count else {
        return Err(Fault::new(&table.span(), "the fleet does not say how many loops", "give count = 500"));
    };
    let at = count.span();
    let count = whole::<u16>(count, "count", 1..=MOST_LOOPS as i64)?.into();
    let first = t.first.as_ref().map_or(Ok(1), |n| whole(n, "first", 0..=HIGHEST_FIRST))?;
    let fleet = FleetPlan { count, first };
    if let Some(api) = &file.api {
        let right = "leave [api] out, and drive one loop from a bench file of its own; looprig mock FILE --list tells all loops";
        return Err(Fault::new(
            &api.at.span(),
            "a fleet is not driven over HTTP: that is for one loop",
            right,
        ));
    }
    let devices = plan.devices.len();
    if count * devices > MOST_LOOPS {
        let wrong = format!("{count} loops of {devices} devices are {} devices", count * devices);
        let right = format!("give at most {} loops: {MOST_LOOPS} devices", MOST_LOOPS / devices);
        return Err(Fault::new(&at, wrong, right));
    }
    if plan.gateway.is_none() && count > MOST_WITH_PORTS {
        let wrong = format!("{count} loops with ports of their own are more than {MOST_WITH_PORTS}");
        let right = "put them behind a [gateway], or give several bench files, each with a part of them (first = 1001)";
        return Err(Fault::new(&at, wrong, right));
    }
    let last = fleet.number(count - 1);
    for line in file.line.as_deref().unwrap_or_default().iter().zip(&plan.lines) {
        own_line(line.0, &line.1.kind, plan, count, last)?;
    }
    for (table, device) in file.device.as_deref().unwrap_or_default().iter().zip(&plan.devices) {
        texts(table.get_ref(), plan, device.memory.as_deref(), count, last)?;
        let rise = plan.id_rise(last);
        let id = u64::from(device.config.identity.device_id) + rise;
        if id > HIGHEST_ID {
            let wrong = format!(
                "device ids rise with the number of the loop, and that of loop {last} would be {id}, above {HIGHEST_ID}"
            );
            let right = match HIGHEST_ID.checked_sub(rise) {
                Some(room) => format!("give a device_id up to {room}"),
                None => "give a smaller first".to_owned(),
            };
            return Err(Fault::new(&key(table.get_ref().device_id.as_ref(), table), wrong, right));
        }
    }
    distinct(file, plan, &fleet)?;
    Ok(Some(fleet))
}

/// Where a key stands, or else the table that lacks it.
fn key<T>(given: Option<&Spanned<T>>, table: &Spanned<DeviceTable>) -> Range<usize> {
    given.map_or(table.span(), Spanned::span)
}

/// Refuses what only one loop can have.
fn own_line(
    table: &Spanned<LineTable>,
    kind: &LineKind,
    plan: &BenchPlan,
    count: usize,
    last: u64,
) -> Result<(), Fault> {
    let at = table.get_ref().at.as_ref().map_or(table.span(), Spanned::span);
    let wrong = |wrong: String, right: &str| Err(Fault::new(&at, wrong, right));
    match kind {
        LineKind::Serial(..) | LineKind::Tcp(_) => wrong(
            "this line is one place, and every loop of a fleet needs one of its own".into(),
            "give at = \"hart-ip:\", \"tcp-listen:5500\", whose ports rise, or \"pty:\"",
        ),
        kind if plan.gateway.is_some() && !matches!(kind, LineKind::HartIp(_)) => wrong(
            "a fleet behind a gateway is reached by HART-IP alone".into(),
            "leave this line out, or leave [gateway] out: then every loop has lines of its own",
        ),
        LineKind::Pty(Some(link)) => match numbered_path(link, &plan.path, last) {
            None => wrong(
                format!("the number {last} of the last loop has more digits than this has #"),
                "give as many # as it has digits",
            ),
            Some(new) if new == *link && count > 1 => wrong(
                "all loops would have the same link".into(),
                "write # where the number of the loop is to stand, such as at = \"pty:loop-####\"",
            ),
            Some(_) => Ok(()),
        },
        kind => match kind.listens_at() {
            Some(port) if plan.gateway.is_none() => {
                let highest = usize::from(port) + plan.port_step() * (count - 1);
                match highest > usize::from(u16::MAX) {
                    true => {
                        let room = usize::from(u16::MAX) - plan.port_step() * (count - 1);
                        wrong(
                            format!(
                                "ports rise from loop to loop, and the last loop would be at port {highest}, above 65535"
                            ),
                            &format!("give a port up to {room}, or fewer loops"),
                        )
                    }
                    false => Ok(()),
                }
            }
            _ => Ok(()),
        },
    }
}

/// Refuses texts that cannot be numbered, or that all loops would have.
fn texts(
    t: &DeviceTable,
    plan: &BenchPlan,
    memory: Option<&std::path::Path>,
    count: usize,
    last: u64,
) -> Result<(), Fault> {
    let short = |text: &Spanned<String>, name: &str| {
        let digits = last.to_string().len();
        let wrong = format!(
            "{name} \"{}\": the number {last} of the last loop has more digits than there are #",
            text.get_ref()
        );
        Fault::new(&text.span(), wrong, format!("write {}, or give fewer loops", "#".repeat(digits)))
    };
    let same = |text: &Spanned<String>, name: &str, such: &str| {
        let wrong = format!("all {count} loops would have the {name} \"{}\"", text.get_ref());
        let right = format!("write # where the digits of the loop's number are to stand, such as {such}");
        Fault::new(&text.span(), wrong, right)
    };
    for (text, name, such) in [
        (&t.tag, "tag", Some("tag = \"FV-####\"")),
        (&t.long_tag, "long_tag", Some("long_tag = \"Brackenmoor filter ####\"")),
        (&t.descriptor, "descriptor", None),
        (&t.message, "message", None),
    ] {
        let Some(text) = text else { continue };
        if numbered(text.get_ref(), last).is_none() {
            return Err(short(text, name));
        }
        if let Some(such) = such
            && count > 1
            && !text.get_ref().is_empty()
            && !text.get_ref().contains('#')
        {
            return Err(same(text, name, such));
        }
    }
    if let (Some(text), Some(path)) = (&t.memory, memory) {
        match numbered_path(path, &plan.path, last) {
            None => return Err(short(text, "memory")),
            Some(new) if new == path && count > 1 => {
                return Err(same(text, "memory file", "memory = \"fv-####.memory\""));
            }
            Some(_) => {}
        }
    }
    Ok(())
}

/// No two devices of the fleet have one address, tag, long tag or memory file, and no two lines one port.
fn distinct(file: &BenchFile, plan: &BenchPlan, fleet: &FleetPlan) -> Result<(), Fault> {
    let tables = file.device.as_deref().unwrap_or_default();
    let mut addresses: BTreeMap<UniqueAddress, String> = BTreeMap::new();
    let mut names: BTreeMap<(&str, String), (usize, String)> = BTreeMap::new();
    if let Some(gateway) = &plan.gateway {
        addresses.insert(Gateway::new(gateway.clone()).unique_address(), "the gateway".to_owned());
    }
    for index in 0..fleet.count {
        let number = fleet.number(index);
        for (i, (device, table)) in plan.devices.iter().zip(tables).enumerate() {
            let t = table.get_ref();
            let own = format!("device {} of loop {number}", i + 1);
            // Not above the highest, as was seen.
            let id = device.config.identity.device_id + plan.id_rise(number) as u32;
            let address = Identity { device_id: id, ..device.config.identity }.unique_address();
            if let Some(other) = addresses.insert(address, own.clone()) {
                let wrong = format!("{own} would have the unique address {address} of {other}");
                let right = "device ids rise by the number of devices in a loop: give them ids in a row, such as 1 and 2";
                return Err(Fault::new(&key(t.device_id.as_ref(), table), wrong, right));
            }
            let stored = &device.config.factory;
            for (name, text, given) in [
                ("tag", &stored.tag, &t.tag),
                ("long tag", &stored.long_tag, &t.long_tag),
                ("memory file", &memory(t), &t.memory),
            ] {
                let Some(text) = numbered(text, number).filter(|text| !text.is_empty()) else { continue };
                // Devices of one loop may have one tag, as on other benches.
                match names.insert((name, text.clone()), (index, own.clone())) {
                    Some((of, other)) if of != index => {
                        let wrong = format!("{own} would have the {name} \"{text}\" of {other}");
                        let right = "write it so that no number makes two of them alike";
                        return Err(Fault::new(&key(given.as_ref(), table), wrong, right));
                    }
                    _ => {}
                }
            }
        }
    }
    if plan.gateway.is_some() {
        return Ok(());
    }
    let mut ports: BTreeMap<u16, (usize, u64)> = BTreeMap::new();
    for index in 0..fleet.count {
        for (n, line) in plan.lines.iter().enumerate() {
            let Some(first) = line.kind.listens_at() else { continue };
            let port = usize::from(first) + plan.port_step() * index;
            let Ok(port) = u16::try_from(port) else { continue };
            if let Some((other, of)) = ports.insert(port, (n, fleet.number(index)))
                && other != n
            {
                let table = &file.line.as_deref().unwrap_or_default()[n];
                let at = table.get_ref().at.as_ref().map_or(table.span(), Spanned::span);
                let wrong = format!(
                    "line {} of loop {} would be at port {port}, and so is line {} of loop {of}",
                    n + 1,
                    fleet.number(index),
                    other + 1
                );
                let right = "ports rise by the number of ports of a loop: give the lines ports in a row, such as 5094 and 5095";
                return Err(Fault::new(&at, wrong, right));
            }
        }
    }
    Ok(())
}

fn memory(t: &DeviceTable) -> String {
    t.memory.as_ref().map_or(String::new(), |m| m.get_ref().clone())
}
