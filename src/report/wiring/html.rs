//! A loop's verdict as a page of its own: nothing is fetched from elsewhere.

use super::super::plot::{Curve, plain, svg};
use super::{CAUTIONS, WiringReport, against, figures, lengths, noise, plotted_device, then, tolerance, way};
use crate::wiring::{Check, Circuit, Knob, analyse, dc};
use core::fmt::Write;

const STYLE: &str = "body{font:16px/1.45 system-ui,sans-serif;max-width:60rem;margin:1.5rem auto;padding:0 1rem;\
color:#1a1a1a;background:#fff}h1{font-size:1.4rem}h2{font-size:1.1rem;margin-top:2rem}table{border-collapse:collapse;\
width:100%;font-size:.9rem}th,td{text-align:left;padding:.3rem .6rem;border-bottom:1px solid #ccc;vertical-align:top}\
td.n,th.n{text-align:right;font-variant-numeric:tabular-nums}.bad{color:#a40000;font-weight:600}\
.look{color:#7a5200;font-weight:600}.ok{color:#1b6b1b}.caution{border-left:4px solid #a86400;padding:.4rem .8rem;\
background:#fff7e6;margin:.6rem 0}svg{width:100%;height:auto;font:13px system-ui,sans-serif}\
svg .grid{stroke:#ddd;stroke-width:1}ul{margin:.2rem 0;padding-left:1.2rem}.scroll{overflow-x:auto}\
@page{size:A4;margin:15mm}@media print{html{font-size:10pt}body{margin:0;padding:0;max-width:none;font-size:1rem}\
h2{break-after:avoid}tr,svg,.caution{break-inside:avoid}.scroll{overflow-x:visible}}";

/// The verdict as a page.
pub fn html(report: &WiringReport) -> String {
    let WiringReport { circuit, judged, .. } = report;
    let title = if circuit.title.is_empty() { "Loop" } else { &circuit.title };
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{0}: wiring</title><style>{STYLE}</style></head><body>\n<h1>{0}</h1>\n",
        plain(title)
    );
    let failed = judged.checks.iter().filter(|c| c.is_bad()).count();
    let _ = if failed == 0 {
        writeln!(out, "<p class=\"ok\">This loop carries current and signal.</p>")
    } else {
        writeln!(out, "<p class=\"bad\">Not good: {failed} of {} checks fail.</p>", judged.checks.len())
    };
    out.push_str("<ul>\n");
    for line in way(circuit) {
        let _ = writeln!(out, "<li>{}</li>", plain(&line));
    }
    out.push_str("</ul>\n");
    for caution in CAUTIONS {
        let _ = writeln!(out, "<p class=\"caution\">{}</p>", plain(caution));
    }
    checks(report, &mut out);
    direct_current(report, &mut out);
    signal(report, &mut out);
    if let (Some(corner), Some(samples)) = (report.corner, report.samples) {
        let table = tolerance(corner, samples);
        let _ = writeln!(out, "<h2>Tolerances: {}</h2>", plain(&table.title));
        let heads: Vec<String> = table.columns.iter().map(|c| c.replace('_', " ")).collect();
        let rows: Vec<Vec<String>> = table.rows.clone();
        write_table(&heads, &rows, 2, &mut out);
    }
    out.push_str("</body></html>\n");
    out
}

/// A table; columns from `first_number` on are set as numbers.
fn write_table(heads: &[String], rows: &[Vec<String>], first_number: usize, out: &mut String) {
    let cell = |n: usize, text: &str, what: &str| {
        let class = if n >= first_number { " class=\"n\"" } else { "" };
        format!("<{what}{class}>{}</{what}>", plain(text))
    };
    out.push_str("<div class=\"scroll\"><table><tr>");
    out.extend(heads.iter().enumerate().map(|(n, h)| cell(n, h, "th")));
    out.push_str("</tr>\n");
    for row in rows {
        out.push_str("<tr>");
        out.extend(row.iter().enumerate().map(|(n, c)| cell(n, c, "td")));
        out.push_str("</tr>\n");
    }
    out.push_str("</table></div>\n");
}

