//! A fault matrix as text, which is a page of Markdown, as JSON and as CSV.

use super::{Fail, FaultMatrix, Reasons, Row};
use crate::device::Consequences;
use crate::report::Format;
use crate::report::table::Table;
use crate::report::text::plural;
use core::fmt::Write;
use serde_json::json;

const NO_REASON: &str = "no reason is stated";

/// Appends the matrix.
pub fn write(matrix: &FaultMatrix, reasons: &Reasons, format: Format, out: &mut String) {
    match format {
        Format::Text => page(matrix, reasons, out),
        Format::Json => {
            let _ = writeln!(out, "{}", object(matrix, reasons));
        }
        Format::Csv => rows(matrix, out),
    }
}

fn names(matrix: &FaultMatrix, devices: &[usize]) -> String {
    devices
        .iter()
        .filter_map(|&d| matrix.devices.get(d))
        .map(|d| d.name.as_str())
        .collect::<Vec<_>>()
        .join(" ")
}

fn name(matrix: &FaultMatrix, device: usize) -> &str {
    matrix.devices.get(device).map_or("", |d| d.name.as_str())
}

/// The cases that fail on a fault; of those that may fail on it whatever they are for only the number.
fn fails_of(row: &Row) -> String {
    let (named, others): (Vec<&Fail>, Vec<&Fail>) = row.fails.iter().partition(|f| row.shows(f));
    let mut words: Vec<String> = named.iter().map(|f| f.case.id.to_owned()).collect();
    if !row.unidentified.is_empty() {
        words.insert(0, "cannot be identified".to_owned());
    }
    if !others.is_empty() {
        let what = match row.fault.consequences() {
            Consequences::NoAnswer(_) => "that miss an answer",
            _ => "of other requirements",
        };
        words.push(format!("{} {what}", plural(others.len(), "case")));
    }
    if words.is_empty() { "-".to_owned() } else { words.join(", ") }
}

fn page(m: &FaultMatrix, reasons: &Reasons, out: &mut String) {
    let _ = write!(
        out,
        "# The conformance suite on known faults\n\n\
         Made by `looprig conform --matrix`: {}, {}, {}. What a fault violates and what may follow from it stands in \
         faults.md;\nreasons stand in fault-matrix.toml.\n\n",
        plural(m.rows.len(), "fault"),
        plural(m.cases.len(), "case"),
        plural(m.devices.len(), "device"),
    );
    for d in &m.devices {
        let part = if d.is_general() { "" } else { ", for some cases only" };
        let _ = writeln!(out, "- {}: {}{part}", d.name, d.words);
    }
    let _ = writeln!(
        out,
        "\n## Cases that fail on each fault\n\n| fault | violates | cases that fail |\n|---|---|---|"
    );
    for row in &m.rows {
        let fails = fails_of(row);
        let _ = writeln!(out, "| {} | [{}] | {fails} |", row.fault.name(), row.fault.violates());
    }
    list(
        out,
        "Devices that fail without a fault",
        m.healthy.iter().map(|(d, what)| format!("{}: {what}", name(m, *d))),
    );
    let unexplained = m.rows.iter().flat_map(|r| r.unexplained().map(move |f| (r, f)));
    list(
        out,
        "Fails that their fault does not explain",
        unexplained.map(|(r, f)| {
            let (id, on) = (f.case.id, names(m, &f.on));
            let cites = f.case.requirement;
            let (fault, expected, observed) = (r.fault.name(), &f.expected, &f.observed);
            format!("{fault}: {id} [{cites}] on {on}: expected {expected}; observed {observed}")
        }),
    );
    let unidentified = |r: &Row| {
        let (devices, why): (Vec<usize>, Vec<&String>) = r.unidentified.iter().map(|(d, w)| (*d, w)).unzip();
        let name = r.fault.name();
        why.first().map(|why| format!("{name} on {}: {why}", names(m, &devices)))
    };
    list(out, "Faults with which a device cannot be identified", m.rows.iter().filter_map(unidentified));
    let spoilt = |r: &Row| {
        let (_, id, why) = r.spoilt.first()?;
        let mut cases: Vec<&str> = r.spoilt.iter().map(|s| s.1).collect();
        let mut devices: Vec<usize> = r.spoilt.iter().map(|s| s.0).collect();
        cases.sort_unstable();
        cases.dedup();
        devices.sort_unstable();
        devices.dedup();
        let (n, on) = (plural(cases.len(), "case"), names(m, &devices));
        Some(format!("{}: {n} on {on}; the first, {id}: {why}", r.fault.name()))
    };
    list(out, "Faults that spoil the bench for some cases", m.rows.iter().filter_map(spoilt));
    let nowhere = m.in_no_device().map(|r| {
        let kind = r.fault.kind().map_or("any", |k| k.words());
        format!("{}: {kind}, revision {}", r.fault.name(), r.fault.revisions())
    });
    list(out, "Faults that are put into no device, for none here can have them", nowhere);
    list(
        out,
        "Faults that nothing finds",
        m.unfound().map(|r| {
            let why = reasons.unfound(r.fault.name()).unwrap_or(NO_REASON);
            format!("{} [{}]: {why}", r.fault.name(), r.fault.violates())
        }),
    );
    if !m.is_whole {
        return;
    }
    list(
        out,
        "Unproven cases: no fault fails them",
        m.unproven().map(|c| {
            format!("{} [{}]: {}", c.id, c.requirement, reasons.unproven(c.id).unwrap_or(NO_REASON))
        }),
    );
    list(
        out,
        "Cases that fail on the same faults",
        m.same().iter().map(|(cases, faults)| {
            let why = reasons.same(cases).unwrap_or(NO_REASON);
            let faults = match faults.as_slice() {
                few if few.len() <= 6 => few.join(", "),
                many => format!("{} and {} more", many[..5].join(", "), many.len() - 5),
            };
            format!("{}; on {faults}: {why}", cases.join(", "))
        }),
    );
}

