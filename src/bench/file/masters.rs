//! `[[master]]`: who asks the devices of the bench besides those outside.

use super::names::named;
use super::shape::{AskTable, DeviceName, MasterTable};
use super::{Fault, TIME_S, clock, number, whole, words};
use crate::app::command::{Effect, Revision, spec, value};
use crate::bench::plan::{DevicePlan, LineKind, LinePlan, MasterPlan};
use crate::frame::{Address, Frame, Master, PollingAddress, Target};
use crate::link::MasterConfig;
use crate::sim::{Errand, HostFault};
use crate::time::Instant;
use core::time::Duration;
use toml::Spanned;

/// The wires know two masters [FR-16].
const MOST_MASTERS: usize = 2;

/// The masters of the file, who ask devices of the file.
pub(super) fn masters(
    tables: &[Spanned<MasterTable>],
    devices: &[DevicePlan],
    lines: &[LinePlan],
) -> Result<Vec<MasterPlan>, Fault> {
    if let Some(surplus) = tables.get(MOST_MASTERS) {
        let right = "leave it out, and let one of the others ask what it asks";
        return Err(Fault::new(&surplus.span(), "frames know two masters, this is a third", right));
    }
    tables.iter().map(|t| master(t, devices, lines)).collect()
}

fn master(
    table: &Spanned<MasterTable>,
    devices: &[DevicePlan],
    lines: &[LinePlan],
) -> Result<MasterPlan, Fault> {
    let t = table.get_ref();
    let mut config = MasterConfig { role: Master::Primary, ..MasterConfig::default() };
    if let Some(role) = &t.role {
        config.role =
            words::one_of(role, "role", &[("primary", Master::Primary), ("secondary", Master::Secondary)])?;
    }
    if let Some(n) = &t.retries {
        config.retries = whole(n, "retries", 0..=10)?;
    }
    if let Some(listens) = &t.listens_first {
        config.listens_first = *listens.get_ref();
    }
    let asks = t.asks.as_deref().unwrap_or_default();
    if asks.is_empty() {
        let right = "give what it asks, such as asks = [{ device = 0, command = 3 }]";
        return Err(Fault::new(&table.span(), "this master asks nothing", right));
    }
    let errands = asks.iter().map(|a| errand(a, config.role, devices, lines)).collect::<Result<_, _>>()?;
    let faults = faults(t.faults.as_deref().unwrap_or_default(), lines)?;
    Ok(MasterPlan { config, errands, clock: clock(&t.clock_ppm, &t.jitter_ms)?, faults })
}

/// What a master does wrong, each once; not where real devices may hear it.
fn faults(names: &[Spanned<String>], lines: &[LinePlan]) -> Result<Vec<HostFault>, Fault> {
    let known = HostFault::ALL.map(|(fault, name)| (name, fault));
    let mut faults = Vec::new();
    for name in names {
        let fault = words::one_of(name, "a fault of a master", &known)?;
        let real = lines.iter().find(|l| matches!(l.kind, LineKind::Serial(..) | LineKind::Tcp(_)));
        if let Some(line) = real {
            let wrong =
                format!("behind {} of this bench there may be real devices, which would hear it", line.at);
            return Err(Fault::new(
                &name.span(),
                wrong,
                "leave the fault, or the serial: and tcp: lines out",
            ));
        }
        if faults.contains(&fault) {
            let wrong = format!("\"{}\" stands here twice", name.get_ref());
            return Err(Fault::new(&name.span(), wrong, "leave one of them out"));
        }
        faults.push(fault);
    }
    Ok(faults)
}

fn errand(
    table: &Spanned<AskTable>,
    role: Master,
    devices: &[DevicePlan],
    lines: &[LinePlan],
) -> Result<Errand, Fault> {
    let t = table.get_ref();
    let missing = |key: &str, such_as: &str| {
        Fault::new(&table.span(), format!("this request has no {key}"), format!("give it, such as {such_as}"))
    };
    let name = t.device.as_ref().ok_or_else(|| missing("device", "device = \"FV-3104\" or device = 0"))?;
    let device = &devices[named(name, devices)?];
    let command_key = t.command.as_ref().ok_or_else(|| missing("command", "command = 3"))?;
    let command: u8 = whole(command_key, "command", 0..=255)?;
    harmless(command, device.config.identity.revision, command_key, lines)?;
    let data = match &t.data {
        None => Vec::new(),
        Some(text) => value::hex(text.get_ref()).ok_or_else(|| {
            let wrong = format!("data \"{}\" are no octets in hex", text.get_ref());
            Fault::new(&text.span(), wrong, "give two hex digits an octet, such as data = \"00 01\"")
        })?,
    };
    let id = &device.config.identity;
    let target = match name.get_ref() {
        DeviceName::Polling(_) if command == 0 => {
            Target::Polling(PollingAddress::new(device.config.factory.polling_address).unwrap_or_default())
        }
        _ => Target::Unique(id.unique_address()),
    };
    let frame = Frame::request(Address::new(role, target), command, data).map_err(|e| {
        let at = t.data.as_ref().map_or(table.span(), Spanned::span);
        Fault::new(&at, e.to_string(), "give at most 255 octets of data")
    })?;
    let seconds = |given: &Option<_>, key, default| {
        let s = given.as_ref().map_or(Ok(default), |n| number(n, key, "s", TIME_S))?;
        Ok(Duration::from_secs_f64(s))
    };
    Ok(Errand {
        frame,
        preambles: Some(id.preambles_request),
        first_at: Instant::ZERO + seconds(&t.from_s, "from_s", 0.0)?,
        every: Some(seconds(&t.every_s, "every_s", 1.0)?),
    })
}

/// A mock master may change mock devices, and no others [HO-05].
fn harmless(
    command: u8,
    revision: Revision,
    key: &Spanned<super::Whole>,
    lines: &[LinePlan],
) -> Result<(), Fault> {
    // A command that is not known, or not in this revision, counts as one that writes.
    if spec(command.into()).is_some_and(|s| s.effect == Effect::Reads && s.form(revision).is_some()) {
        return Ok(());
    }
    let real = lines.iter().find(|l| matches!(l.kind, LineKind::Serial(..) | LineKind::Tcp(_)));
    let Some(line) = real else { return Ok(()) };
    let wrong = format!(
        "command {command} may change a device, and behind {} of this bench there may be real ones",
        line.at
    );
    Err(Fault::new(
        &key.span(),
        wrong,
        "ask a command that only reads, or leave the serial: and tcp: lines out",
    ))
}
