//! `looprig scan`: who is on the line.

use super::args::ScanArgs;
use super::ask::host_failure;
use super::lines::{end_on_signal, with_log};
use super::output::{Ended, Failure, Output, tell};
use crate::app::command::{Catalogue, Revision};
use crate::exchange::{Exchange, type_key};
use crate::frame::{PollingAddress, Target, UniqueAddress};
use crate::host::{Device, Host, HostError};
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
        tell(&Failure::new(
            format!("scanning polling addresses {from} to {to}"),
            "nobody answered",
            format!("check loop power, 250 ohm or so in the loop and the modem's clips{elsewhere}"),
        ));
        return Ok(Ended::Failed);
    }
    if out.options.format == Format::Text && !out.quiet {
        let q = *host.quality();
        let _ = writeln!(
            out.text(),
            "{} at polling addresses {} to {}; {}, {}, {}.",
            plural(found, "device"),
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

/// Polls every address of the range and reads who answers. What was found before an error is kept.
/// Also tells the addresses where something answered, but never whole.
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
            Some(device) => row(host, address, &exchange, &device).map(|r| table.row(r)),
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

fn row<L: Line>(
    host: &mut Host<L>,
    address: u8,
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
        address.to_string(),
        device.unique.to_string(),
        text(&tag, "tag"),
        long_tag,
        text(identity, "universal_revision"),
        device_type.unwrap_or_default(),
        text(identity, "device_revision"),
        reports,
    ])
}
