//! `looprig mock`: mock devices on lines that other software can open.

use super::host_check;
use super::lines::{end_on_signal, quoted, warn_of_network};
use super::mock_api as api;
use super::mock_args::MockArgs;
use super::mock_fleet as fleet;
use super::mock_loop as current_loop;
use super::mock_power::{PowerTold, Telling, power_json, power_line};
use super::mock_valve::valves_text;
use super::mock_words as words;
use super::output::{Ended, Failure, Output};
use super::protocol_faults;
use crate::bench::{self, Bench, BenchPlan, Error, FileError, LineKind, Notice, PortPlace};
use crate::device::Device;
use crate::ip::ServerNews;
use crate::line::io::PeerNews;
use crate::plant::fault::FaultName;
use crate::report::Format;
use crate::report::table::Table;
use crate::sim::SiteFault;
use crate::time::Pace;
use core::fmt::Write;
use serde_json::{Value as Json, json};

/// Runs the bench until Ctrl-C or a request to terminate, which both are a good end.
pub fn run(args: &MockArgs, out: &mut Output) -> Result<Ended, Failure> {
    if args.api_schema {
        let _ = writeln!(out.text(), "{:#}", bench::api::document());
        return Ok(Ended::Fine);
    }
    if args.protocol_faults {
        protocol_faults::list(out);
        return Ok(Ended::Fine);
    }
    if args.faults {
        faults().write(out.options.format, out.text());
        return Ok(Ended::Fine);
    }
    let Some(path) = args.bench.as_deref().filter(|_| !args.schema) else {
        let _ = writeln!(out.text(), "{}", bench::schema());
        return Ok(Ended::Fine);
    };
    if args.list {
        fleet::list(&protocol_faults::read(path, &args.fault)?).write(out.options.format, out.text());
        return Ok(Ended::Fine);
    }
    if out.options.format == Format::Csv {
        return Err(Failure::new(
            "running a mock",
            "what happens on a bench makes no table",
            "leave --format out, or give --format json",
        ));
    }
    let mut plan = protocol_faults::read(path, &args.fault)?;
    if let Some(pace) = args.pace {
        plan.pace = pace;
    }
    let seed = choose_seed(&mut plan, args.seed);
    if let Some(seed) = seed.filter(|_| out.options.format == Format::Text) {
        // Before anything that it decides.
        let _ = writeln!(out.text(), "seed {seed} (repeat this run: --seed {seed})");
        out.flush()?;
    }
    if plan.fleet.is_some() {
        return fleet::run(args, plan, seed, out);
    }
    let doing = format!("running {}", path.display());
    let place = api::place(args, &plan)?;
    let mut bench = Bench::open(plan).map_err(|e| failed(&doing, &e))?;
    for line in &bench.plan().lines {
        match &line.kind {
            LineKind::TcpListen(at) => warn_of_network("tcp-listen", at),
            LineKind::HartIp(server) => warn_of_network("hart-ip", &server.at),
            _ => {}
        }
    }
    let api_at = place.as_ref().map(|p| p.at());
    let handle = bench.interrupt_handle();
    end_on_signal(handle)?;
    let mut ready = String::new();
    match out.options.format {
        Format::Json => {
            let mut told = ready_json(&bench, seed);
            told["api"] = json!(api_at.map(api::url));
            let _ = writeln!(ready, "{told}");
        }
        _ => {
            ready_text(&bench, &mut ready);
            if let Some(place) = &place {
                api::text(place, bench.plan(), &mut ready);
            }
            ready.push_str("\nCtrl-C ends it.\n");
        }
    }
    let gate = match place {
        Some(place) => {
            let (at, plan, orders) = (place.at(), bench.plan().clone(), bench.take_orders());
            Some(place.serve(plan, orders).map_err(|e| api::failed(at, &e))?)
        }
        None => None,
    };
    let names: Vec<String> = bench.stations().map(|s| name(s.device())).collect();
    let places = bench.places().to_vec();
    let mut host = args.host_check.map(|wanted| {
        bench.listen_in();
        host_check::Live::new(bench.plan(), wanted.master(), bench.stamp_error())
    });
    let mut told = Ok(());
    let mut power_told = PowerTold::new(names.len());
    // Whoever has read the readiness line and reads no more does not stop the devices.
    out.step_aside();
    let ended = bench.run(&mut |notice| {
        let is_ready = matches!(notice, Notice::Ready { .. });
        let telling = match &notice {
            Notice::Power { device, news } => power_told.of(*device, news),
            Notice::EventDone { .. } => {
                power_told.event();
                Telling::News
            }
            _ => Telling::News,
        };
        if let Some(host) = &mut host {
            host_check::follow(&notice, host, out);
        }
        match out.options.format {
            _ if is_ready => out.text().push_str(&ready),
            _ if matches!(notice, Notice::Heard(_)) => {}
            Format::Json => {
                if let Some(json) = notice_json(&notice, telling, &places) {
                    let _ = writeln!(out.text(), "{json}");
                }
            }
            // What went wrong is told even to those who want nothing but results.
            _ if out.quiet && !is_trouble(&notice) => {}
            _ => notice_text(&notice, telling, &names, &places, out.text()),
        }
        // Whoever has read enough may close the pipe; the devices go on for those on the lines.
        if let Err(e) = out.flush()
            && !e.is_closed_pipe()
        {
            told = Err(e);
        }
    });
    drop(gate);
    ended.map_err(|e| failed(&doing, &e))?;
    told?;
    match out.options.format {
        Format::Json => {
            let _ = writeln!(out.text(), "{}", words::ended_json(&bench));
        }
        _ if out.quiet => {}
        _ => {
            words::ended_text(&bench, out.text());
            out.text().push_str("Ended.\n");
        }
    }
    let ended = host.map_or(Ended::Fine, |host| {
        let report = host.finish();
        crate::report::host_check::write(&report, &[], out.options.format, out.text());
        host_check::ended(&report)
    });
    match out.flush() {
        Err(e) if !e.is_closed_pipe() => Err(e),
        _ => Ok(ended),
    }
}

