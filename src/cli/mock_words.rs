//! Masters and faults of a bench, and what passed on its wires, in words and as JSON.

use crate::app::command::{Revision, spec};
use crate::app::types::units;
use crate::bench::driven::{Going, TimeState};
use crate::bench::{Bench, BenchPlan, DevicePlan};
use crate::device::{BurstMessage, Device};
use crate::frame::Target;
use crate::line::{Clock, FaultKind, FaultOf, WireFault};
use crate::report::text::plural;
use crate::sim::Errand;
use core::fmt::Write;
use core::time::Duration;
use serde_json::{Value as Json, json};

/// How time goes on from now.
pub fn time(time: &TimeState) -> String {
    let at_s = time.at.as_secs_f64();
    match time.going {
        Going::Running { speed: 1.0 } => {
            format!("at {at_s} s: time runs as on the wall clock, lines are joined")
        }
        Going::Running { speed } => {
            format!("at {at_s} s: time runs at speed {speed}; lines are cut off until it runs at speed 1")
        }
        Going::Paused => format!("at {at_s} s: paused; lines are cut off until time runs at speed 1"),
        Going::Stepping { until } => format!("at {at_s} s: a step to {} s", until.as_secs_f64()),
    }
}

/// The same for programs.
pub fn time_json(time: &TimeState) -> Json {
    let (state, speed) = match time.going {
        Going::Running { speed } => ("running", Some(speed)),
        Going::Paused => ("paused", None),
        Going::Stepping { .. } => ("stepping", None),
    };
    json!({"notice": "time", "at_s": time.at.as_secs_f64(), "state": state, "speed": speed})
}

/// What is on the wires besides devices with good clocks.
pub fn wires_text(plan: &BenchPlan, out: &mut String) {
    let off = |clock: &Clock| *clock != Clock::default();
    for d in plan.devices.iter().filter(|d| off(&d.clock)) {
        let _ = writeln!(out, "  {}: {}", name(d), clock(&d.clock));
    }
    for d in &plan.devices {
        for s in &d.config.slow {
            let what = spec(s.command.into()).map_or("", |row| row.name);
            let _ = writeln!(
                out,
                "  {}: command {}, {what}, takes {} s",
                name(d),
                s.command,
                s.takes.as_secs_f64()
            );
        }
    }
    if !plan.masters.is_empty() {
        out.push_str("\nMasters on these wires\n");
    }
    for m in &plan.masters {
        let mut first = m.config.role.name();
        for e in &m.errands {
            let _ = writeln!(out, "  {first:<9}  {}", errand(e, plan));
            first = "";
        }
        if off(&m.clock) {
            let _ = writeln!(out, "  {first:<9}  {}", clock(&m.clock));
        }
        if !m.faults.is_empty() {
            let names: Vec<&str> = m.faults.iter().map(|f| f.name()).collect();
            let _ = writeln!(out, "  {first:<9}  does wrong: {}", names.join(", "));
        }
    }
    if !plan.wire_faults.is_empty() {
        out.push_str("\nFaults on these wires; the first that does something is the last that is asked\n");
    }
    for f in &plan.wire_faults {
        let _ = writeln!(out, "  {}", fault(f));
    }
}

/// How often a burst message is sent: every 0.5 s, or every 0.5 to 16 s by a trigger.
fn often(m: &BurstMessage) -> String {
    let [least, most] = [m.update_period, m.maximum_update_period].map(|p| f64::from(p) / 32_000.0);
    let t = &m.trigger;
    let what = match t.mode {
        // Always.
        0 => return format!(" every {least} s"),
        1 => "window",
        2 => "rising above",
        3 => "falling below",
        _ => "on change",
    };
    let level = t
        .level
        .map_or(String::new(), |x| format!(" {x} {}", units::symbol(t.unit, Some(t.class)).unwrap_or("")));
    format!(" every {least} to {most} s, {what}{level}")
}

/// What a device sends in bursts.
pub fn bursts(device: &Device) -> Vec<String> {
    let newest = device.revision() == Revision::R7;
    let words = |m: &BurstMessage| {
        let often = match newest {
            true => often(m),
            false => " as often as the wires allow".to_owned(),
        };
        let codes: Vec<String> = m.variables.iter().filter(|&&v| v != 250).map(ToString::to_string).collect();
        let of =
            if matches!(m.command, 9 | 33) { format!(" of {}", codes.join(", ")) } else { String::new() };
        format!("command {}{of}{often}", m.command)
    };
    device.burst_messages().map(words).collect()
}

/// The commands of a device that take their time.
pub fn slow_json(device: &Device) -> Json {
    let slow = device.config().slow.iter();
    slow.map(|s| json!({"command": s.command, "takes_s": s.takes.as_secs_f64()})).collect()
}

