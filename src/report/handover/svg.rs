//! What the plots of a report are drawn with: a frame with two axes, and shapes in its units.

use crate::report::plot::{Axis, plain};
use core::fmt::Write;

const WIDTH: f64 = 460.0;
const HEIGHT: f64 = 314.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 14.0;
const TOP: f64 = 58.0;
const BOTTOM: f64 = 44.0;

/// Width of a letter of a name, wide enough for fonts that are; at 13 px most are 6 to 7.
const LETTER: f64 = 7.8;

pub const BLUE: &str = "#1f5fa8";
pub const OCHRE: &str = "#8a5a00";
pub const RED: &str = "#a40000";
pub const GREEN: &str = "#1b6b1b";
pub const GREY: &str = "#666";

/// Shape at the points of a line, so that it is known in black and white too.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    None,
    Up,
    Down,
    Dot,
}

/// A plot that is being drawn. Values beyond the axes are cut off at the frame.
pub struct Plot {
    x: Axis,
    y: Axis,
    shapes: String,
    names: Vec<(String, &'static str, bool)>,
    x_name: String,
    y_name: String,
}

impl Plot {
    pub fn new(x: Axis, x_name: &str, y: Axis, y_name: &str) -> Plot {
        Plot { x, y, shapes: String::new(), names: Vec::new(), x_name: x_name.into(), y_name: y_name.into() }
    }

    fn px(&self, v: f64) -> f64 {
        LEFT + ((v - self.x.from) / (self.x.to - self.x.from)).clamp(0.0, 1.0) * (WIDTH - LEFT - RIGHT)
    }

    fn py(&self, v: f64) -> f64 {
        HEIGHT
            - BOTTOM
            - ((v - self.y.from) / (self.y.to - self.y.from)).clamp(0.0, 1.0) * (HEIGHT - TOP - BOTTOM)
    }

    /// A name for the list above the frame, once.
    pub fn name(&mut self, name: &str, colour: &'static str, dashed: bool) {
        if !self.names.iter().any(|n| n.0 == name) {
            self.names.push((name.to_owned(), colour, dashed));
        }
    }

    pub fn line(&mut self, points: &[(f64, f64)], colour: &str, dashed: bool, mark: Mark) {
        let at: Vec<(f64, f64)> = points.iter().map(|p| (self.px(p.0), self.py(p.1))).collect();
        if at.len() > 1 {
            let list: Vec<String> = at.iter().map(|p| format!("{:.1},{:.1}", p.0, p.1)).collect();
            let dash = if dashed { " stroke-dasharray=\"5 4\"" } else { "" };
            let _ = writeln!(
                self.shapes,
                "<polyline fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.6\"{dash} points=\"{}\"/>",
                list.join(" ")
            );
        }
        for (x, y) in at {
            let _ = match mark {
                Mark::None => Ok(()),
                Mark::Dot => {
                    writeln!(self.shapes, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"1.8\" fill=\"{colour}\"/>")
                }
                Mark::Up | Mark::Down => {
                    let h = if mark == Mark::Up { -4.5 } else { 4.5 };
                    writeln!(
                        self.shapes,
                        "<path d=\"M{:.1} {:.1}h8l-4 {:.1}z\" fill=\"{colour}\"/>",
                        x - 4.0,
                        y - h / 2.0,
                        1.6 * h
                    )
                }
            };
        }
    }

    /// A line across at a value.
    pub fn across(&mut self, y: f64, colour: &str) {
        self.line(&[(self.x.from, y), (self.x.to, y)], colour, true, Mark::None);
    }

