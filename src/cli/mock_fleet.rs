//! `looprig mock` of a fleet: many loops of one bench file.

use super::lines::{end_on_signal, quoted, warn_of_network};
use super::mock::{failed, is_trouble, name, notice_json, notice_text, open, pace_words};
use super::mock_args::MockArgs;
use super::mock_power::{PowerTold, Telling};
use super::output::{Ended, Failure, Output};
use crate::bench::{Bench, BenchPlan, Fleet, FleetError, LineKind, Notice, PortPlace};
use crate::device::channel_place;
use crate::report::Format;
use crate::report::table::Table;
use crate::report::text::plural;
use crate::time::Pace;
use core::fmt::Write;
use serde_json::{Value as Json, json};

/// All devices of a bench, of every loop if it is a fleet, without running it.
pub fn list(plan: &BenchPlan) -> Table {
    let columns = ["loop", "line", "card", "channel", "address", "kind", "tag", "unique_address", "long_tag"];
    let title = format!("Devices of {}", plan.path.display());
    let mut table = Table::new(title, &columns);
    for index in 0..plan.loops() {
        let own = plan.loop_plan(index);
        let number = plan.fleet.map_or(String::new(), |f| f.number(index).to_string());
        let line = own.lines.first().map_or(String::new(), |l| match &l.kind {
            LineKind::HartIp(server) => server.to_string(),
            _ => l.at.clone(),
        });
        let [card, channel] = match &plan.gateway {
            Some(_) => channel_place(if plan.fleet.is_some() { index } else { 0 }).map(|n| n.to_string()),
            None => Default::default(),
        };
        for device in &own.devices {
            let (id, stored) = (&device.config.identity, &device.config.factory);
            table.row([
                number.clone(),
                line.clone(),
                card.clone(),
                channel.clone(),
                stored.polling_address.to_string(),
                device.config.kind.name().words().to_owned(),
                stored.tag.clone(),
                id.unique_address().to_string(),
                stored.long_tag.clone(),
            ]);
        }
    }
    table
}

/// Runs all loops until Ctrl-C or a request to terminate.
pub fn run(args: &MockArgs, plan: BenchPlan, seed: Option<u64>, out: &mut Output) -> Result<Ended, Failure> {
    let doing = format!("running {}", plan.path.display());
    if args.api.is_some() {
        let next = "leave --api out, or drive one loop from a bench file of its own";
        return Err(Failure::new(doing, "a fleet is not driven over HTTP: that is for one loop", next));
    }
    if args.host_check.is_some() {
        let next = "leave --host-check out, or run one loop from a bench file of its own";
        return Err(Failure::new(doing, "a host is judged on one pair of wires, and a fleet has many", next));
    }
    let why = |e: &FleetError| match &e.whose {
        Some(whose) => failed(&format!("{doing}, {whose}"), &e.error),
        None => failed(&doing, &e.error),
    };
    let mut fleet = Fleet::open(plan).map_err(|e| why(&e))?;
    for line in &fleet.template().lines {
        match &line.kind {
            LineKind::TcpListen(at) => warn_of_network("tcp-listen", at),
            LineKind::HartIp(server) => warn_of_network("hart-ip", &server.at),
            _ => {}
        }
    }
    end_on_signal(fleet.interrupt_handle())?;
    match out.options.format {
        Format::Json => {
            let _ = writeln!(out.text(), "{}", ready_json(&fleet, seed));
        }
        _ => {
            ready_text(&fleet, out.text());
        }
    }
    out.flush()?;
    let names: Vec<Vec<String>> =
        fleet.loops().iter().map(|l| l.stations().map(|s| name(s.device())).collect()).collect();
    let places: Vec<Vec<PortPlace>> = fleet.loops().iter().map(|l| l.places().to_vec()).collect();
    let front = fleet.places().to_vec();
    let numbers: Vec<u64> =
        (0..fleet.loops().len()).map(|i| fleet.template().fleet.map_or(i as u64, |f| f.number(i))).collect();
    let mut power: Vec<PowerTold> = names.iter().map(|n| PowerTold::new(n.len())).collect();
    let mut told = Ok(());
    out.step_aside();
    let ended = fleet.run(&mut |of, notice| {
        let telling = match (of, &notice) {
            (Some(i), Notice::Power { device, news }) => power[i].of(*device, news),
            (Some(i), Notice::EventDone { .. }) => {
                power[i].event();
                Telling::News
            }
            _ => Telling::News,
        };
        let (names, places) = match of {
            Some(i) => (&names[i][..], &places[i][..]),
            None => (&[][..], &front[..]),
        };
        match out.options.format {
            Format::Json => {
                if let Some(mut json) = notice_json(&notice, telling, places) {
                    json["loop"] = json!(of.map(|i| numbers[i]));
                    let _ = writeln!(out.text(), "{json}");
                }
            }
            _ if out.quiet && !is_trouble(&notice) => {}
            _ => {
                let mut text = String::new();
                notice_text(&notice, telling, names, places, &mut text);
                if let Some(i) = of.filter(|_| !text.is_empty()) {
                    let _ = write!(out.text(), "loop {}: ", numbers[i]);
                }
                out.text().push_str(&text);
            }
        }
        if let Err(e) = out.flush()
            && !e.is_closed_pipe()
        {
            told = Err(e);
        }
    });
    ended.map_err(|e| why(&e))?;
    told?;
    let sent: u64 = fleet.loops().iter().map(|l| l.traffic().sent).sum();
    match out.options.format {
        Format::Json => {
            let _ = writeln!(out.text(), "{}", json!({"ended": true, "octets_sent": sent}));
        }
        _ if out.quiet => {}
        _ => {
            let _ = writeln!(
                out.text(),
                "On the wires of all loops: {} sent.\nEnded.",
                plural(sent as usize, "octet")
            );
        }
    }
    match out.flush() {
        Err(e) if !e.is_closed_pipe() => Err(e),
        _ => Ok(Ended::Fine),
    }
}

