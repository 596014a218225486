//! A loop's verdict for programs.

use super::{CAUTIONS, WiringReport, noise, series_ohm_left};
use crate::wiring::{Complex, Spread, Station};
use serde_json::{Map, Value, json};

fn level(v: Complex) -> Value {
    json!({ "mv_pp": v.abs() * 1e3, "degrees": v.arg().to_degrees() })
}

fn named<'a, T>(names: impl Iterator<Item = &'a String>, values: &[T], of: impl Fn(&T) -> Value) -> Value {
    Value::Object(names.cloned().zip(values.iter().map(of)).collect::<Map<String, Value>>())
}

fn spread(s: &Spread) -> Value {
    let or_null = |x: f64| if x.is_finite() { json!(x) } else { Value::Null };
    json!({
        "check": s.kind.slug(), "unit": s.unit, "least_margin": or_null(s.least),
        "one_percent_margin": or_null(s.one_percent), "median_margin": or_null(s.median), "failed": s.failed,
    })
}

/// The verdict as one object.
pub fn json(report: &WiringReport) -> Value {
    let WiringReport { circuit, judged, .. } = report;
    let analysis = &judged.analysis;
    let dc: Vec<Value> = analysis
        .dc
        .iter()
        .map(|row| {
            let devices: Vec<Value> = circuit
                .devices
                .iter()
                .zip(&row.devices)
                .map(|(device, d)| {
                    json!({
                        "tag": device.tag, "current_ma": d.current_a * 1e3, "volts_v": d.volts_v,
                        "needs_v": d.needs_v, "peak_v": d.peak_v, "margin_v": d.margin_v(), "power_w": d.power_w,
                    })
                })
                .collect();
            json!({
                "current_ma": row.current_a * 1e3, "source_current_ma": row.source_current_a * 1e3,
                "places_v": named(circuit.places.iter(), &row.places_v, |v| json!(v)),
                "devices": devices, "card_needs_v": row.card_needs_v,
                "margin_v": row.margin_v, "margin_after_peak_v": row.margin_after_peak_v,
                "series_left_ohm": series_ohm_left(row),
            })
        })
        .collect();
    let tones: Vec<Value> = analysis
        .tones
        .iter()
        .map(|tone| {
            let transmissions: Vec<Value> = tone
                .transmissions
                .iter()
                .map(|t| {
                    let receivers = circuit.receivers(t.by);
                    let names: Vec<String> = receivers.iter().map(|&s| circuit.station_name(s)).collect();
                    json!({
                        "by": circuit.station_name(t.by),
                        "load_ohm": t.load_ohm.abs(), "load_degrees": t.load_ohm.arg().to_degrees(),
                        "receivers": named(names.iter(), &receivers, |&s| level(t.at(circuit, s))),
                        "places": named(circuit.places.iter(), &t.places, |&v| level(v)),
                        "source_end": { "what": circuit.station_name(Station::SourceEnd), "level": level(t.source_end) },
                    })
                })
                .collect();
            json!({ "hz": tone.hz, "source_ohm": tone.source_ohm.abs(), "transmissions": transmissions })
        })
        .collect();
    let checks: Vec<Value> = judged
        .checks
        .iter()
        .map(|c| {
            let remedies: Vec<Value> = c
                .remedies
                .iter()
                .map(|r| json!({ "text": r.text, "change": r.change, "still_fails": r.still.iter().map(|k| k.slug()).collect::<Vec<_>>() }))
                .collect();
            json!({
                "check": c.kind.slug(), "subject": c.subject, "holds": c.holds(), "must_hold": c.kind.must_hold(),
                "value": c.value, "limit": c.limit, "limit_is": if c.is_least { "least" } else { "most" },
                "margin": c.margin(), "unit": c.unit, "limit_from": c.source,
                "meaning": if c.holds() { Value::Null } else { json!(c.meaning) }, "remedies": remedies,
            })
        })
        .collect();
    let lengths = judged.lengths.as_ref().map(|l| {
        let limits: Vec<Value> =
            l.limits.iter().map(|r| json!({ "check": r.kind.slug(), "most_m": r.most_m })).collect();
        json!({
            "cable": circuit.parts[l.part].name, "length_m": l.length_m, "limits": limits, "formula_m": l.formula_m,
        })
    });
    let mut out = json!({
        "title": circuit.title, "good": judged.is_good(), "places": circuit.places,
        "dc": dc, "works_ma": judged.works_a.map(|(a, b)| [a * 1e3, b * 1e3]), "tones": tones,
        "rc": {
            "resistance_ohm": analysis.rc.resistance_ohm, "capacitance_nf": analysis.rc.capacitance_f * 1e9,
            "us": analysis.rc.seconds() * 1e6,
        },
        "lengths": lengths, "checks": checks, "together": judged.together, "together_suffices": judged.together_suffices,
    });
    let receptions = noise::rows(report);
    if !receptions.is_empty() {
        out["noise"] = receptions.iter().map(noise::Row::json).collect();
    }
    if let Some(corner) = report.corner {
        out["corner"] = corner.iter().map(spread).collect();
    }
    if let Some(samples) = report.samples {
        let spreads: Vec<Value> = samples.spreads.iter().map(spread).collect();
        out["samples"] = json!({
            "count": samples.count, "seed": samples.seed, "failed": samples.failed, "spreads": spreads,
        });
    }
    out["cautions"] = json!(CAUTIONS);
    out
}