fn list(out: &mut String, title: &str, items: impl Iterator<Item = String>) {
    let items: Vec<String> = items.collect();
    let _ = writeln!(out, "\n## {title}: {}\n", items.len());
    for item in &items {
        let _ = writeln!(out, "- {item}");
    }
    if items.is_empty() {
        let _ = writeln!(out, "None.");
    }
}

fn object(m: &FaultMatrix, reasons: &Reasons) -> serde_json::Value {
    let devices =
        m.devices.iter().map(|d| json!({ "name": d.name, "is": d.words, "all_cases": d.is_general() }));
    let row = |r: &Row| {
        let fails = r.fails.iter().map(|f| {
            json!({
                "case": f.case.id,
                "requirement": f.case.requirement,
                "devices": f.on.iter().map(|d| name(m, *d)).collect::<Vec<_>>(),
                "explained": r.explains(f),
                "expected": f.expected,
                "observed": f.observed,
            })
        });
        let unidentified = r.unidentified.iter().map(|(d, why)| json!({ "device": name(m, *d), "why": why }));
        let spoilt =
            r.spoilt.iter().map(|(d, id, why)| json!({ "device": name(m, *d), "case": id, "why": why }));
        json!({
            "fault": r.fault.name(),
            "violates": r.fault.violates(),
            "devices": r.devices.iter().map(|d| name(m, *d)).collect::<Vec<_>>(),
            "fails": fails.collect::<Vec<_>>(),
            "cannot_be_identified": unidentified.collect::<Vec<_>>(),
            "not_judged": spoilt.collect::<Vec<_>>(),
        })
    };
    let healthy = m.healthy.iter().map(|(d, what)| json!({ "device": name(m, *d), "what": what }));
    let unfound =
        m.unfound().map(|r| json!({ "fault": r.fault.name(), "reason": reasons.unfound(r.fault.name()) }));
    let nowhere = m.in_no_device().map(|r| r.fault.name());
    let mut object = json!({
        "devices": devices.collect::<Vec<_>>(),
        "cases": m.cases.iter().map(|c| c.id).collect::<Vec<_>>(),
        "faults": m.rows.iter().map(row).collect::<Vec<_>>(),
        "healthy_devices_fail": healthy.collect::<Vec<_>>(),
        "in_no_device": nowhere.collect::<Vec<_>>(),
        "unfound": unfound.collect::<Vec<_>>(),
    });
    if m.is_whole {
        let unproven = m.unproven().map(|c| json!({ "case": c.id, "reason": reasons.unproven(c.id) }));
        let groups = m.same();
        let same = groups.iter().map(
            |(cases, faults)| json!({ "cases": cases, "faults": faults, "reason": reasons.same(cases) }),
        );
        object["unproven"] = unproven.collect::<Vec<_>>().into();
        object["same"] = same.collect::<Vec<_>>().into();
    }
    object
}

/// A line a fail; a fault that fails nothing has one with an empty case.
fn rows(m: &FaultMatrix, out: &mut String) {
    let mut table = Table::new("", &["fault", "violates", "case", "requirement", "devices", "explained"]);
    for r in &m.rows {
        let (fault, violates) = (r.fault.name(), r.fault.violates());
        for f in &r.fails {
            let explained = if r.explains(f) { "yes" } else { "no" };
            table.row([fault, violates, f.case.id, f.case.requirement, &names(m, &f.on), explained]);
        }
        let unidentified: Vec<usize> = r.unidentified.iter().map(|(d, _)| *d).collect();
        if !unidentified.is_empty() {
            table.row([fault, violates, "cannot be identified", "", &names(m, &unidentified), ""]);
        }
        if !r.is_found() {
            table.row([fault, violates, "", "", "", ""]);
        }
    }
    table.write(Format::Csv, out);
}