/// How the first lines of a loop are reached.
fn reach(places: &[PortPlace], pace: Pace) -> String {
    places.iter().filter_map(|p| open(p, pace)).collect::<Vec<_>>().join(", ")
}

fn ready_text(fleet: &Fleet, out: &mut String) {
    let plan = fleet.template();
    let (count, of_each) = (fleet.loops().len(), plan.devices.len());
    let _ = writeln!(
        out,
        "Running {}: {} of {}, {}.\n",
        plan.path.display(),
        plural(count, "loop"),
        plural(of_each, "device"),
        pace_words(plan.pace)
    );
    let one = |i: usize| {
        let bench: &Bench = &fleet.loops()[i];
        let tags: Vec<String> = bench.stations().map(|s| name(s.device())).collect();
        let number = plan.fleet.map_or(0, |f| f.number(i));
        let lines = reach(bench.places(), plan.pace);
        format!("  loop {number}: {}{}{lines}", tags.join(", "), if lines.is_empty() { "" } else { "   " })
    };
    const SHOWN: usize = 3;
    for i in 0..count.min(SHOWN) {
        let _ = writeln!(out, "{}", one(i));
    }
    if count > SHOWN {
        if count > SHOWN + 1 {
            out.push_str("  ...\n");
        }
        let _ = writeln!(out, "{}", one(count - 1));
    }
    let _ = writeln!(out, "All of them: looprig mock {} --list", quoted(&plan.path.display().to_string()));
    if !fleet.places().is_empty() {
        let _ = writeln!(out, "\nLines of the gateway, every loop a channel of it");
        for place in fleet.places() {
            let reach = reach(std::slice::from_ref(place), plan.pace);
            let _ = writeln!(out, "  {:<8} reach it with: looprig scan {}", place.at, quoted(&reach));
        }
    } else if let Some(open) = fleet.loops().first().and_then(|l| open(l.places().first()?, plan.pace)) {
        let _ = writeln!(out, "Reach the first with: looprig scan {}", quoted(&open));
    }
    out.push_str("\nCtrl-C ends it.\n");
}

fn ready_json(fleet: &Fleet, seed: Option<u64>) -> Json {
    let plan = fleet.template();
    let lines = |places: &[PortPlace]| -> Vec<Json> {
        let one = |p: &PortPlace| json!({"at": p.at, "path": p.path.display().to_string(), "open": open(p, plan.pace)});
        places.iter().map(one).collect()
    };
    let loops: Vec<Json> = fleet
        .loops()
        .iter()
        .enumerate()
        .map(|(i, l)| {
            let devices: Vec<Json> = l
                .stations()
                .map(|s| s.device())
                .map(|d| {
                    json!({"polling_address": d.polling_address(), "tag": d.tag(), "long_tag": d.long_tag(),
                        "unique_address": d.unique_address().to_string()})
                })
                .collect();
            json!({"loop": plan.fleet.map(|f| f.number(i)), "lines": lines(l.places()), "devices": devices})
        })
        .collect();
    json!({
        "ready": true, "pace": plan.pace.to_string(), "seed": seed, "lines": lines(fleet.places()), "loops": loops,
    })
}