/// The names of all faults that a bench may have, and what they mean.
fn faults() -> Table {
    let title = "Faults of a bench, and what severities 0.3, 0.6 and 1 mean";
    let mut table = Table::new(title, &["of", "name", "fault", "severity"]);
    for name in SiteFault::ALL {
        let of = match name {
            _ if name.is_of_the_loop() => "loop",
            SiteFault::SecondMaster => "wires",
            _ => "device",
        };
        table.row([of, name.word(), name.words(), name.meaning()]);
    }
    for name in FaultName::ALL {
        table.row(["valve", name.word(), name.words(), name.meaning()]);
    }
    table
}

/// Gives the plan the seed that was asked for, else its own, else one from the clock if it needs one.
/// Tells it if it matters.
pub fn choose_seed(plan: &mut BenchPlan, wanted: Option<u64>) -> Option<u64> {
    plan.seed = wanted.or(plan.seed);
    if !plan.leaves_to_chance() {
        return None;
    }
    Some(*plan.seed.get_or_insert_with(clock_seed))
}

/// A seed from the clock: six digits are enough to be different and few enough to be typed.
pub fn clock_seed() -> u64 {
    jiff::Timestamp::now().as_microsecond().unsigned_abs() % 1_000_000
}

/// What is wrong with a bench file, or a file that it names.
pub fn misread(e: &FileError) -> Failure {
    Failure::new(format!("reading the {} {}", e.what, e.location()), e.wrong_with_line(), e.right.clone())
}

/// Why a bench does not run.
pub fn failed(doing: &str, e: &Error) -> Failure {
    match e {
        // These say what to do next themselves.
        Error::Port(_) | Error::NoPortLeft(_) => Failure::new(doing, e.to_string(), ""),
        Error::MemoryInUse(_) => {
            Failure::new(doing, e.to_string(), "end that mock, or name another `memory` in the bench file")
        }
        Error::TooManyFiles { wanted, .. } => Failure::new(
            doing,
            e.to_string(),
            format!(
                "allow more in the shell that starts it (`ulimit -n {}`; `ulimit -Hn` tells the most that a user may), \
                 spread the loops over several bench files and machines, or put them behind a [gateway], which has one port",
                wanted.next_multiple_of(1024)
            ),
        ),
        Error::Memory(_) => Failure::new(
            doing,
            e.to_string(),
            "make room, let this user read and write the file and its directory, or name another `memory` in the bench file",
        ),
    }
}