fn checks(report: &WiringReport, out: &mut String) {
    out.push_str(
        "<h2>Checks</h2>\n<div class=\"scroll\"><table><tr><th></th><th>check</th><th>value and limit</th>\
         <th>limit from</th></tr>\n",
    );
    let mut list: Vec<&Check> = report.judged.checks.iter().collect();
    list.sort_by_key(|c| (!c.is_bad(), c.holds()));
    for c in list {
        let (class, word) = match c {
            c if c.holds() => ("ok", "ok"),
            c if c.is_bad() => ("bad", "FAIL"),
            _ => ("look", "look"),
        };
        let _ = write!(
            out,
            "<tr><td class=\"{class}\">{word}</td><td>{}<br>{}</td><td>{}",
            plain(c.kind.title()),
            plain(&c.subject),
            plain(&against(c))
        );
        if !c.holds() {
            let _ = write!(out, "<br>{}", plain(&c.meaning));
            out.push_str("<ul>");
            for remedy in &c.remedies {
                let then = then(&remedy.still);
                let _ = write!(out, "<li>{}; {then}</li>", plain(&remedy.text));
            }
            out.push_str("</ul>");
        }
        let _ = writeln!(out, "</td><td>{}</td></tr>", plain(c.source));
    }
    out.push_str("</table></div>\n");
    let judged = report.judged;
    if judged.together.len() > 1 {
        out.push_str("<p>All of it together, one way:</p><ol>");
        out.extend(judged.together.iter().map(|step| format!("<li>{}</li>", plain(step))));
        out.push_str(if judged.together_suffices {
            "</ol><p>Then every check that must hold does.</p>\n"
        } else {
            "</ol><p>Even then something fails: this loop needs another design.</p>\n"
        });
    }
}

fn direct_current(report: &WiringReport, out: &mut String) {
    let WiringReport { circuit, judged, .. } = report;
    let n = plotted_device(circuit, &judged.analysis);
    let Some(device) = circuit.devices.get(n) else { return };
    let is_card = circuit.source.is_card();
    let _ = writeln!(out, "<h2>Direct current: {}</h2>", plain(&device.tag));
    let heads = ["mA", "volts at the device", "needs V", "signal's peak V", "left V", "mW"].map(String::from);
    let rows: Vec<Vec<String>> = judged
        .analysis
        .dc
        .iter()
        .map(|row| {
            let d = row.devices[n];
            let left = if is_card { row.margin_after_peak_v } else { d.margin_v() };
            [d.current_a * 1e3, d.volts_v, d.needs_v, d.peak_v, left, d.power_w * 1e3].map(figures).to_vec()
        })
        .collect();
    write_table(&heads, &rows, 0, out);
    if !circuit.follows() {
        return;
    }
    // From no current to beyond the last that was asked for.
    let most = circuit.currents_a.iter().copied().fold(0.0225, f64::max) * 1.1;
    let rows: Vec<_> =
        (1..=60).map(|k| dc::at(circuit, most * f64::from(k) / 60.0, &judged.analysis.peaks_v)).collect();
    let line =
        |of: &dyn Fn(&dc::DcRow) -> f64| rows.iter().map(|r| (r.current_a * 1e3, of(r))).collect::<Vec<_>>();
    let curves = if is_card {
        vec![
            Curve {
                name: "card can give",
                colour: "#a40000",
                dashed: true,
                points: line(&|_| circuit.source_v()),
            },
            Curve {
                name: "loop takes, signal included",
                colour: "#1f5fa8",
                dashed: false,
                points: line(&|r| circuit.source_v() - r.margin_after_peak_v),
            },
        ]
    } else {
        vec![
            Curve {
                name: "device needs",
                colour: "#a40000",
                dashed: true,
                points: line(&|r| r.devices[n].needs_v),
            },
            Curve {
                name: "device has, less the signal's peak",
                colour: "#1f5fa8",
                dashed: false,
                points: line(&|r| r.devices[n].volts_v - r.devices[n].peak_v),
            },
        ]
    };
    out.push_str(&svg("loop current, mA", "volts", &curves));
}

