//! The spectrum of a recording: mean power of overlapping pieces, at tones 25 Hz apart.

use super::super::plot::{Axis, plain};
use core::f64::consts::{PI, TAU};
use core::fmt::Write;

/// Steps between tones, Hz.
const STEP_HZ: f64 = 25.0;
/// The highest tone.
const MOST_HZ: f64 = 5_000.0;
/// Pieces at most; of a longer recording only every so many is taken, and the distance doubles.
const PIECES: u32 = 256;

/// Collects the power of tones.
#[derive(Clone, Debug)]
pub struct Spectrum {
    rate_hz: f64,
    piece: Vec<f32>,
    length: usize,
    /// Cosine and sine steps of each tone.
    turns: Vec<(f64, f64)>,
    power: Vec<f64>,
    count: u32,
    /// One of so many pieces is taken.
    every: u32,
    seen: u32,
}

impl Spectrum {
    /// Of samples at this rate.
    pub fn new(rate_hz: f64) -> Spectrum {
        let tones = ((MOST_HZ.min(rate_hz / 2.0)) / STEP_HZ) as usize + 1;
        let turns =
            (0..tones).map(|k| (TAU * k as f64 * STEP_HZ / rate_hz).sin_cos()).map(|(s, c)| (c, s)).collect();
        Spectrum {
            rate_hz,
            piece: Vec::new(),
            // Hann's window of twice the step's time tells tones two steps apart.
            length: (rate_hz / STEP_HZ * 2.0).round() as usize,
            turns,
            power: vec![0.0; tones],
            count: 0,
            every: 1,
            seen: 0,
        }
    }

    /// Adds samples.
    pub fn add(&mut self, samples: &[f32]) {
        let mut rest = samples;
        while !rest.is_empty() {
            let n = (self.length - self.piece.len()).min(rest.len());
            self.piece.extend_from_slice(&rest[..n]);
            rest = &rest[n..];
            if self.piece.len() == self.length {
                if self.seen.is_multiple_of(self.every) {
                    self.work();
                }
                self.seen = self.seen.wrapping_add(1);
                if self.count >= PIECES {
                    // From now on half as many, each counting twice.
                    self.every = self.every.saturating_mul(2);
                    self.count /= 2;
                    self.power.iter_mut().for_each(|p| *p /= 2.0);
                }
                self.piece.clear();
            }
        }
    }

    fn work(&mut self) {
        let n = self.length as f64;
        let mean = self.piece.iter().filter(|s| s.is_finite()).map(|s| f64::from(*s)).sum::<f64>() / n;
        let windowed: Vec<f64> = self
            .piece
            .iter()
            .enumerate()
            .map(|(k, s)| {
                let s = if s.is_finite() { f64::from(*s) - mean } else { 0.0 };
                s * (PI * (k as f64 + 0.5) / n).sin().powi(2)
            })
            .collect();
        for ((c, _), power) in self.turns.iter().zip(&mut self.power) {
            // Goertzel's recursion.
            let (mut a, mut b) = (0.0, 0.0);
            for x in &windowed {
                (a, b) = (x + 2.0 * c * a - b, a);
            }
            *power += (a * a + b * b - 2.0 * c * a * b).max(0.0);
        }
        self.count += 1;
    }

    /// Tones and their levels, dB over the square of 1 in amplitude: a tone of amplitude 1 shows 0.
    pub fn levels_db(&self) -> Vec<(f64, f64)> {
        let n = self.length as f64;
        let scale = f64::from(self.count.max(1)) * (n / 4.0).powi(2);
        let level = |p: f64| 10.0 * (p / scale).max(1e-16).log10();
        self.power.iter().enumerate().map(|(k, p)| (k as f64 * STEP_HZ, level(*p))).collect()
    }