/// A device in messages.
pub fn name(device: &Device) -> String {
    match device.tag() {
        "" => format!("device at {}", device.polling_address()),
        tag => tag.to_owned(),
    }
}

/// The LINE by which other commands reach the line from this machine. Whole messages have no pace.
pub fn open(place: &PortPlace, pace: Pace) -> Option<String> {
    place.open.as_ref().map(|line| match pace {
        Pace::Wire => line.clone(),
        _ if line.starts_with("hart-ip") => line.clone(),
        pace => format!("{line}?pace={pace}"),
    })
}

/// How fast the wires run.
pub fn pace_words(pace: Pace) -> String {
    match pace {
        Pace::Wire => "wire pace, 1200 bit/s".into(),
        Pace::Fast => "fast: octets at once, no times to judge".into(),
        Pace::Scaled(f) => format!("pace {f}: every time of the wire divided by {f}"),
    }
}

fn ready_text(bench: &Bench, out: &mut String) {
    let plan: &BenchPlan = bench.plan();
    let _ = writeln!(out, "Running {}, {}.", plan.path.display(), pace_words(plan.pace));
    out.push_str("\nDevices\n");
    let rows: Vec<[String; 6]> = bench.stations().map(|s| row(s.device())).collect();
    let head = ["address", "revision", "kind", "tag", "unique address", "long tag"].map(str::to_owned);
    let widths: Vec<usize> =
        (0..6).map(|i| rows.iter().chain([&head]).map(|r| r[i].chars().count()).max().unwrap_or(0)).collect();
    for cells in [&head].into_iter().chain(&rows) {
        let mut line = String::new();
        for (cell, width) in cells.iter().zip(&widths) {
            let _ = write!(line, "  {cell:width$}");
        }
        let _ = writeln!(out, "{}", line.trim_end());
    }
    for device in bench.stations().map(|s| s.device()).filter(|d| d.bursts()) {
        let _ = writeln!(out, "  {}: in burst mode, {}", name(device), words::bursts(device).join("; "));
    }
    for told in protocol_faults::told(plan) {
        let _ = writeln!(out, "  {told}");
    }
    let names: Vec<String> = bench.stations().map(|s| name(s.device())).collect();
    current_loop::loop_text(bench, &names, out);
    valves_text(bench, out);
    words::wires_text(plan, out);
    out.push_str("\nLines, all on one pair of wires\n");
    let width = bench.places().iter().map(|p| p.at.chars().count()).max().unwrap_or(0).max(8);
    for (place, line) in bench.places().iter().zip(&plan.lines) {
        match (&line.kind, open(place, plan.pace)) {
            (LineKind::Pty(_), Some(open)) => {
                let _ = writeln!(
                    out,
                    "  {:<width$} {}   reach it with: looprig scan {}",
                    place.at,
                    place.path.display(),
                    quoted(&open)
                );
            }
            (_, Some(open)) => {
                let _ = writeln!(out, "  {:<width$} reach it with: looprig scan {}", place.at, quoted(&open));
            }
            (LineKind::Tcp(_), None) => {
                let _ = writeln!(out, "  {:<width$} connected; reach it from the other end", place.at);
            }
            (_, None) => {
                let _ = writeln!(
                    out,
                    "  {:<width$} reach it through the modem at the other end of the wires",
                    place.at
                );
            }
        }
    }
}

fn row(d: &Device) -> [String; 6] {
    let shown = |text: &str| if text.is_empty() { "-".to_owned() } else { text.to_owned() };
    [
        d.polling_address().to_string(),
        d.revision().to_string(),
        d.kind().words().to_owned(),
        shown(d.tag()),
        d.unique_address().to_string(),
        shown(d.long_tag()),
    ]
}

