//! A loop's verdict: text, JSON, HTML with plots, and tables of sweeps and tolerances.

mod html;
mod json;
mod noise;
mod text;

pub use html::html;
pub use json::json;
pub use text::text;

use super::table::Table;
use crate::wiring::{Analysis, Check, Circuit, Kind, Knob, PartKind, Samples, Source, Spread, judge_briefly};

/// What is shown wherever a loop is judged, before anybody touches it.
pub const CAUTIONS: [&str; 3] = [
    "Before a cabinet is opened or a wire taken off: the valve goes to its fail position when the current stops. \
     Loop in manual, process and people clear of it, permits and local rules followed.",
    "Hazardous areas: entity parameters and certificates are not judged here; the site's rules and licensed \
     people decide. Every change to the loop (volts, resistor, cable, filter) changes them.",
    "Computed from the sheet, not measured. Measure the volts at the device before you trust them.",
];

/// Everything that is to be reported of one loop.
pub struct WiringReport<'a> {
    /// The loop.
    pub circuit: &'a Circuit,
    /// Its verdict.
    pub judged: &'a crate::wiring::Judged,
    /// The worst corner, if asked for.
    pub corner: Option<&'a [Spread]>,
    /// Samples by chance, if asked for.
    pub samples: Option<&'a Samples>,
}

/// A number with so many digits behind the point as make three or four figures.
pub(super) fn figures(x: f64) -> String {
    let size = x.abs();
    let digits = match size {
        s if !s.is_finite() => return "-".into(),
        s if s >= 1000.0 => 0,
        s if s >= 100.0 => 1,
        s if s >= 1.0 => 2,
        _ => 3,
    };
    let text = format!("{x:.digits$}");
    if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) { "0".into() } else { text }
}

/// A value of a check with the unit in which people read it.
fn with_unit(x: f64, kind: Kind, unit: &str) -> String {
    match (unit, kind) {
        ("V", Kind::Level | Kind::LevelHigh) => format!("{:.0} mV", x * 1e3),
        ("s", _) => format!("{} \u{b5}s", figures(x * 1e6)),
        ("A", _) => format!("{} mA", figures(x * 1e3)),
        ("share", _) => noise::percent(x),
        ("", _) => format!("{x:.0}"),
        ("ohm", _) => format!("{x:.0} ohm"),
        _ => format!("{} {unit}", figures(x)),
    }
}

/// Value and limit of a check in words.
pub(super) fn against(check: &Check) -> String {
    let word = if check.is_least { "at least" } else { "at most" };
    let value = with_unit(check.value, check.kind, check.unit);
    let limit = with_unit(check.limit, check.kind, check.unit);
    match check.kind {
        Kind::Polarity if check.holds() => "yes".into(),
        Kind::Polarity => "no".into(),
        Kind::SecondResistor => value,
        _ => {
            let margin = with_unit(check.margin().abs(), check.kind, check.unit);
            let left = match (check.holds(), check.is_least) {
                (true, _) => "to spare",
                (false, true) => "short",
                (false, false) => "too much",
            };
            format!("{value}, {word} {limit}: {margin} {left}")
        }
    }
}

/// What is left to do after a remedy.
fn then(still: &[Kind]) -> String {
    if still.is_empty() {
        return "then nothing fails".to_owned();
    }
    let names: Vec<&str> = still.iter().map(|k| k.short()).collect();
    format!("then still wrong: {}", names.join(", "))
}

/// How long the longest cable may become: name and rows of length and limit.
fn lengths(report: &WiringReport) -> Option<(String, Vec<[String; 2]>)> {
    let lengths = report.judged.lengths.as_ref()?;
    let name = report.circuit.parts[lengths.part].name.clone();
    let metres = |m: f64| if m >= 20_000.0 { "more than 20 km".to_owned() } else { format!("{m:.0} m") };
    let mut rows: Vec<[String; 2]> = lengths
        .limits
        .iter()
        .map(|l| [l.most_m.map_or("not even 0 m".to_owned(), metres), l.kind.title().to_owned()])
        .collect();
    let room = if lengths.formula_m < 0.0 { "no room".to_owned() } else { metres(lengths.formula_m) };
    rows.push([room, "by the handbooks' formula, at this resistance [WI-07]".to_owned()]);
    Some((format!("How long {name} may become (now {} m)", figures(lengths.length_m)), rows))
}