    /// A moment: a line from top to bottom, as wide as it is uncertain, with its name beside it. `row` keeps names apart: which
    /// one, and whether counted from the bottom.
    pub fn moment(&mut self, x: f64, by: f64, name: &str, colour: &'static str, row: (usize, bool)) {
        let (from, to, at) = (self.px(x - by), self.px(x + by), self.px(x));
        let bottom = HEIGHT - BOTTOM;
        let away = 15.0 * row.0 as f64;
        let y = if row.1 { bottom - 24.0 + away } else { TOP + 30.0 - away };
        let late = at > 0.72 * WIDTH;
        let (tx, anchor) = if late { (at - 4.0, "end") } else { (at + 4.0, "start") };
        let _ = writeln!(
            self.shapes,
            "<rect x=\"{from:.1}\" y=\"{TOP}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{colour}\" fill-opacity=\"0.18\"/>\
             <line x1=\"{at:.1}\" y1=\"{TOP}\" x2=\"{at:.1}\" y2=\"{bottom}\" stroke=\"{colour}\" stroke-width=\"1.3\"/>\
             <text x=\"{tx:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" class=\"halo\" fill=\"{colour}\">{}</text>",
            (to - from).max(0.0),
            bottom - TOP,
            plain(name)
        );
    }

    /// The picture; `says` is read out to whoever does not see it.
    pub fn svg(&self, says: &str) -> String {
        let mut out =
            format!("<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-label=\"{}\">\n", plain(says));
        let (right, bottom) = (WIDTH - RIGHT, HEIGHT - BOTTOM);
        for v in self.x.marks() {
            let x = self.px(v);
            let _ = writeln!(
                out,
                "<line class=\"grid\" x1=\"{x:.1}\" y1=\"{TOP}\" x2=\"{x:.1}\" y2=\"{bottom}\"/>\
                 <text x=\"{x:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
                bottom + 16.0,
                self.x.word(v)
            );
        }
        for v in self.y.marks() {
            let y = self.py(v);
            let _ = writeln!(
                out,
                "<line class=\"grid\" x1=\"{LEFT}\" y1=\"{y:.1}\" x2=\"{right}\" y2=\"{y:.1}\"/>\
                 <text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
                LEFT - 6.0,
                y + 4.0,
                self.y.word(v)
            );
        }
        let _ = writeln!(
            out,
            "<rect x=\"{LEFT}\" y=\"{TOP}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"none\" stroke=\"#999\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text><text x=\"4\" y=\"14\">{}</text>",
            right - LEFT,
            bottom - TOP,
            (LEFT + right) / 2.0,
            HEIGHT - 8.0,
            plain(&self.x_name),
            plain(&self.y_name)
        );
        out.push_str(&self.shapes);
        let (mut at, mut line) = (LEFT, 31.0);
        for (name, colour, dashed) in &self.names {
            let wide = 24.0 + LETTER * name.chars().count() as f64;
            if at + wide > WIDTH && at > LEFT {
                (at, line) = (LEFT, line + 15.0);
            }
            let dash = if *dashed { " stroke-dasharray=\"5 4\"" } else { "" };
            let _ = writeln!(
                out,
                "<line x1=\"{at:.0}\" y1=\"{line}\" x2=\"{:.0}\" y2=\"{line}\" stroke=\"{colour}\" stroke-width=\"1.8\"{dash}/>\
                 <text x=\"{:.0}\" y=\"{:.0}\" fill=\"{colour}\">{}</text>",
                at + 20.0,
                at + 24.0,
                line + 4.0,
                plain(name)
            );
            at += wide + 14.0;
        }
        out.push_str("</svg>\n");
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names above a plot leave room for their letters: "measured, down" is 108.3 px wide in Chromium with DejaVu Sans at 13 px, which is wide for a font.
    #[test]
    fn names_do_not_touch() {
        let axis = Axis::around(0.0, 100.0, 1.0, 10.0);
        let mut plot = Plot::new(axis, "set point", axis, "travel");
        plot.name("measured, down", OCHRE, true);
        plot.name("measured, up", OCHRE, false);
        let svg = plot.svg("a plot");
        let x = |tag: &str, attribute: &str, before: &str| -> f64 {
            let part = svg.split(tag).find(|p| p.contains(before)).expect("it is drawn");
            let from = part.find(attribute).expect("it has a place") + attribute.len();
            part[from..].split('"').next().and_then(|n| n.parse().ok()).expect("a number")
        };
        let name = x("<text", "x=\"", ">measured, down<");
        let next = x("<text", "x=\"", ">measured, up<") - 24.0;
        assert!(next - name > 108.3, "{name} to {next}");
    }
}