fn ready_json(bench: &Bench, seed: Option<u64>) -> Json {
    let lines: Vec<Json> = bench
        .places()
        .iter()
        .map(
            |p| json!({"at": p.at, "path": p.path.display().to_string(), "open": open(p, bench.plan().pace)}),
        )
        .collect();
    let devices: Vec<Json> = bench
        .stations()
        .map(|s| {
            let d = s.device();
            json!({
                "polling_address": d.polling_address(),
                "revision": d.revision().to_string().parse::<u8>().ok(),
                "kind": d.kind().word(),
                "tag": d.tag(),
                "long_tag": d.long_tag(),
                "unique_address": d.unique_address().to_string(),
                "bursts": words::bursts(d),
                "slow": words::slow_json(d),
                "protocol_faults": d.config().faults.iter().map(|f| f.name()).collect::<Vec<_>>(),
            })
        })
        .collect();
    let plan = bench.plan();
    json!({
        "ready": true, "pace": plan.pace.to_string(), "seed": seed, "lines": lines, "devices": devices,
        "masters": words::masters_json(plan), "wire_faults": words::faults_json(plan),
        "loop": current_loop::loop_json(bench),
    })
}

/// Whether something went wrong.
pub fn is_trouble(notice: &Notice) -> bool {
    if let Notice::Peer { news, .. } = notice {
        return news.is_trouble();
    }
    matches!(
        notice,
        Notice::PortLost { .. }
            | Notice::MemoryCorrupt { .. }
            | Notice::MemoryNotSaved { .. }
            | Notice::PeerGone { locked: true, .. }
    ) || is_wrongly_set(notice)
}

#[cfg(unix)]
fn is_wrongly_set(notice: &Notice) -> bool {
    matches!(notice, Notice::PeerSettings { settings, .. } if !settings.fits())
}

#[cfg(not(unix))]
fn is_wrongly_set(_: &Notice) -> bool {
    false
}

/// Writes it for people, where it is to be told.
pub fn notice_text(
    notice: &Notice,
    telling: Telling,
    names: &[String],
    places: &[PortPlace],
    out: &mut String,
) {
    let path = |line: &usize| places[*line].path.display();
    let _ = match notice {
        Notice::Ready { .. } => Ok(()),
        Notice::PeerCame { line } => writeln!(out, "{}: a program has opened it", path(line)),
        #[cfg(unix)]
        Notice::PeerSettings { line, settings } if settings.fits() => {
            writeln!(out, "{}: its settings are right now: {settings}", path(line))
        }
        #[cfg(unix)]
        Notice::PeerSettings { line, settings } => writeln!(
            out,
            "{}: warning: settings that would not do at a modem's port: {settings}\n  next: set 1200 bit/s, 8 data bits, odd parity, 1 stop bit, raw; parity and data bits cannot be seen here",
            path(line)
        ),
        Notice::PeerGone { line, locked: false } => writeln!(out, "{}: closed again", path(line)),
        Notice::PeerGone { line, locked: true } => writeln!(
            out,
            "{}: closed again, and left locked for sole use, so nobody else can open it\n  next: start this mock anew",
            path(line)
        ),
        Notice::Peer { line, peer, news } => writeln!(out, "{}: peer {peer}: {news}", places[*line].at),
        Notice::PortLost { error, .. } => writeln!(out, "a line is lost, the others go on: {error}"),
        Notice::MemoryCorrupt { device, error, kept } => writeln!(
            out,
            "{}: {error}\n  it is kept as {}; the device reports a malfunction until it is started anew",
            names[*device],
            kept.display()
        ),
        Notice::MemorySaved { device } => {
            writeln!(out, "{}: what was written to it is saved", names[*device])
        }
        Notice::MemoryNotSaved { device, error } => writeln!(
            out,
            "{}: {error}\n  next: make room, or let this user write there; the next change and the end try again",
            names[*device]
        ),
        Notice::EventDone { at, device, change, .. } => {
            let whose = device.map_or(String::new(), |d| format!("{}: ", names[d]));
            writeln!(out, "event at {} s: {whose}{change}", at.as_secs_f64())
        }
        Notice::Supplied { device, supplied, reach, .. } => {
            current_loop::given_text(supplied, *reach, &names[*device], out);
            Ok(())
        }
        Notice::Power { device, news } => match power_line(news, telling, &names[*device]) {
            Some(line) => writeln!(out, "{line}"),
            None => Ok(()),
        },
        Notice::Positioner { device, at, news } => {
            writeln!(out, "{} at {:.1} s: {news}", names[*device], at.as_secs_f64())
        }
        Notice::Ordered { at, device, change } => {
            let whose = device.map_or(String::new(), |d| format!("{}: ", names[d]));
            writeln!(out, "ordered at {} s: {whose}{change}", at.as_secs_f64())
        }
        Notice::Time(time) => writeln!(out, "{}", words::time(time)),
        Notice::Heard(_) => Ok(()),
        Notice::Restored(snapshot) => writeln!(
            out,
            "back at {} s, as in the snapshot \"{}\": sessions on the lines are over",
            snapshot.at.as_secs_f64(),
            snapshot.name
        ),
    };
}

