//! `looprig scan`: who is on the line.

use super::args::ScanArgs;
use super::ask::host_failure;
use super::lines::{end_on_signal, with_log};
use super::output::{Ended, Failure, Output, tell};
use super::silence::nobody_at_all;
use crate::app::command::{Catalogue, Revision};
use crate::exchange::{Exchange, type_key};
use crate::frame::{PollingAddress, Target, UniqueAddress};
use crate::host::{Device, Host, HostError, To};
use crate::line::Line;
use crate::link::MasterConfig;
use crate::report::Format;
use crate::report::table::Table;
use crate::report::text::plural;
use crate::transaction::Outcome;
use core::fmt::Write;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Runs it.
pub fn run(args: &ScanArgs, out: &mut Output) -> Result<Ended, Failure> {
    let line = args.line.open()?;
    let catalogue = args.described.load_with(&line)?;
    end_on_signal(line.interrupt_handle())?;
    let server = line.server_said();
    let line = with_log(line, args.log.as_deref())?;
    let mut host = Host::new(line, MasterConfig { role: args.master.into(), ..MasterConfig::default() })
        .with_catalogue(catalogue.clone());
    let progress = ProgressBar::new(u64::from(args.range.1 - args.range.0) + 1);
    if out.quiet {
        progress.set_draw_target(ProgressDrawTarget::hidden());
    }
    if let Ok(style) = ProgressStyle::with_template("polling address {msg} {bar:30} {pos} of {len}") {
        progress.set_style(style);
    }
    let (mut table, garbled, ended) = scan(&mut host, args.range, Some(args.retries), &mut |a| {
        progress.set_message(a.to_string());
        progress.set_position(u64::from(a - args.range.0));
    });
    progress.finish_and_clear();
    name_types(&mut table, &catalogue);
    let found = table.rows.len();
    if found > 0 || out.options.format != Format::Text {
        let format = out.options.format;
        table.write(format, out.text());
    }
    for address in &garbled {
        tell(&Failure::new(
            format!("scanning polling address {address}"),
            "something answered, but damaged every time",
            "two devices with one polling address answer at once: connect them one by one; else look for noise",
        ));
    }
    ended.map_err(|e| host_failure("scanning".into(), e))?;
    if found == 0 {
        let (from, to) = args.range;
        let elsewhere = match (from, to) {
            (0, 63) => "",
            (0, 15) => "; devices of revision 6 and 7 may also be at 16 to 63: --range 0-63",
            _ => "; a device may be at any other address: --range 0-63",
        };
        let doing = format!("scanning polling addresses {from} to {to}");
        tell(&nobody_at_all(doing, elsewhere, server.as_ref()));
        return Ok(Ended::Failed);
    }
    if out.options.format == Format::Text && !out.quiet {
        let q = *host.quality();
        let behind = table.rows.iter().filter(|r| r[0].starts_with("behind")).count();
        let of_those = match behind {
            0 => String::new(),
            n => format!(", and {} behind a gateway", plural(n, "device")),
        };
        let _ = writeln!(
            out.text(),
            "{} at polling addresses {} to {}{of_those}; {}, {}, {}.",
            plural(found - behind, "device"),
            args.range.0,
            args.range.1,
            plural(q.requests as usize, "request"),
            plural(q.retries as usize, "retry"),
            plural(q.damaged as usize, "damaged answer")
        );
    }
    Ok(Ended::Fine)
}

/// Adds what described device types are called, where any are described.
fn name_types(table: &mut Table, catalogue: &Catalogue) {
    if catalogue.all().is_empty() {
        return;
    }
    table.columns.push("type_name");
    for row in &mut table.rows {
        let unique = row.get(1).and_then(|text| UniqueAddress::parse(text).ok());
        let key = unique.and_then(|u| type_key(Target::Unique(u)));
        let name = key.and_then(|k| catalogue.described(k)).map(|d| d.description().name.clone());
        row.push(name.unwrap_or_default());
    }
}

/// Profile of a gateway [TB-06].
const GATEWAY: u32 = 132;
/// Most devices behind one gateway that are asked for.
const MOST_BEHIND: u32 = 1000;