/// Level of the weakest reception at both tones, mV, with the longest cable of a length, m.
fn weakest(circuit: &Circuit, part: usize, length_m: f64) -> [f64; 2] {
    let mut changed = circuit.clone();
    Knob::CableLength(part).set(&mut changed, length_m);
    let tones = analyse(&changed).tones;
    [0, 1].map(|n| {
        let all = tones[n].transmissions.iter();
        let levels =
            all.flat_map(|t| changed.receivers(t.by).into_iter().map(|to| t.at(&changed, to).abs() * 1e3));
        levels.fold(f64::INFINITY, f64::min)
    })
}

fn noise_table(report: &WiringReport, out: &mut String) {
    let rows = noise::rows(report);
    if rows.is_empty() {
        return;
    }
    let _ = writeln!(out, "<h2>{}</h2>", plain(&noise::title(&rows)));
    let heads =
        ["from", "to", "noise mV rms", "Eb/N0 dB", "bits wrong", "messages damaged"].map(String::from);
    let rows: Vec<Vec<String>> =
        rows.iter().map(|r| [r.from.clone(), r.to.clone()].into_iter().chain(r.cells()).collect()).collect();
    write_table(&heads, &rows, 2, out);
    let _ = writeln!(out, "<p>{}</p>", noise::GIVEN);
}

fn signal(report: &WiringReport, out: &mut String) {
    let WiringReport { circuit, judged, .. } = report;
    let [low, high] = judged.analysis.tones.as_slice() else { return };
    out.push_str("<h2>Signal, mV peak to peak</h2>\n");
    let heads = ["from", "to", "1200 Hz", "2200 Hz", "difference dB"].map(String::from);
    let mut rows = Vec::new();
    for (l, h) in low.transmissions.iter().zip(&high.transmissions) {
        for to in circuit.receivers(l.by) {
            let (a, b) = (l.at(circuit, to).abs(), h.at(circuit, to).abs());
            let mut row = vec![circuit.station_name(l.by), circuit.station_name(to)];
            row.extend([a * 1e3, b * 1e3, 20.0 * (b / a).log10()].map(figures));
            rows.push(row);
        }
    }
    write_table(&heads, &rows, 2, out);
    let rc = judged.analysis.rc;
    let _ = writeln!(
        out,
        "<p>Resistance {} ohm times capacitance {} nF = {} \u{b5}s (rule: at most 65).</p>",
        figures(rc.resistance_ohm),
        figures(rc.capacitance_f * 1e9),
        figures(rc.seconds() * 1e6)
    );
    noise_table(report, out);
    if let Some((title, rows)) = lengths(report) {
        let _ = writeln!(out, "<h2>{}</h2>", plain(&title));
        write_table(
            &["length", "limit"].map(String::from),
            &rows.iter().map(|r| r.to_vec()).collect::<Vec<_>>(),
            2,
            out,
        );
    }
    let Some(lengths) = &judged.lengths else { return };
    if judged.analysis.tones.iter().any(|t| t.transmissions.is_empty()) {
        return;
    }
    let most = (lengths.length_m * 2.0).max(3000.0);
    let at: Vec<(f64, [f64; 2])> = (0..=60)
        .map(|k| most * f64::from(k) / 60.0)
        .map(|m| (m, weakest(circuit, lengths.part, m)))
        .collect();
    let curves = [
        Curve {
            name: "120 mV",
            colour: "#a40000",
            dashed: true,
            points: at.iter().map(|p| (p.0, 120.0)).collect(),
        },
        Curve {
            name: "2200 Hz",
            colour: "#7a5200",
            dashed: false,
            points: at.iter().map(|p| (p.0, p.1[1])).collect(),
        },
        Curve {
            name: "1200 Hz",
            colour: "#1f5fa8",
            dashed: false,
            points: at.iter().map(|p| (p.0, p.1[0])).collect(),
        },
    ];
    let name = plain(&circuit.parts[lengths.part].name);
    let _ = writeln!(
        out,
        "<h2>Weakest reception against the length of {name} (now {} m)</h2>",
        figures(lengths.length_m)
    );
    out.push_str(&svg("length, m", "mV peak to peak", &curves));
}
