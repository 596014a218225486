//! A loop's verdict for people: lines of at most 100 columns.

use super::super::text::write_wrapped;
use super::{
    CAUTIONS, WiringReport, against, figures, lengths, noise, series_ohm_left, then, tolerance, way,
    worst_of_each,
};
use crate::report::Format;
use crate::wiring::{Check, Complex, Kind, PartKind, Source, Station, dc};
use core::fmt::Write;

/// Appends the verdict. `verbosity` 1 shows every check and where its limit is from.
pub fn text(report: &WiringReport, verbosity: u8, colour: bool, quiet: bool, out: &mut String) {
    let WiringReport { circuit, judged, .. } = report;
    if !circuit.title.is_empty() {
        let _ = writeln!(out, "{}", circuit.title);
    }
    for line in way(circuit) {
        write_wrapped(&format!("  {line}"), 6, out);
    }
    let failed = judged.checks.iter().filter(|c| c.is_bad()).count();
    let advice = judged.checks.iter().filter(|c| !c.holds() && !c.is_bad()).count();
    let verdict = match (failed, advice) {
        (0, 0) => "Verdict: this loop carries current and signal.".to_owned(),
        (0, n) => format!("Verdict: this loop carries current and signal; {n} more to look at."),
        (n, _) => format!("Verdict: NOT GOOD. {n} of {} checks fail.", judged.checks.len()),
    };
    let _ = writeln!(out, "\n{}\n", tinted(&verdict, if failed > 0 { "31" } else { "32" }, colour));
    let worst = worst_of_each(&judged.checks);
    let shown: Vec<(&Check, usize)> =
        if verbosity > 0 { judged.checks.iter().map(|c| (c, 1)).collect() } else { worst };
    for (check, n) in shown.iter().filter(|(c, _)| !c.holds()) {
        one_check(check, *n, verbosity, colour, out);
    }
    // What is advice and holds is only counted: nobody on a ladder reads it.
    let is_shown = |c: &Check| verbosity > 0 || c.kind.must_hold();
    for (check, n) in shown.iter().filter(|(c, _)| c.holds() && is_shown(c)) {
        one_check(check, *n, verbosity, colour, out);
    }
    let more = judged.checks.iter().filter(|c| c.holds() && !is_shown(c)).count();
    if more > 0 {
        let _ = writeln!(out, "{}  and {more} more (-v shows them)", tinted("ok  ", "32", colour));
    }
    together(report, out);
    direct_current(report, out);
    signal(report, verbosity, out);
    noise_table(report, verbosity, out);
    room_left(report, out);
    if let (Some(corner), Some(samples)) = (report.corner, report.samples) {
        out.push('\n');
        tolerance(corner, samples).write(Format::Text, out);
        let _ = writeln!(
            out,
            "{} of {} samples fail a check that must hold (seed {}).",
            samples.failed, samples.count, samples.seed
        );
    }
    if !quiet {
        out.push('\n');
        for caution in CAUTIONS {
            write_wrapped(&format!("! {caution}"), 2, out);
        }
    }
}

/// A number, or nought where it would be shown as minus nought.
fn unsigned_nought(x: f64, shown_from: f64) -> f64 {
    if x.abs() < shown_from { 0.0 } else { x }
}

fn tinted(text: &str, code: &str, colour: bool) -> String {
    if colour { format!("\x1b[{code}m{text}\x1b[0m") } else { text.to_owned() }
}

fn one_check(check: &Check, n: usize, verbosity: u8, colour: bool, out: &mut String) {
    let (word, code) = match check {
        c if c.holds() => ("ok  ", "32"),
        c if c.is_bad() => ("FAIL", "31"),
        _ => ("look", "33"),
    };
    let of = if n > 1 { format!(" (worst of {n})") } else { String::new() };
    let start = out.len();
    write_wrapped(
        &format!("{word}  {}: {}{of}: {}", check.kind.title(), check.subject, against(check)),
        6,
        out,
    );
    // The colour goes in last: escapes have no width.
    out.replace_range(start..start + word.len(), &tinted(word, code, colour));
    if !check.holds() {
        write_wrapped(&format!("      {}", check.meaning), 6, out);
    }
    if !check.holds() || verbosity > 0 {
        write_wrapped(&format!("      limit: {}", check.source), 6, out);
    }
    if check.holds() {
        return;
    }
    match check.remedies.len() {
        0 => out.push_str("      no single change within reason was found that helps\n"),
        1 => out.push_str("      what helps:\n"),
        _ => out.push_str("      what helps, least change first; one of:\n"),
    }
    for remedy in &check.remedies {
        let then = then(&remedy.still);
        write_wrapped(&format!("      - {}; {then}", remedy.text), 8, out);
    }
}