/// The word of a peer's news for programs, and how many octets of it were dropped since the last.
fn peer_words(news: &PeerNews) -> (&'static str, u64) {
    match news {
        PeerNews::Came => ("tcp_peer_came", 0),
        PeerNews::Refused { .. } => ("tcp_peer_refused", 0),
        PeerNews::Session { news: ServerNews::Opened(_), .. } => ("session_begins", 0),
        PeerNews::Session { news: ServerNews::Ended(_), .. } => ("session_ends", 0),
        PeerNews::Session { .. } | PeerNews::Server(_) => ("session_trouble", 0),
        PeerNews::Gone { unheard, .. } => ("tcp_peer_gone", *unheard),
        PeerNews::Unheard { octets } => ("tcp_peer_unheard", *octets),
        PeerNews::TooSlow { unheard, .. } => ("tcp_peer_too_slow", *unheard),
    }
}

/// Nothing where it is not to be told.
pub fn notice_json(notice: &Notice, telling: Telling, places: &[PortPlace]) -> Option<Json> {
    let at = |line: &usize| places[*line].at.clone();
    let path = |line: &usize| places[*line].path.display().to_string();
    Some(match notice {
        Notice::Ready { .. } => json!({"ready": true}),
        Notice::PeerCame { line } => json!({"notice": "peer_came", "at": at(line), "path": path(line)}),
        #[cfg(unix)]
        Notice::PeerSettings { line, settings } => json!({
            "notice": "peer_settings", "at": at(line), "path": path(line), "right": settings.fits(),
            "speed_bit_s": settings.speed_bit_s, "wrong": settings.wrong(),
        }),
        Notice::PeerGone { line, locked } => {
            json!({"notice": "peer_gone", "at": at(line), "path": path(line), "locked": locked})
        }
        Notice::Peer { line, peer, news } => {
            let (kind, octets) = peer_words(news);
            json!({
                "notice": kind, "at": at(line), "path": path(line), "peer": peer, "octets_dropped": octets,
                "said": news.to_string(),
            })
        }
        Notice::PortLost { line, error } => {
            json!({"notice": "port_lost", "at": at(line), "path": path(line), "error": error.to_string()})
        }
        Notice::MemoryCorrupt { device, error, kept } => json!({
            "notice": "memory_corrupt", "device": device, "error": error.to_string(),
            "kept": kept.display().to_string(),
        }),
        Notice::MemorySaved { device } => json!({"notice": "memory_saved", "device": device}),
        Notice::MemoryNotSaved { device, error } => {
            json!({"notice": "memory_not_saved", "device": device, "error": error.to_string()})
        }
        Notice::EventDone { event, at, device, change } => json!({
            "notice": "event", "event": event, "at_s": at.as_secs_f64(), "device": device,
            "change": change.to_string(),
        }),
        Notice::Supplied { at, device, supplied, reach } => {
            current_loop::given_json(*at, supplied, *reach, *device)
        }
        Notice::Positioner { device, at, news } => json!({
            "notice": "positioner", "device": device, "at_s": at.as_secs_f64(), "says": news.to_string(),
        }),
        Notice::Ordered { at, device, change } => json!({
            "notice": "ordered", "at_s": at.as_secs_f64(), "device": device, "change": change.to_string(),
        }),
        Notice::Time(time) => words::time_json(time),
        Notice::Restored(snapshot) => {
            json!({"notice": "restored", "at_s": snapshot.at.as_secs_f64(), "snapshot": snapshot.name})
        }
        Notice::Heard(_) => return None,
        Notice::Power { device, news } => return power_json(news, telling, *device),
    })
}
