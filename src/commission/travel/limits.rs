//! Limits for figures, and the verdict that follows [TV-18].

#[cfg(feature = "bench-file")]
mod file;

use super::figures::{Cause, Definition, Figure, Line, Runs, View};
use serde::Serialize;

/// What a limit is set for. Its key in a file is [`Limited::key`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Limited {
    /// Accuracy, above and below, both signs alike.
    Accuracy,
    /// Deviation at the lowest and the highest point, both signs alike.
    EndDeviation,
    /// Hysteresis.
    Hysteresis,
    /// Repeatability.
    Repeatability,
    /// Non-linearity of the average of up and down against one of the lines.
    NonLinearity(Line),
    /// Dead band.
    DeadBand,
    /// Resolution.
    Resolution,
    /// Dead time of every step.
    DeadTime,
    /// T63 of every step.
    T63,
    /// T86 of every step.
    T86,
    /// Overshoot of every step.
    Overshoot,
    /// Settling time of every step.
    Settling,
    /// Time of an opening stroke.
    StrokeTimeOpening,
    /// Time of a closing stroke.
    StrokeTimeClosing,
    /// Time to the fail position.
    FailTime,
    /// Sensor less measurement, both signs alike.
    LeverError,
    /// What the control system shows less what was asked for, both signs alike, at every place where it was noted.
    ControlSystem,
}

/// Limits, with whoever set them.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Whose limits these are, for the report: "looprig's own defaults, from no standard".
    pub whose: String,
    /// The limits of both views that have none of their own: the most that is still within, in the unit of the figure.
    pub both: Vec<(Limited, f64)>,
    /// Those of the device's own sensor.
    pub sensor: Vec<(Limited, f64)>,
    /// Those of the measurement at stem or shaft.
    pub external: Vec<(Limited, f64)>,
}

/// What is judged of a figure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within its limit, also if it is wrong by all of its uncertainty.
    Within,
    /// Beyond its limit, also if it is wrong by all of its uncertainty.
    Beyond,
    /// Neither; says why, in a few words: no limit, no value, or the limit lies within the uncertainty.
    NotJudged(String),
}

/// A figure with its limit and verdict.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judged {
    /// The figure.
    pub figure: Figure,
    /// Its limit, in its unit; `None`: it has none.
    pub limit: Option<f64>,
    /// The verdict.
    pub verdict: Verdict,
}

/// Holds figures against limits, in their order.
pub fn judge(figures: Vec<Figure>, limits: &Limits) -> Vec<Judged> {
    figures.into_iter().map(|figure| limits.judge(figure)).collect()
}

impl Limited {
    /// All of them, in the order of a file.
    pub const ALL: [Limited; 19] = [
        Limited::Accuracy,
        Limited::EndDeviation,
        Limited::Hysteresis,
        Limited::Repeatability,
        Limited::NonLinearity(Line::Independent),
        Limited::NonLinearity(Line::ZeroBased),
        Limited::NonLinearity(Line::Terminal),
        Limited::DeadBand,
        Limited::Resolution,
        Limited::DeadTime,
        Limited::T63,
        Limited::T86,
        Limited::Overshoot,
        Limited::Settling,
        Limited::StrokeTimeOpening,
        Limited::StrokeTimeClosing,
        Limited::FailTime,
        Limited::LeverError,
        Limited::ControlSystem,
    ];