/// What puts everything right, where more than one change is needed.
fn together(report: &WiringReport, out: &mut String) {
    let steps = &report.judged.together;
    if steps.len() < 2 {
        return;
    }
    out.push_str("\nAll of it together, one way:\n");
    for (n, step) in steps.iter().enumerate() {
        write_wrapped(&format!("  {}. {step}", n + 1), 5, out);
    }
    if report.judged.together_suffices {
        out.push_str("  Then every check that must hold does.\n");
    } else {
        out.push_str("  Even then something fails: this loop needs another design.\n");
    }
}

fn direct_current(report: &WiringReport, out: &mut String) {
    let WiringReport { circuit, judged, .. } = report;
    let is_card = circuit.source.is_card();
    out.push_str(if is_card {
        "\nDirect current: what the card has to give (peak V: the top of the signal, which comes on top)\n"
    } else {
        "\nDirect current: volts between the device's terminals (peak V: the signal's dips take so much off)\n"
    });
    let peak = |n: usize| figures(judged.analysis.peaks_v.get(n).copied().unwrap_or(0.0));
    if is_card {
        out.push_str("     mA   device V    mW   card gives V   peak V   left V   ohm that may be added\n");
        for row in &judged.analysis.dc {
            let d = row.devices[0];
            let _ = writeln!(
                out,
                "{:>7}{:>11}{:>6}{:>15}{:>9}{:>9}{:>25}",
                figures(row.current_a * 1e3),
                figures(d.volts_v),
                figures(d.power_w * 1e3),
                figures(row.card_needs_v.unwrap_or(0.0)),
                peak(0),
                figures(row.margin_after_peak_v),
                figures(series_ohm_left(row))
            );
        }
    } else if circuit.follows() {
        out.push_str(
            "     mA   device          volts V   mW      peak V   needs V   left V   ohm that may be added\n",
        );
        for row in &judged.analysis.dc {
            let worst =
                row.devices.iter().enumerate().min_by(|a, b| a.1.margin_v().total_cmp(&b.1.margin_v()));
            let Some((n, d)) = worst else { continue };
            let tag: String = circuit.devices[n].tag.chars().take(14).collect();
            let _ = writeln!(
                out,
                "{:>7}   {tag:<14}{:>9}{:>7}{:>9}{:>10}{:>9}{:>25}",
                figures(row.current_a * 1e3),
                figures(d.volts_v),
                figures(d.power_w * 1e3),
                figures(d.peak_v),
                figures(d.needs_v),
                figures(d.margin_v()),
                figures(series_ohm_left(row))
            );
        }
    } else {
        out.push_str("     mA   device               volts V   mW      peak V   needs V   left V\n");
        for row in &judged.analysis.dc {
            for (device, d) in circuit.devices.iter().zip(&row.devices) {
                let tag: String = device.tag.chars().take(19).collect();
                let _ = writeln!(
                    out,
                    "{:>7}   {tag:<19}{:>9}{:>7}{:>9}{:>10}{:>9}",
                    figures(d.current_a * 1e3),
                    figures(d.volts_v),
                    figures(d.power_w * 1e3),
                    figures(d.peak_v),
                    figures(d.needs_v),
                    figures(d.margin_v())
                );
            }
        }
        return;
    }
    let line = match judged.works_a {
        None => "At no current is there enough.".to_owned(),
        Some((low, high)) => {
            let below =
                if low > dc::LEAST_A { format!("Fails below {:.2} mA. ", low * 1e3) } else { String::new() };
            let above = if high < dc::MOST_A {
                format!("Fails above {:.2} mA.", high * 1e3)
            } else {
                "Does not fail up to 100 mA.".to_owned()
            };
            below + &above
        }
    };
    let _ = writeln!(out, "{line}");
}

