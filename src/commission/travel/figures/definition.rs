//! What each figure means, by which its name, unit and note are known.

use serde::{Serialize, Serializer};

/// The unit of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Percent of the rated travel.
    Percent,
    /// Percent of the change that a step made.
    PercentOfStep,
    /// Seconds.
    Seconds,
    /// Degrees.
    Degrees,
}

impl Unit {
    /// As people write it.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Percent | Unit::PercentOfStep => "%",
            Unit::Seconds => "s",
            Unit::Degrees => "deg",
        }
    }
}

/// Which straight line travel is compared with [TV-11].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Line {
    /// The one from which the largest deviation is least.
    Independent,
    /// The same, but it has to go through the first point.
    ZeroBased,
    /// Through the first and the last point.
    Terminal,
}

/// Which runs are compared with the line [TV-11].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Runs {
    /// The average of all runs up and all runs down.
    Average,
    /// The average of the runs up.
    Up,
    /// The average of the runs down.
    Down,
}

/// What a figure is. Written as its name, [`Definition::id`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Definition {
    /// Most that travel is above where it ought to be, over all points and directions; negative where it is below everywhere.
    AccuracyAbove,
    /// The same below, with its sign: negative where travel is too small.
    AccuracyBelow,
    /// Deviation at the lowest point, the one furthest from 0.
    DeviationClosed,
    /// Deviation at the highest point.
    DeviationOpen,
    /// Most that a place differs between up and down of the same cycle; dead band is part of it.
    Hysteresis,
    /// Widest spread at a place from the same side over three cycles or more.
    Repeatability,
    /// Most that travel differs from a straight line.
    NonLinearity(Line, Runs),
    /// Input that a reversal needs until travel follows.
    DeadBand,
    /// Largest input in the same direction that was needed until travel followed.
    Resolution,
    /// From the asking to the first response that is seen.
    DeadTime,
    /// From the asking to 63.2 % of the final change.
    T63,
    /// From the asking to 86.5 % of the final change.
    T86,
    /// How far travel went beyond its final place.
    Overshoot,
    /// From the asking until travel stays near its final place.
    Settling,
    /// Full travel, reckoned from the time between 0.5 and 99.5 %.
    StrokeTime,
    /// From the loss of something until the valve rests at its end.
    FailTime,
    /// Where the valve went when something was taken away.
    FailPlace,
    /// The lever's angle at an end stop.
    EndAngle,
    /// The lever's angle at half travel.
    MidAngle,
    /// Most that the device's sensor differs from the measurement at stem or shaft, with the sign of sensor less measurement:
    /// lever, clamp and coupling.
    LeverError,
}

impl Definition {
    /// All of them, in the order in which they are shown.
    pub fn all() -> impl Iterator<Item = Definition> {
        use Definition::*;
        let lines = [Line::Independent, Line::ZeroBased, Line::Terminal];
        let runs = [Runs::Average, Runs::Up, Runs::Down];
        let straight = lines.into_iter().flat_map(move |l| runs.into_iter().map(move |r| NonLinearity(l, r)));
        [AccuracyAbove, AccuracyBelow, DeviationClosed, DeviationOpen, Hysteresis, Repeatability]
            .into_iter()
            .chain(straight)
            .chain([DeadBand, Resolution, DeadTime, T63, T86, Overshoot, Settling, StrokeTime, FailTime])
            .chain([FailPlace, EndAngle, MidAngle, LeverError])
    }

