//! Quantities over time: a plot of several panels (SVG), CSV, and what was found in them as text, JSON and CSV.
//!
//! Whoever records decides what the quantities are; here they are numbers with names and units.

mod csv;
mod found;
mod svg;

pub use csv::csv;
pub use found::{Finding, Findings};
pub use svg::svg;

/// How a line is drawn: told apart by its dashes and width, so that a copy without colour still tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stroke {
    /// A wide line without gaps: what matters most.
    Bold,
    /// A thin line without gaps.
    Plain,
    /// Long dashes: what is wanted.
    Dashed,
    /// Dots: what somebody believes.
    Dotted,
    /// Dashes and dots: what everything else lives on.
    DashDot,
}

/// One quantity over the time of a [`Trace`].
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Its column in CSV: lower case, words joined by `_`, the unit last, such as `travel_percent`.
    pub column: &'static str,
    /// What the legend of the plot calls it.
    pub name: &'static str,
    /// In which panel it is drawn; `None` where it is in CSV alone.
    pub panel: Option<usize>,
    /// How it is drawn.
    pub stroke: Stroke,
    /// A value for each time of the trace, in the unit of column and panel. What is no number is left out.
    pub values: Vec<f64>,
}

/// One of the plots that stand one above the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Panel {
    /// What its axis shows.
    pub title: &'static str,
    /// The unit of its axis.
    pub unit: &'static str,
    /// The least that the axis spans, in that unit, above 0: what moves by less looks as still as it is.
    pub least_span: f64,
    /// Whether the axis begins at 0 or below.
    pub from_zero: bool,
    /// Its height beside the others, above 0.
    pub share: f64,
}

/// Something that happened at a time, marked through all panels.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// When, s.
    pub at_s: f64,
    /// What, a few words.
    pub text: String,
}

/// Quantities over one time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Whose, one line.
    pub title: String,
    /// What else a reader is to know, one line each.
    pub notes: Vec<String>,
    /// The times of the samples, s, rising.
    pub time_s: Vec<f64>,
    /// The panels, from the top.
    pub panels: Vec<Panel>,
    /// The quantities.
    pub series: Vec<Series>,
    /// What happened, in order of time.
    pub marks: Vec<Mark>,
}
