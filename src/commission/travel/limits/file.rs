//! Limits from a file (TOML): `whose`, then a heading for both views and one for each [TV-18].

use super::{Limited, Limits};
use crate::app::written::{Fault, FileError, FileKind, Number, for_toml, number, words};
use core::fmt::Write;
use schemars::JsonSchema;
use serde::Deserialize;
use std::path::Path;
use toml::Spanned;

/// The most that a limit may be, in any unit.
const MOST: f64 = 10_000.0;

/// The whole file: the most that is still within. What has no limit is not judged; looprig's own are not mixed in.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "looprig limits")]
struct LimitsFile {
    /// Whose limits these are, which every report prints.
    #[schemars(with = "String", length(min = 1))]
    whose: Option<Spanned<String>>,
    /// Limits of both views, the device's own sensor and the measurement at stem or shaft.
    #[schemars(with = "Option<Table>")]
    limits: Option<Spanned<Table>>,
    /// Limits of what the device's own sensor sees; they go before those of both.
    #[schemars(with = "Option<Table>")]
    sensor: Option<Spanned<Table>>,
    /// Limits of what the measurement at stem or shaft sees; they go before those of both.
    #[schemars(with = "Option<Table>")]
    external: Option<Spanned<Table>>,
}

/// The limits of a view.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Table {
    /// Accuracy: the largest error above and below, both signs alike, % of travel.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    accuracy_percent: Option<Spanned<Number>>,
    /// Deviation at the lowest and the highest point, both signs alike, % of travel.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    end_deviation_percent: Option<Spanned<Number>>,
    /// Hysteresis, dead band included: most that a place differs between up and down, % of travel.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    hysteresis_percent: Option<Spanned<Number>>,
    /// Repeatability: widest spread at a place from the same side, three cycles or more, % of travel.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    repeatability_percent: Option<Spanned<Number>>,
    /// Non-linearity of the average of up and down against the line from which it is least, % of travel.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    non_linearity_independent_percent: Option<Spanned<Number>>,
    /// The same against the best line through the first point, % of travel.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    non_linearity_zero_based_percent: Option<Spanned<Number>>,
    /// The same against the line through the first and the last point, % of travel.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    non_linearity_terminal_percent: Option<Spanned<Number>>,
    /// Dead band: input that a reversal needs until travel follows, % of the set point's range.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    dead_band_percent: Option<Spanned<Number>>,
    /// Resolution: input that is needed in the same direction until travel follows, % of the set point's range.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    resolution_percent: Option<Spanned<Number>>,
    /// Dead time of every step: from the asking to the first response that is seen, s.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    dead_time_s: Option<Spanned<Number>>,
    /// T63 of every step: from the asking to 63.2 % of the change, s.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    t63_s: Option<Spanned<Number>>,
    /// T86 of every step: from the asking to 86.5 % of the change, s.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    t86_s: Option<Spanned<Number>>,
    /// Overshoot of every step: how far travel goes beyond its final place, % of the step.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    overshoot_percent: Option<Spanned<Number>>,
    /// Settling time of every step: until travel stays near its final place, s.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    settling_s: Option<Spanned<Number>>,
    /// Time of a full stroke from closed to open, s.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    stroke_time_opening_s: Option<Spanned<Number>>,
    /// Time of a full stroke from open to closed, s.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    stroke_time_closing_s: Option<Spanned<Number>>,
    /// Time to the fail position after a loss of current, air or trip, s.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    fail_time_s: Option<Spanned<Number>>,
    /// Sensor minus measurement at stem or shaft, both signs alike (lever, pin, clamp), % of travel. Of [external] alone.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    lever_error_percent: Option<Spanned<Number>>,
    /// What the control system shows minus what was asked for, both signs alike, where somebody noted it, % of the set point's range. Of [limits].
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    control_system_percent: Option<Spanned<Number>>,
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
            &self.control_system_percent,
        ]
    }

    fn limits(&self) -> Result<Vec<(Limited, f64)>, Fault> {
        let given = Limited::ALL.into_iter().zip(self.all());
        let given = given.filter_map(|(what, n)| n.as_ref().map(|n| (what, n)));
        given.map(|(what, n)| Ok((what, number(n, what.key(), what.unit(), 0.0..=MOST)?))).collect()
    }
}

impl Limits {
    /// The JSON Schema of a file of limits, for editors [TV-71].
    pub fn schema() -> String {
        let mut schema = schemars::schema_for!(LimitsFile).to_value();
        for_toml(&mut schema);
        // A schema is made of strings and numbers alone, so it can always be written.
        serde_json::to_string_pretty(&schema).unwrap_or_default()
    }

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