/// Polls every address of the range and reads who answers, and of a gateway who is behind it [IP-16]. What was found before an
/// error is kept. Also tells the addresses where something answered, but never whole.
pub fn scan<L: Line>(
    host: &mut Host<L>,
    range: (u8, u8),
    retries: Option<u8>,
    progress: &mut dyn FnMut(u8),
) -> (Table, Vec<u8>, Result<(), HostError>) {
    let columns = [
        "polling_address",
        "unique_address",
        "tag",
        "long_tag",
        "revision",
        "device_type",
        "device_revision",
        "reports",
    ];
    let mut table = Table::new("", &columns);
    let mut garbled = Vec::new();
    for address in range.0..=range.1 {
        progress(address);
        let Some(polling) = PollingAddress::new(address) else { break };
        let result = host.poll(polling, retries).and_then(|(exchange, device)| match device {
            Some(device) => {
                let of_it = row(host, address.to_string(), &exchange, &device)?;
                table.row(of_it);
                match exchange.number("device_profile") {
                    Some(GATEWAY) => behind(host, address, &device, &mut table),
                    _ => Ok(()),
                }
            }
            None => {
                if exchange.transaction.outcome == Outcome::Garbled {
                    garbled.push(address);
                }
                Ok(())
            }
        });
        if let Err(e) = result {
            return (table, garbled, Err(e));
        }
    }
    (table, garbled, Ok(()))
}

/// The devices behind a gateway: command 74 tells how many it has found, itself among them, 84 who each of them is. What 84
/// does not tell is asked of the device itself; one that does not answer has its row all the same.
fn behind<L: Line>(
    host: &mut Host<L>,
    address: u8,
    gateway: &Device,
    table: &mut Table,
) -> Result<(), HostError> {
    let counted = host.ask(gateway, 74, &[])?;
    let Some(found) = counted.number("devices_detected") else { return Ok(()) };
    for index in 1..found.min(MOST_BEHIND + 1) {
        let known = host.ask(gateway, 84, &[("index".to_owned(), index.to_string())])?;
        let number = |name| known.number(name);
        let (Some(device_type), Some(id)) = (number("expanded_device_type"), number("device_id")) else {
            continue;
        };
        let [_, _, high, low] = device_type.to_be_bytes();
        let [_, id @ ..] = id.to_be_bytes();
        let unique = UniqueAddress::new([high, low], id);
        let place = format!("behind {address}");
        if let (identity, Some(device)) = host.find(&To::Unique(unique))? {
            let of_it = row(host, place, &identity, &device)?;
            table.row(of_it);
            continue;
        }
        let cell = |name| known.value(name).map_or(String::new(), |v| v.cell());
        table.row(vec![
            place,
            unique.to_string(),
            String::new(),
            cell("long_tag"),
            cell("universal_revision"),
            format!("{device_type:04X}"),
            cell("device_revision"),
            "known to the gateway, does not answer".to_owned(),
        ]);
    }
    Ok(())
}

fn row<L: Line>(
    host: &mut Host<L>,
    place: String,
    identity: &Exchange,
    device: &Device,
) -> Result<Vec<String>, HostError> {
    let text = |e: &Exchange, name| e.value(name).map_or(String::new(), |v| v.cell());
    let tag = host.ask(device, 13, &[])?;
    let long_tag = if device.revision >= Revision::R6 {
        text(&host.ask(device, 20, &[])?, "long_tag")
    } else {
        String::new()
    };
    let device_type = match device.revision {
        Revision::R7 => identity.number("expanded_device_type").map(|t| format!("{t:04X}")),
        _ => identity
            .number("manufacturer")
            .zip(identity.number("device_type"))
            .map(|(m, t)| format!("{m:02X} {t:02X}")),
    };
    let mut reports = String::new();
    tag.write_device_status(&mut reports);
    Ok(vec![
        place,
        device.unique.to_string(),
        text(&tag, "tag"),
        long_tag,
        text(identity, "universal_revision"),
        device_type.unwrap_or_default(),
        text(identity, "device_revision"),
        reports,
    ])
}
