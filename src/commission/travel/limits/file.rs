//! Limits from a file (TOML): `whose`, then a heading for both views and one for each [TV-18].

use super::{Limited, Limits};
use crate::app::written::{Fault, FileError, FileKind, Number, number, words};
use core::fmt::Write;
use serde::Deserialize;
use std::path::Path;
use toml::Spanned;

/// The most that a limit may be, in any unit.
const MOST: f64 = 10_000.0;

/// The whole file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LimitsFile {
    whose: Option<Spanned<String>>,
    limits: Option<Spanned<Table>>,
    sensor: Option<Spanned<Table>>,
    external: Option<Spanned<Table>>,
}

/// The limits of a view.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    accuracy_percent: Option<Spanned<Number>>,
    end_deviation_percent: Option<Spanned<Number>>,
    hysteresis_percent: Option<Spanned<Number>>,
    repeatability_percent: Option<Spanned<Number>>,
    non_linearity_independent_percent: Option<Spanned<Number>>,
    non_linearity_zero_based_percent: Option<Spanned<Number>>,
    non_linearity_terminal_percent: Option<Spanned<Number>>,
    dead_band_percent: Option<Spanned<Number>>,
    resolution_percent: Option<Spanned<Number>>,
    dead_time_s: Option<Spanned<Number>>,
    t63_s: Option<Spanned<Number>>,
    t86_s: Option<Spanned<Number>>,
    overshoot_percent: Option<Spanned<Number>>,
    settling_s: Option<Spanned<Number>>,
    stroke_time_opening_s: Option<Spanned<Number>>,
    stroke_time_closing_s: Option<Spanned<Number>>,
    fail_time_s: Option<Spanned<Number>>,
    lever_error_percent: Option<Spanned<Number>>,
}

impl Table {
    /// In the order of [`Limited::ALL`].
    fn all(&self) -> [&Option<Spanned<Number>>; Limited::ALL.len()] {
        [
            &self.accuracy_percent,
            &self.end_deviation_percent,
            &self.hysteresis_percent,
            &self.repeatability_percent,
            &self.non_linearity_independent_percent,
            &self.non_linearity_zero_based_percent,
            &self.non_linearity_terminal_percent,
            &self.dead_band_percent,
            &self.resolution_percent,
            &self.dead_time_s,
            &self.t63_s,
            &self.t86_s,
            &self.overshoot_percent,
            &self.settling_s,
            &self.stroke_time_opening_s,
            &self.stroke_time_closing_s,
            &self.fail_time_s,
            &self.lever_error_percent,
        ]
    }

    fn limits(&self) -> Result<Vec<(Limited, f64)>, Fault> {
        let given = Limited::ALL.into_iter().zip(self.all());
        let given = given.filter_map(|(what, n)| n.as_ref().map(|n| (what, n)));
        given.map(|(what, n)| Ok((what, number(n, what.key(), what.unit(), 0.0..=MOST)?))).collect()
    }
}

impl Limits {
    /// Reads limits; `path` is what messages call the file. Nothing is opened. A figure that the file has no limit for is not
    /// judged: the defaults are not mixed in.
    ///
    /// # Errors
    /// The first thing that is wrong, with its place: a key that is none, a limit that cannot be, no limit at all, nobody
    /// whose limits they are.
    pub fn from_text(text: &str, path: &Path) -> Result<Limits, FileError> {
        let fault = |f: Fault| f.in_file(FileKind::Limits, path, text);
        match toml::from_str::<LimitsFile>(text) {
            Ok(file) => read(&file).map_err(fault),
            Err(e) => Err(fault(words::plain(e.message(), e.span(), text))),
        }
    }

    /// The limits as such a file; it is read back as the same.
    pub fn to_text(&self) -> String {
        let mut out = String::from(
            "# Limits of a travel test: the most that is still within.\n\
             # What has no limit is not judged. [sensor] and [external] go before [limits] in their view.\n",
        );
        let _ = writeln!(out, "whose = {}", toml::Value::String(self.whose.clone()));
        for (heading, list) in
            [("limits", &self.both), ("sensor", &self.sensor), ("external", &self.external)]
        {
            if !list.is_empty() {
                let _ = writeln!(out, "\n[{heading}]");
            }
            for (what, most) in list {
                let _ = writeln!(out, "{} = {}", what.key(), toml::Value::Float(*most));
            }
        }
        out
    }
}

fn read(file: &LimitsFile) -> Result<Limits, Fault> {
    let of = |t: &Option<Spanned<Table>>| t.as_ref().map_or(Ok(Vec::new()), |t| t.get_ref().limits());
    let (both, sensor, external) = (of(&file.limits)?, of(&file.sensor)?, of(&file.external)?);
    let whose = file.whose.as_ref().map(|w| w.get_ref().trim()).unwrap_or_default();
    if whose.is_empty() {
        let at = file.whose.as_ref().map_or(0..0, Spanned::span);
        let right =
            "say who set them, which the report prints: whose = \"works standard, throttling valves\"";
        return Err(Fault::new(&at, "these limits are nobody's", right));
    }
    if both.is_empty() && sensor.is_empty() && external.is_empty() {
        let right = "add one, such as:\n    [limits]\n    hysteresis_percent = 1.0";
        return Err(Fault::new(&(0..0), "the file has no limit", right));
    }
    Ok(Limits { whose: whose.to_owned(), both, sensor, external })
}
