//! Small plots as SVG: lines over a grid, with names at their ends.

use super::{digits, step};
use core::fmt::Write;

/// One line of a plot.
pub struct Curve {
    pub name: &'static str,
    pub colour: &'static str,
    pub dashed: bool,
    pub points: Vec<(f64, f64)>,
}

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 320.0;
const LEFT: f64 = 58.0;
const RIGHT: f64 = 16.0;
const TOP: f64 = 40.0;
const BOTTOM: f64 = 46.0;

/// A plot of curves; x and y begin at 0.
pub fn svg(x_name: &str, y_name: &str, curves: &[Curve]) -> String {
    let points = || curves.iter().flat_map(|c| &c.points);
    let most = |of: fn(&(f64, f64)) -> f64| points().map(of).fold(0.0, f64::max).max(1e-6);
    let (x_step, y_step) = (step(most(|p| p.0), 8.0), step(most(|p| p.1), 8.0));
    let (x_most, y_most) = (most(|p| p.0), (most(|p| p.1) / y_step).ceil() * y_step);
    let x = |v: f64| LEFT + v / x_most * (WIDTH - LEFT - RIGHT);
    let y = |v: f64| HEIGHT - BOTTOM - v.max(0.0) / y_most * (HEIGHT - TOP - BOTTOM);
    let mut out = format!(
        "<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-label=\"{y_name} against {x_name}\">\n"
    );
    for n in 0..=((x_most / x_step + 1e-9) as u32) {
        let v = f64::from(n) * x_step;
        let _ = writeln!(
            out,
            "<line class=\"grid\" x1=\"{0:.1}\" y1=\"{TOP}\" x2=\"{0:.1}\" y2=\"{1}\"/><text x=\"{0:.1}\" y=\"{2}\" \
             text-anchor=\"middle\">{v:.3$}</text>",
            x(v),
            HEIGHT - BOTTOM,
            HEIGHT - BOTTOM + 16.0,
            digits(x_step)
        );
    }
    for n in 0..=((y_most / y_step + 1e-9) as u32) {
        let v = f64::from(n) * y_step;
        let _ = writeln!(
            out,
            "<line class=\"grid\" x1=\"{LEFT}\" y1=\"{0:.1}\" x2=\"{1}\" y2=\"{0:.1}\"/><text x=\"{2}\" y=\"{3:.1}\" \
             text-anchor=\"end\">{v:.4$}</text>",
            y(v),
            WIDTH - RIGHT,
            LEFT - 6.0,
            y(v) + 4.0,
            digits(y_step)
        );
    }
    let _ = writeln!(
        out,
        "<text x=\"{}\" y=\"{}\" text-anchor=\"middle\">{x_name}</text>\
         <text x=\"{LEFT}\" y=\"14\" text-anchor=\"start\">{y_name}</text>",
        (LEFT + WIDTH - RIGHT) / 2.0,
        HEIGHT - 10.0
    );
    let mut legend = WIDTH - RIGHT;
    for curve in curves.iter().rev() {
        let line: Vec<String> = curve.points.iter().map(|p| format!("{:.1},{:.1}", x(p.0), y(p.1))).collect();
        let dash = if curve.dashed { " stroke-dasharray=\"6 4\"" } else { "" };
        let colour = curve.colour;
        let _ = writeln!(
            out,
            "<polyline fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\"{dash} points=\"{}\"/>\
             <text x=\"{legend:.0}\" y=\"32\" text-anchor=\"end\" fill=\"{colour}\">{}</text>",
            line.join(" "),
            curve.name
        );
        legend -= 7.0 * curve.name.chars().count() as f64 + 18.0;
    }
    out.push_str("</svg>\n");
    out
}