    /// The picture, with both tones marked.
    pub fn svg(&self, title: &str) -> String {
        let levels: Vec<(f64, f64)> = self.levels_db().into_iter().skip(1).collect();
        let most = levels.iter().map(|l| l.1).fold(f64::NEG_INFINITY, f64::max);
        let least = levels.iter().map(|l| l.1).fold(f64::INFINITY, f64::min).max(most - 100.0);
        let (width, height, left, right, top, bottom) = (720.0, 360.0, 58.0, 704.0, 34.0, 312.0);
        let axis = Axis::around(least, most, 20.0, 8.0);
        let end = levels.last().map_or(MOST_HZ, |l| l.0);
        let x = |hz: f64| left + hz / end * (right - left);
        let y = |db: f64| bottom - (db.max(axis.from) - axis.from) / (axis.to - axis.from) * (bottom - top);
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" font-family=\"sans-serif\" font-size=\"12\" \
             role=\"img\" aria-label=\"spectrum\">\n<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n\
             <text x=\"{left}\" y=\"20\" font-size=\"14\">{}</text>\n",
            plain(title)
        );
        for v in axis.marks() {
            let _ = writeln!(
                out,
                "<line x1=\"{left}\" y1=\"{0:.1}\" x2=\"{right}\" y2=\"{0:.1}\" stroke=\"#ccc\"/>\
                 <text x=\"{1}\" y=\"{2:.1}\" text-anchor=\"end\">{3}</text>",
                y(v),
                left - 6.0,
                y(v) + 4.0,
                axis.word(v)
            );
        }
        for k in 0..=(end / 500.0) as u32 {
            let hz = f64::from(k) * 500.0;
            let _ = writeln!(
                out,
                "<line x1=\"{0:.1}\" y1=\"{top}\" x2=\"{0:.1}\" y2=\"{bottom}\" stroke=\"#ccc\"/>\
                 <text x=\"{0:.1}\" y=\"{1}\" text-anchor=\"middle\">{hz}</text>",
                x(hz),
                bottom + 16.0
            );
        }
        for hz in [1200.0, 2200.0] {
            let _ = writeln!(
                out,
                "<line x1=\"{0:.1}\" y1=\"{top}\" x2=\"{0:.1}\" y2=\"{bottom}\" stroke=\"#b30\" stroke-dasharray=\"5 4\"/>",
                x(hz)
            );
        }
        let line: Vec<String> = levels.iter().map(|l| format!("{:.1},{:.1}", x(l.0), y(l.1))).collect();
        let _ = writeln!(
            out,
            "<polyline fill=\"none\" stroke=\"#124\" stroke-width=\"1.5\" points=\"{}\"/>\n\
             <text x=\"{}\" y=\"{}\" text-anchor=\"middle\">Hz; dashed: the tones of a 1 and of a 0</text>\n\
             <text x=\"{}\" y=\"20\" text-anchor=\"end\">dB</text>\n</svg>",
            line.join(" "),
            (left + right) / 2.0,
            bottom + 36.0,
            left - 6.0
        );
        out
    }

    /// Samples a second.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_shows_its_level_at_its_place() {
        for rate in [8000.0, 44_100.0, 48_000.0] {
            let mut s = Spectrum::new(rate);
            let x: Vec<f32> =
                (0..rate as usize).map(|k| (0.5 * (TAU * 1200.0 * k as f64 / rate).sin()) as f32).collect();
            x.chunks(999).for_each(|p| s.add(p));
            let levels = s.levels_db();
            let (hz, db) = levels.iter().copied().fold((0.0, f64::MIN), |a, b| if b.1 > a.1 { b } else { a });
            // 20 log(0.5) = -6.02 dB.
            assert!((hz - 1200.0).abs() < 1.0 && (db + 6.02).abs() < 0.1, "{rate}: {hz} {db}");
            assert!(levels.iter().filter(|l| (l.0 - 1200.0).abs() > 60.0).all(|l| l.1 < -60.0), "{rate}");
            assert!(s.svg("x").trim_end().ends_with("</svg>"));
        }
    }
}