    /// Its key in a file of limits, the unit last.
    pub fn key(self) -> &'static str {
        match self {
            Limited::Accuracy => "accuracy_percent",
            Limited::EndDeviation => "end_deviation_percent",
            Limited::Hysteresis => "hysteresis_percent",
            Limited::Repeatability => "repeatability_percent",
            Limited::NonLinearity(Line::Independent) => "non_linearity_independent_percent",
            Limited::NonLinearity(Line::ZeroBased) => "non_linearity_zero_based_percent",
            Limited::NonLinearity(Line::Terminal) => "non_linearity_terminal_percent",
            Limited::DeadBand => "dead_band_percent",
            Limited::Resolution => "resolution_percent",
            Limited::DeadTime => "dead_time_s",
            Limited::T63 => "t63_s",
            Limited::T86 => "t86_s",
            Limited::Overshoot => "overshoot_percent",
            Limited::Settling => "settling_s",
            Limited::StrokeTimeOpening => "stroke_time_opening_s",
            Limited::StrokeTimeClosing => "stroke_time_closing_s",
            Limited::FailTime => "fail_time_s",
            Limited::LeverError => "lever_error_percent",
            Limited::ControlSystem => "control_system_percent",
        }
    }

    /// The unit of a limit, as people write it.
    pub fn unit(self) -> &'static str {
        if self.key().ends_with("_s") { "s" } else { "%" }
    }

    /// What limits a figure; `None` for what has no limit.
    pub fn of(figure: &Figure) -> Option<Limited> {
        use crate::commission::travel::figures::About;
        use crate::commission::travel::record::Direction;
        Some(match figure.definition {
            Definition::AccuracyAbove | Definition::AccuracyBelow => Limited::Accuracy,
            Definition::DeviationClosed | Definition::DeviationOpen => Limited::EndDeviation,
            Definition::Hysteresis => Limited::Hysteresis,
            Definition::Repeatability => Limited::Repeatability,
            Definition::NonLinearity(line, Runs::Average) => Limited::NonLinearity(line),
            Definition::DeadBand => Limited::DeadBand,
            Definition::Resolution => Limited::Resolution,
            Definition::DeadTime => Limited::DeadTime,
            Definition::T63 => Limited::T63,
            Definition::T86 => Limited::T86,
            Definition::Overshoot => Limited::Overshoot,
            Definition::Settling => Limited::Settling,
            Definition::StrokeTime => match figure.about {
                About::Stroke(Direction::Up) => Limited::StrokeTimeOpening,
                _ => Limited::StrokeTimeClosing,
            },
            Definition::FailTime => Limited::FailTime,
            Definition::LeverError => Limited::LeverError,
            Definition::NonLinearity(..)
            | Definition::FailPlace
            | Definition::EndAngle
            | Definition::MidAngle => return None,
        })
    }
}

impl Limits {
    /// looprig's own defaults. They come from no standard: whoever has limits of a site or a contract gives them in a file.
    pub fn own() -> Limits {
        Limits {
            whose: "looprig's own defaults, from no standard".to_owned(),
            both: vec![
                (Limited::Accuracy, 1.5),
                (Limited::EndDeviation, 1.5),
                (Limited::Hysteresis, 1.0),
                (Limited::Repeatability, 0.5),
                (Limited::NonLinearity(Line::Independent), 1.0),
                (Limited::DeadBand, 0.5),
                (Limited::Resolution, 0.5),
                (Limited::Overshoot, 20.0),
                (Limited::ControlSystem, 1.0),
            ],
            sensor: Vec::new(),
            external: vec![(Limited::LeverError, 1.0)],
        }
    }

    /// The limit of something in a view; that of the view goes before the one of both.
    pub fn limit(&self, what: Limited, view: View) -> Option<f64> {
        let own = match view {
            View::Sensor => &self.sensor,
            View::External => &self.external,
        };
        own.iter().chain(&self.both).find(|(l, _)| *l == what).map(|(_, most)| *most)
    }

    /// Holds a figure against its limit.
    pub fn judge(&self, figure: Figure) -> Judged {
        let limit = Limited::of(&figure).and_then(|l| self.limit(l, figure.view));
        let verdict = match (figure.value, limit) {
            (None, _) => Verdict::NotJudged("no value".to_owned()),
            (_, None) => Verdict::NotJudged("no limit".to_owned()),
            _ if !figure.doubt.is_empty() && !is_least(&figure) => Verdict::NotJudged(figure.doubt.clone()),
            (Some(value), Some(limit)) => {
                let by = figure.uncertainty.unwrap_or(0.0);
                if !figure.doubt.is_empty() && value.abs() - by <= limit {
                    Verdict::NotJudged(figure.doubt.clone())
                } else if value.abs() + by <= limit {
                    Verdict::Within
                } else if value.abs() - by > limit {
                    Verdict::Beyond
                } else {
                    Verdict::NotJudged("the limit lies within the uncertainty".to_owned())
                }
            }
        };
        Judged { figure, limit, verdict }
    }
}

/// Whether more places could only make a figure larger that was measured at too few [TV-133].
fn is_least(figure: &Figure) -> bool {
    let through_ends =
        matches!(figure.definition, Definition::NonLinearity(Line::ZeroBased | Line::Terminal, _));
    figure.cause == Some(Cause::FewPlaces) && !through_ends
}

#[cfg(test)]
mod tests;