    /// Its name for programs: lower case, the unit last.
    pub fn id(self) -> &'static str {
        use Definition::*;
        match self {
            AccuracyAbove => "accuracy_above_percent",
            AccuracyBelow => "accuracy_below_percent",
            DeviationClosed => "deviation_closed_percent",
            DeviationOpen => "deviation_open_percent",
            Hysteresis => "hysteresis_percent",
            Repeatability => "repeatability_percent",
            NonLinearity(Line::Independent, Runs::Average) => "non_linearity_independent_average_percent",
            NonLinearity(Line::Independent, Runs::Up) => "non_linearity_independent_up_percent",
            NonLinearity(Line::Independent, Runs::Down) => "non_linearity_independent_down_percent",
            NonLinearity(Line::ZeroBased, Runs::Average) => "non_linearity_zero_based_average_percent",
            NonLinearity(Line::ZeroBased, Runs::Up) => "non_linearity_zero_based_up_percent",
            NonLinearity(Line::ZeroBased, Runs::Down) => "non_linearity_zero_based_down_percent",
            NonLinearity(Line::Terminal, Runs::Average) => "non_linearity_terminal_average_percent",
            NonLinearity(Line::Terminal, Runs::Up) => "non_linearity_terminal_up_percent",
            NonLinearity(Line::Terminal, Runs::Down) => "non_linearity_terminal_down_percent",
            DeadBand => "dead_band_percent",
            Resolution => "resolution_percent",
            DeadTime => "dead_time_s",
            T63 => "t63_s",
            T86 => "t86_s",
            Overshoot => "overshoot_percent",
            Settling => "settling_s",
            StrokeTime => "stroke_time_s",
            FailTime => "fail_time_s",
            FailPlace => "fail_place_percent",
            EndAngle => "end_angle_deg",
            MidAngle => "mid_angle_deg",
            LeverError => "lever_error_percent",
        }
    }

    /// Its name for people, in the trade's words.
    pub fn words(self) -> &'static str {
        use Definition::*;
        match self {
            AccuracyAbove => "accuracy, most above",
            AccuracyBelow => "accuracy, most below",
            DeviationClosed => "deviation at the lowest point",
            DeviationOpen => "deviation at the highest point",
            Hysteresis => "hysteresis, dead band included",
            Repeatability => "repeatability",
            NonLinearity(Line::Independent, Runs::Average) => {
                "non-linearity, independent, average of up and down"
            }
            NonLinearity(Line::Independent, Runs::Up) => "non-linearity, independent, up only",
            NonLinearity(Line::Independent, Runs::Down) => "non-linearity, independent, down only",
            NonLinearity(Line::ZeroBased, Runs::Average) => {
                "non-linearity, zero-based, average of up and down"
            }
            NonLinearity(Line::ZeroBased, Runs::Up) => "non-linearity, zero-based, up only",
            NonLinearity(Line::ZeroBased, Runs::Down) => "non-linearity, zero-based, down only",
            NonLinearity(Line::Terminal, Runs::Average) => {
                "non-linearity, terminal-based, average of up and down"
            }
            NonLinearity(Line::Terminal, Runs::Up) => "non-linearity, terminal-based, up only",
            NonLinearity(Line::Terminal, Runs::Down) => "non-linearity, terminal-based, down only",
            DeadBand => "dead band",
            Resolution => "resolution",
            DeadTime => "dead time",
            T63 => "T63",
            T86 => "T86",
            Overshoot => "overshoot",
            Settling => "settling time",
            StrokeTime => "stroke time",
            FailTime => "time to the fail position",
            FailPlace => "where it went",
            EndAngle => "lever angle at the end stop",
            MidAngle => "lever angle at half travel",
            LeverError => "sensor minus measurement, largest difference (lever, pin, clamp)",
        }
    }

    /// The requirement that says how it is computed.
    pub fn note(self) -> &'static str {
        use Definition::*;
        match self {
            AccuracyAbove | AccuracyBelow | DeviationClosed | DeviationOpen => "TV-07",
            Hysteresis => "TV-08",
            Repeatability => "TV-09",
            NonLinearity(..) => "TV-11",
            DeadBand | Resolution => "TV-12",
            DeadTime | T63 | T86 => "TV-13",
            Overshoot | Settling => "TV-14",
            StrokeTime => "TV-15",
            FailTime | FailPlace => "TV-16",
            EndAngle | MidAngle => "TV-17",
            LeverError => "TV-10",
        }
    }

    /// Its unit.
    pub fn unit(self) -> Unit {
        use Definition::*;
        match self {
            DeadTime | T63 | T86 | Settling | StrokeTime | FailTime => Unit::Seconds,
            EndAngle | MidAngle => Unit::Degrees,
            Overshoot => Unit::PercentOfStep,
            _ => Unit::Percent,
        }
    }
}

impl Serialize for Definition {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(self.id())
    }
}