/// A device in messages.
fn name(device: &DevicePlan) -> String {
    match device.config.factory.tag.as_str() {
        "" => format!("device at {}", device.config.factory.polling_address),
        tag => tag.to_owned(),
    }
}

fn clock(clock: &Clock) -> String {
    let mut words = Vec::new();
    match clock.drift.ppm() {
        0 => {}
        ppm @ 1.. => words.push(format!("its clock is fast by {ppm} parts per million")),
        ppm => words.push(format!("its clock is slow by {} parts per million", -ppm)),
    }
    if !clock.jitter.is_zero() {
        words.push(format!("it begins up to {} ms late, at wire pace", clock.jitter.as_secs_f64() * 1e3));
    }
    words.join("; ")
}

/// Whom a request goes to.
fn asked(e: &Errand, plan: &BenchPlan) -> String {
    match e.frame.address().target {
        Target::Polling(p) => format!("polling address {}", p.get()),
        Target::Unique(u) => {
            let device = plan.devices.iter().find(|d| d.config.identity.unique_address() == u);
            device.map_or(u.to_string(), name)
        }
    }
}

fn errand(e: &Errand, plan: &BenchPlan) -> String {
    let command = e.frame.command();
    let what = spec(command.into()).map_or(String::new(), |s| format!(", {},", s.name));
    let often = match e.every {
        None => "once".to_owned(),
        Some(Duration::ZERO) => "without a pause".to_owned(),
        Some(every) => format!("every {} s", every.as_secs_f64()),
    };
    let from = match e.first_at.as_nanos() {
        0 => String::new(),
        ns => format!(", from {} s on", ns as f64 / 1e9),
    };
    format!("asks command {command}{what} of {} {often}{from}", asked(e, plan))
}

/// A fault, such as `from 20 s to 40 s 25 % of the answers lose 3 octets in a row`.
fn fault(f: &WireFault) -> String {
    let s = |t: crate::time::Instant| t.as_nanos() as f64 / 1e9;
    let when = match (f.from.as_nanos(), f.until) {
        (0, None) => "always".to_owned(),
        (_, None) => format!("from {} s on", s(f.from)),
        (0, Some(until)) => format!("until {} s", s(until)),
        (_, Some(until)) => format!("from {} s to {} s", s(f.from), s(until)),
    };
    let whom = match f.of {
        FaultOf::All => "transmissions",
        FaultOf::Requests => "requests",
        FaultOf::Answers => "answers",
        FaultOf::Bursts => "burst messages",
    };
    let whom = if f.share >= 1.0 {
        format!("all {whom}")
    } else {
        format!("{} % of the {whom}", (f.share * 1e6).round() / 1e4)
    };
    let octets = |n: u16| plural(n.into(), "octet");
    match f.kind {
        FaultKind::BitErrors { rate } => {
            format!("{when} {whom} get wrong bits, each with probability {rate}")
        }
        FaultKind::LostOctets { count } => format!("{when} {whom} lose {} in a row", octets(count)),
        FaultKind::InsertedOctets { count } => {
            format!("{when} {whom} get {} that nobody sent", octets(count))
        }
        FaultKind::Gap { characters } => format!("{when} {whom} pause for {characters} characters inside"),
        FaultKind::CarrierLost { octets: n } => format!("{when} {whom} lose the carrier for {}", octets(n)),
        FaultKind::ShortPreamble { left } => {
            format!("{when} {whom} are heard with {} at most", plural(left.into(), "preamble"))
        }
        FaultKind::Repeated { after_characters } => {
            format!("{when} {whom} come twice, {after_characters} characters apart")
        }
        FaultKind::Noise { every, octets: most } => {
            let longest = if most == 1 { String::new() } else { "1 to ".to_owned() };
            format!("{when} noise, {longest}{}, every {} s on average", octets(most), every.as_secs_f64())
        }
    }
}

/// The masters of a plan.
pub fn masters_json(plan: &BenchPlan) -> Json {
    let asks = |e: &Errand| {
        json!({
            "device": asked(e, plan), "command": e.frame.command(), "every_s": e.every.map(|d| d.as_secs_f64()),
            "from_s": e.first_at.as_nanos() as f64 / 1e9,
        })
    };
    let master = |m: &crate::bench::MasterPlan| {
        json!({
            "role": m.config.role.name(), "asks": m.errands.iter().map(asks).collect::<Vec<_>>(),
            "faults": m.faults.iter().map(|f| f.name()).collect::<Vec<_>>(),
        })
    };
    plan.masters.iter().map(master).collect()
}

/// The faults of a plan, in words.
pub fn faults_json(plan: &BenchPlan) -> Json {
    plan.wire_faults.iter().map(fault).collect()
}

