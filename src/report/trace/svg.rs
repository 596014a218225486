//! A trace as a picture that stands alone: panels one above the other over one time.

use super::super::plot::{Axis, plain, step, thin};
use super::{Mark, Panel, Series, Stroke, Trace};
use core::fmt::Write;

const WIDTH: f64 = 980.0;
/// Where the panels begin and end; the legend stands to the right of them.
const LEFT: f64 = 66.0;
const RIGHT: f64 = 790.0;
/// Height of all panels together, without the gaps.
const HEIGHT: f64 = 520.0;
const GAP: f64 = 26.0;
const LINE: f64 = 17.0;
/// Width of a letter of the texts, about.
const LETTER: f64 = 6.7;
/// At most so many rows of words for what happened; what finds no room there is in the text output and only a line here.
const ROWS: usize = 8;
/// Parts of the time of which the peaks are kept: two to a point of the picture's width.
const COLUMNS: usize = 1450;

/// What is larger than this is no measurement and not drawn.
const MOST: f64 = 1e9;

/// How a stroke looks: colour, width, dashes. The wide one is pale and drawn first, so that what lies on it is seen, in
/// grey too.
fn look(stroke: Stroke) -> (&'static str, f64, &'static str) {
    match stroke {
        Stroke::Bold => ("#6f9fe0", 4.0, ""),
        Stroke::Plain => ("#222222", 1.3, ""),
        Stroke::Dashed => ("#a33b00", 1.8, "9 5"),
        Stroke::Dotted => ("#000000", 1.8, "1.8 3.6"),
        Stroke::DashDot => ("#2e6b2e", 1.8, "10 4 2 4"),
    }
}

fn dashes(dash: &str) -> String {
    if dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dash}\"") }
}

/// The trace as SVG, a file of its own that needs no other.
pub fn svg(trace: &Trace) -> String {
    let start = trace.time_s.first().copied().unwrap_or(0.0);
    let end = trace.time_s.last().copied().filter(|t| *t > start).unwrap_or(start + 1.0);
    let x = |t: f64| LEFT + (t - start) / (end - start) * (RIGHT - LEFT);
    let marks = placed(&trace.marks, start, end, &x);
    let rows = marks.iter().filter_map(|(_, place)| place.map(|p| p.row + 1)).max().unwrap_or(0);
    let top_of_words = 30.0 + LINE * trace.notes.len() as f64;
    let top = top_of_words + LINE * rows as f64 + 24.0;
    let shares: f64 = trace.panels.iter().map(|p| p.share).sum::<f64>().max(1e-9);
    let all = HEIGHT + GAP * trace.panels.len().saturating_sub(1) as f64;
    let (bottom, height) = (top + all, top + all + 46.0);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" width=\"{WIDTH}\" \
         height=\"{height}\" role=\"img\" font-family=\"sans-serif\" font-size=\"13\">\n<title>{0}</title>\n\
         <rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#fff\"/>\n\
         <text x=\"{LEFT}\" y=\"20\" font-size=\"15\" font-weight=\"bold\">{0}</text>\n",
        plain(&trace.title)
    );
    for (n, note) in trace.notes.iter().enumerate() {
        let y = 20.0 + LINE * (n + 1) as f64;
        let _ = writeln!(out, "<text x=\"{LEFT}\" y=\"{y}\" fill=\"#444\">{}</text>", plain(note));
    }
    let mut panel_top = top;
    let mut frames = Vec::new();
    for (n, panel) in trace.panels.iter().enumerate() {
        let height = HEIGHT * panel.share / shares;
        let own: Vec<&Series> = trace.series.iter().filter(|s| s.panel == Some(n)).collect();
        let axis = axis_of(panel, &own, height);
        let is_last = n + 1 == trace.panels.len();
        frames.push((panel, own, Frame { top: panel_top, height, start, end, axis, is_last }));
        panel_top += height + GAP;
    }
    // Grids lie below the marks, curves and words on them.
    frames.iter().for_each(|(_, _, frame)| draw_grid(frame, &mut out));
    for (mark, place) in &marks {
        let at = x(mark.at_s);
        let words_y = place.map_or(top, |p| top_of_words + LINE * (p.row + 1) as f64);
        let _ = writeln!(
            out,
            "<line class=\"mark\" x1=\"{at:.1}\" y1=\"{:.1}\" x2=\"{at:.1}\" y2=\"{bottom}\" stroke=\"#555\" \
             stroke-width=\"1\" stroke-dasharray=\"3 3\"/>",
            words_y - 3.0
        );
        if let Some(place) = place {
            let (anchor, by) = if place.leftwards { ("end", -4.0) } else { ("start", 4.0) };
            let _ = writeln!(
                out,
                "<text x=\"{:.1}\" y=\"{words_y}\" text-anchor=\"{anchor}\">{}</text>",
                at + by,
                plain(&mark.text)
            );
        }
    }
    for (panel, own, frame) in &frames {
        draw_curves(panel, own, &trace.time_s, frame, &mut out);
    }
    let middle = (LEFT + RIGHT) / 2.0;
    let _ =
        writeln!(out, "<text x=\"{middle}\" y=\"{}\" text-anchor=\"middle\">time, s</text>", bottom + 36.0);
    out.push_str("</svg>\n");
    out
}