/// Of every kind the check that is nearest to its limit, with how many there are of it.
pub(super) fn worst_of_each(checks: &[Check]) -> Vec<(&Check, usize)> {
    let mut out: Vec<(&Check, usize)> = Vec::new();
    for check in checks {
        // A device that talks and one that listens are two matters.
        let same = |c: &Check| c.kind == check.kind && to_master(c) == to_master(check);
        match out.iter_mut().find(|(c, _)| same(c)) {
            Some((worst, n)) => {
                *n += 1;
                if check.margin() < worst.margin() {
                    *worst = check;
                }
            }
            None => out.push((check, 1)),
        }
    }
    out
}

fn to_master(check: &Check) -> bool {
    check.subject.starts_with("master to ")
}

/// The loop in one line: what feeds it, and what one meets on the way.
fn way(circuit: &Circuit) -> Vec<String> {
    let mut out = vec![match circuit.source {
        Source::Supply { voltage_v, resistor_ohm, .. } => {
            format!("supply {voltage_v} V, resistor {resistor_ohm} ohm")
        }
        Source::Card { compliance_v, impedance_ohm, filter_ohm, .. } => {
            let filter = if filter_ohm > 0.0 { format!(", filter {filter_ohm} ohm") } else { String::new() };
            format!("card up to {compliance_v} V, {impedance_ohm} ohm at the tones{filter}")
        }
    }];
    for (n, part) in circuit.parts.iter().enumerate() {
        let from =
            if part.from == n { String::new() } else { format!(" (from {})", circuit.places[part.from]) };
        let turned = if part.is_reversed { ", wires change places" } else { "" };
        out.push(match &part.kind {
            PartKind::Cable(c) => format!(
                "{}{from}: {} m, {} mm\u{b2}, {} ohm at {} \u{b0}C, {} nF{turned}",
                part.name,
                figures(c.length_m),
                figures(c.cross_section_mm2),
                figures(c.resistance_ohm()),
                c.temperature_c,
                figures(c.capacitance_f() * 1e9)
            ),
            PartKind::Series(s) => {
                let drop = if s.drop_v > 0.0 { format!(" and {} V", s.drop_v) } else { String::new() };
                let blocks = if s.passes_signal { "" } else { ", the signal does not pass" };
                format!("{}{from}: {} ohm{drop}{blocks}{turned}", part.name, figures(s.resistance_ohm))
            }
        });
    }
    for shunt in &circuit.shunts {
        let ohm = shunt.resistance_ohm.map_or(String::new(), |r| format!(" {} ohm", figures(r)));
        let nf = if shunt.capacitance_f > 0.0 {
            format!(" {} nF", figures(shunt.capacitance_f * 1e9))
        } else {
            String::new()
        };
        out.push(format!("{} across the wires at {}:{ohm}{nf}", shunt.name, circuit.places[shunt.at]));
    }
    out
}

/// Ohm that may still be added in the wires at a current.
fn series_ohm_left(row: &crate::wiring::DcRow) -> f64 {
    row.margin_after_peak_v / row.source_current_a
}

/// A sweep: what becomes of the loop as one number takes one value after the other.
pub fn sweep(circuit: &Circuit, knob: &Knob, name: &str, values: &[f64]) -> Table {
    let mut columns = vec![
        "value",
        "unit",
        "volts_left_v",
        "fails_above_ma",
        "level_mv",
        "level_difference_db",
        "rc_us",
        "verdict",
    ];
    // A sheet without noise keeps the columns that it had.
    let has_noise = circuit.has_noise();
    if has_noise {
        columns.insert(columns.len() - 1, "damaged_percent");
    }
    let mut table = Table::new(format!("sweep of {name}"), &columns);
    for &value in values {
        let mut changed = circuit.clone();
        knob.set(&mut changed, value);
        let judged = judge_briefly(&changed);
        let mut row = sweep_row(value, knob.unit(), &judged);
        if has_noise {
            let all = judged.checks.iter().filter(|c| c.kind == Kind::Noise);
            let most = all.map(|c| c.value).fold(0.0, f64::max);
            row.insert(row.len() - 1, format!("{:.3}", most * 100.0));
        }
        table.row(row);
    }
    table
}

