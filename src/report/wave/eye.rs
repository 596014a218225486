//! The eye of the bits: how the difference of the two envelopes passes through two bits, many of them one over the other.

use super::super::plot::plain;
use core::fmt::Write;

/// Places across two bits.
const ACROSS: usize = 64;
/// Places up and down.
const UP: usize = 48;
/// Highest value drawn either way; the middle of a bit is about 1 or -1.
const MOST: f64 = 1.6;

/// Counts how often the difference was where.
#[derive(Clone, Debug)]
pub struct Eye {
    counts: Vec<u32>,
    bits: u64,
}

impl Default for Eye {
    fn default() -> Self {
        Eye { counts: vec![0; ACROSS * UP], bits: 0 }
    }
}

impl Eye {
    /// Adds one bit: `value` gives, at -1 to 1 bit from its middle, the difference of the envelopes over their usual sum's half.
    pub fn add(&mut self, value: impl Fn(f64) -> Option<f64>) {
        for x in 0..ACROSS {
            let at = (x as f64 + 0.5) / ACROSS as f64 * 2.0 - 1.0;
            let Some(v) = value(at).filter(|v| v.is_finite()) else { continue };
            let y = ((v / MOST + 1.0) / 2.0 * UP as f64).clamp(0.0, UP as f64 - 1.0) as usize;
            self.counts[y * ACROSS + x] += 1;
        }
        self.bits += 1;
    }

    /// Bits added.
    pub fn bits(&self) -> u64 {
        self.bits
    }

    /// Adds the bits of another eye.
    pub fn merge(&mut self, other: &Eye) {
        self.counts.iter_mut().zip(&other.counts).for_each(|(a, b)| *a += b);
        self.bits += other.bits;
    }

    /// One panel, `top` below the picture's upper edge: the darker, the more often; the hole in the middle is the room for noise.
    fn draw(&self, title: &str, top: f64, out: &mut String) {
        let _ = writeln!(
            out,
            "<text x=\"{LEFT}\" y=\"{:.1}\" font-size=\"14\">{}</text>",
            top - 10.0,
            plain(title)
        );
        let most = f64::from(self.counts.iter().copied().max().unwrap_or(0).max(1)).ln_1p();
        for y in 0..UP {
            for x in 0..ACROSS {
                let n = self.counts[y * ACROSS + x];
                if n > 0 {
                    let dark = f64::from(n).ln_1p() / most;
                    let _ = writeln!(
                        out,
                        "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{W}\" height=\"{H}\" fill=\"#124\" fill-opacity=\"{:.2}\"/>",
                        LEFT + W * x as f64,
                        top + H * (UP - 1 - y) as f64,
                        0.08 + 0.92 * dark
                    );
                }
            }
        }
        let (bottom, right) = (top + H * UP as f64, LEFT + W * ACROSS as f64);
        for (part, word) in [(0.0, "-1"), (0.25, "-0.5"), (0.5, "0"), (0.75, "0.5"), (1.0, "1")] {
            let x = LEFT + (right - LEFT) * part;
            let _ = writeln!(
                out,
                "<line x1=\"{x:.1}\" y1=\"{top}\" x2=\"{x:.1}\" y2=\"{bottom}\" stroke=\"#888\" stroke-width=\"0.5\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{word}</text>",
                bottom + 16.0
            );
        }
        for (v, word) in [(-1.0, "a 0"), (0.0, "decision"), (1.0, "a 1")] {
            let y = top + (bottom - top) * (1.0 - (v / MOST + 1.0) / 2.0);
            let _ = writeln!(
                out,
                "<line x1=\"{LEFT}\" y1=\"{y:.1}\" x2=\"{right}\" y2=\"{y:.1}\" stroke=\"#888\" stroke-width=\"0.5\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{word}</text>",
                LEFT - 6.0,
                y + 4.0
            );
        }
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">bits from the middle of a bit; {} bits</text>",
            (LEFT + right) / 2.0,
            bottom + 34.0,
            self.bits
        );
    }
}

/// Size of a place.
const W: f64 = 9.0;
const H: f64 = 7.0;
/// Room on the left for words.
const LEFT: f64 = 70.0;
/// From one panel to the next.
const PANEL: f64 = H * UP as f64 + 80.0;
/// Panels drawn at most.
const MOST_PANELS: usize = 16;
/// What to look for.
const WORDS: [&str; 2] = [
    "Good: white around the middle of each eye, all lines near \"a 1\" and \"a 0\" there.",
    "Bad: grey at \"decision\" in the middle. There bits are read wrong: noise, hum or a second talker.",
];

/// The eyes of talkers, each by itself under its name, with words on what is good and bad.
pub fn eyes_svg(title: &str, eyes: &[(&str, &Eye)]) -> String {
    let drawn = &eyes[..eyes.len().min(MOST_PANELS)];
    let head = 76.0;
    let (width, height) = (LEFT + W * ACROSS as f64 + 16.0, head + 24.0 + PANEL * drawn.len() as f64);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" shape-rendering=\"crispEdges\" font-family=\"sans-serif\" font-size=\"12\" \
         role=\"img\" aria-label=\"eyes of the bits\">\n<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n\
         <text x=\"16\" y=\"22\" font-size=\"15\">Eyes of the bits: {}</text>\n",
        plain(title)
    );
    for (n, words) in WORDS.iter().enumerate() {
        let _ = writeln!(out, "<text x=\"16\" y=\"{}\">{}</text>", 42 + 17 * n, plain(words));
    }
    for (n, (name, eye)) in drawn.iter().enumerate() {
        eye.draw(name, head + 24.0 + PANEL * n as f64, &mut out);
    }
    if drawn.len() < eyes.len() {
        let more = format!("{} more talkers are not drawn.", eyes.len() - drawn.len());
        let _ = writeln!(out, "<text x=\"16\" y=\"{}\">{more}</text>", height - 6.0);
    }
    out.push_str("</svg>\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_open_eye_has_a_hole_and_names() {
        let mut eye = Eye::default();
        for n in 0..20 {
            let sign = if (n & 1) == 0 { 1.0 } else { -1.0 };
            eye.add(|_| Some(sign));
        }
        eye.add(|_| Some(f64::NAN));
        let mut twice = eye.clone();
        twice.merge(&eye);
        assert_eq!((eye.bits(), twice.bits()), (21, 42));
        let svg = eyes_svg("a <loop>", &[("device 3", &eye)]);
        assert!(svg.contains("device 3") && svg.contains("decision") && svg.contains("Bad: grey"));
        assert!(svg.contains("a &lt;loop&gt;") && svg.trim_end().ends_with("</svg>"));
        // Two rows of 64 places and the white ground.
        assert_eq!(svg.matches("<rect").count(), 2 * ACROSS + 1);
    }
}
