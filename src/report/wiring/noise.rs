//! What noise does to each reception, as rows for text, page and programs [WI-13].

use super::{WiringReport, figures};
use crate::wiring::noise::{MESSAGE_CHARACTERS, Noise, Reception};
use serde_json::{Value, json};

/// One reception: from, to, what arrives.
pub(super) struct Row {
    pub(super) from: String,
    pub(super) to: String,
    pub(super) noise: Noise,
    pub(super) reception: Reception,
}

/// Every reception at a place of which the sheet gives noise; empty where it gives none.
pub(super) fn rows(report: &WiringReport) -> Vec<Row> {
    let (circuit, analysis) = (report.circuit, &report.judged.analysis);
    let paths = analysis.paths(circuit).into_iter().filter_map(|(by, to)| {
        let reception = analysis.reception(circuit, by, to)?;
        let (from, to) = (circuit.station_name(by), circuit.station_name(to));
        Some(Row { from, to, noise: reception.noise?, reception })
    });
    paths.collect()
}

/// A share of bits: 0.013, 3.4e-7.
pub(super) fn share(p: f64) -> String {
    match p {
        0.0 => "0".to_owned(),
        p if p < 1e-99 => "below 1e-99".to_owned(),
        p if p < 1e-2 => format!("{p:.1e}"),
        p => format!("{p:.3}"),
    }
}

/// A share of messages in percent.
pub(super) fn percent(p: f64) -> String {
    match p * 100.0 {
        0.0 => "0 %".to_owned(),
        p if p < 0.001 => "below 0.001 %".to_owned(),
        p => format!("{} %", figures(p)),
    }
}

impl Row {
    /// Noise, ratio, bits, messages, in words.
    pub(super) fn cells(&self) -> [String; 4] {
        let r = &self.reception;
        let db = r.eb_n0_db().map_or_else(
            || "-".to_owned(),
            |db| if db.is_finite() { format!("{db:.1}") } else { "-".into() },
        );
        let messages =
            if r.is_heard() { percent(r.damaged_share(MESSAGE_CHARACTERS)) } else { "not noticed".into() };
        [figures(self.noise.rms_v * 1e3), db, share(r.bit_error_rate()), messages]
    }

    pub(super) fn json(&self) -> Value {
        let r = &self.reception;
        json!({
            "by": self.from, "to": self.to, "noise_rms_mv": self.noise.rms_v * 1e3,
            "band_hz": [self.noise.band_hz.0, self.noise.band_hz.1],
            // Nought and no noise at all are no number in dB.
            "eb_n0_db": r.eb_n0_db().filter(|db| db.is_finite()), "bit_error_rate": r.bit_error_rate(),
            "damaged_share": r.damaged_share(MESSAGE_CHARACTERS), "message_characters": MESSAGE_CHARACTERS,
            "heard": r.is_heard(),
        })
    }
}

/// What whoever changes the loop for its sake is to know.
pub(super) const GIVEN: &str =
    "The noise is taken as given where it is heard: a change to the loop may change it too.";

/// What the numbers are of.
pub(super) fn title(rows: &[Row]) -> String {
    let mut bands: Vec<String> =
        rows.iter().map(|r| format!("{} to {}", r.noise.band_hz.0, r.noise.band_hz.1)).collect();
    bands.dedup();
    format!("Noise, white, {} Hz; messages of {MESSAGE_CHARACTERS} characters", bands.join(", "))
}