/// Where the words of a mark stand.
#[derive(Clone, Copy)]
struct Place {
    row: usize,
    /// To the left of the line, where the right has no room.
    leftwards: bool,
}

/// Marks within the time that is drawn, each in the first row in which its words have room.
fn placed<'a>(
    marks: &'a [Mark],
    start: f64,
    end: f64,
    x: &dyn Fn(f64) -> f64,
) -> Vec<(&'a Mark, Option<Place>)> {
    let mut taken: Vec<Vec<(f64, f64)>> = Vec::new();
    let within = marks.iter().filter(|m| (start..=end).contains(&m.at_s));
    within
        .map(|mark| {
            let (at, long) = (x(mark.at_s), LETTER * mark.text.chars().count() as f64 + 14.0);
            let leftwards = at + long > WIDTH && at - long > 0.0;
            let span = if leftwards { (at - long, at) } else { (at, at + long) };
            let is_free = |row: &Vec<(f64, f64)>| row.iter().all(|s| s.1 <= span.0 || span.1 <= s.0);
            let row = taken.iter().position(is_free).unwrap_or(taken.len());
            if row >= ROWS {
                return (mark, None);
            }
            if row == taken.len() {
                taken.push(Vec::new());
            }
            taken[row].push(span);
            (mark, Some(Place { row, leftwards }))
        })
        .collect()
}

/// Where a panel stands, what time and what values it shows.
struct Frame {
    top: f64,
    height: f64,
    start: f64,
    end: f64,
    axis: Axis,
    is_last: bool,
}

impl Frame {
    fn x(&self, time: f64) -> f64 {
        LEFT + (time - self.start) / (self.end - self.start) * (RIGHT - LEFT)
    }

    fn y(&self, value: f64) -> f64 {
        let Axis { from, to, .. } = self.axis;
        self.top + self.height - (value - from) / (to - from) * self.height
    }
}