fn signal(report: &WiringReport, verbosity: u8, out: &mut String) {
    let WiringReport { circuit, judged, .. } = report;
    let [low, high] = judged.analysis.tones.as_slice() else { return };
    out.push_str("\nSignal, mV peak to peak\n");
    out.push_str("from           to                              1200 Hz   2200 Hz  2200 to 1200 Hz  2200 Hz later by\n");
    let row = |from: &str, to: &str, a: Complex, b: Complex, out: &mut String| {
        let db = 20.0 * (b.abs() / a.abs()).log10();
        let omega = [low.hz, high.hz].map(|hz| hz * core::f64::consts::TAU);
        let us = (-b.arg() / omega[1] + a.arg() / omega[0]) * 1e6;
        let short = |s: &str, n: usize| s.chars().take(n).collect::<String>();
        let (mv_low, mv_high) = (a.abs() * 1e3, b.abs() * 1e3);
        let _ = write!(out, "{:<15}{:<29}{mv_low:>10.1}{mv_high:>10.1}", short(from, 14), short(to, 28));
        let _ = match db.is_finite() {
            true => {
                let (db, us) = (unsigned_nought(db, 0.005), unsigned_nought(us, 0.05));
                writeln!(out, "{db:>14.2} dB{us:>15.1} \u{b5}s")
            }
            // Where nothing arrives there is nothing to compare.
            false => writeln!(out, "{:>17}{:>18}", "-", "-"),
        };
    };
    let few = verbosity > 0 || circuit.devices.len() <= 4;
    let weakest = |t: &&crate::wiring::Transmission, to: Station| t.at(circuit, to).abs();
    if !few {
        // Of many devices the one that is heard worst, and the one that hears worst.
        let to = circuit.receivers(Station::Device(0))[0];
        let devices = high.transmissions.iter().enumerate().filter(|(_, t)| t.by != Station::Master);
        if let Some((n, h)) = devices.min_by(|a, b| weakest(&a.1, to).total_cmp(&weakest(&b.1, to))) {
            let l = &low.transmissions[n];
            row(
                &circuit.station_name(h.by),
                &circuit.station_name(to),
                l.at(circuit, to),
                h.at(circuit, to),
                out,
            );
        }
        let master = high.transmissions.iter().enumerate().find(|(_, t)| t.by == Station::Master);
        if let Some((n, h)) = master {
            let (l, all) = (&low.transmissions[n], circuit.receivers(Station::Master));
            if let Some(&to) = all.iter().min_by(|a, b| weakest(&h, **a).total_cmp(&weakest(&h, **b))) {
                row("master", &circuit.station_name(to), l.at(circuit, to), h.at(circuit, to), out);
            }
        }
        out.push_str("The weakest of each direction; -v shows all.\n");
    }
    let mut row = |from: &str, to: &str, a, b| row(from, to, a, b, out);
    for (l, h) in low.transmissions.iter().zip(&high.transmissions).filter(|_| few) {
        let from = circuit.station_name(l.by);
        let receivers = circuit.receivers(l.by);
        for &to in &receivers {
            row(&from, &circuit.station_name(to), l.at(circuit, to), h.at(circuit, to));
        }
        if verbosity > 0 || circuit.devices.len() == 1 {
            if !receivers.contains(&Station::SourceEnd) && l.by != Station::Master {
                row(&from, &circuit.station_name(Station::SourceEnd), l.source_end, h.source_end);
            }
            for (n, place) in circuit.places.iter().enumerate() {
                row(&from, &format!("at {place}"), l.places[n], h.places[n]);
            }
        }
    }
    if circuit.master.is_none() {
        out.push_str("The sheet has no [master]: whether the devices hear one is not judged.\n");
    }
    let rc = judged.analysis.rc;
    let _ = writeln!(
        out,
        "Resistance {} ohm x capacitance {} nF = {} \u{b5}s (rule: at most 65).",
        figures(rc.resistance_ohm),
        figures(rc.capacitance_f * 1e9),
        figures(rc.seconds() * 1e6)
    );
}

fn noise_table(report: &WiringReport, verbosity: u8, out: &mut String) {
    let mut rows = noise::rows(report);
    if rows.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n{}", noise::title(&rows));
    out.push_str(
        "from           to                       noise mV rms  Eb/N0 dB   bits wrong  messages damaged\n",
    );
    let is_short = verbosity == 0 && report.circuit.devices.len() > 4;
    if is_short {
        // The worst alone.
        rows.sort_by(|a, b| b.reception.bit_error_rate().total_cmp(&a.reception.bit_error_rate()));
        rows.truncate(1);
    }
    let short = |s: &str, n: usize| s.chars().take(n).collect::<String>();
    for row in &rows {
        let [mv, db, bits, messages] = row.cells();
        let (from, to) = (short(&row.from, 14), short(&row.to, 22));
        let _ = writeln!(out, "{from:<15}{to:<23}{mv:>14}{db:>10}{bits:>13}{messages:>18}");
    }
    if is_short {
        out.push_str("The worst reception; -v shows all.\n");
    }
    let _ = writeln!(out, "{}", noise::GIVEN);
}

fn room_left(report: &WiringReport, out: &mut String) {
    let WiringReport { circuit, judged, .. } = report;
    let (Some((title, rows)), Some(found)) = (lengths(report), &judged.lengths) else { return };
    let part = &circuit.parts[found.part];
    let _ = writeln!(out, "\n{title}");
    for [most, limit] in rows {
        let _ = writeln!(out, "  {most:>16}   {limit}");
    }
    if let PartKind::Cable(c) = &part.kind {
        let text = format!("  Its capacitance: {}; its cores: {}.", c.capacitance_source, c.core_source);
        write_wrapped(&text, 4, out);
    }
    // The reader is to know which rule is the weaker one.
    if matches!(circuit.source, Source::Supply { .. })
        && judged.checks.iter().any(|c| c.kind == Kind::Rc && !c.holds())
        && judged.checks.iter().filter(|c| c.kind == Kind::Level).all(Check::holds)
    {
        let text = "  The rule of 65 \u{b5}s is coarse: the levels computed for this network still hold.";
        write_wrapped(text, 4, out);
    }
}