fn sweep_row(value: f64, unit: &str, judged: &crate::wiring::Judged) -> Vec<String> {
    let least = |kind: Kind, of: fn(&Check) -> f64| {
        let all = judged.checks.iter().filter(|c| c.kind == kind).map(of);
        all.fold(f64::INFINITY, f64::min)
    };
    let volts = least(Kind::Volts, Check::margin).min(least(Kind::VoltsBeyond, Check::margin));
    let failing: Vec<&str> = {
        let mut list: Vec<&str> =
            judged.checks.iter().filter(|c| c.is_bad()).map(|c| c.kind.slug()).collect();
        list.dedup();
        list
    };
    let above = match judged.works_a {
        Some((_, a)) if a < crate::wiring::dc::MOST_A => format!("{:.2}", a * 1e3),
        _ => String::new(),
    };
    vec![
        format!("{value}"),
        unit.to_owned(),
        format!("{volts:.3}"),
        above,
        format!("{:.1}", least(Kind::Level, |c| c.value) * 1e3),
        format!("{:.2}", -least(Kind::Twist, |c| -c.value)),
        format!("{:.2}", judged.analysis.rc.seconds() * 1e6),
        if failing.is_empty() { "good".to_owned() } else { format!("fails: {}", failing.join(" ")) },
    ]
}

/// Corner and samples as a table.
pub fn tolerance(corner: &[Spread], samples: &Samples) -> Table {
    let columns =
        ["check", "unit", "worst_corner", "least_sample", "one_in_100_below", "middle", "failed_samples"];
    let title = format!("margins over {} samples, seed {}", samples.count, samples.seed);
    let mut table = Table::new(title, &columns);
    for spread in &samples.spreads {
        let worst = corner.iter().find(|c| c.kind == spread.kind).map_or(f64::NAN, |c| c.least);
        let (k, unit) = scale(spread.kind, spread.unit);
        table.row([
            spread.kind.slug().to_owned(),
            unit.to_owned(),
            figures(worst * k),
            figures(spread.least * k),
            figures(spread.one_percent * k),
            figures(spread.median * k),
            spread.failed.to_string(),
        ]);
    }
    table
}

fn scale(kind: Kind, unit: &'static str) -> (f64, &'static str) {
    match (kind, unit) {
        (Kind::Level | Kind::LevelHigh, "V") => (1e3, "mV"),
        (_, "s") => (1e6, "\u{b5}s"),
        (_, "A") => (1e3, "mA"),
        (_, "share") => (100.0, "%"),
        _ => (1.0, unit),
    }
}

/// The checks as a table, for spreadsheets.
pub fn checks_table(checks: &[Check]) -> Table {
    let columns = ["check", "subject", "holds", "value", "limit", "margin", "unit", "limit_from", "remedies"];
    let mut table = Table::new("checks", &columns);
    for c in checks {
        let remedies: Vec<&str> = c.remedies.iter().map(|r| r.text.as_str()).collect();
        table.row([
            c.kind.slug().to_owned(),
            c.subject.clone(),
            if c.holds() {
                "yes".to_owned()
            } else if c.is_bad() {
                "no".to_owned()
            } else {
                "advice".to_owned()
            },
            format!("{}", c.value),
            format!("{}", c.limit),
            format!("{}", c.margin()),
            c.unit.to_owned(),
            c.source.to_owned(),
            remedies.join("; "),
        ]);
    }
    table
}

/// Names in the order of the checks for tests and plots: whose volts are plotted.
fn plotted_device(circuit: &Circuit, analysis: &Analysis) -> usize {
    let rows = &analysis.dc;
    let margin = |n: &usize| rows.iter().map(|r| r.devices[*n].margin_v()).fold(f64::INFINITY, f64::min);
    (0..circuit.devices.len()).min_by(|a, b| margin(a).total_cmp(&margin(b))).unwrap_or(0)
}
