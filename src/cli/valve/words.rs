//! What is said about a computed valve.

use crate::bench::ValvePlan;
use crate::exchange::json::write_string;
use crate::plant::actuator::{Action, Pushes};
use crate::plant::stage::StageKind;
use crate::plant::transmission::Transmission;
use crate::report::text::write_wrapped;
use crate::wiring::digits;
use core::fmt::Write;

/// Shown below every result: who has read it goes to a real valve.
const CAUTIONS: [&str; 2] = [
    "Computed, not measured: no real valve was moved, and a real one may do otherwise.",
    "Before a real valve is stroked, tripped or its air shut off: it moves with full force and without warning. Loop in \
     manual, process and people clear of it, permits and local rules followed; springs and trapped air keep their force \
     after the air is off.",
];

/// Who drives the output stage.
fn by(title: &str, open_loop: bool) -> &'static str {
    match open_loop || title.starts_with("full stroke") {
        true => "without a controller",
        false => "a plain follower with a dead band holds the set point: no positioner",
    }
}

/// The valve in a line or two, and who drives it.
pub fn about(valve: &ValvePlan, open_loop: bool, title: &str) -> Vec<String> {
    let c = &valve.config;
    let action = match c.actuator.action {
        Action::AirOpens => "air opens, spring closes",
        Action::AirCloses => "air closes, spring opens",
        Action::Double => "air on both sides",
    };
    let way = match c.moving.transmission {
        Transmission::Stem => format!("{} mm", round(c.moving.stroke_m * 1e3)),
        Transmission::Rack { .. } => {
            format!("part-turn {}\u{b0} (rack)", round(c.open_m_or_rad().to_degrees()))
        }
        Transmission::Yoke { .. } => {
            format!("part-turn {}\u{b0} (yoke)", round(c.open_m_or_rad().to_degrees()))
        }
    };
    let first = &c.actuator.chambers[0];
    let spring = c.actuator.spring.map_or("no spring".to_owned(), |s| {
        let area = if c.actuator.action == Action::Double && s.pushes == Pushes::Open {
            c.actuator.chambers[1].area_m2
        } else {
            first.area_m2
        };
        let bar = |n: f64| round(n / area / 1e5);
        let top_n = s.preload_n + s.rate_n_per_m * c.moving.stroke_m;
        format!("spring {} to {} bar g", bar(s.preload_n), bar(top_n))
    });
    let rest = match c.stage.kind {
        StageKind::BlockedAtRest { .. } => "outputs blocked at rest",
        StageKind::PressurisedAtRest { .. } => "outputs under pressure at rest",
    };
    let supply = c.supply.at_rest_gauge_pa() / 1e5;
    let mut out = vec![
        format!("Computed valve: {action}, {way}, {} cm\u{b2}, {spring}", round(first.area_m2 * 1e4)),
        format!("supply {} bar g, friction {} N, {rest}", round(supply), round(c.moving.friction.coulomb_n)),
    ];
    out.push(by(title, open_loop).to_owned());
    if !valve.is_described {
        out.push("(the bench file says nothing of it: this is the reference actuator)".to_owned());
    }
    out
}

/// With as many digits as a person would write.
fn round(x: f64) -> String {
    digits(x, if x.abs() >= 100.0 { 0 } else { 2 })
}

/// What stands above the findings.
pub fn head(name: &str, title: &str, valve: &ValvePlan, open_loop: bool, seed: u64, out: &mut String) {
    write_wrapped(&format!("{name}: {title}"), 2, out);
    for line in about(valve, open_loop, title) {
        write_wrapped(&format!("  {line}"), 4, out);
    }
    write_wrapped(&format!("  seed {seed}"), 4, out);
    for fault in &valve.faults {
        let when = match (fault.from, fault.until) {
            (None, None) => String::new(),
            (Some(from), None) => format!(" from {} s on", from.as_secs_f64()),
            (None, Some(until)) => format!(" until {} s", until.as_secs_f64()),
            (Some(from), Some(until)) => format!(" from {} to {} s", from.as_secs_f64(), until.as_secs_f64()),
        };
        let (name, severity) = (fault.name.words(), fault.severity);
        write_wrapped(
            &format!(
                "  fault: {name}, severity {severity}{when} (at 0.3, 0.6 and 1: {})",
                fault.name.meaning()
            ),
            4,
            out,
        );
    }
    out.push('\n');
}

/// The same for programs: one object.
pub fn head_json(name: &str, title: &str, valve: &ValvePlan, seed: u64, out: &mut String) {
    out.push_str("{\"valve\":");
    write_string(name, out);
    out.push_str(",\"run\":");
    write_string(title, out);
    let _ =
        write!(out, ",\"computed\":true,\"described\":{},\"seed\":{seed},\"faults\":[", valve.is_described);
    for (n, fault) in valve.faults.iter().enumerate() {
        let comma = if n > 0 { "," } else { "" };
        let _ = write!(out, "{comma}{{\"name\":\"{}\",\"severity\":{}", fault.name.word(), fault.severity);
        for (key, at) in [("from_s", fault.from), ("until_s", fault.until)] {
            if let Some(at) = at {
                let _ = write!(out, ",\"{key}\":{}", at.as_secs_f64());
            }
        }
        out.push('}');
    }
    out.push_str("]}\n");
}

/// What is to be thought of before anybody does the same to a real valve.
pub fn cautions(out: &mut String) {
    out.push('\n');
    for caution in CAUTIONS {
        write_wrapped(&format!("! {caution}"), 2, out);
    }
}
