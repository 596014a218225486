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

    /// The picture: the darker, the more often; the hole in the middle is the room for noise.
    pub fn svg(&self, title: &str) -> String {
        let (w, h, left, top) = (9.0, 7.0, 56.0, 34.0);
        let (width, height) = (left + w * ACROSS as f64 + 16.0, top + h * UP as f64 + 48.0);
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" font-family=\"sans-serif\" font-size=\"12\" \
             role=\"img\" aria-label=\"eye of the bits\">\n<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n\
             <text x=\"{left}\" y=\"20\" font-size=\"14\">{}</text>\n",
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
                        "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{w}\" height=\"{h}\" fill=\"#124\" fill-opacity=\"{:.2}\"/>",
                        left + w * x as f64,
                        top + h * (UP - 1 - y) as f64,
                        0.08 + 0.92 * dark
                    );
                }
            }
        }
        let (bottom, right) = (top + h * UP as f64, left + w * ACROSS as f64);
        for (part, word) in [(0.0, "-1"), (0.25, "-0.5"), (0.5, "0"), (0.75, "0.5"), (1.0, "1")] {
            let x = left + (right - left) * part;
            let _ = writeln!(
                out,
                "<line x1=\"{x:.1}\" y1=\"{top}\" x2=\"{x:.1}\" y2=\"{bottom}\" stroke=\"#888\" stroke-width=\"0.5\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{word}</text>",
                bottom + 16.0
            );
        }
        for v in [-1.0, 0.0, 1.0] {
            let y = top + (bottom - top) * (1.0 - (v / MOST + 1.0) / 2.0);
            let word = if v > 0.0 {
                "1"
            } else if v < 0.0 {
                "0"
            } else {
                "limit"
            };
            let _ = writeln!(
                out,
                "<line x1=\"{left}\" y1=\"{y:.1}\" x2=\"{right}\" y2=\"{y:.1}\" stroke=\"#888\" stroke-width=\"0.5\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{word}</text>",
                left - 6.0,
                y + 4.0
            );
        }
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">bits from the middle of a bit; {} bits</text>\n</svg>",
            (left + right) / 2.0,
            bottom + 36.0,
            self.bits
        );
        out
    }
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
        let svg = eye.svg("a <loop>");
        assert_eq!(eye.bits(), 21);
        assert!(svg.contains("a &lt;loop&gt;") && svg.trim_end().ends_with("</svg>"));
        // Two rows of 64 places and the white ground.
        assert_eq!(svg.matches("<rect").count(), 2 * ACROSS + 1);
    }
}