/// What passed, and what became of the masters' requests.
pub fn ended_text(bench: &Bench, out: &mut String) {
    let t = bench.traffic();
    let _ = write!(out, "On the wires: {} sent", plural(t.sent as usize, "octet"));
    if t.made > 0 {
        let _ = write!(out, ", {} made by faults", t.made);
    }
    let _ = writeln!(
        out,
        "; {} heard, {} of them spoilt by others, {} not heard.",
        t.heard,
        t.spoilt,
        t.silenced + t.covered
    );
    for (plan, master) in bench.plan().masters.iter().zip(bench.masters()) {
        let tally = master.tally();
        let _ = write!(
            out,
            "The {} master: {}, {} answered, {} unanswered, {} without a turn; {}.",
            plan.config.role,
            plural(tally.asked as usize, "request"),
            tally.answered,
            tally.unanswered,
            tally.no_turn,
            plural(tally.retries as usize, "retry")
        );
        if let Some(v) = master.stopped() {
            let _ = write!(out, " It has stopped: {v}");
        }
        out.push('\n');
    }
}

/// The same for programs.
pub fn ended_json(bench: &Bench) -> Json {
    let t = bench.traffic();
    let masters = bench.plan().masters.iter().zip(bench.masters()).map(|(plan, master)| {
        let tally = master.tally();
        json!({
            "role": plan.config.role.name(), "asked": tally.asked, "answered": tally.answered,
            "unanswered": tally.unanswered, "no_turn": tally.no_turn, "retries": tally.retries,
            "stopped": master.stopped().map(ToString::to_string),
        })
    });
    json!({
        "ended": true,
        "octets": {
            "sent": t.sent, "made": t.made, "heard": t.heard, "spoilt": t.spoilt, "silenced": t.silenced,
            "covered": t.covered,
        },
        "masters": masters.collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::check;
    use crate::device::BurstTrigger;
    use std::path::Path;

    #[test]
    fn masters_and_faults_in_words() {
        let text = include_str!("../../fixtures/benches/two-masters-noise.toml");
        let plan = check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        let mut out = String::new();
        wires_text(&plan, &mut out);
        for line in [
            "  FV-3104: it begins up to 20 ms late, at wire pace",
            "  primary    asks command 3, read dynamic variables and loop current, of FV-3104 every 1 s",
            "             its clock is fast by 200 parts per million",
            "  secondary  asks command 0, read unique identifier, of polling address 0 every 10 s",
            "             asks command 48, read additional device status, of FV-3104 every 2 s, from 0.5 s on",
            "  from 20 s to 40 s 25 % of the answers lose 3 octets in a row",
            "  from 20 s to 40 s noise, 1 to 5 octets, every 4 s on average",
        ] {
            assert!(out.lines().any(|l| l == line), "{line:?} is missing in\n{out}");
        }
        assert!(out.lines().all(|l| l.chars().count() <= 100), "{out}");
    }

    /// A period that a trigger may lengthen has two ends, and the trigger is told.
    #[test]
    fn bursts_in_words() {
        let told = |mode: u8, level: Option<f32>| {
            let message = BurstMessage { command: 3, update_period: 500 * 32, ..BurstMessage::default() };
            let message = BurstMessage { maximum_update_period: 16_000 * 32, ..message };
            let trigger = match level {
                Some(level) => message
                    .trigger_at(crate::device::KindName::Positioner, mode, level)
                    .expect("PV is compared"),
                None if mode == 0 => BurstTrigger::CONTINUOUS,
                None => BurstTrigger::ON_CHANGE,
            };
            often(&BurstMessage { trigger, ..message })
        };
        assert_eq!(told(0, None), " every 0.5 s");
        assert_eq!(told(1, Some(2.0)), " every 0.5 to 16 s, window 2 %");
        assert_eq!(told(2, Some(50.5)), " every 0.5 to 16 s, rising above 50.5 %");
        assert_eq!(told(3, Some(-1.0)), " every 0.5 to 16 s, falling below -1 %");
        assert_eq!(told(4, None), " every 0.5 to 16 s, on change");
    }

    #[test]
    fn every_kind_of_fault_in_words() {
        let words =
            |kind| fault(&WireFault { share: 0.29, of: FaultOf::Requests, ..WireFault::always(kind) });
        assert_eq!(
            words(FaultKind::Gap { characters: 1.5 }),
            "always 29 % of the requests pause for 1.5 characters inside"
        );
        let all = [
            FaultKind::BitErrors { rate: 0.01 },
            FaultKind::InsertedOctets { count: 1 },
            FaultKind::CarrierLost { octets: 2 },
            FaultKind::ShortPreamble { left: 1 },
            FaultKind::Repeated { after_characters: 3.0 },
            FaultKind::Noise { every: Duration::from_millis(500), octets: 1 },
        ];
        let has = [
            "0.01",
            "1 octet that",
            "2 octets",
            "1 preamble at",
            "3 characters apart",
            "1 octet, every 0.5 s",
        ];
        for (kind, part) in all.into_iter().zip(has) {
            assert!(words(kind).contains(part), "{}", words(kind));
        }
    }
}