fn axis_of(panel: &Panel, series: &[&Series], height: f64) -> Axis {
    let values = || series.iter().flat_map(|s| &s.values).copied().filter(|v| v.abs() <= MOST);
    let (mut low, mut high) =
        (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    if panel.from_zero {
        (low, high) = (low.min(0.0), high.max(0.0));
    }
    Axis::around(low, high, panel.least_span, (height / 26.0).clamp(2.0, 10.0))
}

fn draw_grid(frame: &Frame, out: &mut String) {
    let &Frame { top, height, start, end, axis, is_last } = frame;
    let bottom = top + height;
    for v in axis.marks() {
        let _ = writeln!(
            out,
            "<line x1=\"{LEFT}\" y1=\"{0:.1}\" x2=\"{RIGHT}\" y2=\"{0:.1}\" stroke=\"#ddd\"/>\
             <text x=\"{1}\" y=\"{2:.1}\" text-anchor=\"end\">{3}</text>",
            frame.y(v),
            LEFT - 7.0,
            frame.y(v) + 4.5,
            axis.word(v)
        );
    }
    let times = Axis { from: start, to: end, step: step(end - start, 12.0) };
    for t in times.marks() {
        let x = frame.x(t);
        let _ = writeln!(
            out,
            "<line x1=\"{x:.1}\" y1=\"{top:.1}\" x2=\"{x:.1}\" y2=\"{bottom:.1}\" stroke=\"#ddd\"/>"
        );
        if is_last {
            let _ = writeln!(
                out,
                "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
                bottom + 17.0,
                times.word(t)
            );
        }
    }
    let _ = writeln!(
        out,
        "<rect x=\"{LEFT}\" y=\"{top:.1}\" width=\"{}\" height=\"{height:.1}\" fill=\"none\" stroke=\"#777\"/>",
        RIGHT - LEFT
    );
}

fn draw_curves(panel: &Panel, series: &[&Series], time: &[f64], frame: &Frame, out: &mut String) {
    let top = frame.top;
    let _ = writeln!(
        out,
        "<g class=\"panel\"><text x=\"{LEFT}\" y=\"{:.1}\" font-weight=\"bold\" stroke=\"#fff\" stroke-width=\"5\" \
         paint-order=\"stroke\">{}, {}</text>",
        top - 7.0,
        plain(panel.title),
        plain(panel.unit)
    );
    let mut drawn = series.to_vec();
    drawn.sort_by_key(|one| one.stroke != Stroke::Bold);
    for one in drawn {
        let values: Vec<f64> =
            one.values.iter().map(|&v| if v.abs() <= MOST { v } else { f64::NAN }).collect();
        let points = thin(time, &values, COLUMNS);
        let points: Vec<(String, String)> =
            points.iter().map(|p| (format!("{:.1}", frame.x(p.0)), format!("{:.1}", frame.y(p.1)))).collect();
        // In the middle of a level stretch nothing is to be seen.
        let is_seen = |i: usize| {
            i == 0
                || i + 1 == points.len()
                || points[i - 1].1 != points[i].1
                || points[i].1 != points[i + 1].1
        };
        let kept = (0..points.len()).filter(|i| is_seen(*i));
        let line: Vec<String> = kept.map(|i| format!("{},{}", points[i].0, points[i].1)).collect();
        let (colour, width, dash) = look(one.stroke);
        let _ = writeln!(
            out,
            "<polyline class=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\" \
             stroke-linejoin=\"round\"{} points=\"{}\"/>",
            one.column,
            dashes(dash),
            line.join(" ")
        );
    }
    for (n, one) in series.iter().enumerate() {
        let (at, (colour, width, dash)) = (top + 12.0 + 22.0 * n as f64, look(one.stroke));
        let _ = writeln!(
            out,
            "<line x1=\"{0}\" y1=\"{at:.1}\" x2=\"{1}\" y2=\"{at:.1}\" stroke=\"{colour}\" \
             stroke-width=\"{width}\"{2}/><text x=\"{3}\" y=\"{4:.1}\">{5}</text>",
            RIGHT + 14.0,
            RIGHT + 52.0,
            dashes(dash),
            RIGHT + 60.0,
            at + 4.5,
            plain(one.name)
        );
    }
    out.push_str("</g>\n");
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn trace(values: Vec<f64>, texts: &[String]) -> Trace {
        Trace {
            title: "FV-3104 <computed>".to_owned(),
            notes: vec!["step 20 & 80 %".to_owned()],
            time_s: (0..values.len()).map(|n| n as f64 * 0.01).collect(),
            panels: vec![Panel { title: "Travel", unit: "%", least_span: 2.0, from_zero: false, share: 1.0 }],
            series: vec![Series {
                column: "travel_percent",
                name: "true travel",
                panel: Some(0),
                stroke: Stroke::Bold,
                values,
            }],
            marks: texts.iter().map(|text| Mark { at_s: 0.02, text: text.clone() }).collect(),
        }
    }

    /// Every tag that opens is closed in its turn, and what is between is no markup.
    fn is_well_formed(text: &str) -> bool {
        let mut open: Vec<&str> = Vec::new();
        for piece in text.split('<').skip(1) {
            let Some((tag, rest)) = piece.split_once('>') else { return false };
            if rest.contains('>') {
                return false;
            }
            if let Some(name) = tag.strip_prefix('/') {
                if open.pop() != Some(name) {
                    return false;
                }
            } else if !tag.ends_with('/') {
                open.push(tag.split(' ').next().unwrap_or(""));
            }
        }
        open.is_empty()
    }

    #[test]
    fn lines_stand_where_their_values_are() {
        // From 0 to 100 over 1 s: the middle of the panel's width at its half height.
        let out = svg(&trace((0..=100).map(f64::from).collect(), &[]));
        let line = out.split("class=\"travel_percent\"").nth(1).unwrap();
        let points = line.split("points=\"").nth(1).unwrap().split('"').next().unwrap();
        let points: Vec<(f64, f64)> = points
            .split(' ')
            .map(|p| p.split_once(',').unwrap())
            .map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap()))
            .collect();
        assert_eq!(points.len(), 101);
        let (first, middle, last) = (points[0], points[50], points[100]);
        assert_eq!((first.0, middle.0, last.0), (LEFT, (LEFT + RIGHT) / 2.0, RIGHT));
        assert!(((first.1 + last.1) / 2.0 - middle.1).abs() < 0.06);
        // The axis has 5 % more room at both ends.
        assert!((first.1 - last.1 - HEIGHT / 1.1).abs() < 0.11);
        assert!(out.contains(">Travel, %</text>") && out.contains(">time, s</text>"));
        assert!(out.contains("FV-3104 &lt;computed&gt;") && out.contains("step 20 &amp; 80 %"));
    }

    #[test]
    fn words_of_marks_do_not_stand_on_each_other() {
        let texts: Vec<String> = (0..12).map(|n| format!("fault {n}: supply low")).collect();
        let out = svg(&trace(vec![0.0; 10], &texts));
        assert_eq!(out.matches("class=\"mark\"").count(), 12);
        let rows: Vec<&str> = out
            .split("<text ")
            .filter(|t| t.contains("supply low"))
            .map(|t| t.split("y=\"").nth(1).unwrap().split('"').next().unwrap())
            .collect();
        assert_eq!(rows.len(), ROWS);
        assert_eq!(rows.iter().collect::<std::collections::BTreeSet<_>>().len(), ROWS);
    }

    proptest! {
        #[test]
        fn any_trace_is_a_picture(
            values in prop::collection::vec(prop_oneof![any::<f64>(), -200.0f64..200.0], 0..200),
            texts in prop::collection::vec(any::<String>(), 0..12),
        ) {
            // Words that a text may hold, and a number may not.
            let texts: Vec<String> = texts.into_iter().filter(|t| !t.contains("NaN") && !t.contains("inf")).collect();
            let out = svg(&trace(values, &texts));
            prop_assert!(is_well_formed(&out), "{out}");
            prop_assert!(!out.contains("NaN") && !out.contains("inf\""), "{out}");
        }
    }
}
